"""Rows that their hatch's name is a part of, such as readings, put to another hatch: hidden there, and entered here."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError, known_names_hint
from qckit.log import schema, steps
from qckit.log.corrections import need_parent, value_text, write
from qckit.log.problems import mending
from qckit.log.query import WITHDRAWN, apply_corrections, entered_key, fetch, key_text, rows_of
from qckit.tables import table_columns
from qckit.words import row_words

__all__ = ["Move", "is_move", "move", "put"]

_MOVED = ("readings", "checks")  # the hatch is a part of their key, which no correction changes


def is_move(table: str, column: str) -> bool:
    """Tell whether correcting a column puts rows to another hatch, as of readings and checks."""
    return table in _MOVED and column == schema.KEYS[table][0]


def put(connection, log, table: str, *, key, hatch, by: str, reason: str) -> pd.DataFrame:
    """Put one row, or all of a hatch, to another hatch, in one step; parameters and errors as of :func:`move`.

    Returns
    -------
    DataFrame, shape (n, columns of the table)
        The rows as they stand under the other hatch.
    """
    found = move(connection, table, key, hatch)
    n_rows, source = len(found.new) + len(found.cells), f"{table} of {found.of}"
    number = steps.begin(connection, log, by=by, action="correct", source=source, n_rows=n_rows)
    steps.insert(connection, table, found.new, number)
    write(connection, number, cells=found.cells, at=log.now(), by=by, reason=f"{reason} (now of {hatch})")
    return found.rows


@dataclass(frozen=True)
class Move:
    """What puts rows to another hatch.

    Attributes
    ----------
    of : str
        The hatch that they stood under.
    rows : DataFrame, shape (n, columns of the table)
        All of them under the other hatch.
    new : DataFrame, shape (m, columns of the table)
        Those that the other hatch never had.
    cells : list of (table, key, column, after)
        What hides the rows where they stood, and shows again those that the other hatch had before.
    """

    of: str
    rows: pd.DataFrame
    new: pd.DataFrame
    cells: list[tuple]


def move(connection, table: str, key, hatch) -> Move:
    """Work out how one row, or all of a hatch, get to another hatch with the values that stand now.

    Parameters
    ----------
    connection : Connection
    table : str
        readings or checks.
    key : str or tuple
        The row's key, or the name of a hatch alone: all its rows.
    hatch : str
        The one they belong to.

    Raises
    ------
    InputError
        There is no such row or hatch, or the hatch has a row of the same time already.
    """
    is_whole = isinstance(key, str) and not key.startswith("[")
    asked = (key,) if is_whole else entered_key(table, key)
    keys, hatch = list(schema.KEYS[table]), value_text(hatch).strip()
    if not hatch:
        raise InputError(f"{table}: hatch must be filled and cannot be emptied. Give the right value.")
    need_parent(connection, table, keys[0], hatch)
    if asked[0] == hatch:
        raise InputError(f"{table}: hatch is {hatch!r} already. There is nothing to correct.")
    rows = fetch(connection, table, {keys[0]: asked[0]})
    if not is_whole:
        rows = rows[(rows[keys] == list(map(str, asked))).all(axis=1)]
    if rows.empty:
        known = fetch(connection, table)[keys[0]].drop_duplicates()
        raise InputError(
            f"{table}: no row is named {' | '.join(map(str, asked))!r}.{known_names_hint('hatch', asked[0], known)}"
        )
    moved = rows.assign(**{keys[0]: hatch}).reset_index(drop=True)
    cells, new, there = [], [], _rows_there(connection, table, hatch)
    columns = table_columns(table)
    for at, before, row in zip(moved.index, rows_of(rows, keys), rows_of(moved, columns), strict=True):
        after = (hatch, *before[1:])
        cells.append((table, before, WITHDRAWN, "yes"))
        if after not in there:
            new.append(at)
            continue
        is_hidden, values = there[after]
        if not is_hidden or values != row:
            raise _is_there(table, before, after, is_hidden)
        cells.append((table, after, WITHDRAWN, "no"))
    return Move(asked[0], moved, moved.loc[new], cells)


def _rows_there(connection, table: str, hatch: str) -> dict[tuple, tuple[bool, tuple]]:
    """Return by key the rows that a hatch has or had: whether each is withdrawn, and its values, corrected."""
    keys = list(schema.KEYS[table])
    entered = fetch(connection, table, {keys[0]: hatch}, corrected=False)
    fixes = fetch(connection, "corrections", {"table": table, "key1": hatch}, internal=True)
    values = apply_corrections(entered, fixes[fixes["column"] != WITHDRAWN], table)
    shown = set(rows_of(apply_corrections(entered, fixes, table), keys))
    pairs = zip(rows_of(values, keys), rows_of(values, table_columns(table)), strict=True)
    return {key: (key not in shown, row) for key, row in pairs}


def _is_there(table: str, before: tuple, after: tuple, is_hidden: bool) -> InputError:
    """Say that the other hatch has the row, and with which command one of the two is chosen."""
    name, other = (row_words(table, key_text(table, key)) for key in (before, after))
    if is_hidden:
        what = f"{other} is there already, withdrawn and with other values"
        remedy = f"Show that again:  {mending('reinstate', table, after)};  correct it, and withdraw this one:  "
        return InputError(f"{name}: {what}. {remedy}{mending('withdraw', table, before)}")
    what = f"{other} is there already. Withdraw the wrong one of the two:  "
    return InputError(f"{name}: {what}{mending('withdraw', table, before)}  or  {mending('withdraw', table, after)}")
