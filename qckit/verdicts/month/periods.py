"""The period under review: its bounds, and the ones it is put beside."""

from __future__ import annotations

import re

import pandas as pd

from qckit.errors import InputError
from qckit.tables import to_clock
from qckit.verdicts.month.day_means import mean_share

__all__ = ["compare_periods", "month_bounds"]


def month_bounds(month: str, timezone: str = "UTC"):
    """Return the first instant of a period and of what follows it, at the site's clock.

    Parameters
    ----------
    month : str
        ``2026-10``; or a period ``2026-09-15..2026-10-14`` or ``2026-07..2026-10``, both ends in it.
    timezone : str
        The site's.

    Returns
    -------
    tuple of Timestamp

    Raises
    ------
    InputError
        It is written otherwise, or ends before it begins.
    """
    ends = str(month).split("..")
    try:
        if not (1 <= len(ends) <= 2 and all(re.fullmatch(r"\d{4}-\d\d(-\d\d)?", end) for end in ends)):
            raise ValueError
        if len(ends) == 1 and len(ends[0]) > 7:
            raise ValueError
        first, end = (pd.Timestamp(end if len(end) > 7 else f"{end}-01") for end in (ends[0], ends[-1]))
    except ValueError:
        raise InputError(
            f"month is {str(month)!r} and must be written YYYY-MM, such as 2026-10, or as a period, such as "
            "2026-09-15..2026-10-14. Correct it."
        ) from None
    last = end + (pd.DateOffset(days=1) if len(ends[-1]) > 7 else pd.DateOffset(months=1))
    if last <= first:
        raise InputError(f"month is {month!r}, and that period ends before it begins. Swap the two days.")
    return to_clock(first, timezone), to_clock(last, timezone)


def _before(at, step):
    """A time moved back by months or years of the site's clock."""
    return to_clock(at.tz_localize(None) - step, at.tz)


def _periods(month, first, last):
    """The period, the one before it, and the same a year before: words and bounds."""
    if ".." not in month:
        yield "this month", first, last
        yield "month before", _before(first, pd.DateOffset(months=1)), first
    else:
        yield "this period", first, last
        yield "period before", first - (last - first), first
    year = pd.DateOffset(years=1)
    yield "a year before", _before(first, year), _before(last, year)


def compare_periods(history, month, first, last, lot):
    """The month beside the month before and the same month a year before, per lot and together."""
    rows = []
    pool = history[history["lot"] == lot] if lot else history
    for words, start, end in _periods(month, first, last):
        part = pool[(pool["at"] >= start) & (pool["at"] < end)]
        named = f"{start:%Y-%m}" if ".." not in month else f"from {start:%Y-%m-%d}"
        for name in [*sorted(part["lot"].unique()), "all lots"] if not lot else [lot]:
            of_lot = part if name == "all lots" else part[part["lot"] == name]
            counted = of_lot[of_lot["full_cysts"] > 0]
            if not len(counted):
                continue
            share = mean_share(counted)
            rows.append(
                {
                    "period": words,
                    "month": named,
                    "lot": name,
                    "n_hatches": len(of_lot),
                    "hatch_pct": 100 * share.value,
                    "hatch_pct_low": 100 * share.low,
                    "hatch_pct_high": 100 * share.high,
                    "nauplii_per_g": float(of_lot["hatching_efficiency_per_g"].mean()),
                    "umbrella_pct": float(counted["umbrella_pct"].mean()),
                    "shells_per_1000": float(of_lot["shells_per_1000"].mean()),
                    "cysts_g": float(of_lot["cysts_g"].sum()),
                }
            )
    return pd.DataFrame(rows)
