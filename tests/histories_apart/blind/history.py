"""A room's days: which hatches are started, what truly happens in them, and what is written down."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from blind import notes
from blind.embryo import CLOCK, Cone, Lot, course, per_ml
from blind.world import ORIGINS, QUANTITIES, Site, base_cone

# ruff: noqa: SIM905 - short to read
LOT_COLUMNS = """
    lot origin harvested received opened best_before claimed_hatch_pct claimed_nauplii_per_g pack_g
    price currency moisture_pct dry_weight_ug storage_c notes
    """.split()
HATCH_COLUMNS = """
    hatch lot purpose cone started cysts_g volume_ml temperature_c salinity_ppt ph oxygen_mg_l light_lux
    aeration decapsulated operator notes
    """.split()
READING_COLUMNS = ["hatch", "taken", "quantity", "value", "unit"]
SAMPLE_COLUMNS = """
    sample hatch taken hours kind volume_ul mass_g chamber_depth_mm dilution nauplii umbrella cysts
    embryos shells counted_by counter photos revision
    """.split()


@dataclass
class Hatch:
    name: str
    day: int
    started: datetime
    cone_name: str
    lot: Lot
    person: object
    counter: object
    cone: Cone
    grams: float  # as written
    ml: float
    hours: float  # true
    hours_written: float | None = None
    lot_written: str | None = None
    dilution_written: int | None = None
    purpose: str = "production"
    note: str = ""
    late: bool = False
    hide: set = field(default_factory=set)  # quantities not read
    false: dict = field(default_factory=dict)  # quantity -> error of the meter beyond the site's own
    stage: dict = field(
        default_factory=dict
    )  # stage -> factor on what is in the subsample (sampler's depth, half a grid)
    u_as_n: float | None = None
    u_as_c: float = 0.0
    must: set = field(default_factory=set)  # quantities read in any case

    def seen(self, site: Site, hours=None) -> dict:
        """Expected count per subsample at each hour, with the counter's habits."""
        at = per_ml(self.cone, self.lot, site.nature, self.hours if hours is None else hours)
        f = site.volume_ul / 1000 / site.dilution
        photo = site.photo and self.purpose != "standard test"
        lost = site.eye_photo if photo else self.counter.eye
        share = self.u_as_n if self.u_as_n is not None else (site.u_as_n_photo if photo else self.counter.u_as_n)
        empty = 0.0 if self.is_clear(site) else at["empty"]
        out = {
            "nauplii": (at["nauplii"] + share * at["umbrella"]) * lost,
            "umbrella": at["umbrella"] * (1 - share - self.u_as_c),
            "cysts": at["full"] + empty + self.u_as_c * at["umbrella"],
            "shells": at["shells"],
        }
        return {k: v * f * self.stage.get(k, self.stage.get("all", 1.0)) for k, v in out.items()}

    def is_clear(self, site: Site) -> bool:
        return site.decapsulated or self.purpose == "standard test"

    def expected(self, site: Site) -> tuple[float, float]:
        """Recorded nauplii per gram and H% without noise of counting."""
        s = {k: float(v[0]) for k, v in self.seen(site).items()}
        per_g = s["nauplii"] / site.volume_ul * 1000 * (self.dilution_written or site.dilution) * self.ml / self.grams
        return per_g, 100 * s["nauplii"] / max(s["nauplii"] + s["umbrella"] + s["cysts"], 1e-9)


def noise(r, sd: float, heavy: bool) -> float:
    return float(sd * (r.standard_t(4) / 1.41 if heavy else r.normal()))


class Room:
    def __init__(self, site: Site, first: datetime, days: int, plan: list, per_day: int | None = None):
        """plan: (lot, first day, last day) in order; lots may overlap."""
        self.site, self.first, self.days, self.plan = site, first, days, plan
        self.r = np.random.default_rng(site.seed + 7)
        self.per_day = per_day or len(site.cones)
        self.hatches: list[Hatch] = []

    def run(self, alter=None) -> list[Hatch]:
        s, r, count, turn = self.site, self.r, 0, 0
        before = dict.fromkeys(s.day_sd, 0.0)
        for day in range(self.days):
            date = self.first + timedelta(days=day)
            for q in before:
                before[q] = 0.5 * before[q] + 0.87 * float(r.normal())
            vigour_day = float(r.normal()) * s.vigour_day
            if date.weekday() not in s.weekdays or r.random() < 0.02:
                continue
            season = s.season_c * np.sin(2 * np.pi * (date.timetuple().tm_yday - 110) / 365)
            on = s.people[int(r.integers(len(s.people)))]
            used = [s.cones[(turn + i) % len(s.cones)] for i in range(min(self.per_day, len(s.cones)))]
            turn += self.per_day
            for i, name in enumerate(sorted(used, key=s.cones.index)):
                count += 1
                lots = [lot for lot, a, b in self.plan if a <= day <= b] or [self.plan[-1][0]]
                lot = lots[int(r.integers(len(lots)))]
                person = on if r.random() < 0.85 else s.people[int(r.integers(len(s.people)))]
                counter = person if r.random() < 0.6 else s.people[int(r.integers(len(s.people)))]
                c = base_cone(s, name)
                grams = round(c.grams * float(np.exp(r.normal(0, 0.015))), 2 if c.grams < 100 else 0)
                c.grams = grams * person.scale * float(np.exp(r.normal(0, person.weigh_sd)))
                c.litres *= float(np.exp(r.normal(0, person.fill_sd)))
                c.temp += season + before["temp"] * s.day_sd["temp"] + float(r.normal()) * s.hatch_sd["temp"]
                c.salinity += before["salinity"] * s.day_sd["salinity"] + float(r.normal()) * s.hatch_sd["salinity"]
                c.ph += before["ph"] * s.day_sd["ph"] + float(r.normal()) * s.hatch_sd["ph"]
                c.air *= float(np.exp(before["air"] * s.day_sd["air"] + r.normal() * s.hatch_sd["air"]))
                c.cold_start = float(abs(r.normal(0, 0.8)))
                c.lux *= float(np.exp(r.normal(0, 0.06)))
                c.vigour = vigour_day + noise(r, s.vigour_hatch, s.heavy)
                c.tempo = float(np.exp(r.normal(0, 0.012)))
                start = next(a for x, a, _ in self.plan if x is lot)
                c.age_days = float(day - start)
                started = date + timedelta(hours=s.start_hour, minutes=float(12 * i + r.uniform(0, 25)))
                h = Hatch(
                    f"b{count:04d}" if s.kind == "hatchery" else f"{s.name}-{count}",
                    day,
                    started,
                    name,
                    lot,
                    person,
                    counter,
                    c,
                    grams,
                    s.litres * 1000,
                    s.hours + float(r.normal(0, s.hour_sd)),
                )
                h.late = bool(r.random() < s.late_rate)
                if r.random() < s.note_rate * person.writes:
                    h.note = notes.misleading(r) if r.random() < 0.12 else notes.idle(r, person.language)
                if alter:
                    alter(h)
                self.hatches.append(h)
        return self.hatches


def stamp(t: datetime, zone: str) -> str:
    return t.strftime("%Y-%m-%dT%H:%M:00") + zone


def standard_test(site: Site, lot: Lot, day: int, first: datetime, r) -> list[Hatch]:
    out = []
    for i in range(3):
        c = base_cone(site)
        c.litres, c.grams, c.temp, c.salinity, c.inertia_h = 0.8, 1.6, 28.0 + float(r.normal(0, 0.2)), 33.0, 1.0
        c.vigour = float(r.normal(0, site.vigour_hatch))
        who = site.people[0]
        started = first + timedelta(days=day, hours=9, minutes=10 * i)
        out.append(
            Hatch(
                f"T-{lot.name}-{i + 1}".replace(" ", ""),
                day,
                started,
                f"T{i + 1}",
                lot,
                who,
                who,
                c,
                1.6,
                800.0,
                24.0,
                purpose="standard test",
                late=True,
            )
        )
    return out


def record(site: Site, hatches: list[Hatch], plan: list, first: datetime, always_late=()) -> dict[str, pd.DataFrame]:
    r = np.random.default_rng(site.seed + 11)
    rows_h, rows_r, rows_s = [], [], []
    for h in hatches:
        way = course(h.cone, site.nature)
        truth = {
            "temperature": way["temp"],
            "salinity": np.full(len(CLOCK), h.cone.salinity),
            "ph": way["ph"],
            "oxygen": way["oxygen"],
        }
        start_values = {}
        for k, hour in enumerate(min(x, h.hours - 0.2) for x in site.read_hours):
            for q, (unit, digits) in QUANTITIES.items():
                if q in h.hide or (r.random() > site.read_rate[q] and not (q in h.must and site.read_rate[q])):
                    continue
                v = (
                    float(np.interp(hour, CLOCK, truth[q]))
                    + site.meter_bias[q]
                    + h.false.get(q, 0)
                    + r.normal(0, site.meter_sd[q])
                )
                v = round(max(v, 0.1 if q != "ph" else 5), digits if q != "salinity" or site.meter_sd[q] < 0.4 else 0)
                if k == 0:
                    start_values[q] = v
                if k > 0 or not site.in_columns or site.seed % 2:
                    rows_r.append([h.name, stamp(h.started + timedelta(hours=float(hour)), site.zone), q, v, unit])
        lux = (
            round(h.cone.lux if h.cone.light_from <= 1 else r.uniform(0, 15), -1)
            if "light" not in h.hide
            and (r.random() < site.read_rate["light"] or ("light" in h.must and site.read_rate["light"]))
            else None
        )
        column = start_values if site.in_columns else {}
        bubbles = "" if site.seed % 3 == 0 else ("weak" if h.cone.air < 0.4 and "air" not in h.hide else "strong")
        rows_h.append(
            [
                h.name,
                h.lot_written or h.lot.name,
                h.purpose,
                h.cone_name,
                stamp(h.started, site.zone),
                h.grams,
                h.ml,
                column.get("temperature"),
                column.get("salinity"),
                column.get("ph"),
                column.get("oxygen"),
                lux,
                bubbles,
                "yes" if site.decapsulated and h.purpose != "standard test" else "no",
                None if r.random() < site.blank_operator else h.person.name,
                h.note,
            ]
        )
        hours = [h.hours_written if h.hours_written is not None else h.hours]
        true_hours = [h.hours]
        if h.late or h.name in always_late:
            extra = 24.0 if h.purpose == "standard test" else site.late_after
            hours.append(hours[0] + extra)
            true_hours.append(h.hours + extra)
        rows_s += count(site, h, true_hours, hours, r)
        if r.random() < site.sieve_rate and h.purpose == "production":
            rows_s.append(sieve(site, h, r))
    frames = {
        "hatches": pd.DataFrame(rows_h, columns=HATCH_COLUMNS),
        "readings": pd.DataFrame(rows_r, columns=READING_COLUMNS),
        "samples": pd.DataFrame(rows_s, columns=SAMPLE_COLUMNS),
        "lots": lots(site, plan, first),
    }
    frames["hatches"] = frames["hatches"].sort_values("started", kind="stable")
    return frames


def count(site: Site, h: Hatch, true_hours: list, hours: list, r) -> list:
    seen, rows = h.seen(site, true_hours), []
    test = h.purpose == "standard test"
    ul, n, dil = (250.0, 6, 1) if test else (site.volume_ul, site.subsamples, h.dilution_written or site.dilution)
    scale = 250.0 / (site.volume_ul / site.dilution) if test else 1.0
    for j, hour in enumerate(hours):
        mix = float(np.exp(r.normal(0, site.mix_cv)))
        sort = {k: float(np.exp(r.normal(0, site.sort_cv))) for k in ("umbrella", "cysts", "shells")}
        taken = h.started + timedelta(hours=float(hour))
        for i in range(n):
            pip = float(np.exp(r.normal(0, site.pipette_cv)))
            got = {k: int(r.poisson(max(v[j], 0) * scale * mix * pip * sort.get(k, 1.0))) for k, v in seen.items()}
            clear = h.is_clear(site)
            kept = ("nauplii", "umbrella", "cysts") if test else site.counts
            value = {k: (got[k] if k in kept else None) for k in got}
            if clear:
                value["embryos"], value["cysts"], value["shells"] = value["cysts"], None, None
            photo = site.photo and not test
            tag = "abc"[j]
            rows.append(
                [
                    f"{h.name}.{tag}{i + 1}",
                    h.name,
                    stamp(taken + timedelta(minutes=3 * i), site.zone),
                    round(float(hour), 1),
                    "subsample",
                    ul,
                    None,
                    None,
                    dil,
                    value["nauplii"],
                    value["umbrella"],
                    value["cysts"],
                    value.get("embryos"),
                    value["shells"],
                    "photo" if photo else "person",
                    None if photo else h.counter.name,
                    f"{h.name}_{tag}{i + 1}.jpg".lower() if photo else None,
                    1,
                ]
            )
    return rows


def sieve(site: Site, h: Hatch, r) -> list:
    s = {k: float(v[0]) for k, v in h.seen(site).items()}
    total = r.uniform(200, 600)
    f = total / max(s["nauplii"], 1)
    n = {
        "nauplii": total,
        "umbrella": s["umbrella"] * f * 0.5,
        "cysts": s["cysts"] * f * r.uniform(0.05, 0.2),
        "shells": s["shells"] * f * r.uniform(0.01, 0.04),
    }
    v = {k: int(r.poisson(x)) for k, x in n.items()}
    return [
        f"{h.name}.s",
        h.name,
        stamp(h.started + timedelta(hours=h.hours, minutes=40), site.zone),
        round((h.hours_written or h.hours) + 0.7, 1),
        "sieve",
        None,
        round(float(total * 2.2e-5 * r.uniform(0.8, 1.2)), 4),
        None,
        1,
        v["nauplii"],
        v["umbrella"],
        None if site.decapsulated else v["cysts"],
        v["cysts"] if site.decapsulated else None,
        None if site.decapsulated else v["shells"],
        "person",
        h.counter.name,
        None,
        1,
    ]


def lots(site: Site, plan: list, first: datetime) -> pd.DataFrame:
    r, rows, done = np.random.default_rng(site.seed + 13), [], set()
    origin = str(r.choice(ORIGINS))
    for lot, a, _ in plan:
        if lot.name in done:
            continue
        done.add(lot.name)
        opened = first + timedelta(days=max(int(a) - (3 if site.tested else 0), 0))
        claim = per_ml(base_cone(site), lot, site.nature, 36.0)
        pct = 100 * claim["nauplii"][0] / (claim["nauplii"] + claim["umbrella"] + claim["full"])[0]
        hidden = lot.sheet
        pct = hidden.get("claimed_hatch_pct", float(np.clip(5 * round((pct + r.normal(2, 4)) / 5), 50, 95)))
        per_g = hidden.get("claimed_nauplii_per_g", float(round(lot.cysts_per_g * min(pct / 100, 0.95), -4)))
        keep = r.random(6) > 0.25
        rows.append(
            [
                lot.name,
                origin,
                (opened - timedelta(days=int(r.integers(150, 700)))).strftime("%Y-%m") if keep[0] else None,
                (opened - timedelta(days=int(r.integers(3, 60)))).strftime("%Y-%m-%d") if keep[1] else None,
                opened.strftime("%Y-%m-%d"),
                hidden.get("best_before", (opened + timedelta(days=int(r.integers(200, 900)))).strftime("%Y-%m"))
                if keep[2] or "best_before" in hidden
                else None,
                pct if keep[3] or "claimed_hatch_pct" in hidden else None,
                per_g if r.random() < 0.5 else None,
                float(r.choice([425, 454, 500, 1000])),
                round(float(r.uniform(35, 95)), 2) if keep[4] else None,
                "EUR" if keep[4] else None,
                hidden.get("moisture_pct", round(float(r.uniform(3, 8)), 1) if keep[5] and r.random() < 0.5 else None),
                lot.dry_weight_ug if r.random() < 0.4 else None,
                hidden.get("storage_c", float(r.choice([4, 4, 8, -18, 20]))),
                hidden.get("notes", None),
            ]
        )
    return pd.DataFrame(rows, columns=LOT_COLUMNS)
