"""An invented history of a hatch room, fourteen months long, from one seed.

"Ostrel Cove nursery" does not exist and no figure here was measured. The history is for the demo, for teaching and
for tests: what is planted in it, and when, is in ``qckit.practice.events``.
"""

# ruff: noqa: C408 - rows of a table read better as keywords
from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from qckit.practice.counting_error import draw_counts
from qckit.practice.events import EVENTS, FIRST_DAY, LAST_DAY
from qckit.practice.mechanisms import Conditions, LotTraits, expected_shares, ordinary_water, with_luck
from qckit.quantities import QUANTITIES
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table, table_columns

__all__ = ["SITE_NAME", "invented_history", "write_history"]

SITE_NAME = "Ostrel Cove nursery (invented)"
CONES = ("A", "B", "C", "D")
LOTS = (
    dict(
        lot="K-118",
        origin="salt lake strain",
        harvested="2024-09",
        received="2025-02-10",
        opened="2025-09-01",
        best_before="2027-02",
        claimed_hatch_pct=88,
        claimed_nauplii_per_g=255000,
        pack_g=500,
        price=62.0,
        currency="EUR",
        moisture_pct=4.5,
        dry_weight_ug=2.40,
        storage_c=4,
        notes="invented",
    ),
    dict(
        lot="K-121",
        origin="salt lake strain",
        harvested="2025-09",
        received="2026-01-19",
        opened="2026-03-02",
        best_before="2028-01",
        claimed_hatch_pct=85,
        claimed_nauplii_per_g=240000,
        pack_g=500,
        price=64.0,
        currency="EUR",
        moisture_pct=4.2,
        dry_weight_ug=2.42,
        storage_c=4,
        notes="invented; in use",
    ),
)
_OPENED = {"K-118": date(2025, 9, 1), "K-121": date(2026, 3, 2)}
_SUBSAMPLE_UL = 250.0
TIMED_H = (12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 28.0, 32.0)


def lot_traits(lot: str, day: date) -> LotTraits:
    """Return what a lot of the history is like on a day: K-118 ages, K-121 hardly."""
    months = max(0.0, (day - _OPENED[lot]).days / 30.44)
    if lot == "K-118":
        return LotTraits(
            full_per_g=288_000, dead_frac=0.085 + 0.0165 * months, dormant_frac=0.01, break_t50_h=14.5 + 0.09 * months
        )
    return LotTraits(full_per_g=278_000, dead_frac=0.105 + 0.0015 * months, dormant_frac=0.012)


class Diary:
    """Rows of the four tables as they come."""

    def __init__(self, rng, traits_of=None):
        self.rng = rng
        self.traits_of = traits_of or lot_traits
        self.rows = {"lots": list(LOTS), "hatches": [], "readings": [], "samples": []}

    def water(self, day: date, cone: str, lot: str) -> dict:
        """Draw the water of one hatch, with the planted events in it."""
        r = self.rng
        water = ordinary_water(r)
        happened = [item.name for item in EVENTS if item.holds(day, cone, lot)]
        if "heater week" in happened:
            water["temperature_c"] = 23.2 + r.normal(0, 0.4)
        if "salinity slip" in happened:
            water["salinity_ppt"] = 46.0 + r.normal(0, 1.0)
        if "cone C air" in happened:
            water["oxygen_mg_l"] = 4.0 + r.normal(0, 0.2)
        if "poor hatch" in happened:
            water["ph"] = 7.42
        return water

    def hatch(self, name, lot, purpose, cone, started, *, amounts, **written):
        """Add one hatch and return (its water, its lot's traits with this hatch's own luck, true full per ml).

        ``amounts`` are grams and millilitres, ``written`` what else stands on the sheet.
        """
        grams, volume_ml = amounts
        day = started.date()
        water = self.water(day, cone, lot)
        traits = self.traits_of(lot, day)
        luck = self.rng.normal(0, 0.14)
        dead = with_luck(traits.dead_frac, luck)
        traits = LotTraits(
            **{**traits.__dict__, "dead_frac": dead, "arrest_frac": 0.016 * np.exp(self.rng.normal(0, 0.35))}
        )
        self.rows["hatches"].append(
            dict(
                hatch=name,
                lot=lot,
                purpose=purpose,
                cone=cone,
                started=_iso(started),
                cysts_g=grams,
                volume_ml=volume_ml,
                temperature_c=round(water["temperature_c"], 1),
                salinity_ppt=round(water["salinity_ppt"], 1),
                ph=round(water["ph"] + self.rng.normal(0, 0.02), 2),
                oxygen_mg_l=round(water["oxygen_mg_l"], 1),
                light_lux=round(water["light_lux"], -1),
                aeration="weak" if water["oxygen_mg_l"] < 5 else "strong",
                decapsulated="no",
                **{"notes": "invented"} | written,
            )
        )
        per_ml = grams * traits.full_per_g / volume_ml * np.exp(self.rng.normal(0, 0.03))
        return water, traits, per_ml

    def readings(self, name, started, water, *, missing=0.06):
        """Add what was read in the cone: temperature three times, pH and oxygen twice, salinity and light once."""
        plan = (
            ("temperature", 0.2, 1, 0.15),
            ("temperature", 7.0, 1, 0.15),
            ("temperature", 23.5, 1, 0.15),
            ("ph", 7.0, 2, 0.03),
            ("ph", 23.5, 2, 0.03),
            ("oxygen", 7.0, 1, 0.12),
            ("oxygen", 23.5, 1, 0.12),
            ("salinity", 0.2, 1, 0.2),
            ("light", 0.2, -1, 40.0),
        )
        for quantity, hour, digits, noise in plan:
            unit = QUANTITIES[quantity].written_unit
            value = water[QUANTITIES[quantity].column] + self.rng.normal(0, noise)
            if self.rng.random() < missing:
                continue
            taken = started + timedelta(minutes=round(60 * hour + self.rng.integers(0, 20)))
            self.rows["readings"].append(
                dict(hatch=name, taken=_iso(taken), quantity=quantity, value=round(float(value), digits), unit=unit)
            )

    def subsamples(self, name, started, made, *, hour, counters, first=1):
        """Add subsamples counted at one hour: ``made`` as :meth:`hatch` returns it, (counted_by, counter) for each."""
        water, traits, per_ml = made
        shares = expected_shares(traits, Conditions(hours=hour, **water))
        for i, (counted_by, counter) in enumerate(counters):
            taken = started + timedelta(hours=hour, minutes=2 * i)
            counts = draw_counts(
                shares,
                per_ml,
                _SUBSAMPLE_UL,
                self.rng,
                misread={
                    "missed": 0.01 if counted_by == "photo" else 0.0,
                    "cyst_as_shell": 0.01,
                    "shell_as_cyst": 0.005,
                },
            )
            row = dict(
                sample=f"{name}-{first + i}",
                hatch=name,
                taken=_iso(taken),
                hours=hour,
                kind="subsample",
                volume_ul=_SUBSAMPLE_UL,
                dilution=1,
                counted_by=counted_by,
                counter=counter,
                revision=0,
            )
            row |= {STAGE_COLUMNS[stage]: int(counts[stage][0]) for stage in STAGES}
            if counted_by == "person" and counter == "op2":
                row["shells"] = None  # op2 never writes the shells down
            self.rows["samples"].append(row)
        return shares

    def sieve(self, name, started, shares, *, hour, counter):
        """Add a sieve sample of the harvest: most shells and cysts have been drawn off."""
        rng = self.rng
        size = rng.integers(350, 620) / max(float(shares["nauplius"]), 0.05)
        kept_shell, kept_cyst = np.exp(rng.normal(np.log(0.03), 0.35)), np.exp(rng.normal(np.log(0.10), 0.3))
        mean = {"nauplius": 1.0, "umbrella": 0.5, "cyst": kept_cyst, "shell": kept_shell}
        size = min(size, 900.0)
        row = {STAGE_COLUMNS[s]: int(rng.poisson(size * float(shares.get(s, 0.0)) * mean.get(s, 1.0))) for s in STAGES}
        taken = started + timedelta(hours=hour, minutes=35)
        self.rows["samples"].append(
            dict(
                sample=f"{name}-S",
                hatch=name,
                taken=_iso(taken),
                hours=hour + 0.5,
                kind="sieve",
                mass_g=round(float(rng.normal(0.05, 0.006)), 3),
                dilution=1,
                counted_by="photo",
                counter="phone",
                revision=0,
            )
            | row
        )


def _iso(time: datetime) -> str:
    return time.isoformat(timespec="seconds")


def at(day: date, hour: float) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(minutes=round(60 * hour))


def _counters(rng, day: date, n: int) -> list[tuple[str, str]]:
    """People count until the camera comes with K-121; from then on photos, now and then one by hand beside them."""
    person = ("person", f"op{rng.integers(1, 4)}")
    if day < _OPENED["K-121"]:
        return [person] * n
    rows = [("photo", "microscope")] * n
    if rng.random() < 0.15:
        rows[-1] = person
    return rows


def _standard_test(diary: Diary, lot: str, day: date) -> None:
    """A lot's test when it was opened: three cones, read at 24 and 48 h, cone A followed through the day."""
    for i, cone in enumerate(CONES[:3]):
        name, started = f"ST-{lot[2:]}-{cone}", at(day, 9.0 + i / 12)
        grams = round(1.6 + float(diary.rng.normal(0, 0.003)), 3)
        made = diary.hatch(name, lot, "standard test", cone, started, amounts=(grams, 800), operator="op1")
        diary.readings(name, started, made[0], missing=0.0)
        first = 1
        for hour in TIMED_H if cone == "A" else (24.0,):
            n = 4 if hour == 24.0 else 2
            diary.subsamples(name, started, made, hour=hour, counters=[("person", "op1")] * n, first=first)
            first += n
        diary.subsamples(name, started, made, hour=48.0, counters=[("person", "op1")] * 2, first=first)


def _timed(diary: Diary, lot: str, day: date) -> None:
    """Once a month a small hatch beside the production, followed by the clock."""
    name, started = f"T{day:%y%m%d}-D", at(day, 9.5)
    made = diary.hatch(
        name, lot, "investigation", "D", started, amounts=(1.6, 800), operator="op1", notes="invented; timed"
    )
    diary.readings(name, started, made[0], missing=0.0)
    for i, hour in enumerate(TIMED_H):
        diary.subsamples(name, started, made, hour=hour, counters=_counters(diary.rng, day, 2), first=2 * i + 1)


def _production(diary: Diary, lot: str, cone: str, day: date) -> None:
    """One hatch for the feed."""
    rng = diary.rng
    name, started = f"H{day:%y%m%d}-{cone}", at(day, 8.5 + CONES.index(cone) / 6 + rng.normal(0, 0.05))
    grams = round(float(rng.normal(32.0, 1.2)), 1)
    operator = "op3" if day == LAST_DAY else f"op{rng.choice([1, 1, 2, 3])}"
    notes = "invented"
    if (day, cone) == (LAST_DAY, "B"):
        notes = "invented; fresh water mixed from a new bag of salt"
    made = diary.hatch(name, lot, "production", cone, started, amounts=(grams, 20_000), operator=operator, notes=notes)
    poor = day == LAST_DAY
    diary.readings(name, started, made[0], missing=0.0 if poor else 0.06)
    n = 4 if poor else int(rng.integers(2, 5))
    counters = [("photo", "microscope")] * n if poor else _counters(rng, day, n)
    hour = 24.0 if poor else round(float(24.0 + rng.normal(0, 0.3)), 1)
    shares = diary.subsamples(name, started, made, hour=hour, counters=counters)
    if poor or rng.random() < 0.5:
        diary.sieve(name, started, shares, hour=hour, counter=operator)


def _day(diary: Diary, day: date, n_day: int) -> None:
    """Everything started on one day."""
    rng = diary.rng
    new = day >= _OPENED["K-121"]
    if day.day == 15:
        _timed(diary, "K-121" if new else "K-118", day)
    two = rng.random() < 0.5
    cones = [CONES[n_day % 4], CONES[(n_day + 1 + int(rng.integers(0, 3))) % 4]][: 1 + two]
    lots = ["K-121" if new else "K-118", "K-118" if rng.random() < 0.65 or not new else "K-121"]
    if day == date(2026, 11, 3):
        cones, lots = ["D"], ["K-121"]  # cones A to C stand in K-124's standard test
    if day == LAST_DAY:
        cones, lots = ["B", "D"], ["K-121", "K-121"]
    for cone, lot in zip(cones, lots, strict=False):
        _production(diary, lot, cone, day)


def invented_history(*, seed: int = 20261) -> dict:
    """Make the invented history of Ostrel Cove nursery.

    Parameters
    ----------
    seed : int
        The same seed gives the same history to the last digit.

    Returns
    -------
    dict of str to DataFrame
        ``lots``, ``hatches``, ``readings`` and ``samples``, each as :func:`qckit.tables.check_table` returns it.
        Lot K-124, its standard test and the photos of the demo are not in it.

    Examples
    --------
    >>> sorted(practice.invented_history())
    ['hatches', 'lots', 'readings', 'samples']
    """
    import pandas as pd

    diary = Diary(np.random.default_rng(seed))
    _standard_test(diary, "K-118", date(2025, 9, 3))
    n_day = 0
    day = FIRST_DAY
    while day <= LAST_DAY:
        if day == date(2026, 3, 3):
            _standard_test(diary, "K-121", day)
        _day(diary, day, n_day)
        day, n_day = day + timedelta(days=1), n_day + 1
    return {
        table: check_table(pd.DataFrame(rows).reindex(columns=table_columns(table)), table)
        for table, rows in diary.rows.items()
    }


def write_history(folder: str | Path, *, seed: int = 20261) -> list[Path]:
    """Write the invented history as field sheets, the way a technician would hand them in.

    Parameters
    ----------
    folder : path
        Made if missing; files of the same names are replaced.
    seed : int

    Returns
    -------
    list of Path
        ``lots.csv``, ``hatches.csv``, ``readings.csv``, ``samples.csv``, in the order to import them.

    Examples
    --------
    >>> sorted(path.name for path in practice.write_history("sheets"))
    ['hatches.csv', 'lots.csv', 'readings.csv', 'samples.csv']
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for table, frame in invented_history(seed=seed).items():
        path = folder / f"{table}.csv"
        frame = frame.assign(decapsulated="no") if table == "hatches" else frame
        frame.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")
        paths.append(path)
    return paths
