"""Rows on their way in against the rows that are in the log: which are there already, and which differ."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
import sqlalchemy as sa

from qckit.log import schema
from qckit.log.corrections import value_text
from qckit.log.counts import same_file_twice
from qckit.log.query import WITHDRAWN, among, fetch, rows_of
from qckit.tables import table_columns

__all__ = ["Compared", "as_first_count", "compare", "names_there", "shown_again", "withdrawn_names"]


def names_there(connection, table: str, column: str, names: set) -> set:
    """Return those of some names that a column of a table holds."""
    c = schema.table(table).c[column]
    return {name for (name,) in connection.execute(sa.select(c).distinct().where(among(connection, c, sorted(names))))}


def withdrawn_names(connection, table: str, names: set) -> set:
    """Return those of some names whose row in a table of one key column is withdrawn."""
    c = schema.CORRECTIONS.c
    last = sa.select(c.key1, c.after).where(
        c.table == table, c.column == WITHDRAWN, among(connection, c.key1, sorted(names))
    )
    state = dict(connection.execute(last.order_by(c.correction)).all())
    return {name for name, after in state.items() if after == "yes"}


def shown_again(connection, photos) -> list[tuple]:
    """Return the cells that show photos again which went with a withdrawn sample and are counted anew for another.

    Parameters
    ----------
    connection : Connection
    photos : iterable of str
        Names of the photos that are counted.

    Returns
    -------
    list of (table, key, column, after)
        As :func:`qckit.log.corrections.write` takes them.
    """
    return [("photos", (name,), WITHDRAWN, "no") for name in sorted(withdrawn_names(connection, "photos", set(photos)))]


@dataclass
class Compared:
    """Rows of a sheet whose key the log has.

    ``there`` is the index of all of them; ``same`` how many say the same as what was entered, as any revision of it, or
    as what stands there now; ``cells`` has ``(index, key, column, before, after)`` of each cell that differs, ``moved``
    ``(key, column, now, sheet)`` of each in which the log has moved on since a row was entered so, and ``withdrawn``
    ``(index, key, whether it is as entered)`` of each row that is hidden in the log.
    """

    there: list = field(default_factory=list)
    same: int = 0
    cells: list[tuple] = field(default_factory=list)
    moved: list[tuple] = field(default_factory=list)
    withdrawn: list[tuple] = field(default_factory=list)


def compare(connection, table: str, frame: pd.DataFrame, given) -> Compared:
    """Find the rows whose key the log has.

    Parameters
    ----------
    connection : Connection
    table : str
        Record table.
    frame : DataFrame, shape (n, any)
        Clean rows, each key once.
    given : collection of str
        Columns that the sheet has: of the others it says nothing.

    Returns
    -------
    Compared
    """
    keys = list(schema.KEYS[table])
    if frame.empty or not names_there(connection, table, keys[0], set(frame[keys[0]])):
        return Compared()
    columns = [c for c in table_columns(table) if c != "revision" and (c in given or c in keys)]
    versions, newest, shown = _versions(connection, table, {keys[0]: sorted(set(frame[keys[0]]))}, columns)
    revisions = frame["revision"].tolist() if table == "samples" else [None] * len(frame)
    result = Compared()
    found = zip(frame.index, revisions, rows_of(frame, keys), rows_of(frame, columns), strict=True)
    for index, revision, key, row in found:
        known_rows = versions.get(key)
        if known_rows is not None and key not in shown:
            result.there.append(index)
            result.withdrawn.append((index, key, row in known_rows))
            continue
        if known_rows is None or (revision is not None and revision == newest[key] + 1):
            continue
        result.there.append(index)
        if row in known_rows:
            result.same += 1
            if row != known_rows[-1]:
                result.moved += [
                    (key, column, value_text(now), value_text(sheet))
                    for column, now, sheet in zip(columns, known_rows[-1], row, strict=True)
                    if now != sheet
                ]
            continue
        result.cells += [
            (index, key, column, value_text(before), value_text(after))
            for column, before, after in zip(columns, known_rows[-1], row, strict=True)
            if before != after
        ]
    return result


def _versions(connection, table: str, names: dict, columns: list[str]) -> tuple[dict, dict, set]:
    """Return by key every version of a row, as entered and last as it stands now, and its newest revision; and the keys
    of the rows that are not withdrawn."""
    keys = list(schema.KEYS[table])
    versions: dict[tuple, list[tuple]] = {}
    newest: dict[tuple, int] = {}
    for options in ({"revisions": "all", "corrected": False}, {}):
        current = fetch(connection, table, names, internal=True, **options)
        for key, row in zip(rows_of(current, keys), rows_of(current, columns), strict=True):
            versions.setdefault(key, []).append(row)
        if "revision" in current.columns:
            newest.update(zip(rows_of(current, keys), current["revision"].tolist(), strict=True))
    return versions, newest, set(rows_of(current, keys))


def as_first_count(connection, photos: pd.DataFrame, new_samples) -> pd.DataFrame:
    """Give photos that come by sheet their revision, and tie them to the newest revision of their sample.

    Parameters
    ----------
    connection : Connection
    photos : DataFrame, shape (n, any)
        Clean rows of photos the log does not have.
    new_samples : sequence of DataFrame
        Samples of the same import.

    Raises
    ------
    InputError
        A photo is the same file as another under a different name.
    """
    same_file_twice(connection, photos)
    logged = fetch(connection, "samples", {"sample": sorted(set(photos["sample"].dropna()))}, internal=True)
    newest: dict[str, int] = {}
    for samples in (logged, *new_samples):
        for name, revision in zip(samples["sample"], samples["revision"], strict=True):
            newest[name] = max(int(revision), newest.get(name, 0))
    tied = [newest.get(name) for name in photos["sample"]]
    return photos.assign(
        revision=pd.Series(0, index=photos.index, dtype="Int64"),
        sample_revision=pd.Series(tied, index=photos.index, dtype="Int64"),
    )
