"""Simulated tests of a lot with known truth: how often do the intervals cover it?"""

from __future__ import annotations

import numpy as np

from qckit.hatch.intervals.estimates import Spread, normal_quantile, student_quantile
from qckit.hatch.intervals.over_cones import proportion_over_cones
from qckit.hatch.intervals.plain import score_bounds
from qckit.hatch.intervals.width import counting_floor, floor_of_few, skewness_reach

__all__ = [
    "bounds_of_proportions",
    "bounds_of_rates",
    "coverage_of_proportion",
    "coverage_of_rate",
    "coverage_with_site_spread",
    "draw_cones",
]


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


def coverage_of_proportion(n_cones, hatch_pct, rho, *, n=840, runs=4000, rng, family="beta", is_safe=False):
    """Percent of simulated tests whose 95 % interval of the hatching percentage holds the truth.

    Parameters
    ----------
    n_cones, rho, n, runs, rng, family
        As for :func:`draw_cones`; 840 full cysts per cone are six subsamples of the standard test.
    hatch_pct : float
        Truth. [%]
    is_safe : bool
        Check the wider interval that decisions rest on.

    Returns
    -------
    float
        [%]
    """
    share = hatch_pct / 100
    counts = draw_cones(n_cones, share, rho, n, rng=rng, runs=runs, family=family)
    low, high = bounds_of_proportions(counts, np.broadcast_to(n, (n_cones,)), is_safe=is_safe)
    return 100 * float(np.mean((low <= share) & (share <= high)))


def coverage_with_site_spread(n_cones, hatch_pct, rho, *, df, ratio=1.0, runs=2000, rng):
    """Percent covered when the spread is joined with that of earlier tests of three cones of 840 full cysts.

    Parameters
    ----------
    n_cones, hatch_pct, rho, runs, rng
        As for :func:`coverage_of_proportion`; one cone will do. Cones are logit-normal.
    df : int
        Degrees of freedom of the site's records, even.
    ratio : float
        Standard deviation between this lot's cones over the usual one.

    Returns
    -------
    float
        [%]
    """
    share, groups, n = hatch_pct / 100, df // 2, 840
    options = {"rng": rng, "family": "logit-normal"}
    counts = draw_cones(n_cones, share, ratio**2 * rho, n, runs=runs, **options)
    before = draw_cones(3, share, rho, n, runs=runs * groups, **options).reshape(runs, groups, 3)
    mean = before.mean(axis=2) / n
    chi2 = np.sum((before / n - mean[..., None]) ** 2, axis=2) * n / np.maximum(mean * (1 - mean), 0.5 / (3 * n))
    raw = (chi2.sum(axis=1) - df) / (df * (n - 1))
    hit = 0
    for row, r in zip(counts, raw, strict=True):
        found = proportion_over_cones(row, np.full(n_cones, n), spread=Spread(max(0.0, r), 0.0, df, r, 0.0))
        hit += found.low <= share <= found.high
    return 100 * hit / runs


def bounds_of_proportions(counts, whole, *, confidence=0.95, is_safe=False):
    """The interval of ``proportion_over_cones`` for many tests at once.

    Parameters
    ----------
    counts : ndarray, shape (runs, k)
    whole : ndarray, shape (k,)
    confidence, is_safe

    Returns
    -------
    (low, high) : tuple of ndarray, shape (runs,)
    """
    total, k, each = whole.sum(), counts.shape[1], counts / whole
    centre = counts.sum(axis=1) / total
    mean = each.mean(axis=1)
    chi2 = np.sum(whole * (each - centre[:, None]) ** 2, axis=1) / np.maximum(centre * (1 - centre), 0.5 / total)
    rho = np.clip((chi2 - (k - 1)) / (total - np.sum(whole**2) / total - (k - 1)), 0, 1)
    weight = whole / (1 + (whole - 1) * rho[:, None])
    weight = weight * total / weight.sum(axis=1)[:, None]
    centre = np.minimum(np.sum(weight * each, axis=1) / total, 1.0)
    spread = np.sum(weight * (each - centre[:, None]) ** 2, axis=1)
    factor = spread / np.maximum(centre * (1 - centre), 0.5 / total) / (k - 1)
    t, z = student_quantile(confidence, k - 1), normal_quantile(confidence)
    fewer = np.minimum(counts.sum(axis=1), total - counts.sum(axis=1))
    outward = np.maximum(t * np.sqrt(factor), np.where(fewer == 0, z, counting_floor(k, confidence)))
    share = np.maximum(np.minimum(centre, 1 - centre), 0.5 / total)
    inward = np.maximum(outward * skewness_reach(factor, share, total / k), floor_of_few(fewer, confidence))
    low = score_bounds(centre, total, np.where(centre > 0.5, inward, outward) ** 2)[0]
    high = score_bounds(centre, total, np.where(centre > 0.5, outward, inward) ** 2)[1]
    low, high = np.maximum(0, np.minimum(low, mean)), np.minimum(1, np.maximum(high, mean))
    if is_safe:
        low2, high2 = score_bounds(centre, total, z * z)
        low, high = np.minimum(low, np.maximum(0, low2)), np.maximum(high, np.minimum(1, high2))
    return low, high


def coverage_of_rate(n_cones, mean_count, cv, *, runs=4000, rng, confidence=0.95):
    """Percent of simulated tests whose interval of nauplii per gram holds the truth; cones differ log-normally."""
    scatter = np.sqrt(np.log1p(cv**2))
    level = np.exp(rng.normal(-(scatter**2) / 2, scatter, (runs, n_cones))) if cv > 0 else np.ones((runs, n_cones))
    low, high = bounds_of_rates(rng.poisson(mean_count * level), confidence=confidence)
    return 100 * float(np.mean((low <= mean_count) & (mean_count <= high)))


def bounds_of_rates(counts, *, confidence=0.95):
    """The interval of ``rate_over_cones`` with exposure 1 for many tests at once; shapes as above."""
    k, total = counts.shape[1], counts.sum(axis=1).astype(float)
    centre = total / k
    factor = np.sum((counts - centre[:, None]) ** 2, axis=1) / np.maximum(centre, 0.5 / k) / (k - 1)
    t, z = student_quantile(confidence, k - 1), normal_quantile(confidence)
    z2 = np.maximum(t * t * factor, np.where(total == 0, z, counting_floor(k, confidence)) ** 2)
    half = np.sqrt(z2 * (total + z2 / 4))
    return np.minimum((total + z2 / 2 - half) / k, centre), np.maximum((total + z2 / 2 + half) / k, centre)
