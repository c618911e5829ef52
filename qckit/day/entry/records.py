"""Rows of the log from the few numbers a day gives: everything else comes from the site's protocol.

Nothing is written here; :mod:`qckit.day.entry.writing` writes an :class:`Entry` by the same rules and in the same one
step as a sheet.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import chain, product
from string import ascii_lowercase
from typing import TYPE_CHECKING

import pandas as pd

from qckit.columns import listed_in
from qckit.errors import InputError
from qckit.quantities import QUANTITIES, WATER
from qckit.stages import COUNT_LETTERS
from qckit.words import cone_names, day, figures, joined, number, plural

if TYPE_CHECKING:
    from qckit.settings import Settings

__all__ = [
    "UNITS",
    "Entry",
    "LotTest",
    "NewLot",
    "Sitting",
    "count_rows",
    "feed_row",
    "hatch_name",
    "iso_time",
    "lot_row",
    "lot_test_rows",
    "millions",
    "note_row",
    "reading_rows",
    "sample_names",
    "start_row",
    "start_rows",
]

UNITS = {name: QUANTITIES[name].written_unit for name in WATER}
"""Quantity of a reading -> the unit it is typed in."""


@dataclass(frozen=True)
class Entry:
    """One thing done at the bench: its rows by table, and the sentence that shows it back.

    Examples
    --------
    >>> day.Entry("start", "Cone A started.").frames
    {}
    """

    kind: str  # start, count, readings, harvest, feed, lot test, lot, note
    sentence: str
    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    hatch: str = ""


@dataclass(frozen=True)
class Sitting:
    """What an entry is made with: the site's settings, the initials of who types, and the date on which it is typed
    (None: not known), so that the time of another day is shown with its date."""

    settings: Settings
    by: str = ""
    today: dt.date | None = None

    def clock(self, when: dt.datetime) -> str:
        """Write a time as ``at 09:30``, with its date where that is not today's."""
        on = "" if when.date() == self.today else f" on {day(when, self.settings.site.date_order)}"
        return f"at {when:%H:%M}{on}"


def hatch_name(cone: str, started: dt.datetime, taken: Iterable[str] = ()) -> str:
    """Name a hatch by the day and the cone, ``H261105-A``; a second one that day gets ``H261105-Ab``.

    Parameters
    ----------
    cone : str
    started : datetime
        In the site's zone.
    taken : iterable of str
        Names in use, those of withdrawn rows too: a name is never given twice.
    """
    return _not_taken(f"H{started:%y%m%d}-{cone}", taken)


def _not_taken(base: str, taken: Iterable[str]) -> str:
    """The name itself, or with the first letters behind it that make it a new one."""
    taken = set(taken)
    further = (f"{base}{letter}" for n in (1, 2) for letter in map("".join, product(ascii_lowercase[1:], repeat=n)))
    return next(name for name in chain([base], further) if name not in taken)


def sample_names(hatch: str, n: int, taken: Iterable[str] = (), letter: str = "") -> list[str]:
    """Name the next ``n`` samples of a hatch: ``H261105-A-1``; those of a harvest carry the letter ``V``."""
    taken, names, number = set(taken), [], 1
    while len(names) < n:
        name = f"{hatch}-{letter}{number}"
        if name not in taken:
            names.append(name)
        number += 1
    return names


def start_row(
    sitting: Sitting,
    *,
    lot: str,
    cone: str,
    grams: float,
    started: dt.datetime,
    taken: Iterable[str] = (),
    purpose: str = "production",
) -> Entry:
    """Make the row of a hatch that is started.

    Parameters
    ----------
    sitting : Sitting
    lot, cone : str
    grams : float
        Cysts as weighed. [g]
    started : datetime
        Time of wetting, with offset.
    taken : iterable of str
        Names of hatches in use.
    purpose : str
        As in the hatches table.
    """
    name = hatch_name(cone, started, taken)
    row = {
        "hatch": name,
        "lot": lot,
        "purpose": purpose,
        "cone": cone,
        "started": iso_time(started),
        "cysts_g": float(grams),
        "volume_ml": sitting.settings.feed.cone_volume_l * 1000.0,
        "decapsulated": sitting.settings.protocol.decapsulated == "yes",
        "operator": sitting.by or None,
    }
    sentence = f"Started {name}: {grams:g} g of {lot} in {cone} {sitting.clock(started)}."
    return Entry("start", sentence, {"hatches": pd.DataFrame([row])}, name)


def start_rows(sitting: Sitting, *, cones: Sequence[str], taken: Iterable[str] = (), **alike) -> Entry:
    """Make the rows of hatches that are started alike in several cones; ``alike`` as for :func:`start_row`."""
    entries, names = [], set(taken)
    for cone in cones:
        entries.append(start_row(sitting, cone=cone, taken=names, **alike))
        names.add(entries[-1].hatch)
    if len(entries) == 1:
        return entries[0]
    grams, lot = alike["grams"], alike["lot"]
    sentence = (
        f"Started {grams:g} g of {lot} each in {cone_names(cones)} {sitting.clock(alike['started'])}: "
        f"{joined(entry.hatch for entry in entries)}."
    )
    frame = pd.concat([entry.frames["hatches"] for entry in entries], ignore_index=True)
    return Entry("start", sentence, {"hatches": frame})


@dataclass(frozen=True)
class LotTest:
    """A standard test as it is started: ``cones`` (cone -> lot) hold the lot tested and any lot beside it, ``grams``
    of cysts each in ``volume_ml`` of water."""

    lot: str
    cones: dict[str, str]
    grams: float
    volume_ml: float


def lot_test_rows(sitting: Sitting, test: LotTest, *, started: dt.datetime, taken: Iterable[str] = ()) -> Entry:
    """Make the rows of a standard test: a hatch for each cone, those of other lots as its reference.

    Parameters
    ----------
    sitting : Sitting
    test : LotTest
    started : datetime
        Time of wetting, with offset.
    taken : iterable of str
        Names of hatches in use.
    """
    if test.lot not in test.cones.values():
        raise InputError(f"lot {test.lot}: no cone is named for it. Name at least one; three tell more.")
    frames, names = [], set(taken)
    for cone, lot in test.cones.items():
        made = start_row(
            sitting,
            lot=lot,
            cone=cone,
            grams=test.grams,
            started=started,
            taken=names,
            purpose="standard test" if lot == test.lot else "reference",
        )
        row = made.frames["hatches"].assign(volume_ml=float(test.volume_ml))
        if sitting.settings.protocol.decapsulated == "yes":
            row["decapsulated"] = None  # the protocol speaks of the day's hatches; a test may go without
        frames.append(row)
        names.add(made.hatch)
    parts = [
        f"{lot} in {joined(cone for cone, lot_in_cone in test.cones.items() if lot_in_cone == lot)}"
        for lot in dict.fromkeys([test.lot, *test.cones.values()])
    ]
    sentence = (
        f"Standard test started {sitting.clock(started)}: {'; beside it '.join(parts)}; {test.grams:g} g in "
        f"{test.volume_ml:g} ml each."
    )
    return Entry("lot test", sentence, {"hatches": pd.concat(frames, ignore_index=True)})


def reading_rows(hatch: str, values: dict[str, float], *, taken: dt.datetime) -> Entry:
    """Make rows of water readings.

    Parameters
    ----------
    hatch : str
    values : dict of str to float
        Quantity (a key of :data:`UNITS`) -> value in that unit.
    taken : datetime
        With offset.
    """
    rows = [
        {"hatch": hatch, "taken": iso_time(taken), "quantity": name, "value": float(value), "unit": UNITS[name]}
        for name, value in values.items()
    ]
    if not rows:
        raise InputError(f"hatch {hatch}: no reading was given. Type at least one value.")
    shown = joined(f"{_quantity(n)} {v:g}{_unit(n)}" for n, v in values.items())
    return Entry("readings", f"{hatch}: {shown}.", {"readings": pd.DataFrame(rows)}, hatch)


def count_rows(
    sitting: Sitting,
    hatch: dict,
    counts: Sequence[Sequence[int | None]],
    *,
    taken: dt.datetime,
    names: Iterable[str] = (),
) -> Entry:
    """Make rows of counted subsamples.

    Parameters
    ----------
    sitting : Sitting
    hatch : mapping
        Its row of the hatches table.
    counts : sequence of sequences of int, shape (n_subsamples, n_stages)
        In the order of ``sitting.settings.protocol.counted_columns``; None where a stage was not counted.
    taken : datetime
        With offset.
    names : iterable of str
        Names of samples in use.
    """
    protocol = sitting.settings.protocol
    if not counts:
        raise InputError(f"hatch {hatch['hatch']}: nothing was counted. Type at least one subsample.")
    hours = (taken - dt.datetime.fromisoformat(hatch["started"])).total_seconds() / 3600
    rows = [
        {
            "sample": name,
            "hatch": hatch["hatch"],
            "taken": iso_time(taken),
            "hours": round(hours, 2),
            "kind": "subsample",
            "volume_ul": protocol.subsample_ul,
            "dilution": protocol.dilution,
            **dict(zip(protocol.counted_columns, values, strict=True)),
            "counted_by": "person",
            "counter": sitting.by or None,
        }
        for name, values in zip(sample_names(hatch["hatch"], len(counts), names), counts, strict=True)
    ]
    shown = "; ".join(_shown(protocol.counted_columns, values) for values in counts)
    sentence = f"{hatch['hatch']} ({hatch['cone']}), {plural(len(rows), 'subsample')}: {shown}."
    return Entry("count", sentence, {"samples": pd.DataFrame(rows)}, hatch["hatch"])


def feed_row(sitting: Sitting, hatch: str, nauplii: float, *, fed: dt.datetime, names: Iterable[str] = ()) -> Entry:
    """Make the row of a feed: when, from which hatch, how many nauplii; ``names`` are those of feeds in use."""
    if not nauplii > 0:
        raise InputError(f"hatch {hatch}: {nauplii:g} nauplii were fed and it must be above 0.")
    row = {
        "feed": _not_taken(f"F{fed:%y%m%d-%H%M%S}-{hatch}", names),  # two tanks may be fed at one time
        "fed": iso_time(fed),
        "hatch": hatch,
        "nauplii": float(nauplii),
    }
    sentence = f"Fed {millions(nauplii)} nauplii of {hatch} {sitting.clock(fed)}."
    return Entry("feed", sentence, {"feeds": pd.DataFrame([row])})


def note_row(hatch: dict, text: str) -> Entry:
    """Make the row of a hatch with a note more: behind what stands there, with a semicolon between.

    Parameters
    ----------
    hatch : mapping
        Its row of the hatches table.
    text : str
    """
    before, text = listed_in(hatch.get("notes")), text.strip()
    new = [part for part in listed_in(text) if part not in before]
    if not listed_in(text):
        raise InputError(f"hatch {hatch['hatch']}: the note is empty. Type it.")
    row = hatch | {"notes": "; ".join([*before, *new])}
    return Entry("note", f"Noted for {hatch['hatch']}: {text}.", {"hatches": pd.DataFrame([row])}, hatch["hatch"])


@dataclass(frozen=True)
class NewLot:
    """A lot as its label has it: the name, the days it came, was opened and is best before (ISO text, as far as is
    known), the claimed hatching percentage [%] and nauplii per gram [1/g], the grams in its pack and the pack's price
    in the site's currency; None where nothing is claimed or known."""

    lot: str
    received: str = ""
    opened: str = ""
    best_before: str = ""
    claimed_hatch_pct: float | None = None
    claimed_nauplii_per_g: float | None = None
    pack_g: float | None = None
    price: float | None = None


def lot_row(sitting: Sitting, new: NewLot) -> Entry:
    """Make the row of a lot that came."""
    if not new.lot:
        raise InputError("The lot has no name. Type the one on its label.")
    site = sitting.settings.site
    row = {
        "lot": new.lot,
        "received": new.received or None,
        "opened": new.opened or None,
        "best_before": new.best_before or None,
        "claimed_hatch_pct": new.claimed_hatch_pct,
        "claimed_nauplii_per_g": new.claimed_nauplii_per_g,
        "pack_g": new.pack_g,
        "price": new.price,
        "currency": None if new.price is None else site.currency,
    }
    claims = [
        f"{new.claimed_hatch_pct:g} %" if new.claimed_hatch_pct is not None else "",
        f"{number(new.claimed_nauplii_per_g)} nauplii a gram" if new.claimed_nauplii_per_g is not None else "",
    ]
    claimed = joined(filter(None, claims))
    parts = [
        "" if new.opened else "not opened yet",
        f"best before {_known_date(new.best_before, site.date_order)}" if new.best_before else "",
        f"a pack of {new.pack_g:g} g" if new.pack_g is not None else "",
        f"{new.price:g} {site.currency} a pack" if new.price is not None else "",
    ]
    sentence = (
        f"Lot {', '.join([new.lot, *filter(None, parts)])}: its label claims {claimed if claimed else 'nothing'}."
    )
    return Entry("lot", sentence, {"lots": pd.DataFrame([row])})


def _known_date(text: str, order: str) -> str:
    """Write a date in the site's order; a month or a year alone stays as it is."""
    return day(text, order) if len(text) == 10 else text


def millions(nauplii: float) -> str:
    """Write a number of nauplii as people say it: ``4.2 M``, ``830 000``, ``5600``."""
    if nauplii >= 995_000:
        return f"{nauplii / 1e6:.1f} M"
    return number(round(nauplii, -3)) if nauplii >= 10_000 else figures(nauplii)


def iso_time(when: dt.datetime) -> str:
    """Return a time with its offset as ISO 8601, whole seconds."""
    if when.tzinfo is None:
        raise InputError(f"{when}: a time without offset. Give the site's own time zone with it.")
    return when.replace(microsecond=0).isoformat()


def _shown(columns: Sequence[str], values: Sequence[int | None]) -> str:
    return " ".join(f"{COUNT_LETTERS[c]} {v}" for c, v in zip(columns, values, strict=True) if v is not None)


def _quantity(name: str) -> str:
    return "pH" if name == "ph" else name


def _unit(name: str) -> str:
    return "" if name == "ph" else f" {UNITS[name]}"
