"""Field sheets into rows: CSV and Excel as people keep them.

Titles and merged headings above the heading row, empty rows, a row of units below it, spaces, semicolons, byte order
marks, a date and its time of day in two columns: all are taken. What a cell is read as, when not as it stands, is
noted; what could mean two things is a problem.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from qckit.errors import InputError, one_line, unknown_name
from qckit.files import restore
from qckit.log import schema
from qckit.log.intake import Incoming
from qckit.log.problems import CellProblem
from qckit.log.sheets import cells
from qckit.log.sheets.date_and_clock import join_date_and_clock
from qckit.log.sheets.extra_rows import without_extra_rows
from qckit.log.sheets.grids import (
    OTHER_SUFFIXES,
    Grid,
    file_content,
    fold_heading,
    is_blank,
    is_helper,
    read_grids,
)
from qckit.log.sheets.headings import find_heading, headings_of, table_of, what_was_found
from qckit.log.sheets.site_headings import name_headings
from qckit.log.sheets.who_counted import fill_who_counted
from qckit.settings import Settings
from qckit.tables import TABLES, Column
from qckit.words import plural

__all__ = ["ReadCells", "SheetRows", "find_heading", "read_cells", "read_sheets", "rows_from_grid", "sheets_of"]


@dataclass
class SheetRows(Incoming):
    """Rows of a sheet with what was noted while reading them."""

    notes: list[str] = field(default_factory=list)


def read_sheets(paths, settings: Settings, *, table: str | None = None, ignore_columns=()):
    """Read field sheets.

    Parameters
    ----------
    paths : path or list of path
        ``.csv``, ``.tsv``, ``.txt`` or ``.xlsx``; a folder stands for all of these in it.
    settings : Settings
        For the order of dates, the decimal sign and the time zone.
    table : str, optional
        The table all of them are for; found by the sheet's name or its headings when left out.
    ignore_columns : sequence of str
        Headings to leave out.

    Returns
    -------
    tuple
        List of ``SheetRows``, SHA-256 over the files, and the files' names in one text.

    Raises
    ------
    InputError
        A file is missing, is no sheet, or holds no table that is known.
    """
    paths = [q for p in ([paths] if isinstance(paths, (str, Path)) else paths) for q in sheets_of(Path(p))]
    if not paths:
        raise InputError("No sheet was given. Name a CSV or Excel file.")
    digest, incoming = hashlib.sha256(), []
    for path in paths:
        content = file_content(path)
        digest.update(content)
        found_grids = [name_headings(grid, settings) for grid in read_grids(path, content)]
        found = [rows_from_grid(grid, settings, table=table, ignore_columns=ignore_columns) for grid in found_grids]
        found = [rows for rows in found if rows is not None]
        if not found:
            raise InputError(
                f"{one_line(path.name)}: holds no table that is known. Name its sheets "
                f"{', '.join(schema.ORDER[:4])}, or say which it is with --table."
            )
        incoming += found
    return incoming, digest.hexdigest(), "; ".join(one_line(p.name) for p in paths)


def sheets_of(path: Path) -> list[Path]:
    """A file itself; of a folder its sheets, by name, without those a spreadsheet program holds open.

    Sheets that cannot be read are among them, so that none is passed over in silence; pages that explain are not.
    """
    if not path.is_dir():
        return [path]
    endings = (*SHEET_SUFFIXES, *OTHER_SUFFIXES)
    found = sorted(
        p
        for p in path.iterdir()
        if p.suffix.casefold() in endings and not (p.name.startswith((".", "~$")) or is_helper(p)) and p.is_file()
    )
    if not found:
        raise InputError(f"{path}: no sheet in this folder. Looked for {', '.join(SHEET_SUFFIXES)}.")
    return found


_SHOWN_OF_CELL = 40  # characters
SHEET_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")
"""Endings of the sheets looked for in a folder."""


def rows_from_grid(grid: Grid, settings: Settings, *, table: str | None = None, ignore_columns=()) -> SheetRows | None:
    """Turn a sheet's cells into rows for one table.

    Returns
    -------
    SheetRows or None
        None for a sheet, beside others, that is no table.
    """
    if grid.name.strip().casefold() in ("corrections", "steps"):
        if not grid.only_sheet:
            return None
        raise InputError(
            f"{grid.source}: corrections and steps are not entered from a sheet. Write a correction with  qckit log "
            "correct;  a whole log comes back from its zip with  qckit log restore."
        )
    grid = join_date_and_clock(grid, table)
    by_name = table_of(grid)
    name = table or by_name
    if name is None:
        if grid.only_sheet:
            raise InputError(
                f"{grid.source}: cannot tell which table it is. {what_was_found(grid)} Say so with --table, or give "
                f"the file or sheet one of the names {', '.join(schema.ORDER[:4])}. Headings of your own: write in "
                'qckit.toml, under [site], what they mean, such as  headings = "Larvae = nauplii, Tin = lot".'
            )
        return None
    if name not in schema.KEYS:
        raise unknown_name("table", name, schema.KEYS)
    columns = {c.name: c for c in TABLES[name]}
    heading = find_heading(grid, columns)
    if heading is None:
        needed = ", ".join(c.name for c in columns.values() if c.required)
        raise InputError(
            f"{grid.source}: no heading row was found for {name}. {what_was_found(grid)} Put the column names in "
            f"one row: {needed}."
        )
    return _rows(
        grid,
        name,
        columns=columns,
        heading=heading,
        settings=settings,
        ignored={fold_heading(c) for c in ignore_columns},
    )


def _rows(grid: Grid, name, columns, heading, settings: Settings, ignored: set) -> SheetRows:
    read = read_cells(grid, columns, heading, settings, ignored)
    if name == "readings":
        read.notes += _readings_to_celsius(read.frame)
    may_grow = frozenset()
    if name == "samples":
        read.frame, filled = fill_who_counted(read.frame, read.rows, settings)
        read.notes += filled
        may_grow = frozenset({"counter"} if filled else ())
    notes = [f"{grid.source}: {note}" for note in grid.notes + read.notes]
    return SheetRows(
        table=name,
        frame=read.frame,
        source=grid.source,
        rows=read.rows,
        problems=read.problems,
        may_grow=may_grow,
        notes=notes,
    )


@dataclass
class ReadCells:
    """Cells of a sheet read into columns: a frame, each row's name, problems, notes."""

    frame: pd.DataFrame
    rows: list[str]
    problems: list[CellProblem]
    notes: list[str]


def read_cells(grid: Grid, columns: dict[str, Column], heading, settings: Settings, ignored: set = frozenset()):
    """Read the cells below a heading row.

    Parameters
    ----------
    grid : Grid
    columns : dict of str to Column
        Columns the sheet may have.
    heading : tuple of (int, list)
        As :func:`find_heading` returns it.
    settings : Settings
    ignored : set of str
        Folded headings to leave out.

    Returns
    -------
    ReadCells
    """
    place, cells_of_heading = heading
    headings, problems, notes = headings_of(cells_of_heading, columns, ignored)
    body = [(number, row) for number, row in grid.rows[place + 1 :] if any(not is_blank(c) for c in row)]
    body, of_rows, sums = without_extra_rows(body, headings, cells_of_heading)
    notes += of_rows
    problems += sums
    rules = _rules(body, headings, grid, settings)
    faults = {(r, c): rest for r, c, *rest in grid.problems}
    problems += _stray(body, headings, len(cells_of_heading))
    notes += _without_heading(body, cells_of_heading)
    data, noted = {}, _CellNotes()
    for i, (column, unit) in headings.items():
        read: dict[tuple, cells.Read] = {}  # the same few cells stand in many rows: each is read once
        values = []
        for index, (number, row) in enumerate(body):
            cell = row[i] if i < len(row) else None
            if (number, i) in faults:
                problems.append(CellProblem(index, column.name, *faults[number, i]))
                cell = None
            key = (type(cell), cell)
            if key not in read:
                read[key] = _read_cell(cell, column, unit, rules)
            found = read[key]
            values.append(found.value)
            if found.rule:
                problems.append(CellProblem(index, column.name, str(cell), found.rule, found.remedy))
            noted.add(column.name, found)
        data[column.name] = _series(values, column)
    problems.sort(key=lambda p: p.place if isinstance(p.place, int) else -1)
    notes += noted.lines(settings.site.date_order)
    return ReadCells(pd.DataFrame(data), [f"row {n}" for n, _ in body], problems, notes)


class _CellNotes:
    """What was noted of cells, summed up by column and kind: the first in full, and how many more there are."""

    def __init__(self):
        self._of: dict[tuple[str, str], Counter] = {}

    def add(self, column: str, read: cells.Read):
        if read.note:
            kind = read.kind or read.note
            self._of.setdefault(("" if kind == "date" else column, kind), Counter())[read.note] += 1

    def lines(self, date_order: str) -> list[str]:
        dates = self._of.pop(("", "date"), None)
        lines = [f"column {column}: {_summed_up(texts)}" for (column, _), texts in self._of.items()]
        if dates:
            order = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}[date_order]
            lines.append(f"dates read {order}, such as {next(iter(dates))}")
        return lines


def _summed_up(texts: Counter) -> str:
    first, n = next(iter(texts)), texts.total()
    if n == 1:
        return first
    return f"{first} ({n} times)" if len(texts) == 1 else f"{first}, and {plural(n - 1, 'more cell')} like it"


def _stray(body, headings, width: int) -> list[CellProblem]:
    """Find what stands to the right of the last heading."""
    remedy = "Give the column a heading, or clear the cell; a comma in a text needs quotes around it."
    return [
        CellProblem(index, "", str(cell), "stands to the right of the last heading", remedy)
        for index, (_, row) in enumerate(body)
        for cell in [c for i, c in enumerate(row[width:], width) if i not in headings and not is_blank(c)][:1]
    ]


def _without_heading(body, cells_of_heading) -> list[str]:
    """Say which columns before the last heading have values and no heading; a program's numbers of rows often do."""
    bare = [i for i, cell in enumerate(cells_of_heading) if is_blank(cell)]
    notes = []
    for i in bare:
        found = [str(row[i]).strip() for _, row in body if i < len(row) and not is_blank(row[i])]
        if found:
            shown = one_line(found[0])[:_SHOWN_OF_CELL]
            more = f", and {plural(len(found) - 1, 'more cell')}" if len(found) > 1 else ""
            notes.append(f"column {i + 1} has no heading, and was left out ({shown!r}{more})")
    return notes


def _series(values: list, column: Column) -> pd.Series:
    """Give a column the type of its contract where every cell fits it; otherwise the cells are checked one by one."""
    if column.kind == "float":
        return pd.Series(values, dtype="float64")
    if column.kind == "int" and all(v is None or (v.is_integer() and abs(v) < 2**53) for v in values):
        return pd.Series(values, dtype="Int64")
    return pd.Series(values, dtype="str" if column.kind in ("text", "choice", "time", "date") else object)


def _rules(body, headings, grid: Grid, settings: Settings) -> cells.CellRules:
    places = [i for i, (column, _) in headings.items() if column.kind in ("float", "int")]
    found = {row[i] for _, row in body for i in places if i < len(row)}
    texts = [text for text in found if isinstance(text, str) and text.strip()]
    sign = cells.decimal_sign(texts, semicolons=grid.semicolons, site=settings.site.decimal)
    return cells.CellRules(sign, settings.site.date_order, settings.site.timezone)


def _read_cell(cell, column: Column, unit: str, rules) -> cells.Read:
    """Read one cell into what ``check_table`` takes."""
    if is_blank(cell):
        return cells.Read()
    if isinstance(cell, str):
        cell = restore(cell.strip())
    if column.kind in ("float", "int"):
        return cells.read_number(cell, column.unit, rules, heading_unit=unit)
    if column.kind == "date":
        return cells.read_date(cell, rules)
    if column.kind == "time":
        return cells.read_time(cell, rules)
    if column.name in _NAMES and isinstance(cell, (dt.date, dt.time)):
        remedy = "Format the column as text and type the name again: the spreadsheet program has made a date of it."
        return cells.Read(rule="is a date, not a name", remedy=remedy)
    text = _text(cell)
    bare = text.translate(_EMPTY_MARKS).strip() if column.name in _NAMES - _FILES else text
    if bare in ("", text):
        return cells.Read(text)
    return cells.Read(bare, note="marks that nobody can see left out of a name")


_EMPTY_MARKS = dict.fromkeys(map(ord, "\ufeff\u200b\u2060\u00ad"))
"""Byte-order marks, blanks and joins of no width: two names that differ by them are one to everybody who reads them."""
_FILES = {"photos", "photo"}  # named as the disk has them
_NAMES = {"lot", "hatch", "sample", "cone", "photos", "photo", "operator", "counter"}


def _text(cell) -> str:
    """Write a cell of a text column as people see it: 7 rather than 7.0."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, (dt.datetime, dt.date)):
        return cell.isoformat()
    return str(cell)


def _readings_to_celsius(frame: pd.DataFrame) -> list[str]:
    """Turn readings of temperature in °F into °C."""
    if not {"quantity", "unit", "value"} <= set(frame.columns):
        return []
    is_f = frame["unit"].map(lambda u: isinstance(u, str) and cells.fold_unit(u) == "°f").astype(bool)
    for index in frame.index[is_f]:
        value = frame.at[index, "value"]
        if value is not None:
            frame.at[index, "value"] = round((float(value) - 32) * 5 / 9, 2)
            frame.at[index, "unit"] = "°C"
    return [f"{int(is_f.sum())} readings in °F entered in °C"] if is_f.any() else []
