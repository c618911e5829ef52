"""Months and days at the site, as instants in UTC."""

from __future__ import annotations

import re

import pandas as pd

from qckit.errors import InputError

__all__ = ["span"]


def span(month, since, until, timezone: str) -> tuple[str | None, str | None]:
    """Turn a month, or a since and until, into UTC text bounds ``low <= t < high``.

    Parameters
    ----------
    month : str or None
        ``2026-10``; then ``since`` and ``until`` must be None.
    since, until : str or None
        ISO date (midnight at the site) or ISO time, with offset or at the site's own clock.
    timezone : str
        The site's time zone, such as ``Europe/Lisbon``.

    Returns
    -------
    tuple of (str or None, str or None)
        In the form that sorts by time.
    """
    if month is not None:
        if since is not None or until is not None:
            raise InputError("A month and since/until were given together. Give one or the other.")
        if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", str(month)):
            raise InputError(f"The month {month!r} is not of the form 2026-10. Write year and month so.")
        first = pd.Period(month, "M")
        since, until = str(first.start_time.date()), str((first + 1).start_time.date())
    return _instant(since, timezone), _instant(until, timezone)


def _instant(text, timezone: str) -> str | None:
    if text is None:
        return None
    try:
        time = pd.Timestamp(text)
    except ValueError as error:
        raise InputError(f"{text!r} is not a date or time. Write it like 2026-11-04.") from error
    if time.tzinfo is None:
        time = time.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward")
    return time.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%S.%fZ")
