"""The day sheet: cone, grams, counts and readings a row; the rest comes from the protocol and from the log.

A row with counts is a subsample of the hatch that stood in that cone and was ready that day; where the log has none,
the hatch is entered too, started one incubation before. A row with grams and no counts is a hatch started that day; one
with readings or a note alone is of what stands in the cone. Empty cells of date, cone, grams, lot, time and who mean:
as above.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pandas as pd

from qckit.day.entry.writing import taken_back_names
from qckit.day.sheets.rows import COLUMNS, SHORT, filled_rows
from qckit.day.sheets.tables import as_tables
from qckit.errors import InputError, one_line
from qckit.log import SiteLog
from qckit.log.problems import PROBLEMS, CellProblem, problems_error
from qckit.log.sheets import reading
from qckit.log.sheets.grids import Grid, file_content, fold_heading, read_grids
from qckit.log.sheets.site_headings import name_headings
from qckit.log.steps import ImportResult
from qckit.log.typed import typed_date
from qckit.settings import Settings

__all__ = ["day_rows", "import_sheets", "is_day_sheet"]


def import_sheets(log: SiteLog, paths: Iterable, *, by: str, table: str | None = None, **options) -> ImportResult:
    """Import field sheets and day sheets in one step; see ``SiteLog.import_sheets``.

    Parameters
    ----------
    log : SiteLog
    paths : iterable of path
    by : str
    table : str, optional
        The table all of them are for; then none is taken for a day sheet.
    **options
        accept_good_rows, ignore_columns, correct, emptied of ``SiteLog.import_sheets``.

    Returns
    -------
    ImportResult
    """
    paths = [sheet for path in paths for sheet in reading.sheets_of(Path(path))]
    grids = {} if table else {path: _grids(path, log.settings) for path in paths}
    grids = {path: found for path, found in grids.items() if any(map(is_day_sheet, found))}
    if not grids:
        return log.import_sheets(paths, by=by, table=table, **options)
    ignored = options.pop("ignore_columns", ())
    others = [path for path in paths if path not in grids]
    left_out = [] if options.get("accept_good_rows") else None
    incoming, source, digest = [], "; ".join(one_line(path.name) for path in paths), hashlib.sha256()
    if others:
        incoming, other_digest, _ = reading.read_sheets(others, log.settings, ignore_columns=ignored)
        digest.update(other_digest.encode())
    known: dict[str, dict] = {}
    wrong: list[pd.DataFrame] = []
    for path, found in grids.items():
        digest.update(file_content(path))
        for grid in found:  # a workbook may hold a sheet for each day, and others beside them
            if is_day_sheet(grid):
                try:
                    incoming += day_rows(grid, log, ignore_columns=ignored, known=known, left_out=left_out)
                except InputError as error:
                    if error.problems is None:
                        raise
                    wrong.append(error.problems)  # said of all days at once
            elif (rows := reading.rows_from_grid(grid, log.settings, ignore_columns=ignored)) is not None:
                incoming.append(rows)
    if wrong:
        raise problems_error(pd.concat(wrong, ignore_index=True))
    result = log.take(incoming, by=by, source=source, source_sha256=digest.hexdigest(), **options)
    return replace(result, problems=pd.concat([*left_out, result.problems], ignore_index=True)) if left_out else result


def _grids(path: Path, settings: Settings) -> list[Grid]:
    """Sheets of a file; none where there is no file, which is said when it is read."""
    found = read_grids(path, file_content(path)) if path.is_file() else []
    return [name_headings(grid, settings) for grid in found]


def is_day_sheet(grid: Grid) -> bool:
    """Whether a sheet has the headings of a day sheet, and not those that name hatches or samples.

    Grams may be missing: rows of counts find the hatch that stands in their cone.
    """
    return any(_is_heading(row) for _, row in grid.rows[:20])


def _is_heading(row: list) -> bool:
    folded = {SHORT.get(fold_heading(cell), fold_heading(cell)) for cell in row if isinstance(cell, str)}
    return {"cone", "nauplii"} <= folded and not folded & {"hatch", "sample", "kind"}


def day_rows(
    grid: Grid,
    log: SiteLog,
    *,
    ignore_columns=(),
    known: dict[str, dict] | None = None,
    left_out: list[pd.DataFrame] | None = None,
) -> list[reading.SheetRows]:
    """Turn a day sheet into rows of hatches and samples.

    Parameters
    ----------
    grid : Grid
    log : SiteLog
        For the protocol, the hatches under way and the lot in use.
    ignore_columns : sequence of str
    known : dict of str to dict, optional
        Hatches that sheets read before this one bring; those of this sheet join them.
    left_out : list of DataFrame, optional
        Gathers what is wrong with rows that cannot be taken, and the others are returned; without it, that is raised.

    Returns
    -------
    list of SheetRows

    Raises
    ------
    InputError
        Cells cannot be read, or rows lack what nothing above gives; all are in ``.problems``.
    """
    grid, heading = _prepared(grid, log.settings)
    read = reading.read_cells(grid, COLUMNS, heading, log.settings, {fold_heading(c) for c in ignore_columns})
    read.notes[:0] = grid.notes
    rows, problems = filled_rows(read, log.settings)
    _gather(problems, grid, read, left_out)
    known = {} if known is None else known
    for row in log.hatches().to_dict("records"):
        known.setdefault(row["hatch"], row)
    gone = {table: taken_back_names(log, table) for table in ("hatches", "samples")}
    parts, problems = as_tables(rows, grid.source, read, log.settings, known, gone=gone)
    _gather(problems, grid, read, left_out)
    return parts


def _gather(problems: list[CellProblem], grid: Grid, read: reading.ReadCells, left_out: list | None) -> None:
    """Raise what is wrong with rows, or add it to what is left out."""
    if not problems:
        return
    places = [read.rows[p.place] if isinstance(p.place, int) else p.place for p in problems]
    rows = [(grid.source, place, *p[1:]) for place, p in zip(places, problems, strict=True)]
    frame = pd.DataFrame(rows, columns=list(PROBLEMS)).fillna("")
    if left_out is None:
        raise problems_error(frame)
    left_out.append(frame)


def _prepared(grid: Grid, settings: Settings):
    """Return a day sheet with its headings spelled out and its dates with their years, and its heading."""
    grid = replace(grid, rows=[(n, _spelled(row) if _is_heading(row) else list(row)) for n, row in grid.rows])
    heading = reading.find_heading(grid, COLUMNS)
    place = next((i for i, name in enumerate(heading[1]) if name and fold_heading(name) == "date"), None)
    above = None
    for _, row in grid.rows if place is not None else ():
        cell = row[place] if place < len(row) else None
        if above and isinstance(cell, str) and settings.site.date_order == "dmy":
            row[place] = cell = _near(cell.strip(), above)
        above = _full_date(cell, settings) or above
    return grid, heading


def _near(text: str, above: dt.date) -> str:
    """Write the year behind a day and month with dots: that which brings it nearest to the date above it."""
    found = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.?", text)
    days = []
    for year in (above.year - 1, above.year, above.year + 1) if found else ():
        with contextlib.suppress(ValueError):
            days.append(dt.date(year, int(found[2]), int(found[1])))
    return f"{min(days, key=lambda day: abs(day - above)):%d.%m.%Y}" if days else text


def _full_date(cell, settings: Settings) -> dt.date | None:
    """Return the day that a cell holds with its year; None where it holds none."""
    if cell is None or not str(cell).strip():
        return None
    try:
        return dt.date.fromisoformat(typed_date(cell, settings, "date"))
    except (InputError, ValueError):
        return None


def _spelled(row: list) -> list:
    """Write the short headings N, U, C, E, S of a heading row out."""
    return [SHORT.get(fold_heading(cell), cell) if isinstance(cell, str) else cell for cell in row]
