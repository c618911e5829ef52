"""A hatchery of its own: its room, habits, people, lots and days; and the sheets that its people fill in.

Faults (faults.py) change what the cones met, or what is written down, between ``plan_days`` and ``write_sheets``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import world

IDLE_NOTES = (
    "cleaned cone",
    "visitors in the hatch room",
    "new hose on the drain",
    "fed late today",
    "rain all day",
    "phone call, sheet filled in later",
    "moved the table",
)
QUANTITIES = {
    "temperature": ("C", "temperature_c"),
    "salinity": ("ppt", "salinity_ppt"),
    "ph": ("pH", "ph"),
    "oxygen": ("mg/L", "oxygen_mg_l"),
    "light": ("lux", "light_lux"),
}


@dataclass
class Site:
    """Everything that is the site's own for good; a difference that was always there is no change."""

    rng: np.random.Generator
    days: int

    def __post_init__(self):
        rng, u, pick = self.rng, self.rng.uniform, self.rng.choice
        self.bio = world.Biology.draw(rng)
        self.offset = pick(["-05:00", "+00:00", "+01:00", "+03:00", "+08:00"])
        self.first = pd.Timestamp("2024-01-08") + pd.Timedelta(days=int(rng.integers(0, 420)))
        self.cones = list("ABCDEF")[: rng.integers(1, 7)]
        self.people = [f"op{k + 1}" for k in range(rng.integers(1, 6))]
        self.a_day = min(len(self.cones), int(pick([1, 2, 2])))
        self.litres = float(pick([1, 2, 5, 10, 20, 50]))
        self.g_per_l = u(1.0, 2.6 if self.litres < 20 else 1.8)
        self.set_c, self.salt, self.ph = u(26, 29), float(pick([18, 25, 30, 33])), u(8.0, 8.35)
        self.lux, self.air, self.buffer = u(900, 2600), u(4, 7), u(0.8, 1.6)
        ripe = 17.5 * np.exp(0.085 * (28 - self.set_c))  # most have hatched; sites wait longer by their own habit
        self.hours, self.hours_sd = float(round(ripe + pick([2.5, 4, 4, 6, 8]))), u(0.1, 1.0)
        self.season_c, self.season_at = pick([0, 0.3, 0.8, 1.4]), u(0, 365)
        self.memory, self.day_c, self.cone_c = u(0.0, 0.75), u(0.15, 0.5), u(0.05, 0.3)
        self.salt_sd, self.ph_sd, self.salt_batch = u(0.3, 1.6), u(0.03, 0.09), int(rng.integers(4, 21))
        self.hatch_sd, self.mass_sd, self.wild = u(0.005, 0.03), u(0.01, 0.06), u(0.0, 0.04)
        self.cone_air = dict(zip(self.cones, u(0.8, 1.2, len(self.cones))))
        self.cone_warm = dict(zip(self.cones, rng.normal(0, self.cone_c, len(self.cones))))
        self.cone_takes = dict(zip(self.cones, rng.normal(0, 0.02, len(self.cones))))
        self.rest_day = pick([None, 5, 6, 6], replace=True)
        self.weekend_late_h = pick([0, 0, 1.0, 2.0])
        self.holiday = (int(u(0.1, 0.5) * self.days), int(pick([0, 0, 5, 9])))
        self.gap = (int(u(0.1, 0.5) * self.days), int(pick([0, 0, 3, 6])))
        seldom = pick([1.0, 1.0, 0.5, 0.25])
        most = {
            "temperature": u(0.7, 1),
            "salinity": u(0.3, 1),
            "ph": u(0.1, 0.9),
            "oxygen": u(0, 0.8),
            "light": u(0, 0.4),
        }
        self.reads = {q: p * seldom for q, p in most.items()}
        self.read_at = pick(["start", "start", "start", "evening"])
        self.ends_with_reading = u(0, 0.8)
        self.step = {"temperature": pick([0.1, 0.1, 0.5]), "salinity": pick([0.1, 0.5, 1]), "ph": pick([0.01, 0.1])}
        self.step |= {"oxygen": 0.1, "light": 10}
        self.meter = {"temperature": rng.normal(0, 0.3), "salinity": rng.normal(0, 0.5), "ph": rng.normal(0, 0.06)}
        self.meter |= {"oxygen": rng.normal(0, 0.2), "light": 0.0}
        self.counts_by = pick(["photo", "person", "person", "both"])
        self.stages = pick(["all", "all", "all", "no shells", "embryos"])
        self.subsamples = int(pick([2, 3, 3, 4, 6]))
        self.objects = float(pick([60, 100, 150, 250, 500]))
        self.clump, self.settle, self.slips = u(0.03, 0.12), u(0.02, 0.09), u(0, 0.003)
        self.recounts, self.note_rate = pick([0, 0, 0.08]), u(0.0, 0.06)
        self.habits = {p: self.habit() for p in [*self.people, "photo", "op9"]}
        self.second_store, self.decapsulates = bool(u() < 0.3), bool(u() < 0.1)
        self.stored_c = float(pick([-18, 4, 8]))

    def habit(self):
        """How one counter sees: shares of what is there that end in each column."""
        u = self.rng.uniform
        return {
            "nauplii": u(0.94, 1.0),
            "shells": u(0.8, 1.0),
            "hangs_as_nauplius": u(0, 0.12),
            "cyst_as_hanging": u(0, 0.03),
        }


def slow_days(rng, days, sd, memory):
    """A quantity that remembers the day before."""
    out, x = np.empty(days), rng.normal(0, sd)
    for d in range(days):
        x = memory * x + np.sqrt(1 - memory**2) * rng.normal(0, sd)
        out[d] = x
    return out


def draw_lots(site, n_lots):
    """Lots in the order they are opened, each with its label and the day it is opened."""
    rng, lots = site.rng, []
    starts = [0, *sorted(rng.uniform(0.3, 0.75, n_lots - 1) * site.days)]
    for k, day in enumerate(starts):
        lot = world.Lot.draw(rng, f"{rng.choice(list('BDGMRT'))}{rng.integers(10, 99)}-{k + 1}")
        lot.opened_day = int(day)
        opened = site.first + pd.Timedelta(days=int(day))
        harvested = opened - pd.Timedelta(days=int(rng.integers(200, 500)))
        claims = rng.random() < 0.8
        lot.label = {
            "lot": lot.name,
            "origin": rng.choice(["salt lake", "salt pan", "coast pond"]),
            "harvested": f"{harvested:%Y-%m}",
            "received": f"{opened - pd.Timedelta(days=int(rng.integers(3, 60))):%Y-%m-%d}",
            "opened": f"{opened:%Y-%m-%d}",
            "best_before": f"{harvested + pd.Timedelta(days=1000):%Y-%m}",
            "claimed_hatch_pct": round(100 * lot.lives / 5) * 5.0 if claims else None,
            "claimed_nauplii_per_g": round(lot.full_per_g * lot.lives, -4) if claims else None,
            "pack_g": 500,
            "storage_c": site.stored_c,
        }
        lots.append(lot)
    return lots


def plan_days(site, lots):
    """(hatches as they are run, what they truly met, what will be written otherwise)."""
    rng, rows = site.rng, []
    turn = 0
    overlap = int(rng.choice([0, 4, 12]))
    for day in range(site.days):
        date = site.first + pd.Timedelta(days=day)
        away = site.holiday[0] <= day < sum(site.holiday)
        if date.weekday() == site.rest_day or away:
            continue
        for k in range(site.a_day):
            now = max(i for i, lot in enumerate(lots) if lot.opened_day <= day)
            before = now > 0 and day < lots[now].opened_day + overlap and rng.random() < 0.5
            late = site.weekend_late_h if date.weekday() >= 5 else 0.0
            start = date + pd.Timedelta(minutes=int(60 * (8.5 + late) + 20 * k + rng.integers(0, 25)))
            who, counts = rng.choice(site.people, 2)
            by = site.counts_by if site.counts_by != "both" else rng.choice(["photo", "person"])
            row = {
                "day": day,
                "start": start,
                "cone": site.cones[turn % len(site.cones)],
                "lot": now - int(before),
                "who": who,
            }
            rows.append(row | {"counter": counts, "by": by, "gap": site.gap[0] <= day < sum(site.gap)})
            turn += 1 + int(rng.random() < 0.02)
    h = pd.DataFrame(rows)
    h["hatch"] = [f"H{k + 1:04d}" for k in range(len(h))]
    h["tail"] = rng.standard_t(4, len(h)) / np.sqrt(2)
    x = blank_changes(h)
    x["decapsulated"][:] = site.decapsulates
    return h, waters(site, lots, h), x


def waters(site, lots, h):
    """What each hatch truly met on a calm day."""
    rng, n, day = site.rng, len(h), h["day"].to_numpy()

    def by_cone(table):
        return h["cone"].map(table).to_numpy(float)

    season = site.season_c * np.sin((day + site.season_at) / 365 * 2 * np.pi)
    room = slow_days(rng, site.days, site.day_c, site.memory)[day] + season
    warm = site.set_c + room + by_cone(site.cone_warm) + rng.normal(0, 0.12, n)
    batch = rng.normal(0, site.salt_sd, site.days)[day // site.salt_batch]
    weeks = np.array([(d - lots[k].opened_day) / 7 for d, k in zip(day, h["lot"])])
    store = 0.025 * ((day // 9) % 2) * site.second_store

    def lot(name):
        return np.array([getattr(lots[k], name) for k in h["lot"]])

    wild = np.where(rng.random(n) < site.wild, rng.exponential(0.05, n), 0)
    zero = np.zeros(n)
    return world.Runs(
        start_c=warm + rng.normal(-0.8, 0.4, n),
        end_c=warm,
        night_c=zero.copy(),
        salinity=np.clip(site.salt + batch + rng.normal(0, 0.2, n), 5, None),
        ph=site.ph + slow_days(rng, site.days, site.ph_sd, site.memory)[day] + rng.normal(0, 0.02, n),
        buffer=np.full(n, site.buffer),
        lux=site.lux * np.exp(rng.normal(0, 0.08, n)),
        air=site.air * by_cone(site.cone_air) * np.exp(rng.normal(0, 0.06, n)),
        air_off_from=zero.copy(),
        air_off_h=zero.copy(),
        grams=site.g_per_l * site.litres * np.exp(rng.normal(0, 0.03, n)),
        litres=np.full(n, site.litres),
        hours=np.clip(site.hours + rng.normal(0, site.hours_sd, n), 16, 40),
        died=np.clip(site.hatch_sd * h["tail"].to_numpy() + wild + store + weeks * lot("age_death"), -0.1, 0.9),
        slower_h=weeks * lot("age_slower_h"),
        on_wall=np.clip(0.04 + by_cone(site.cone_takes) + rng.normal(0, site.mass_sd, n), 0, 0.6),
        bleached=zero.copy(),
        burnt=zero.copy(),
        burst_per_h=zero.copy(),
        soap_dies_per_h=zero.copy(),
        soap_sticks=zero.copy(),
        soap_kills_per_h=zero.copy(),
        germs=zero.copy(),
        germs_double_h=zero + 1.0,
        germs_kill_per_h=zero.copy(),
    )


def blank_changes(h):
    """What a fault may change of the writing: a value for each hatch."""
    n = len(h)
    x = {f"{q}_off": np.zeros(n) for q in QUANTITIES}
    x |= {"grams_written": np.ones(n), "hours_written": np.zeros(n), "counts_nauplii": np.ones(n)}
    x |= {"counts_cysts": np.ones(n), "one_sample": np.ones(n), "lot_in_cone": h["lot"].to_numpy().copy()}
    x |= {"decapsulated": np.zeros(n, bool), "late_count": np.zeros(n, bool), "read_at_end": np.zeros(n, bool)}
    x |= {"note": np.full(n, "", object), "must_read": np.full(n, "", object), "not_read": np.full(n, "", object)}
    return x


def run_cones(site, lots, h, runs, x):
    """The course of every hatch; lots as they truly lay in the cones."""
    return world.run(site.bio, [lots[k] for k in x["lot_in_cone"]], runs, float(runs.hours.max()) + 26)


# ---------------------------------------------------------------- the sheets


def rounded(value, step):
    return round(round(value / step) * step, 3)


def slip(rng, value):
    """Two digits of a number swapped, as fingers do."""
    text = str(int(value))
    return value if len(text) < 2 else int(text[:-2] + text[-1] + text[-2])


def write_sheets(site, lots, h, runs, x, rng):
    """The four tables of the site's log, as its people fill them in."""
    course = run_cones(site, lots, h, runs, x)

    def stamp(t):
        return f"{t:%Y-%m-%dT%H:%M:00}{site.offset}"

    hatches, readings, samples = [], [], []
    for i, row in enumerate(h.itertuples()):
        if row.gap and not x["must_read"][i] and not x["late_count"][i]:
            continue
        water = read_water(site, course, runs, x, i, row, rng)
        for q, taken, value in water:
            readings.append(
                {"hatch": row.hatch, "taken": stamp(taken), "quantity": q, "value": value, "unit": QUANTITIES[q][0]}
            )
        idle = rng.choice(IDLE_NOTES) if rng.random() < site.note_rate else ""
        one = {"hatch": row.hatch, "lot": lots[row.lot].name, "purpose": "production", "cone": row.cone}
        one |= {"started": stamp(row.start), "volume_ml": 1000 * site.litres, "aeration": "strong", "operator": row.who}
        one["cysts_g"] = float(f"{runs.grams[i] * x['grams_written'][i]:.3g}")
        one |= {"decapsulated": "yes" if x["decapsulated"][i] else "no"}
        one["notes"] = "; ".join(t for t in (x["note"][i], idle) if t)
        for q, (_unit, column) in QUANTITIES.items():
            one[column] = next((v for name, _t, v in water if name == q), None)
        hatches.append(one)
        samples += count(site, course, runs, x, i, row, rng)
    for s in samples:
        s["taken"] = stamp(s["taken"])

    def frame(rows, columns):
        return pd.DataFrame(rows).reindex(columns=columns.split())

    return {
        "lots": pd.DataFrame([lot.label for lot in lots]),
        "hatches": frame(hatches, HATCH_COLUMNS),
        "readings": frame(readings, "hatch taken quantity value unit"),
        "samples": frame(samples, SAMPLE_COLUMNS),
    }


HATCH_COLUMNS = (
    "hatch lot purpose cone started cysts_g volume_ml temperature_c salinity_ppt ph oxygen_mg_l light_lux aeration"
    " decapsulated operator notes"
)
SAMPLE_COLUMNS = (
    "sample hatch taken hours kind volume_ul dilution nauplii umbrella cysts embryos shells counted_by counter revision"
)


def read_water(site, course, runs, x, i, row, rng):
    """(quantity, when, value) of one hatch, by the site's habit."""
    at_h = 0.5 if site.read_at == "start" else max(17 - row.start.hour - row.start.minute / 60, 0.5)
    at_end = rng.random() < site.ends_with_reading or x["read_at_end"][i]
    when = [at_h] + ([float(runs.hours[i]) - 0.3] if at_end else [])
    found = []
    for q in QUANTITIES:
        forced = q in x["must_read"][i].split()
        if q in x["not_read"][i].split() or not (forced or rng.random() < site.reads[q]):
            continue
        for k, hour in enumerate(sorted({*when, 9.0}) if forced and q in ("temperature", "oxygen") else when):
            j = min(round(hour / world.STEP_H), course["ph"].shape[1] - 1)
            true = {
                "temperature": course["celsius"][i, j],
                "salinity": runs.salinity[i],
                "ph": course["ph"][i, j],
                "oxygen": course["oxygen"][i, j],
                "light": runs.lux[i],
            }[q]
            if k and q in ("salinity", "light"):
                continue
            noise = {"temperature": 0.1, "salinity": 0.25, "ph": 0.03, "oxygen": 0.15, "light": 40}[q]
            value = true + site.meter[q] + x[f"{q}_off"][i] + rng.normal(0, noise)
            found.append((q, row.start + pd.Timedelta(hours=hour), max(rounded(value, site.step[q]), 0.0)))
    return found


def count(site, course, runs, x, i, row, rng):
    """The subsamples of one hatch, at its hour and, where asked for, once more a day later."""
    rows = []
    for late in (False, True) if x["late_count"][i] else (False,):
        hour = float(runs.hours[i]) + (22.0 if late else 0.0)
        per_ul = {k: world.at(course[k][[i]], [hour])[0] for k in ("nauplii", "hanging", "unhatched", "shells")}
        per_ul = {k: v * runs.grams[i] / runs.litres[i] / 1e6 for k, v in per_ul.items()}
        usual = 0.75 * 2.5e5 * site.g_per_l / 1e6
        volume = float(f"{np.clip(site.objects / site.subsamples / usual, 25, 2000):.1g}")
        tip = np.exp(rng.normal(0, site.settle))
        for k in range(site.subsamples):
            f = np.exp(rng.normal(0, site.clump)) * (rng.uniform(0.5, 1.5) if rng.random() < 0.015 else 1)
            f *= x["one_sample"][i] if k == 0 else 1
            wrote = hour + x["hours_written"][i] * (not late)  # who writes the usual hour writes it as the time too
            taken = row.start + pd.Timedelta(minutes=int(60 * wrote) + 2 * k)
            numbers = tally(site, per_ul, volume * f, tip, x, i, row, rng)
            twice = rng.random() < site.recounts and row.by == "person"
            for again in range(1 + int(twice)):
                who = row.counter if not again else rng.choice(site.people)
                s = {
                    "sample": f"{row.hatch}-{'L' if late else 'S'}{k + 1}{'r' * again}",
                    "hatch": row.hatch,
                    "taken": taken,
                }
                s |= {
                    "hours": round(wrote, 1),
                    "kind": "subsample",
                    "volume_ul": volume,
                    "dilution": 1,
                    "counted_by": row.by,
                }
                s |= dict(counter=who if row.by == "person" else None, revision=1, **numbers)
                if again:
                    s["nauplii"] = int(max(0, round(s["nauplii"] * rng.normal(1, 0.03))))
                rows.append(s)
    return rows


def tally(site, per_ul, volume, tip, x, i, row, rng):
    """What one pair of eyes, or the camera, writes down of one subsample."""
    eye = site.habits["photo" if row.by == "photo" else row.counter]
    n = rng.poisson(per_ul["nauplii"] * volume * x["counts_nauplii"][i] * eye["nauplii"])
    hangs = rng.poisson(per_ul["hanging"] * volume * tip)
    cysts = rng.poisson(per_ul["unhatched"] * volume * tip * x["counts_cysts"][i])
    shells = rng.poisson(per_ul["shells"] * volume * eye["shells"])
    taken_for = rng.binomial(hangs, eye["hangs_as_nauplius"])
    muddled = rng.binomial(cysts, eye["cyst_as_hanging"])
    n, hangs, cysts = n + taken_for, hangs - taken_for + muddled, cysts - muddled
    if rng.random() < site.slips:
        n = slip(rng, n)
    numbers = {"nauplii": n, "umbrella": hangs, "cysts": cysts, "embryos": None, "shells": shells}
    if x["decapsulated"][i] or site.stages == "no shells":
        numbers["shells"] = None
    if site.stages == "embryos":
        numbers |= {"cysts": None, "embryos": cysts, "shells": None}
    if site.stages == "nauplii":
        numbers |= {"umbrella": None, "cysts": None, "shells": None}
    return numbers
