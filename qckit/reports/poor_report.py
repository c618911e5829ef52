"""What the report on a poor hatch reads from the log beside the tables, and the checks that are written into it."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

from qckit.errors import InputError, unknown_name
from qckit.tables import to_utc

__all__ = ["nauplius_objects", "record_check", "record_plans"]

_MOST_HATCHES = 40


def nauplius_objects(log, hatch: str, tables=None):
    """Read the objects of a hatch's photos and of those of its lot's latest hatches, for the lengths of nauplii.

    Parameters
    ----------
    log : SiteLog
        The site's records.
    hatch : str
        The hatch to explain.
    tables : SiteTables, optional
        The site's tables where they were read already.

    Returns
    -------
    DataFrame
        Columns of ``tables.TABLES["objects"]``; at most forty hatches besides, so that a log of a million objects
        takes no longer than one of some thousands.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(len(reports.nauplius_objects(records, "H261105-B")))
    0
    """
    rows = tables or log
    hatches, photos, samples = (_rows(rows, name) for name in ("hatches", "photos", "samples"))
    of_hatch = hatches[hatches["hatch"] == hatch]
    lot = of_hatch["lot"].iloc[0] if len(of_hatch) else None
    with_photos = photos.merge(samples[["sample", "hatch"]], on="sample")
    same = hatches[(hatches["lot"] == lot) & hatches["hatch"].isin(with_photos["hatch"]) & (hatches["hatch"] != hatch)]
    latest = same.iloc[to_utc(same["started"]).argsort()].tail(_MOST_HATCHES)["hatch"]
    names = with_photos[with_photos["hatch"].isin([hatch, *latest])]["photo"].tolist()
    return log.objects(photo=names)


def _rows(source, name: str):
    """Return a table of a log, or of tables that were read from it."""
    table = getattr(source, name)
    return table() if callable(table) else table


def record_plans(site: str | Path, finding: dict, *, by: str, at: str | None = None) -> str:
    """Put the checks that a report proposes into the log as planned.

    Parameters
    ----------
    site : path
    finding : dict
        As ``findings.json`` holds it.
    by : str
        Who plans them.
    at : str, optional
        ISO time; the clock when left out.

    Returns
    -------
    str
        What was done, in a sentence. A check that is planned already is not planned again.

    Examples
    --------
    >>> copy = shutil.copytree(site.folder, "room-12")
    >>> poor = {"subject": "H261105-B", "details": {"checks": [{"check": "ph meter", "plan": "Measure the pH again."}]}}
    >>> reports.record_plans(copy, poor, by="op1")
    'H261105-B: planned ph meter.'
    """
    import pandas as pd

    from qckit.log import open_log

    _need(by, "plans the checks")
    hatch, now = finding["subject"], _now(at)
    with open_log(site, now=lambda: now) as log:
        open_ones = _open_checks(log.checks(hatch=hatch))
        rows = [
            (hatch, c["check"], now, by, c["plan"])
            for c in finding["details"]["checks"]
            if c["check"] not in set(open_ones["check"])
        ]
        if rows:
            frame = pd.DataFrame(rows, columns=["hatch", "check", "planned_at", "by", "notes"])
            log.add("checks", frame, by=by, source="report")
    names = ", ".join(row[1] for row in rows)
    return f"{hatch}: planned {names}." if rows else f"{hatch}: no check to plan that is not planned already."


def record_check(site: str | Path, hatch: str, check: str, outcome: str, *, by: str, at: str | None = None) -> str:
    """Write the outcome of a check into the log; the next report on the hatch counts it.

    Parameters
    ----------
    site : path
    hatch : str
    check : str
        Code of the check, as the report names it, such as ``ph meter``.
    outcome : str
        Begins with yes, no or unclear; what was seen may follow.
    by : str
        Who made it.
    at : str, optional
        ISO time; the clock when left out.

    Returns
    -------
    str
        What was written and what it means.

    Raises
    ------
    InputError
        The hatch or the check is unknown, the outcome begins otherwise, or nobody is named.

    Examples
    --------
    >>> copy = shutil.copytree(site.folder, "room-11")
    >>> reports.record_check(copy, "H261105-B", "ph meter", "yes: reads 8.1", by="op1").startswith("H261105-B")
    True
    """
    import pandas as pd

    from qckit.log import open_log
    from qckit.verdicts.poor_hatch.checks import answers_of, check_named, contradiction, outcome_word

    item = check_named(check)
    _need(by, "made the check")
    word = outcome_word(outcome)
    if not word:
        raise InputError(
            f"check {check!r}: the outcome {outcome!r} must begin with yes, no or unclear. The question is: "
            f"{_question(item)} Yes means: {item.if_yes}. No means: {item.if_no}."
        )
    if against := contradiction(item, outcome):
        raise InputError(f"check {check!r}: {outcome!r}: {against}. The question is: {_question(item)}")
    now = _now(at)
    with open_log(site, now=lambda: now) as log:
        known = log.hatches()["hatch"].tolist()
        if hatch not in set(known):
            raise unknown_name("hatch", hatch, known[::-1], where="the site's log")
        made = log.checks(hatch=hatch)
        made = made[made["check"] == item.code]
        if len(made):
            _complete(log, made.iloc[-1], outcome.strip(), by, now)
        else:
            row = {
                "hatch": hatch,
                "check": item.code,
                "planned_at": now,
                "outcome": outcome.strip(),
                "done_at": now,
                "by": by,
            }
            log.add("checks", pd.DataFrame([row]), by=by, source="check made")
    is_yes = answers_of(pd.DataFrame([{"hatch": hatch, "check": item.code, "outcome": outcome}]), hatch)[0].is_yes
    meaning = "it changes nothing" if is_yes is None else item.if_yes if is_yes else item.if_no
    return f"{hatch}: {item.code} is in the log: {outcome.strip()}. It means: {meaning}."


def _question(item) -> str:
    """A check's question without the names of one hatch."""
    return re.sub(r"\s*\{[^}]*\}", "", item.question)


def _complete(log, row, outcome: str, by: str, now: str) -> None:
    """Fill in a planned check, or the newer outcome of one made again; what stood there stays in the corrections."""
    key = (row["hatch"], row["check"], row["planned_at"])
    was = row["outcome"] if isinstance(row["outcome"], str) else ""
    if was == outcome:
        return
    reason = "check made again" if was else "check made"
    log.correct("checks", key, "outcome", outcome, by=by, reason=reason)
    if row["done_at"] != now:
        log.correct("checks", key, "done_at", now, by=by, reason=reason)


def _open_checks(checks):
    """Checks without an outcome."""
    return checks[checks["outcome"].isna() | (checks["outcome"].astype(str).str.strip() == "")]


def _need(by: str, what: str) -> None:
    if not str(by or "").strip():
        raise InputError(f"Nobody is named as the one who {what}. Give a name or initials (--by NAME).")


def _now(at: str | None) -> str:
    return at or dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
