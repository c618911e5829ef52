"""A frozen baseline beside the records it was set from, as they stand now."""

from __future__ import annotations

import math

import pandas as pd

from qckit.charts.baseline import set_baseline
from qckit.charts.limits import Limits, apply_limits
from qckit.errors import InputError

__all__ = ["anew_limits", "doubt_of", "stale_words"]

_WIDER = 1.25  # times the spread: narrower changes of it come with a late hatch or a recount, and change no verdict
_LEAST = 6  # hatches; the spread of fewer tells nothing, and that of two makes no limits. No source
_MOVED = 0.5  # of a standard deviation, of the centre line. Both no source


def anew_limits(limits: Limits, points, charted) -> Limits | None:
    """Work out what a frozen baseline's limits would be from the same hatches as they stand now.

    Parameters
    ----------
    limits : Limits
        As frozen.
    points : DataFrame, shape (n, any)
        The hatches of the baseline without those that nothing can rest on; see
        :func:`qckit.charts.points.check_points`.
    charted : Charted
        Name, kind and unit of the quantity.

    Returns
    -------
    Limits or None
        None where they are about the same, or where too little is left to tell.
    """
    spread = limits.spread if limits.spread == "moving range" else "standard deviation"
    if len(points) < _LEAST:
        return None
    options = {"per": charted.per, "slope_per_day": limits.slope_per_day, "spread": spread}
    try:
        now = set_baseline(points, charted.kind, **options).limits
    except InputError:
        return None
    before, after = (apply_limits(one, points).iloc[-1] for one in (limits, now))
    sizes = [(row["high"] - row["low"]) / one.width for row, one in ((before, limits), (after, now))]
    if not all(size > 0 for size in sizes):
        return None
    is_wider = abs(math.log(sizes[0] / sizes[1])) > math.log(_WIDER)
    is_moved = abs(after["centre"] - before["centre"]) > _MOVED * sizes[1] / 2
    return now if is_wider or is_moved else None


def stale_words(chart, points) -> str:
    """Say what frozen limits would be from their hatches as they stand now; empty where they are about the same.

    Parameters
    ----------
    chart : LotChart
        With frozen limits.
    points : DataFrame, shape (n, any)
        The quantity's points but for those that were set aside or whose figures can hardly be.
    """
    inside = chart.frame.loc[chart.frame["phase"] == "baseline", "label"]
    mine = points[points["label"].isin(set(inside) - {p["label"] for p in chart.set_aside})]
    now = anew_limits(chart.limits, mine, chart.charted) if chart.charted.by_lot else None
    if now is None:
        return ""
    before, after = (apply_limits(one, mine).iloc[-1] for one in (chart.limits, now))
    text = chart.charted.value_text
    return (
        f"{text(before['low'])} to {text(before['high'])}, and from the same hatches as they stand now "
        f"{text(after['low'])} to {text(after['high'])}"
    )


def doubt_of(points, series):
    """Give what speaks against the figures of each point, where ``series`` says so. Series of str, shape (n,)."""
    why = dict(zip(series["hatch"], series["doubted"], strict=True)) if "doubted" in series else {}
    return pd.Series([why.get(label, "") for label in points["label"]], index=points.index, dtype=object)
