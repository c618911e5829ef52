"""Writing the day: each entry one step by the log's own rules, shown back, taken back with one key."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from qckit.columns import listed_in
from qckit.day.entry.records import Entry
from qckit.day.page.chores import METERS
from qckit.errors import InputError
from qckit.log import SiteLog, corrections, engine, query, schema, steps
from qckit.log.intake import Incoming
from qckit.tables import check_cell, table_columns, to_utc
from qckit.words import plural

__all__ = [
    "REASON",
    "Written",
    "last_entry",
    "names_in_use",
    "say_meters_calibrated",
    "take_back",
    "taken_back_names",
    "write_again",
    "write_entry",
]

REASON = "typed wrong"
"""Reason kept with an entry that is taken back."""

NOTE = "note"
_AGAIN = "entered again"
_ACTION = "day: "
_SOURCE = "the day at the bench"


@dataclass(frozen=True)
class Written:
    """What an entry brought: the sentence to show back, doubts to look at, and the step in the log."""

    sentence: str
    notes: list[str] = field(default_factory=list)
    step: int = 0


def names_in_use(log: SiteLog, table: str) -> set[str]:
    """Return every name ever given to a row of a table, those of withdrawn rows too."""
    with engine.reading(log.engine) as connection:
        return set(query.known_names(connection, table))


def taken_back_names(log: SiteLog, table: str) -> set[str]:
    """Return the names of rows that were entered at the bench and taken back there; they are never given again."""
    done = log.steps()
    at_bench = set(done.loc[done["action"].str.startswith(_ACTION), "step"].astype(str))
    gone = set(done.loc[done["action"] == "withdraw", "source"].dropna().str.removeprefix("step ")) & at_bench
    if not gone:
        return set()
    name = schema.KEYS[table][0]
    with engine.reading(log.engine) as connection:
        entered = query.fetch(connection, table, revisions="all", corrected=False, internal=True)
        shown = query.fetch(connection, table)
    return set(entered.loc[entered["step"].astype(str).isin(gone), name]) - set(shown[name])


def write_entry(log: SiteLog, entry: Entry, *, by: str) -> Written:
    """Write an entry in one step, by the same rules as a sheet.

    Parameters
    ----------
    log : SiteLog
    entry : Entry
    by : str
        Initials of who types.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        A row breaks a rule; nothing was written.
    """
    grows = frozenset({"notes"} if entry.kind == NOTE else ())
    incoming = [Incoming(name, frame, name, may_grow=grows) for name, frame in entry.frames.items()]
    try:
        result = log.take(incoming, by=by, source=_SOURCE, action=_ACTION + entry.kind)
    except InputError as error:
        raise InputError(_plainly(error)) from error
    if not result.added and not result.corrected:
        return Written(f"That stands in the log already. {entry.sentence}", list(result.notes))
    return Written(entry.sentence, list(result.notes), int(log.steps()["step"].max()))


def write_again(log: SiteLog, entry: Entry, *, by: str) -> Written:
    """Write an entry whose row was taken back before: the row is shown again, with the values typed now.

    Parameters
    ----------
    log : SiteLog
    entry : Entry
        Of one row, whose name a withdrawn row has.
    by : str
        Initials of who types.

    Returns
    -------
    Written

    Raises
    ------
    InputError
        A value breaks a rule; nothing was written.
    """
    ((table, frame),) = entry.frames.items()
    steps.need_by(by)
    row = dict.fromkeys(table_columns(table)) | frame.iloc[0].to_dict()  # what is not typed now stands empty
    row = {name: _in_its_type(table, name, value) for name, value in row.items()}  # 250000 is the 250000.0 that stands
    key = tuple(row.pop(name) for name in schema.KEYS[table])
    with engine.writing(log.engine) as connection:
        step = steps.begin(connection, log, by=by, action=_ACTION + entry.kind, source=_SOURCE, n_rows=1)
        change = {"at": log.now(), "by": by, "reason": _AGAIN}
        corrections.write(connection, step, [(table, key, query.WITHDRAWN, "no")], **change)
        stands = query.fetch(connection, table, dict(zip(schema.KEYS[table], key, strict=True))).iloc[0]
        new = {
            name: value
            for name, value in row.items()
            if corrections.value_text(stands[name]) != corrections.value_text(value)
        }
        if new:
            corrections.write(connection, step, [(table, key, name, value) for name, value in new.items()], **change)
    return Written(entry.sentence, [], step)


def _in_its_type(table: str, column: str, value):
    """Return a value as the log gives it back; one that its column cannot hold stays, to be refused."""
    typed, wrong = check_cell(table, column, value)
    return value if wrong else typed


def _plainly(error: InputError) -> str:
    """Say what is wrong without the words of sheets and rows."""
    if error.problems is None or error.problems.empty:
        return str(error)
    problems = [f"{p.column} {p.value} {p.rule}. {p.remedy}".strip() for p in error.problems.itertuples()]
    return "Not written: " + " ".join(dict.fromkeys(problems))


def last_entry(log: SiteLog, *, now: dt.datetime) -> tuple[int, str, str] | None:
    """Return the newest entry of this day that still stands: its step, what kind it is, who made it.

    Parameters
    ----------
    log : SiteLog
    now : datetime
        In the site's zone: entries of earlier days are no longer offered.
    """
    done = log.steps()
    done = done[done["action"].str.startswith(_ACTION)]
    if done.empty:
        return None
    local = to_utc(done["at"]).dt.tz_convert(str(now.tzinfo)).dt.date
    taken_back = {text.removeprefix("step ") for text in log.steps().query("action == 'withdraw'")["source"].dropna()}
    for row in done[local == now.date()].sort_values("step", ascending=False).itertuples():
        if str(row.step) not in taken_back:
            return int(row.step), row.action.removeprefix(_ACTION), row.by
    return None


def take_back(log: SiteLog, *, by: str, now: dt.datetime) -> str:
    """Withdraw the newest entry of this day; it stays on record with the reason "typed wrong".

    Returns
    -------
    str
        A sentence on what was taken back, or that there is nothing.
    """
    last = last_entry(log, now=now)
    if last is None:
        return "There is nothing of today to take back."
    step, kind, whose = last
    n = _notes_taken_back(log, step, by=by) if kind == NOTE else log.withdraw_step(step, by=by, reason=REASON)
    if not n:
        return "There is nothing of today to take back."
    who = "" if whose == by else f" of {whose}"
    return f"Taken back: the last {kind}{who} ({plural(n, 'row')}; kept in the history)."


def _notes_taken_back(log: SiteLog, step: int, *, by: str) -> int:
    """Take what a step noted out of the notes of its hatch; what was noted since stays."""
    with engine.writing(log.engine) as connection:
        cells = []
        for fix in query.fetch(connection, "corrections", {"step": step}).itertuples():
            noted = set(listed_in(fix.after)) - set(listed_in(fix.before))
            now = query.fetch(connection, fix.table, {"hatch": fix.key}).iloc[0][fix.column]
            left = "; ".join(part for part in listed_in(now) if part not in noted)
            cells.append((fix.table, fix.key, fix.column, left))
        number = steps.begin(connection, log, by=by, action="withdraw", source=f"step {step}", n_rows=len(cells))
        corrections.write(connection, number, cells, at=log.now(), by=by, reason=REASON)
    return len(cells)


def say_meters_calibrated(log: SiteLog, *, by: str) -> str:
    """Keep that the meters were calibrated, and say so."""
    steps.need_by(by)
    with engine.writing(log.engine) as connection:
        steps.begin(connection, log, by=by, action=METERS, source=_SOURCE, n_rows=0)
    return "Kept: the meters were calibrated now."
