"""What is so in a practice hatch: its water, and what causes of a poor hatch make of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from qckit.practice.mechanisms import (
    ROOM,
    Conditions,
    LotTraits,
    Room,
    expected_shares,
    ordinary_water,
    with_luck,
)

__all__ = [
    "PLANTED",
    "READING_OF",
    "SHARED",
    "SHEET_WORDS",
    "Situation",
    "add_cause",
    "draw_situation",
    "situation_shares",
]


PLANTED = (
    "cold",
    "hot",
    "salt",
    "ph",
    "oxygen",
    "dark",
    "early",
    "overlong",
    "crowded",
    "unwetted",
    "broken",
    "embryos",
    "empty",
    "weighing",
    "volume",
    "missed",
    "swapped",
    "uneven",
    "gradient",
)
"""What can be planted. ``weighing`` and ``volume`` leave the same trace."""


SHARED = {
    "embryos": ("lot", 1.0),
    "empty": ("lot", 1.0),
    "cold": ("room", 0.5),
    "hot": ("room", 0.3),
    "salt": ("room", 0.5),
    "ph": ("room", 0.3),
    "dark": ("room", 0.4),
}
"""Cause -> among which other hatches of the day it is shared, and how often. The others belong to one cone."""


READING_OF = {
    "cold": "temperature",
    "hot": "temperature",
    "salt": "salinity",
    "ph": "ph",
    "oxygen": "oxygen",
    "dark": "light",
}
"""Cause -> the quantity of the water whose reading tells of it."""

SHEET_WORDS = {
    "unwetted": ("notes", "brown ring of cysts on the wall"),
    "broken": ("aeration", "very strong"),
    "oxygen": ("aeration", "weak"),
    "gradient": ("notes", "swarm of nauplii at the window side"),
}
"""Cause -> the column of the sheet and what it says there."""


@dataclass(frozen=True)
class Situation:
    """The truth about one hatch: water, lot, luck, and errors of weighing, measuring and counting."""

    conditions: dict = field(default_factory=dict)
    traits: dict = field(default_factory=dict)
    mass_factor: float = 1.0  # true over written
    volume_factor: float = 1.0
    mixing_cv: float = 0.06
    counting: dict = field(default_factory=dict)
    lit_away: float = 0.0  # share of the nauplii that light had drawn away from where the samples were taken
    lit_cv: float = 0.0


def add_cause(situation: Situation, cause: str, s: float) -> Situation:
    """Put one cause of strength ``s`` (0 to 1) into a situation."""
    c, t, k = dict(situation.conditions), dict(situation.traits), dict(situation.counting)
    mass, volume, mixing = situation.mass_factor, situation.volume_factor, situation.mixing_cv
    away, lit_cv = situation.lit_away, situation.lit_cv
    if cause == "cold":
        c["temperature_c"] = 25.5 - 6.0 * s
    elif cause == "hot":
        c["spell_c"], c["spell_h"] = 34.5 + 3.5 * s, 3.0 + 6.0 * s
    elif cause == "salt":
        c["salinity_ppt"] = 46.0 + 40.0 * s
    elif cause == "ph":
        c["ph"] = 7.85 - 0.6 * s
    elif cause == "oxygen":
        c["oxygen_mg_l"] = 4.1 - 2.4 * s
    elif cause == "dark":
        c["light_lux"] = 350.0 * (1 - s)
    elif cause == "early":
        c["hours"] = 20.5 - 7.0 * s
    elif cause == "overlong":
        c["hours"] = 36.0 + 34.0 * s
    elif cause == "crowded":
        c["cysts_g_per_l"] = 6.2 + 4.5 * s
    elif cause == "unwetted":
        c["unwetted_frac"] = 0.12 + 0.5 * s
    elif cause == "broken":
        c["broken_frac"] = 0.12 + 0.6 * s
    elif cause == "embryos":
        t["extra_dead"] = 0.10 + 0.6 * s
    elif cause == "empty":
        t["empty_frac"] = 0.12 + 0.5 * s
    elif cause == "weighing":
        mass *= 1 - (0.12 + 0.5 * s)
    elif cause == "volume":
        volume *= 1 - (0.12 + 0.5 * s)
    elif cause == "missed":
        k["missed"] = 0.12 + 0.6 * s
    elif cause == "swapped":
        k["shell_as_cyst"] = 0.12 + 0.6 * s
    elif cause == "uneven":
        mixing = 0.22 + 0.35 * s
    elif cause == "gradient":
        away, lit_cv = 0.12 + 0.6 * s, 0.3 + 0.4 * s
    return Situation(
        c, t, mass_factor=mass, volume_factor=volume, mixing_cv=mixing, counting=k, lit_away=away, lit_cv=lit_cv
    )


def draw_situation(causes, strengths, rng) -> Situation:
    """Draw a hatch's situation: ordinary water with its little changes, and the planted causes."""
    water = {"hours": 24.0} | ordinary_water(rng) | {"cysts_g_per_l": 1.6}
    luck = {"luck": rng.normal(0, 0.14), "arrest": rng.normal(0, 0.35), "amount": rng.normal(0, 0.03)}
    situation = Situation(conditions=water, traits=luck)
    for cause, s in zip(causes, strengths, strict=True):
        situation = add_cause(situation, cause, s)
    return situation


def situation_shares(lot: LotTraits, situation: Situation, room: Room = ROOM):
    """Expected objects per written full cyst in a situation, and the factor on the amount."""
    t = situation.traits
    dead = with_luck(lot.dead_frac, t.get("luck", 0.0))
    dead = 1 - (1 - dead) * (1 - t.get("extra_dead", 0.0))
    empty = t.get("empty_frac", 0.0)
    traits = LotTraits(
        full_per_g=lot.full_per_g,
        dead_frac=dead,
        dormant_frac=lot.dormant_frac,
        break_t50_h=lot.break_t50_h,
        arrest_frac=lot.arrest_frac * np.exp(t.get("arrest", 0.0)),
        old_shells_frac=lot.old_shells_frac,
    )
    shares = expected_shares(traits, Conditions(max_g_per_l=5.0, **situation.conditions), room)
    shares = {k: v * (1 - empty) for k, v in shares.items()}
    shares["shell"] = shares["shell"] + empty
    factor = situation.mass_factor * situation.volume_factor * np.exp(t.get("amount", 0.0))
    return shares, factor
