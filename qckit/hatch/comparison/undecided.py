"""Comparisons that are open: how many more cones would settle them, in words and drawn."""

from __future__ import annotations

import math

import numpy as np

from qckit import draw
from qckit.hatch.comparison.lots import Comparison
from qckit.words import noun

__all__ = ["cones_to_decide", "draw_comparisons", "say_open"]


def cones_to_decide(comparison: Comparison, k_lot: int, k_other: int | None, *, confidence=0.95, most=20):
    """How many more cones would settle an open comparison, if the figures stay as they are.

    Parameters
    ----------
    comparison : Comparison
        With verdict "cannot tell".
    k_lot : int
        Cones of the lot so far.
    k_other : int or None
        Cones of the other so far; None for a fixed number such as a claim. Of another lot as many cones are added as
        of the lot itself.
    confidence : float
    most : int
        Give up above this number.

    Returns
    -------
    int or None
        Cones to add, of each lot; None when more than ``most`` would be needed or the spread is not known.

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> hatch.cones_to_decide(hatch.compare_hatch_pct(a, b), 3, 3) >= 1
    True
    """
    from scipy import stats

    if not (comparison.se_log > 0 and comparison.df > 0):
        return None
    line, centre = math.log(1 - comparison.margin_pct / 100), math.log(comparison.ratio)
    sides = 1 if k_other is None else 2
    per_cone = comparison.se_log**2 / (1 / k_lot + (1 / k_other if k_other else 0))
    for more in range(1, most + 1):
        se = math.sqrt(per_cone * (1 / (k_lot + more) + (1 / (k_other + more) if k_other else 0)))
        df = comparison.df + sides * more
        if centre - stats.t.ppf(confidence, df) * se > line:
            return more
        if centre + stats.t.ppf((1 + confidence) / 2, df) * se < 0:
            return more
    return None


def say_open(comparison: Comparison, k_lot: int, k_other: int | None, *, confidence=0.95, most=20) -> str:
    """The sentence of a comparison; where it is open, with how many more cones would settle it.

    Parameters
    ----------
    comparison, k_lot, k_other, confidence, most
        As for :func:`cones_to_decide`.

    Returns
    -------
    str
        Such as "...: cannot tell yet; two more cones of each would, if the figures stay as they are. A lot 19 % worse
        would have shown in four of five such tests."

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> hatch.say_open(hatch.compare_hatch_pct(a, b, other="K-118"), 3, 3).endswith(".")
    True
    """
    if not comparison.is_open:
        return comparison.sentence
    start = comparison.lead
    size = f" A lot {comparison.smallest_pct:.0f} % worse would have shown in four of five such tests."
    more = cones_to_decide(comparison, k_lot, k_other, confidence=confidence, most=most)
    each = "" if k_other is None else " of each"
    if more is None:
        if not comparison.se_log > 0:
            return comparison.sentence
        return (
            f"{start}: cannot tell yet, and {most} more cones{each} would not either: the figures lie too near the "
            f"line of {100 - comparison.margin_pct:g} %.{size}"
        )
    words = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    number = words[more - 1] if more <= len(words) else str(more)
    return (
        f"{start}: cannot tell yet; {number} more {noun(more, 'cone')}{each} would, if the figures stay "
        f"as they are.{size}"
    )


def draw_comparisons(comparisons, *, ax=None):
    """Draw ratios with their intervals, and the margin within which the lot counts as good as the other.

    Parameters
    ----------
    comparisons : sequence of Comparison
        Those without an interval are left out.
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> ax = hatch.draw_comparisons([hatch.compare_hatch_pct(a, b, other="K-118")])
    >>> ax.get_xlabel()
    'percent of what it is held against (grey: within the margin of 10 %)'
    """
    rows = [c for c in comparisons if math.isfinite(c.low) and math.isfinite(c.high)]
    ax = draw.new_axes(ax, figsize=(7.5, 0.8 + 0.42 * max(len(rows), 1)))
    at = np.arange(len(rows))[::-1]
    margin = max([c.margin_pct for c in rows], default=10.0)
    ax.axvspan(100 - margin, 100 / (1 - margin / 100), color=draw.INK, alpha=0.08, linewidth=0)
    ax.axvline(100, color=draw.INK, linewidth=1)
    for place, c in zip(at, rows):
        ax.plot([100 * c.low, 100 * c.high], [place, place], color=draw.SERIES[0], linewidth=2)
        ax.plot(100 * c.ratio, place, marker="s", color=draw.SERIES[0], markersize=7)
        ax.annotate(c.verdict, (1.01, place), xycoords=("axes fraction", "data"), va="center", fontsize=9)
    ax.set_yticks(at, [f"{c.what}\nbeside {c.other}" for c in rows], fontsize=8)
    ax.set_ylim(-0.6, len(rows) - 0.4)
    ax.set_xlabel(f"percent of what it is held against (grey: within the margin of {margin:g} %)")
    ax.grid(visible=False, axis="y")
    return ax
