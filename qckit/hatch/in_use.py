"""Whether a lot is in use: hatched for feed within the last month."""

from __future__ import annotations

import pandas as pd

from qckit.tables import to_utc

__all__ = ["IN_USE_DAYS", "is_in_use", "last_used"]

IN_USE_DAYS = 30.0


def last_used(hatches: pd.DataFrame, now) -> pd.Series:
    """Return the newest production hatch of each lot up to a moment: times by lot."""
    made = hatches[hatches["purpose"] == "production"]
    at = to_utc(made["started"])
    return at[at <= now].groupby(made["lot"]).max()


def is_in_use(hatches: pd.DataFrame, lot: str, now) -> bool:
    """Tell whether a lot was hatched for feed within a month before a moment."""
    used = last_used(hatches, now).get(lot)
    return used is not None and now - used <= pd.Timedelta(days=IN_USE_DAYS)
