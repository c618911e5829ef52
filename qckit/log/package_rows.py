"""Rows that come back from a package: each is checked like a row that comes from a sheet, before it is entered."""

from __future__ import annotations

import json

import pandas as pd

from qckit.errors import InputError
from qckit.log import query, row_rules, schema
from qckit.tables import TABLES, check_cell, check_table, table_columns, to_utc
from qckit.words import row_words

__all__ = ["check", "check_together"]


def check(connection, table: str, columns: list[str], lists: list[list], where: str, first: int) -> None:
    """Check rows by the rules of their columns.

    Parameters
    ----------
    connection : Connection
    table : str
        Record table, ``corrections`` or ``steps``.
    columns : list of str
        Columns of the database's table.
    lists : list of list
        Values of each.
    where : str
        Package and table, for messages.
    first : int
        Number of the first row.

    Raises
    ------
    InputError
        A row breaks a rule.
    """
    rows = list(zip(*lists, strict=True))
    frame = _frame(rows, columns, table, where)
    names = [f"row {i}" for i in range(first, first + len(rows))]
    if table in TABLES:
        contract = frame[[c for c in table_columns(table) if c in frame.columns]]
        if table == "samples":  # those that wait for their photos have no counts yet
            contract = contract.assign(nauplii=contract["nauplii"].fillna(0))
        check_table(contract, table, source=where, row_names=names)
    if table in schema.TIME_COLUMN:
        time = schema.TIME_COLUMN[table]
        other = frame[f"{time}_utc"] != query.utc_text(frame[time])
        if other.any():
            raise _wrong(where, names[int(other.to_numpy().argmax())], f"{time}_utc is not the instant of {time}")
    if table == "steps":
        for name, at in zip(names, frame["at"], strict=True):
            if check_cell("corrections", "at", at)[1]:
                raise _wrong(where, name, "at is no time")
    if table == "corrections":
        for name, row in zip(names, frame.itertuples(), strict=True):
            if problem := _wrong_correction(row):
                raise _wrong(where, name, problem)


def check_together(connection, where: str) -> None:
    """Check the field records as they stand, corrections applied, by the rules of whole rows.

    Parameters
    ----------
    connection : Connection
    where : str
        Package, for messages.

    Raises
    ------
    InputError
        A row says what no water can hold, or does not go with its hatch, as it could not come in from a sheet.
    """
    tables = {name: query.fetch(connection, name) for name in ("lots", "hatches", "readings", "samples", "feeds")}
    found = [(name, frame, *rest) for name, frame in tables.items() for rest in row_rules.broken(name, frame)]
    samples, hatches = tables["samples"], tables["hatches"].set_index("hatch")
    started, volume_ml = (samples["hatch"].map(hatches[c]) for c in ("started", "volume_ml"))
    beside = row_rules.broken_with_hatch(samples, to_utc(started), volume_ml)
    # hours that do not fit may be left behind by corrections
    found += [("samples", samples, *rest) for rest in beside if rest[1] != "hours"]
    if found:
        name, frame, index, column, value, rule, _ = found[0]
        key = query.key_text(name, tuple(frame.loc[index, list(schema.KEYS[name])]))
        more = f", and {len(found) - 1} more" if len(found) > 1 else ""
        raise InputError(
            f"{where}: {row_words(name, key)}: {column} {value or ''} {rule}{more}. If it is yours from an older "
            "version, take it as it stands with --accept-wrong-rows, then run  qckit log check."
        )


def _frame(rows, columns, table: str, where: str) -> pd.DataFrame:
    try:
        return query.frame_of(rows, columns, table)
    except (ValueError, TypeError, OverflowError) as error:
        raise InputError(f"{where}: a number cannot be kept ({error}). Use another export.") from error


def _wrong(where: str, row: str, what: str) -> InputError:
    return InputError(f"{where}, {row}: {what}. Use another export.")


def _wrong_correction(row) -> str:
    """Say what is wrong with a correction; empty where nothing is."""
    if row.table not in schema.ENTERED:
        return f"corrects a table {row.table!r} that is not known"
    keys = schema.KEYS[row.table]
    try:
        parts = [row.key] if len(keys) == 1 else json.loads(row.key)
    except (ValueError, RecursionError):
        parts = None
    if not isinstance(parts, list) or len(parts) != len(keys) or str(parts[0]) != row.key1:
        return "its key is none of its table"
    if any(not isinstance(p, int if c == "object_id" else str) for c, p in zip(keys, parts, strict=True)):
        return "its key is none of its table"
    after = None if pd.isna(row.after) else row.after
    if row.column == query.WITHDRAWN:
        return "" if after in ("yes", "no") else "withdrawn is neither yes nor no"
    if row.column not in table_columns(row.table) or row.column in keys:
        return f"corrects a column {row.column!r} that is not known, or names the row"
    wrong = check_cell(row.table, row.column, after)[1]
    return f"{row.column} {wrong[0]}" if wrong else ""
