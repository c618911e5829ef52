"""How the page's one false-alarm rate is shared out among everything that can raise an alarm.

In a month in which nothing changed, the page says anything but "in control" in at most :data:`PAGE_RATE` of months.
Each part below has its own share; shares add up to the whole (Bonferroni), and within a part every hatch, group, time
and quantity looked at is counted. Marks on the charts are something else: each chart states how often chance makes
them, and they change no verdict.
"""

from __future__ import annotations

import numpy as np

__all__ = ["PAGE_RATE", "SHARES", "SHARE_WORDS", "kept_by_fdr"]

PAGE_RATE = 0.05
"""Largest share of quiet months that the page may call anything but in control."""

SHARES = {
    "changes": 0.008,
    "late levels": 0.003,
    "lots": 0.014,
    "efficiency": 0.003,
    "water": 0.008,
    "hatches": 0.007,
    "other charts": 0.004,
    "water readings": 0.003,
}
"""Part of the page -> its share."""

SHARE_WORDS = {
    "changes": "a change of the hatching percentage in any group, at any time of the lots' lives",
    "late levels": "a new person, cone or way of counting that differs",
    "lots": "a lot that is worse than what was to be expected of it",
    "efficiency": "a change of nauplii per gram",
    "water": "a change of the water in all cones or one, by more than a meter may be off",
    "hatches": "single hatches, hatching percentage",
    "other charts": "single hatches, the other charts",
    "water readings": "single readings of the water",
}
"""What each share is for, in words."""


def kept_by_fdr(p_values, rate: float):
    """Say which of many looks stand out when all of them are counted.

    Parameters
    ----------
    p_values : array_like of float, shape (n,)
        Chance of each; NaN is never kept.
    rate : float
        False discovery rate; where nothing is wrong, the chance that anything is kept.

    Returns
    -------
    ndarray of bool, shape (n,)

    References
    ----------
    Benjamini and Hochberg 1995, Journal of the Royal Statistical Society B 57:289-300.
    """
    p = np.asarray(p_values, float)
    kept = np.zeros(len(p), bool)
    known = np.flatnonzero(np.isfinite(p))
    if not len(known):
        return kept
    order = known[np.argsort(p[known], kind="stable")]
    passed = np.flatnonzero(p[order] <= rate * np.arange(1, len(order) + 1) / len(order))
    if len(passed):
        kept[order[: passed[-1] + 1]] = True
    return kept
