"""Corrections: each adds a row that says what stood there, what is right, who says so and why."""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from qckit.errors import InputError, unknown_name
from qckit.log import schema
from qckit.log.query import WITHDRAWN, fetch, key_text, known_names, read_key
from qckit.tables import check_cell, table_columns

__all__ = ["need_reason", "value_text", "with_dependents", "write"]


def need_reason(by: str, reason: str) -> None:
    """Refuse a correction without a name or a reason."""
    if not str(by or "").strip():
        raise InputError("Nobody is named as the one who corrects. Give a name or initials (--by NAME).")
    if not str(reason or "").strip():
        raise InputError("A correction needs its reason in words (--reason TEXT).")


def value_text(value) -> str:
    """Write a value as a correction holds it: text, empty where missing."""
    if value is None or value is pd.NA or value != value:
        return ""
    if type(value).__name__ in ("bool", "bool_", "bool"):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(float(value))
    return str(value)


def _row(connection, table: str, key: tuple, *, hidden: bool):
    """Return the current row of a key with the log's own columns, or say that there is none."""
    columns = schema.KEYS[table]
    equals = dict(zip(columns, key, strict=True))
    frame = fetch(connection, table, equals, internal=True)
    if frame.empty and hidden:
        frame = fetch(connection, table, equals, internal=True, corrected=False)
    if frame.empty:
        raise unknown_name(columns[0], key[0], known_names(connection, table), where=table)
    return frame.iloc[0]


def write(connection, step: int, table: str, key, column: str, after, at: str, by: str, reason: str) -> None:
    """Write one correction as part of a step.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.writing`.
    step : int
        The step it belongs to.
    table, column : str
        What is corrected; key columns cannot be.
    key : str or tuple
    after : object
        The right value; empty or None empties the cell.
    at, by, reason : str
        When, who, why.
    """
    text = key_text(table, key)
    key = read_key(table, text)
    row = _row(connection, table, key, hidden=column == WITHDRAWN)
    if column == WITHDRAWN:
        before = ""
    else:
        before, after = value_text(row[column] if column in row.index else None), _right(table, column, after)
        if before == after:
            raise InputError(f"{table} {text}: {column} is {after!r} already. There is nothing to correct.")
    last = connection.execute(sa.select(sa.func.max(schema.CORRECTIONS.c.correction))).scalar()
    revision = int(row["revision"]) if table in schema.REVISED and column != WITHDRAWN else None
    connection.execute(
        sa.insert(schema.CORRECTIONS),
        {"correction": (last or 0) + 1, "at": at, "by": by, "table": table, "key": text, "column": column,
         "before": before, "after": after, "reason": reason, "key1": str(key[0]), "revision": revision,
         "step": step},
    )  # fmt: skip


def _right(table: str, column: str, after) -> str:
    """Check the new value and write it as text."""
    if column in schema.KEYS[table]:
        raise InputError(
            f"{table}: {column} names the row and cannot be corrected. Withdraw the row with  qckit log withdraw  and "
            "add it again under its right name."
        )
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
    from qckit.tables import TABLES

    return [c.name for c in TABLES[table] if c.kind == "time"]


def with_dependents(connection, table: str, key) -> list[tuple[str, tuple]]:
    """Return a row's key, and those of the rows that hang on it, as (table, key)."""
    key = read_key(table, key_text(table, key))
    _row(connection, table, key, hidden=True)
    rows, level = [(table, key)], [(table, key)]
    while level:
        below = []
        for name, parents in schema.PARENTS.items():
            for column, parent, _ in parents:
                names = [k[0] for t, k in level if t == parent]
                # objects go with their photo: hiding each would only add rows
                if names and name != "objects":
                    found = fetch(connection, name, {column: names}, corrected=False)
                    below += [(name, tuple(k)) for k in found[list(schema.KEYS[name])].itertuples(index=False)]
        level = [item for item in dict.fromkeys(below) if item not in rows]
        rows += level
    return rows
