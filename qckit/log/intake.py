"""Rows on their way in: every rule of the tables, of one row against another, and of the rows against the log.

Nothing is written here. All problems are gathered, so that a sheet is put right in one go.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

import pandas as pd

from qckit.columns import is_missing
from qckit.errors import InputError, known_names_hint, unknown_name
from qckit.log import already_logged, row_rules, schema
from qckit.log.problems import HANGS_ON, PROBLEMS, CellProblem, mending
from qckit.log.query import fetch, lists_of, rows_of
from qckit.stages import STAGE_COLUMNS
from qckit.tables import TABLES, check_table, table_columns
from qckit.words import first_few, noun, plural

__all__ = ["Incoming", "Sifted", "sift"]

_SHOWN_OF_COLUMN = 3
_FROM_COUNTING = {*STAGE_COLUMNS.values(), "embryos", "volume_ul", "counter", "counted_by", "photos"}
_NORMAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d").fullmatch


@dataclass
class Incoming:
    """Rows for one table, and how to name them in messages.

    ``problems`` holds what was already found while the cells were read; such rows are in ``bad``. ``may_grow`` are
    columns in which more may stand than in the log: what is added becomes a correction without being asked for.
    """

    table: str
    frame: pd.DataFrame
    source: str = ""
    rows: list[str] | None = None
    problems: list[CellProblem] = field(default_factory=list)
    may_grow: frozenset[str] = frozenset()

    def __post_init__(self):
        if self.table not in schema.ENTERED:
            raise unknown_name("table", self.table, schema.ENTERED, where=self.source)
        self.source = self.source or self.table
        self.frame = self.frame.reset_index(drop=True)
        if self.rows is None:
            self.rows = [f"row {i + 2}" for i in range(len(self.frame))]


@dataclass
class Sifted:
    """What may be written, and what may not."""

    new: dict[str, pd.DataFrame]
    unchanged: dict[str, int]
    differences: pd.DataFrame  # table, key, column, before, after, grows: rows that are there with other values
    problems: pd.DataFrame
    remarks: list[str] = field(default_factory=list)  # where the log has moved on since a row was entered


class _Notes:
    """Gathers problems by place."""

    def __init__(self):
        self.rows: list[tuple] = []
        self.bad: dict[int, set[int]] = {}

    def add(self, part: int, incoming: Incoming, problem: CellProblem):
        index, column, value, rule, remedy = problem
        place = incoming.rows[index] if isinstance(index, int) else index
        shown = "" if is_missing(value) else str(value)
        order = (part, index if isinstance(index, int) else -1)
        self.rows.append((order, (incoming.source, place, column, shown, rule, remedy)))
        if isinstance(index, int):
            self.bad.setdefault(part, set()).add(index)

    def frame(self) -> pd.DataFrame:
        """Return the problems in the order of sheets and rows."""
        rows = [row for _, row in sorted(self.rows, key=lambda item: item[0])]
        return pd.DataFrame(rows, columns=list(PROBLEMS))


def sift(connection, incoming: list[Incoming], *, correct: bool = False, emptied: str = "") -> Sifted:
    """Sort incoming rows into new ones, ones the log has already, and ones that cannot be taken.

    Parameters
    ----------
    connection : Connection
        Sees the log the rows are meant for.
    incoming : list of Incoming
        In any order; rows may refer to rows of other tables in the same list.
    correct : bool
        Cells that differ from the log become corrections, and are no problem.
    emptied : {"", "keep", "empty"}
        With ``correct``: whether a value stays, or is taken out, whose cell is empty in the sheet; a problem without an
        answer.

    Returns
    -------
    Sifted
        ``new`` holds clean frames by table, parents first. A row that hangs on a row with a problem has a problem.
    """
    incoming = sorted(incoming, key=lambda part: schema.ORDER.index(part.table))
    notes = _Notes()
    clean = []
    for i, part in enumerate(incoming):
        for problem in part.problems:
            notes.add(i, part, problem)
        clean.append(_check_cells(i, part, notes))
    places: dict[str, set] = {}
    new: dict[str, list] = {}
    unchanged: dict[str, int] = {}
    differences, remarks = [], []
    for i, (part, frame) in enumerate(zip(incoming, clean, strict=True)):
        if frame is None:
            continue
        _check_rows(i, part, frame, notes)
        _check_parents(connection, i, part=part, frame=frame, notes=notes, incoming=incoming, places=places)
        frame = _leave_bad(frame, notes, i)
        frame = _check_twice(i, part, frame, notes, places.setdefault(part.table, {}))
        frame, same, other, lines = _compare(
            connection, i, part=part, frame=frame, notes=notes, correct=correct, emptied=emptied
        )
        differences += other
        remarks += lines
        if part.table in ("photos", "objects"):
            frame = _first_count(connection, i, part=part, frame=frame, notes=notes, new=new)
        new.setdefault(part.table, []).append(frame)
        unchanged[part.table] = unchanged.get(part.table, 0) + same
    joined = {name: pd.concat(frames, ignore_index=True) for name, frames in new.items()}
    return Sifted(
        {name: joined[name] for name in schema.ORDER if name in joined and len(joined[name])},
        unchanged,
        pd.DataFrame(differences, columns=["table", "key", "column", "before", "after", "grows"]),
        notes.frame(),
        remarks,
    )


def _awaiting(frame: pd.DataFrame) -> pd.Series:
    """Mark samples whose counts are still to come from the photos they name."""

    def filled(name):
        if name not in frame.columns:
            return pd.Series(False, index=frame.index)
        (cells,) = lists_of(frame, [name])
        return pd.Series([c is not None and (not isinstance(c, str) or c.strip() != "") for c in cells], frame.index)

    none = ~pd.concat([filled(c) for c in (*STAGE_COLUMNS.values(), "embryos")], axis=1).any(axis=1)
    timed = none & ~filled("photos") & filled("kind")  # a harvest may be no more than its time
    if timed.any():  # else the column may not even be there
        timed[timed] = frame.loc[timed, "kind"].map(lambda v: str(v).strip().casefold() == "harvest").astype(bool)
    marks = none & filled("photos") & filled("counted_by")
    if marks.any():
        marks[marks] = frame.loc[marks, "counted_by"].map(lambda v: str(v).strip().casefold() == "photo").astype(bool)
    return (marks | timed).astype(bool)


def _check_cells(i: int, part: Incoming, notes: _Notes) -> pd.DataFrame | None:
    """Check every cell; return the clean rows under their old index, or None when columns are missing."""
    frame = part.frame
    uncounted = None
    if part.table == "samples":
        uncounted = _awaiting(frame)
        if "nauplii" not in frame.columns:
            frame = frame.assign(nauplii=None)
        if uncounted.any():
            frame = frame.assign(nauplii=frame["nauplii"].astype(object).where(~uncounted, 0))
    if part.table == "objects" and "object_id" in frame.columns and frame["object_id"].isna().any():
        for index in frame.index[frame["object_id"].isna()]:
            problem = CellProblem(int(index), "object_id", None, "is empty and must be filled", "Fill the cell.")
            notes.add(i, part, problem)
    reported = {(problem.place, problem.column) for problem in part.problems}
    try:
        checked = check_table(frame, part.table, source=part.source, row_names=[str(k) for k in frame.index])
    except InputError as error:
        if error.problems is None:
            notes.add(i, part, CellProblem("heading", "", None, error.what.rstrip("."), ""))
            return None
        for p in error.problems.itertuples():
            if (int(p.row), p.column) not in reported:  # a cell that could not be read is empty now
                remedy = p.remedy if p.value else _remedy_of_empty(part, p.column, p.remedy)
                notes.add(i, part, CellProblem(int(p.row), p.column, p.value, p.rule, remedy))
    if notes.bad.get(i):
        checked = check_table(frame.drop(index=list(notes.bad[i])), part.table, source=part.source)
    checked = checked[table_columns(part.table)]
    if uncounted is not None and uncounted.any():
        checked.loc[uncounted.reindex(checked.index), "nauplii"] = pd.NA
    return _normal_times(checked, part.table)


def _remedy_of_empty(part: Incoming, column: str, remedy: str) -> str:
    """The remedy of an empty cell; it says more where counts are missing from a sample counted by photo."""
    if part.table == "samples" and column == "nauplii":
        return (
            "Fill the cell; or, if the photos are to be counted, write counted_by photo, name the photos, and leave "
            "all counts empty."
        )
    return remedy


def _normal_times(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    """Write every time alike: 2026-11-04T09:00:00+00:00."""
    for column in TABLES[table]:
        if column.kind == "time" and frame[column.name].notna().any():
            frame[column.name] = frame[column.name].map(
                lambda text: text if _NORMAL(text) else pd.Timestamp(text).isoformat(), na_action="ignore"
            )
    if table == "samples":
        frame["revision"] = frame["revision"].fillna(0)
    return frame


def _check_rows(i: int, part: Incoming, frame: pd.DataFrame, notes: _Notes) -> None:
    """Check what no single cell can show."""
    for index, *rest in row_rules.broken(part.table, frame):
        notes.add(i, part, CellProblem(int(index), *rest))


def _check_parents(connection, i, part: Incoming, frame, notes: _Notes, incoming, places) -> None:
    """Check that what a row refers to is in the log or in this import, and that times agree with the hatch."""
    for column, parent, parent_column in schema.PARENTS.get(part.table, ()):
        named = _named(part, frame, column, notes.bad.get(i, set()))
        if named.empty:
            continue
        in_log = already_logged.names_there(connection, parent, parent_column, set(named))
        with_us = {key[0] for key in places.get(parent, {})}
        missing = ~named.isin(in_log | with_us)
        if not missing.any():
            continue
        spoiled = {
            str(value)
            for other in incoming
            if other.table == parent and parent_column in other.frame.columns
            for value in other.frame[parent_column].dropna()
        }
        known = sorted({*fetch(connection, parent)[parent_column], *with_us})  # none that was withdrawn
        for index, value in named[missing].items():
            if value.strip() in {s.strip() for s in spoiled}:
                rule, remedy = HANGS_ON[parent], "Put that row right first."
            else:
                rule = f"is not a {_one(parent)} in the log or in this import"
                hint = known_names_hint(column, value, known)
                enter = "enter it first:  qckit today --enter , then 9, or the sheet lots"
                first = enter if parent == "lots" else f"import the {_one(parent)} first"
                remedy = f"{hint} Correct the name, or {first}.".strip()
            notes.add(i, part, CellProblem(int(index), column, value, rule, remedy))
    if part.table == "samples":
        _check_hours(connection, i, part=part, frame=frame, notes=notes, incoming=incoming)


def _named(part: Incoming, frame, column: str, bad: set) -> pd.Series:
    """Return what rows refer to, also of rows with other problems, so that all is said at once."""
    given = part.frame.loc[sorted(bad), column].items() if column in part.frame.columns else ()
    spoilt = {index: text.strip() for index, text in given if isinstance(text, str) and text.strip()}
    return pd.concat([frame[column].drop(index=list(spoilt), errors="ignore").dropna(), pd.Series(spoilt, dtype="str")])


def _one(table: str) -> str:
    return "hatch" if table == "hatches" else table.removesuffix("s")


def _check_hours(connection, i, part, frame, notes, incoming) -> None:
    """A sample is taken after its hatch was wetted, and its hours agree with both times."""
    starts = {}
    hatches = fetch(connection, "hatches", {"hatch": sorted(set(frame["hatch"].dropna()))})
    starts.update(zip(hatches["hatch"], hatches["started"], strict=True))
    for other in incoming:
        if other.table == "hatches" and {"hatch", "started"} <= set(other.frame.columns):
            starts.update({str(h).strip(): s for h, s in zip(other.frame["hatch"], other.frame["started"])})
    volumes = dict(zip(hatches["hatch"], hatches["volume_ml"], strict=True))
    for other in incoming:
        if other.table == "hatches" and {"hatch", "volume_ml"} <= set(other.frame.columns):
            given = pd.to_numeric(other.frame["volume_ml"], errors="coerce")
            volumes.update({str(h).strip(): v for h, v in zip(other.frame["hatch"], given)})
    volume_ml = pd.to_numeric(frame["hatch"].map(volumes), errors="coerce")
    started = pd.to_datetime(frame["hatch"].map(starts), utc=True, format="ISO8601", errors="coerce")
    for index, *rest in row_rules.broken_with_hatch(frame, started, volume_ml):
        notes.add(i, part, CellProblem(int(index), *rest))


def _leave_bad(frame: pd.DataFrame, notes: _Notes, i: int) -> pd.DataFrame:
    return frame.drop(index=[k for k in notes.bad.get(i, ()) if k in frame.index])


def _check_twice(i, part: Incoming, frame, notes: _Notes, places: dict) -> pd.DataFrame:
    """A key may stand once in an import; the same row again is dropped, another row with its key is a problem.

    ``places`` holds what stood in earlier parts, and is added to: key -> (part, its index, the whole row).
    """
    keys = [*schema.KEYS[part.table], *(["revision"] if part.table == "samples" else [])]
    drop = []
    for index, key, row in zip(frame.index, rows_of(frame, keys), rows_of(frame, list(frame.columns)), strict=True):
        other, place, first_row = places.setdefault(key, (part, index, row))
        if other is part and place == index:
            continue
        drop.append(index)
        if first_row != row:
            rule = f"stands already in {other.source}, {other.rows[place]}, with other values"
            remedy = "Keep the right one of the two rows."
            notes.add(i, part, CellProblem(int(index), keys[0], key[0], rule, remedy))
    return frame.drop(index=drop)


def _compare(connection, i, part: Incoming, frame, notes: _Notes, correct: bool, emptied: str):
    """Leave out rows the log has already; a row with other values than the log's is a problem."""
    found = already_logged.compare(connection, part.table, frame, set(part.frame.columns))
    differences = []
    for index, key, is_same in found.withdrawn:
        if not is_same:  # values put into a row that nobody sees would be lost
            notes.add(i, part, CellProblem(int(index), *_withdrawn(part.table, schema.KEYS[part.table][0], key)))
    for index, key, column, before, after in found.cells:
        if correct and before and not after and emptied != "empty":
            if not emptied:
                rule = f"is empty here, and the log has {before}"
                remedy = (
                    "Say with --emptied keep that such values stay, or with --emptied empty that they are taken out."
                )
                notes.add(i, part, CellProblem(int(index), column, None, rule, remedy))
            continue
        grows = column in part.may_grow and (not before or after.startswith(f"{before};"))
        differences.append((part.table, key, column, before, after, grows))
        if correct or grows:
            continue
        first = schema.KEYS[part.table][0]
        rule = f"differs from the log, where {first} {key[0]!r} has {before or 'nothing'}"
        remedy = (
            "If the log is right, correct the sheet; if the sheet is right, import it again with --correct REASON, "
            "which keeps both values."
        )
        notes.add(i, part, CellProblem(int(index), column, after, rule, remedy))
    frame = _leave_hidden(connection, i, part=part, frame=frame.drop(index=found.there), notes=notes)
    hidden = [key for _, key, is_same in found.withdrawn if is_same]
    return frame, found.same, differences, _moved_on(part, found.moved) + _still_hidden(part, hidden)


def _withdrawn(table: str, column: str, key: tuple) -> tuple:
    """Problem of a row that is, or hangs on, a withdrawn one."""
    remedy = f"Give it another name, or show that row again first:  {mending('reinstate', table, key)}"
    return (column, key[0], f"is withdrawn in the log (a {_one(table)} entered by mistake)", remedy)


def _leave_hidden(connection, i, part: Incoming, frame, notes: _Notes) -> pd.DataFrame:
    """Refuse new rows that hang on a withdrawn row: they would be hidden with it."""
    for column, parent, _ in schema.PARENTS.get(part.table, ()):
        names = set(frame[column].dropna())
        hidden = already_logged.withdrawn_names(connection, parent, names) if names else set()
        for index, name in frame.loc[frame[column].isin(hidden), column].items():
            notes.add(i, part, CellProblem(int(index), *_withdrawn(parent, column, (name,))))
        frame = frame[~frame[column].isin(hidden)]
    return frame


def _still_hidden(part: Incoming, keys: list[tuple]) -> list[str]:
    """Say which rows of a sheet the log has as withdrawn: they stay hidden."""
    if not keys:
        return []
    n, table = len(keys), part.table
    named = first_few([" | ".join(map(str, key)) for key in keys], _SHOWN_OF_COLUMN)
    what = f"{plural(n, f'row of {table}', f'rows of {table}')} {noun(n, 'is', 'are')} withdrawn in the log"
    again = f"To show one again:  {mending('reinstate', table, keys[0])}"
    return [f"{part.source}: {what} and {noun(n, 'stays', 'stay')} so: {named}. {again}"]


def _moved_on(part: Incoming, moved: list[tuple]) -> list[str]:
    """Say where a sheet still has what was corrected or counted anew since."""
    first = schema.KEYS[part.table][0]
    lines, of_column = [], Counter()
    for key, column, now, sheet in moved:
        if sheet or column not in _FROM_COUNTING:
            of_column[column] += 1
            if of_column[column] <= _SHOWN_OF_COLUMN:
                lines.append(
                    f"{part.source}: {first} {' | '.join(map(str, key))} has {column} {sheet or 'empty'} here, "
                    f"as once entered, and {now or 'empty'} in the log since; the log keeps it"
                )
    left = of_column.total() - len(lines)
    return lines + ([f"{part.source}: {plural(left, 'more such cell')}"] if left else [])


def _first_count(connection, i, part: Incoming, frame, notes: _Notes, new: dict) -> pd.DataFrame:
    """Number photos and objects that come by sheet, such as an export of another log, as the first count of each."""
    if part.table == "photos":
        return already_logged.as_first_count(connection, frame, new.get("samples", ()))
    counted_now = {name for photos in new.get("photos", ()) for name in photos["photo"]}
    for index, photo in frame.loc[~frame["photo"].isin(counted_now), "photo"].items():
        rule = "was counted before, and this object was not found then"
        remedy = "Objects found by hand are entered in the notebook count_photos, which brings the counts along."
        notes.add(i, part, CellProblem(int(index), "photo", photo, rule, remedy))
    return frame[frame["photo"].isin(counted_now)].assign(revision=pd.Series(0, index=frame.index, dtype="Int64"))
