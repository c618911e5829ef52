"""Does the stated size of a change hold the true one, although only changes that stood out are told?

python tests/benchmarks/change_sizes.py [--runs N] [--seed S]

Rooms of four cones, three people and two lots over 60 days, days that share a part and remember; a step of so many
standard deviations of a hatch (days and own luck together) in all hatches, one cone or one person, that goes on for so
many hatches. Prints, for each size and length: told, and of those told the share whose 95 % interval held the size, the
share that the ordinary interval of the same estimate would have held, and how far the estimate lies above the truth.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.levels import Priors
from qckit.charts.search import find_changes_in_levels

PEOPLE = ("op1", "op2", "op3")
SIZES, LENGTHS = (1.5, 2.0, 3.0), (8, 15, 30)


def room(rng, n_days=60, per_day=3):
    """Hatches on a unit scale: own luck of one, days with a part and a memory drawn anew, cones and people apart."""
    n, of_day = n_days * per_day, np.repeat(np.arange(n_days), per_day)
    day, memory = rng.uniform(0.1, 0.7), rng.uniform(0.0, 0.6)
    days, last = [], rng.normal()
    for _ in range(n_days):
        last = memory * last + np.sqrt(1 - memory**2) * rng.normal()
        days.append(last)
    cones = np.concatenate([rng.permutation(list("ABCD"))[:per_day] for _ in range(n_days)])
    people = rng.choice(PEOPLE, n)
    y = day * np.array(days)[of_day] + rng.normal(0, 1, n)
    for level in (*"ABCD", *PEOPLE):
        y += rng.normal(0, 0.4) * ((cones == level) | (people == level))
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(of_day, unit="D")
    columns = {"label": [f"h{i}" for i in range(n)], "at": at, "cone": cones, "operator": people, "y": y}
    lots = np.where(of_day < n_days / 2, "L1", "L2")
    return pd.DataFrame(columns | {"lot": lots, "counted_by": "photo", "counting": 0.0}), float(np.hypot(1.0, day))


def one(rng, size, length):
    """One room with one step: None where it is not told, else (estimate, low, high, ordinary low, high) over the SD."""
    frame, sd = room(rng)
    factor, level = [("", ""), ("cone", "B"), ("operator", "op2")][int(rng.integers(3))]
    mine = np.flatnonzero((frame[factor] == level).to_numpy()) if factor else np.arange(len(frame))
    first = int(rng.integers(len(mine) // 4, max(len(mine) // 4 + 1, len(mine) - length)))
    rows = mine[first : first + length]
    frame.loc[rows, "y"] -= size * sd
    for change in find_changes_in_levels(frame, alpha=0.01, priors=Priors(residual=1.0)).changes:
        is_mine = change.factor == factor and len(np.intersect1d(change.rows, rows)) >= 0.5 * length
        if change.shape == "step" and change.coefficient < 0 and is_mine:
            half = 1.96 * abs(change.coefficient / change.z)
            plain = (change.coefficient - half, change.coefficient + half)
            return np.array([change.coefficient, change.low, change.high, *plain]) / sd
    return None


def main():
    """Draw, search, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=150, help="rooms of each size and length")
    ap.add_argument("--seed", type=int, default=1)
    args = ap.parse_args()
    rng, began = np.random.default_rng(args.seed), time.process_time()
    print("| size (SD) | hatches | told | held | ordinary interval | estimate above truth |\n|" + " --- |" * 6)
    for size in SIZES:
        every = []
        for length in LENGTHS:
            told = [found for _ in range(args.runs) if (found := one(rng, size, length)) is not None]
            every += told
            _print(size, str(length), told, args.runs)
        _print(size, "all", every, args.runs * len(LENGTHS))
    print(f"{time.process_time() - began:.0f} s of processor")


def _print(size, length, told, runs):
    if not told:
        print(f"| {size:g} | {length} | 0 of {runs} | | | |", flush=True)
        return
    value, low, high, plain_low, plain_high = np.array(told).T
    held, plain = (np.mean((a <= -size) & (-size <= b)) for a, b in ((low, high), (plain_low, plain_high)))
    above = 100 * (-value.mean() / size - 1)
    share = f"{len(told)} of {runs}"
    print(f"| {size:g} | {length} | {share} | {100 * held:.0f} % | {100 * plain:.0f} % | {above:+.0f} % |", flush=True)


if __name__ == "__main__":
    main()
