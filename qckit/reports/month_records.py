"""What the monthly review writes into the log (baselines, signals, changes), and which reports a period needs."""

from __future__ import annotations

import datetime as dt
import difflib
from pathlib import Path

import pandas as pd

from qckit.agreement import load_tables
from qckit.charts.series import CHARTED, hatch_series
from qckit.errors import InputError, unknown_name
from qckit.hatch import fill_volumes
from qckit.progress import working
from qckit.settings import load_settings
from qckit.tables import check_table, to_utc
from qckit.verdicts.month.periods import month_bounds
from qckit.verdicts.month.records import no_hatch_words
from qckit.verdicts.month.set_aside import RULE, aside_row, aside_table, belonging
from qckit.words import joined, noun, plural

__all__ = [
    "freeze_baselines",
    "month_jobs",
    "record_changes",
    "record_signals",
    "set_aside",
    "study_of",
    "take_back",
    "who_and_when",
]


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
        The month is misspelt, or no production hatch was started in it.
    """
    from qckit.log import open_log

    zone = load_settings(site).site.timezone
    with open_log(site) as log:
        hatches = log.hatches()
    hatches = hatches[hatches["purpose"] == "production"]
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
        inside = (at >= first) & (at < last)
        if not inside.any():
            raise InputError(no_hatch_words(hatches, each, lot, zone))
        jobs.append(("month", {"month": each, "lot": lot}))
        if each_lot and not lot:
            used = sorted(set(hatches.loc[inside, "lot"]))
            jobs += [("month", {"month": each, "lot": one}) for one in used]
    return jobs


@working("Reviewing the month")
def study_of(site, month, lot, *, anew=False):
    """Work through a month of a site's log."""
    from qckit.log import open_log
    from qckit.verdicts.month.study import study_month

    with open_log(site) as log:
        tables = load_tables(log)
    return study_month(tables, month=month, lot=lot, is_proposed=anew)


def _free_names(names, taken):
    """Names that the log does not hold yet: a second baseline of one day gets a number."""
    out = []
    for name in names:
        free, i = name, 2
        while free in taken:
            free, i = f"{name}-{i}", i + 1
        out.append(free)
    return out


def who_and_when(by, at, what):
    """Return who does it and when; an error where nobody is named."""
    if not by.strip():
        raise InputError(f"{what}: nobody is named. Say who does it with  --by NAME")
    return by.strip(), at or dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def freeze_baselines(
    site: str | Path,
    month: str,
    *,
    by: str,
    lot: str = "",
    at: str | None = None,
    anew: bool = False,
    min_points: int = 0,
) -> str:
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
    anew : bool
        Propose limits as if none were frozen and freeze those; earlier baselines stay in the log, the latest is used.
    min_points : int
        Hatches that a baseline must rest on; limits on fewer stay proposed.

    Returns
    -------
    str
        A sentence. Charts whose limits are frozen already are left as they are, unless ``anew``.
    """
    from qckit.log import open_log
    from qckit.verdicts.month.tables import baseline_rows

    by, at = who_and_when(by, at, "freezing baselines")
    rows = baseline_rows(study_of(site, month, lot, anew=anew), set_by=by, set_at=at)
    rows = rows[rows["n_points"] >= min_points] if len(rows) else rows
    if not len(rows):
        return f"{month}: no proposed limits to freeze; those in force are frozen already, or hatches are too few."
    with open_log(site) as log:
        rows["baseline"] = _free_names(rows["baseline"], set(log.baselines()["baseline"]))
        log.add("baselines", rows, by=by, source=f"monthly review {month}")
    return f"{month}: {plural(len(rows), 'baseline')} frozen by {by}."


def record_signals(site: str | Path, month: str, *, by: str, lot: str = "", at: str | None = None) -> str:
    """Put a month's signals into the log as open, and say how many are new.

    Parameters are those of :func:`freeze_baselines`. Signals that are there already keep their state.
    """
    from qckit.log import open_log
    from qckit.verdicts.month.tables import signal_rows

    by, at = who_and_when(by, at, "recording signals")
    rows = signal_rows(study_of(site, month, lot), found_at=at)
    with open_log(site) as log:
        known = set(log.signals()["signal"])
        new = rows[~rows["signal"].isin(known)].reset_index(drop=True)
        if len(new):
            log.add("signals", new.assign(state="open"), by=by, source=f"monthly review {month}")
    there = len(rows) - len(new)
    return f"{month}: {plural(len(new), 'new signal')} recorded, {there} {noun(there, 'was', 'were')} there already."


def record_changes(site: str | Path, study, *, by: str = "qckit", at: str = "") -> int:
    """Put the changes that a month's review found into the log, so that later months keep their dates.

    Parameters
    ----------
    site : path
    study : verdicts.month.study.MonthStudy
    by : str
        Who made the review.
    at : str
        When, ISO 8601; the end of the period when left out, so that the same review writes the same row.

    Returns
    -------
    int
        How many are new. A change that an earlier review found stands already.
    """
    from qckit.log import open_log
    from qckit.verdicts.month.tables import change_rows

    if study.lot:
        return 0  # the whole month's review keeps the book
    rows = change_rows(study, found_by=by, found_at=at or study.last.isoformat())
    if not len(rows):
        return 0
    with open_log(site) as log:
        new = rows[~rows["change"].isin(set(log.changes()["change"]))].reset_index(drop=True)
        if len(new):
            log.add("changes", check_table(new, "changes"), by=by, source=f"monthly review {study.month}")
    return len(new)


def set_aside(site: str | Path, hatch: str, *, reason: str, by: str, chart: str = "", at: str | None = None) -> str:
    """Set a hatch aside from baselines, with a reason: it is crossed in its charts and read by no rule.

    Parameters
    ----------
    site : path
    hatch : str
    reason, by : str
        Why, and who says so; both shown on the page and kept in the log.
    chart : str
        One quantity only, such as ``hatch_pct``; empty: every quantity this hatch was measured in.
    at : str, optional
        When, ISO 8601; the clock when left out.

    Returns
    -------
    str
        A sentence. Baselines that are frozen already stay as they are until they are frozen anew.

    Raises
    ------
    InputError
        The hatch or the quantity is unknown, the hatch has no such value, or the reason or the name is empty.
    """
    from qckit.log import open_log

    by, at = who_and_when(by, at, "setting aside")
    if not reason.strip():
        raise InputError(f"setting aside: hatch {hatch} is given no reason. Say why in a few words:  --reason TEXT")
    row = _measured(site, hatch)
    names = _chosen_quantities(row, hatch, chart)
    with open_log(site) as log:
        known = log.signals().set_index("signal")
        for name in names:
            key = f"{name}|{hatch}|{RULE}"
            if key in known.index:  # once before, taken back or with another reason
                for column, value in (("by", by), ("note", reason.strip()), ("found_at", at), ("state", "explained")):
                    if str(known.at[key, column]) != value:
                        log.correct("signals", key, column, value, by=by, reason=reason.strip())
                continue
            new = aside_row(
                chart=name,
                hatch=hatch,
                lot=row["lot"],
                at=row["at"].isoformat(),
                value=float(row[name]),
                by=by,
                reason=reason.strip(),
                found_at=at,
            )
            log.add("signals", new, by=by, source="monthly review")
    return f"{hatch} is set aside in {_count(len(names))} by {by}: {reason.strip()}."


def take_back(site: str | Path, hatch: str, *, reason: str, by: str, chart: str = "") -> str:
    """Take back that a hatch was set aside, by a person or because it stands out or is doubted.

    Parameters are those of :func:`set_aside`.
    """
    from qckit.log import open_log

    by, at = who_and_when(by, None, "taking back")
    if not reason.strip():
        raise InputError(f"taking back: hatch {hatch} is given no reason. Say why in a few words:  --reason TEXT")
    with open_log(site) as log:
        table, counting = aside_table(log.signals()), belonging(log.signals())
        mine = table[(table["hatch"] == hatch) & ((table["chart"] == chart) if chart else True)]
    if not len(mine) and hatch in counting and chart in ("", "hatch_pct"):
        return f"{hatch} counts already. Nothing changed."
    if not len(mine):
        row = _measured(site, hatch)
        if chart not in ("", "hatch_pct") or not _stands_out(site, hatch):
            raise _nothing_to_take_back(table, hatch, chart)
        values = {"lot": row["lot"], "at": row["at"].isoformat(), "value": float(row["hatch_pct"]), "found_at": at}
        new = aside_row(chart="hatch_pct", hatch=hatch, by=by, reason=reason.strip(), **values).assign(state="open")
        with open_log(site) as log:
            log.add("signals", new, by=by, source="monthly review")
        return f"{hatch} counts although it stands out, says {by}: {reason.strip()}."
    with open_log(site) as log:
        for name in mine["chart"]:
            log.correct("signals", f"{name}|{hatch}|set aside", "state", "open", by=by, reason=reason.strip())
    return f"{hatch} counts again in {_count(len(mine))}, says {by}: {reason.strip()}."


def _nothing_to_take_back(table, hatch, chart) -> InputError:
    elsewhere = list(table.loc[table["hatch"] == hatch, "chart"])
    if elsewhere:
        return InputError(
            f"taking back: hatch {hatch} is not set aside in {chart}. It is set aside in {joined(elsewhere)}: name one "
            "of these with --chart, or leave --chart out for all."
        )
    hatches = joined(dict.fromkeys(table["hatch"])) or "none"
    return InputError(
        f"taking back: hatch {hatch} is neither set aside nor left out for standing out, so it counts already. Set "
        f"aside now: {hatches}."
    )


def _stands_out(site, hatch) -> bool:
    """Whether the review of a hatch's month, or of the newest one, leaves it out of what is usual, or doubts it."""
    from qckit.log import open_log

    with open_log(site) as log:
        hatches = log.hatches()
    made = hatches[hatches["purpose"] == "production"].set_index("hatch")
    if hatch not in made.index:
        return False
    months = to_utc(made["started"]).dt.tz_convert(load_settings(site).site.timezone).dt.strftime("%Y-%m")
    studies = (study_of(site, month, "") for month in sorted({months[hatch], months.max()}))
    return any(hatch in study.apart or hatch in study.doubted for study in studies)


def _count(n):
    return plural(n, "chart")


def _measured(site, hatch):
    """The hatch's row of the series, of whatever purpose."""
    from qckit.log import open_log

    with open_log(site) as log:
        hatches = log.hatches()
        one = hatches[hatches["hatch"] == hatch]
        if not len(one):
            near = difflib.get_close_matches(hatch, list(hatches["hatch"]), n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            raise InputError(f"the site's log: unknown hatch {hatch!r}.{hint} qckit log show hatches lists them.")
        samples, readings, lots = fill_volumes(log.samples(hatch=hatch), log.photos()), log.readings(), log.lots()
    conditions = load_settings(site).conditions
    return hatch_series(lots, one, samples, readings, conditions=conditions, purposes=tuple(one["purpose"])).iloc[0]


def _chosen_quantities(row, hatch, chart):
    if chart and chart not in CHARTED:
        raise unknown_name("chart", chart, list(CHARTED), where="setting aside")
    measured = [name for name in CHARTED if pd.notna(row[name])]
    if chart:
        measured = [chart] if chart in measured else []
    if not measured:
        raise InputError(
            f"setting aside: hatch {hatch} has no value {f'for {chart}' if chart else 'in any chart'}, so there is "
            "nothing to set aside. Check the hatch's name."
        )
    return measured
