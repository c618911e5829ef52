"""What the monthly review writes into the log (baselines, signals, explanations), and which reports a period needs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd

from qckit.errors import InputError, unknown_name

__all__ = ["explain_signals", "freeze_baselines", "month_jobs", "record_signals"]


def month_jobs(site: str | Path, month: str, *, lot: str = "", each_lot: bool = False) -> list[tuple[str, dict]]:
    """List the reports that a month, a period or all months of a site need.

    Parameters
    ----------
    site : path
    month : str
        ``2026-10``, a period ``2026-09-15..2026-10-14``, or ``all`` for every month with a production hatch.
    lot : str
        One lot only.
    each_lot : bool
        Also a report for each lot used.

    Returns
    -------
    list of (str, dict)
        For :func:`qckit.reports.run_reports`.

    Raises
    ------
    InputError
        The month is misspelt, or ``all`` finds no hatch.
    """
    from qckit.log import open_log
    from qckit.settings import load_settings
    from qckit.tables import to_utc
    from qckit.verdicts.month_periods import month_bounds

    zone = load_settings(site).site.timezone
    with open_log(site) as log:
        hatches = log.hatches()
    hatches = hatches[hatches["purpose"].isin(("production", "reference"))]
    if lot:
        if lot not in set(hatches["lot"]):
            raise unknown_name("lot", lot, sorted(set(hatches["lot"])), where="the site's log")
        hatches = hatches[hatches["lot"] == lot]
    at = to_utc(hatches["started"]).dt.tz_convert(zone) if len(hatches) else pd.Series(dtype="datetime64[us, UTC]")
    months = sorted(set(at.dt.strftime("%Y-%m"))) if month == "all" and len(at) else [month]
    if months == ["all"]:
        raise InputError("the site's log holds no production hatch. Import the field sheets first.")
    jobs = []
    for each in months:
        first, last = month_bounds(each, zone)
        jobs.append(("month", {"month": each, "lot": lot}))
        if each_lot and not lot:
            used = sorted(set(hatches.loc[(at >= first) & (at < last), "lot"]))
            jobs += [("month", {"month": each, "lot": one}) for one in used]
    return jobs


def _study(site, month, lot):
    from qckit.reports.month_report import load_month

    return load_month(site, month, lot).study


def _who_and_when(by, at, what):
    if not by.strip():
        raise InputError(f"{what}: nobody is named. Say who does it with  --by NAME")
    return by.strip(), at or dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def freeze_baselines(site: str | Path, month: str, *, by: str, lot: str = "", at: str | None = None) -> str:
    """Freeze the limits that a month's review proposes, and say how many.

    Parameters
    ----------
    site : path
    month : str
        The month or period whose review proposes them.
    by : str
        Who reviewed them.
    lot : str
        One lot only.
    at : str, optional
        When, ISO 8601; the clock when left out.

    Returns
    -------
    str
        A sentence. Charts whose limits are frozen already are left as they are.
    """
    from qckit.log import open_log
    from qckit.verdicts.month_tables import baseline_rows

    by, at = _who_and_when(by, at, "freezing baselines")
    rows = baseline_rows(_study(site, month, lot), set_by=by, set_at=at)
    if not len(rows):
        return f"{month}: no proposed limits to freeze; those in force are frozen already, or hatches are too few."
    with open_log(site) as log:
        log.add("baselines", rows, by=by, source=f"monthly review {month}")
    return f"{month}: {len(rows)} baselines frozen by {by}."


def record_signals(site: str | Path, month: str, *, by: str, lot: str = "", at: str | None = None) -> str:
    """Put a month's signals into the log as open, and say how many are new.

    Parameters are those of :func:`freeze_baselines`. Signals that are there already keep their state.
    """
    from qckit.log import open_log
    from qckit.verdicts.month_tables import signal_rows

    by, at = _who_and_when(by, at, "recording signals")
    rows = signal_rows(_study(site, month, lot), found_at=at)
    with open_log(site) as log:
        known = set(log.signals()["signal"])
        new = rows[~rows["signal"].isin(known)].reset_index(drop=True)
        if len(new):
            log.add("signals", new.assign(state="open"), by=by, source=f"monthly review {month}")
    return f"{month}: {len(new)} new signals recorded, {len(rows) - len(new)} were there already."


def explain_signals(site: str | Path, hatch: str, *, by: str, note: str) -> str:
    """Mark the open signals of a hatch as explained.

    Parameters
    ----------
    site : path
    hatch : str
    by, note : str
        Who found out what.

    Returns
    -------
    str
        A sentence.

    Raises
    ------
    InputError
        No signal of this hatch is recorded, or the note or the name is empty.
    """
    from qckit.log import open_log

    by, _ = _who_and_when(by, "now", "explaining signals")
    if not note.strip():
        raise InputError(
            f"explaining signals: hatch {hatch} is given no explanation. Say what was found in  --note TEXT"
        )
    with open_log(site) as log:
        known = log.signals()
        mine = known[known["hatch"] == hatch]
        if not len(mine):
            raise unknown_name("hatch with a recorded signal", hatch, sorted(set(known["hatch"].dropna())),
                               where="the site's log")  # fmt: skip
        waiting = mine[mine["state"] == "open"]
        for signal in waiting["signal"]:
            for column, value in (("by", by), ("note", note.strip()), ("state", "explained")):
                log.correct("signals", signal, column, value, by=by, reason=note.strip())
    return f"{hatch}: {len(waiting)} signals explained by {by}."
