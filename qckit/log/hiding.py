"""Rows entered by mistake are hidden with all that hangs on them, and shown again as they were hidden."""

from __future__ import annotations

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import schema, steps
from qckit.log.corrections import need_reason, need_rows, write
from qckit.log.counts import same_file_twice
from qckit.log.query import WITHDRAWN, entered_key, fetch, hanging_on, key_text, read_key
from qckit.words import first_few, row_words

__all__ = ["hide", "hide_step", "show", "still_hidden"]


def hide(connection, log, table: str, key, *, by: str, reason: str) -> int:
    """Hide a row with all that hangs on it, in one step. Returns the rows hidden."""
    need_reason(by, reason)
    rows = _with_dependents(connection, table, key)
    _write(connection, log, rows, "yes", action="withdraw", source=table, by=by, reason=reason)
    return len(rows)


def hide_step(connection, log, step: int, *, by: str, reason: str) -> int:
    """Hide every row that one step brought, with all that hangs on them, in one step. Returns the rows hidden."""
    need_reason(by, reason)
    rows = _rows_of_step(connection, step)
    if rows:
        _write(connection, log, rows, "yes", action="withdraw", source=f"step {step}", by=by, reason=reason)
    return len(rows)


def show(connection, log, table: str, key, *, by: str, reason: str) -> int:
    """Show a hidden row again, with what was hidden together with it, in one step. Returns the rows shown.

    What hangs on it and was hidden by another step stays hidden: a sample typed wrong, readings put to another hatch.

    Raises
    ------
    InputError
        The row is not hidden, or a photo's file would be counted twice.
    """
    need_reason(by, reason)
    (row, *below), since = _with_dependents(connection, table, key), _hidden_since(connection)
    if row not in since:
        name = row_words(table, key_text(table, row[1]))
        there = "".join(f" {text}." for text in _by_steps(below, since))
        raise InputError(f"{name}: is not withdrawn, so there is nothing to show again.{there}")
    rows = [item for item in (row, *below) if since.get(item) == since[row]]
    _write(connection, log, rows, "no", action="reinstate", source=table, by=by, reason=reason)
    shown = [row_key[0] for name, row_key in rows if name == "photos"]
    same_file_twice(connection, fetch(connection, "photos", {"photo": shown}))
    return len(rows)


def still_hidden(connection, table: str, key) -> list[str]:
    """Say which rows that hang on a row are hidden, and why: a line for each step that hid some."""
    _, *below = _with_dependents(connection, table, key)
    return _by_steps(below, _hidden_since(connection))


def _by_steps(rows: list[tuple], since: dict[tuple, tuple[int, str]]) -> list[str]:
    steps_of: dict[tuple[int, str], list[tuple]] = {}
    for item in rows:
        if item in since:
            steps_of.setdefault(since[item], []).append(item)
    lines = []
    for (step, reason), of_step in sorted(steps_of.items()):
        # those that hang on others of the step come back with them, and are not named
        names = [row_words(name, key_text(name, key)) for name, key in of_step if name == of_step[0][0]]
        lines.append(f"Withdrawn by step {step} ({reason}), and still so: {first_few(names, 3)}")
    return lines


def _hidden_since(connection) -> dict[tuple[str, tuple], tuple[int, str]]:
    """Return each hidden row with the step that hid it, and why; a step that met it hidden changed nothing."""
    c = schema.CORRECTIONS.c
    fixes = sa.select(c.table, c.key, c.after, c.step, c.reason).where(c.column == WITHDRAWN).order_by(c.correction)
    since: dict[tuple[str, tuple], tuple[int, str]] = {}
    for table, key, after, step, reason in connection.execute(fixes):
        row = (table, read_key(table, key))
        if after == "yes":
            since.setdefault(row, (step, reason))
        else:
            since.pop(row, None)
    return since


def _write(connection, log, rows, after: str, *, action: str, source: str, by: str, reason: str) -> None:
    number = steps.begin(connection, log, by=by, action=action, source=source, n_rows=len(rows))
    cells = [(name, row_key, WITHDRAWN, after) for name, row_key in rows]
    write(connection, number, cells=cells, at=log.now(), by=by, reason=reason)


def _with_dependents(connection, table: str, key) -> list[tuple[str, tuple]]:
    """Return a row's key, and those of the rows that hang on it as they stand now, as (table, key)."""
    key = entered_key(table, key)
    need_rows(connection, table, [key], hidden=True)
    rows, level = [(table, key)], [(table, key)]
    while level:
        below = []
        for name, parents in schema.PARENTS.items():
            for column, parent, _ in parents:
                names = [k[0] for t, k in level if t == parent]
                # objects go with their photo: hiding each would only add rows
                if names and name != "objects":
                    below += [(name, key) for key in hanging_on(connection, name, column, names)]
        level = [item for item in dict.fromkeys(below) if item not in rows]
        rows += level
    return rows


def _rows_of_step(connection, step: int) -> list[tuple[str, tuple]]:
    """Return the rows a step brought, or showed again, that are still shown, with the shown rows that hang on them."""
    rows: dict[tuple[str, tuple], None] = {}
    for table in schema.ENTERED:
        if "step" not in schema.table(table).c:
            continue
        brought = fetch(connection, table, where=[("", schema.table(table).c.step == step)])
        for key in brought[list(schema.KEYS[table])].itertuples(index=False):
            rows |= dict.fromkeys(_with_dependents(connection, table, tuple(key)))
    for table, key in _shown_again(connection, step):
        if not fetch(connection, table, dict(zip(schema.KEYS[table], key, strict=True))).empty:
            rows |= dict.fromkeys(_with_dependents(connection, table, key))
    shown = set()
    for table in {table for table, _ in rows}:
        first, names = schema.KEYS[table][0], [key[0] for name, key in rows if name == table]
        keys = fetch(connection, table, {first: names}, revisions="all")[list(schema.KEYS[table])]
        shown |= {(table, tuple(key)) for key in keys.itertuples(index=False)}
    return [row for row in rows if row in shown]


def _shown_again(connection, step: int) -> list[tuple[str, tuple]]:
    c = schema.CORRECTIONS.c
    of_step = sa.and_(c.step == step, c.column == WITHDRAWN, c.after == "no")
    return [
        (table, read_key(table, key)) for table, key in connection.execute(sa.select(c.table, c.key).where(of_step))
    ]
