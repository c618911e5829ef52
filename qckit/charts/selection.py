"""Bounds of something that was told only because it stood out: where it began and ended, and its size."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["likely_bounds", "size_after_selection"]

_APART = 6  # rows between two places for a beginning that are not one place


def likely_bounds(weight, at, least=0.95):
    """Bounds of the places around ``at`` that hold this share of the weight; a far second place is none of them."""
    p = weight / weight.sum()
    order = np.argsort(-p, kind="stable")
    kept = np.sort(order[: int(np.searchsorted(np.cumsum(p[order]), least)) + 1])
    part = np.split(kept, np.flatnonzero(np.diff(kept) > _APART) + 1)
    mine = min(part, key=lambda k: 0 if k[0] <= at <= k[-1] else min(abs(k[0] - at), abs(k[-1] - at)))
    return int(min(mine[0], at)), int(max(mine[-1], at))


def size_after_selection(value, se, *, threshold, df=math.inf, confidence=0.95) -> tuple[float, float]:
    """Interval of a size that was told only because it stood out.

    Parameters
    ----------
    value, se : float
        Estimate and its standard error.
    threshold : float
        Standard errors from which on it is told.
    df : float
        Degrees of freedom of the standard error.
    confidence : float

    Returns
    -------
    tuple of float
        Equal-tailed bounds of the size under the law of the estimate given that it passed the threshold; never across
        zero, where nothing would have been told.

    References
    ----------
    Zhong and Prentice 2008, Biostatistics 9:621-634 (conditional likelihood after a threshold); Lee, Sun, Sun and
    Taylor 2016, Annals of Statistics 44:907-927.

    Examples
    --------
    >>> low, high = charts.size_after_selection(4.0, 1.0, threshold=3.5)
    >>> bool(low < high)
    True
    """
    from scipy.stats import norm, t

    side = 1.0 if value >= 0 else -1.0
    estimate = abs(value) / se
    stretch = float(t.isf((1 - confidence) / 2, df) / norm.isf((1 - confidence) / 2)) if math.isfinite(df) else 1.0
    border = min(threshold, estimate)

    def above(mu):
        return norm.logsf(estimate - mu) - norm.logsf(border - mu)

    tail = (1 - confidence) / 2
    low = _root(above, math.log(tail), estimate, 0.0)
    high = _root(above, math.log(1 - tail), estimate, estimate + 1.96)
    low, high = estimate - (estimate - low) * stretch, estimate + max(0.0, high - estimate) * stretch
    low = max(0.0, low)
    bounds = (side * low * se, side * high * se)
    return min(bounds), max(bounds)


def _root(above, level, estimate, otherwise):
    """Size at which the chance reaches a level; ``otherwise`` where no size does (an estimate at the threshold)."""
    from scipy.optimize import brentq

    ends = (-40.0, estimate + 10)
    if (above(ends[0]) - level) * (above(ends[1]) - level) >= 0:
        return otherwise
    return float(brentq(lambda mu: above(mu) - level, *ends))
