"""Rows of a day sheet with what stands above filled in, and what is wrong with them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import pandas as pd

from qckit.day.sheets.totals import TOTAL, Totals
from qckit.log.problems import CellProblem
from qckit.log.sheets import reading
from qckit.protocol import clock_time
from qckit.quantities import QUANTITIES, WATER
from qckit.settings import Settings
from qckit.stages import COUNT_LETTERS
from qckit.tables import TABLES, Column
from qckit.words import joined

__all__ = ["COLUMNS", "READINGS", "SHORT", "DayRow", "filled_rows"]

_COUNTS = tuple(COUNT_LETTERS)
READINGS = {QUANTITIES[name].column: name for name in WATER}
"""Column of a day sheet -> quantity of the reading."""

SHORT = {letter.lower(): column for column, letter in COUNT_LETTERS.items()} | {
    **{name: column for column, name in READINGS.items()},
    "cysts_g": "grams",
    "counter": "who",
    "operator": "who",
    "initials": "who",
    "counted_by": "who",
}
"""Other headings of a column, folded."""

COLUMNS = {
    "date": Column("date", "date"),
    "cone": Column("cone"),
    "grams": Column("grams", "float", "g", low=1e-4, high=1e5),
    **{name: Column(name, "int", low=0, high=1e7) for name in _COUNTS},
    **{column.name: column for column in TABLES["hatches"] if column.name in READINGS},
    "lot": Column("lot"),
    "time": Column("time"),
    "who": Column("who"),
    "notes": Column("notes"),
}
"""Columns of a day sheet; only cone, grams and counts have to be written in each row."""

_AS_ABOVE = ("date", "cone", "grams", "lot", "time", "who")
_OF_NEXT_DAY = ("lot",)  # what stays as above where another day is written
_OF_NEXT_CONE = ("date", "lot", "time", "who")  # likewise where another cone is


@dataclass
class DayRow:
    """A row of a day sheet with what stands above filled in."""

    index: int
    date: dt.date
    cone: str
    grams: float
    lot: str
    at: dt.datetime
    counts: dict[str, int | None]  # by count column of the sheet
    who: str = ""  # who counted, weighed or read
    readings: dict[str, float] = field(default_factory=dict)  # quantity -> value
    notes: str = ""
    writes_lot: bool = False  # in the row itself, not above it
    starts: bool = False  # grams stand in the row itself

    @property
    def is_counted(self) -> bool:
        return any(value is not None for value in self.counts.values())


def filled_rows(read: reading.ReadCells, settings: Settings) -> tuple[list[DayRow], list[CellProblem]]:
    """Fill what is left empty from the row above; say what nothing gives."""
    problems, rows = list(read.problems), []
    bad = {p.place for p in problems}
    columns = [name for name in _COUNTS if name in read.frame.columns]
    totals, names = Totals(columns, settings.protocol.cone_names), _Names(settings)
    above = _Above({(p.place, p.column) for p in problems})
    for index, cells in enumerate(read.frame.to_dict("records")):
        cells = {name: None if pd.isna(value) else value for name, value in cells.items()}
        cells |= {name: names.read(name, cells[name]) for name in ("cone", "who") if cells.get(name)}
        above.go_on(index, cells)
        if index in bad:
            continue
        at, wrong = _clock(above.cells.get("time"), settings)
        problem = above.doubt() or _lacking(above.cells, cells) or wrong
        if problem:
            problems.append(CellProblem(index, *problem))
        elif totals.add(cells):
            problems.append(CellProblem(index, *TOTAL))
        else:
            rows.append(_row(index, cells, above.cells, at=at, columns=columns, settings=settings))
    read.notes += names.notes()
    return rows, problems


def _row(index, cells: dict, above: dict, *, at: dt.time, columns, settings: Settings) -> DayRow:
    date = dt.date.fromisoformat(above["date"])
    return DayRow(
        index=index,
        date=date,
        cone=above["cone"],
        grams=above.get("grams"),
        lot=above.get("lot") or "",
        at=dt.datetime.combine(date, at, tzinfo=ZoneInfo(settings.site.timezone)),
        counts={c: None if cells.get(c) is None else _whole(cells[c]) for c in columns},
        who=above.get("who") or settings.protocol.only_person,
        readings={READINGS[c]: cells[c] for c in READINGS if cells.get(c) is not None},
        notes=cells.get("notes") or "",
        writes_lot=cells.get("lot") is not None,
        starts=cells.get("grams") is not None,
    )


class _Above:
    """What holds until something else is written, and what of it a cell that could not be read puts in doubt."""

    def __init__(self, unread: set[tuple[int, str]]):
        self.cells: dict = {}
        self._unread, self._doubted = unread, set()

    def go_on(self, index: int, cells: dict) -> None:
        """Take over what a row writes; another day or cone ends what held for the one before."""
        if cells.get("date") and cells["date"] != self.cells.get("date"):
            self._keep(_OF_NEXT_DAY)
        if cells.get("cone") and cells["cone"] != self.cells.get("cone"):
            self._keep(_OF_NEXT_CONE)
        written = {name: cells[name] for name in _AS_ABOVE if cells.get(name) is not None}
        self.cells |= written
        self._doubted -= written.keys()
        self._doubted |= {name for name in _AS_ABOVE if (index, name) in self._unread}

    def _keep(self, names) -> None:
        self.cells = {name: value for name, value in self.cells.items() if name in names}
        self._doubted &= set(names)

    def doubt(self) -> tuple | None:
        """Say of what a row would take over a value from further up, past a cell that could not be read."""
        if not self._doubted:
            return None
        what = "is empty, and the row above that gives it has a problem"
        return (min(self._doubted), "", what, "Put that right first.")


class _Names:
    """Cones and people as the site's settings write them: capitals and the word cone before one make no other."""

    def __init__(self, settings: Settings):
        protocol = settings.protocol
        self._known = {"cone": protocol.cone_names, "who": protocol.initials}
        self._as: dict[tuple[str, str], str] = {}

    def read(self, column: str, typed: str) -> str:
        """Return the site's name for what was typed; what it does not know stays as it is."""
        bare = typed.casefold().removeprefix("cone").strip() if column == "cone" else ""
        known = {name.casefold(): name for name in self._known[column]}
        found = known.get(typed.casefold()) or known.get(bare) or typed
        if found != typed or (known and found not in known.values()):
            self._as[column, typed] = found
        return found

    def notes(self) -> list[str]:
        """Say what was read otherwise than it stands, and what the settings do not know."""
        lines = [f"{column} {typed!r} read as {name}" for (column, typed), name in self._as.items() if typed != name]
        for column, setting in (("cone", "cones"), ("who", "people")):
            strange = [repr(typed) for (of, typed), name in self._as.items() if of == column and typed == name]
            if strange:
                known = ", ".join(self._known[column])
                lines.append(
                    f"{column} {joined(strange)}: not among {setting} in qckit.toml ({known}). Is it written right? If "
                    "so, add it there."
                )
        return lines


def _lacking(above: dict, cells: dict) -> tuple | None:
    """Say what a row needs and does not have."""
    if not above.get("date") or len(above["date"]) != 10:
        return ("date", above.get("date") or "", "is not a day, here or above", "Write the day of the counts once.")
    if not above.get("cone"):
        return ("cone", "", "is empty, here and above", "Write the cone.")
    has_counts = any(cells.get(name) is not None for name in _COUNTS)
    if not has_counts and all(cells.get(name) is None for name in ("grams", *READINGS, "notes")):
        return ("nauplii", "", "is empty, and so are all counts and grams", "Write the counts, or clear the row.")
    if has_counts and cells.get("nauplii") is None:
        return ("nauplii", "", "is empty and must be filled", "Write 0 where none was seen.")
    return None


def _whole(value) -> int | float:
    """Return a count as it stands: one with a fraction stays, for the log to refuse with all else that is wrong."""
    return int(value) if float(value).is_integer() else value


def _clock(text, settings: Settings) -> tuple[dt.time, tuple | None]:
    """Read a time of day; the protocol's time of counting where none is written."""
    if text is None:
        return settings.protocol.count_time, None
    try:
        return clock_time(str(text)), None
    except ValueError:
        return dt.time(), ("time", str(text), "is no time of day", "Write it like 09:30, or leave it empty.")
