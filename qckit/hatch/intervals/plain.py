"""Textbook intervals: of a mean, of a positive mean, and of one proportion by counting alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from qckit.errors import unknown_name
from qckit.hatch.intervals.estimates import Estimate, check_confidence, normal_quantile, student_quantile

__all__ = ["binomial_interval", "mean_interval", "positive_mean_interval"]


def score_bounds(centre, total, z2):
    """Both p at which ``(centre - p)^2 = z2 p (1 - p) / total``; arrays or numbers."""
    middle = (centre + z2 / (2 * total)) / (1 + z2 / total)
    half = np.sqrt(z2 * (centre * (1 - centre) / total + z2 / (4 * total**2))) / (1 + z2 / total)
    return middle - half, middle + half


def mean_interval(values, *, confidence=0.95):
    """Estimate a plain mean over cones with Student's interval (sizes, weights, times).

    Parameters
    ----------
    values : array_like of float, shape (k,)
        One per cone; NaN is left out.
    confidence : float

    Returns
    -------
    Estimate
        Bounds are NaN with fewer than two values.

    Examples
    --------
    >>> mean = hatch.mean_interval([482.0, 475.0, 490.0])
    >>> round(float(mean.low), 1), round(float(mean.high), 1)
    (463.7, 501.0)
    """
    check_confidence(confidence)
    values = np.asarray(values, float)
    values = values[np.isfinite(values)]
    k = len(values)
    if k == 0:
        return Estimate(math.nan, confidence=confidence, note="No value.")
    mean = float(values.mean())
    if k == 1:
        return Estimate(mean, n_cones=1, confidence=confidence, note="One value: its spread cannot be known.")
    sd = float(values.std(ddof=1))
    half = student_quantile(confidence, k - 1) * sd / math.sqrt(k)
    return Estimate(
        mean,
        mean - half,
        mean + half,
        sd,
        n_cones=k,
        df=k - 1,
        confidence=confidence,
        method=f"Student's interval, {k - 1} df",
    )


def positive_mean_interval(values, *, confidence=0.95):
    """Estimate the mean of figures that cannot be negative, over hatches: Student's interval of its logarithm.

    Parameters
    ----------
    values : array_like of float, shape (k,)
        One per hatch, 0 or more; NaN is left out.
    confidence : float

    Returns
    -------
    Estimate
        ``mean x exp(+-t SD / (mean sqrt(k)))``: the quasi-Poisson model with a constant and a log link (McCullagh and
        Nelder 1989, Generalized Linear Models, 2nd ed.). Near Student's interval where hatches differ little, and
        never below 0. Bounds are NaN with fewer than three values (two would give a factor of hundreds) or a mean of 0.

    Examples
    --------
    >>> mean = hatch.positive_mean_interval([210_000, 190_000, 230_000, 205_000])
    >>> bool(0 < mean.low < mean.value < mean.high)
    True
    """
    plain = mean_interval(values, confidence=confidence)
    if plain.n_cones < 3 or not plain.value > 0:
        return replace(plain, low=math.nan, high=math.nan, note=plain.note or "Too few for an interval.")
    reach = math.exp((plain.high - plain.value) / plain.value)
    return replace(
        plain,
        low=plain.value / reach,
        high=plain.value * reach,
        method=f"Student's interval of the logarithm, {plain.n_cones - 1} df",
    )


def binomial_interval(part, whole, *, confidence=0.95, method="wilson"):
    """Interval of one proportion: counting alone, no spread between cones.

    Parameters
    ----------
    part, whole : float
        Counts.
    confidence : float
    method : {"wilson", "clopper-pearson", "jeffreys", "mid-p", "agresti-coull"}
        Wilson's score interval is the one this kit uses; the others are there to compare with.

    Returns
    -------
    (low, high) : tuple of float
        Fractions; NaN when nothing was counted.

    References
    ----------
    Newcombe 1998, Statistics in Medicine 17:857-872; Brown, Cai and DasGupta 2001, Statistical Science 16:101-133 (from
    memory), who take Jeffreys' bound to 0 (1) when none (all) were seen.

    Examples
    --------
    >>> low, high = hatch.binomial_interval(15, 148)
    >>> round(float(low), 4), round(float(high), 4)
    (0.0624, 0.1605)
    """
    if not whole > 0:
        return math.nan, math.nan
    if method == "wilson":
        low, high = score_bounds(part / whole, whole, normal_quantile(confidence) ** 2)
    elif method in _LIBRARY_METHODS:
        from statsmodels.stats.proportion import proportion_confint

        low, high = proportion_confint(part, whole, alpha=1 - confidence, method=_LIBRARY_METHODS[method])
        if method == "jeffreys":
            low, high = (0.0 if part == 0 else low), (1.0 if part == whole else high)
    elif method == "mid-p":
        low, high = _mid_p_interval(part, whole, (1 - confidence) / 2)
    else:
        raise unknown_name("method", method, ("wilson", *_LIBRARY_METHODS, "mid-p"), where="binomial_interval")
    return max(0.0, float(low)), min(1.0, float(high))


_LIBRARY_METHODS = {"clopper-pearson": "beta", "jeffreys": "jeffreys", "agresti-coull": "agresti_coull"}


def _mid_p_interval(part, whole, tail):
    """Both p at which the tail beyond the count, with half of the count's own probability, is ``tail``."""
    from scipy import optimize, stats

    def above(p):
        return stats.binom.sf(part, whole, p) + stats.binom.pmf(part, whole, p) / 2 - tail

    def below(p):
        return stats.binom.cdf(part - 1, whole, p) + stats.binom.pmf(part, whole, p) / 2 - tail

    low = 0.0 if part == 0 else optimize.brentq(above, 0, part / whole, xtol=1e-12)
    high = 1.0 if part == whole else optimize.brentq(below, part / whole, 1, xtol=1e-12)
    return low, high
