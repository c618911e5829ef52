"""Readings of the water far off the site's standard and apart from its other readings: no limits rest on them.

A cold night among fifteen ordinary ones would widen the limits of a first month until it lies within them. What is far
off is asked of the standard alone (:mod:`qckit.hatch.water.readings`); a room that is usually far off keeps its
readings, for the standard does not say what is ordinary there. One that stands alone may be a slip of the
meter or of the sheet: it is named, and asks for no explanation.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd

from qckit.charts.series import CHARTED, CONDITIONS
from qckit.charts.water import apart_from_usual
from qckit.hatch.water.readings import standard_of
from qckit.quantities import WATER
from qckit.verdicts.poor_hatch.conditions.off_standard import is_costly
from qckit.words import day, plural

__all__ = ["COLUMNS", "far_off_readings", "far_off_words", "lone_readings", "reasons_of"]

COLUMNS = ["chart", "hatch", "at", "value", "side", "text", "standard", "is_costly", "is_lone"]
"""Columns of :func:`far_off_readings`."""
_REACH_DAYS = 180  # before the end of the month: what is usual is learnt from these
_NEAR = pd.Timedelta(hours=36)  # a night and the next (ours): water that was off this long is read twice
_MOST = 4  # groups named in a sentence


def far_off_readings(points, conditions, *, last, measured=None) -> pd.DataFrame:
    """List the readings far off the standard that lie apart from the others, where most are not far off.

    Parameters
    ----------
    points : dict
        Quantity of the water (a chart's name) -> its points from :func:`qckit.charts.water.water_points`.
    conditions : settings.ConditionSettings
        The site's standards.
    last : Timestamp
        End of the month reviewed.
    measured : DataFrame, optional
        Every reading, from :func:`qckit.hatch.water.readings.standard_readings`: two of a hatch bear each other out.

    Returns
    -------
    DataFrame
        chart, hatch, at, value (in the chart's unit), side (``below`` or ``above``), text (value and unit) and standard
        in words, is_costly (such water costs many nauplii by the literature), is_lone (no other reading of its quantity
        in its hatch, within 36 hours, or next in its cone is far off on its side); in the order of quantities and of
        time.
    """
    rows = []
    for quantity, name in zip(WATER, CONDITIONS, strict=True):
        standard = standard_of(quantity, conditions)
        recent = points[name][points[name]["at"] >= last - pd.Timedelta(days=_REACH_DAYS)]
        if not len(recent) or standard.is_far_off(recent["value"].median()):
            continue
        far = recent[standard.is_far_off(recent["value"]) & apart_from_usual(recent, name)]
        side = np.array([standard.side(value) for value in far["value"]], dtype=object)
        is_lone = _stand_alone(far, recent, side) & ~_are_read_twice(far, side, measured, quantity, standard)
        for row, alone in zip(far.itertuples(), is_lone, strict=True):
            value = float(row.value)
            words = (standard.side(value), _text(name, value, standard), standard.words)
            rows.append((name, row.label, row.at, value, *words, is_costly(quantity, value, conditions), alone))
    return pd.DataFrame(rows, columns=COLUMNS).astype({"is_costly": bool, "is_lone": bool})


def _stand_alone(far, recent, side) -> np.ndarray:
    """Tell which readings far off have no like one near in time nor next to them in their cone."""
    at, cone = far["at"].to_numpy("datetime64[ns]"), far["cone"].fillna("").astype(str).to_numpy()
    turn = recent.groupby(recent["cone"].fillna("").astype(str)).cumcount().loc[far.index].to_numpy()
    is_near = np.abs(at[:, None] - at) <= _NEAR.to_timedelta64()
    is_next = (np.abs(turn[:, None] - turn) == 1) & (cone[:, None] == cone) & (cone != "")
    is_like = (is_near | is_next) & (side[:, None] == side)
    np.fill_diagonal(is_like, False)
    return ~is_like.any(axis=1)


def _text(name, value, standard) -> str:
    """A value with its unit, one decimal finer where it would read as if it met the standard."""
    q = CHARTED[name]
    is_met = not standard.side(round(value, q.decimals))
    return (replace(q, decimals=q.decimals + 1) if is_met else q).value_text(value)


def _are_read_twice(far, side, measured, quantity, standard) -> np.ndarray:
    """Tell which hatches have two readings or more far off on the side of their median."""
    if measured is None or not len(measured):
        return np.zeros(len(far), bool)
    mine = measured[(measured["quantity"] == quantity) & measured["hatch"].isin(far["label"])]
    mine = mine[standard.is_far_off(mine["value"])]
    n = Counter(zip(mine["hatch"], map(standard.side, mine["value"]), strict=True))
    return np.array([n[pair] > 1 for pair in zip(far["label"], side, strict=True)], dtype=bool)


def reasons_of(readings, name) -> dict:
    """Return hatch -> reason of one chart's readings far off."""
    mine = readings[readings["chart"] == name]
    return {row.hatch: f"far off the standard of {row.standard}" for row in mine.itertuples()}


def lone_readings(readings) -> set:
    """Return (chart, hatch) of the readings far off that stand alone."""
    alone = readings[readings["is_lone"]]
    return set(zip(alone["chart"], alone["hatch"], strict=True))


def far_off_words(readings, order="ymd", timezone="UTC", *, most=_MOST) -> str:
    """Name readings far off by value, day and standard; empty where there are none.

    Parameters
    ----------
    readings : DataFrame
        From :func:`far_off_readings`.
    order, timezone : str
        Of the site: order of dates, and the clock by which a reading belongs to a day.
    most : int
        Groups of like readings of a day that are named; of the others only the number.
    """
    if not len(readings):
        return ""
    days = readings["at"].dt.tz_convert(timezone).dt.date
    parts = [
        f"{plural(len(part), f'{CHARTED[name].label} reading')} of {value} on {day(when, order)}, standard {standard}"
        for (name, when, value, standard), part in readings.groupby(
            ["chart", days.rename("day"), "text", "standard"], sort=False
        )
    ]
    more = len(parts) - most
    return "; ".join(parts[:most]) + (f"; and {more} more such" if more > 0 else "")
