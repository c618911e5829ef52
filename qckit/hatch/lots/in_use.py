"""Whether a lot is in use: hatched for feed within the last 30 days."""

from __future__ import annotations

import pandas as pd

from qckit.tables import to_utc

__all__ = ["IN_USE_DAYS", "is_in_use", "last_used"]

IN_USE_DAYS = 30
"""Days without a hatch for feed after which a lot is no longer in use.

Ours: where hatching is daily, a lot that was not touched for a month is used up or put away. With fewer days a lot that
rests, or a room that is shut for some weeks, would drop out; with more, the day's page would go on asking for a lot
that is used up, and a new lot would be held against the one before the last.
"""


def last_used(hatches: pd.DataFrame, now) -> pd.Series:
    """Return the newest production hatch of each lot up to a moment: times by lot."""
    made = hatches[hatches["purpose"] == "production"]
    at = to_utc(made["started"])
    return at[at <= now].groupby(made["lot"]).max()


def is_in_use(used: pd.Timestamp | None, now) -> bool:
    """Tell whether a lot used last at a time, or never, is in use: by days of now's clock, whatever the hour."""
    return used is not None and (now.date() - used.tz_convert(now.tzinfo).date()).days <= IN_USE_DAYS
