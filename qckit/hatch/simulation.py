"""Simulated tests of a lot with known truth: how often do the intervals cover it?"""

from __future__ import annotations

import numpy as np

from qckit.hatch.intervals import proportion_over_cones, rate_over_cones

__all__ = ["coverage_of_proportion", "coverage_of_rate", "draw_cones"]


def draw_cones(n_cones, share, rho, n, *, rng, runs, family="beta"):
    """Draw counts of hatched cysts for many simulated tests.

    Parameters
    ----------
    n_cones : int
    share : float
        True mean share hatched.
    rho : float
        Intra-cone correlation: variance between cones is ``rho share (1 - share)``.
    n : int or array_like of int, shape (n_cones,)
        Full cysts counted in each cone.
    rng : Generator
    runs : int
    family : {"beta", "logit-normal"}
        How cones differ. The logit-normal's mean is set to ``share`` by quadrature; its variance only nearly equals
        the beta's.

    Returns
    -------
    ndarray of int, shape (runs, n_cones)
    """
    size = (runs, n_cones)
    if rho <= 0:
        return rng.binomial(n, share, size)
    if family == "beta":
        both = 1 / rho - 1
        return rng.binomial(n, rng.beta(share * both, (1 - share) * both, size))
    from scipy import optimize, special

    sd = np.sqrt(rho / (share * (1 - share)))
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    weights = weights / weights.sum()
    centre = optimize.brentq(lambda m: weights @ special.expit(m + sd * nodes) - share, -15, 15)
    return rng.binomial(n, special.expit(centre + sd * rng.standard_normal(size)))


def coverage_of_proportion(n_cones, hatch_pct, rho, *, n=840, runs=4000, rng, family="beta", confidence=0.95,
                           is_safe=False):  # fmt: skip
    """Percent of simulated tests whose interval of the hatching percentage holds the truth.

    Parameters
    ----------
    n_cones, rho, n, runs, rng, family
        As for :func:`draw_cones`; 840 full cysts per cone are six subsamples of the standard test.
    hatch_pct : float
        Truth. [%]
    confidence : float
    is_safe : bool
        Check the wider interval that decisions rest on.

    Returns
    -------
    float
        [%]
    """
    share = hatch_pct / 100
    counts = draw_cones(n_cones, share, rho, n, rng=rng, runs=runs, family=family)
    whole, hits = np.broadcast_to(n, (n_cones,)), 0
    for row in counts:
        e = proportion_over_cones(row, whole, confidence=confidence)
        low, high = (e.safe_low, e.safe_high) if is_safe else (e.low, e.high)
        hits += low <= share <= high
    return 100 * hits / runs


def coverage_of_rate(n_cones, mean_count, cv, *, runs=4000, rng, confidence=0.95):
    """Percent of simulated tests whose interval of nauplii per gram holds the truth; cones differ log-normally."""
    scatter = np.sqrt(np.log1p(cv**2))
    level = np.exp(rng.normal(-(scatter**2) / 2, scatter, (runs, n_cones))) if cv > 0 else np.ones((runs, n_cones))
    hits = 0
    for row in rng.poisson(mean_count * level):
        e = rate_over_cones(row, np.ones(n_cones), confidence=confidence)
        hits += e.low <= mean_count <= e.high
    return 100 * hits / runs
