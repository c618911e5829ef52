"""The poor set: a calm site, then one poor hatch whose cause is known (or a chance low)."""

import numpy as np
import pandas as pd

from varied import biology, causes, expert, record, rooms, sim
from varied import notes as words

TARGETS = {"mild": 0.12, "medium": 0.25, "strong": 0.45}
KIND_ORDER = [
    "aquarium",
    "university",
    "zoo",
    "handover",
    "brief",
    "weekly",
    "twice",
    "bottles",
    "breeder",
    "aquarium",
    "university",
    "breeder",
]


def cases(rng, n=36, none=6, pairs=4):
    """Which causes each site gets: every cause once, some in pairs, some nothing."""
    names = [c.name for c in causes.LIST]
    single = names * (1 + n // len(names))
    out = [[x] for x in single[: n - none - pairs]] + [[] for _ in range(none)]
    free = [x for x in names if causes.BY_NAME[x].reach != "lot" and x not in ("over_density", "decap_overdone")]
    out += [[str(x) for x in rng.choice(free, 2, replace=False)] for _ in range(pairs)]
    rng.shuffle(out)
    return out


def solve(world, c_row, name, target, a):
    """Size of the cause that costs about `target` of the counted nauplii per gram, with what it then costs."""
    k, n = causes.BY_NAME[name], 40
    size = k.low * (k.high / k.low) ** np.linspace(0, 1, n)
    w, c = biology.repeat(world, n), biology.repeat(c_row, n)
    before = biology.develop(w, c)[1]
    after = biology.develop(w, causes.apply(name, w, c, size, np.full(n, a)))[1]
    drop = 1 - after["N"] / before["N"]
    i = int(np.argmin(np.abs(drop - target)))
    return float(size[i]), float(drop[i])


def h_pct(d, counts):
    e = d["N"] + d["C"] + (d["U"] if "U" in counts else 0)
    return 100 * d["N"] / e


def settle_hours(room, world):
    """People wait until hatching is over: later hours where the room is cool and its animals slow."""
    lot = {"full": 250e3, "viable": 0.85, "weak": 0.02, "slow": 1.05, "empty": 0.0}
    c = biology.calm(1, room["mean"]["temp"] - 0.3, 8.2, 6.0, room["mean"]["sal"], room["gl"], lot)
    for _ in range(5):
        d = biology.develop(world, c, np.array([room["hours"][0]]))[1]
        if d["U"][0] / (d["N"] + d["U"])[0] < 0.06:
            return
        room["hours"] = [h + 2 for h in room["hours"]]


def site(rng, name, seed, todo, kind):
    """One site of the poor set: tables and truth."""
    room = rooms.draw_room(rng, kind, name)
    if "decap_overdone" in todo:
        room["decap"] = True
    room["sheet_hour"] = float(rng.choice([0.5, 1.0, 20.0]))
    if "cold_start" in todo:
        room["sheet_hour"] = 0.5
    world = biology.draw_worlds(rng, 1)
    settle_hours(room, world)
    of_lot = bool(todo) and causes.BY_NAME[todo[0]].reach == "lot"
    n_days = int(rng.integers(60, 122)) if kind != "university" else int(rng.integers(100, 125))
    first = pd.Timestamp("2023-01-09") + pd.Timedelta(days=int(rng.integers(0, 700)))
    names = [f"{rng.choice(['L', 'B', 'A', '23-', 'GK'])}{rng.integers(100, 999)}" for _ in range(3)]
    names = list(dict.fromkeys(names))[:2] if len(set(names)) > 1 else ["L101", "L207"]
    lots = {x: rooms.draw_lot(rng) for x in names}
    change = n_days - int(rng.integers(5, 10)) if of_lot else int(n_days * rng.uniform(0.25, 0.5))
    if kind == "university" and of_lot:
        change = n_days - 15
    if not of_lot and rng.uniform() < 0.4:
        change = 0

    def lot_of_day(d, g):
        ago = (d - first).days
        if abs(ago - change) <= 2 and change and not of_lot:
            return names[int(g.uniform() < 0.5)]
        return names[int(ago >= change)]

    p = sim.plan(rng, room, first, n_days, lot_of_day)
    lots = {x: lots[x] for x in names if (p.lot == x).any()}
    c = sim.conditions(room, p, lots)
    last_day = p.day.max()
    logged = bool(todo) and rng.uniform() < 0.6
    truth = []
    if not todo:
        raw = sim.hatch(room, world, c)
        t = record.tables(rng, room, p, c, raw, lots)
        e = expert.per_hatch(t)
        recent = e[pd.to_datetime(e.started.str[:10]) > last_day - pd.Timedelta(days=25)]
        hid, how, points, extra = recent.N.idxmin(), [], {}, {}
        if rng.uniform() < 0.3:  # something was noted that did no harm
            text, points = words.hint(rng)
            t["hatches"].loc[t["hatches"].hatch == hid, "notes"] = text
            extra["distractor"] = "note of something that did no harm"
    else:
        row = int(rng.choice(np.flatnonzero(p.day == last_day)))
        t, hid, truth, how, points, extra = _strike(rng, room, world, p, c, lots, todo, row, logged, of_lot)
    if todo and not looks_poor(t, hid):
        return None
    _written_hours(t)
    post = expert.judge(rng, room, t, hid, points)
    sure, fair = fairness(post, todo, how)
    t["samples"] = t["samples"].drop(columns="written")
    h = t["hatches"].set_index("hatch").loc[hid]
    full = {
        "seed": seed,
        "kind_of_room": kind,
        "water": {"day_share": room["day_share"], "day_to_day": room["day_to_day"], "seasonal_c": room["seasonal_c"]},
        "poor_hatch": hid,
        "lot": h.lot,
        "cone": h.cone,
        "operator": h.operator,
        "causes": truth,
        "decidable": sure,
        "acceptable": fair,
        "nearest": sorted(
            {x for k in todo for x in ((k,) if not causes.BY_NAME[k].own else causes.BY_NAME[k].nearest)}
        ),
        "means": "; ".join(causes.BY_NAME[k].means for k in todo)
        or "nothing was wrong; the lowest of the last 25 days",
        "logged": bool(how),
        "logged_as": how,
        "note": h.notes,
        "second_reading": extra.get("second", False),
        "distractor": extra.get("distractor"),
        "of_lot": of_lot,
        "of_day": extra.get("of_day", False),
        "posterior": {k: round(v, 3) for k, v in list(post.items())[:6]},
    }
    return t, full


def _strike(rng, room, world, p, c, lots, todo, row, logged, of_lot):
    """Apply the causes and decide what is written of them."""
    strength = str(rng.choice(list(TARGETS), p=[0.15, 0.4, 0.45]))
    rows, of_day, truth, how, hide, show, points, mates = [row], False, [], [], set(), set(), {}, set()
    s = {}
    base_c = biology.take(c, [row])
    before = biology.develop(world, base_c)[1]
    for name in todo:
        k, a = causes.BY_NAME[name], float(rng.uniform())
        size, drop = solve(world, base_c, name, TARGETS[strength] * (0.65 if len(todo) > 1 else 1), a)
        hit = rows
        if k.reach == "lot":
            hit = list(np.flatnonzero(p.lot == p.lot[row]))
        elif (k.reach == "day" or (k.shows in ("temp", "ph") and rng.uniform() < 0.3)) and rng.uniform() < 0.8:
            hit, of_day = list(np.flatnonzero(p.day == p.day[row])), True
            mates |= set(hit) - {row}
        w = biology.repeat(world, len(hit))
        sim.set_rows(c, hit, causes.apply(name, w, biology.take(c, hit), np.full(len(hit), size), np.full(len(hit), a)))
        after = biology.develop(world, causes.apply(name, world, base_c, [size], [a]))[1]
        truth.append(
            {
                "cause": name,
                "strength": strength,
                "size": round(size, 3),
                "he_drop": round(drop, 3),
                "points": round(float((h_pct(before, room["counts"]) - h_pct(after, room["counts"]))[0]), 1),
            }
        )
        if name == "over_density":
            p.loc[row, "grams"] = round(p.grams[row] * (1 + size), 1)
            how.append("grams")
        _log(rng, room, k, logged, hide, show, how, s, points, size)
    if of_lot:
        new = np.flatnonzero(p.lot == p.lot[row])
        test = logged and "note" not in how and "hint" not in how
        p.loc[new, "purpose"] = "standard test" if room["kind"] == "university" else "production"
        if test and room["kind"] != "university":
            p.loc[[i for i in new if p.day[i] == p.day[new].min()], "purpose"] = "standard test"
            how.append("test")
    if ("over_long" in todo or "counted_early" in todo) and "hours" not in how:
        s["hours_written"] = float(c["hours_meant"][row])
    if "note" not in s and rng.uniform() < room["note_rate"] + 0.15:
        s["note"] = words.idle(rng, room["lang"])
    false_hint = not how and rng.uniform() < 0.1
    if false_hint:
        s["note"], more = words.hint(rng)
        points.update(more)
    s.setdefault("note", "")
    s["hide"], s["show"] = hide, show
    per = sim.hatch(room, world, c)
    extra = {"of_day": of_day}
    if false_hint and not set(points) & set(todo):
        extra["distractor"] = "note of something that did no harm"
    if not how and rng.uniform() < 0.35:
        q = str(rng.choice([x for x in ("temp", "sal", "ph") if x not in hide] or ["sal"]))
        if q in record.habits(room, p.iloc[row]):
            s["slip"] = q
            extra["distractor"] = record.QUANTITY[q][0] + " written wrongly"
    if len(room["hours"]) == 1 and rng.uniform() < 0.3:
        s["second_reading"] = biology.develop(world, biology.take(c, [row]), np.array([48.0]))[1]
        extra["second"] = True
    t = record.tables(rng, room, p, c, per, lots, {**{m: {"hide": hide} for m in mates}, row: s})
    order = list(np.lexsort((p.cone.map(room["cones"].index), p.start)))
    hid = t["hatches"].hatch.iloc[order.index(row)]
    if "recount" in how:
        clean = biology.take(c, [row])
        clean["see_n"], clean["u_as_c"] = np.ones(1), np.zeros(1)
        again = biology.develop(world, clean)[1]
        other = next(x for x in room["crew"] if x != p.operator[row])
        r = p.iloc[row].copy()
        r["operator"] = other
        more = record.count(
            rng,
            room,
            r,
            c,
            row,
            hid,
            again,
            float(c["hours"][row]),
            0,
            {"counter": "person" if room["counter"] == "photo" else str(rng.choice(["photo", "person"]))},
            row=0,
        )
        for x in more:
            x["sample"] = x["sample"].replace("-a", "-r")
        t["samples"] = pd.concat([t["samples"], pd.DataFrame(more)], ignore_index=True)
    return t, hid, truth, how, points, extra


def _log(rng, room, k, logged, hide, show, how, s, points, size):
    """Choose how the record betrays the cause, if it does."""
    read = "temp" if k.name == "cold_start" else k.shows
    if not logged:
        if read in record.COLUMN and rng.uniform() < 0.75:
            hide.add(read)
        return
    ways = ["note", "note", "hint", "hint"]
    if read in record.COLUMN:
        ways += ["reading"] * 3
    if read == "hours":
        ways += ["hours"] * 2
    if k.name == "miscount":
        ways += ["recount"] * 2
    if k.reach == "lot":
        ways += ["test"] * 2
    way = str(rng.choice(ways))
    if way == "note":
        s["note"], more = words.direct(rng, k.name)
        points.update(more)
    elif way == "hint":
        got = words.hint(rng, k.name)
        if got is None:
            s["note"], more = words.direct(rng, k.name)
            points.update(more)
            way = "note"
        else:
            s["note"] = got[0]
            points.update(got[1])
    if way == "reading":
        show.add(read)
    elif read in record.COLUMN and rng.uniform() < 0.5:
        hide.add(read)
    if way != "test":
        how.append(way)


def _written_hours(t):
    """Hours as the tables show them (from the times), for the expert."""
    s = t["samples"].merge(t["hatches"][["hatch", "started"]], on="hatch", how="left")
    h = (pd.to_datetime(s.taken.str[:16]) - pd.to_datetime(s.started.str[:16])).dt.total_seconds() / 3600
    t["samples"]["written"] = h.to_numpy()


def fairness(post, todo, how):
    """Whether the case is decidable, and the first answers that an expert would let pass.

    A cause of our own list, or a pair, which nothing written points to is never decidable: its pattern is our guess.
    """
    top = next(iter(post))
    want = set(todo) or {"none"}
    mass = sum(post.get(x, 0) for x in want)
    rival = max(v for x, v in post.items() if x not in want)
    ours = not how and (len(todo) > 1 or (top in causes.BY_NAME and causes.BY_NAME[top].own))
    if top in want and mass >= expert.SURE and rival < 0.2 and not ours:
        return True, sorted(want, key=lambda x: -post.get(x, 0))
    fair = [x for x, v in post.items() if v >= max(0.3 * post[top], 0.07)]
    fair += [x for x in want if x not in fair]
    for group in causes.SAME_COUNTS:  # what leaves the same counts is as fair, unless something written decides
        if not how and (set(group) & set(fair) if not ours else top in group):
            fair += [x for x in group if x not in fair and x in post and (ours or post[x] >= 0.01)]
    if ours:
        fair += [y for y in causes.BY_NAME[top].nearest if y not in fair] if top in causes.BY_NAME else []
    return False, fair


def looks_poor(t, hid):
    """Whether anyone would ask: among the lowest fifth of the last 60 hatches by H% or nauplii per gram,
    low in both, lowest of its day."""
    e = expert.per_hatch(t)
    e = e.loc[sorted(e.index, key=lambda h: e.started[h])].tail(60)
    e["share"] = e.N - e.C
    rank = (e[["N", "share"]].rank() / len(e)).loc[hid]
    day = e.started.str[:10] == e.started[hid][:10]
    return rank.min() <= 0.2 and rank.N <= 0.4 and e.N[hid] <= e.N[day].min() + 1e-9


def make(seed, n=36):
    """All sites of the poor set."""
    rng = np.random.default_rng([seed, 1])
    todo = cases(rng, n)
    names = list(rng.permutation(rooms.WORDS))[:n]
    kinds = [KIND_ORDER[i % len(KIND_ORDER)] for i in range(n)]
    big = rng.choice(n, 3, replace=False)
    kinds = ["hatchery" if i in big else k for i, k in enumerate(kinds)]
    out = {}
    for i in range(n):
        g = np.random.default_rng([seed, 1, i])
        got = None
        while got is None:
            got = site(g, str(names[i]), seed, todo[i], kinds[i])
        out[str(names[i])] = got
    return out
