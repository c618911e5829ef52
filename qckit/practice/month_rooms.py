"""Hatch rooms drawn from wide priors, each with constants of its own: for checking the review of a month.

What the kit assumes about a room may not be what a room is like. So every room here draws how much its water moves with
the day, how long it remembers, how its cones, people and lots differ for good, how heavy its tails are, how well it
counts and whether its temperature follows the season; and, if asked, one change with a date. Ranges are ours (no
source) and deliberately wide; the working range of the water is that of ``mechanisms`` and its sources.
"""

# ruff: noqa: C408 - rows of a table read better as keywords
from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from qckit.log_odds import expit, logit
from qckit.practice.room_water import READ, remembering_days
from qckit.tables import check_table, table_columns

__all__ = ["CHANGES", "Room", "RoomChange", "draw_room", "draw_room_constants", "plan_change"]

CONES = ("A", "B", "C", "D")
_FIRST = date(2025, 3, 3)
_STANDARD = {"temperature_c": 28.0, "salinity_ppt": 32.0, "ph": 8.25, "oxygen_mg_l": 6.4, "light_lux": 2200.0}
_SPREAD = {"temperature_c": 0.45, "salinity_ppt": 0.9, "ph": 0.07, "oxygen_mg_l": 0.35, "light_lux": 170.0}
CHANGES = ("heater", "salinity", "air of a cone", "acid creeping", "ageing lot", "new person", "camera", "worse lot")
"""Kinds of change that a room can be given."""


@dataclass(frozen=True, kw_only=True)
class RoomChange:
    """One planted change: who is touched, from when to when, and how many points of the hatching percentage it costs.

    ``grows`` changes begin at nothing and reach twice ``points`` at their end.
    """

    kind: str
    first: date
    last: date
    points: float
    factor: str = ""
    level: str = ""
    quantity: str = ""  # the water that moves with it
    move: float = 0.0  # by how much
    grows: bool = False

    def share(self, day: date) -> float:
        """How much of the change holds on a day."""
        if not self.first <= day <= self.last:
            return 0.0
        return 2.0 * (day - self.first).days / max(1, (self.last - self.first).days) if self.grows else 1.0


@dataclass(frozen=True, kw_only=True)
class Room:
    """Constants of one room; spreads of hatches are on the logit scale."""

    days: int
    hatches_a_day: float
    levels: dict  # lot -> hatching percentage
    claims: dict  # lot -> claimed percentage, or None
    lot_days: dict  # lot -> (first, last) day number
    cones: dict  # cone -> offset
    people: dict  # operator -> offset
    counted_by_hand: float  # share of hatches
    photo_offset: float
    residual: float
    residual_tail_df: float
    day: float
    day_to_day: float
    water_day_share: dict
    water_day_to_day: dict
    cone_water_share: float  # of the water's variance
    season_c: float
    missing: float  # share of readings
    counted: tuple  # full cysts a subsample, subsamples
    overdispersion: float
    change: RoomChange | None = None
    seed: int = 0
    truth: dict = field(default_factory=dict)


def draw_room_constants(rng, *, days=210) -> Room:
    """Draw a room.

    Parameters
    ----------
    rng : Generator
    days : int
        Length of its records.

    Returns
    -------
    Room
        Shares shared by the day 0.1 to 0.85, correlations from day to day 0 to 0.75, cones and people 0 to 0.12 apart
        (logit), own luck 0.05 to 0.2 with tails of 4 degrees of freedom to none, lots 60 to 92 %.
    """
    n_lots = max(2, round(days / rng.uniform(55, 90)))
    gap = rng.uniform(2, 15)  # how much better sellers here count
    middle = rng.uniform(68, 85)
    levels, claims, lot_days = {}, {}, {}
    edges = np.linspace(0, days, n_lots + 1).round().astype(int)
    overlap = int(rng.integers(0, 6))
    for k in range(n_lots):
        lot = f"R-{101 + k}"
        levels[lot] = float(np.clip(middle + rng.normal(0, 4.5), 60, 92))
        claim = float(np.clip(round(levels[lot] + gap + rng.normal(0, 2.5)), 50, 99))
        claims[lot] = claim if rng.random() > 0.1 else None
        lot_days[lot] = (int(edges[k]), int(min(days, edges[k + 1] + overlap)))
    tails = float(rng.choice([4.0, 6.0, 10.0, 1e6], p=[0.15, 0.2, 0.25, 0.4]))
    people = {f"op{i + 1}": float(rng.normal(0, rng.uniform(0, 0.1))) for i in range(int(rng.integers(2, 5)))}
    return Room(
        days=days,
        hatches_a_day=float(rng.uniform(1.2, 3.0)),
        levels=levels,
        claims=claims,
        lot_days=lot_days,
        cones={c: float(rng.normal(0, rng.uniform(0, 0.12))) for c in CONES},
        people=people,
        counted_by_hand=float(rng.choice([0.0, 0.05, 0.15, 1.0], p=[0.4, 0.2, 0.3, 0.1])),
        photo_offset=float(rng.normal(0, 0.08)),
        residual=float(np.exp(rng.uniform(np.log(0.05), np.log(0.2)))),
        residual_tail_df=tails,
        day=float(rng.uniform(0.0, 0.1)),
        day_to_day=float(rng.uniform(0.0, 0.7)),
        water_day_share={q: float(rng.uniform(0.1, 0.85)) for q in _STANDARD},
        water_day_to_day={q: float(rng.uniform(0.0, 0.75)) for q in _STANDARD},
        cone_water_share=float(rng.uniform(0.0, 0.3)),
        season_c=float(rng.choice([0.0, 0.0, rng.uniform(0.1, 0.6)])),
        missing=float(rng.uniform(0.02, 0.3)),
        counted=(float(rng.uniform(25, 160)), int(rng.integers(2, 5))),
        overdispersion=float(rng.uniform(1.0, 1.8)),
        seed=int(rng.integers(2**31)),
    )


def plan_change(room: Room, kind: str, rng, *, points: float | None = None) -> Room:
    """Give a room one change.

    Parameters
    ----------
    room : Room
    kind : str
        One of :data:`CHANGES`.
    rng : Generator
    points : float, optional
        Mean points of the hatching percentage lost by the hatches touched; drawn from 6 to 20 when left out.

    Returns
    -------
    Room
        With ``change`` set and, for a new person or a worse lot, with the person or the level in it.
    """
    points = float(rng.uniform(6, 20)) if points is None else points
    start = int(rng.integers(75, room.days - 45))
    span = {"heater": int(rng.integers(6, 15)), "salinity": int(rng.integers(15, 45))}.get(kind, room.days - start)
    first, last = _day(start), _day(min(start + span, room.days))
    how = dict(kind=kind, first=first, last=last, points=points)
    if kind == "heater":
        how |= dict(quantity="temperature_c", move=-float(rng.uniform(2.0, 4.5)))
    elif kind == "salinity":
        how |= dict(quantity="salinity_ppt", move=float(rng.uniform(8, 25)))
    elif kind == "air of a cone":
        how |= dict(
            factor="cone", level=str(rng.choice(CONES)), quantity="oxygen_mg_l", move=-float(rng.uniform(1.5, 3))
        )
    elif kind == "acid creeping":
        how |= dict(
            quantity="ph", move=-float(rng.uniform(0.2, 0.5)), grows=True, last=_day(min(start + 60, room.days))
        )
    elif kind == "ageing lot":
        lot = next(name for name, (a, b) in room.lot_days.items() if a <= start < b)
        end = room.lot_days[lot][1]
        how |= dict(
            factor="lot", level=lot, grows=True, last=_day(end), first=_day(max(end - 55, room.lot_days[lot][0]))
        )
    elif kind == "new person":
        replaced = str(rng.choice(list(room.people)))
        how |= dict(factor="operator", level="new", quantity=replaced)
    elif kind == "camera":
        how |= dict(factor="counted_by", level="photo")
    else:
        lot = list(room.lot_days)[-1]
        how |= dict(factor="lot", level=lot, first=_day(room.lot_days[lot][0]), last=_day(room.days))
    return replace(room, change=RoomChange(**how), counted_by_hand=min(room.counted_by_hand, 0.15))


def _day(n: int) -> date:
    return _FIRST + timedelta(days=n)


def _number(day: date) -> int:
    return (day - _FIRST).days


def draw_room(room: Room) -> dict:
    """Draw the records of a room.

    Returns
    -------
    dict of str to DataFrame
        ``lots``, ``hatches``, ``readings``, ``samples`` as :func:`qckit.tables.check_table` returns them.
    """
    import pandas as pd

    rng = np.random.default_rng(room.seed)
    rows = {"lots": _lot_rows(room), "hatches": [], "readings": [], "samples": []}
    water = _Water(room, rng)
    luck = remembering_days(rng, room.days + 1, room.day_to_day) * room.day
    for n in range(room.days):
        day, count = _day(n), int(np.clip(rng.poisson(room.hatches_a_day), 0, 4))
        for cone in rng.permutation(CONES)[:count]:
            _hatch(room, rng, rows, n=n, day=day, cone=str(cone), water=water, day_luck=luck[n])
    return {
        table: check_table(pd.DataFrame(sheet).reindex(columns=table_columns(table)), table)
        for table, sheet in rows.items()
    }


def _lot_rows(room):
    return [
        dict(
            lot=lot,
            origin="invented",
            opened=_day(a).isoformat(),
            claimed_hatch_pct=room.claims[lot],
            pack_g=500,
            price=60.0,
            currency="EUR",
            notes="invented",
        )
        for lot, (a, _) in room.lot_days.items()
    ]


class _Water:
    """The water of a room, day by day."""

    def __init__(self, room, rng):
        self.room, self.rng = room, rng
        self.level = {q: _STANDARD[q] + rng.normal(0, 0.5) * _SPREAD[q] for q in _STANDARD}
        self.days = {q: remembering_days(rng, room.days + 1, room.water_day_to_day[q]) for q in _STANDARD}
        self.cones = {(q, c): rng.normal() * np.sqrt(room.cone_water_share) for q in _STANDARD for c in CONES}
        self.phase = rng.uniform(0, 2 * np.pi)
        self.size = {q: _SPREAD[q] * float(np.exp(rng.normal(0, 0.3))) for q in _STANDARD}

    def of(self, n, cone):
        room, out = self.room, {}
        for q in _STANDARD:
            share = room.water_day_share[q]
            move = np.sqrt(share) * self.days[q][n] + np.sqrt(1 - share) * self.rng.normal() + self.cones[q, cone]
            out[q] = self.level[q] + self.size[q] * move
            if q == "light_lux":  # varies by factors: lamp, distance, shade
                out[q] = self.level[q] * np.exp(self.size[q] / self.level[q] * move)
        out["temperature_c"] += room.season_c * np.cos(2 * np.pi * n / 365.25 + self.phase)
        return out


def _touched(change, day, cone, lot, operator, by):
    """How much of the change a hatch meets."""
    if change is None:
        return 0.0
    mine = {"cone": cone, "lot": lot, "operator": operator, "counted_by": by}.get(change.factor, "")
    return change.share(day) if mine == change.level else 0.0


def _hatch(room, rng, rows, n, day, cone, water, day_luck):
    """One hatch with its readings and its counts."""
    lots = [lot for lot, (a, b) in room.lot_days.items() if a <= n < b]
    lot = str(rng.choice(lots))
    operator = str(rng.choice(list(room.people)))
    change = room.change
    if change is not None and change.kind == "new person" and day >= change.first and operator == change.quantity:
        operator = "new"
    by = "person" if rng.random() < room.counted_by_hand else "photo"
    share = _touched(change, day=day, cone=cone, lot=lot, operator=operator, by=by)
    tail = rng.standard_t(room.residual_tail_df) / np.sqrt(room.residual_tail_df / (room.residual_tail_df - 2))
    x = logit(room.levels[lot] / 100) + room.cones[cone] + room.people.get(operator, 0.0)
    x += day_luck + room.residual * tail + (room.photo_offset if by == "photo" else 0.0)
    p = expit(x)
    p = float(np.clip(p - share * (change.points if change else 0) / 100, 0.03, 0.985))
    sheet_water = water.of(n, cone)
    if change is not None and change.quantity in sheet_water:
        sheet_water[change.quantity] += share * change.move
    name = f"H{day:%y%m%d}-{cone}"
    started = datetime(day.year, day.month, day.day, 8, tzinfo=UTC) + timedelta(minutes=int(rng.integers(0, 150)))
    grams = round(float(rng.normal(30, 1)), 1)
    digits = {r.column: r.digits for r in READ}
    sheet = {q: round(float(v), digits[q]) if rng.random() > room.missing else None for q, v in sheet_water.items()}
    rows["hatches"].append(
        dict(
            hatch=name,
            lot=lot,
            purpose="production",
            cone=cone,
            started=started.isoformat(),
            cysts_g=grams,
            volume_ml=20_000,
            aeration="strong",
            decapsulated="no",
            operator=operator,
            notes="",
            **sheet,
        )
    )
    taken = (started + timedelta(minutes=30)).isoformat()
    for r in READ:
        if (value := sheet[r.column]) is not None:
            rows["readings"].append(dict(hatch=name, taken=taken, quantity=r.quantity, value=value, unit=r.unit))
    _counts(room, rng, rows, name=name, started=started, p=p, by=by)


def _counts(room, rng, rows, name, started, p, by):
    """Subsamples of one hatch, with more spread than chance alone gives."""
    mean, n_sub = room.counted
    for i in range(n_sub):
        full = max(8, int(rng.poisson(mean)))
        rho = (room.overdispersion - 1) / max(full - 1, 1)
        share = rng.beta(p * (1 / rho - 1), (1 - p) * (1 / rho - 1)) if rho > 1e-6 else p
        nauplii = int(rng.binomial(full, share))
        umbrella = int(rng.binomial(full - nauplii, 0.12))
        taken = started + timedelta(hours=24, minutes=2 * i)
        rows["samples"].append(
            dict(
                sample=f"{name}-{i + 1}",
                hatch=name,
                taken=taken.isoformat(),
                hours=24.0,
                kind="subsample",
                volume_ul=round(1000 * mean / 400, 0),
                dilution=1,
                nauplii=nauplii,
                umbrella=umbrella,
                cysts=full - nauplii - umbrella,
                shells=int(rng.poisson(0.85 * nauplii)),
                counted_by=by,
                counter="microscope" if by == "photo" else "op1",
                revision=0,
            )
        )
