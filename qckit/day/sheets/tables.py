"""Rows of a day sheet as rows of the log: hatches, their subsamples and their readings."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

import pandas as pd

from qckit.columns import listed_in
from qckit.day.entry import records
from qckit.day.sheets.rows import DayRow
from qckit.log.problems import CellProblem
from qckit.log.sheets import reading
from qckit.settings import Settings
from qckit.tables import to_utc

__all__ = ["as_tables"]

_HALF = 0.5  # a hatch belongs to a day's count when its end of incubation is nearer than half an incubation
_READ_UP_TO = 1.5  # incubations after its start a hatch's water is still read


class _Unplaced(Exception):
    """A row that belongs to no hatch: column, value, rule and remedy of its problem."""


def as_tables(
    rows: list[DayRow], source: str, read, settings: Settings, known: dict, gone: dict[str, set[str]] | None = None
) -> tuple[list[reading.SheetRows], list[CellProblem]]:
    """Make rows of hatches, samples and readings; those of a hatch that the log has keep its name.

    Parameters
    ----------
    rows : list of DayRow
    source : str
        The sheet, for messages.
    read : reading.ReadCells
        For the names of its rows and the notes on them.
    settings : Settings
    known : dict of str to dict
        Hatches by name; new ones join them.
    gone : dict of str to set, optional
        Table (hatches, samples) -> names taken back at the bench: what the sheet has is written under others.

    Returns
    -------
    tuple
        Parts, and a problem for each row that belongs to no hatch and is left out of them.
    """
    wrong: list[CellProblem] = []
    gone = gone or {"hatches": set(), "samples": set()}
    new: list[tuple[dict, str]] = []
    of_hatch: dict[str, list[DayRow]] = defaultdict(list)
    incubation = dt.timedelta(hours=settings.protocol.incubation_h)
    for row in rows:
        place = read.rows[row.index]
        try:
            if not row.is_counted and not row.starts:
                of_hatch[_incubating(known, row, incubation)["hatch"]].append(row)
                continue
            started = row.at - incubation if row.is_counted else row.at
            found = _standing(known, row, started, incubation)
            if found is None:
                found = _new_hatch(row, started, known, settings, gone["hatches"])
                known[found["hatch"]] = found
                new.append((found, place))
            elif differs := _differences(row, found):
                changed = found | differs
                if changed not in [one for one, _ in new]:
                    new.append((changed, place))  # the log says that it differs, or takes it as a correction
        except _Unplaced as problem:
            wrong.append(CellProblem(row.index, *problem.args))
            continue
        of_hatch[found["hatch"]].append(row)
    for name, mine in of_hatch.items():
        new = _noted(new, known[name], mine, read.rows)
    hatches = _part("hatches", [row for row, _ in new], [place for _, place in new], source)
    parts = [hatches, *_samples_and_readings(of_hatch, known, source, read, settings, gone=gone["samples"])]
    for part in parts:
        part.may_grow = frozenset({"notes", "counter"})
    parts = [part for part in parts if len(part.frame)]
    for part in parts[:1]:
        part.notes += [f"{source}: {note}" for note in read.notes]
    return parts, wrong


def _samples_and_readings(
    of_hatch, known: dict, source: str, read, settings: Settings, gone: set[str]
) -> list[reading.SheetRows]:
    """Make the rows that hang on hatches."""
    rows: dict[str, list] = {"samples": [], "readings": []}
    places: dict[str, list] = {"samples": [], "readings": []}
    columns = settings.protocol.counted_columns
    for name, mine in of_hatch.items():
        names: list[str] = []
        for row in mine:
            place = read.rows[row.index]
            if row.is_counted:
                counts = [row.counts.get(c) for c in columns]
                sitting = records.Sitting(settings, row.who)
                made = records.count_rows(sitting, known[name], [counts], taken=row.at, names=[*names, *gone])
                sample = made.frames["samples"].iloc[0].to_dict() | row.counts
                names.append(sample["sample"])
                rows["samples"].append(sample)
                places["samples"].append(place)
            if row.readings:
                made = records.reading_rows(name, row.readings, taken=row.at)
                rows["readings"] += made.frames["readings"].to_dict("records")
                places["readings"] += [place] * len(row.readings)
    return [_part(table, rows[table], places[table], source) for table in rows]


def _part(table: str, rows: list[dict], places: list[str], source: str) -> reading.SheetRows:
    return reading.SheetRows(table, pd.DataFrame(rows), source, places)


def _noted(new: list, hatch: dict, mine: list[DayRow], places: list[str]) -> list:
    """Put what is noted beside the rows of a hatch into its row: behind what the log has of it."""
    before = listed_in(hatch.get("notes"))
    notes = list(dict.fromkeys([*before, *(part for row in mine for part in listed_in(row.notes))]))
    if notes == before:
        return new
    text = {"notes": "; ".join(notes)}
    if not any(row["hatch"] == hatch["hatch"] for row, _ in new):
        noted = next(row for row in mine if row.notes)
        return [*new, (hatch | text, places[noted.index])]
    return [(row | text if row["hatch"] == hatch["hatch"] else row, place) for row, place in new]


def _incubating(known: dict[str, dict], row: DayRow, incubation: dt.timedelta) -> dict:
    """Find the hatch that stands in a row's cone at its time, of which only the water was read or a note written."""
    ages = {
        name: (row.at - dt.datetime.fromisoformat(hatch["started"])) / incubation
        for name, hatch in known.items()
        if hatch["cone"] == row.cone
    }
    standing = [name for name, age in ages.items() if 0 <= age <= _READ_UP_TO]
    if not standing:
        what = "these readings are" if row.readings else "this note is"
        rule = f"no hatch stood in cone {row.cone} at {row.at:%H:%M} on {row.date}, so {what} of none"
        raise _Unplaced("", "", rule, "Write the right time, or the grams of the hatch started then.")
    return known[min(standing, key=ages.__getitem__)]


def _standing(known: dict[str, dict], row: DayRow, started: dt.datetime, incubation: dt.timedelta) -> dict | None:
    """Find the hatch in a row's cone that was started nearest to a time, within half an incubation of it."""
    mine = [hatch for hatch in known.values() if hatch["cone"] == row.cone]
    if not mine:
        return None
    away = [abs((dt.datetime.fromisoformat(hatch["started"]) - started).total_seconds()) for hatch in mine]
    nearest = min(range(len(mine)), key=away.__getitem__)
    return mine[nearest] if away[nearest] < _HALF * incubation.total_seconds() else None


def _differences(row: DayRow, hatch: dict) -> dict:
    """Return what a row says of a hatch that the log has otherwise: its mass, or a lot written in the row itself."""
    differs = {}
    if row.grams is not None and float(hatch["cysts_g"]) != row.grams:
        differs["cysts_g"] = row.grams
    if row.writes_lot and row.lot != hatch["lot"]:
        differs["lot"] = row.lot
    return differs


def _new_hatch(row: DayRow, started: dt.datetime, known: dict[str, dict], settings: Settings, gone: set[str]) -> dict:
    """Make the row of a hatch that the log does not have."""
    if row.grams is None:
        rule = f"no hatch of cone {row.cone} is in the log for {row.date}, and the row has no grams"
        is_known = row.cone in settings.protocol.cone_names
        raise _Unplaced("", "", rule, "Write them." if is_known else "Write them; or delete the row if it is a total.")
    lot = row.lot or _lot_in_use(known, started)
    if not lot:
        raise _Unplaced("lot", "", "is not written, and no lot is in use yet", "Write the lot once, in a column lot.")
    by = settings.protocol.only_person if row.is_counted else row.who  # who counts it need not have started it
    sitting = records.Sitting(settings, by)
    made = records.start_row(sitting, lot=lot, cone=row.cone, grams=row.grams, started=started, taken=[*known, *gone])
    return made.frames["hatches"].iloc[0].to_dict() | {"notes": None}


def _lot_in_use(known: dict[str, dict], started: dt.datetime) -> str:
    """Return the lot of the last production hatch before a time."""
    frame = pd.DataFrame(known.values())
    if frame.empty:
        return ""
    before = frame[(frame["purpose"] == "production") & (to_utc(frame["started"]) <= started)]
    if before.empty:
        return ""
    return str(before.loc[to_utc(before["started"]).idxmax(), "lot"])
