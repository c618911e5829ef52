"""Cells out of CSV and Excel files as they stand, with their row numbers; nothing is interpreted here."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import stat
import statistics
import zipfile
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from qckit.errors import InputError, one_line
from qckit.log import schema
from qckit.tables import TABLES
from qckit.words import first_few, noun, spaced

__all__ = [
    "HEADING_ROWS",
    "OTHER_SUFFIXES",
    "Grid",
    "file_content",
    "fold_heading",
    "is_blank",
    "is_helper",
    "read_grids",
]

HEADING_ROWS = 20
"""Rows at the top in which the heading row is looked for."""

OTHER_SUFFIXES = (".xls", ".ods", ".numbers")
"""Endings of sheets that have to be saved in another form first."""

_HELPER_SHEETS = ("explain", "examples", "lists", "read me")
_MAX_BYTES = 60_000_000
_MOST_UNPACKED = 150_000_000  # bytes of a workbook's parts together
_MOST_ROWS = 400_000
_MOST_CELLS = 3_000_000
_MOST_COLUMNS = 500
_ROW_TAG = re.compile(rb"<(?:\w+:)?row[\s/>]")
_CELL_TAG = re.compile(rb"<(?:\w+:)?c[\s/>]")


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
    """Read a file; one that is missing, no file, empty or far too large is said so."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError(
                f"{one_line(path.name)}: is no file but a folder, a pipe or a device. Give the sheet's file."
            )
        if status.st_size > _MAX_BYTES:
            raise InputError(f"{one_line(path.name)}: is larger than {_MAX_BYTES // 1_000_000} MB. Split the sheet.")
        content = path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{path}: cannot be read ({getattr(error, 'strerror', None) or error}). Check the file's name and place."
        ) from error
    if not content.strip():
        raise InputError(f"{one_line(path.name)}: is empty. Save the sheet again.")
    return content


def read_grids(path: Path, content: bytes) -> list[Grid]:
    """Read the cells of every sheet of a file."""
    old_excel = content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    if old_excel or path.suffix.casefold() in OTHER_SUFFIXES:
        raise InputError(
            f"{one_line(path.name)}: is neither CSV nor .xlsx. Save it as .xlsx or CSV in the spreadsheet program."
        )
    if content[:4] == b"PK\x03\x04" or path.suffix.casefold() in (".xlsx", ".xlsm"):
        return _excel_grids(path, content)
    if is_helper(path):
        raise InputError(
            f"{one_line(path.name)}: is the workbook's page of explanations or of invented examples. Leave it out."
        )
    return [_csv_grid(path, content)]


def is_helper(path: Path) -> bool:
    """Whether a file is a sheet of the template that is only for reading, saved by itself: by the end of its name."""
    return re.search(r"(?:^|[-_. ])(explain|examples)$", path.stem.strip().casefold()) is not None


def _csv_grid(path: Path, content: bytes) -> Grid:
    text, notes = _decoded(path, content)
    heads = [line.rstrip("\r\n") for line in islice(io.StringIO(text), HEADING_ROWS)]
    declared = re.fullmatch(r"\ufeff?sep=(.)", heads[0].strip()) if heads else None
    if declared:
        separator = declared[1]
    else:
        separator = max(",;\t|", key=lambda sign: _fit(heads, sign))
    numbered = _csv_rows(path, text, separator)
    if declared:
        numbered = numbered[1:]
    return Grid(path.stem, one_line(path.name), numbered, semicolons=separator == ";", notes=notes)


def _fit(heads: list[str], separator: str) -> tuple[int, float]:
    """Headings known that a separator gives, then cells a line: headings of one's own are known to the site alone."""
    rows = [_head_cells(line, separator) for line in heads if line.strip()]
    return _known_in(rows), statistics.median(map(len, rows)) if rows else 0.0


def _head_cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []  # what is wrong with it is said when all rows are read


def _csv_rows(path: Path, text: str, separator: str) -> list[tuple[int, list]]:
    """Read rows with their numbers; empty ones are passed over, so that a file of them takes no room."""
    numbered = []
    try:
        for i, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True), 1):
            if len(row) > _MOST_COLUMNS:
                raise InputError(
                    f"{one_line(path.name)}, row {i}: has {len(row)} cells, more than {_MOST_COLUMNS}. Split the sheet."
                )
            if any(row):
                numbered.append((i, row))
            if len(numbered) > _MOST_ROWS:
                raise InputError(f"{one_line(path.name)}: has more than {spaced(_MOST_ROWS)} rows. Split the sheet.")
    except csv.Error as error:
        raise InputError(
            f"{one_line(path.name)}: a quote mark is open or misplaced ({error}). Save the sheet again."
        ) from error
    return numbered


def _decoded(path: Path, content: bytes) -> tuple[str, list[str]]:
    """Turn a file into text by its mark, as UTF-8, or as Windows-1252; bytes of no text are refused."""
    notes = []
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16", errors="replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", errors="replace")
            notes.append("not UTF-8: read as Windows-1252; look at accents and signs")
    if text.count("\x00") > max(3, len(text) // 200):  # one in a cell is said with its row and column
        raise InputError(f"{one_line(path.name)}: is not a text file. Save the sheet as CSV or .xlsx.")
    return text, notes


def _known_in(rows) -> int:
    """Return the most headings known in any of some rows."""
    return max((sum(fold_heading(c) in _ALL_HEADINGS for c in row) for row in rows), default=0)


def _excel_grids(path: Path, content: bytes) -> list[Grid]:
    book = _workbook(path, content)
    every = [s for s in book.worksheets if s.title.strip().casefold() not in _HELPER_SHEETS]
    sheets = [s for s in every if s.sheet_state == "visible"]
    has_formulas = any(c.data_type == "f" for s in sheets for c in _filled(s))
    values = _workbook(path, content, data_only=True) if has_formulas else book
    grids = [_excel_grid(path, s, values[s.title]) for s in sheets]
    grids = [g for g in grids if any(any(not is_blank(c) for c in row) for _, row in g.rows)]
    for grid in grids:
        grid.only_sheet = len(grids) == 1
    if hidden := [repr(one_line(s.title)) for s in every if s not in sheets and _filled(s)]:
        left_out = f"left out as nobody sees {'it' if len(hidden) == 1 else 'them'}: hidden sheet {', '.join(hidden)}"
        if not grids:
            raise InputError(f"{one_line(path.name)}: {left_out}. Show what is to be entered, and save the workbook.")
        grids[0].notes.append(left_out)
    return grids


def _workbook(path: Path, content: bytes, **options):
    """Open a workbook, after a look at what it unpacks to."""
    import openpyxl

    try:
        _check_package(path, content)
        return openpyxl.load_workbook(io.BytesIO(content), **options)
    except InputError:
        raise
    except Exception as error:
        raise InputError(
            f"{one_line(path.name)}: cannot be read as an Excel workbook ({one_line(error)[:200]}). Save it again "
            "as .xlsx."
        ) from error


def _check_package(path: Path, content: bytes) -> None:
    """Refuse a workbook that would fill the memory: too much text, too many rows or cells, counted while unpacking."""
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        total = rows = cells = 0
        for member in package.infolist():
            rest = b""
            with package.open(member) as file:
                while piece := file.read(1 << 20):
                    total += len(piece)
                    text = rest + piece
                    rows += len(_ROW_TAG.findall(text))
                    cells += len(_CELL_TAG.findall(text))
                    rest = text[-12:] if b"<" in text[-12:] else b""
                    if total > _MOST_UNPACKED or rows > _MOST_ROWS or cells > _MOST_CELLS:
                        raise InputError(
                            f"{one_line(path.name)}: unpacks to more than {_MOST_UNPACKED // 10**6} MB, "
                            f"{spaced(_MOST_ROWS)} rows or {spaced(_MOST_CELLS)} cells. Save only what is filled in, "
                            "or split the workbook."
                        )


def _filled(sheet) -> list:
    """Cells of a sheet in which something stands; a blank in its last place would make a table of billions."""
    return [cell for cell in sheet._cells.values() if not is_blank(cell.value)]


def _excel_grid(path: Path, sheet, values) -> Grid:
    grid = Grid(sheet.title, f"{one_line(path.name)}, sheet {sheet.title}", [])
    filled, shown = _filled(sheet), _filled(values)
    width = max((c.column for c in (*filled, *shown)), default=0)
    if width > _MOST_COLUMNS:
        raise InputError(
            f"{grid.source}: has a cell in column {width}, beyond {_MOST_COLUMNS}. Delete what is far right."
        )
    rows: dict[int, list] = {r: [None] * width for r in sorted({c.row for c in (*filled, *shown)})}
    for cell in shown:
        rows[cell.row][cell.column - 1] = _excel_cell(cell)
    for cell in filled:
        if cell.data_type == "f" and rows[cell.row][cell.column - 1] is None:
            remedy = "Open and save the sheet in the spreadsheet program, or type the value."
            grid.problems.append(
                (cell.row, cell.column - 1, str(cell.value), "is a formula without its result", remedy)
            )
        elif cell.data_type == "e":
            grid.problems.append(
                (cell.row, cell.column - 1, str(cell.value), "is a spreadsheet error", "Correct the cell.")
            )
    merged = []
    for block in sorted(sheet.merged_cells.ranges, key=lambda block: (block.min_row, block.min_col)):
        if block.max_row > block.min_row and block.min_col == block.max_col and block.min_row in rows:
            top = rows[block.min_row][block.min_col - 1]
            for r in range(block.min_row + 1, block.max_row + 1):
                if r in rows:  # a row in which nothing else stands is an empty one
                    rows[r][block.min_col - 1] = top
            merged.append(f"over rows {block.min_row} to {block.max_row} read as {_as_text(top)} in each")
    if merged:
        grid.notes.append(f"cells merged {first_few(merged, 3)}")
    grid.rows = sorted(rows.items())
    grid.notes += _hidden_lines(sheet, rows, width)
    return grid


def _as_text(value) -> str:
    """Write a cell's value for a message: a date as ISO text, words between quotes."""
    if isinstance(value, dt.datetime):
        return value.isoformat(" ", "minutes").removesuffix(" 00:00")
    if isinstance(value, dt.time):
        return value.isoformat("minutes")
    return value.isoformat() if isinstance(value, dt.date) else repr(value)


def _hidden_lines(sheet, rows, width: int) -> list[str]:
    """Name rows and columns that are hidden, as by a filter: they are read like the others."""
    from openpyxl.utils import get_column_letter

    hidden = [
        ("row", [str(r) for r in sorted(rows) if r in sheet.row_dimensions and sheet.row_dimensions[r].hidden]),
        (
            "column",
            sorted(
                {
                    get_column_letter(c)
                    for d in sheet.column_dimensions.values()
                    if d.hidden
                    for c in range(d.min or 1, min(d.max or 0, width) + 1)
                }
            ),
        ),
    ]
    return [
        f"hidden {noun(len(names), what)} {first_few(names, 8)} read like the others" for what, names in hidden if names
    ]


def _excel_cell(cell):
    value = cell.value
    if isinstance(value, int) and not isinstance(value, bool) and re.fullmatch(r"0{2,}", cell.number_format or ""):
        return str(value).zfill(len(cell.number_format))  # a name shown as 007 is meant as 007
    if isinstance(value, float) and "%" in (cell.number_format or ""):
        return f"{float(f'{value * 100:.12g}')} %"
    if isinstance(value, dt.datetime) and value.time() == dt.time() and not _shows_time(cell.number_format):
        return value.date()  # the midnight of a day that was typed without a time is nobody's reading
    return value


def _shows_time(number_format: str) -> bool:
    plain = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]', "", number_format or "")  # texts, escaped signs, locales
    return re.search(r"[hs]", plain, re.IGNORECASE) is not None


def is_blank(cell) -> bool:
    """Tell whether nothing is written in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())
