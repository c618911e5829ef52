"""A frozen baseline beside the records it was set from, as they stand now."""

from __future__ import annotations

import math

from qckit.charts.baseline import set_baseline
from qckit.charts.limits import Limits, apply_limits
from qckit.charts.rules import find_signals
from qckit.errors import InputError

__all__ = ["anew_limits", "stale_words"]

_LEAST = 6  # hatches; the spread of fewer tells nothing, and that of two makes no limits. No source
_SURE = 1.96  # standard uncertainties: 95 of 100 (JCGM 100:2008, annex G)


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
        None where too little is left to tell.
    """
    spread = limits.spread if limits.spread == "moving range" else "standard deviation"
    if len(points) < _LEAST:
        return None
    options = {"per": charted.per, "slope_per_day": limits.slope_per_day, "spread": spread}
    try:
        return set_baseline(points, charted.kind, **options).limits
    except InputError:
        return None


def stale_words(chart, points, *, first) -> str:
    """Say what frozen limits would be from their hatches as they stand now, where the difference matters.

    Parameters
    ----------
    chart : LotChart
        With frozen limits.
    points : DataFrame, shape (n, any)
        The quantity's points but for those that were set aside or whose figures can hardly be.
    first : Timestamp
        Start of the period under review.

    Returns
    -------
    str
        Empty where it matters not.

    Notes
    -----
    It matters where a limit or the centre line differs by more than the 95 % uncertainty that it has anyway, as an
    estimate from so many hatches, or where a hatch of the period signals by one of both limits only. What is less has
    no one act otherwise, and comes with any late hatch or recount.
    """
    inside = chart.frame.loc[chart.frame["phase"] == "baseline", "label"]
    mine = points[points["label"].isin(set(inside) - {p["label"] for p in chart.set_aside})]
    now = anew_limits(chart.limits, mine, chart.charted) if chart.charted.by_lot else None
    if now is None:
        return ""
    before, after = (apply_limits(one, mine).iloc[-1] for one in (chart.limits, now))
    if not (_is_beyond_doubt(before, after, now) or _is_judged_otherwise(chart, now, points, first)):
        return ""
    text = chart.charted.value_text
    return (
        f"{text(before['low'])} to {text(before['high'])}, and from the same hatches as they stand now "
        f"{text(after['low'])} to {text(after['high'])}"
    )


def _is_beyond_doubt(before, after, now: Limits) -> bool:
    """Whether centre line or limits differ by more than their uncertainty: sigma/sqrt(n) of the centre, and of a limit
    at so many sigma also that of sigma, sigma/sqrt(2 df) (JCGM 100:2008, annex E.4.3)."""
    sigma = (after["high"] - after["low"]) / (2 * now.width)
    of_centre = 1 / now.n_independent
    of_limit = of_centre + now.width**2 / (2 * now.df)  # nothing where sigma is taken as known
    allowed = {"centre": of_centre, "low": of_limit, "high": of_limit}
    return any(
        abs(after[name] - before[name]) > _SURE * sigma * math.sqrt(variance) for name, variance in allowed.items()
    )


def _is_judged_otherwise(chart, now: Limits, points, first) -> bool:
    """Whether a hatch of the period signals by the frozen limits alone, or by the others alone."""
    labels = []
    for one in (chart.limits, now):
        signals = find_signals(apply_limits(one, points), chart.rules, reach=one.reach)
        labels.append(set(signals.loc[signals["at"] >= first, "label"]))
    return labels[0] != labels[1]
