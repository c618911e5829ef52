"""Somebody who knows the ranges of the worlds, not this room's numbers, reads the written tables and weighs causes."""

import numpy as np
import pandas as pd

from small import embryo, faults
from small.sheets import COLUMN, SLIP, STAGE

WORLDS = 400
NAMED, HINTED = 60.0, 6.0  # how much likelier a note is under its own cause


def sums(tables, hatch):
    """Mean count per drop of the first reading, by stage, per gram and litre."""
    s = tables["samples"]
    s = s[(s["hatch"] == hatch) & ~s["sample"].str.contains("-b")]
    row = tables["hatches"].set_index("hatch").loc[hatch]
    per = row["cysts_g"] / row["volume_ml"]
    return {k: (float(s[c].sum()), len(s) * per) for k, c in STAGE.items() if c in s}


def weigh(rng, r, tables, hatch, others, lot_mates, note):
    """Cause -> probability, given that some single cause was at work. `note` is (cause, direct) or None."""
    seen, usual = sums(tables, hatch), [sums(tables, o) for o in others]
    seen = {("C" if k == "E" else k): v for k, v in seen.items()}
    mean = {}
    for k in seen:
        source = "E" if k == "C" and "E" in usual[0] else k
        mean[k] = sum(u[source][0] for u in usual) / sum(u[source][1] for u in usual)
    mates = [np.log((sums(tables, m)["N"][0] + 1) / (mean["N"] * sums(tables, m)["N"][1] + 1)) for m in lot_mates]
    row = tables["hatches"].set_index("hatch").loc[hatch]
    taken = tables["samples"].set_index("hatch").loc[[hatch], "taken"].iloc[0]
    hours = (pd.Timestamp(taken) - pd.Timestamp(row["started"])).total_seconds() / 3600
    dense = row["cysts_g"] / row["volume_ml"] * 1000
    usual_water = dict(r["base"])
    for q, column in COLUMN.items():
        past = tables["hatches"].set_index("hatch").loc[others].get(column)
        if past is not None and q != "light" and past.notna().sum() > 3:
            usual_water[q] = float(past.median())
    logs = {}
    for cause in faults.CAUSES:
        if cause == "decap_overdone" and r["counts"] != "NUE":
            continue
        size = rng.uniform(0, 1, WORLDS)
        w = embryo.world(rng, WORLDS)
        base = usual_water | {"hours": r["hours"], "dense": r["g_per_l"]}
        h = {k: np.full(WORLDS, float(base.get(k, v))) for k, v in embryo.NORMAL.items()}
        h["early_temp"] = h["temp"].copy()
        calm = embryo.shares(w, h)
        counted = dict.fromkeys("NUCS", 1.0)
        if cause in faults.SHEET:
            counted = faults.SHEET[cause](size)
        else:
            for j in range(WORLDS):
                faults.strike(cause, size[j], h, j)
        bad = embryo.shares(w, h)
        ll = np.zeros(WORLDS)
        for k, (n, weight) in seen.items():
            ratio = (bad[k] + 0.003) / (calm[k] + 0.003) * counted[k]
            expect = np.log(mean[k] * weight * ratio + 1)
            sd = np.sqrt(1 / (mean[k] * weight * ratio + 3) + (0.12 if k == "N" else 0.3) ** 2)
            ll += -0.5 * ((np.log(n + 1) - expect) / sd) ** 2 - np.log(sd)
        if mates and (cause in faults.OF_LOT):
            down = np.log((bad["N"] + 0.003) / (calm["N"] + 0.003))
            ll += -0.5 * ((np.mean(mates) - down) / 0.15) ** 2
        elif mates:
            ll += -0.5 * (np.mean(mates) / 0.15) ** 2
        for q, column in COLUMN.items():
            if column not in row or not np.isfinite(value := float(row[column])):
                continue
            if q == "light":
                expect, sd = np.where(h["dark_h"] > 0, 5.0, 1800.0), np.where(h["dark_h"] > 0, 20.0, 300.0)
            else:
                expect, sd = (
                    h[q],
                    np.hypot(
                        r["wobble"][q], np.hypot(r["meter"][q], {"temp": 0.5, "sal": 1.2, "ph": 0.12, "oxy": 0.4}[q])
                    ),
                )
            fit = np.exp(-0.5 * ((value - expect) / sd) ** 2) / sd
            ll += np.log(fit + 0.03 / SLIP[q])
        ll += -0.5 * ((hours - h["hours"]) / 1.0) ** 2 - 0.5 * (np.log(dense / h["dense"]) / 0.1) ** 2
        log = np.log(np.mean(np.exp(ll - ll.max()))) + ll.max()
        if note and _alike(cause, note[0]):
            log += np.log(NAMED if note[1] else HINTED)
        logs[cause] = log
    top = max(logs.values())
    p = {k: np.exp(v - top) for k, v in logs.items()}
    total = sum(p.values())
    return {k: float(v / total) for k, v in sorted(p.items(), key=lambda kv: -kv[1])}


def _alike(a, b):
    return a == b or any({a, b} <= group for group in faults.ALIKE)


def judged(p, planted):
    """(decidable, acceptable) of a hatch: with what is alike added up, 0.6 or more and no rival with 0.2."""
    weight = {c: sum(v for k, v in p.items() if _alike(k, c)) for c in p}
    near = {c for c, v in weight.items() if v >= 0.15}
    good = set().union(*({k for k in p if _alike(k, c)} for c in planted))
    own = sum(p.get(c, 0) for c in good)
    rivals = [v for c, v in weight.items() if c not in good]
    decidable = own >= 0.6 and max(rivals, default=0) < 0.2
    return decidable, sorted(good) if decidable else sorted(good | near)
