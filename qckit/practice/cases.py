"""Simulated hatches with planted causes: a lot's history, one hatch to explain, and what is wrong with it.

The mechanisms are those of ``practice.mechanisms``; names of causes, their strengths and how a cause is written down
(or not) are set here, apart from anything a verdict uses.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from qckit.practice.counting_error import draw_counts
from qckit.practice.mechanisms import (
    ROOM,
    Conditions,
    LotTraits,
    Room,
    expected_shares,
    nauplius_lengths_um,
    ordinary_water,
    with_luck,
)
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table, table_columns

__all__ = [
    "PLANTED",
    "SHARED",
    "PracticeCase",
    "Situation",
    "add_cause",
    "draw_situation",
    "simulate_case",
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


@dataclass(frozen=True)
class _Counted:
    """How a hatch was counted: photos, one of them by a person too, and whether they carry a flag."""

    n: int = 3
    person_beside: bool = False
    flagged: bool = False


@dataclass(frozen=True)
class PracticeCase:
    """Tables as a site would have them, and what was planted."""

    tables: dict
    hatch: str
    causes: tuple[str, ...]
    strengths: tuple[float, ...]
    is_logged: bool
    lot: LotTraits
    loss: float  # share of nauplii per gram lost by the planted causes


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


_WATER = (
    ("temperature", "temperature_c", "°C", 1, 0.15),
    ("salinity", "salinity_ppt", "ppt", 1, 0.3),
    ("ph", "ph", "pH", 2, 0.03),
    ("oxygen", "oxygen_mg_l", "mg/l", 1, 0.15),
    ("light", "light_lux", "lux", -1, 40.0),
)
_TELLTALE = {
    "cold": "temperature",
    "hot": "temperature",
    "salt": "salinity",
    "ph": "ph",
    "oxygen": "oxygen",
    "dark": "light",
}
_WORDS = {
    "unwetted": ("notes", "brown ring of cysts on the wall"),
    "broken": ("aeration", "very strong"),
    "oxygen": ("aeration", "weak"),
    "gradient": ("notes", "swarm of nauplii at the window side"),
}


class _Book:
    """The field sheets of one practice site."""

    def __init__(self, lot, rng, has_lengths=True):
        self.lot, self.rng, self.has_lengths = lot, rng, has_lengths
        self.lengths = []  # (photo, lengths of its nauplii)
        self.rows = {
            "lots": [{"lot": "P-1", "opened": "2026-01-05", "notes": "invented"}],
            "hatches": [],
            "readings": [],
            "samples": [],
            "photos": [],
        }

    def hatch(
        self,
        name,
        cone,
        started,
        situation,
        *,
        hidden=(),
        words=(),
        counted=_Counted(),
    ):
        """Write down one hatch; quantities in ``hidden`` were not measured or were written as usual."""
        rng, c = self.rng, situation.conditions
        written = {"hours": 24.0 if "hours" in hidden else round(float(c["hours"]), 1)}
        g_per_l = c["cysts_g_per_l"]
        grams, volume_ml = round(float(20.0 * g_per_l * rng.normal(1, 0.02)), 1), 20_000.0
        row = {
            "hatch": name,
            "lot": "P-1",
            "purpose": "production",
            "cone": cone,
            "started": started.isoformat(),
            "cysts_g": grams,
            "volume_ml": volume_ml,
            "aeration": "strong",
            "operator": f"op{rng.integers(1, 4)}",
            "notes": "invented",
        }
        for column, word in words:
            row[column] = word
        self.rows["hatches"].append(row)
        for quantity, column, unit, digits, noise in _WATER:
            if quantity in hidden:
                continue
            for hour in (1.0, 8.0, 20.0):
                value = c[column]
                if quantity == "temperature" and hour == 8.0 and c.get("spell_h", 0.0) > 0:
                    value = c["spell_c"]
                self.rows["readings"].append(
                    {
                        "hatch": name,
                        "taken": (started + timedelta(hours=hour)).isoformat(),
                        "quantity": quantity,
                        "value": round(float(value + rng.normal(0, noise)), digits),
                        "unit": unit,
                    }
                )
        shares, factor = situation_shares(self.lot, situation)
        per_ml = grams * self.lot.full_per_g / volume_ml * factor
        self._count(
            name,
            started,
            written["hours"],
            shares=shares,
            per_ml=per_ml,
            situation=situation,
            counted=counted,
        )

    def _count(self, name, started, hours, *, shares, per_ml, situation, counted):
        kinds = ["photo"] * counted.n + (["person"] if counted.person_beside else [])
        for i, who in enumerate(kinds):
            misread = situation.counting if who == "photo" else {}
            counts = draw_counts(
                shares,
                per_ml,
                250.0,
                self.rng,
                mixing_cv=situation.mixing_cv,
                misread=misread,
                light=(situation.lit_away, situation.lit_cv),
            )
            sample = f"{name}-{i + 1}"
            self.rows["samples"].append(
                {
                    "sample": sample,
                    "hatch": name,
                    "taken": (started + timedelta(hours=hours)).isoformat(),
                    "hours": hours,
                    "kind": "subsample",
                    "volume_ul": 250.0,
                    "dilution": 1,
                    "counted_by": who,
                }
                | {STAGE_COLUMNS[s]: int(counts[s][0]) for s in STAGES}
            )
            if who == "photo":
                self.rows["photos"].append(
                    {
                        "photo": f"{sample}.jpg",
                        "sha256": sample,
                        "sample": sample,
                        "flags": "out of focus" if counted.flagged else "",
                    }
                )
                if self.has_lengths:
                    conditions = Conditions(max_g_per_l=5.0, **situation.conditions)
                    n_found = int(counts["nauplius"][0])
                    self.lengths.append((f"{sample}.jpg", nauplius_lengths_um(self.lot, conditions, n_found, self.rng)))

    def tables(self):
        import pandas as pd

        made = {t: check_table(pd.DataFrame(r).reindex(columns=table_columns(t)), t) for t, r in self.rows.items()}
        return made | {"objects": self._objects()}

    def _objects(self):
        """The nauplii of the photos as the objects table has them (the other objects are not drawn)."""
        import pandas as pd

        n = [len(lengths) for _, lengths in self.lengths]
        frame = pd.DataFrame(
            {
                "photo": np.repeat([name for name, _ in self.lengths], n) if n else np.array([], dtype=str),
                "object_id": np.concatenate([np.arange(1, k + 1) for k in n]) if n else np.array([], dtype=int),
                "length_um": np.concatenate([v for _, v in self.lengths]).round(1) if n else np.array([], dtype=float),
            }
        ).assign(stage="nauplius", source="found", counted=True, on_edge=False)
        return frame.reindex(columns=table_columns("objects"))


def _loss(lot, target) -> float:
    """Share of the nauplii per gram that a situation costs a lot."""
    plain, bad = (
        situation_shares(
            lot,
            Situation(
                s.conditions,
                {"extra_dead": 0.0} | {k: v for k, v in s.traits.items() if k in ("extra_dead", "empty_frac")},
                s.mass_factor,
                s.volume_factor,
            ),
        )
        for s in (draw_situation((), (), np.random.default_rng(0)), target)
    )
    miss = (1 - target.counting.get("missed", 0.0)) * (1 - target.lit_away)
    return 1 - float(bad[0]["nauplius"] * bad[1] * miss) / float(plain[0]["nauplius"] * plain[1])


def _hidden(causes, is_logged):
    """What is not written down about a hatch (grams and litres always are)."""
    if is_logged:
        return set()
    hidden = {_TELLTALE[c] for c in causes if c in _TELLTALE}
    hidden |= {"hours"} if set(causes) & {"early", "overlong"} else set()
    return hidden


def simulate_case(
    rng, causes=(), strengths=(), *, is_logged=True, n_before: int = 30, has_lengths: bool | None = None
) -> PracticeCase:
    """Simulate a site with one hatch to explain.

    Parameters
    ----------
    rng : Generator
    causes : sequence of str
        Out of ``PLANTED``; none for a hatch with nothing but chance in it.
    strengths : sequence of float
        One per cause, 0 mild to 1 total.
    is_logged : bool
        Whether the telltale condition (reading, hours, note, photo flag, second count) is written down.
    n_before : int
        Earlier hatches of the same lot.
    has_lengths : bool, optional
        Whether the lengths of the nauplii in the photos were kept; left out, in half of the cases.

    Returns
    -------
    PracticeCase
    """
    lot = LotTraits(
        full_per_g=float(rng.uniform(230_000, 300_000)),
        dead_frac=float(rng.uniform(0.06, 0.22)),
        dormant_frac=0.012,
        arrest_frac=float(rng.uniform(0.01, 0.025)),
        instar_i_um=float(rng.uniform(430, 515)),
    )
    kept = bool(rng.random() < 0.5) if has_lengths is None else has_lengths
    book = _Book(lot, rng, kept)
    day = datetime(2026, 3, 1, 9, tzinfo=UTC)
    for i in range(n_before):
        book.hatch(
            f"B-{i + 1}",
            "ABCD"[i % 4],
            day + timedelta(days=i),
            draw_situation((), (), rng),
            counted=_Counted(int(rng.integers(2, 5))),
        )
    last = day + timedelta(days=n_before)
    target = draw_situation(causes, strengths, rng)
    words = [_WORDS[c] for c in causes if c in _WORDS] if is_logged else []
    misread = bool({"missed", "swapped"} & set(causes))
    book.hatch(
        "X",
        "A",
        last,
        target,
        hidden=_hidden(causes, is_logged),
        words=words,
        counted=_Counted(
            n=4,
            person_beside=(misread and is_logged) or rng.random() < 0.15,
            flagged=(misread and is_logged and rng.random() < 0.5) or rng.random() < 0.05,
        ),
    )
    shared = [(c, s) for c, s in zip(causes, strengths, strict=True) if c in SHARED and rng.random() < SHARED[c][1]]
    for i in range(int(rng.integers(1, 3))):
        with_it = draw_situation([c for c, _ in shared], [s for _, s in shared], rng)
        book.hatch(
            f"Y-{i + 1}",
            "BC"[i],
            last + timedelta(minutes=10 + 10 * i),
            with_it,
            hidden=_hidden([c for c, _ in shared], is_logged),
        )
    loss = _loss(lot, target)
    return PracticeCase(
        book.tables(),
        hatch="X",
        causes=tuple(causes),
        strengths=tuple(strengths),
        is_logged=is_logged,
        lot=lot,
        loss=loss,
    )
