"""Simulated hatches with planted causes: a lot's history, one hatch to explain, and what is wrong with it.

The mechanisms are those of ``practice.mechanisms``; names of causes, their strengths and how a cause is written down
(or not) are set here, apart from anything a verdict uses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from qckit.object_rows import FOUND
from qckit.practice.counting_error import draw_counts
from qckit.practice.mechanisms import (
    Conditions,
    LotTraits,
    nauplius_lengths_um,
)
from qckit.practice.situations import READING_OF, SHARED, SHEET_WORDS, Situation, draw_situation, situation_shares
from qckit.quantities import QUANTITIES
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table, table_columns

__all__ = [
    "PracticeCase",
    "simulate_case",
]


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


_WATER = (
    ("temperature", 1, 0.15),
    ("salinity", 1, 0.3),
    ("ph", 2, 0.03),
    ("oxygen", 1, 0.15),
    ("light", -1, 40.0),
)


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
        for quantity, digits, noise in _WATER:
            column, unit = QUANTITIES[quantity].column, QUANTITIES[quantity].written_unit
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
        ).assign(stage="nauplius", source=FOUND, counted=True, on_edge=False)
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
    hidden = {READING_OF[c] for c in causes if c in READING_OF}
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
        Whether the condition that tells of it (reading, hours, note, photo flag, second count) is written down.
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
    words = [SHEET_WORDS[c] for c in causes if c in SHEET_WORDS] if is_logged else []
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
