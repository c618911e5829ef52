"""Times of day as the page of the day says them: with the day where it is not today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from qckit.words import joined

__all__ = ["clock_words", "clocks_words"]


def clock_words(when: dt.datetime, now: dt.datetime) -> str:
    """Write a time of day, with the day where it is not today.

    Examples
    --------
    >>> import datetime as dt
    >>> from qckit.day.clock_words import clock_words
    >>> clock_words(dt.datetime(2026, 11, 21, 10), dt.datetime(2026, 11, 20, 9))
    'tomorrow 10:00'
    """
    days = (when.date() - now.date()).days
    name = {0: "", 1: "tomorrow ", -1: "yesterday "}.get(days, f"{when:%a} ")
    return f"{name}{when:%H:%M}"


def clocks_words(times: Sequence[dt.datetime], now: dt.datetime) -> str:
    """Write times one after the other, each day named once.

    Examples
    --------
    >>> import datetime as dt
    >>> from qckit.day.clock_words import clocks_words
    >>> times = [dt.datetime(2026, 11, 21, 10), dt.datetime(2026, 11, 21, 16), dt.datetime(2026, 11, 22, 8)]
    >>> clocks_words(times, dt.datetime(2026, 11, 20, 9))
    'tomorrow 10:00 and 16:00, and Sun 08:00'
    """
    days: dict[dt.date, list[dt.datetime]] = {}
    for when in times:
        days.setdefault(when.date(), []).append(when)
    parts = [
        joined([clock_words(of_day[0], now), *(f"{when:%H:%M}" for when in of_day[1:])]) for of_day in days.values()
    ]
    return (", and " if len(times) > len(parts) else " and ").join(parts)
