"""Reading records: the newest revision of each row, with the corrections applied."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import ARRAY

from qckit.columns import is_missing
from qckit.errors import InputError, unknown_name
from qckit.log import schema
from qckit.object_rows import FOUND
from qckit.tables import TABLES, check_cell, column_dtypes, table_columns, to_utc

__all__ = [
    "among",
    "entered_key",
    "fetch",
    "frame_of",
    "hanging_on",
    "key_text",
    "known_names",
    "lists_of",
    "read_key",
    "rows_of",
    "utc_text",
]

WITHDRAWN = "withdrawn"
"""Column name in corrections that hides a row entered by mistake (``yes``) or shows it again (``no``)."""

_CHUNK = 500  # values in one IN (...)


def key_text(table: str, key) -> str:
    """Write a row's key as text: the name itself, or a JSON list where several columns name a row.

    Parameters
    ----------
    table : str
        Record table.
    key : str, tuple or list
        One value for each of ``schema.KEYS[table]``; text is taken as it is where one column names the row.
    """
    if table not in schema.KEYS:
        raise unknown_name("table", table, schema.ENTERED)
    columns = schema.KEYS[table]
    if len(columns) == 1:
        return str(key[0] if isinstance(key, (tuple, list)) else key)
    parts = json.loads(key) if isinstance(key, str) and key.startswith("[") else key
    if isinstance(parts, str) or len(parts) != len(columns):
        raise InputError(
            f"{table}: the key {key!r} must name {', '.join(columns)}. Give one value for each, in this order."
        )
    parts = [int(p) if c == "object_id" else str(p) for c, p in zip(columns, parts, strict=True)]
    return json.dumps(parts, ensure_ascii=False)


def read_key(table: str, text: str) -> tuple:
    """Turn a key's text back into one value for each key column."""
    return (text,) if len(schema.KEYS[table]) == 1 else tuple(json.loads(text))


def entered_key(table: str, key) -> tuple:
    """Return the values that name a row, of a table whose rows people may correct or withdraw."""
    if table in schema.AUTOMATIC:
        raise InputError(
            f"{table}: is written by the log itself, and is neither corrected nor withdrawn. To change a setting, "
            "write it into qckit.toml."
        )
    return read_key(table, key_text(table, key))


def utc_text(times: pd.Series) -> pd.Series:
    """Turn ISO times with offset into UTC text that sorts by time. Missing stays missing."""
    return to_utc(times).dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def lists_of(frame: pd.DataFrame, columns: list[str]) -> list[list]:
    """Turn columns of a frame into plain lists for the database, with None where a cell is missing."""
    lists = []
    for name in columns:
        series = frame[name]
        values = series.to_numpy(dtype=object)
        missing = series.isna().to_numpy()
        if missing.any():
            values = values.copy()
            values[missing] = None
        lists.append(values.tolist())
    return lists


def rows_of(frame: pd.DataFrame, columns: list[str]) -> list[tuple]:
    """Turn a frame into plain rows, with None where a cell is missing."""
    return list(zip(*lists_of(frame, columns), strict=True))


def among(connection, column: sa.Column, values: list):
    """Condition that a column holds one of some values; many go to the database as one parameter.

    The number of parameters is limited (SQLite 32,766, PostgreSQL 65,535), the length of one is not.
    """
    if len(values) <= _CHUNK:
        return column.in_(values)
    if connection.dialect.name == "sqlite":
        return column.in_(sa.select(sa.func.json_each(json.dumps(values)).table_valued("value").c.value))
    return column == sa.any_(sa.literal(values, ARRAY(column.type)))


def frame_of(rows, columns: list[str], name: str | None = None) -> pd.DataFrame:
    """Build a frame from database rows, with the contract's types for a record table."""
    types = dict.fromkeys(columns, "str") | (column_dtypes(name) if name in TABLES else {})
    types |= dict.fromkeys(("revision", "sample_revision", "step", "correction"), "Int64") | {"n_rows": "int64"}
    # each column is made in its type: to make the frame first and change one column after the other takes four times
    # as long, of a table of few rows nearly all that reading takes
    cells = list(zip(*rows)) or [()] * len(columns)
    return pd.DataFrame({c: _array(values, types[c]) for c, values in zip(columns, cells, strict=True)})


def _array(values, dtype: str):
    """A column of database values, None where one is missing, as an array of a pandas type."""
    if dtype == "boolean":  # SQLite keeps them as numbers
        values = [None if v is None else bool(v) for v in values]
    return np.array(values, dtype=dtype) if dtype in ("float64", "int64") else pd.array(values, dtype=dtype)


def known_names(connection, table: str) -> list[str]:
    """Return the first key part of every row of a table, in order of entry."""
    column = schema.table(table).c[schema.KEYS[table][0]]
    return [str(v) for (v,) in connection.execute(sa.select(column).distinct().order_by(column))]


def photos_touched_by_hand(connection) -> list[str]:
    """Return the photos with an object that was entered or corrected by a person at some time, undone or not."""
    t, fixes = schema.table("objects"), schema.CORRECTIONS
    entered = sa.select(t.c.photo).where(t.c.source != FOUND)
    corrected = sa.select(fixes.c.key1).where(fixes.c.table == "objects")
    return sorted(str(name) for (name,) in connection.execute(entered.union(corrected)))


def _latest(table: str, t: sa.Table):
    """Condition that keeps only each row's newest revision."""
    source = schema.table("samples" if table == "samples" else "photos").alias("newest")
    name = "sample" if table == "samples" else "photo"
    newest = sa.select(sa.func.max(source.c.revision)).where(source.c[name] == t.c[name]).scalar_subquery()
    return t.c.revision == newest


def _may_match(table: str, t: sa.Table, column: str, condition):
    """Let through what matches, and what a correction of that column may have made match."""
    keys = schema.KEYS[table]
    if column in keys:
        return condition
    fixes = schema.CORRECTIONS
    corrected = sa.select(fixes.c.key1).where(fixes.c.table == table, fixes.c.column == column)
    return sa.or_(condition, t.c[keys[0]].in_(corrected))


def fetch(
    connection,
    table: str,
    equals: dict | None = None,
    *,
    where=(),
    revisions: str = "newest",
    corrected: bool = True,
    internal: bool = False,
    order: tuple[str, ...] = (),
) -> pd.DataFrame:
    """Read records.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.reading`.
    table : str
        Record table, ``corrections`` or ``steps``.
    equals : dict, optional
        Column -> value, or a list of values any of which will do. None values are not looked at.
    where : sequence of (column, condition), optional
        Further conditions; ``column`` is the contract's column the condition is about.
    revisions : {"newest", "all"}
        Of tables that have revisions.
    corrected : bool
        Apply the corrections and leave withdrawn rows out. False gives what was entered.
    internal : bool
        Keep the log's own columns (revision, step, …).
    order : tuple of str
        Columns to sort by; the key when empty.

    Returns
    -------
    DataFrame, shape (n, columns of the table)
    """
    if table not in schema.METADATA.tables or table == "meta":
        raise unknown_name("table", table, [*schema.KEYS, "corrections", "steps"])
    t = schema.table(table)
    names = [c.name for c in t.columns]
    equals = {k: v for k, v in (equals or {}).items() if v is not None}
    for column in equals:
        if column not in names:
            raise unknown_name("column", column, table_columns(table) if table in TABLES else names, where=table)
    is_record = table in schema.KEYS
    conditions = []
    equals = {k: _lookup_values(value, TABLES.get(table, ()), k) for k, value in equals.items()}
    for column, value in equals.items():
        hit = among(connection, t.c[column], list(value) if isinstance(value, (list, tuple, set)) else [value])
        conditions.append(_may_match(table, t, column, hit) if is_record and corrected else hit)
    conditions += [_may_match(table, t, column, c) if is_record and column and corrected else c for column, c in where]
    if table in schema.REVISED and revisions == "newest":
        conditions.append(_latest(table, t))
    default = [*schema.KEYS[table], *(["revision"] if table in schema.REVISED else [])] if is_record else names[:1]
    statement = sa.select(t).where(*conditions).order_by(*(t.c[c] for c in (order or default)))
    frame = frame_of(connection.execute(statement), names, table)
    if is_record and corrected and len(frame):
        frame = apply_corrections(frame, _corrections_for(connection, table, equals), table)
        for column, value in equals.items():
            values = list(value) if isinstance(value, (list, tuple, set)) else [value]
            frame = frame[frame[column].isin(values)]
        frame = frame.reset_index(drop=True)
    if not internal and table in TABLES:
        frame = frame[table_columns(table)]
    return frame


def hanging_on(connection, table: str, column: str, parents: list) -> list[tuple]:
    """Return the keys of the rows that hang on some parents now, corrections applied; of withdrawn rows, too.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.reading`.
    table, column : str
        Record table, and its column that names the parent.
    parents : list
        Names of the parents.

    Returns
    -------
    list of tuple
    """
    t = schema.table(table)
    conditions = [_may_match(table, t, column, among(connection, t.c[column], parents))]
    conditions += [_latest(table, t)] if table in schema.REVISED else []
    found = connection.execute(sa.select(t).where(*conditions).order_by(*(t.c[k] for k in schema.KEYS[table])))
    frame, fixes = frame_of(found, [c.name for c in t.columns], table), _corrections_for(connection, table, {})
    frame = apply_corrections(frame, fixes[fixes["column"] != WITHDRAWN], table)
    return rows_of(frame[frame[column].isin(parents)], list(schema.KEYS[table]))


def _lookup_values(value, columns, name: str):
    """Values to look for, of the column's kind: a missing name, which a frame gives as a number, is none."""
    several = isinstance(value, (list, tuple, set))
    kept = [v for v in (value if several else [value]) if not is_missing(v)]
    kind = next((c.kind for c in columns if c.name == name), "")
    if kind in ("text", "choice", "time", "date"):
        kept = [str(v) for v in kept]
    return kept if several or not kept else kept[0]


def _corrections_for(connection, table: str, equals: dict) -> pd.DataFrame:
    c = schema.CORRECTIONS
    statement = sa.select(c).where(c.c.table == table).order_by(c.c.correction)
    first = equals.get(schema.KEYS[table][0])
    if isinstance(first, (list, tuple, set)):
        statement = statement.where(among(connection, c.c.key1, list(first)))
    elif isinstance(first, str):
        statement = statement.where(c.c.key1 == first)
        second = equals.get(schema.KEYS[table][1]) if len(schema.KEYS[table]) == 2 else None
        if isinstance(second, (list, tuple, set)):  # single rows are asked for, and only their corrections are read
            statement = statement.where(among(connection, c.c.key, [key_text(table, (first, v)) for v in second]))
    return frame_of(connection.execute(statement), [x.name for x in c.columns], "corrections")


def apply_corrections(frame: pd.DataFrame, fixes: pd.DataFrame, table: str) -> pd.DataFrame:
    """Put the corrected values into a frame of entered rows and leave withdrawn rows out.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        Rows as entered, with a ``revision`` column where the table has revisions.
    fixes : DataFrame, shape (m, any)
        Corrections of this table, oldest first, as the database holds them.
    table : str
        Record table.

    Returns
    -------
    DataFrame, shape (<= n, any)
        A copy.
    """
    if fixes.empty:
        return frame
    keys = schema.KEYS[table]
    touched = frame[keys[0]].isin(set(fixes["key1"]))
    places: dict[tuple, list] = {}
    for index, *key in frame.loc[touched, list(keys)].itertuples():
        places.setdefault(tuple(key), []).append(index)
    frame = frame.copy()
    hidden: dict[tuple, bool] = {}
    changes: dict[tuple, str] = {}
    for fix in fixes.itertuples():
        key = read_key(table, fix.key)
        if fix.column == WITHDRAWN:
            hidden[key] = fix.after == "yes"
        else:
            changes[(key, fix.column, None if pd.isna(fix.revision) else int(fix.revision))] = fix.after
    by_column: dict[str, tuple[list, list]] = {}
    for (key, column, revision), after in changes.items():
        for index in places.get(key, ()):
            if revision is None or table not in schema.REVISED or frame.at[index, "revision"] == revision:
                indexes, values = by_column.setdefault(column, ([], []))
                indexes.append(index)
                values.append(after)
    for column, (indexes, values) in by_column.items():
        frame.loc[indexes, column] = _typed(table, column, values, indexes)
    withdrawn = [i for key, is_hidden in hidden.items() if is_hidden for i in places.get(key, ())]
    return frame.drop(index=withdrawn)


def _typed(table: str, column: str, values: list, index: list) -> pd.Series:
    """Give corrected texts the type of their column; they were checked when the correction was made."""
    typed = [check_cell(table, column, value)[0] for value in values]
    return pd.Series(typed, index=index, dtype=column_dtypes(table)[column])


def _between(table: str, column: str, low: str | None, high: str | None) -> list:
    """Conditions for a time column's UTC twin, fit for :func:`fetch`."""
    utc = schema.table(table).c[f"{column}_utc"]
    bounds = ([utc >= low] if low else []) + ([utc < high] if high else [])
    return [(column, sa.and_(*bounds))] if bounds else []


def hatches(connection, equals: dict, low: str | None = None, high: str | None = None) -> pd.DataFrame:
    """Read hatches started within ``low <= t < high`` (UTC text), in order of their start."""
    where = _between("hatches", "started", low, high)
    frame = fetch(connection, "hatches", equals, where=where, order=("started_utc", "hatch"))
    started = utc_text(frame["started"])
    keep = pd.Series(True, index=frame.index)
    if low:
        keep &= started >= low
    if high:
        keep &= started < high
    order = started[keep].sort_values(kind="stable").index
    return frame.loc[order].reset_index(drop=True)


def samples(connection, equals: dict, lot=None, low: str | None = None, high: str | None = None) -> pd.DataFrame:
    """Read the newest revision of samples, of one lot's hatches or of hatches started in a span.

    ``hours`` left empty on the sheet is worked out from the times of sample and hatch.
    """
    if lot is not None or low or high:
        of_span = hatches(connection, {"lot": lot, "hatch": equals.get("hatch")}, low, high)
        equals = {**equals, "hatch": of_span["hatch"].tolist()}
    frame = fetch(connection, "samples", equals, order=("taken_utc", "sample"))
    unknown = frame["hours"].isna()
    if unknown.any():
        parents = fetch(connection, "hatches", {"hatch": sorted(set(frame.loc[unknown, "hatch"]))})
        started = frame["hatch"].map(dict(zip(parents["hatch"], parents["started"], strict=True)))
        hours = (to_utc(frame["taken"]) - to_utc(started.astype("str"))).dt.total_seconds() / 3600
        frame["hours"] = frame["hours"].fillna(hours.round(4))
    return frame
