"""Hatch rooms that differ: one poor hatch each, with mechanisms, spreads, meters and words of its own.

``cases`` plants causes in one well-known room; here every room draws its constants anew (``mechanisms.draw_room``), and
so are its lots, how its water moves from day to day, how well it counts, how often a reading is missing and whether a
cause is noted. A verdict that is right only in one world shows here. All numbers are invented; ranges without a source
are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from qckit.practice.cases import SHARED, PracticeCase, Situation, add_cause, situation_shares
from qckit.practice.counting_error import draw_counts
from qckit.practice.mechanisms import LotTraits, Room, draw_room
from qckit.practice.room_water import READ
from qckit.practice.room_words import IDLE_NOTES, LOT_NOTES, NOTES
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table, table_columns

__all__ = ["PracticeRoom", "draw_practice_room", "simulate_in_room"]

_TELLTALE = {
    "cold": "temperature",
    "hot": "temperature",
    "salt": "salinity",
    "ph": "ph",
    "oxygen": "oxygen",
    "dark": "light",
}
_LATE_ONLY = ("cold", "hot", "ph", "oxygen")  # these come on during the hatch: a reading at the start may be fine


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
    book = _Book(site, rng)
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


def _misread(counts, errors, rng):
    """What a count that misses nauplii, or takes shells for cysts, makes of the same drops."""
    found = []
    for drop in counts:
        missed = int(rng.binomial(drop["nauplius"], errors.get("missed", 0.0)))
        turned = int(rng.binomial(drop["shell"], errors.get("shell_as_cyst", 0.0)))
        changed = {
            "nauplius": drop["nauplius"] - missed,
            "cyst": drop["cyst"] + turned,
            "shell": drop["shell"] - turned,
        }
        found.append(drop | changed)
    return found


class _Book:
    """The field sheets of one room."""

    def __init__(self, site, rng):
        self.site, self.rng = site, rng
        self.day = dict.fromkeys(site.water, 0.0)
        self.luck_sd = {"luck": site.luck_sd, "arrest": site.arrest_sd, "amount": site.amount_sd}
        self.day_luck = dict.fromkeys(self.luck_sd, 0.0)
        names = [("cone", cone) for cone in "ABCD"] + [("operator", f"op{i}") for i in (1, 2, 3)]
        self.standing = {
            key: {k: site.standing[key[0]] * sd * rng.normal() for k, sd in self.luck_sd.items()} for key in names
        }
        self.rows = {"lots": [], "hatches": [], "readings": [], "samples": []}

    def lots(self, lot, before, of_lot, is_logged):
        """Write down the lots, with what their sellers claim."""
        rng = self.rng
        for name, traits in (("P-1", before), ("P-2", lot)):
            if traits is None:
                continue
            good = 100 * (1 - traits.dead_frac) * (1 - traits.dormant_frac)
            old = name == "P-2" and "embryos" in of_lot and is_logged and rng.random() < 0.5
            notes = str(rng.choice(LOT_NOTES[of_lot[0]])) if name == "P-2" and of_lot and is_logged else ""
            row = {"lot": name, "opened": "2026-02-28", "harvested": "2022-06" if old else "2025-03", "notes": notes}
            row["best_before"] = "2025-12" if old else "2027-06"
            if rng.random() < 0.8:
                row["claimed_hatch_pct"] = min(95.0, round(good + rng.uniform(-3, 12)))
            if rng.random() < 0.7:
                row["claimed_nauplii_per_g"] = round(traits.full_per_g * good / 100 * rng.uniform(0.85, 1.1), -4)
            self.rows["lots"].append(row)

    def next_day(self):
        """Move the day's share of the water on."""
        site, keep = self.site, self.site.day_to_day
        for column, (_, sd) in site.water.items():
            step = np.sqrt((1 - keep**2) * site.day_share) * sd * self.rng.normal()
            self.day[column] = keep * self.day[column] + step
        self.day_luck = {k: np.sqrt(site.luck_by_day) * sd * self.rng.normal() for k, sd in self.luck_sd.items()}

    def _luck(self, sd):
        tail = self.rng.standard_t(3) / 1.3 if self.site.heavy else self.rng.normal()
        return sd * float(np.clip(tail, -4, 4))

    def hatch(self, name, cone, started, lot, lot_name, causes, *, is_target=False, is_logged=True):
        """Write down one hatch."""
        rng, site = self.rng, self.site
        alone_sd = np.sqrt(1 - site.day_share)
        water = {c: mean + self.day[c] + alone_sd * sd * rng.normal() for c, (mean, sd) in site.water.items()}
        water["light_lux"] = max(water["light_lux"], 300.0)
        plain = dict(water)
        operator = f"op{rng.integers(1, 4)}"
        alone = np.sqrt(1 - site.luck_by_day)
        luck = {
            k: alone * self._luck(sd)
            + self.day_luck[k]
            + self.standing["cone", cone][k]
            + self.standing["operator", operator][k]
            for k, sd in self.luck_sd.items()
        }
        hours = site.hours + rng.normal(0, 0.4)
        situation = Situation({"hours": hours, "cysts_g_per_l": site.g_per_l} | water, luck, mixing_cv=site.mixing_cv)
        for code, s in causes:
            if code not in ("uneven",):
                situation = add_cause(situation, code, max(s, 0.0) if code in ("oxygen", "dark") else s)
        codes = {code for code, _ in causes}
        shares, factor = situation_shares(lot, situation, site.room)
        grams = round(situation.conditions["cysts_g_per_l"] * site.volume_ml / 1000 * rng.normal(1, 0.015), 2)
        written = {"hours": round(situation.conditions["hours"], 1)}
        if codes & {"early", "overlong"} and not is_logged:
            written["hours"] = round(hours, 1)
        row = {
            "hatch": name,
            "lot": lot_name,
            "purpose": "production",
            "cone": cone,
            "started": started.isoformat(),
            "cysts_g": grams,
            "volume_ml": site.volume_ml,
            "aeration": "weak" if "oxygen" in codes and is_logged and rng.random() < 0.5 else "strong",
            "operator": operator,
        }
        notes = [str(rng.choice(NOTES[c])) for c in codes if c in NOTES and is_logged and rng.random() < site.notes]
        notes += [str(rng.choice(IDLE_NOTES))] if rng.random() < site.idle else []
        row["notes"] = "; ".join(notes) or None
        self.rows["hatches"].append(row)
        self._read(name, started, situation=situation, plain=plain, codes=codes, is_logged=is_logged, row=row)
        per_ml = grams * lot.full_per_g / site.volume_ml * factor
        self._count(
            name,
            started,
            hours=written["hours"],
            shares=shares,
            per_ml=per_ml,
            situation=situation,
            causes=dict(causes),
            has_witness=is_target and is_logged,
        )

    def _read(self, name, started, situation, plain, codes, is_logged, row):
        rng, site, conditions = self.rng, self.site, situation.conditions
        hidden = set() if is_logged else {_TELLTALE[c] for c in codes if c in _TELLTALE}
        at_start_only = hidden & {_TELLTALE[c] for c in _LATE_ONLY}
        late = rng.random() < site.late or (is_logged and bool(codes & set(_LATE_ONLY)))
        for quantity, column, unit, digits in READ:
            if rng.random() > site.read[quantity] and not (is_logged and quantity in {_TELLTALE.get(c) for c in codes}):
                continue
            if quantity in hidden - at_start_only:
                continue
            wrong = rng.normal(0, 5 * site.noise[column]) if rng.random() < 0.03 else 0.0
            for hour in (0.5, 16.0) if late and quantity not in at_start_only and quantity != "light" else (0.5,):
                bad = codes & {c for c, q in _TELLTALE.items() if q == quantity}
                value = conditions[column] if hour > 1 or not bad & set(_LATE_ONLY) else plain[column]
                if quantity == "temperature" and hour > 1 and conditions.get("spell_h", 0.0) > 0:
                    value = conditions["spell_c"]
                value = round(float(value + wrong + rng.normal(0, site.noise[column])), digits)
                taken = (started + timedelta(hours=hour)).isoformat()
                self.rows["readings"].append(
                    {"hatch": name, "taken": taken, "quantity": quantity, "value": value, "unit": unit}
                )
        for code, quantity, column, unit in (
            ("weighing", "cyst mass", "cysts_g", "g"),
            ("volume", "volume", "volume_ml", "ml"),
        ):
            if code in codes and is_logged:
                true = row[column] * (situation.mass_factor if code == "weighing" else 1 / situation.volume_factor)
                taken = (started + timedelta(hours=25)).isoformat()
                self.rows["readings"].append(
                    {"hatch": name, "taken": taken, "quantity": quantity, "value": round(true, 2), "unit": unit}
                )

    def _count(self, name, started, hours, shares, per_ml, situation, causes, has_witness):
        rng, site = self.rng, self.site
        detected = {stage: float(shares.get(stage, 0.0)) * site.detects.get(stage, 1.0) for stage in STAGES}
        drawn = dict(detected)
        if "uneven" in causes:  # full cysts sink and shells float where the drop was taken
            up = site.sinks * (0.4 + causes["uneven"]) * (1 if rng.random() < 0.7 else -0.6)
            drawn["cyst"], drawn["shell"] = detected["cyst"] * np.exp(up), detected["shell"] * np.exp(-0.7 * up)
            drawn["nauplius"] = detected["nauplius"] * (1 - causes["uneven"])
        mostly, other = ("person", "photo") if site.by_person else ("photo", "person")
        misread = situation.counting
        again = has_witness and bool({"missed", "swapped"} & set(causes))
        first = self._draw(drawn, per_ml, situation)
        self._write(name, started, hours, counts=_misread(first, misread, rng), who=mostly, series="0", pause=0.0)
        if again:  # other eyes on the same drops
            self._write(name, started, hours, counts=first, who=other, series="1", pause=0.0)
        if has_witness and {"uneven", "gradient"} & set(causes):
            mixed = replace(situation, lit_away=0.0, lit_cv=0.0, mixing_cv=site.mixing_cv)
            self._write(
                name, started, hours, counts=self._draw(detected, per_ml, mixed), who=mostly, series="2", pause=32.0
            )

    def _draw(self, mean, per_ml, situation):
        """Counts of the subsamples of one drawing: a dict per subsample."""
        site, rng = self.site, self.rng
        errors = {"cyst_as_shell": site.cyst_as_shell, "shell_as_cyst": site.shell_as_cyst}
        drawn = draw_counts(
            mean,
            per_ml,
            site.subsample_ul,
            rng,
            n=site.n_subsamples,
            mixing_cv=situation.mixing_cv,
            misread=errors,
            light=(situation.lit_away, situation.lit_cv),
        )
        return [{stage: int(drawn[stage][i]) for stage in STAGES} for i in range(site.n_subsamples)]

    def _write(self, name, started, hours, counts, who, series, pause):
        for i, drop in enumerate(counts):
            taken = (started + timedelta(hours=hours, minutes=2 * i + pause)).isoformat()
            row = {"sample": f"{name}-{series}{i}", "hatch": name, "taken": taken, "hours": hours, "kind": "subsample"}
            row |= {"volume_ul": self.site.subsample_ul, "dilution": 1, "counted_by": who}
            self.rows["samples"].append(row | {STAGE_COLUMNS[s]: drop[s] for s in STAGES})

    def lowest(self, lot):
        """The production hatch with the fewest nauplii per full cyst and volume among the last twenty of a lot."""
        hatches = [h["hatch"] for h in self.rows["hatches"] if h["lot"] == lot][-20:]
        sums = {h: [0.0, 0.0] for h in hatches}
        for s in self.rows["samples"]:
            if s["hatch"] in sums:
                sums[s["hatch"]][0] += s["nauplii"]
                sums[s["hatch"]][1] += s["nauplii"] + s["umbrella"] + s["cysts"]
        return min(hatches, key=lambda h: sums[h][0] / max(sums[h][1], 1.0))

    def tables(self):
        """Return the sheets as checked tables."""
        import pandas as pd

        return {t: check_table(pd.DataFrame(r).reindex(columns=table_columns(t)), t) for t, r in self.rows.items()}
