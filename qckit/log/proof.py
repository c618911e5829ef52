"""Whether a log is still what it was: its steps whole, its pages as they were made, its records those of the seals."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import backup, engine, meta, query, schema
from qckit.log.kept_pages import Page, pages_of, trace_pages
from qckit.log.kept_settings import broken_chains
from qckit.log.seal import Seal, odd_steps, seals, step_sums
from qckit.words import noun, plural

__all__ = ["against_backup", "against_seal", "proof_findings"]

_MEND = (
    "Somebody changed the log by other means than qckit, or this is another copy of it. See what differs from a backup "
    "of before:  qckit log seal BACKUP"
)


def proof_findings(log, connection, reports) -> list[tuple]:
    """Look for records that were changed, taken out or added behind the log's back, and for pages that were.

    Parameters
    ----------
    log : SiteLog
    connection : Connection
        From :func:`qckit.log.engine.reading`.
    reports : DataFrame
        The log's reports.

    Returns
    -------
    list of tuple
        As the columns of ``check.FINDINGS``.
    """
    pages = pages_of(log.folder) if str(log.folder) != "." else []
    found = [("step not whole", "wrong", "steps", str(step), what, _MEND) for step, what in odd_steps(connection)]
    found += [("step not whole", "wrong", "steps", str(s), what, _MEND) for s, what in broken_chains(connection)]
    found += _page_findings(reports, pages)
    return found + _seal_findings(connection, pages)


def _page_findings(reports, pages: list[Page]) -> list[tuple]:
    traced = trace_pages(reports, pages)
    remedy = "Put the page as it was made back from a copy of the folder reports; or make it again with  qckit report."
    found = [
        ("changed page", "wrong", "reports", row.report, f"{row.place} is not as it was made", remedy)
        for row in traced[traced["state"] == "changed"].itertuples()
    ]
    known = set(traced["place"])
    found += [
        (
            "unknown page",
            "look",
            "reports",
            page.place,
            "the log knows no such page: another made it, or changed it",
            remedy,
        )
        for page in pages
        if page.place not in known and "records" in page.findings
    ]
    gone = traced.loc[traced["state"] == "gone", "report"].tolist()
    if gone:
        what = f"{plural(len(gone), 'page')} that the log names {noun(len(gone), 'is', 'are')} not in reports"
        found.append(("missing page", "look", "reports", gone[-1], what, remedy))
    return found


def _seal_findings(connection, pages: list[Page]) -> list[tuple]:
    """Hold the log against the seals that its pages carry; the first that does not fit is named."""
    cited = [(page, page.findings["records"]) for page in pages if isinstance(page.findings.get("records"), dict)]
    if not cited:
        return []
    current, log_name = seals(connection), meta.log_id(connection)
    found, fits, broken = [], 0, []
    for page, records in cited:
        try:
            seal = Seal.read(records.get("seal", ""))
        except InputError:
            continue  # findings that were changed: the page says so
        if records.get("log") != log_name:
            what = f"{page.place} was made from another log than this one"
            found.append(("other log", "wrong", "steps", str(seal.step), what, _MEND))
        elif current.get(seal.step) == seal.sha256:
            fits = max(fits, seal.step)
        else:
            broken.append((seal.step, page.place))
    if broken:
        step, place = min(broken)
        found.append(("changed records", "wrong", "steps", str(step), _unlike(step, place, fits, current), _MEND))
    return found


def _unlike(step: int, place: str, fits: int, current: dict[int, str]) -> str:
    if step > max(current):
        return f"{place} rests on the records up to this step, and this log, an older copy, ends at step {max(current)}"
    known = f"; up to step {fits} they are as they were" if 0 < fits < step else ""
    return f"the records up to this step are not those that {place} was made from{known}"


def against_seal(log, seal: Seal) -> str:
    """Hold a log against a seal that somebody kept.

    Returns
    -------
    str
        What does not fit, in a sentence; empty where all does.
    """
    with engine.reading(log.engine) as connection:
        current = seals(connection)
    if seal.step > max(current):
        return f"The log ends at step {max(current)}, and the seal is of step {seal.step}: this is an older copy of it."
    if current.get(seal.step) != seal.sha256:
        return (
            f"The records up to step {seal.step} are not those of this seal: they were changed since, or it is one of "
            "another log. See what differs from a backup of before:  qckit log seal BACKUP"
        )
    return ""


def against_backup(log, path: str | Path) -> list[str]:
    """Say in which rows a log differs from a backup of it, in all that the backup holds.

    Parameters
    ----------
    log : SiteLog
    path : path
        A backup that ``qckit log backup`` wrote, of the same version.

    Returns
    -------
    list of str
        A sentence a row; none where every record of the backup is in the log as it was.

    Raises
    ------
    InputError
        It is no backup, is damaged, or is one of another log or of an older version.
    """
    path = Path(path)
    backup.verify(path)
    old = engine.frozen_engine(path)
    with engine.reading(old) as before, engine.reading(log.engine) as now:
        if (version := meta.version_of(before)) != schema.SCHEMA_VERSION:
            raise InputError(
                f"{path}: is of version {version} of the log, and this one of {schema.SCHEMA_VERSION}. Give a backup "
                "that was made since the upgrade."
            )
        if meta.log_id(before) != meta.log_id(now):
            raise InputError(f"{path}: is a backup of another log. Give one of this site's.")
        sums, sums_now = step_sums(before), step_sums(now)
        steps = sorted(step for step, digest in sums.items() if sums_now.get(step) != digest)
        return _row_differences(before, now, steps)


def _row_differences(before, now, steps: list[int]) -> list[str]:
    found = []
    names = {}
    for name in ("steps", *schema.ORDER, "corrections"):
        if name != "objects":
            rows = [_rows(c, name, {"step": steps}) for c in (before, now)]
            names[name] = rows
            found += _sentences(name, *rows)
    counted = {row["photo"] for rows in names["photos"] for row in rows.values()}
    corrected = {row["source"] for rows in names["steps"] for row in rows.values() if row["source"]}
    photos = sorted(counted | corrected)
    if photos:
        objects, objects_now = (_rows(c, "objects", {"photo": photos}) for c in (before, now))
        found += _sentences("objects", objects, {key: row for key, row in objects_now.items() if key in objects})
    return found  # objects that came later are no difference


def _rows(connection, name: str, equals: dict) -> dict[tuple, dict]:
    t = schema.table(name)
    ((column, values),) = equals.items()
    chosen = sa.select(t).where(query.among(connection, t.c[column], values))
    key = list(t.primary_key.columns.keys())
    return {tuple(row[k] for k in key): dict(row) for row in connection.execute(chosen).mappings()}


def _sentences(name: str, before: dict[tuple, dict], now: dict[tuple, dict]) -> list[str]:
    found = []
    for key in sorted({*before, *now}, key=str):
        label = f"{name} {' '.join(map(str, key))}"
        if key not in now:
            found.append(f"{label}: was there, and is not any more")
        elif key not in before:
            found.append(f"{label}: was not there at that step")
        else:
            cells = [(c, v, now[key][c]) for c, v in before[key].items() if v != now[key][c]]
            found += [f"{label}: {c} was {_text(v)} and is {_text(w)}" for c, v, w in cells]
    return found


def _text(value) -> str:
    return "empty" if value is None else str(value)
