"""Field sheets into rows: CSV and Excel as people keep them.

Titles and merged headings above the heading row, empty rows, a row of units below it, spaces, semicolons, byte order
marks: all are taken. What a cell is read as, when not as it stands, is noted; what could mean two things is a problem.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.log import cells, neutral, schema
from qckit.log.intake import Incoming
from qckit.settings import Settings
from qckit.tables import TABLES, Column

__all__ = ["Grid", "read_grids", "read_sheets", "rows_from_grid"]

_OWN_SHEETS = ("explain", "examples", "lists", "read me")
_HEADING_ROWS = 20
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


@dataclass
class SheetRows(Incoming):
    """Rows of a sheet with what was noted while reading them."""

    notes: list[str] = field(default_factory=list)


def read_sheets(paths, settings: Settings, *, table: str | None = None, ignore_columns=()):
    """Read field sheets.

    Parameters
    ----------
    paths : path or list of path
        ``.csv``, ``.tsv``, ``.txt`` or ``.xlsx``.
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
    paths = [Path(p) for p in ([paths] if isinstance(paths, (str, Path)) else paths)]
    if not paths:
        raise InputError("No sheet was given. Name a CSV or Excel file.")
    digest, incoming = hashlib.sha256(), []
    for path in paths:
        content = _content(path)
        digest.update(content)
        grids = read_grids(path, content)
        found = [rows_from_grid(grid, settings, table=table, ignore_columns=ignore_columns) for grid in grids]
        found = [rows for rows in found if rows is not None]
        if not found:
            raise InputError(
                f"{path.name}: holds no table that is known. Name its sheets {', '.join(schema.ORDER[:4])}, or say "
                "which it is with --table."
            )
        incoming += found
    return incoming, digest.hexdigest(), "; ".join(p.name for p in paths)


def _content(path: Path) -> bytes:
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
    if content[:4] == b"PK\x03\x04" or path.suffix.casefold() in (".xlsx", ".xlsm"):
        return _excel_grids(path, content)
    if content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" or path.suffix.casefold() in (".xls", ".ods", ".numbers"):
        raise InputError(f"{path.name}: is neither CSV nor .xlsx. Save it as .xlsx or CSV in the spreadsheet program.")
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
        heads = lines[:_HEADING_ROWS]
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
    return max((sum(_plain(c) in _ALL_HEADINGS for c in row) for row in rows), default=0)


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
    grids = [g for g in grids if any(any(not _blank(c) for c in row) for _, row in g.rows)]
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
                grid.problems.append((cell.row, cell.column - 1, str(cell.value), "is a spreadsheet error",
                                      "Correct the cell."))  # fmt: skip
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


def _blank(cell) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _plain(heading) -> str:
    """Fold a heading: lower case, words joined by underscores, byte order mark and star dropped."""
    text = str(heading or "").replace("\ufeff", "").strip().casefold().rstrip("*").strip()
    return re.sub(r"[\s\-.]+", "_", text)


_ALL_HEADINGS = {c.name for name in schema.ORDER for c in TABLES[name]}
_SUFFIX = {"g": "g", "ml": "ml", "µl": "ul", "mm": "mm", "µg": "ug", "°C": "c", "ppt": "ppt", "lux": "lux",
           "mg/l": "mg_l", "%": "pct", "µm/px": "um_per_px", "1/g": "per_g"}  # fmt: skip


def _column_for(heading, columns: dict[str, Column]) -> tuple[Column, str] | None:
    """Return the column a heading means and the unit it gives, if that is not the column's own."""
    plain = _plain(heading)
    if plain in columns:
        return columns[plain], ""
    match = re.fullmatch(r"(.+?)[\s_]*[(\[](.+)[)\]]", str(heading).replace("\ufeff", "").strip())
    if match:
        stem, unit = _plain(match[1]), cells.fold_unit(match[2])
    elif re.fullmatch(r".+_(f|l|kg|mg|k)", plain):
        stem, _, unit = plain.rpartition("_")
        unit = {"f": "°f", "k": "k"}.get(unit, unit)
    else:
        return None
    for column in columns.values():
        suffix = _SUFFIX.get(column.unit)
        own_stem = column.name.removesuffix(f"_{suffix}") if suffix else column.name
        known = unit == cells.fold_unit(column.unit) or unit in cells.column_unit(column.unit)
        if stem in (own_stem, column.name) and known:
            return column, "" if unit == cells.fold_unit(column.unit) else unit
    return None


def _heading_row(grid: Grid, columns: dict[str, Column]) -> int | None:
    """Return the place of the row with most known headings: two at least, or all that must be there."""
    needed = {c.name for c in columns.values() if c.required}
    best, most = None, 0
    for place, (_, row) in enumerate(grid.rows[:_HEADING_ROWS]):
        found = [f[0].name for f in (_column_for(c, columns) for c in row if isinstance(c, str)) if f]
        if len(found) > most and (len(found) > 1 or needed <= set(found)):
            best, most = place, len(found)
    return best


def _table_of(grid: Grid) -> str | None:
    """Tell which table a sheet is for: by its name, else by the only one whose required columns are all there."""
    name = grid.name.strip().casefold()
    for table in schema.ORDER:
        if re.match(rf"{table}(?![a-z])", name):
            return table
    fits = []
    for table in schema.ORDER:
        columns = {c.name: c for c in TABLES[table]}
        place = _heading_row(grid, columns)
        if place is None:
            continue
        found = {f[0].name for f in (_column_for(c, columns) for c in grid.rows[place][1] if isinstance(c, str)) if f}
        needed = {c.name for c in TABLES[table] if c.required} - {"nauplii"}
        if needed <= found:
            fits.append((len(found), table))
    fits.sort(reverse=True)
    return fits[0][1] if fits and (len(fits) == 1 or fits[0][0] > fits[1][0]) else None


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
    by_name = _table_of(grid)
    name = table or by_name
    if name is None:
        if grid.only_sheet:
            raise InputError(
                f"{grid.source}: cannot tell which table it is. Say so with --table, or give the file or sheet one of "
                f"the names {', '.join(schema.ORDER[:4])}."
            )
        return None
    if name not in schema.KEYS:
        raise unknown_name("table", name, schema.KEYS)
    columns = {c.name: c for c in TABLES[name]}
    place = _heading_row(grid, columns)
    if place is None:
        needed = ", ".join(c.name for c in columns.values() if c.required)
        raise InputError(
            f"{grid.source}: no heading row was found for {name}. Put the column names in one row: {needed}."
        )
    return _rows(grid, name, columns, place, settings, {_plain(c) for c in ignore_columns})


def _rows(grid: Grid, name, columns, place, settings: Settings, ignored: set) -> SheetRows:
    headings, problems, notes = _headings(grid, columns, place, ignored)
    body = [(number, row) for number, row in grid.rows[place + 1 :] if any(not _blank(c) for c in row)]
    if body and _is_unit_row(body[0][1]):
        notes.append(f"row {body[0][0]} read as units")
        body = body[1:]
    rules = _rules(body, headings, grid, settings)
    faults = {(r, c): rest for r, c, *rest in grid.problems}
    data: dict[str, list] = {column.name: [] for column, _ in headings.values()}
    remarks: Counter = Counter()
    for index, (number, row) in enumerate(body):
        stray = [c for i, c in enumerate(row) if i not in headings and i >= len(grid.rows[place][1]) and not _blank(c)]
        if stray:
            remedy = "Give the column a heading, or clear the cell; a comma in a text needs quotes around it."
            problems.append((index, "", str(stray[0]), "stands to the right of the last heading", remedy))
        for i, (column, unit) in headings.items():
            cell = row[i] if i < len(row) else None
            if (number, i) in faults:
                value, rule, remedy = faults[number, i]
                problems.append((index, column.name, value, rule, remedy))
                cell = None
            data[column.name].append(_value(cell, column, unit, rules, index, problems, remarks))
    notes += [f"column {c}: {text}" + (f" ({n} times)" if n > 1 else "") for (c, text), n in remarks.items()]
    frame = pd.DataFrame(data, dtype=object)
    if name == "readings":
        notes += _readings_to_celsius(frame)
    return SheetRows(name, frame, grid.source, [f"row {n}" for n, _ in body], problems,
                     [f"{grid.source}: {note}" for note in grid.notes + notes])  # fmt: skip


def _headings(grid: Grid, columns, place, ignored: set):
    """Match the heading row to the table's columns; unknown and doubled headings are problems."""
    headings, problems, notes, seen = {}, [], [], {}
    for i, cell in enumerate(grid.rows[place][1]):
        if _blank(cell) or _plain(cell) in ignored:
            continue
        found = _column_for(cell, columns)
        if found is None:
            message = str(unknown_name("column", str(cell).strip(), columns))
            hint = message.split(". ", 1)[1]
            remedy = f"{hint} Rename the heading, or leave the column out with --ignore {_plain(cell)!r}."
            problems.append(("heading", str(cell).strip(), None, "is not a column of this table", remedy))
            continue
        column, unit = found
        if column.name in seen:
            problems.append(("heading", column.name, str(cell), "stands twice", "Keep one of the two columns."))
            continue
        seen[column.name] = i
        headings[i] = (column, unit)
        if str(cell).strip() != column.name and _plain(cell) != column.name:
            notes.append(f"heading {str(cell).strip()!r} read as {column.name}")
    return headings, problems, notes


def _is_unit_row(row) -> bool:
    texts = [cells.fold_unit(c) for c in row if isinstance(c, str) and c.strip()]
    numbers = [c for c in row if isinstance(c, (int, float, dt.date))]
    known = {u for own, others in cells.UNITS.items() for u in (cells.fold_unit(own), *others)} | {"ph", "text", "date"}
    return bool(texts) and not numbers and all(t in known for t in texts)


def _rules(body, headings, grid: Grid, settings: Settings) -> cells.CellRules:
    texts = [
        row[i]
        for _, row in body
        for i, (column, _) in headings.items()
        if column.kind in ("float", "int") and i < len(row) and isinstance(row[i], str) and row[i].strip()
    ]
    sign = cells.decimal_sign(texts, semicolons=grid.semicolons, site=settings.site.decimal)
    return cells.CellRules(sign, settings.site.date_order, settings.site.timezone)


def _value(cell, column: Column, unit: str, rules, index: int, problems: list, remarks: Counter):
    """Read one cell into what ``check_table`` takes."""
    if _blank(cell):
        return None
    if isinstance(cell, str):
        cell = neutral.restore(cell.strip())
    if column.kind in ("float", "int"):
        read = cells.read_number(cell, column.unit, rules, heading_unit=unit)
    elif column.kind == "date":
        read = cells.read_date(cell, rules)
    elif column.kind == "time":
        read = cells.read_time(cell, rules)
    else:
        return _text(cell)
    if read.rule:
        problems.append((index, column.name, str(cell), read.rule, read.remedy))
    if read.note:
        remarks[column.name, read.note] += 1
    return read.value


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
    is_f = frame["unit"].map(lambda u: isinstance(u, str) and cells.fold_unit(u) in ("°f", "f")).astype(bool)
    for index in frame.index[is_f]:
        value = frame.at[index, "value"]
        if value is not None:
            frame.at[index, "value"] = round((float(value) - 32) * 5 / 9, 2)
            frame.at[index, "unit"] = "°C"
    return [f"{int(is_f.sum())} readings in °F entered in °C"] if is_f.any() else []
