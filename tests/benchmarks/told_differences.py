"""Do the stated sizes of standing differences and of worse lots hold the true ones, although only some are told?

python tests/benchmarks/told_differences.py [--runs N] [--seed S]

Rooms of four cones and three people that stand apart for good by so much (standard deviation on the logit scale; own
luck 0.15, days 0.1), and of two lots of which the second is so many points worse. Prints how often a difference is told
and how often its 95 % interval holds the true one.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.search import find_changes_in_levels
from qckit.verdicts.lots.expected import Expected
from qckit.verdicts.month.false_alarms import SHARES
from qckit.verdicts.month.lot_levels import judge_lots
from qckit.verdicts.month.searches import standing_differences
from qckit.verdicts.month.shifts import shift_of_lot

CONES, PEOPLE, TOP = list("ABCD"), ["op1", "op2", "op3"], 85.0


def room(rng, n, apart, drop):
    """Hatches of a room, the offsets of its levels, and its two lots' percentages."""
    every, per_day = 2 * n, 3
    day = np.repeat(np.arange(-(-every // per_day)), per_day)[:every]
    cone = np.concatenate([rng.permutation(CONES)[:per_day] for _ in range(day[-1] + 1)])[:every]
    person, lot = rng.choice(PEOPLE, every), np.repeat(["L1", "L2"], n)
    offset = {level: rng.normal(0, apart) for level in (*CONES, *PEOPLE)}
    percent = {"L1": TOP, "L2": TOP - drop}
    x = np.array([np.log(percent[k] / (100 - percent[k])) for k in lot]) + 0.1 * rng.normal(size=day[-1] + 1)[day]
    x += [offset[c] + offset[p] for c, p in zip(cone, person, strict=True)]
    full = rng.poisson(300, every)
    k = rng.binomial(full, 1 / (1 + np.exp(-x - 0.15 * rng.normal(size=every)))) + 0.5
    rest = full + 1 - k
    columns = {"label": [f"h{i}" for i in range(every)], "cone": cone, "operator": person, "lot": lot}
    columns |= {"counted_by": "photo", "size": full.astype(float), "y": np.log(k / rest), "counting": 1 / k + 1 / rest}
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(day, unit="D")
    return pd.DataFrame(columns | {"at": at}), offset


def prospect(lot):
    """A lot of which 85 % was to be expected, give or take what a seller's claim leaves."""
    figures, sd = np.array([np.log(0.85 / 0.15), 12.0, 0.0, 12.4]), np.array([0.35, 0.1, 0.1, 0.2])
    known = {"claim_pct": 85.0, "claim_per_g": np.nan, "test_pct": np.nan, "n_tests": 0}
    return Expected(lot=lot, figures=figures, sd=sd, df=8.0, others=(), **known)


def one(rng, n, apart, drop):
    """(told, held) of standing differences, and of the worse lot."""
    frame, offset = room(rng, n, apart, drop)
    search = find_changes_in_levels(frame, alpha=SHARES["changes"], late_alpha=SHARES["late levels"])
    middle = 1 / (1 + np.exp(-float(np.median(search.model.fitted))))
    standing = []
    for d in standing_differences(search, []):
        among = CONES if d.factor == "cone" else PEOPLE
        truth = 100 * middle * (1 - middle) * (offset[d.level] - np.mean([offset[level] for level in among]))
        standing.append(d.low <= truth <= d.high)
    prospects = {lot: prospect(lot) for lot in ("L1", "L2")}
    options = {"minimum": 60, "margin_pct": 5, "alpha": SHARES["lots"], "of_month": ["L2"]}
    (lot,) = judge_lots(search, prospects, **options)
    told = lot.is_worse or lot.is_unusual
    beside = np.mean([offset[c] for c in CONES]) + np.mean([offset[p] for p in PEOPLE])
    before, now = (1 / (1 + np.exp(-np.log(p / (100 - p)) - beside)) for p in (TOP, TOP - drop))
    shift = shift_of_lot(lot, frame) if told else None
    held = [shift.effect_low <= 100 * (now - before) <= shift.effect_high] if told else []
    return standing, held


def main():
    """Draw, search, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=150)
    ap.add_argument("--seed", type=int, default=1)
    args = ap.parse_args()
    rng, began = np.random.default_rng(args.seed), time.process_time()
    print(
        "| hatches a lot | levels apart | lot worse by | differences told | held | lots told | held |\n|" + " --- |" * 7
    )
    for n in (20, 60):
        for apart, drop in ((0.05, 5), (0.1, 8), (0.2, 12)):
            found = [one(rng, n, apart, drop) for _ in range(args.runs)]
            cells = []
            for part in zip(*found, strict=True):
                every = [held for row in part for held in row]
                cells += [str(len(every)), f"{100 * np.mean(every):.0f} %" if every else ""]
            print(f"| {n} | {apart:g} | {drop} points | {' | '.join(cells)} |", flush=True)
    print(f"{time.process_time() - began:.0f} s of processor")


if __name__ == "__main__":
    main()
