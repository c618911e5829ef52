"""Hatch rooms that differ: one poor hatch each, with mechanisms, spreads, meters and words of its own.

``cases`` plants causes in one well-known room; here every room draws its constants anew (``mechanisms.draw_room``), and
so are its lots, how its water moves from day to day, how well it counts, how often a reading is missing and whether a
cause is noted. A verdict that is right only in one world shows here. All numbers are invented; ranges without a source
are ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from qckit.practice.cases import PracticeCase
from qckit.practice.mechanisms import LotTraits, Room, draw_room
from qckit.practice.room_book import RoomBook
from qckit.practice.situations import SHARED, Situation, add_cause, situation_shares

__all__ = ["PracticeRoom", "draw_practice_room", "simulate_in_room"]


@dataclass(frozen=True)
class PracticeRoom:
    """One room's constants."""

    room: Room
    volume_ml: float
    g_per_l: float
    hours: float
    n_subsamples: int
    subsample_ul: float
    luck_sd: float  # between hatches: dead share (logit), umbrellas (log), amount (log)
    arrest_sd: float
    amount_sd: float
    heavy: bool  # tails
    luck_by_day: float  # share of the luck's variance that a day's hatches have in common
    standing: dict  # factor -> spread of its levels, for good, as a share of the luck's
    mixing_cv: float
    water: dict  # column -> (mean, sd between hatches)
    day_share: float
    day_to_day: float
    noise: dict  # column -> meter's
    read: dict  # quantity -> how often it is read
    late: float  # how often there is a reading late in the hatch
    detects: dict  # stage -> share counted
    cyst_as_shell: float
    shell_as_cyst: float
    sinks: float  # how full cysts sink and shells float in a cone at rest
    notes: float  # how often a cause is noted
    idle: float  # how often a note says nothing
    by_person: bool
    second_reading: float


def draw_practice_room(rng) -> PracticeRoom:
    """Draw a room."""
    u = rng.uniform
    means = {
        "temperature_c": (u(26.5, 28.8), u(0.2, 0.8)),
        "salinity_ppt": (u(28, 35), u(0.3, 1.5)),
        "ph": (u(8.05, 8.35), u(0.03, 0.1)),
        "oxygen_mg_l": (u(5.8, 6.8), u(0.12, 0.4)),
        "light_lux": (u(1500, 3500), u(80, 400)),
    }
    return PracticeRoom(
        room=draw_room(rng),
        volume_ml=float(rng.choice([1000, 2000, 5000, 10_000, 20_000])),
        g_per_l=u(1.4, 2.2),
        hours=float(rng.choice([22.0, 24.0, 26.0, 28.0])),
        n_subsamples=int(rng.integers(2, 6)),
        subsample_ul=float(rng.choice([100, 200, 250])),
        luck_sd=u(0.06, 0.28),
        arrest_sd=u(0.15, 0.5),
        amount_sd=u(0.025, 0.09),
        heavy=bool(rng.random() < 0.3),
        luck_by_day=u(0.0, 0.4),
        standing={"cone": u(0.0, 0.7), "operator": u(0.0, 0.5)},
        mixing_cv=u(0.03, 0.13),
        water=means,
        day_share=u(0.2, 0.8),
        day_to_day=u(0.0, 0.7),
        noise={
            "temperature_c": u(0.1, 0.4),
            "salinity_ppt": u(0.2, 0.8),
            "ph": u(0.02, 0.06),
            "oxygen_mg_l": u(0.1, 0.3),
            "light_lux": u(20, 150),
        },
        read={
            "temperature": u(0.8, 1),
            "salinity": u(0.5, 1),
            "ph": u(0.4, 1),
            "oxygen": u(0.4, 1),
            "light": u(0.0, 1),
        },
        late=u(0.2, 0.9),
        detects={"nauplius": u(0.88, 1.0), "umbrella": u(0.8, 1.0), "cyst": u(0.9, 1.0), "shell": u(0.6, 1.0)},
        cyst_as_shell=u(0.0, 0.05),
        shell_as_cyst=u(0.0, 0.04),
        sinks=u(0.3, 1.2),
        notes=u(0.2, 0.9),
        idle=u(0.02, 0.25),
        by_person=bool(rng.random() < 0.2),
        second_reading=u(0.0, 0.6),
    )


def _draw_lot(rng) -> LotTraits:
    return LotTraits(
        full_per_g=float(rng.uniform(220_000, 300_000)),
        dead_frac=float(rng.uniform(0.06, 0.22)),
        dormant_frac=float(rng.uniform(0.0, 0.04)),
        break_t50_h=float(rng.uniform(13.0, 16.0)),
        break_spread=float(rng.uniform(0.09, 0.18)),
        umbrella_h=float(rng.uniform(1.0, 3.0)),
        arrest_frac=float(rng.uniform(0.008, 0.05)),
        shells_per_opened=float(rng.uniform(0.75, 1.0)),
        old_shells_frac=float(rng.uniform(0.0, 0.08)),
        instar_i_um=float(rng.uniform(430, 515)),
    )


def simulate_in_room(rng, causes=(), drops=(), *, is_logged=True, days: int = 30) -> PracticeCase:
    """Simulate a room of its own with one hatch, X, to explain.

    Parameters
    ----------
    rng : Generator
    causes : sequence of str
        Out of ``cases.PLANTED``; none for the lowest hatch of the last days by chance alone.
    drops : sequence of float
        Share of the nauplii per gram (as recorded) that each cause alone costs, 0 to 1.
    is_logged : bool
        Whether the record can betray the causes.
    days : int
        Days of hatches before.

    Returns
    -------
    PracticeCase
    """
    site = draw_practice_room(rng)
    book = RoomBook(site, rng)
    of_lot = [c for c in causes if SHARED.get(c, ("",))[0] == "lot"]
    lot, before = _draw_lot(rng), _draw_lot(rng)
    strengths = [_strength(c, d, lot, site) for c, d in zip(causes, drops, strict=True)]
    lot_part = [(c, s) for c, s in zip(causes, strengths, strict=True) if c in of_lot]
    cone_part = [(c, s) for c, s in zip(causes, strengths, strict=True) if c not in of_lot]
    new_since = days - int(rng.integers(2, 9)) if of_lot or rng.random() < 0.25 else 0
    book.lots(lot, before if new_since else None, of_lot, is_logged)
    start = datetime(2026, 3, 1, 9, tzinfo=UTC)
    for day in range(days):
        book.next_day()
        which = (lot, "P-2", lot_part) if day >= new_since else (before, "P-1", [])
        for cone in "ABCD"[: int(rng.integers(1, 4))]:
            book.hatch(f"B{day}{cone}", cone, start + timedelta(days=day, minutes=8 * ord(cone) % 60), *which)
    book.next_day()
    last = start + timedelta(days=days)
    shared = [(c, s) for c, s in cone_part if c in SHARED and rng.random() < SHARED[c][1]]
    book.hatch(
        "X", "A", last, lot=lot, lot_name="P-2", causes=[*lot_part, *cone_part], is_target=True, is_logged=is_logged
    )
    for i in range(int(rng.integers(0, 3))):
        book.hatch(
            f"Y{i}",
            "BC"[i],
            last + timedelta(minutes=9 * i + 9),
            lot=lot,
            lot_name="P-2",
            causes=[*lot_part, *shared],
            is_logged=is_logged,
        )
    name = "X" if causes else book.lowest("P-2")
    loss = 1.0 - float(np.prod([1 - d for d in drops])) if causes else 0.0
    return PracticeCase(
        book.tables(),
        hatch=name,
        causes=tuple(causes),
        strengths=tuple(strengths),
        is_logged=is_logged,
        lot=lot,
        loss=loss,
    )


def _recorded(cause, s, lot, site) -> float:
    """Nauplii recorded per gram in a plain hatch of the room with one cause of strength ``s``."""
    water = {column: mean for column, (mean, _) in site.water.items()}
    base = Situation({"hours": site.hours, "cysts_g_per_l": site.g_per_l} | water, mixing_cv=site.mixing_cv)
    there = add_cause(base, cause, s) if cause else base
    shares, factor = situation_shares(lot, there, site.room)
    return float(shares["nauplius"]) * factor * (1 - there.counting.get("missed", 0.0)) * (1 - there.lit_away)


def _strength(cause, drop, lot, site) -> float:
    """Strength at which a cause alone costs ``drop`` of the recorded nauplii per gram, as near as it goes."""
    if cause in ("uneven", "swapped"):
        return drop
    plain = _recorded("", 0.0, lot, site)
    low, high = -0.4, 1.3
    for _ in range(14):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if 1 - _recorded(cause, middle, lot, site) / plain < drop else (low, middle)
    return 0.5 * (low + high)
