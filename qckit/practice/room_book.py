"""The field sheets of a practice room: its lots, hatches, readings and counts, as people write them down."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from qckit.practice.counting_error import draw_counts
from qckit.practice.room_water import READ
from qckit.practice.room_words import IDLE_NOTES, LOT_NOTES, NOTES
from qckit.practice.situations import READING_OF, Situation, add_cause, situation_shares
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table, table_columns

__all__ = ["RoomBook"]

_LATE_ONLY = ("cold", "hot", "ph", "oxygen")  # these come on during the hatch: a reading at the start may be fine


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


class RoomBook:
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
        hidden = set() if is_logged else {READING_OF[c] for c in codes if c in READING_OF}
        at_start_only = hidden & {READING_OF[c] for c in _LATE_ONLY}
        late = rng.random() < site.late or (is_logged and bool(codes & set(_LATE_ONLY)))
        for quantity, column, unit, digits in READ:
            if rng.random() > site.read[quantity] and not (
                is_logged and quantity in {READING_OF.get(c) for c in codes}
            ):
                continue
            if quantity in hidden - at_start_only:
                continue
            wrong = rng.normal(0, 5 * site.noise[column]) if rng.random() < 0.03 else 0.0
            for hour in (0.5, 16.0) if late and quantity not in at_start_only and quantity != "light" else (0.5,):
                bad = codes & {c for c, q in READING_OF.items() if q == quantity}
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
