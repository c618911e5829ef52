"""The day sheet: cone, grams and counts a row; the rest comes from the protocol and from the log.

A row with counts is a subsample of the hatch that stood in that cone and was ready that day; where the log has none,
the hatch is entered too, started one incubation before. A row with grams and no counts is a hatch started that day.
Empty cells of date, cone, grams, lot and time mean: as above.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from qckit.day.entry import records
from qckit.day.sheets.totals import TOTAL, Totals
from qckit.errors import InputError, one_line
from qckit.log import SiteLog
from qckit.log.problems import PROBLEMS, CellProblem, problems_error
from qckit.log.sheets import reading
from qckit.log.sheets.grids import Grid, file_content, fold_heading, read_grids
from qckit.log.sheets.site_headings import name_headings
from qckit.log.steps import ImportResult
from qckit.settings import Settings, clock_time
from qckit.stages import COUNT_LETTERS
from qckit.tables import Column, to_utc

__all__ = ["day_rows", "import_sheets", "is_day_sheet", "newest_day"]

_COUNTS = tuple(COUNT_LETTERS)
_SHORT = {letter.lower(): column for column, letter in COUNT_LETTERS.items()} | {"cysts_g": "grams"}
COLUMNS = {
    "date": Column("date", "date"),
    "cone": Column("cone"),
    "grams": Column("grams", "float", "g", low=1e-4, high=1e5),
    **{name: Column(name, "int", low=0, high=1e7) for name in _COUNTS},
    "lot": Column("lot"),
    "time": Column("time"),
    "notes": Column("notes"),
}
"""Columns of a day sheet; only cone, grams and counts have to be written in each row."""

_HALF = 0.5  # a hatch belongs to a day's count when its end of incubation is nearer than half an incubation


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


def newest_day(paths: Iterable, settings: Settings) -> str:
    """Return the newest day that day sheets among some files give, as ISO text; empty without a day sheet."""
    dates: list[str] = []
    for path in (sheet for given in paths for sheet in reading.sheets_of(Path(given))):
        for grid in filter(is_day_sheet, _grids(path, settings)):
            grid = replace(grid, rows=[(n, _spelled(row) if _is_heading(row) else row) for n, row in grid.rows])
            read = reading.read_cells(grid, COLUMNS, reading.find_heading(grid, COLUMNS), settings)
            dates += read.frame["date"].dropna().tolist() if "date" in read.frame else []
    return max(dates, default="")


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
    folded = {_SHORT.get(fold_heading(cell), fold_heading(cell)) for cell in row if isinstance(cell, str)}
    return {"cone", "nauplii"} <= folded and not folded & {"hatch", "sample", "kind"}


@dataclass
class _Row:
    """A row of a day sheet with what stands above filled in."""

    index: int
    date: dt.date
    cone: str
    grams: float
    lot: str
    at: dt.datetime
    counts: tuple
    notes: str = ""
    writes_lot: bool = False  # in the row itself, not above it
    problem: tuple = field(default=())

    @property
    def is_counted(self) -> bool:
        return any(value is not None for value in self.counts)


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
    grid = replace(grid, rows=[(n, _spelled(row) if _is_heading(row) else row) for n, row in grid.rows])
    heading = reading.find_heading(grid, COLUMNS)
    read = reading.read_cells(grid, COLUMNS, heading, log.settings, {fold_heading(c) for c in ignore_columns})
    rows, problems = _filled(read, log.settings)
    if problems:
        frame = pd.DataFrame(
            [(grid.source, read.rows[p.place] if isinstance(p.place, int) else p.place, *p[1:]) for p in problems],
            columns=list(PROBLEMS),
        )
        if left_out is None:
            raise problems_error(frame.fillna(""))
        left_out.append(frame.fillna(""))
    known = {} if known is None else known
    for row in log.hatches().to_dict("records"):
        known.setdefault(row["hatch"], row)
    return _as_tables(rows, grid.source, read, log.settings, known)


def _spelled(row: list) -> list:
    """Write the short headings N, U, C, E, S of a heading row out."""
    return [_SHORT.get(fold_heading(cell), cell) if isinstance(cell, str) else cell for cell in row]


def _filled(read: reading.ReadCells, settings: Settings) -> tuple[list[_Row], list[CellProblem]]:
    """Fill what is left empty from the row above; say what nothing gives."""
    zone, problems, rows = ZoneInfo(settings.site.timezone), list(read.problems), []
    bad, doubted = {p.place for p in problems}, set()
    unread = {(p.place, p.column) for p in problems}
    above: dict = {}
    columns = [name for name in _COUNTS if name in read.frame.columns]
    totals = Totals(columns)
    for index, cells in enumerate(read.frame.to_dict("records")):
        cells = {name: None if pd.isna(value) else value for name, value in cells.items()}
        if cells.get("date") and cells["date"] != above.get("date"):
            above, doubted = {"date": cells["date"], "lot": above.get("lot")}, doubted & {"lot"}
        if cells.get("cone") and cells["cone"] != above.get("cone"):
            above = {k: v for k, v in above.items() if k in ("date", "lot")}
            doubted &= {"date", "lot"}
        above |= {name: cells[name] for name in ("date", "cone", "grams", "lot", "time") if cells.get(name) is not None}
        doubted = {name for name in doubted if cells.get(name) is None}
        doubted |= {name for name in ("date", "cone", "grams", "lot", "time") if (index, name) in unread}
        if index in bad:
            continue
        lacking = _lacking(above, cells)
        if doubted:  # it would take over what stands further up instead
            lacking = (
                min(doubted),
                "",
                "is empty, and the row above that gives it has a problem",
                "Put that right first.",
            )
        at, wrong = _clock(above.get("time"), settings)
        if lacking or wrong:
            problems.append(CellProblem(index, *(lacking or wrong)))
            continue
        if totals.add(cells):
            problems.append(CellProblem(index, *TOTAL))
            continue
        date = dt.date.fromisoformat(above["date"])
        counts = tuple(None if cells.get(c) is None else int(cells[c]) for c in columns)
        counted = settings.protocol.counted_columns
        counts = tuple(dict(zip(columns, counts, strict=True)).get(c) for c in counted)
        rows.append(
            _Row(
                index=index,
                date=date,
                cone=above["cone"],
                grams=above.get("grams"),
                lot=above.get("lot") or "",
                at=dt.datetime.combine(date, at, tzinfo=zone),
                counts=counts,
                notes=cells.get("notes") or "",
                writes_lot=cells.get("lot") is not None,
            )
        )
    return rows, problems


def _lacking(above: dict, cells: dict) -> tuple | None:
    """Say what a row needs and does not have."""
    if not above.get("date") or len(above["date"]) != 10:
        return ("date", above.get("date") or "", "is not a day, here or above", "Write the day of the counts once.")
    if not above.get("cone"):
        return ("cone", "", "is empty, here and above", "Write the cone.")
    has_counts = any(cells.get(name) is not None for name in _COUNTS)
    if not has_counts and cells.get("grams") is None:
        return ("nauplii", "", "is empty, and so are all counts and grams", "Write the counts, or clear the row.")
    if has_counts and cells.get("nauplii") is None:
        return ("nauplii", "", "is empty and must be filled", "Write 0 where none was seen.")
    return None


def _clock(text, settings: Settings) -> tuple[dt.time, tuple | None]:
    """Read a time of day; the protocol's time of counting where none is written."""
    if text is None:
        return settings.protocol.count_time, None
    try:
        return clock_time(str(text)), None
    except ValueError:
        return dt.time(), ("time", str(text), "is no time of day", "Write it like 09:30, or leave it empty.")


def _as_tables(rows: list[_Row], source: str, read, settings: Settings, known: dict) -> list[reading.SheetRows]:
    """Make rows of hatches and samples; those of a hatch that the log has keep its name."""
    new: list[tuple[dict, str]] = []
    counted: dict[str, list[_Row]] = defaultdict(list)
    for row in rows:
        incubation = dt.timedelta(hours=settings.protocol.incubation_h)
        started = row.at - incubation if row.is_counted else row.at
        found = _standing(known, row, started, incubation)
        place = read.rows[row.index]
        if found is None:
            found = _new_hatch(row, started, known, settings, f"{source}, {place}")
            known[found["hatch"]] = found
            new.append((found, place))
        elif differs := _differences(row, found):
            changed = found | differs
            if changed not in [one for one, _ in new]:
                new.append((changed, place))  # the log says that it differs, or takes it as a correction
        if row.is_counted:
            counted[found["hatch"]].append(row)
    parts = [_part("hatches", [row for row, _ in new], [place for _, place in new], source, read.notes)]
    samples, places, sitting = [], [], records.Sitting(settings)
    for name, mine in counted.items():
        made = records.count_rows(sitting, known[name], [r.counts for r in mine], taken=mine[0].at)
        samples += made.frames["samples"].to_dict("records")
        places += [read.rows[r.index] for r in mine]
    parts.append(_part("samples", samples, places, source, []))
    return [part for part in parts if len(part.frame)]


def _part(table, rows, places, source, notes) -> reading.SheetRows:
    return reading.SheetRows(table, pd.DataFrame(rows), source, places, notes=[f"{source}: {note}" for note in notes])


def _standing(known: dict[str, dict], row: _Row, started: dt.datetime, incubation: dt.timedelta) -> dict | None:
    """Find the hatch in a row's cone that was started nearest to a time, within half an incubation of it."""
    mine = [hatch for hatch in known.values() if hatch["cone"] == row.cone]
    if not mine:
        return None
    away = [abs((dt.datetime.fromisoformat(hatch["started"]) - started).total_seconds()) for hatch in mine]
    nearest = min(range(len(mine)), key=away.__getitem__)
    return mine[nearest] if away[nearest] < _HALF * incubation.total_seconds() else None


def _differences(row: _Row, hatch: dict) -> dict:
    """Return what a row says of a hatch that the log has otherwise: its mass, or a lot written in the row itself."""
    differs = {}
    if row.grams is not None and float(hatch["cysts_g"]) != row.grams:
        differs["cysts_g"] = row.grams
    if row.writes_lot and row.lot != hatch["lot"]:
        differs["lot"] = row.lot
    return differs


def _new_hatch(row: _Row, started: dt.datetime, known: dict[str, dict], settings: Settings, place: str) -> dict:
    """Make the row of a hatch that the log does not have."""
    if row.grams is None:
        raise InputError(
            f"{place}: no hatch of cone {row.cone} is in the log for {row.date}, and the row has no grams. Write them."
        )
    lot = row.lot or _lot_in_use(known, started)
    if not lot:
        raise InputError(f"{place}: no lot is in use yet. Write the lot once, in a column lot.")
    sitting = records.Sitting(settings)
    made = records.start_row(sitting, lot=lot, cone=row.cone, grams=row.grams, started=started, taken=known)
    return made.frames["hatches"].iloc[0].to_dict() | {"notes": row.notes or None}


def _lot_in_use(known: dict[str, dict], started: dt.datetime) -> str:
    """Return the lot of the last production hatch before a time."""
    frame = pd.DataFrame(known.values())
    if frame.empty:
        return ""
    before = frame[(frame["purpose"] == "production") & (to_utc(frame["started"]) <= started)]
    if before.empty:
        return ""
    return str(before.loc[to_utc(before["started"]).idxmax(), "lot"])


# ---- empty sheets -------------------------------------------------------------------------------------------------
