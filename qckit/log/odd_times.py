"""Dates and times that contradict the calendar, or a hatch's start, though each can be by itself."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pandas as pd

from qckit.log import schema
from qckit.log.problems import Doubt, doubt
from qckit.tables import to_utc
from qckit.words import joined, rows_in_words

__all__ = ["days_apart", "early_feeds", "far_readings", "steps_to_come", "times_to_come"]

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
    """Find records dated more than a day after the clock, each by itself."""
    return [_to_come_doubt(tables[name], name, i, column) for name, i, column in _to_come(tables, now)]


def _to_come(tables, now):
    """Table, row and column of each record dated more than a day after the clock."""
    limit = pd.Timestamp(now) + pd.Timedelta(days=1)
    for name, column in schema.TIME_COLUMN.items():
        if name in tables:
            for i in tables[name].index[to_utc(tables[name][column]) > limit]:
                yield name, i, column


def _to_come_doubt(frame, name, i, column):
    what = f"{column} is {frame.at[i, column]}, still to come"
    return doubt(name, frame, i, column, what=what, hint="If the time is right, set the computer's clock.")


def steps_to_come(tables: dict[str, pd.DataFrame], now: str, step: int | None = None) -> list[Doubt]:
    """Find records dated more than a day after the clock, those of one step as one question that one command mends.

    Parameters
    ----------
    tables : dict of str to DataFrame
    now : str
        ISO time.
    step : int, optional
        That brings all of them; where left out, the tables' column ``step`` says it.

    Returns
    -------
    list of Doubt
    """
    rows = [
        (step if step is not None else int(tables[name].at[i, "step"]), name, i, column)
        for name, i, column in _to_come(tables, now)
    ]
    n_rows = Counter(of for of, *_ in rows)
    found = [_to_come_doubt(tables[name], name, i, column) for of, name, i, column in rows if n_rows[of] == 1]
    for of in sorted(of for of, n in n_rows.items() if n > 1):
        mine = [row[1:] for row in rows if row[0] == of]
        n = Counter(name for name, *_ in mine)
        what = joined(rows_in_words(n[name], name) for name in schema.ENTERED if n[name])
        days = sorted({tables[name].at[i, column][:10] for name, i, column in mine})
        dated = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
        hint = (
            f"Is the month right? If not, take all of it back:  qckit log withdraw steps {of} --reason TEXT;  and "
            "enter it again. If it is right, set the computer's clock."
        )
        found.append(Doubt("steps", str(of), f"its {what} are dated {dated}, still to come", hint))
    return found


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
