"""Forty small rooms with a poor hatch on their last day: one cause, two at once, or chance alone."""

import numpy as np

from small import embryo, expert, faults, rooms, sheets

PLAN = {"none": 8, "two": 6}


def drawn(rng, r, plan, lots):
    """Conditions, luck and factors of every hatch when nothing is wrong."""
    water = rooms.water(rng, r, plan)
    h = {k: np.full(len(plan), float(v)) for k, v in embryo.NORMAL.items()} | water
    logit, full = rooms.luck(rng, r, plan)
    ages = np.array([lots[x]["fades"] * (d - lots[x]["from"]) for x, d in zip(plan["lot"], plan["day"], strict=True)])
    lot_v = np.array([lots[x]["viable"] for x in plan["lot"]])
    v = 1 / (1 + np.exp(-(np.log(lot_v / (1 - lot_v)) + logit * 0.5))) * (1 - ages)
    return h, v, {"full": full} | {k: np.ones(len(plan)) for k in "NUCS"}


def grown(r, h, viable):
    """Shares of every hatch, each with a viable part of its own."""
    w = dict(r["world"].items()) | {"viable": np.reshape(viable, (-1, 1))}
    w = {k: np.broadcast_to(v, (len(viable), 1)) for k, v in w.items()}
    return embryo.shares(w, h)


def per_gram(shares, factors):
    """Nauplii per full cyst, as counted."""
    return shares["N"] * factors["N"] * np.exp(factors["full"])


def site(rng, kind, cause, later=False):
    """One site: its tables and truth."""
    while True:
        r = rooms.room(rng)
        if cause == "decap_overdone":
            r["counts"] = "NUE"
        days = int(rng.integers(60, 110))
        plan, lots, _ = rooms.calendar(rng, r, days)
        plan = plan.sort_values(["start", "cone"], ignore_index=True)
        if len(plan) < 45:
            continue
        h, viable, factors = drawn(rng, r, plan, lots)
        i = len(plan) - 1 - int(rng.integers(0, len(r["cones"])))
        last = plan.loc[i, "lot"]
        mates = [j for j in range(i) if plan.loc[j, "lot"] == last]
        truth = {"seed": 0, "causes": [], "distractor": None}
        say, twice, planted = {}, (), []
        if kind != "none":
            planted = [cause]
            if kind == "two":
                planted.append(
                    str(rng.choice([c for c in faults.CAUSES if c not in (cause, "decap_overdone", *faults.OF_LOT)]))
                )
            if not mates and cause not in faults.OF_LOT:
                continue
            where = {i}
            if cause in faults.OF_ROOM and rng.uniform() < 0.4:
                where |= {j for j in range(len(plan)) if plan.loc[j, "day"] == plan.loc[i, "day"]}
            if cause in faults.OF_LOT:
                part = mates if cause != "damp_cysts" else mates[-int(rng.integers(2, 8)) :]
                if len(part) > 0.5 * i:
                    continue
                where |= set(part)
                if cause == "old_lot":
                    lots[last]["best"] = int(rng.choice([-200, -90, 30]))
            calm = per_gram(grown(r, h, viable), factors)[i]
            before = {k: v.copy() for k, v in h.items()}
            aim = float(rng.uniform(0.18, 0.5))
            for s in np.linspace(0.02, 1, 25):
                h = {k: v.copy() for k, v in before.items()}
                factors = {k: v.copy() for k, v in factors.items()} | {k: np.ones(len(plan)) for k in "NUCS"}
                for n, c in enumerate(planted):
                    for j in where if n == 0 else {i}:
                        f = faults.strike(c, s if n == 0 else s * 0.8, h, j)
                        for k in "NUCS":
                            factors[k][j] *= f[k]
                shares = grown(r, h, viable)
                drop = 1 - per_gram(shares, factors)[i] / calm
                if drop >= aim:
                    break
            if drop < 0.12 or (
                i and per_gram(shares, factors)[i] > np.quantile(per_gram(shares, factors)[max(i - 25, 0) : i], 0.3)
            ):
                continue
            told = {}
            for c in planted:
                q = sheets.betrays(c)
                way = str(rng.choice(["name", "hint", "reading", "silent"], p=[0.34, 0.14, 0.3, 0.22]))
                if way == "reading" and q is None:
                    way = str(rng.choice(["name", "silent"]))
                told[c] = way
            note = None
            show, hide = [], []
            texts = []
            for c, way in told.items():
                q = sheets.betrays(c)
                if way in ("name", "hint"):
                    texts.append(sheets.phrase(rng, r["tongues"], c, way == "name", later))
                    note = note or (c, way == "name")
                (show if way == "reading" else hide).extend(
                    [q] if q and (way == "reading" or rng.uniform() < 0.6) else []
                )
            say[i] = {"note": ", ".join(texts), "show": show, "hide": hide}
            if rng.uniform() < 0.08:  # a meter misread, of something else
                other = str(rng.choice([q for q in ("temp", "sal", "ph") if q not in show + hide] or ["light"]))
                if r["owns"][other]:
                    say[i] |= {"slip": other, "show": [*show, other]}
                    truth["distractor"] = other
            if rng.uniform() < 0.12 and kind == "one":
                late = {k: v.copy() for k, v in h.items()}
                late["hours"] = np.full(len(plan), 48.0)
                twice = [(i, {k: v[i] for k, v in grown(r, late, viable).items()})]
            truth["causes"] = [
                {"cause": c, "size": round(float(s), 3), "he_drop": round(float(drop), 3)} for c in planted
            ]
            truth["logged_as"] = [told[c] for c in planted if told[c] != "silent"]
            truth["note"] = say[i]["note"]
        else:
            shares, note = grown(r, h, viable), None
            he = per_gram(shares, factors)
            lows = [j for j in range(30, len(plan)) if he[j] == he[j - 25 : j + 1].min()]
            if not lows:
                continue
            i = lows[-1]
            keep = plan["day"] <= plan.loc[i, "day"]
            plan = plan[keep].reset_index(drop=True)
            truth["logged_as"] = []
        n = len(plan)
        h, shares = {k: v[:n] for k, v in h.items()}, {k: v[:n] for k, v in shares.items()}
        tables = sheets.tables(rng, r, plan, lots, h, shares, factors, say, twice)
        hatch = tables["hatches"]["hatch"].iloc[i]
        truth |= {"poor_hatch": hatch, "lot": plan.loc[i, "lot"], "cone": plan.loc[i, "cone"], "cones": len(r["cones"])}
        if planted:
            names = tables["hatches"]["hatch"]
            mates = [names[j] for j in mates if plan.loc[j, "day"] != plan.loc[i, "day"]][-4:]
            calm_rows = [names[j] for j in range(i) if j not in where][-20:]
            p = expert.weigh(rng, r, tables, hatch, calm_rows, mates if len(mates) > 1 else [], note)
            decidable, acceptable = expert.judged(p, planted)
            truth |= {"decidable": decidable, "acceptable": acceptable}
            truth["posterior"] = {k: round(v, 3) for k, v in list(p.items())[:5]}
        else:
            truth |= {"decidable": False, "acceptable": []}
        return tables, truth


def make(seed, n=40):
    """Name -> (tables, truth)."""
    rng = np.random.default_rng([seed, 4])
    kinds = ["none"] * PLAN["none"] + ["two"] * PLAN["two"]
    kinds += ["one"] * (40 - len(kinds))
    rng.shuffle(kinds)
    pool = []
    out = {}
    for k, kind in enumerate(kinds[:n]):
        if not pool:
            pool = [str(c) for c in rng.permutation(faults.CAUSES)]
        cause = "" if kind == "none" else pool.pop()
        out[f"s{k:02d}"] = site(np.random.default_rng([seed, 4, k]), kind, cause, later=seed >= 10)
    return out
