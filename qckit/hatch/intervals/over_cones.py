"""Intervals over cones: the cone is the replicate, and the spread between cones is judged from the cones.

The interval is a score interval with a dispersion factor. With p the common proportion, phi the Pearson dispersion
over k cones and t the quantile of Student's distribution with k - 1 degrees of freedom, the bounds are the two p at
which ``(p_hat - p)^2 = t^2 phi p (1 - p) / N``: Wilson's interval (Wilson 1927, J. Am. Stat. Assoc. 22:209-212) with
the quasi-likelihood variance of McCullagh and Nelder (1989, Generalized Linear Models, 2nd ed., section 4.5). Counts
per volume use the same with the Poisson variance.

Three things are added, each checked by simulation (``tests/benchmarks/coverage.py``):

* A few cones can agree by luck, and t^2 phi is then absurdly small. So t^2 phi is not let below a floor that depends
  on the number of cones alone: the highest one with which cones that truly do not differ are still covered no more
  than 96.2 times in 100 (at 95 %); :func:`counting_floor` solves for it.
* Near 0 and 100 % the shares of cones are skewed: a test without a poor cone puts the mean too near the border and the
  spread too low at once. So the bound away from the border reaches further, by a part that grows with the skewness
  (:func:`skewness_reach`), as Johnson's t for skewed parents does (1978, J. Am. Stat. Assoc. 73:536-544, from memory).
* With very few unhatched (or hatched) cysts the test cannot show whether they come in clumps; the same bound then has a
  higher floor (:func:`floor_of_few`).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from qckit.hatch.intervals.estimates import Estimate, check_confidence, normal_quantile
from qckit.hatch.intervals.plain import binomial_interval, score_bounds
from qckit.hatch.intervals.width import inward_width, square_width
from qckit.words import decimals_known, number

__all__ = ["proportion_over_cones", "rate_over_cones"]


def proportion_over_cones(part, whole, *, confidence=0.95, spread=None):
    """Estimate a proportion (hatching percentage, opened fraction, umbrella share, purity) over cones.

    Parameters
    ----------
    part, whole : array_like of float, shape (k,)
        Counts per cone; cones with nothing counted (``whole`` 0 or NaN) are left out.
    confidence : float
        Nearer 1 gives a wider interval.
    spread : Spread, optional
        The site's own between-cone spread; makes one cone enough for an interval.

    Returns
    -------
    Estimate
        As fractions (0 to 1). Bounds are NaN with a single cone and no ``spread``.

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([240, 251, 246], [300, 305, 301])
    >>> round(figure.value, 1), figure.n_cones
    (0.8, 3)
    """
    check_confidence(confidence)
    part, whole = np.asarray(part, float), np.asarray(whole, float)
    good = np.isfinite(part) & (whole > 0)
    x, n = part[good], whole[good]
    k = len(x)
    if k == 0:
        return Estimate(math.nan, confidence=confidence, note="Nothing was counted.")
    total, each = n.sum(), x / n
    weight = _weights(each, n, None if spread is None else spread.rho)
    centre = min(float(np.sum(weight * each) / total), 1.0)
    # half a count away from 0 and 1, so that a whole lot of zeros still has a variance
    variance = max(centre * (1 - centre), 0.5 / total)
    pearson = float(np.sum(weight * (each - centre) ** 2) / variance)
    site = None if spread is None else float(total / np.sum(n / np.maximum(1 + (n - 1) * spread.pooled_rho, 0.05)))
    z2, parts, base = square_width(k, pearson, confidence, site, spread, is_edge=x.sum() in (0.0, total))
    low, high = binomial_interval(x.sum(), total, confidence=confidence)
    base = _with_mean(base, each, low, high)
    if z2 is None:
        return replace(base, note=_one_cone_note(100 * low, 100 * high, " %", 1))
    fewer = min(x.sum(), total - x.sum())
    inward = inward_width(z2, parts, centre=centre, total=total, k=k, fewer=fewer, confidence=confidence)
    low = score_bounds(centre, total, inward if centre > 0.5 else z2)[0]
    high = score_bounds(centre, total, z2 if centre > 0.5 else inward)[1]
    return replace(
        base,
        low=max(0.0, min(float(low), base.value)),
        high=min(1.0, max(float(high), base.value)),
        method=f"score interval over cones, quasi-binomial, {base.method}",
    )


def rate_over_cones(counts, exposure, *, confidence=0.95, spread=None):
    """Estimate a number per gram (hatching efficiency, full cysts) over cones.

    Parameters
    ----------
    counts : array_like of float, shape (k,)
        Counts per cone.
    exposure : array_like of float, shape (k,)
        Grams of cysts that the counted volume stands for: 1 / conversion factor. [g]
    confidence, spread
        As for :func:`proportion_over_cones`.

    Returns
    -------
    Estimate
        Per gram; bounds are never negative.

    Examples
    --------
    >>> figure = hatch.rate_over_cones([98, 105, 101], [0.0005, 0.0005, 0.0005])
    >>> round(figure.value)
    202667
    """
    check_confidence(confidence)
    counts, exposure = np.asarray(counts, float), np.asarray(exposure, float)
    good = np.isfinite(counts) & np.isfinite(exposure) & (exposure > 0)
    x, e = counts[good], exposure[good]
    k = len(x)
    if k == 0:
        why = "No count with a known volume and mass." if len(counts) else "Nothing was counted."
        return Estimate(math.nan, confidence=confidence, note=why)
    each, weight = x / e, _rate_weights(x, e, None if spread is None else spread.cv)
    centre = float(np.sum(weight * each) / e.sum())
    pearson = float(np.sum(weight * (each - centre) ** 2) / max(centre, 0.5 / e.sum()))
    site = None if spread is None else float(e.sum() / np.sum(e / np.maximum(1 + spread.pooled_cv2 * centre * e, 0.05)))
    z2, _, base = square_width(k, pearson, confidence, site, spread, is_edge=centre == 0)
    low, high = _score_rate(x.sum(), e.sum(), normal_quantile(confidence) ** 2)
    base = _with_mean(base, each, low, high)
    if z2 is None:
        return replace(base, note=_one_cone_note(low, high, " per g", 0))
    low, high = _score_rate(centre * e.sum(), e.sum(), z2)
    return replace(
        base,
        low=min(low, base.value),
        high=max(high, base.value),
        method=f"score interval over cones, quasi-Poisson, {base.method}",
    )


def _with_mean(base, each, counting_low, counting_high):
    """An estimate with the mean and standard deviation of its cones, and the bounds of counting alone."""
    sd = float(each.std(ddof=1)) if len(each) > 1 else math.nan
    return replace(base, value=float(each.mean()), sd=sd, counting_low=counting_low, counting_high=counting_high)


def _weights(each, n, rho=None):
    """Weights of cones that counted unequally many (Williams 1982, Applied Statistics 31:144-148), summing to sum(n).

    n / (1 + (n - 1) rho): the counts themselves when cones do not differ, equal weights when they differ much. Without
    a known rho, one step of the method of moments gives it. Equal counts get equal weights whatever rho is.
    """
    total, k = n.sum(), len(n)
    if rho is None:
        centre = float(np.sum(n * each) / total)
        chi2 = float(np.sum(n * (each - centre) ** 2) / max(centre * (1 - centre), 0.5 / total))
        room = total - np.sum(n**2) / total - (k - 1)
        rho = min(max((chi2 - (k - 1)) / room, 0.0), 1.0) if k > 1 and room > 0 else 0.0
    weight = n / (1 + (n - 1) * rho)
    return weight * total / weight.sum()


def _rate_weights(x, e, cv=None):
    """The same for counts over exposures: e / (1 + cv^2 rate e), summing to sum(e)."""
    rate, k = x.sum() / e.sum(), len(x)
    if cv is None:
        expected = rate * e
        chi2 = float(np.sum((x - expected) ** 2 / np.maximum(expected, 1e-12)))
        room = expected.sum() - np.sum(expected**2) / max(expected.sum(), 1e-12)
        cv2 = max((chi2 - (k - 1)) / room, 0.0) if k > 1 and room > 0 else 0.0
    else:
        cv2 = cv**2
    weight = e / (1 + cv2 * rate * e)
    return weight * e.sum() / weight.sum()


def _score_rate(total, exposure, z2):
    """Bounds of a rate at which (total - rate x exposure)^2 = z2 x rate x exposure."""
    middle, half = total + z2 / 2, math.sqrt(z2 * (total + z2 / 4))
    return (middle - half) / exposure, (middle + half) / exposure


def _one_cone_note(low, high, unit, decimals):
    decimals = decimals_known(low, high, decimals)
    return (
        "One cone: how much cones differ cannot be known, so there is no interval. Counting alone would give "
        f"{number(low, decimals)} to {number(high, decimals)}{unit}; the truth is wider."
    )
