"""Write invented site histories with the truth beside them: ``python make.py OUT --seed 1 [--only poor] [--n 5]``.

OUT gets quiet/, changes/, poor/ and hidden/ (causes that hide behind others), each with data.zip (NAME/lots.csv,
hatches.csv, readings.csv, samples.csv) and truth.json. The same seed gives the same bytes.
"""

from __future__ import annotations

import argparse
import io
import json
import zipfile
from pathlib import Path

import faults
import numpy as np
import pandas as pd
import sites
import world

CHANGES = (
    *("heater_drifts", "heater_of_one_cone", "thermometer_reads_wrong", "salt_meter_reads_wrong"),
    *("thermometer_steers_wrong", "weaker_salt", "new_lot_worse", "lot_ages", "new_person_lets_settle"),
    *("camera_misses", "air_of_one_cone", "bulb_dies", "scale_reads_high", "buffer_runs_down"),
)
POOR = (
    *("cold reading", "cold note", "cold late", "cold none", "hot reading", "hot note", "hot none"),
    *("too_salt reading", "too_salt note", "too_fresh reading", "too_fresh note", "too_fresh none"),
    *("low_ph reading", "low_ph note", "low_ph none", "air_off reading", "air_off note", "air_off none"),
    *("dark reading", "dark note", "dark late", "crowded sheet", "crowded note", "old_cysts note", "old_cysts late"),
    *("old_cysts none", "wet_cysts note", "wrong_lot note", "wrong_lot none", "read_early sheet", "read_early note"),
    *("read_early none", "bleach_left note", "bleach_left sheet", "burnt note", "burnt sheet", "on_wall note"),
    *("on_wall none", "misweighed note", "misweighed none", "miscounted note", "miscounted none", "broken note"),
    *("cold reading + low_ph reading", "cold note + dark note", "too_fresh reading + air_off note"),
    *("old_cysts note + cold reading", "miscounted none + crowded sheet", "too_salt reading + read_early sheet"),
)
HIDDEN = (
    *("bloom reading", "bloom note", "bloom both", "bloom none", "air_weak_late reading", "air_weak_late both"),
    *("soap note", "soap none", "cold_room reading", "soap note + cold_room reading", "soap note + cold_room note"),
    *("soap none + cold_room reading",),
)
HIDDEN_EACH = 4
BLIND = ("cold", "old_cysts", "air_off", "misweighed", "dark", "on_wall", "read_early", "low_ph")
LUCK = 8
QUIET = 10


def start(rng, days, n_lots, adapt=None):
    """A site's calm days: everything that faults may then change."""
    site = sites.Site(rng, days)
    if adapt:
        adapt(site)
    lots = sites.draw_lots(site, n_lots)
    h, runs, x = sites.plan_days(site, lots)
    return {"site": site, "lots": lots, "h": h, "runs": runs, "x": x}


def expected(state):
    """Noise-free H% and nauplii per written gram of every hatch, as its counter and scale would have them."""
    s = state
    course = sites.run_cones(s["site"], s["lots"], s["h"], s["runs"], s["x"])
    n, u, c = (world.at(course[k], s["runs"].hours) for k in ("nauplii", "hanging", "unhatched"))
    k = s["site"].subsamples
    n = n * s["x"]["counts_nauplii"] * (k - 1 + s["x"]["one_sample"]) / k
    c = c * s["x"]["counts_cysts"] * (k - 1 + s["x"]["one_sample"]) / k
    return 100 * n / (n + u + c), n / s["x"]["grams_written"]


def copied(state):
    return state | {
        "h": state["h"].copy(),
        "runs": state["runs"].copy(),
        "x": {k: v.copy() for k, v in state["x"].items()},
        "lots": [world.Lot(**vars(lot)) for lot in state["lots"]],
    }


def figures(tables):
    """H% and nauplii per gram of every hatch, as they come out of the sheets at the first reading."""
    s, h = tables["samples"], tables["hatches"].set_index("hatch")
    first = s[s["hours"] < s.groupby("hatch")["hours"].transform("min") + 8]
    c = first.assign(c=first["cysts"].fillna(0) + first["embryos"].fillna(0), u=first["umbrella"].fillna(0))
    g = c.groupby("hatch")[["nauplii", "u", "c", "volume_ul"]].sum()
    per_g = g["nauplii"] / g["volume_ul"] * h["volume_ml"] * 1000 / h["cysts_g"]
    return pd.DataFrame({"hatch_pct": 100 * g["nauplii"] / (g["nauplii"] + g["u"] + g["c"]), "per_g": per_g}).loc[
        h.index
    ]


def quiet(rng):
    state = start(rng, int(rng.integers(120, 215)), int(rng.integers(2, 4)))
    tables = sites.write_sheets(**state, rng=rng)
    return tables, {"seasonal_c": float(state["site"].season_c), "hatches": len(tables["hatches"])}


def struck(what, state, rng):
    """The hatches that a change strikes, in their order."""
    h, site = state["h"], state["site"]
    day = int(site.days * rng.uniform(0.55, 0.68))
    late = (h["day"] >= day).to_numpy(copy=True)
    if what in ("heater_of_one_cone", "air_of_one_cone"):
        late &= (h["cone"] == site.cones[-1]).to_numpy()
    elif what == "new_lot_worse":
        late = (h["lot"] == len(state["lots"]) - 1).to_numpy()
    elif what == "lot_ages":
        late = (h["lot"] == h["lot"].iloc[late.argmax()]).to_numpy()
    elif what == "new_person_lets_settle":
        late &= rng.random(len(h)) < 0.5
    until = h["day"][late].iloc[0] + (70 if what == "lot_ages" else int(rng.integers(28, 50)))
    return np.flatnonzero(late & (h["day"] < until).to_numpy())


def changed(rng, what):
    def adapt(site):
        site.counts_by = {"new_person_lets_settle": "person", "camera_misses": "photo"}.get(what, site.counts_by)
        if what in ("heater_of_one_cone", "air_of_one_cone"):
            site.cones = list("ABCD")[: rng.integers(2, 5)]
            site.__dict__.update(
                cone_air=dict.fromkeys(site.cones, 1.0),
                cone_warm=dict(zip(site.cones, rng.normal(0, 0.2, len(site.cones)))),
                cone_takes=dict(zip(site.cones, rng.normal(0, 0.02, len(site.cones)))),
            )
        site.a_day = 2 if len(site.cones) > 1 else 1
        site.salt = max(site.salt, 25.0) if what == "weaker_salt" else site.salt
        for q in ("temperature", "salinity"):
            site.reads[q] = max(site.reads[q], 0.5 if what.startswith(("thermometer", "salt_meter", "weaker")) else 0)

    calm = start(rng, int(rng.integers(190, 240)), 1 if what == "lot_ages" else int(rng.integers(2, 4)), adapt)
    if what == "bulb_dies":
        for lot in calm["lots"]:
            lot.needs_light = max(lot.needs_light, 0.4)
    i, size = struck(what, calm, rng), 0.7
    before = expected(calm)
    for _ in range(9):
        state = copied(calm)
        kinds = faults.change(what, state, i, size, np.random.default_rng(1))
        now = expected(state)
        points, share = float(np.mean(now[0][i] - before[0][i])), float(np.mean(now[1][i] / before[1][i]) - 1)
        if abs(points) > 7 or abs(share) > 0.14 or kinds.get("meter"):
            break
        size *= 1.25
    tables = sites.write_sheets(**state, rng=rng)
    seen = set(tables["hatches"]["hatch"])
    names = [name for name in state["h"]["hatch"].iloc[i] if name in seen]
    times = tables["hatches"].set_index("hatch").loc[names, "started"]
    truth = {
        "kind": what,
        "start": times.iloc[0],
        "end": times.iloc[-1],
        "struck": names,
        "points": points,
        "share": share,
    }
    truth |= kinds
    return tables, truth | clear(state, tables, names, truth)


def clear(state, tables, names, truth):
    """Size of a change in standard errors of the sheets; one that falls on the first days of a lot cannot be told."""
    f, h = figures(tables), tables["hatches"].set_index("hatch")
    first, like = list(f.index).index(names[0]), ["lot", "cone"] if truth["where"] == "cone" else ["lot"]
    group = h[like].agg(" ".join, axis=1)
    z = {}
    for name, by in (("hatch_pct", truth["points"]), ("hatching_efficiency_per_g", np.log1p(truth["share"]))):
        values = f["hatch_pct"] if name == "hatch_pct" else np.log(f["per_g"].clip(1))
        calm, there = values.iloc[:first], group.loc[names].unique()
        if truth["kind"] in ("new_lot_worse", "lot_ages"):
            calm, there = values.drop(names), group.unique()
        spread = (calm - calm.groupby(group).transform("mean")).std()
        n = int(group.loc[calm.index].isin(there).sum()) if len(calm) else len(names)
        weight = (
            np.sqrt(len(names)) / 4 if truth["kind"] == "lot_ages" else 1 / np.sqrt(1 / max(n, 0.1) + 1 / len(names))
        )
        z[name] = float(by / (spread if len(calm) > 5 else (values.std() if name == "hatch_pct" else 0.15)) * weight)
    for name in ("temperature_c", "salinity_ppt", "ph", "oxygen_mg_l", "light_lux"):
        a, b = h[name].iloc[:first].dropna(), h.loc[names, name].dropna()
        if len(a) > 5 and len(b) > 3 and a.std() > 0:
            z[name] = float((b.mean() - a.mean()) / (a.std() * np.sqrt(1 / min(len(a), 20) + 1 / len(b))))
    z = {k: round(v, 1) for k, v in z.items()}
    return {"z": z, "decidable": any(abs(z.get(s, 0)) > 4 for s in truth["shows"])}


def poor(rng, what, blind=False):
    """A calm run-up and one hatch struck hard enough that somebody would ask."""
    parts = [p.split() for p in what.split(" + ")]

    def adapt(site):
        site.slips = 0.0
        if blind:
            site.stages = "nauplii"
        elif any(show in ("none", "late") for _w, show in parts) and site.stages == "embryos":
            site.stages = "all"

    n_lots = 2 if "wrong_lot" in what else int(rng.integers(1, 3))
    calm = start(rng, int(rng.integers(60, 110)), n_lots, adapt)
    if "wrong_lot" in what:
        calm["lots"][0].lives = calm["lots"][1].lives - 0.25
    if "dark" in what:
        for lot in calm["lots"]:
            lot.needs_light = max(lot.needs_light, 0.4)
    h = calm["h"]
    i = np.array([len(h) - 1])
    calm["x"]["must_read"][i] = " "
    before, size = expected(calm), rng.uniform(0.7, 1.0)
    for _ in range(10):
        state, r = copied(calm), np.random.default_rng(rng.integers(2**32))
        for w, show in parts:
            day = np.flatnonzero(h["day"] == h["day"].iloc[-1]) if w == "cold_room" else i
            faults.strike(w, state, day, size if len(parts) == 1 else 0.75 * size, show, r)
        if blind:
            state["x"]["not_read"][i] = " ".join(sites.QUANTITIES)
        now = expected(state)
        fall, points = 1 - float(now[1][i[0]] / before[1][i[0]]), float(now[0][i[0]] - before[0][i[0]])
        tables = sites.write_sheets(**state, rng=r)
        f = figures(tables)
        f = f[(tables["hatches"].set_index("hatch")["lot"] == tables["hatches"]["lot"].iloc[-1])].iloc[-31:]
        low = (f.iloc[-1] < f.iloc[:-1].quantile(0.05)).any()
        if 0.15 < fall < 0.75 and low and len(f) > 8:
            break
        size *= 1.2 if fall < 0.4 else 0.8
    row = h.iloc[-1]
    causes = [{"cause": w, "shown": show} for w, show in parts]
    clear = all(show in ("reading", "note", "both", "sheet", "late") for _w, show in parts)
    truth = {
        "hatch": row["hatch"],
        "lot": state["lots"][row["lot"]].name,
        "cone": row["cone"],
        "causes": causes,
        "fall": fall,
    }
    return tables, truth | {"points": points, "kind": "blind" if blind else "caused", "decidable": clear and not blind}


def luck(rng):
    """The poorest hatch of the last four weeks of a site where nothing is wrong."""
    while True:
        state = start(rng, int(rng.integers(70, 110)), int(rng.integers(1, 3)))
        state["site"].wild = state["site"].slips = 0.0
        tables = sites.write_sheets(**state, rng=rng)
        f = figures(tables)["hatch_pct"]
        hatch = (f - f.groupby(tables["hatches"].set_index("hatch")["lot"]).transform("median")).iloc[-28:].idxmin()
        here = state["h"].set_index("hatch").loc[hatch]
        if state["runs"].died[int(np.flatnonzero(state["h"]["hatch"] == hatch)[0])] < 0.12:
            break
    upto = tables["hatches"]["hatch"].tolist()[: tables["hatches"]["hatch"].tolist().index(hatch) + 1]
    for name in ("hatches", "readings", "samples"):
        tables[name] = tables[name][tables[name]["hatch"].isin(upto)]
    truth = {
        "hatch": hatch,
        "lot": state["lots"][here["lot"]].name,
        "cone": here["cone"],
        "causes": [],
        "fall": 0.0,
        "points": 0.0,
    }
    return tables, truth | {"kind": "luck", "decidable": True}


def plans():
    """Set -> what makes each of its histories from a generator of random numbers."""
    caused = [lambda rng, w=w: poor(rng, w) for w in POOR]
    blind = [lambda rng, w=w: poor(rng, f"{w} none", blind=True) for w in BLIND]
    changes = [lambda rng, w=w: changed(rng, w) for w in CHANGES]
    hidden = [lambda rng, w=w: poor(rng, w) for w in HIDDEN for _ in range(HIDDEN_EACH)]
    return {"quiet": [quiet] * QUIET, "changes": changes, "poor": [*caused, *blind, *[luck] * LUCK], "hidden": hidden}


def history(seed, what, k):
    """The tables and the truth of the k-th history of a set, from a seed of its own."""
    every = plans()
    return every[what][k](np.random.default_rng([seed, list(every).index(what), k]))


def histories(seed, only=None, n=None):
    """Yield (set, name, tables, truth)."""
    for what, makers in plans().items():
        for k in range(len(makers) if only in (None, what) else 0):
            if n is None or k < n:
                yield what, f"{what[0]}{k + 1:02d}", *history(seed, what, k)


def write(folder, seed, only=None, n=None):
    """Write the histories of one seed as the sheets of sites, with truth.json beside each set."""
    sets = {}
    for what, name, tables, truth in histories(seed, only, n):
        sets.setdefault(what, []).append((name, tables, truth))
    for what, members in sets.items():
        out = Path(folder) / what
        out.mkdir(parents=True, exist_ok=True)
        with zipfile.ZipFile(out / "data.zip", "w", zipfile.ZIP_DEFLATED) as bundle:
            for name, tables, _truth in members:
                for table, frame in tables.items():
                    text = io.StringIO()
                    frame.to_csv(text, index=False, float_format="%.10g")
                    bundle.writestr(zipfile.ZipInfo(f"{name}/{table}.csv"), text.getvalue())
        truths = {name: truth for name, _tables, truth in members}
        (out / "truth.json").write_text(json.dumps(truths, indent=1, default=float) + "\n", encoding="utf-8")


def main():
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("out")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--only", choices=("quiet", "changes", "poor", "hidden"))
    ap.add_argument("--n", type=int)
    args = ap.parse_args()
    write(args.out, args.seed, args.only, args.n)


if __name__ == "__main__":
    main()
