"""Rows on their way in: every rule of the tables, of one row against another, and of the rows against the log.

Nothing is written here. All problems are gathered, so that a sheet is put right in one go.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
import sqlalchemy as sa

from qckit.errors import InputError, unknown_name
from qckit.log import schema
from qckit.log.query import fetch, known_names
from qckit.tables import COUNT_COLUMNS, TABLES, check_table, table_columns, to_utc

__all__ = ["PROBLEMS", "Incoming", "Sifted", "problems_error", "problems_text", "sift"]

PROBLEMS = ("sheet", "row", "column", "value", "rule", "remedy")
"""Columns of every list of problems."""

_SHOWN = 20
_SMALL = 2000  # rows up to which each is remembered whole, to compare with a later part of the import


@dataclass
class Incoming:
    """Rows for one table, and how to name them in messages.

    ``problems`` holds what was already found while the cells were read; such rows are in ``bad``.
    """

    table: str
    frame: pd.DataFrame
    source: str = ""
    rows: list[str] | None = None
    problems: list[tuple] = field(default_factory=list)

    def __post_init__(self):
        if self.table not in schema.KEYS:
            raise unknown_name("table", self.table, schema.KEYS, where=self.source)
        self.source = self.source or self.table
        self.frame = self.frame.reset_index(drop=True)
        if self.rows is None:
            self.rows = [f"row {i + 2}" for i in range(len(self.frame))]


@dataclass
class Sifted:
    """What may be written, and what may not."""

    new: dict[str, pd.DataFrame]
    unchanged: dict[str, int]
    differences: pd.DataFrame  # table, key, column, before, after: rows that are there with other values
    problems: pd.DataFrame


def problems_text(problems: pd.DataFrame, limit: int = _SHOWN) -> str:
    """Write problems as lines: sheet, row, column, value, rule, remedy.

    Parameters
    ----------
    problems : DataFrame, shape (n, 6)
        Columns of ``PROBLEMS``.
    limit : int
        Lines shown; the number left is said.
    """
    lines = []
    for p in problems.head(limit).itertuples():
        value = f" {p.value!r}" if p.value else ""
        column = f"{p.column}{value} " if p.column else ""
        lines.append(f"{p.sheet}, {p.row}: {column}{p.rule}. {p.remedy}")
    if len(problems) > limit:
        lines.append(f"({len(problems) - limit} more)")
    return "\n".join(lines)


def problems_error(problems: pd.DataFrame, *, nothing: str = "Nothing was imported.") -> InputError:
    """Build the error that lists every problem; the table is in ``.problems``."""
    n = len(problems)
    head = f"{nothing} {n} cell{'s' if n > 1 else ''} or row{'s' if n > 1 else ''} must be put right first:\n"
    return InputError(head + problems_text(problems), problems=problems)


class _Notes:
    """Gathers problems by place."""

    def __init__(self):
        self.rows: list[tuple] = []
        self.bad: dict[int, set[int]] = {}

    def add(self, part: int, incoming: Incoming, index, column, value, rule, remedy):
        place = incoming.rows[index] if isinstance(index, int) else index
        shown = "" if value is None or value != value else str(value)
        self.rows.append((incoming.source, place, column, shown, rule, remedy))
        if isinstance(index, int):
            self.bad.setdefault(part, set()).add(index)

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame(self.rows, columns=list(PROBLEMS))


def sift(connection, incoming: list[Incoming]) -> Sifted:
    """Sort incoming rows into new ones, ones the log has already, and ones that cannot be taken.

    Parameters
    ----------
    connection : Connection
        Sees the log the rows are meant for.
    incoming : list of Incoming
        In any order; rows may refer to rows of other tables in the same list.

    Returns
    -------
    Sifted
        ``new`` holds clean frames by table, parents first. A row that hangs on a row with a problem has a problem.
    """
    incoming = sorted(incoming, key=lambda part: schema.ORDER.index(part.table))
    notes = _Notes()
    clean = []
    for i, part in enumerate(incoming):
        for index, *rest in part.problems:
            notes.add(i, part, index, *rest)
        clean.append(_check_cells(i, part, notes))
    seen: dict[str, set] = {}
    new: dict[str, list] = {}
    unchanged: dict[str, int] = {}
    differences = []
    for i, (part, frame) in enumerate(zip(incoming, clean, strict=True)):
        if frame is None:
            continue
        _check_rows(i, part, frame, notes)
        _check_parents(connection, i, part, frame, notes, incoming, seen)
        frame = _leave_bad(frame, notes, i)
        frame = _check_twice(i, part, frame, notes, seen)
        frame, same, other = _compare(connection, i, part, frame, notes)
        differences += other
        new.setdefault(part.table, []).append(frame)
        unchanged[part.table] = unchanged.get(part.table, 0) + same
    joined = {name: pd.concat(frames, ignore_index=True) for name, frames in new.items()}
    return Sifted(
        {name: joined[name] for name in schema.ORDER if name in joined and len(joined[name])},
        unchanged,
        pd.DataFrame(differences, columns=["table", "key", "column", "before", "after"]),
        notes.frame(),
    )


def _awaiting(frame: pd.DataFrame) -> pd.Series:
    """Mark samples whose counts are still to come from the photos they name."""

    def column(name):
        return frame[name] if name in frame.columns else pd.Series([None] * len(frame), index=frame.index)

    def filled(name):
        return column(name).map(lambda v: not pd.isna(v) and str(v).strip() != "")

    by_photo = column("counted_by").map(lambda v: str(v).strip().casefold() == "photo")
    counts = [*COUNT_COLUMNS.values(), "embryos"]
    no_counts = ~pd.concat([filled(c) for c in counts], axis=1).any(axis=1)
    return (by_photo & filled("photos") & no_counts).astype(bool)


def _check_cells(i: int, part: Incoming, notes: _Notes) -> pd.DataFrame | None:
    """Check every cell; return the clean rows under their old index, or None when columns are missing."""
    frame = part.frame
    waiting = None
    if part.table == "samples":
        waiting = _awaiting(frame)
        if "nauplii" not in frame.columns:
            frame = frame.assign(nauplii=None)
        if waiting.any():
            frame = frame.assign(nauplii=frame["nauplii"].astype(object).where(~waiting, 0))
    if part.table == "objects" and "object_id" in frame.columns and frame["object_id"].isna().any():
        for index in frame.index[frame["object_id"].isna()]:
            notes.add(i, part, int(index), "object_id", None, "is empty and must be filled", "Fill the cell.")
    already = notes.bad.get(i, set())
    good = frame.drop(index=list(already))
    try:
        checked = check_table(good, part.table, source=part.source, row_names=[str(k) for k in good.index])
    except InputError as error:
        if error.problems is None:
            notes.add(i, part, "heading", "", None, _after_place(str(error), part.source), "")
            return None
        for p in error.problems.itertuples():
            rule, remedy = _for_waiting(part, int(p.row), p.column, p.rule, p.remedy)
            notes.add(i, part, int(p.row), p.column, p.value, rule, remedy)
        good = frame.drop(index=list(notes.bad.get(i, set())))
        checked = check_table(good, part.table, source=part.source)
    checked = checked[table_columns(part.table)]
    if waiting is not None and waiting.any():
        checked.loc[waiting.reindex(checked.index), "nauplii"] = pd.NA
    return _normal_times(checked, part.table)


def _after_place(message: str, source: str) -> str:
    return message.removeprefix(f"{source}: ").rstrip(".")


def _for_waiting(part: Incoming, index: int, column: str, rule: str, remedy: str) -> tuple[str, str]:
    """Say more where counts are missing from a sample counted by photo."""
    if part.table == "samples" and column == "nauplii" and "empty" in rule:
        return (
            rule,
            "Fill the cell; or, if the photos are to be counted, write counted_by photo, name the photos, and leave "
            "all counts empty.",
        )
    return rule, remedy


def _normal_times(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    """Write every time alike: 2026-11-04T09:00:00+00:00."""
    for column in TABLES[table]:
        if column.kind == "time" and frame[column.name].notna().any():
            frame[column.name] = frame[column.name].map(
                lambda text: text if text != text else pd.Timestamp(text).isoformat()
            )
    if table == "samples":
        frame["revision"] = frame["revision"].fillna(0)
    return frame


def _check_rows(i: int, part: Incoming, frame: pd.DataFrame, notes: _Notes) -> None:
    """Check what no single cell can show."""
    for column in frame.columns:
        if str(frame[column].dtype) == "str":
            odd = frame[column].map(lambda v: isinstance(v, str) and _cannot_be_stored(v)).astype(bool)
            for index in frame.index[odd]:
                notes.add(i, part, int(index), column, frame.at[index, column].encode("unicode_escape").decode(),
                          "holds a character that cannot be stored", "Type the cell again.")  # fmt: skip
    if part.table == "samples":
        both = frame["volume_ul"].isna() & frame["mass_g"].isna() & frame["chamber_depth_mm"].isna()
        for index in frame.index[both & frame["nauplii"].isna()]:
            notes.add(i, part, int(index), "chamber_depth_mm", None, "is empty, and so are volume_ul and mass_g",
                      "Fill one of the three, or the count cannot be turned into numbers per gram.")  # fmt: skip


def _cannot_be_stored(text: str) -> bool:
    return "\x00" in text or any("\ud800" <= c <= "\udfff" for c in text)


def _check_parents(connection, i, part: Incoming, frame, notes: _Notes, incoming, seen) -> None:
    """Check that what a row refers to is in the log or in this import, and that times agree with the hatch."""
    for column, parent, parent_column in schema.PARENTS.get(part.table, ()):
        named = frame[column].dropna()
        if named.empty:
            continue
        in_log = set(_present(connection, parent, parent_column, set(named)))
        with_us = {key[0] for key in seen.get(parent, {})}
        missing = ~named.isin(in_log | with_us)
        if not missing.any():
            continue
        spoiled = {
            str(value)
            for other in incoming
            if other.table == parent and parent_column in other.frame.columns
            for value in other.frame[parent_column].dropna()
        }
        known = sorted(set(known_names(connection, parent)) | with_us)
        for index, value in named[missing].items():
            if value.strip() in {s.strip() for s in spoiled}:
                rule, remedy = f"is a {_one(parent)} whose own row has a problem", "Put that row right first."
            else:
                message = str(unknown_name(column, value, known))
                rule = f"is not a {_one(parent)} in the log or in this import"
                hint = message.split(". ", 1)[1] if ". " in message else ""
                remedy = f"{hint} Correct the name, or import the {_one(parent)} first.".strip()
            notes.add(i, part, int(index), column, value, rule, remedy)
    if part.table == "samples":
        _check_hours(connection, i, part, frame, notes, incoming)


def _one(table: str) -> str:
    return {"hatches": "hatch", "lots": "lot", "samples": "sample", "photos": "photo"}[table]


def _present(connection, table: str, column: str, names: set) -> list[str]:
    c = schema.table(table).c[column]
    names, found = sorted(names), []
    for start in range(0, len(names), 500):
        statement = sa.select(c).distinct().where(c.in_(names[start : start + 500]))
        found += [v for (v,) in connection.execute(statement)]
    return found


def _check_hours(connection, i, part, frame, notes, incoming) -> None:
    """A sample is taken after its hatch was wetted, and its hours agree with both times."""
    starts = {}
    hatches = fetch(connection, "hatches", {"hatch": sorted(set(frame["hatch"].dropna()))})
    starts.update(zip(hatches["hatch"], hatches["started"], strict=True))
    for other in incoming:
        if other.table == "hatches" and {"hatch", "started"} <= set(other.frame.columns):
            starts.update({str(h).strip(): s for h, s in zip(other.frame["hatch"], other.frame["started"])})
    started = pd.to_datetime(frame["hatch"].map(starts), utc=True, format="ISO8601", errors="coerce")
    hours = (to_utc(frame["taken"]) - started).dt.total_seconds() / 3600
    for index in frame.index[hours < 0]:
        rule = f"is {-hours[index]:.1f} h before the hatch was started"
        notes.add(i, part, int(index), "taken", frame.at[index, "taken"], rule, "Correct the time, or the hatch.")
    apart = (hours - frame["hours"]).abs()
    # an hour apart, or a twentieth of the time: people round the reading time, but do not mistake a day
    for index in frame.index[(apart > 1) & (apart > 0.05 * hours) & (hours >= 0)]:
        notes.add(i, part, int(index), "hours", f"{frame.at[index, 'hours']:g}",
                  f"does not fit the times: taken is {hours[index]:.1f} h after the hatch was started",
                  "Correct the one that is wrong, or leave hours empty.")  # fmt: skip


def _leave_bad(frame: pd.DataFrame, notes: _Notes, i: int) -> pd.DataFrame:
    return frame.drop(index=[k for k in notes.bad.get(i, ()) if k in frame.index])


def _check_twice(i, part: Incoming, frame, notes: _Notes, seen) -> pd.DataFrame:
    """A key may stand once in an import; the same row again is dropped, another row with its key is a problem."""
    keys = [*schema.KEYS[part.table], *(["revision"] if part.table == "samples" else [])]
    places = seen.setdefault(part.table, {})
    doubtful = set(frame.index[frame.duplicated(keys, keep=False)]) if len(frame) else set()
    drop = []
    for index, *key in frame[keys].itertuples():
        key = tuple(key)
        row = frame.loc[index] if index in doubtful or key in places or len(frame) < _SMALL else None
        if key not in places:
            places[key] = (f"{part.source}, {part.rows[index]}", row)
            continue
        place, other = places[key]
        drop.append(index)
        if not _same(row, other):
            notes.add(i, part, int(index), keys[0], key[0], f"stands already in {place}, with other values",
                      "Keep the right one of the two rows.")  # fmt: skip
    return frame.drop(index=drop)


def _same(one: pd.Series, other: pd.Series | None) -> bool:
    return other is not None and all(_equal(a, b) for a, b in zip(one, other))


def _equal(a, b) -> bool:
    a_missing, b_missing = a is pd.NA or a is None or a != a, b is pd.NA or b is None or b != b
    return (a_missing and b_missing) or (not a_missing and not b_missing and a == b)


def _compare(connection, i, part: Incoming, frame, notes: _Notes):
    """Leave out rows the log has already; a row with other values than the log's is a problem.

    A row counts as there when it equals what was entered, any revision of it, or what stands there now.
    """
    keys = list(schema.KEYS[part.table])
    if frame.empty or not _present(connection, part.table, keys[0], set(frame[keys[0]])):
        return frame, 0, []
    names = {keys[0]: sorted(set(frame[keys[0]]))}
    entered = fetch(connection, part.table, names, revisions="all", corrected=False, internal=True)
    current = fetch(connection, part.table, names, internal=True)
    versions: dict[tuple, list[pd.Series]] = {}
    for source in (entered, current):
        for _, row in source.iterrows():
            versions.setdefault(tuple(row[keys]), []).append(row)
    columns = [c for c in table_columns(part.table) if c != "revision"]
    drop, same, differences = [], 0, []
    for index, row in frame.iterrows():
        there = versions.get(tuple(row[keys]))
        if there is None or (part.table == "samples" and _next_revision(row, there)):
            continue
        drop.append(index)
        if any(all(_equal(row[c], old[c]) for c in columns) for old in there):
            same += 1
            continue
        for column in columns:
            if not _equal(row[column], there[-1][column]):
                before, after = _shown(there[-1][column]), _shown(row[column])
                differences.append((part.table, tuple(row[keys]), column, before, after))
                notes.add(i, part, int(index), column, after,
                          f"differs from the log, where {keys[0]} {row[keys[0]]!r} has {before or 'nothing'}",
                          "If the log is right, correct the sheet; if the sheet is right, import it again with "
                          "--correct REASON, which keeps both values.")  # fmt: skip
    return frame.drop(index=drop), same, differences


def _next_revision(row, there) -> bool:
    known = {int(old["revision"]) for old in there}
    return int(row["revision"]) == max(known) + 1


def _shown(value) -> str:
    """Write a value as a correction holds it: text, empty where missing."""
    if value is None or value is pd.NA or value != value:
        return ""
    if value is True or value is False or type(value).__name__ in ("bool_", "bool"):
        return "yes" if value else "no"
    return repr(float(value)) if isinstance(value, float) else str(value)
