"""Small rooms: one to four cones, their people, meters that are off or missing, days and lots."""

import numpy as np
import pandas as pd

from small import embryo

TONGUES = ("en", "de", "es", "fr", "nl", "pt")
PEOPLE = ("Iris", "Bo", "Karel", "Lena", "Nuno", "Chloé", "Sanne", "Pilar", "Udo", "Maeve", "Rui", "Anouk")
QUANTITIES = ("temp", "sal", "ph", "oxy", "light")


def room(rng, tongue=None):
    """Draw one room."""
    n = int(rng.choice([1, 2, 2, 3, 3, 4, 4]))
    crew = [str(x) for x in rng.choice(PEOPLE, int(rng.integers(1, 5)), replace=False)]
    hand = {
        p: {s: float(np.exp(rng.normal(0, sd))) for s, sd in zip("NUCS", (0.03, 0.2, 0.08, 0.15), strict=True)}
        for p in crew
    }
    lumps = {p: float(rng.choice([0, 0, 0, rng.uniform(0.2, 0.8)])) for p in crew}
    owns = {
        "temp": rng.uniform() < 0.93,
        "sal": rng.uniform() < 0.75,
        "ph": rng.uniform() < 0.6,
        "oxy": rng.uniform() < 0.35,
        "light": rng.uniform() < 0.3,
    }
    off = {
        "temp": rng.normal(0, 0.5),
        "sal": rng.normal(0, 1.2),
        "ph": rng.normal(0, 0.12),
        "oxy": rng.normal(0, 0.4),
        "light": rng.normal(0, 0.1),
    }
    w, base = embryo.world(rng), float(rng.uniform(26.5, 28.8))
    season = float(rng.choice([0, 0, 0.5, 1.0, 1.8]))
    base = min(base, 27.4) if season >= 1 else base
    slowest = (28 - w["tmin"][0, 0]) ** 2 / (base - season - w["tmin"][0, 0]) ** 2
    most_out = slowest * (w["b50"][0, 0] * np.exp(1.5 * w["spread"][0, 0]) + 1.2 * w["u50"][0, 0])
    return {
        "tongues": [tongue or str(rng.choice(TONGUES))] + ([str(rng.choice(TONGUES))] if rng.uniform() < 0.25 else []),
        "cones": [f"{rng.choice(['K', 'V', 'tub'])}{k + 1}" for k in range(n)] if n > 1 else ["cone"],
        "crew": crew,
        "hand": hand,
        "lumps": lumps,
        "second": rng.uniform() < 0.3,  # somebody else counts than starts
        "owns": owns,
        "off": {q: float(v) for q, v in off.items()},
        "meter": {"temp": 0.25, "sal": 0.6, "ph": 0.05, "oxy": 0.25, "light": 120.0},
        "slips": float(rng.uniform(0.005, 0.04)),
        "misses": float(rng.uniform(0.02, 0.4)),
        "late": float(rng.choice([0.0, 0.0, 0.3, 0.7])),
        "counts": str(rng.choice(["NUCS", "NUCS", "NUC", "NUC", "NC", "NUE"])),
        "feeds": [int(x) for x in rng.choice([6, 8, 11, 14, 17, 20, 22], int(rng.choice([1, 1, 2])), replace=False)],
        "hours": float(np.ceil(most_out + rng.uniform(0, 4))),
        "writes_hours": rng.uniform() < 0.7,
        "litres": float(rng.choice([2, 5, 10, 20, 40])),
        "g_per_l": float(rng.uniform(0.8, 2.2)),
        "ul": float(rng.choice([250, 500, 1000])),
        "drops": int(rng.integers(3, 7)),
        "dilution": float(rng.choice([1, 1, 1, 2, 5])),
        "skip": float(rng.choice([0.0, 0.1, 0.3])),
        "season": season,
        "base": {
            "temp": base,
            "sal": float(rng.uniform(25, 35)),
            "ph": float(rng.uniform(8.05, 8.4)),
            "oxy": float(rng.uniform(5.2, 7.0)),
        },
        "wobble": {"temp": 0.35, "sal": 0.7, "ph": 0.05, "oxy": 0.35},
        "spread": float(rng.uniform(0.03, 0.08)),
        "full_sd": float(rng.uniform(0.02, 0.06)),
        "tail": rng.uniform() < 0.3,
        "day_part": float(rng.uniform(0.1, 0.8)),
        "drop_sd": float(rng.uniform(0.03, 0.12)),
        "talk": float(rng.uniform(0.03, 0.35)),
        "zone": str(rng.choice(["+01:00", "+00:00", "-03:00", "+02:00", "-06:00"])),
        "world": w,
    }


def calendar(rng, r, days, first="2025-01-06"):
    """One row a hatch: when, where, who; lots that follow each other, each with its own cysts."""
    start = pd.Timestamp(first) + pd.Timedelta(days=int(rng.integers(0, 300)))
    rows = []
    for d in range(days):
        if rng.uniform() < r["skip"]:
            continue
        for k, cone in enumerate(r["cones"]):
            feed = r["feeds"][k % len(r["feeds"])]
            at = start + pd.Timedelta(days=d, hours=feed, minutes=int(rng.choice([0, 10, 15, 30, 45])))
            who = str(rng.choice(r["crew"]))
            rows.append(
                {
                    "day": d,
                    "start": at,
                    "cone": cone,
                    "operator": who,
                    "counter": str(rng.choice(r["crew"])) if r["second"] else who,
                }
            )
    plan = pd.DataFrame(rows)
    lots, left = {}, 0
    names = []
    for d in range(days):
        if left <= 0:
            left = int(rng.integers(35, 90))
            names.append(f"{rng.choice(['B', 'L', 'Art', 'C'])}{rng.integers(100, 999)}")
            lots[names[-1]] = {
                "full": float(rng.uniform(2.1e5, 3.0e5)),
                "viable": float(np.clip(r["world"]["viable"][0, 0] + rng.normal(0, 0.03), 0.5, 0.97)),
                "fades": float(rng.choice([0, 0, rng.uniform(0.0002, 0.001)])),
                "from": d,
            }
        plan.loc[plan["day"] == d, "lot"] = names[-1]
        left -= 1
    return plan, lots, start


def water(rng, r, plan):
    """What is in each cone when nothing is wrong, a part of it common to the day."""
    n = len(plan)
    out = {}
    for q, sd in r["wobble"].items():
        daily = dict(zip(sorted(set(plan["day"])), rng.normal(0, 1, plan["day"].nunique()), strict=True))
        own = rng.normal(0, 1, n)
        cone = {c: rng.normal(0, 0.4) for c in r["cones"]}
        part = np.sqrt(r["day_part"]) * plan["day"].map(daily) + np.sqrt(1 - r["day_part"]) * own
        out[q] = (r["base"][q] + sd * (part + plan["cone"].map(cone))).to_numpy()
    year = 2 * np.pi * plan["start"].dt.day_of_year.to_numpy() / 365
    out["temp"] = out["temp"] - r["season"] * np.cos(year)
    out["early_temp"] = out["temp"]
    out["hours"] = r["hours"] + rng.normal(0, 0.5, n)
    out["dense"] = np.full(n, r["g_per_l"]) * np.exp(rng.normal(0, 0.01, n))
    return out


def luck(rng, r, plan):
    """What chance does to each hatch: on the share that hatches and on how many cysts a gram holds."""
    heavy = np.sqrt(3 / rng.chisquare(3, len(plan)) / 3 * 1.0) * 1.2 if r["tail"] else 1.0
    daily = dict(zip(sorted(set(plan["day"])), rng.normal(0, 1, plan["day"].nunique()), strict=True))
    own = np.sqrt(r["day_part"]) * plan["day"].map(daily) + np.sqrt(1 - r["day_part"]) * rng.normal(0, 1, len(plan))
    return (own * heavy * r["spread"] * 5).to_numpy(), rng.normal(0, r["full_sd"], len(plan))
