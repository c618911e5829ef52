"""How often the 95 % interval of a change holds its true date, where a change is told.

Its table stands in tests/benchmarks/MONTH.md.

python tests/charts/change_date_table.py [series per cell, 500 when left out]
"""

import sys

import numpy as np

from qckit import charts


def held(n, at, step, repeats, rng):
    """Percent held by the interval in use and by the large-sample one, mean length of the first, share told."""
    rows = []
    for _ in range(repeats):
        y = rng.normal(size=n) + np.where(np.arange(n) < at, 0.0, step)
        found = charts.find_changes(y, most=1, shortest=3)
        if found.n_changes:
            used, large = (
                found.changes[0],
                charts.find_changes(y, most=1, shortest=3, interval="large sample").changes[0],
            )
            rows.append((used.low <= at <= used.high, large.low <= at <= large.high, used.high - used.low + 1))
    return (*np.mean(rows, axis=0), len(rows) / repeats)


if __name__ == "__main__":
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print("| points, change after | step (SD) | told | held | large-sample interval held | length |")
    print("| --- | --- | --- | --- | --- | --- |")
    for n, at in ((25, 12), (40, 8), (80, 40), (80, 12)):
        for step in (0.7, 1.2, 2.0):
            used, large, length, told = held(n, at, step, repeats, np.random.default_rng(5))
            percent = " | ".join(f"{100 * share:.0f} %" for share in (told, used, large))
            print(f"| {n}, {at} | {step:g} | {percent} | {length:.0f} |", flush=True)
