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
_OF_NEXT_CONE = ("date", "lot", "time", "who")  # what stays as above where another cone is written


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
    zone, problems, rows = ZoneInfo(settings.site.timezone), list(read.problems), []
    bad, doubted = {p.place for p in problems}, set()
    unread = {(p.place, p.column) for p in problems}
    above: dict = {}
    columns = [name for name in _COUNTS if name in read.frame.columns]
    totals, names = Totals(columns, settings.protocol.cone_names), _Names(settings)
    for index, cells in enumerate(read.frame.to_dict("records")):
        cells = {name: None if pd.isna(value) else value for name, value in cells.items()}
        if cells.get("date") and cells["date"] != above.get("date"):
            above, doubted = {"date": cells["date"], "lot": above.get("lot")}, doubted & {"lot"}
        if cells.get("cone"):
            cells["cone"] = names.read("cone", cells["cone"])
            if cells["cone"] != above.get("cone"):
                above = {k: v for k, v in above.items() if k in _OF_NEXT_CONE}
                doubted &= set(_OF_NEXT_CONE)
        if cells.get("who"):
            cells["who"] = names.read("who", cells["who"])
        above |= {name: cells[name] for name in _AS_ABOVE if cells.get(name) is not None}
        doubted = {name for name in doubted if cells.get(name) is None}
        doubted |= {name for name in _AS_ABOVE if (index, name) in unread}
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
        rows.append(
            DayRow(
                index=index,
                date=date,
                cone=above["cone"],
                grams=above.get("grams"),
                lot=above.get("lot") or "",
                at=dt.datetime.combine(date, at, tzinfo=zone),
                counts={c: None if cells.get(c) is None else int(cells[c]) for c in columns},
                who=above.get("who") or settings.protocol.only_person,
                readings={READINGS[c]: cells[c] for c in READINGS if cells.get(c) is not None},
                notes=cells.get("notes") or "",
                writes_lot=cells.get("lot") is not None,
                starts=cells.get("grams") is not None,
            )
        )
    read.notes += names.notes()
    return rows, problems


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


def _clock(text, settings: Settings) -> tuple[dt.time, tuple | None]:
    """Read a time of day; the protocol's time of counting where none is written."""
    if text is None:
        return settings.protocol.count_time, None
    try:
        return clock_time(str(text)), None
    except ValueError:
        return dt.time(), ("time", str(text), "is no time of day", "Write it like 09:30, or leave it empty.")
