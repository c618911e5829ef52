"""Months of small rooms: quiet ones, and ones in which one thing changes."""

import numpy as np
import pandas as pd

from small import poor, rooms, sheets

KINDS = {
    "heater_low": ("temp", -1, (0.8, 3.0)),
    "salinity_slip": ("sal", 1, (15.0, 40.0)),
    "aeration_failing": ("oxy", -1, (2.0, 5.0)),
    "ph_decline": ("ph", -1, (0.3, 1.0)),
    "cone_draught": ("temp", -1, (0.8, 3.0)),
    "operator_change": ("N", -1, (0.1, 0.35)),
    "lot_ageing": ("viable", -1, (0.1, 0.4)),
    "thermometer_off": ("off", 1, (0.8, 2.0)),
}
"""Kind of change -> what it moves, which way, between which sizes."""

NEEDS = {
    "heater_low": "temp",
    "salinity_slip": "sal",
    "aeration_failing": "oxy",
    "ph_decline": "ph",
    "cone_draught": "temp",
    "thermometer_off": "temp",
}
STRIKES = {"cone_draught": "cone", "operator_change": "operator", "lot_ageing": "lot", "thermometer_off": "meter"}


def quiet(seed, n=8):
    """Six months in which nothing changes."""
    out = {}
    for k in range(n):
        rng = np.random.default_rng([seed, 5, k])
        r = rooms.room(rng)
        plan, lots, _ = rooms.calendar(rng, r, 180)
        for lot in lots.values():
            lot["fades"] = 0.0
            lot["viable"] = lots[next(iter(lots))]["viable"]
        plan = plan.sort_values(["start", "cone"], ignore_index=True)
        h, viable, factors = poor.drawn(rng, r, plan, lots)
        tables = sheets.tables(rng, r, plan, lots, h, poor.grown(r, h, viable), factors)
        out[f"q{k:02d}"] = tables, {"seed": seed, "lots": list(lots), "hatches": len(plan), "seasonal_c": r["season"]}
    return out


def changes(seed, n=16):
    """Seven months with one change of some weeks."""
    out = {}
    kinds = [k for _ in range(2) for k in KINDS]
    for k in range(n):
        out[f"c{k:02d}"] = changed(np.random.default_rng([seed, 6, k]), kinds[k], seed)
    return out


def changed(rng, kind, seed):
    """One room with a change of this kind."""
    quantity, way, (low, high) = KINDS[kind]
    while True:
        r = rooms.room(rng)
        if (kind in STRIKES and STRIKES[kind] == "cone" and len(r["cones"]) < 2) or (
            kind == "operator_change" and len(r["crew"]) < 2
        ):
            continue
        if kind in NEEDS:
            r["owns"][NEEDS[kind]] = r["owns"][NEEDS[kind]] or rng.uniform() < 0.7
        plan, lots, _ = rooms.calendar(rng, r, 210)
        plan = plan.sort_values(["start", "cone"], ignore_index=True)
        h, viable, factors = poor.drawn(rng, r, plan, lots)
        begin = int(rng.integers(95, 150))
        end = min(begin + int(rng.integers(14, 50)), 208)
        rows = plan["day"].between(begin, end)
        group = {"cones": r["cones"], "lot": None, "operator": None}
        if kind == "cone_draught":
            group["cones"] = [str(rng.choice(r["cones"]))]
            rows &= plan["cone"].isin(group["cones"])
        if kind == "operator_change":
            who = group["operator"] = str(rng.choice(r["crew"]))
            plan.loc[(plan["day"] < begin) & (plan["operator"] == who), "operator"] = next(
                x for x in r["crew"] if x != who
            )
            if r["second"]:
                plan.loc[(plan["day"] < begin) & (plan["counter"] == who), "counter"] = next(
                    x for x in r["crew"] if x != who
                )
            else:
                plan["counter"] = plan["operator"]
            rows = plan["day"].ge(begin) & (plan["counter"] == who)
            end = int(plan["day"].max())
        if kind == "lot_ageing":
            group["lot"] = str(plan.loc[plan["day"] == begin, "lot"].iloc[0]) if (plan["day"] == begin).any() else ""
            rows = (plan["lot"] == group["lot"]) & plan["day"].ge(begin)
            end = int(plan.loc[rows, "day"].max()) if rows.any() else begin
        if rows.sum() < 10 or rows.sum() > 0.5 * len(plan):
            continue
        size = float(rng.uniform(low, high))
        creeping = kind in ("aeration_failing", "ph_decline", "lot_ageing")
        along = (plan["day"] - begin) / max(end - begin, 1)
        course = np.where(rows, np.clip(along * 1.5, 0.05, 1) if creeping else 1.0, 0.0)
        before = poor.grown(r, h, viable)
        shown = 0.0
        if quantity in ("temp", "sal", "oxy", "ph"):
            h[quantity] = np.maximum(h[quantity] + way * size * course, 0.4)
            h["early_temp"] = h["temp"].copy()
            if r["owns"][quantity] and r["misses"] < 0.4:
                sd = np.hypot(r["wobble"][quantity], r["meter"][quantity])
                shown = (
                    size * course[rows].mean() / sd * np.sqrt(rows.sum() * (1 - r["misses"]) * (1 - r["day_part"] / 2))
                )
        elif quantity == "N":
            factors["N"] = np.where(rows, 1 - size, 1.0)
        elif quantity == "viable":
            viable = viable * (1 - size * course)
        after = poor.grown(r, h, viable)
        pct = [100 * s["N"] * f / (s["N"] * f + s["U"] + s["C"]) for s, f in ((before, 1.0), (after, factors["N"]))]
        points = float((pct[1] - pct[0])[rows].mean())
        sd = float(np.std(pct[0][~rows]))
        z = abs(points) / np.hypot(sd, 1.5) * np.sqrt(rows.sum() * (1 - r["day_part"] / 2))
        if kind == "thermometer_off":
            if not r["owns"]["temp"]:
                continue
            h_read = h | {"temp": h["temp"] + size * course}
            shown = size / 0.43 * np.sqrt(rows.sum() * (1 - r["misses"]) / 2)
        else:
            h_read = h
        if max(z, shown) < 3 or abs(points) > 25:
            continue
        tables = sheets.tables(rng, r, plan, lots, h_read, after, factors)
        names = tables["hatches"]["hatch"]
        at = plan["start"]
        truth = {
            "kind": kind,
            "start": (at[rows].min().normalize()).strftime("%Y-%m-%dT%H:%M") + r["zone"],
            "end": (at[rows].max().normalize() + pd.Timedelta(hours=23, minutes=59)).strftime("%Y-%m-%dT%H:%M")
            + r["zone"],
            **group,
            "strikes": STRIKES.get(kind, "water"),
            "course": "creeping" if creeping else "sudden",
            "struck": list(names[rows]),
            "size": size,
            "mean_points": points,
            "z": float(max(z, shown)),
        }
        return tables, {
            "seed": seed,
            "changes": [truth],
            "decidable": bool(max(z, shown) > 4),
            "cones": len(r["cones"]),
        }
