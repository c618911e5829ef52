"""Whether a lot is in use: hatched for feed within the last month."""

from __future__ import annotations

import pandas as pd

from qckit.tables import to_utc

__all__ = ["IN_USE_DAYS", "is_in_use", "last_used"]

IN_USE_DAYS = 30


def last_used(hatches: pd.DataFrame, now) -> pd.Series:
    """Return the newest production hatch of each lot up to a moment: times by lot."""
    made = hatches[hatches["purpose"] == "production"]
    at = to_utc(made["started"])
    return at[at <= now].groupby(made["lot"]).max()


def is_in_use(used: pd.Timestamp | None, now) -> bool:
    """Tell whether a lot used last at a time, or never, is in use: by days of now's clock, whatever the hour."""
    return used is not None and (now.date() - used.tz_convert(now.tzinfo).date()).days <= IN_USE_DAYS
