"""Corrections: each adds a row that says what stood there, what is right, who says so and why.

Hand corrections of a photo are taken back from the log itself, so that it works after a restart as well. Each edit is
one step. Undoing writes the values before as corrections of a further step, whose action names the step it takes back;
so the edits that still stand can be told at any time.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import pandas as pd
import sqlalchemy as sa

from qckit.columns import is_missing
from qckit.errors import InputError, unknown_name
from qckit.log import row_rules, schema
from qckit.log.hand_counts import count_change, frame_changes
from qckit.log.problems import renaming
from qckit.log.query import WITHDRAWN, entered_key, fetch, key_text, known_names, read_key
from qckit.object_rows import ADDED, REMOVED
from qckit.tables import TABLES, check_cell, column_dtypes, table_columns, to_utc
from qckit.words import row_words

__all__ = [
    "ACTION",
    "Edit",
    "action_of",
    "edits",
    "is_undo",
    "last_edit",
    "need_parent",
    "need_reason",
    "need_rows",
    "reverse",
    "value_text",
    "write",
]

ACTION = "correct objects"
_UNDO = re.compile(r"undo of step (\d+)$")


def need_reason(by: str, reason: str) -> None:
    """Refuse a correction without a name or a reason."""
    if not str(by or "").strip():
        raise InputError("Nobody is named as the one who corrects. Give a name or initials (--by NAME).")
    if not str(reason or "").strip():
        raise InputError("A correction needs its reason in words (--reason TEXT).")


def value_text(value) -> str:
    """Write a value as a correction holds it: text, empty where missing."""
    if is_missing(value):
        return ""
    if type(value).__name__ in ("bool", "bool_"):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(float(value))
    return str(value)


def need_rows(connection, table: str, keys: list[tuple], *, hidden: bool) -> dict[tuple, dict]:
    """Return the current rows of some keys with the log's own columns, or say which there is not.

    ``hidden`` looks among withdrawn rows as well.
    """
    columns = list(schema.KEYS[table])
    names = list(dict.fromkeys(key[0] for key in keys))
    conditions: dict = {columns[0]: names}
    if len(columns) == 2 and len(names) == 1:
        conditions = {columns[0]: names[0], columns[1]: list(dict.fromkeys(key[1] for key in keys))}
    found: dict[tuple, dict] = {}
    for corrected in (False, True) if hidden else (True,):
        frame = fetch(connection, table, conditions, internal=True, corrected=corrected)
        found.update({tuple(row[c] for c in columns): row for row in frame.to_dict("records")})
    for key in keys:
        if key not in found:
            raise unknown_name(columns[0], key[0], known_names(connection, table), where=table)
    return found


def write(connection, step: int, cells: list[tuple], at: str, by: str, reason: str) -> dict[str, pd.DataFrame]:
    """Write corrections as part of a step.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.writing`.
    step : int
        The step they belong to.
    cells : list of (table, key, column, after)
        What is corrected, and the right value: empty or None empties the cell. Key columns cannot be corrected.
    at, by, reason : str
        When, who, why.

    Returns
    -------
    dict of str to DataFrame
        Field records as they stand now, of those whose cells were corrected.

    Raises
    ------
    InputError
        After it a row would break a rule, of its cell or beside its hatch.
    """
    cells = [(table, entered_key(table, key), column, after) for table, key, column, after in cells]
    by_table: dict[tuple, list[tuple]] = {}
    for table, key, column, _ in cells:
        by_table.setdefault((table, column == WITHDRAWN), []).append(key)
    known = {place: need_rows(connection, place[0], keys, hidden=place[1]) for place, keys in by_table.items()}
    last = connection.execute(sa.select(sa.func.max(schema.CORRECTIONS.c.correction))).scalar() or 0
    rows, changed = [], {}
    for number, (table, key, column, after) in enumerate(cells, last + 1):
        row = known[table, column == WITHDRAWN][key]
        before, after = ("", after) if column == WITHDRAWN else _change(table, key, column, row, after)
        if column != WITHDRAWN:
            need_parent(connection, table, column, after)
            row[column] = check_cell(table, column, after)[0]  # so that further cells of the row see it
            changed.setdefault((table, key), row)
        revision = int(row["revision"]) if table in schema.REVISED and column != WITHDRAWN else None
        rows.append(
            {
                "correction": number,
                "at": at,
                "by": by,
                "table": table,
                "key": key_text(table, key),
                "column": column,
                "before": before,
                "after": after,
                "reason": reason,
                "key1": str(key[0]),
                "revision": revision,
                "step": step,
            }
        )
    frames = _frames(changed)
    _check_rules(connection, frames, {(table, column) for table, _, column, _ in cells})
    connection.execute(sa.insert(schema.CORRECTIONS), rows)
    return frames


_FIELD_TABLES = ("lots", "hatches", "readings", "samples", "feeds")


def _frames(changed: dict[tuple, dict]) -> dict[str, pd.DataFrame]:
    """Bring changed rows of field records into a frame a table."""
    frames = {}
    for name in _FIELD_TABLES:
        rows = [row for (table, _), row in changed.items() if table == name]
        if rows:
            kinds = column_dtypes(name)
            frames[name] = pd.DataFrame({c: pd.Series([r[c] for r in rows], dtype=kinds[c]) for c in kinds})
    return frames


_BESIDE_HATCH = {
    *(("samples", c) for c in ("hatch", "taken", "volume_ul")),
    ("hatches", "started"),
    ("hatches", "volume_ml"),
}


def _check_rules(connection, frames: dict[str, pd.DataFrame], touched: set[tuple[str, str]]) -> None:
    """Refuse corrections after which a row says what no water can hold, or does not go with its hatch."""
    for table, frame in frames.items():
        for index, *rest in row_rules.broken(table, frame):
            raise _broken(table, frame, index, *rest)
    if not touched & _BESIDE_HATCH:
        return
    hatches, samples = (frames.get(t, pd.DataFrame(columns=table_columns(t))) for t in ("hatches", "samples"))
    named = sorted({*hatches["hatch"], *samples["hatch"]})
    hatches = _with_changes(fetch(connection, "hatches", {"hatch": named}), hatches, "hatch").set_index("hatch")
    if "hatches" in frames:  # then all their samples have to go with them
        samples = _with_changes(fetch(connection, "samples", {"hatch": named}), samples, "sample")
    started, volume_ml = (samples["hatch"].map(hatches[c]) for c in ("started", "volume_ml"))
    for index, column, *rest in row_rules.broken_with_hatch(samples, to_utc(started), volume_ml):
        if column != "hours":  # of two times that are both wrong one is corrected first; the check of the log says so
            raise _broken("samples", samples, index, column, *rest)


def _with_changes(logged: pd.DataFrame, changed: pd.DataFrame, key: str) -> pd.DataFrame:
    if changed.empty:
        return logged
    return pd.concat([logged[~logged[key].isin(changed[key])], changed], ignore_index=True)


def _broken(table: str, frame: pd.DataFrame, index, column: str, value, rule: str, remedy: str) -> InputError:
    key = key_text(table, tuple(frame.loc[index, list(schema.KEYS[table])]))
    return InputError(f"{row_words(table, key)}: {column} {value or ''} {rule}. {remedy}".replace("  ", " "))


def _change(table: str, key: tuple, column: str, row: dict, after) -> tuple[str, str]:
    """Return what stands in a cell and what shall stand there, both as text."""
    after = _right(table, column, after)
    before = value_text(row[column])
    if before == after:
        row = row_words(table, key_text(table, key))
        raise InputError(f"{row}: {column} is {after!r} already. There is nothing to correct.")
    return before, after


def need_parent(connection, table: str, column: str, after: str) -> None:
    """Refuse a name that no row has, or only one that was withdrawn."""
    for child_column, parent, parent_column in schema.PARENTS.get(table, ()):
        if child_column == column and after:
            there = fetch(connection, parent, {parent_column: [after]})
            if there.empty:
                known = fetch(connection, parent)[parent_column].drop_duplicates()
                raise unknown_name(column, after, known, where=f"{table}, column {column}")


def _right(table: str, column: str, after) -> str:
    """Check the new value and write it as text."""
    if column in schema.KEYS[table]:
        raise InputError(f"{table}: {column} names the row and cannot be corrected. {renaming(table)}")
    if column == "revision" or column not in table_columns(table):
        raise unknown_name("column", column, [c for c in table_columns(table) if c != "revision"], where=table)
    value, wrong = check_cell(table, column, after)
    if wrong:
        raise InputError(f"{table}: {column} {str(after)!r} {wrong[0]}. {wrong[1]}")
    if value is None and column in {c.name for c in schema.table(table).columns if not c.nullable}:
        raise InputError(f"{table}: {column} must be filled and cannot be emptied. Give the right value.")
    if value is not None and isinstance(value, str) and column in dict.fromkeys(_times(table)):
        value = pd.Timestamp(value).isoformat()
    return value_text(value)


def _times(table: str) -> list[str]:
    return [c.name for c in TABLES[table] if c.kind == "time"]


@dataclass(frozen=True)
class Edit:
    """One hand correction of a photo: its step, who made it when and why, and its corrections."""

    step: int
    at: str
    by: str
    reason: str
    cells: pd.DataFrame  # columns of corrections

    @property
    def objects(self) -> list[int]:
        """Numbers of the objects it changed."""
        keys = self.cells.loc[self.cells["table"] == "objects", "key"].drop_duplicates()
        return [int(read_key("objects", key)[1]) for key in keys]


def action_of(edit: Edit) -> str:
    """Return the action of the step that takes an edit back."""
    return f"undo of step {edit.step}"


def is_undo(action: str) -> bool:
    """Say whether a step's action is that of an edit taken back."""
    return _UNDO.match(str(action)) is not None


def edits(connection, photo: str) -> list[Edit]:
    """Return the edits of a photo's newest count that were not taken back, oldest first."""
    return _as_edits(_fixes(connection, photo, _standing(connection, photo)))


def last_edit(connection, photo: str, by: str) -> Edit | None:
    """Return the newest standing edit of a person; only its own corrections are read."""
    for step in reversed(_standing(connection, photo, by)):
        found = _as_edits(_fixes(connection, photo, [step]))
        if found:
            return found[0]
    return None


def _standing(connection, photo: str, by: str | None = None) -> list[int]:
    """Steps of edits of a photo (of one person) that were not taken back, oldest first."""
    s = schema.STEPS.c
    done = connection.execute(sa.select(s.step, s.action, s.by).where(s.source == photo).order_by(s.step)).all()
    undone = {int(m[1]) for m in (_UNDO.match(action) for _, action, _ in done) if m}
    return [n for n, action, who in done if action == ACTION and n not in undone and by in (None, who)]


def _fixes(connection, photo: str, steps: list[int]) -> pd.DataFrame:
    """Corrections that some steps made on the newest count of a photo."""
    equals = {"key1": photo, "table": ["objects", "photos"], "step": steps}
    fixes = fetch(connection, "corrections", equals, internal=True)
    newest = connection.execute(
        sa.select(sa.func.max(schema.table("photos").c.revision)).where(schema.table("photos").c.photo == photo)
    ).scalar()
    return fixes if newest is None else fixes[fixes["revision"] == newest]


def _as_edits(fixes: pd.DataFrame) -> list[Edit]:
    return [
        Edit(int(step), cells["at"].iloc[0], cells["by"].iloc[0], cells["reason"].iloc[0], cells)
        for step, cells in fixes.groupby("step", sort=True)
    ]


def reverse(connection, photo: str, edit: Edit) -> tuple[list[tuple], Counter]:
    """Return the cells that take an edit back, as (table, key, column, after), and how the counts change by them.

    Raises
    ------
    InputError
        What the edit wrote does not stand any more, because somebody else changed it since.
    """
    mine = {"photo": photo, "object_id": edit.objects}
    now = fetch(connection, "objects", mine).set_index("object_id")
    entered = fetch(connection, "objects", mine, corrected=False).set_index("object_id")
    cells: list[tuple] = []
    for key, fixes in edit.cells[edit.cells["table"] == "objects"].groupby("key", sort=False):
        number = int(read_key("objects", key)[1])
        for fix in fixes.itertuples():
            if value_text(now.at[number, fix.column]) != _empty(fix.after):
                raise _changed(connection, photo, table="objects", key=key, what=f"object {number}", edit=edit)
            cells.append(("objects", key, fix.column, _empty(fix.before)))
        added = set(fixes["column"]) == {"counted"} and (fixes["after"] == "yes").all()
        if added and now.at[number, "source"] == entered.at[number, "source"] == ADDED:
            cells.append(("objects", key, "source", REMOVED))
    by_number = {int(number): row for number, row in now.to_dict("index").items()}
    change = count_change(by_number, [(read_key("objects", key), column, after) for _, key, column, after in cells])
    frames = edit.cells[edit.cells["table"] == "photos"]
    for fix in frames.itertuples():
        if value_text(fetch(connection, "photos", {"photo": photo})[fix.column].iloc[0]) != _empty(fix.after):
            raise _changed(connection, photo, table="photos", key=fix.key, what="the drawn frame", edit=edit)
        cells += frame_changes(connection, photo, float(fix.before)) if _empty(fix.before) else []
    return cells, change


def _empty(value) -> str:
    return "" if pd.isna(value) else value


def _changed(connection, photo, table, key, what, edit) -> InputError:
    """Say who changed an object or the frame after an edit."""
    fixes = fetch(connection, "corrections", {"key1": photo, "table": table, "key": key}, internal=True)
    later = fixes[fixes["step"] > edit.step]
    who = f"{later['by'].iloc[-1]} has" if len(later) else "somebody has"
    return InputError(
        f"photo {photo!r}, {what}: {who} changed it since, so the last edit of {edit.by} cannot be taken "
        "back. Nothing was changed; set it as it should be."
    )
