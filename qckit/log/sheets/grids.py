"""Cells out of CSV and Excel files as they stand, with their row numbers; nothing is interpreted here."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from pathlib import Path

from qckit.errors import InputError
from qckit.log import schema
from qckit.tables import TABLES

__all__ = ["HEADING_ROWS", "Grid", "file_content", "fold_heading", "is_blank", "read_grids"]

HEADING_ROWS = 20
"""Rows at the top in which the heading row is looked for."""

_OWN_SHEETS = ("explain", "examples", "lists", "read me")
_MAX_BYTES = 200_000_000


@dataclass
class Grid:
    """Cells of one sheet as they stand, with the number of each row."""

    name: str  # sheet's or file's stem
    source: str  # how messages call it
    rows: list[tuple[int, list]]
    semicolons: bool = False
    notes: list[str] = field(default_factory=list)
    problems: list[tuple] = field(default_factory=list)
    only_sheet: bool = True


def fold_heading(heading) -> str:
    """Fold a heading: lower case, words joined by underscores, byte order mark and star dropped."""
    text = str(heading or "").replace("\ufeff", "").strip().casefold().rstrip("*").strip()
    return re.sub(r"[\s\-.]+", "_", text)


_ALL_HEADINGS = {c.name for name in schema.ORDER for c in TABLES[name]}


def file_content(path: Path) -> bytes:
    """Read a file; one that is missing, empty or far too large is said so."""
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise InputError(f"{path.name}: is larger than {_MAX_BYTES // 1_000_000} MB. Split the sheet.")
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}). Check the file's name and place.") from error
    if not content.strip():
        raise InputError(f"{path.name}: is empty. Save the sheet again.")
    return content


def read_grids(path: Path, content: bytes) -> list[Grid]:
    """Read the cells of every sheet of a file."""
    old_excel = content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    if old_excel or path.suffix.casefold() in (".xls", ".ods", ".numbers"):
        raise InputError(f"{path.name}: is neither CSV nor .xlsx. Save it as .xlsx or CSV in the spreadsheet program.")
    if content[:4] == b"PK\x03\x04" or path.suffix.casefold() in (".xlsx", ".xlsm"):
        return _excel_grids(path, content)
    return [_csv_grid(path, content)]


def _csv_grid(path: Path, content: bytes) -> Grid:
    notes = []
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", errors="replace")
            notes.append("not UTF-8: read as Windows-1252; look at accents and signs")
    if "\x00" in text:
        raise InputError(f"{path.name}: is not a text file. Save the sheet as CSV or .xlsx.")
    lines = text.splitlines()
    told = re.fullmatch(r"\ufeff?sep=(.)", lines[0].strip()) if lines else None
    if told:
        separator = told[1]
    else:
        heads = lines[:HEADING_ROWS]
        known = {s: _known_in(next(csv.reader([line], delimiter=s), []) for line in heads) for s in ",;\t|"}
        separator = max(known, key=known.get)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise InputError(f"{path.name}: a quote mark is open or misplaced ({error}). Save the sheet again.") from error
    numbered = [(i, list(row)) for i, row in enumerate(rows, 1)]
    return Grid(path.stem, path.name, numbered[1:] if told else numbered, semicolons=separator == ";", notes=notes)


def _known_in(rows) -> int:
    """Return the most headings known in any of some rows."""
    return max((sum(fold_heading(c) in _ALL_HEADINGS for c in row) for row in rows), default=0)


def _excel_grids(path: Path, content: bytes) -> list[Grid]:
    import zipfile

    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(content))
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, TypeError) as error:
        raise InputError(
            f"{path.name}: cannot be read as an Excel workbook ({error}). Save it again as .xlsx."
        ) from error
    sheets = [s for s in book.worksheets if s.title.strip().casefold() not in _OWN_SHEETS]
    has_formulas = any(c.data_type == "f" for s in sheets for row in s.iter_rows() for c in row)
    values = openpyxl.load_workbook(io.BytesIO(content), data_only=True) if has_formulas else book
    grids = [_excel_grid(path, s, values[s.title]) for s in sheets]
    grids = [g for g in grids if any(any(not is_blank(c) for c in row) for _, row in g.rows)]
    for grid in grids:
        grid.only_sheet = len(grids) == 1
    return grids


def _excel_grid(path: Path, sheet, values) -> Grid:
    grid = Grid(sheet.title, f"{path.name}, sheet {sheet.title}", [])
    rows = {r: [_excel_cell(c) for c in row] for r, row in enumerate(values.iter_rows(), 1)}
    for row in sheet.iter_rows():
        for cell in row:
            if cell.data_type == "f" and rows[cell.row][cell.column - 1] is None:
                remedy = "Open and save the sheet in the spreadsheet program, or type the value."
                grid.problems.append(
                    (cell.row, cell.column - 1, str(cell.value), "is a formula without its result", remedy)
                )
            elif cell.data_type == "e":
                grid.problems.append(
                    (cell.row, cell.column - 1, str(cell.value), "is a spreadsheet error", "Correct the cell.")
                )
    for block in sheet.merged_cells.ranges:
        if block.max_row > block.min_row and block.min_col == block.max_col:
            top = rows[block.min_row][block.min_col - 1]
            for r in range(block.min_row + 1, block.max_row + 1):
                rows[r][block.min_col - 1] = top
            grid.notes.append(f"cells merged over rows {block.min_row} to {block.max_row} read as {top!r} in each")
    grid.rows = list(rows.items())
    return grid


def _excel_cell(cell):
    value = cell.value
    if isinstance(value, int) and not isinstance(value, bool) and re.fullmatch(r"0{2,}", cell.number_format or ""):
        return str(value).zfill(len(cell.number_format))  # a name shown as 007 is meant as 007
    if isinstance(value, float) and "%" in (cell.number_format or ""):
        return f"{float(f'{value * 100:.12g}')} %"
    return value


def is_blank(cell) -> bool:
    """Tell whether nothing is written in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())
