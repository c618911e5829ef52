"""Headings of a sheet: which row they stand in, which columns and units they mean, for which table the sheet is."""

from __future__ import annotations

import re

from qckit.errors import known_names_hint
from qckit.log import schema
from qckit.log.problems import CellProblem
from qckit.log.sheets import cells
from qckit.log.sheets.grids import HEADING_ROWS, Grid, fold_heading, is_blank
from qckit.tables import TABLES, Column
from qckit.words import joined, noun

__all__ = ["find_heading", "headings_of", "table_of", "what_was_found"]

_SUFFIX = {
    "g": "g",
    "ml": "ml",
    "µl": "ul",
    "mm": "mm",
    "µg": "ug",
    "°C": "c",
    "ppt": "ppt",
    "lux": "lux",
    "mg/l": "mg_l",
    "%": "pct",
    "µm/px": "um_per_px",
    "1/g": "per_g",
}


def _column_for(heading, columns: dict[str, Column]) -> tuple[Column, str] | None:
    """Return the column a heading means and the unit it gives, if that is not the column's own."""
    plain = fold_heading(heading)
    if plain in columns:
        return columns[plain], ""
    match = re.fullmatch(r"(.+?)[\s_]*[(\[](.+)[)\]]", str(heading).replace("\ufeff", "").strip())
    if match:
        stem, unit = fold_heading(match[1]), cells.fold_unit(match[2])
    elif re.fullmatch(r".+_(f|l|kg|mg|k)", plain):
        stem, _, unit = plain.rpartition("_")
        unit = {"f": "°f", "k": "k"}.get(unit, unit)
    else:
        return None
    for column in columns.values():
        suffix = _SUFFIX.get(column.unit)
        stem_of_column = column.name.removesuffix(f"_{suffix}") if suffix else column.name
        known = unit == cells.fold_unit(column.unit) or unit in cells.column_unit(column.unit)
        if stem in (stem_of_column, column.name) and known:
            return column, "" if unit == cells.fold_unit(column.unit) else unit
    return None


def _known(heading, columns: dict[str, Column]) -> str | None:
    """Return the name of the column a heading means."""
    found = _column_for(heading, columns) if isinstance(heading, str) else None
    return found[0].name if found else None


def find_heading(grid: Grid, columns: dict[str, Column]) -> tuple[int, list] | None:
    """Find the row with most known headings, alone or with the row above it: two at least, or all that must be there.

    Returns
    -------
    tuple of (int, list) or None
        Place of the (lower) row, and the headings.
    """
    needed = {c.name for c in columns.values() if c.required}
    best, most, above = None, 0, []
    for place, (_, row) in enumerate(grid.rows[:HEADING_ROWS]):
        for headings in (row, _over_two_rows(above, row, columns)):
            found = [name for name in (_known(c, columns) for c in headings) if name]
            if len(found) > most and (len(found) > 1 or needed <= set(found)):
                best, most = (place, headings), len(found)
        above = row
    return best


def _over_two_rows(above: list, below: list, columns: dict[str, Column]) -> list:
    """Join headings written over two rows: a group above names, names above units, names merged over both rows."""
    width = max(len(above), len(below))
    rows = ([*row, *[None] * (width - len(row))] for row in (above, below))
    headings = []
    for upper, lower in zip(*rows, strict=True):
        joined = f"{upper} ({str(lower).strip().strip('()[]')})"
        if _known(lower, columns) or is_blank(upper):
            headings.append(lower)
        elif not is_blank(lower) and isinstance(upper, str) and _known(joined, columns):
            headings.append(joined)
        else:
            headings.append(upper if is_blank(lower) and _known(upper, columns) else lower)
    return headings


def table_of(grid: Grid) -> str | None:
    """Tell which table a sheet is for: by its name, else by the only one whose required columns are all there."""
    name = grid.name.strip().casefold()
    for table in schema.ENTERED:
        if re.match(rf"{table}(?![a-z])", name):
            return table
    fits = []
    for table in schema.ENTERED:
        columns = {c.name: c for c in TABLES[table]}
        heading = find_heading(grid, columns)
        if heading is None:
            continue
        found = {_known(c, columns) for c in heading[1]}
        needed = {c.name for c in TABLES[table] if c.required} - {"nauplii", "counted_by"}
        if needed <= found:
            fits.append((len(found), table))
    fits.sort(reverse=True)
    return fits[0][1] if fits and (len(fits) == 1 or fits[0][0] > fits[1][0]) else None


def what_was_found(grid: Grid) -> str:
    """Say what stands in the row that should be the heading, and which table it is most like."""
    rows = [[str(c).strip() for c in row if isinstance(c, str) and not is_blank(c)] for _, row in grid.rows]
    found = next((row for row in rows[:HEADING_ROWS] if len(row) > 1), rows[0] if rows else [])
    likest, most, lacking = "", 1, []  # one heading alone is like any table
    for table in schema.ENTERED:
        columns = {c.name: c for c in TABLES[table]}
        known = {_known(c, columns) for c in found} - {None}
        if len(known) > most:
            likest, most = table, len(known)
            lacking = [c.name for c in TABLES[table] if c.required and c.name not in known | {"counted_by"}]
    like = f" Most like {likest}, which also needs {', '.join(lacking)}." if lacking else ""
    return f"Columns found: {', '.join(found) or 'none'}.{like}"


def headings_of(cells_of_heading: list, columns, ignored: set):
    """Match the heading row to the table's columns; unknown and doubled headings are problems."""
    headings, problems, read, places = {}, [], [], {}
    for i, cell in enumerate(cells_of_heading):
        if is_blank(cell) or fold_heading(cell) in ignored:
            continue
        found = _column_for(cell, columns)
        if found is None:
            hint = known_names_hint("column", str(cell).strip(), columns).strip()
            remedy = f"{hint} Rename the heading, or leave the column out with --ignore {fold_heading(cell)!r}."
            problems.append(CellProblem("heading", str(cell).strip(), None, "is not a column of this table", remedy))
            continue
        column, unit = found
        if column.name in places:
            problems.append(
                CellProblem("heading", column.name, str(cell), "stands twice", "Keep one of the two columns.")
            )
            continue
        places[column.name] = i
        headings[i] = (column, unit)
        if str(cell).strip() != column.name and fold_heading(cell) != column.name:
            read.append(f"{str(cell).strip()!r} read as {column.name}")
    return headings, problems, [f"{noun(len(read), 'heading')} {joined(read)}"] if read else []
