"""Sites: what kind of place, how it works, which cysts it buys, how good its meters and eyes are."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from blind.embryo import Cone, Lot, Nature, per_ml

ORIGINS = [
    "salt lake strain",
    "bay strain",
    "inland lake",
    "salina",
    "Salzsee",
    "parthenogenetic",
    "",
    "franciscana",
    "laguna",
]
QUANTITIES = {"temperature": ("C", 1), "salinity": ("ppt", 1), "ph": ("pH", 2), "oxygen": ("mg/L", 1)}


@dataclass
class Person:
    name: str
    scale: float  # weighing bias (factor)
    weigh_sd: float
    fill_sd: float
    eye: float  # share of nauplii seen
    u_as_n: float  # share of umbrella written as nauplii
    writes: float  # how readily notes are written
    language: str


@dataclass
class Site:
    name: str
    seed: int
    kind: str
    nature: Nature
    cones: list
    people: list
    litres: float
    density: float
    hours: float
    temp: float
    salinity: float
    ph: float
    alkalinity: float
    lux: float
    inertia_h: float
    weekdays: list
    start_hour: float
    zone: str
    cone_temp: dict
    cone_air: dict
    season_c: float
    day_sd: dict
    hatch_sd: dict
    vigour_day: float
    vigour_hatch: float
    heavy: bool
    meter_bias: dict
    meter_sd: dict
    read_rate: dict  # share of hatches with this reading, 0: never
    read_hours: list
    in_columns: bool  # readings written in the hatch sheet, else only in the water book
    subsamples: int
    volume_ul: float
    dilution: int
    photo: bool
    eye_photo: float
    u_as_n_photo: float
    counts: tuple  # which stages are counted
    decapsulated: bool
    pipette_cv: float
    mix_cv: float
    sort_cv: float
    late_rate: float
    late_after: float
    sieve_rate: float
    hour_sd: float
    note_rate: float
    blank_operator: float
    tested: bool
    languages: list
    lots: list = field(default_factory=list)
    before: Lot | None = None  # a lot as it would be without its fault


def draw_nature(r) -> Nature:
    return Nature(
        zero_c=r.uniform(10.5, 15),
        best_c=r.uniform(30, 31.5),
        heat_width_c=r.uniform(3.5, 6),
        lethal_c=r.uniform(33.5, 37),
        ph_half=r.uniform(7.05, 7.5),
        ph_spread=r.uniform(0.1, 0.28),
        oxygen_half=r.uniform(0.7, 1.6),
        salt_limit=r.uniform(68, 88),
        salt_spread=r.uniform(5, 10),
        salt_delay=r.uniform(0.004, 0.012),
        light_need=r.uniform(0.35, 0.85),
        dark_wait_h=r.uniform(12, 45),
        acid=r.uniform(0.03, 0.1),
        oxygen_use=r.uniform(0.2, 0.5),
        stores_h=r.uniform(12, 28),
        loss_per_h=r.uniform(0.006, 0.028),
        shell_pieces=r.uniform(0.85, 1.3),
    )


def draw_lot(r, n: int, hours: float, fine: float) -> Lot:
    empties = r.uniform(0.01, 0.07)
    cysts = r.uniform(205e3, 295e3)
    dead = float(np.clip(r.beta(2.2, 11) * (1.6 - fine), 0.02, 0.45))
    return Lot(
        name="",
        cysts_per_g=cysts,
        empties_per_g=cysts * empties,
        shells_per_g=cysts * r.uniform(0.0, 0.1),
        dead=dead,
        resting=float(r.choice([0, 0, 0.01, 0.03, 0.06])),
        pace_h=1.0,
        pace_sd=r.uniform(0.07, 0.17),
        free_h=r.uniform(1.2, 3.0),
        dry_weight_ug=float(r.choice([1.63, 1.7, 1.92, 2.0, 2.27, 2.42, 3.1])),
        ageing=float(r.choice([0, 0, 0.0005, 0.0012])),
        seed=int(r.integers(1e9)),
    )


def name_lot(r, style: int, n: int) -> str:
    if style == 0:
        return f"{''.join(r.choice(list('ABDEGHKMPRTW'), 2))}{r.integers(10, 99)}{r.integers(100, 999)}"
    if style == 1:
        return f"tin {r.integers(1, 40)}-{n + 1}"
    if style == 2:
        return f"{r.integers(20, 26)}-{r.integers(1, 53):02d}-{r.choice(list('abcd'))}"
    return f"LOT{r.integers(10000, 99999)}"


def draw_site(name: str, seed: int, kind: str | None = None, **force) -> Site:
    r = np.random.default_rng(seed)
    kind = kind or str(r.choice(["lab", "nursery", "nursery", "hatchery", "research"]))
    n_cones = {
        "lab": int(r.choice([1, 2, 3])),
        "nursery": int(r.integers(2, 6)),
        "hatchery": int(r.integers(4, 9)),
        "research": int(r.integers(3, 7)),
    }[kind]
    n_cones = force.get("cones", n_cones)
    litres = float(
        {
            "lab": r.choice([1, 1.5, 2]),
            "nursery": r.choice([10, 18, 20, 40, 80]),
            "hatchery": r.choice([200, 500, 1000, 1250]),
            "research": r.choice([0.8, 1, 5, 15]),
        }[kind]
    )
    density = float(r.choice([1, 1.5, 2, 2, 2.5]) if litres > 18 else r.choice([1, 1.5, 2, 3, 4]))
    hours = float(
        {
            "lab": r.choice([24, 24, 30, 36, 48]),
            "nursery": r.choice([20, 22, 24, 24, 28, 36]),
            "hatchery": r.choice([18, 20, 24, 24]),
            "research": r.choice([24, 24, 30, 48]),
        }[kind]
    )
    temp = float(
        np.clip(
            {18: 29.3, 20: 28.7, 22: 28.3, 24: 28, 28: 27, 30: 26.5, 36: 25.5, 48: 25.2}[int(hours)] + r.normal(0, 0.6),
            25.0,
            29.8,
        )
    )
    style = int(r.integers(4))
    letters = {
        0: list("ABCDEFGH"),
        1: [f"K{i}" for i in range(1, 9)],
        2: [f"V{i}" for i in range(1, 9)],
        3: ["left", "mid", "right", "back", "front", "door", "window", "sink"],
    }[style if n_cones > 1 else 0]
    cones = letters[:n_cones]
    languages = list(r.choice(["en", "en", "de", "es", "terse"], 3))
    people = []
    for i in range(int(r.integers(1, 3) if kind == "lab" else r.integers(2, 5))):
        people.append(
            Person(
                name={0: f"op{i + 1}", 1: "GHKLM"[i], 2: ["early", "late", "weekend", "spare", "x"][i], 3: f"p{i + 1}"}[
                    style
                ],
                scale=float(np.exp(r.normal(0, 0.012))),
                weigh_sd=float(r.uniform(0.006, 0.03)),
                fill_sd=float(r.uniform(0.006, 0.03)),
                eye=float(r.uniform(0.92, 1.0)),
                u_as_n=float(r.uniform(0.02, 0.25)),
                writes=float(r.uniform(0.4, 1.8)),
                language=str(r.choice(languages)),
            )
        )
    decaps = bool(force.get("decapsulated", r.random() < (0.45 if kind == "research" else 0.12)))
    counts = ("nauplii", "umbrella", "cysts", "shells")
    u = r.random()
    if (kind in ("lab", "hatchery") and u < 0.4) or u < 0.12:
        counts = ("nauplii",)
    elif u < 0.3:
        counts = ("nauplii", "cysts")
    elif u < 0.65:
        counts = ("nauplii", "umbrella", "cysts")
    counts = force.get("counts", counts)
    photo = bool(r.random() < {"lab": 0.25, "nursery": 0.6, "hatchery": 0.45, "research": 0.5}[kind])
    photo = force.get("photo", photo)
    reads = {
        q: float(r.choice([0.5, 0.85, 0.97])) if r.random() < p else 0.0
        for q, p in (("temperature", 0.97), ("salinity", 0.7), ("ph", 0.6), ("oxygen", 0.45), ("light", 0.25))
    }
    for q in force.get("reads", ()):
        reads[q] = max(reads[q], 0.85)
    site = Site(
        name=name,
        seed=seed,
        kind=kind,
        nature=draw_nature(r),
        cones=cones,
        people=people,
        litres=litres,
        density=density,
        hours=hours,
        temp=temp,
        salinity=float(r.choice([20, 25, 28, 30, 33, 35])),
        ph=float(r.uniform(8.05, 8.4)),
        alkalinity=float(r.uniform(1.8, 3.2)),
        lux=float(r.choice([1200, 2000, 2500, 3500])),
        inertia_h={"lab": 1.5, "nursery": 4.0, "hatchery": 12.0, "research": 1.5}[kind],
        weekdays=force.get(
            "weekdays",
            sorted(r.choice(5, 2, replace=False).tolist())
            if kind == "lab"
            else ([0, 1, 2, 3, 4] if kind == "research" else list(range(7))),
        ),
        start_hour=float(r.choice([7.5, 8.5, 9, 10, 14, 16.5])),
        zone=str(r.choice(["+00:00", "+01:00", "+02:00", "-03:00", "-05:00", "+08:00", "+10:00"])),
        cone_temp={c: float(r.normal(0, 0.25)) for c in cones},
        cone_air={c: float(np.exp(r.normal(0, 0.12))) for c in cones},
        season_c=float(r.choice([0, 0, 0.4, 0.8])),
        day_sd={
            "temp": r.uniform(0.1, 0.45),
            "salinity": r.uniform(0.2, 1.0),
            "ph": r.uniform(0.02, 0.07),
            "air": r.uniform(0.02, 0.1),
        },
        hatch_sd={
            "temp": r.uniform(0.05, 0.3),
            "salinity": r.uniform(0.1, 0.5),
            "ph": r.uniform(0.01, 0.05),
            "air": r.uniform(0.02, 0.1),
        },
        vigour_day=r.uniform(0.02, 0.14),
        vigour_hatch=r.uniform(0.05, 0.2),
        heavy=bool(r.random() < 0.3),
        meter_bias={
            "temperature": r.normal(0, 0.25),
            "salinity": r.normal(0, 0.7),
            "ph": r.normal(0, 0.07),
            "oxygen": r.normal(0, 0.3),
        },
        meter_sd={
            "temperature": r.uniform(0.08, 0.2),
            "salinity": r.choice([0.3, 0.5]),
            "ph": r.uniform(0.02, 0.05),
            "oxygen": r.uniform(0.1, 0.25),
        },
        read_rate=reads,
        read_hours=list(r.choice([0.3, 0.5, 1.0], 1))
        + ([float(round(hours * r.uniform(0.35, 0.6), 1))] if r.random() < 0.45 else [])
        + ([hours - 0.3] if r.random() < 0.55 else []),
        in_columns=bool(r.random() < 0.75),
        subsamples=int(r.choice([1, 2, 3, 3, 4, 6])),
        volume_ul=float(r.choice([100, 250, 250, 500, 1000])),
        dilution=1,
        photo=photo,
        eye_photo=float(r.uniform(0.88, 0.99)),
        u_as_n_photo=float(r.uniform(0.04, 0.3)),
        counts=counts,
        decapsulated=decaps,
        pipette_cv=float(r.uniform(0.02, 0.09)),
        mix_cv=float(r.uniform(0.015, 0.06)),
        sort_cv=float(r.uniform(0.02, 0.12)),
        late_rate=float(force.get("late", r.choice([0, 0, 0.1, 0.4]))),
        late_after=float(r.choice([6, 12, 24])),
        sieve_rate=float(r.choice([0, 0, 0.05, 0.2])),
        hour_sd=float(r.uniform(0.1, 0.6)),
        note_rate=float(r.uniform(0.02, 0.14)),
        blank_operator=float(r.choice([0, 0, 0.03, 0.1])),
        tested=bool(force.get("tested", r.random() < 0.5)),
        languages=languages,
    )
    fine = float(r.uniform(0.5, 1.1))
    for n in range(int(force.get("lots", 2))):
        lot = draw_lot(r, n, hours, fine)
        lot.name = name_lot(r, style, n)
        while lot.name in [o.name for o in site.lots]:
            lot.name = name_lot(r, style, n)
        set_pace(site, lot, float(r.uniform(0.82, 0.95)), r)
        site.lots.append(lot)
    per_ul = float(per_ml(base_cone(site), site.lots[0], site.nature, hours)["nauplii"][0]) / 1000
    want = float(r.choice([60, 90, 120]))
    options = [
        (abs(np.log(per_ul * v / d / want)), v, d)
        for v in (50, 100, 200, 250, 500, 1000)
        for d in (1, 2, 5, 10)
        if not (d > 1 and v < 250)
    ]
    _, site.volume_ul, site.dilution = min(options)
    return site


def base_cone(site: Site, cone: str | None = None) -> Cone:
    return Cone(
        grams=site.density * site.litres,
        litres=site.litres,
        temp=site.temp + (site.cone_temp[cone] if cone else 0),
        salinity=site.salinity,
        ph=site.ph,
        alkalinity=site.alkalinity,
        lux=site.lux,
        inertia_h=site.inertia_h,
        air=site.cone_air[cone] if cone else 1.0,
    )


def set_pace(site: Site, lot: Lot, share: float, r) -> None:
    """A site's hours are those at which its cysts have hatched: the lot's pace follows, within what lots can do."""
    at = per_ml(base_cone(site), lot, site.nature, site.hours)
    low, high = 9.0, 21.0
    for _ in range(24):
        lot.pace_h = (low + high) / 2
        lot.__dict__.pop("_grid", None)
        top = 1 - lot.dead - (1 - lot.dead) * lot.resting
        at = per_ml(base_cone(site), lot, site.nature, site.hours)
        opened = (at["nauplii"][0]) / (at["umbrella"][0] + at["nauplii"][0] + at["full"][0]) / top
        low, high = (lot.pace_h, high) if opened > share + 0.04 else (low, lot.pace_h)
    lot.pace_h *= float(np.exp(r.normal(0, 0.015)))
    if lot.pace_h > 18:
        lot.pace_h = float(r.uniform(15, 18))
