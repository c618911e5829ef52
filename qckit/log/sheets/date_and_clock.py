"""A time written in two columns, its date and its time of day: many sheets kept by hand have it so."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from qckit.log import schema
from qckit.log.sheets.grids import HEADING_ROWS, Grid, fold_heading, is_blank
from qckit.log.sheets.headings import table_of
from qckit.tables import TABLES

__all__ = ["join_date_and_clock"]

_DATE, _CLOCK = ("date", "day"), ("time", "clock", "time_of_day")


def join_date_and_clock(grid: Grid, table: str | None = None) -> Grid:
    """Join the columns ``date`` and ``time`` of a sheet into the one that its table asks for.

    Parameters
    ----------
    grid : Grid
    table : str, optional
        The table it is for, where that is known.

    Returns
    -------
    Grid
        As it came where it has no such two columns, or has its table's own column of times too.
    """
    for name in [table] if table else schema.ORDER:
        column = _time_column(name)
        joined = _joined(grid, column, name) if column else None
        if joined and (table or table_of(joined) == name):
            return joined
    return grid


def _time_column(table: str) -> str | None:
    """The one time that every row of a table entered from sheets has."""
    times = [c.name for c in TABLES.get(table, ()) if c.kind == "time" and c.required]
    return times[0] if table in schema.KEYS and len(times) == 1 else None


def _joined(grid: Grid, column: str, table: str) -> Grid | None:
    """The sheet with the pair below one heading, the other one empty; None without such a pair."""
    known = {c.name for c in TABLES[table]}
    for place, (_, row) in enumerate(grid.rows[:HEADING_ROWS]):
        folded = [fold_heading(c) if isinstance(c, str) else "" for c in row]
        dates = [i for i, name in enumerate(folded) if name in (*_DATE, f"{column}_date", f"date_{column}")]
        clocks = [i for i, name in enumerate(folded) if name in (*_CLOCK, f"{column}_time", f"time_{column}")]
        if len(dates) == len(clocks) == 1 and column not in folded and known & set(folded):
            date, clock = dates[0], clocks[0]
            above, below = grid.rows[:place], grid.rows[place + 1 :]
            heading = list(row)
            note = f"columns {str(row[date]).strip()!r} and {str(row[clock]).strip()!r} read together as {column}"
            heading[date], heading[clock] = column, None
            rows = [(number, _with_moment(cells, date, clock)) for number, cells in below]
            return replace(grid, rows=[*above, (grid.rows[place][0], heading), *rows], notes=[*grid.notes, note])
    return None


def _with_moment(cells: list, date: int, clock: int) -> list:
    """A row with its moment at the place of the date; what is one alone stays so, for the reader to say what lacks."""
    cells = [*cells, *[None] * (max(date, clock) + 1 - len(cells))]
    day, time = cells[date], cells[clock]
    cells[clock] = None
    if is_blank(day) or is_blank(time):
        cells[date] = time if is_blank(day) else _day_alone(day)
    else:
        cells[date] = f"{_day_alone(day)} {_clock_alone(time)}"
    return cells


def _day_alone(cell):
    """A date as typed; of a date with its midnight, the date. Another time stays, for the reader to refuse."""
    return cell.date() if isinstance(cell, dt.datetime) and cell.time() == dt.time() else cell


def _clock_alone(cell) -> str:
    """A time of day as a person types it; spreadsheets keep it as a time, a moment of 1899 or a part of a day."""
    if isinstance(cell, dt.datetime):
        cell = cell.time()
    elif isinstance(cell, dt.timedelta):
        cell = (dt.datetime.min + cell).time()
    elif isinstance(cell, float) and 0 <= cell < 1:
        cell = (dt.datetime.min + dt.timedelta(minutes=round(cell * 24 * 60))).time()
    return f"{cell:%H:%M:%S}" if isinstance(cell, dt.time) else str(cell).strip()
