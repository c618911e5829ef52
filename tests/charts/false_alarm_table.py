"""How often a hatch is beyond limits frozen on 20 to 40 hatches when nothing changed.

Its table stands in tests/benchmarks/MONTH.md.

python tests/charts/false_alarm_table.py [baselines per cell, 2000 when left out]
"""

import sys

import numpy as np
import pandas as pd

from qckit import charts

MONITORED = 80
CELLS = [
    ("85 %, 250 to 500 counted, beta-binomial", 0.85, 0.004, (250, 501), "beta"),
    ("85 %, 375 counted", 0.85, 0.004, (375, 376), "beta"),
    ("85 %, 150 to 800 counted, wider spread", 0.85, 0.01, (150, 801), "beta"),
    ("85 %, no more than binomial", 0.85, 0.0, (250, 501), "beta"),
    ("85 %, logit-normal hatches", 0.85, 0.004, (250, 501), "logit"),
    ("95 %, 250 to 500 counted", 0.95, 0.004, (250, 501), "beta"),
    ("95 %, logit-normal, four times binomial", 0.95, 0.01, (250, 501), "logit"),
    ("3 % (umbrella)", 0.03, 0.004, (250, 501), "beta"),
]


def draw(rng, share, rho, sizes, law, n):
    """Counts and sizes of n hatches that differ by correlation rho."""
    size = rng.integers(*sizes, n)
    if rho == 0:
        own = share
    elif law == "beta":
        total = (1 - rho) / rho
        own = rng.beta(share * total, (1 - share) * total, n)
    else:
        own = 1 / (1 + np.exp(-(np.log(share / (1 - share)) + np.sqrt(rho / share / (1 - share)) * rng.normal(size=n))))
    return rng.binomial(size, own).astype(float), size.astype(float)


def rates(share, rho, sizes, law, n, repeats, rng):
    """Percent beyond: plain p limits; p' as published; p' as the kit uses it; error of the last."""
    found = []
    for _ in range(repeats):
        count, size = draw(rng, share, rho, sizes, law, n + MONITORED)
        points = pd.DataFrame({"count": count, "size": size})
        base, later = points.head(n), points.tail(MONITORED)
        own = []
        for limits in (
            charts.fit_limits(base, "p"),
            charts.fit_limits(base, "p prime"),
            charts.set_baseline(base, "p prime", rules=("beyond_3",)).limits,
        ):
            chart = charts.apply_limits(limits, later)
            own.append(((chart["value"] < chart["low"]) | (chart["value"] > chart["high"])).mean())
        found.append(own)
    found = 100 * np.array(found)
    return (*found.mean(axis=0), found[:, 2].std() / np.sqrt(repeats))


if __name__ == "__main__":
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(
        "| hatches | baseline | plain p | p' as published | p' as used here (error) |\n| --- | --- | --- | --- | --- |"
    )
    for words, share, rho, sizes, law in CELLS:
        for n in (20, 25, 40):
            p, published, used, error = rates(share, rho, sizes, law, n, repeats, np.random.default_rng(7))
            print(f"| {words} | {n} | {p:.2f} | {published:.2f} | {used:.2f} ({error:.2f}) |", flush=True)
