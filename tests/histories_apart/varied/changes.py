"""The changes set: eight months of a room with one planted change, sudden, creeping or slow."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from varied import biology, expert, poor, quiet, record, rooms, sim

TARGET = {"weak": 2.5, "middle": 5.0, "strong": 10.0}  # points of H%, or percent of nauplii per gram


@dataclass
class Change:
    """One kind of change: `act(c, s)` on the rows it strikes; `who` is what it belongs to."""

    kind: str
    means: str
    act: object
    top: float
    who: str  # all, cone, lot, operator, counter
    strikes: str = ""
    course: str = "sudden"
    note: str = ""
    by: str = "H%"
    low: float = 0.0


def put(key, how):
    """An act which changes one condition."""

    def act(c, s):
        shape = s[:, None] if np.ndim(c[key]) > 1 else s
        c[key] = how(c[key], shape)

    return act


def miss(c, s):
    """A counter who sees fewer nauplii and takes umbrellas for cysts."""
    c["see_n"] = c["see_n"] * (1 - s)
    c["u_as_c"] = np.minimum(c["u_as_c"] + 2 * s, 0.9)


def aged(c, s):
    """Embryos weaken."""
    c["viable"] = c["viable"] * (1 - 0.8 * s)
    c["weak"] = 1 - (1 - c["weak"]) * (1 - 0.2 * s)


def unstirred(c, s):
    """Samples drawn without stirring."""
    c["see_n"] = c["see_n"] * (1 - s)
    c["see_c"] = c["see_c"] * (1 + s)
    c["scatter"] = c["scatter"] * (1 + 5 * s)


def less(x, s):
    """Lower by so much."""
    return x - s


def part(x, s):
    """Lower by this share."""
    return x * (1 - s)


def more(x, s):
    """Higher by so much."""
    return x + s


K = Change
KINDS = [
    K(
        "heater_low",
        "heater too weak or set lower",
        put("temp", less),
        12,
        "all",
        "temperature",
        "sudden",
        "thermostat moved",
    ),
    K("heater_low", "heater of one cone ageing", put("temp", less), 12, "cone", "temperature", "creeping"),
    K(
        "ph_decline",
        "buffer running out, water ageing in the tank",
        put("ph", less),
        1.6,
        "all",
        "ph",
        "slow",
        "bicarb low",
    ),
    K(
        "salinity_slip",
        "new brine mixed too strong",
        put("sal", more),
        65,
        "all",
        "salinity",
        "sudden",
        "new tank of salt",
    ),
    K("aeration_failing", "air stone of one cone clogging", put("oxy", part), 0.92, "cone", "oxygen", "creeping"),
    K("cone_fouled", "film or residue on the wall of one cone", put("poison", more), 0.5, "cone", "", "creeping"),
    K(
        "operator_change",
        "one person leaves, another counts differently",
        miss,
        0.5,
        "operator",
        "",
        "sudden",
        "first week of new colleague",
    ),
    K("operator_habit", "one person stops stirring before sampling", unstirred, 0.4, "operator"),
    K("lot_ageing", "open tin of one lot weakens", aged, 0.6, "lot", "", "creeping"),
    K("lot_switch", "new lot is poorer than its label", aged, 0.6, "lot"),
    K(
        "counter_step",
        "camera, lens or lighting of the counter changed",
        miss,
        0.5,
        "counter",
        "",
        "sudden",
        "new lens on camera",
    ),
    K("scale_drift", "the balance shows too much", put("all", part), 0.4, "all", "", "creeping", by="HE"),
    K(
        "light_timer",
        "the lamp comes on later than it did",
        put("dark_h", more),
        20,
        "all",
        "light",
        "sudden",
        "timer reset after DST",
    ),
    K(
        "copper_pipe",
        "new pipe or undechlorinated water",
        put("poison", more),
        0.5,
        "all",
        "",
        "sudden",
        "plumber done",
    ),
]
ROOM = ["aquarium", "breeder", "weekly", "twice", "bottles", "zoo", "brief"]


def pick(rng, k, room, p, lots, n_days):
    """Which rows are struck, from when to when, and how much of the full size each gets."""
    start = int(n_days * rng.uniform(0.45, 0.6))
    end = int(min(n_days, start + (rng.integers(50, 100) if k.course != "sudden" else rng.integers(25, 90))))
    cones, lot, who = list(room["cones"]), None, None
    replaces = None
    member = np.ones(len(p), bool)
    if k.who == "cone":
        cones = [str(rng.choice(room["cones"]))]
        member = (p.cone == cones[0]).to_numpy()
    elif k.kind == "operator_change":
        end = n_days
        replaces = str(p.operator.value_counts().index[0])
        who = next(s for s in rooms.STAFF if s not in room["crew"])
        swap = (p.operator == replaces) & (p.ago >= start)
        p.loc[swap, "operator"] = who
        member = swap.to_numpy()
        room["hand"][who] = rooms.draw_hand(rng)
    elif k.who == "operator":
        who = str(p.operator.value_counts().index[0])
        member = (p.operator == who).to_numpy()
    elif k.who == "lot":
        lot = p.lot[p.ago >= start].value_counts().index[0]
        use = p.ago[p.lot == lot]
        member = (p.lot == lot).to_numpy()
        start, end = int(use.min()), int(use.max()) + 1
        if k.kind == "lot_ageing":
            start += 10
    elif k.who == "counter":
        end = n_days
        member = (p["counter"] == "photo").to_numpy()
    ago = p.ago.to_numpy()
    inside = member & (ago >= start) & (ago < end)
    ramp = np.where(inside, 1.0, 0.0)
    if k.course != "sudden":
        ramp = np.where(inside, np.clip((ago - start + 1) / max(0.8 * (end - start), 1), 0, 1), 0.0)
    return inside, ramp, start, end, cones, lot, who, replaces


def apply(k, c, rows, size):
    """Conditions after the change on the rows, `size` per row."""
    new = {x: np.array(v) for x, v in biology.take(c, rows).items()}
    k.act(new, np.asarray(size, float))
    out = {x: np.array(v) for x, v in c.items()}
    sim.set_rows(out, rows, new)
    return out


def solve(k, room, world, c, rows, target):
    """Full size that costs `target` at the middle of the struck hatches."""
    sizes = k.top * np.linspace(0, 1, 60) ** 1.5
    one = biology.repeat(biology.take(c, rows[len(rows) // 2 : len(rows) // 2 + 1]), 60)
    w = biology.repeat(world, 60)
    a = biology.develop(w, one)[1]
    b = biology.develop(w, apply(k, one, np.arange(60), sizes))[1]
    lost = 100 * (1 - b["N"] / a["N"])
    points = poor.h_pct(a, room["counts"]) - poor.h_pct(b, room["counts"])
    cost = lost if k.by == "HE" else np.maximum(points, 0.5 * lost)
    return float(sizes[int(np.argmin(np.abs(cost - target)))])


def power(t, shift, inside):
    """Size of the shift against the record's own spread (matched filter over days), for N per gram and for H%."""
    e = expert.per_hatch(t)
    day = e.started.str[:10].to_numpy()
    best, spread = 0.0, {}
    for key, x in (("N", e.N.to_numpy()), ("share", (e.N - e.C).to_numpy())):
        ok = np.isfinite(x) & ~inside
        mean = pd.Series(x[ok]).groupby(day[ok]).transform("mean").to_numpy()
        n = pd.Series(x[ok]).groupby(day[ok]).transform("size").to_numpy()
        within = np.sqrt(((x[ok] - mean) ** 2).sum() / max((1 - 1 / n).sum(), 1)) if (n > 1).any() else x[ok].std()
        between = np.sqrt(max(x[ok].var() - within**2, 0.0))
        d = (
            pd.DataFrame({"day": day, "s": shift[key], "i": inside})[lambda f: f.i]
            .groupby("day")
            .s.agg(["mean", "size"])
        )
        z = float(np.sqrt((d["mean"] ** 2 / (between**2 + within**2 / d["size"])).sum()))
        spread[key] = (z, x[ok].std())
        best = max(best, z)
    return best, spread


def rivals(p, shift, inside, sd, right):
    """Best other group (cone, operator, lot, all) and how much worse it explains the shift."""
    s = shift / sd
    start = p.ago[inside].min()
    late = (p.ago >= start).to_numpy()
    shape = np.where(late, np.interp(p.ago, p.ago[inside], np.abs(shift[inside]), right=0.0), 0.0)
    full, worst = float((s**2).sum()), ("", 0.0)
    groups = {} if right[0] == "lot" else {("all", "all"): late}  # a step with a new lot is laid to the lot
    for col in ("cone", "operator", "lot"):
        for g in p[col].unique():
            groups[(col, g)] = late & (p[col] == g).to_numpy()
    for g, m in groups.items():
        if g == right or (right[0] == "operator" and g == ("operator", right[1])):
            continue
        x = shape * m
        if (x**2).sum() > 0:
            got = float((s * x).sum() ** 2 / (x**2).sum())
            worst = max(worst, (":".join(g), got), key=lambda v: v[1])
    return worst[0], full - worst[1]


def site(rng, seed, name, k, kind):
    """One site with one change."""
    n_days = 243
    force = {"counter": "photo"} if k.who == "counter" else {}
    room, world, lots, p, c = quiet.calm_room(rng, name, kind, n_days, 4, **force)
    p = p.assign(o=p.cone.map(room["cones"].index)).sort_values(["start", "o"]).drop(columns="o").reset_index(drop=True)
    c = sim.conditions(room, p, lots)
    p["counter"] = (
        np.where(rng.uniform(size=len(p)) < 0.35, "person", "photo") if k.who == "counter" else room["counter"]
    )
    inside, ramp, start, end, cones, lot, who, replaces = pick(rng, k, room, p, lots, n_days)
    rows = np.flatnonzero(inside)
    strength = str(rng.choice(list(TARGET), p=[0.2, 0.4, 0.4]))
    size = solve(k, room, world, c, rows, TARGET[strength])
    before = sim.hatch(room, world, c)
    changed = apply(k, c, rows, size * ramp[rows])
    after = sim.hatch(room, world, changed)
    say = {i: {"counter": str(x)} for i, x in enumerate(p["counter"])} if k.who == "counter" else {}
    logged = bool(k.note) and rng.uniform() < 0.4
    if logged:
        say.setdefault(int(rows[0]), {})["note"] = k.note
    t = record.tables(rng, room, p, changed, after, lots, say)
    a, b = before[0], after[0]
    shift = {"N": np.log(b["N"] / a["N"]), "share": np.log(b["N"] / b["C"]) - np.log(a["N"] / a["C"])}
    z, spread = power(t, shift, inside)
    key = max(spread, key=lambda x: spread[x][0])
    right = {"cone": ("cone", cones[0]), "lot": ("lot", lot), "operator": ("operator", who)}.get(k.who, ("all", "all"))
    rival, lead = rivals(p, shift[key], inside, spread[key][1], right)
    points = (poor.h_pct(a, room["counts"]) - poor.h_pct(b, room["counts"]))[rows]
    visible = seen_in_water(t, p, k, inside) if k.strikes else None
    blame = lead > 9 and (k.who != "all" or bool(visible))
    day0 = p.day.min()
    return t, {
        **quiet.head(seed, room),
        "lots": list(lots),
        "changes": [
            {
                "kind": k.kind,
                "means": k.means,
                "start": str((day0 + pd.Timedelta(days=start)).date()),
                "end": str((day0 + pd.Timedelta(days=end - 1)).date()),
                "cones": cones,
                "lot": lot,
                "operator": who,
                "replaces": replaces,
                "strength": strength,
                "course": k.course,
                "strikes": k.strikes or None,
                "belongs_to": k.who,
                "size": size,
                "target_points": TARGET[strength] if k.by == "H%" else 0.0,
                "mean_points": float(points.mean()),
                "worst_points": float(points.max()),
                "mean_he_drop": float(1 - (b["N"] / a["N"])[rows].mean()),
                "struck": int(inside.sum()),
                "struck_after_2_months": int((inside & (p.ago < start + 61).to_numpy()).sum()),
                "logged": logged,
                "decidable": bool(z >= 4.5),
                "z_expected": z,
                "water_shows": visible,
                "blame_decidable": bool(z >= 4.5 and blame),
                "best_wrong_group": rival,
            }
        ],
    }


def seen_in_water(t, p, k, inside):
    """Whether the written readings of the quantity move clearly (enough of them, far enough)."""
    q = {v[0]: key for key, v in record.QUANTITY.items()}[k.strikes]
    h = t["hatches"]
    col = record.COLUMN[q]
    if col not in h:
        return False
    x = h[col].astype(float).to_numpy()
    on, off = x[inside & np.isfinite(x)], x[~inside & np.isfinite(x)]
    if len(on) < 4 or len(off) < 10:
        return False
    return bool(abs(on.mean() - off.mean()) / off.std() * np.sqrt(len(on)) > 4.5)


def make(seed, n=14):
    """All sites of the changes set."""
    rng = np.random.default_rng([seed, 3])
    names, kinds, out = rng.permutation(rooms.WORDS)[:n], rng.permutation(KINDS), {}
    for i in range(n):
        k, g = kinds[i % len(KINDS)], np.random.default_rng([seed, 3, i])
        room = str(g.choice([x for x in ROOM if k.strikes != "light" or x == "twice"]))
        out[str(names[i])] = site(g, seed, str(names[i]), k, room)
    return out
