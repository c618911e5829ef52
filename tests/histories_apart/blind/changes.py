"""Eight months of a room with one planted change, sudden or creeping."""

from __future__ import annotations

import copy
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from blind import notes
from blind.causes import worse_lot
from blind.evidence import summary
from blind.history import Hatch, Room, record, stamp, standard_test
from blind.world import Site, draw_site

DAYS = 244
STAGES = ("nauplii", "umbrella", "cysts")
ALL = (*STAGES, "shells")
# kind, whom it strikes, course, what the site must have
KINDS = [
    ("aeration_failing", "cone", "gradual", {"reads": ["oxygen"]}),
    ("heater_low", "cone", "sudden", {"reads": ["temperature"]}),
    ("cone_draught", "cone", "seasonal", {}),
    ("operator_change", "operator", "sudden", {}),
    ("scoop_for_scale", "operator", "sudden", {}),
    ("umbrella_as_nauplii", "counter", "sudden", {"photo": False}),
    ("lot_ageing", "lot", "gradual", {}),
    ("lot_switch", "lot", "sudden", {"lots": 3}),
    ("bad_tin", "lot", "sudden", {}),
    ("ph_meter_drift", "meter", "gradual", {"reads": ["ph"]}),
    ("refractometer_step", "meter", "sudden", {"reads": ["salinity"]}),
    ("thermometer_off", "water", "sudden", {"reads": ["temperature"]}),
    ("ph_decline", "water", "sudden", {"reads": ["ph"]}),
    ("salinity_slip", "water", "gradual", {"reads": ["salinity"]}),
    ("camera_step", "counter", "sudden", {"photo": True, "counts": ALL}),
    ("light_failing", "water", "gradual", {"reads": ["light"]}),
]
NO_EFFECT = {"ph_meter_drift", "refractometer_step"}
TEXT = {
    "aeration_failing": "air in {c} not as before",
    "heater_low": "new heater in {c}",
    "cone_draught": "fan put near {c}",
    "operator_change": "new colleague started",
    "scoop_for_scale": "scale gone for repair",
    "umbrella_as_nauplii": "new one does the counting now",
    "lot_ageing": "lid of the tin does not close",
    "lot_switch": "new lot opened",
    "bad_tin": "next tin of the lot",
    "ph_meter_drift": "pH probe old, calibrate?",
    "refractometer_step": "new refractometer",
    "thermometer_off": "new thermometer in the room",
    "ph_decline": "water from the other well now",
    "salinity_slip": "salt from other sack",
    "camera_step": "new lamp on the scope",
    "light_failing": "tubes getting brown",
}


def act(h: Hatch, kind: str, size: float, ramp: float, site: Site, sick) -> None:
    """The change at its full size times ramp (0 to 1) on one hatch."""
    s, c = size * ramp, h.cone
    if kind == "aeration_failing":
        c.air *= float(np.exp(-4 * s))
    elif kind in ("heater_low", "cone_draught", "thermometer_off"):
        c.temp -= 8 * s
        if kind == "thermometer_off":
            h.false["temperature"] = 8 * s
    elif kind == "operator_change":
        c.dry = 0.6 * s
        c.vigour += 0.3 * s
    elif kind == "scoop_for_scale":
        wobble = np.random.default_rng([site.seed, h.day, len(h.name), site.cones.index(h.cone_name)])
        c.grams *= (1 - 0.5 * s) * float(np.exp(wobble.normal(0, 0.3 * s)))
    elif kind == "umbrella_as_nauplii":
        h.u_as_n = min(1.0, 0.3 + s)
    elif kind in ("lot_ageing", "lot_switch", "bad_tin"):
        h.lot = sick(s)
    elif kind == "ph_meter_drift":
        h.false["ph"] = -0.9 * s
    elif kind == "refractometer_step":
        h.false["salinity"] = 12 * s
    elif kind == "ph_decline":
        c.ph -= 0.9 * s
        c.alkalinity /= 1 + 3 * s
    elif kind == "salinity_slip":
        c.salinity += 60 * s
    elif kind == "camera_step":
        h.stage.update(nauplii=1 - 0.5 * s, umbrella=1 - 0.3 * s, cysts=1 + 0.5 * s)
    elif kind == "light_failing":
        c.lux *= float(np.exp(-5 * s))
    else:
        raise ValueError(kind)


def make(name: str, seed: int, case: tuple) -> tuple[dict, dict]:
    kind, whom, course, need = case
    r = np.random.default_rng([seed, 5])
    need = {"counts": STAGES if r.random() < 0.5 else ALL, "cones": int(r.integers(3, 6)), "lots": 2, **need}
    site = draw_site(name, seed, str(r.choice(["nursery", "nursery", "hatchery", "research"])), **need)
    site.weekdays = list(range(7)) if site.kind != "research" else [0, 1, 2, 3, 4]
    while len(site.people) < 3:
        site.people.append(replace(site.people[0], name=f"p{len(site.people) + 5}"))
    first = datetime(int(r.integers(2022, 2025)), int(r.integers(1, 13)), 1)
    onset = int(r.integers(100, 170))
    lasts = {
        "gradual": int(r.integers(45, 75)),
        "sudden": int(r.integers(25, 70)),
        "seasonal": int(r.integers(50, 74)),
    }[course]
    end = min(onset + lasts, DAYS - 1)
    if kind in ("lot_ageing", "bad_tin"):
        plan = [(site.lots[0], 0, onset - 45), (site.lots[1], onset - 44, DAYS)]
        end = min(end + 30, DAYS - 1) if kind == "lot_ageing" else end
    elif kind == "lot_switch":
        plan, end = [(site.lots[0], 0, onset - 1), (site.lots[1], onset, end), (site.lots[2], end + 1, DAYS)], end
    else:
        swap = int(r.integers(50, 90))
        plan = [(site.lots[0], 0, swap), (site.lots[1], swap - int(r.choice([0, 0, 6])), DAYS)]
    cone = str(r.choice(site.cones))
    old = site.people[int(r.integers(3))]
    new = replace(
        old, name={"op": "op7"}.get(old.name[:2], "neu" if old.name in ("early", "late", "weekend", "spare") else "Q")
    )
    target = float(r.choice([0.1, 0.18, 0.28])) * float(r.uniform(0.9, 1.15))
    room = Room(site, first, DAYS, plan, per_day=2 if site.kind != "hatchery" else 3)
    hatches = room.run()
    stays = kind in ("operator_change", "umbrella_as_nauplii")
    if stays:
        end = DAYS - 1

    def is_struck(h: Hatch) -> bool:
        who = {
            "cone": h.cone_name == cone,
            "operator": h.person.name == old.name,
            "counter": site.photo or h.counter.name == old.name,
            "lot": h.lot is plan[1][0],
        }.get(whom, True)
        return bool(onset <= h.day <= end and who)

    struck = [h for h in hatches if is_struck(h)]
    base = plan[1][0]
    cache: dict = {}

    def sick(s: float):
        key = round(s, 2)
        if key not in cache:
            cache[key] = worse_lot(base, "old_lot" if kind != "lot_switch" else "dormant_lot", key)
        return cache[key]

    def ramp(h: Hatch) -> float:
        part = (h.day - onset + 1) / (end - onset + 1)
        return {"sudden": 1.0, "gradual": part, "seasonal": float(np.sin(np.pi * min(part, 0.999)))}[course]

    aim = target if course == "sudden" else 0.55 * target  # creeping: the mean over its course
    size = 0.5 if kind in NO_EFFECT else solve(struck, kind, site, sick, ramp, aim)
    before = {h.name: h.expected(site) for h in struck}
    for h in struck:
        act(h, kind, size, ramp(h), site, sick)
        if whom == "operator" and kind == "operator_change":
            h.person = new
        if kind == "umbrella_as_nauplii":
            h.counter = new
    after = {h.name: h.expected(site) for h in struck}
    points = np.array([before[n][1] - after[n][1] for n in before])
    drops = np.array([1 - after[n][0] / before[n][0] for n in before])
    told = bool(r.random() < 0.5)
    if told:
        struck[0].note = notes.slip(TEXT[kind].format(c=cone), r)
    tests = [t for lot, a, _ in plan for t in standard_test(site, lot, max(a - 2, 0), first, r)] if site.tested else []
    frames = record(site, tests + hatches, plan, first)
    change = {
        "kind": kind,
        "course": course,
        "strikes": whom,
        "strength": "none"
        if kind in NO_EFFECT
        else "mild"
        if abs(drops.mean()) < 0.08
        else "medium"
        if abs(drops.mean()) < 0.16
        else "strong",
        "size": round(size, 3),
        "start": stamp(first + timedelta(days=onset), site.zone),
        "end": stamp(first + timedelta(days=end, hours=23), site.zone),
        "cones": [cone] if whom == "cone" else list(site.cones),
        "lot": base.name if whom == "lot" else None,
        "operator": new.name
        if kind in ("operator_change", "umbrella_as_nauplii")
        else old.name
        if whom == "operator"
        else None,
        "replaces": old.name if kind in ("operator_change", "umbrella_as_nauplii") else None,
        "mean_points": round(float(points.mean()), 2),
        "worst_points": round(float(points[np.argmax(np.abs(points))]), 2),
        "mean_he_drop": round(float(drops.mean()), 3),
        "target_he_drop": 0.0 if kind in NO_EFFECT else round(aim, 3),
        "hatches_struck": len(struck),
        "logged": told,
        "struck": [h.name for h in struck],
    }
    return judged(seed, site, change, kind, drops, points, frames, told), frames


def solve(struck: list, kind: str, site: Site, sick, ramp, target: float) -> float:
    """Size at which the struck hatches lose the target on average, or gain it where umbrella is counted as nauplii."""
    some = np.random.default_rng(site.seed).choice(len(struck), min(len(struck), 16), replace=False)
    probe = [struck[i] for i in sorted(some)]  # drawn, since every nth would always be the same cone
    low, high = 0.0, 1.0
    for _ in range(12):
        s, now, was = (low + high) / 2, 0.0, 0.0
        for h in probe:
            trial = copy.copy(h)
            trial.cone, trial.stage, trial.false = copy.deepcopy(h.cone), dict(h.stage), dict(h.false)
            was += trial.expected(site)[0]
            act(trial, kind, s, ramp(h), site, sick)
            now += trial.expected(site)[0]
        low, high = (s, high) if abs(1 - now / was) < target else (low, s)
    return round(high, 2)


def judged(seed: int, site: Site, change: dict, kind: str, drops, points, frames: dict, told: bool) -> dict:
    """Whether a careful reader of charts could see it: the shift against the scatter of the calm hatches."""
    m = summary(frames)
    m = m[m.purpose == "production"]
    calm = m[~m.index.isin(change["struck"])]
    spread = float(np.log(calm.per_g.clip(lower=1)).groupby(calm.lot).std().mean())
    pct = float(calm.hatch_pct.groupby(calm.lot).std().mean())
    n = len(change["struck"])
    z = max(abs(float(np.mean(drops))) / spread, abs(float(np.mean(points))) / max(pct, 0.5)) * np.sqrt(n) / 1.3
    watched = {
        "ph_meter_drift": "ph",
        "refractometer_step": "salinity",
        "ph_decline": "ph",
        "salinity_slip": "salinity",
        "light_failing": "light",
        "heater_low": "temperature",
        "aeration_failing": "oxygen",
    }.get(kind)
    evidence = [f"reading:{watched}"] if watched and site.read_rate[watched] else []
    evidence += ["note"] if told else []
    evidence += {
        "cone": ["the other cones hold"],
        "operator": ["the other operators hold"],
        "counter": ["shells and cysts do not follow"] if "shells" in site.counts else [],
        "lot": ["other lot holds"],
    }.get(change["strikes"], [])
    accept = {
        "thermometer_off": ["thermometer_off", "cold"],
        "light_failing": ["light_failing", "dark_start"],
        "ph_decline": ["ph_decline", "low_ph"],
        "salinity_slip": ["salinity_slip", "high_salinity"],
        "heater_low": ["heater_low", "cold"],
        "cone_draught": ["cone_draught", "heater_low", "cold"],
        "aeration_failing": ["aeration_failing", "low_oxygen"],
        "operator_change": ["operator_change", "not_wetted"],
        "scoop_for_scale": ["scoop_for_scale", "weighing_error"],
        "umbrella_as_nauplii": ["umbrella_as_nauplii", "miscount", "operator_change"],
        "camera_step": ["camera_step", "miscount"],
        "bad_tin": ["bad_tin", "lot_ageing", "old_lot"],
        "lot_ageing": ["lot_ageing", "old_lot"],
        "lot_switch": ["lot_switch", "dormant_lot"],
    }.get(kind, [kind])
    return {
        "seed": seed,
        "quiet": None,
        "kind": site.kind,
        "days": DAYS,
        "subsample_ul": site.volume_ul,
        "changes": [change],
        "expected_z": round(float(z), 1),
        "evidence": evidence,
        "decidable": bool(kind in NO_EFFECT or z > 4),
        "acceptable": accept,
        "water": {"seasonal_c": site.season_c},
    }
