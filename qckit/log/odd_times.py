"""Dates and times that contradict the calendar, or a hatch's start, though each can be by itself."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from qckit.log import schema
from qckit.log.problems import Doubt, doubt
from qckit.tables import to_utc

__all__ = ["days_apart", "early_feeds", "far_readings", "times_to_come"]

_LOT_DATES = ("harvested", "received", "opened", "best_before")
_OLD_YEARS, _KEPT_YEARS = 30, 40  # a lot harvested longer ago, or good longer than this
_FIRST_H = 12.0  # at 28 °C the first nauplii swim after 15 to 20 h (FAO Fisheries Technical Paper 361, from memory)
_EARLY_H, _LATE_H = 24.0, 240.0  # water is read when a cone is filled, and while it stands


def days_apart(lots: pd.DataFrame, now: str) -> list[Doubt]:
    """Find lots whose dates contradict each other or the calendar.

    Parameters
    ----------
    lots : DataFrame, shape (n, any)
    now : str
        ISO time.
    """
    today, found = now[:10], []
    for row in lots.itertuples():
        dates = {c: getattr(row, c) for c in _LOT_DATES if isinstance(getattr(row, c), str)}
        shown = {c: f"{c} is {d}" for c, d in dates.items()}
        what = next((f"{shown[c]}, still to come" for c in _LOT_DATES[:3] if c in dates and dates[c] > today), "")
        for early, late in pairwise([c for c in _LOT_DATES if c in dates]):
            if dates[late][: len(dates[early])] < dates[early][: len(dates[late])] and late != "best_before":
                what = what or f"{shown[late]}, and {shown[early]}"
        if "harvested" in dates and int(today[:4]) - int(dates["harvested"][:4]) > _OLD_YEARS:
            what = what or shown["harvested"]
        if "best_before" in dates and int(dates["best_before"][:4]) - int(today[:4]) > _KEPT_YEARS:
            what = what or shown["best_before"]
        if what:
            column = next(c for c in _LOT_DATES if c in dates and what.startswith(f"{c} is"))
            found.append(
                doubt(
                    "lots",
                    lots,
                    index=row.Index,
                    column=column,
                    what=what,
                    hint="Look at the year, and at the order of day and month.",
                )
            )
    return found


def times_to_come(tables: dict[str, pd.DataFrame], now: str) -> list[Doubt]:
    """Find records dated more than a day after the clock.

    Parameters
    ----------
    tables : dict of str to DataFrame
    now : str
        ISO time.

    Returns
    -------
    list of Doubt
    """
    limit = pd.Timestamp(now) + pd.Timedelta(days=1)
    return [
        doubt(
            name,
            tables[name],
            index=i,
            column=column,
            what=f"{column} is {tables[name].at[i, column]}, still to come",
            hint="If the time is right, set the computer's clock.",
        )
        for name, column in schema.TIME_COLUMN.items()
        if name in tables
        for i in tables[name].index[to_utc(tables[name][column]) > limit]
    ]


def far_readings(readings: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Find readings long before or after their hatch stood in its cone.

    Parameters
    ----------
    readings, hatches : DataFrame, shape (n, any)
        Readings are weighed against those hatches that are there.
    """
    hours = _hours_after_start(readings, "taken", hatches)
    return [
        doubt(
            "readings",
            readings,
            index=i,
            column="taken",
            what=f"was taken {_apart(hours[i])} its hatch was started",
            hint="Look at the day, and at the hatch's name.",
        )
        for i in readings.index[(hours < -_EARLY_H) | (hours > _LATE_H)]
    ]


def early_feeds(feeds: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Find feeds of a hatch before it can have given nauplii.

    Parameters
    ----------
    feeds, hatches : DataFrame, shape (n, any)
        Feeds are weighed against those hatches that are there.
    """
    hours = _hours_after_start(feeds, "fed", hatches)
    hint = "Look at the day and the time, and at the hatch's name."
    return [
        doubt(
            "feeds", feeds, index=i, column="fed", what=f"was fed {_apart(hours[i])} its hatch was started", hint=hint
        )
        for i in feeds.index[hours < _FIRST_H]
    ]


def _hours_after_start(rows: pd.DataFrame, column: str, hatches: pd.DataFrame) -> pd.Series:
    """Hours from the start of each row's hatch to the time in a column; NaN where the hatch is not there."""
    started = rows["hatch"].map(hatches.drop_duplicates("hatch").set_index("hatch")["started"])
    return (to_utc(rows[column]) - to_utc(started)).dt.total_seconds() / 3600


def _apart(hours: float) -> str:
    return f"{abs(hours):.0f} h {'before' if hours < 0 else 'after'}"
