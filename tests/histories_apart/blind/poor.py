"""Calm months, then one poor hatch of known cause, or a low that is only chance."""

from __future__ import annotations

import copy
from datetime import datetime, timedelta

import numpy as np

from blind import notes
from blind.causes import ROOM, act, calibrate, calibrate_lot, striking_hour
from blind.evidence import READ_OF, gather, judge, summary
from blind.history import Room, record, standard_test
from blind.world import Site, draw_site

STAGES = ("nauplii", "umbrella", "cysts")
ALL = (*STAGES, "shells")
# (causes with the way each comes about, what the sheet tells, what the site must have)
# tell: direct or oblique note; reading: the meter was there and no note; sheet; sibling; late; blind: nothing
CASES = [
    ("cold/heater_off", "direct", {}),
    ("cold/cold_room", "reading", {"reads": ["temperature"]}),
    ("cold/heater_off", "blind", {"counts": STAGES}),
    ("power_cut/power_cut", "direct", {}),
    ("power_cut/power_cut", "oblique", {"counts": STAGES}),
    ("heat/stuck", "reading", {"reads": ["temperature"], "counts": STAGES}),
    ("heat/stuck", "oblique", {}),
    ("low_ph/well_water", "reading", {"reads": ["ph"], "counts": ALL}),
    ("low_ph/no_buffer", "direct", {"counts": STAGES}),
    ("low_oxygen/stone", "oblique", {"counts": STAGES}),
    ("low_oxygen/blower", "reading", {"reads": ["oxygen"], "cones": 5, "kind": "nursery"}),
    ("over_density/double", "sheet", {"counts": STAGES}),
    ("high_salinity/mix", "reading", {"reads": ["salinity"], "counts": STAGES}),
    ("high_salinity/refractometer_off", "blind", {"reads": ["salinity"]}),
    ("low_salinity/fresh", "direct", {}),
    ("dark_start/timer", "direct", {"counts": STAGES}),
    ("dark_start/lid", "late", {"counts": ALL}),
    ("dark_start/timer", "reading", {"reads": ["light"], "cones": 3, "kind": "nursery"}),
    ("not_wetted/ring", "direct", {"counts": ALL}),
    ("not_wetted/clumps", "oblique", {"counts": ALL}),
    ("over_long/truck", "sheet", {"counts": ALL}),
    ("read_early/noon", "sheet", {"counts": STAGES}),
    ("mixing_error/bottom", "oblique", {"counts": ALL}),
    ("mixing_error/top", "direct", {"counts": ALL}),
    ("weighing_error/scoop", "direct", {}),
    ("weighing_error/tare", "blind", {"counts": ALL}),
    ("volume_error/over_line", "blind", {"counts": ALL}),
    ("miscount/half_grid", "direct", {"photo": False}),
    ("miscount/umbrella_as_cyst", "sheet", {"photo": False, "counts": STAGES}),
    ("dilution_error/twice", "blind", {"photo": False}),
    ("bleach_left/short_rinse", "oblique", {"counts": STAGES}),
    ("wrong_portion/swapped", "sibling", {"cones": 3, "kind": "nursery"}),
    ("mixed_lots/end_of_tin", "direct", {"counts": STAGES}),
    ("wrong_lot/back_shelf", "blind", {"counts": ALL}),
    ("decap_overdone/phone", "oblique", {"decapsulated": True, "counts": STAGES}),
    ("bacterial_bloom/slime", "direct", {"counts": ALL}),
    ("harvest_loss/bucket", "blind", {"counts": ALL}),
    ("rough_air/valve", "oblique", {"counts": ALL}),
    ("dormant_lot/lot", "lot", {"counts": STAGES, "tested": True}),
    ("old_lot/lot", "lot", {"counts": STAGES}),
    ("dirty_lot/lot", "lot", {"counts": ALL, "tested": True}),
    ("cold/cold_room+low_ph/well_water", "reading", {"reads": ["temperature", "ph"], "counts": STAGES}),
    ("over_density/double+low_oxygen/stone", "sheet", {"reads": ["oxygen"], "counts": STAGES}),
    ("not_wetted/ring+miscount/half_grid", "direct", {"photo": False, "counts": STAGES}),
    ("old_lot/lot+cold/heater_off", "reading", {"reads": ["temperature"], "counts": STAGES}),
    ("none", "mislead", {}),
    ("none", "", {"counts": STAGES}),
    ("none", "", {}),
    ("none", "mislead", {"counts": ALL}),
    ("none", "", {"counts": STAGES}),
]
SITES = 40
LOT_CAUSES = {"dormant_lot", "old_lot", "dirty_lot"}


def pick(r) -> list:
    """Forty of the cases: every cause once at least, all of two causes, four of chance or more; the seed says which."""
    left = list(CASES)
    first = lambda case: case[0].split("/")[0]  # noqa: E731
    while len(left) > SITES:
        spare = [
            c
            for c in left
            if "+" not in c[0]
            and sum(first(o) == first(c) and "+" not in o[0] for o in left) > (4 if c[0] == "none" else 1)
        ]
        left.remove(spare[int(r.integers(len(spare)))])
    return left


def history(site: Site, r, of_lot: str | None, drop: float):
    days = {"lab": 210, "research": 100}.get(site.kind, int(r.integers(60, 100)))
    first = datetime(int(r.integers(2022, 2026)), int(r.integers(1, 13)), int(r.integers(1, 28)))
    if of_lot or r.random() < 0.4:
        last_for = int(r.integers(9, 20)) * (3 if site.kind == "lab" else 1) if of_lot else int(r.integers(25, 45))
        plan = [(site.lots[0], 0, days - last_for - 1), (site.lots[1], days - last_for, days)]
    else:
        plan = [(site.lots[0], 0, days)]
    per_day = {"lab": 1, "research": 2, "nursery": 2, "hatchery": 4}[site.kind] if r.random() < 0.7 else None
    size = None
    if of_lot:
        probe = Room(copy.deepcopy(site), first, 30, [(site.lots[1], 0, days)], per_day).run()
        lot, size = calibrate_lot(site.lots[1], of_lot, probe, site, drop)
        if r.random() < 0.5 and of_lot == "old_lot":
            lot.sheet["moisture_pct"], lot.sheet["best_before"] = (
                round(float(r.uniform(9.5, 14)), 1),
                (first + timedelta(days=int(r.integers(-90, 60)))).strftime("%Y-%m"),
            )
        site.before, site.lots[1] = site.lots[1], lot
        plan[1] = (lot, *plan[1][1:])
    room = Room(site, first, days, plan, per_day)
    return room, list(room.run()), size


def make(name: str, seed: int, case: tuple) -> tuple[dict, dict]:
    """A hatch is looked into because it came out low: draws in which it did not are drawn again."""
    for attempt in range(8):
        truth, frames = draw(name, seed + 1000 * attempt, case)
        if (truth["z_per_g"] or 0) < -1.8:
            break
    return truth, frames


def draw(name: str, seed: int, case: tuple) -> tuple[dict, dict]:
    what, tell, need = case
    r = np.random.default_rng([seed, 3])
    pairs = [] if what == "none" else [tuple(p.split("/")) for p in what.split("+")]
    site = draw_site(name, seed, **need)
    drop = float(r.choice([0.15, 0.25, 0.4, 0.55], p=[0.2, 0.35, 0.3, 0.15])) * float(r.uniform(0.85, 1.15))
    of_lot = next((c for c, _ in pairs if c in LOT_CAUSES), None)
    share = drop / max(len(pairs), 1)
    if tell == "reading" and max(site.read_hours) < 0.4 * site.hours:
        site.read_hours.append(round(site.hours - 0.5, 1))
    room, hatches, lot_size = history(site, r, of_lot, share)
    truth = {
        "seed": seed,
        "kind": site.kind,
        "causes": [],
        "logged": tell not in ("blind", ""),
        "logged_as": [],
        "second_reading": False,
        "distractor": None,
        "of_lot": [],
        "tell": tell,
    }
    marks, late, named = {}, set(), set()
    tests = (
        [t for lot, a, _ in room.plan for t in standard_test(site, lot, max(a - 2, 0), room.first, r)]
        if site.tested
        else []
    )
    if not pairs:
        frames = record(site, tests + hatches, room.plan, room.first)
        m = summary(frames)
        m = m[m.purpose == "production"]
        poor = lowest(hatches, m.per_g)
        hatches = [h for h in hatches if h.day <= poor.day]
        if tell == "mislead":
            poor.note = notes.misleading(r)
    else:
        last = hatches[-1].day
        poor = [h for h in hatches if h.day == last][int(r.integers(sum(h.day == last for h in hatches)))]
        if r.random() < 0.5 or tell == "late":
            late.add(poor.name)
        work = [(c, w) for c, w in pairs if c not in LOT_CAUSES]
        for cause, way in work:
            poor, _ = strike(site, hatches, poor, cause, way, share, tell, r, truth)
        if of_lot:
            calm, sick = copy.deepcopy(room.hatches[-1]), copy.deepcopy(room.hatches[-1])
            calm.lot = site.before
            a, b = calm.expected(site), sick.expected(site)
            truth["causes"].append(
                {
                    "cause": of_lot,
                    "way": "lot",
                    "size": round(lot_size, 3),
                    "he_drop": round(1 - b[0] / a[0], 3),
                    "points": round(a[1] - b[1], 2),
                }
            )
            truth["of_lot"] = [of_lot]
        causes = [c for c, _ in pairs]
        if tell in ("direct", "oblique"):
            other = next((h.cone_name for h in hatches if h.day == last and h.name != poor.name), "?")
            named = set(causes[: 1 if r.random() < 0.6 else 2])
            poor.note = "; ".join(
                notes.of_cause(r, c, tell == "direct", a=poor.cone_name, b=other) for c in causes if c in named
            )
            marks[poor.name] = tell
        elif of_lot and r.random() < 0.4:
            poor.note, marks[poor.name] = notes.of_cause(r, of_lot, False), "oblique"
            named = {of_lot}
        elif r.random() < 0.12:
            poor.note = notes.misleading(r)
            truth["misleading_note"] = True
        if tell in ("blind", "direct", "oblique", "late") and "refractometer_off" not in what:
            poor.hide = (
                {"temperature", "salinity", "ph", "oxygen", "light", "air"}
                if tell == "blind" or r.random() < 0.5
                else {"air"}
            )
        if tell in ("reading", "sheet"):
            poor.must = {q for c in causes for q in READ_OF.get(c, ())}
        if tell == "blind":
            poor.hours_written = poor.hours_written or site.hours
            late.discard(poor.name)
            poor.late = False
        if tell in ("direct", "oblique", "sheet") and r.random() < 0.2:
            q = str(
                r.choice(
                    [x for x in ("ph", "salinity", "temperature") if not any(x in READ_OF.get(c, ()) for c in causes)]
                )
            )
            poor.false[q] = float({"ph": -0.5, "salinity": 6, "temperature": -3}[q])
            truth["distractor"] = q
    frames = record(site, tests + hatches, room.plan, room.first, always_late=late)
    found = gather(frames, poor.name, marks, bool(of_lot))
    s = frames["samples"]
    truth.update(poor_hatch=poor.name, lot=poor.lot.name, cone=poor.cone_name, operator=poor.person.name)
    truth["second_reading"] = bool(s[s.hatch == poor.name].hours.pipe(lambda x: x.max() - x.min() > 2))
    useful = {q for c, _ in pairs for q in READ_OF.get(c, ())}
    if pairs:
        truth["logged_as"] = sorted(
            {
                t.split(":")[0] if t.startswith("note") else t
                for t, _ in found["evidence"]
                if t.startswith("note") or t.split(":")[-1] in useful
            }
        )
    truth["z_per_g"] = None if not np.isfinite(found["z"]) else round(found["z"], 2)
    truth["evidence"] = [f"{t}: {x}" for t, x in found["evidence"]]
    truth.update(judge([c for c, _ in pairs], found, of_lot, named))
    truth["logged"] = bool(truth["logged_as"]) and bool(pairs)
    truth["water"] = {"seasonal_c": site.season_c}
    for c in truth["causes"]:
        c["strength"] = strength(c["he_drop"])
    if not pairs:
        truth["causes"] = [{"cause": "none"}]
    return truth, frames


def lowest(hatches: list, per_g):
    """Of the hatches in the last two fifths that are lowest of their last 25 days, the lowest against those days."""
    best, low = None, np.inf
    for h in hatches[int(0.6 * len(hatches)) :]:
        past = [np.log(max(per_g[o.name], 1)) for o in hatches if h.day - 25 <= o.day < h.day and o.lot is h.lot]
        now = np.log(max(per_g[h.name], 1))
        if len(past) >= 4 and now < min(past) and now - np.median(past) < low:
            best, low = h, now - np.median(past)
    return best or hatches[-1]


def strength(drop: float) -> str:
    return "mild" if drop < 0.2 else "medium" if drop < 0.35 else "strong"


def strike(site, hatches, poor, cause, way, drop, tell, r, truth):
    """Put the cause into the poor hatch, and into the others of the day where it strikes the room."""
    at = striking_hour(cause, site, r)
    if way in ("stuck", "heater_off") and tell == "reading":
        at = min(at, max(site.read_hours) * 0.4)
    if cause == "dilution_error":
        drop = 0.5
    before = poor.expected(site)
    plan_hours = poor.hours
    new, size = calibrate(poor, cause, way, at, site, drop)
    after = new.expected(site)
    if cause in ("over_long", "read_early"):
        new.hours_written = None if tell == "sheet" else plan_hours
    if way == "umbrella_as_cyst":
        new.counter = copy.copy(new.counter)
        new.counter.name = {"op": "op9", "p": "p9"}.get(new.counter.name[:-1], "new")
    i = hatches.index(poor)
    hatches[i] = new
    siblings = [h for h in hatches if h.day == new.day and h is not new]
    if way in ROOM:
        for h in siblings:
            if r.random() < 0.9:
                act(h, cause, way, size * float(r.uniform(0.75, 1.1)), at, site)
                h.hide |= new.hide
    elif cause == "wrong_portion" and siblings:
        h = siblings[0]
        h.cone.grams += poor.cone.grams - new.cone.grams
    truth["causes"].append(
        {
            "cause": cause,
            "way": way,
            "size": round(size, 3),
            "he_drop": round(1 - after[0] / before[0], 3),
            "points": round(before[1] - after[1], 2),
        }
    )
    return new, siblings
