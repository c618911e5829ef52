"""How soon a small lasting fall is told: the month's search beside a weighted mean (EWMA) of the same false-alarm rate.

python tests/benchmarks/small_falls.py [--runs N]

Hatches without any day or group that differs, 180 in control, then a fall of so many standard deviations of a hatch
that goes on. The EWMA knows level and spread exactly and its width is set so that it signals in 60 quiet hatches (a
month) with the search's own chance; the search estimates everything and counts every group, time and shape.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.levels import Priors
from qckit.charts.search import find_changes_in_levels
from qckit.verdicts.month.rates import SHARES

_BEFORE, _MONTH = 180, 60


def frame_of(rng, fall, n_after):
    """Hatches of one lot: four cones, three people, three a day."""
    n = _BEFORE + n_after
    y = rng.normal(0, 1, n)
    y[_BEFORE:] -= fall
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(np.arange(n) // 3, unit="D")
    columns = {"label": np.arange(n), "at": at, "y": y, "counting": 0.0, "lot": "L", "counted_by": "photo"}
    return pd.DataFrame(columns | {"cone": rng.choice(list("ABCD"), n), "operator": rng.choice(["x", "y", "z"], n)})


def averages(z, weight):
    """Weighted means along the last axis, from zero."""
    out, last = np.empty(z.shape), np.zeros(z.shape[:-1])
    for i in range(z.shape[-1]):
        last = weight * z[..., i] + (1 - weight) * last
        out[..., i] = last
    return out


def main():
    """Draw, search, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=60)
    args = ap.parse_args()
    rng, began, alpha = np.random.default_rng(3), time.process_time(), SHARES["changes"]
    width = {}
    for weight in (0.1, 0.2):
        long = averages(rng.normal(0, 1, (40_000, _BEFORE + _MONTH)), weight)[:, _BEFORE:]
        width[weight] = float(np.quantile(np.abs(long).max(axis=1), 1 - alpha))
    print("| fall (SD) | hatches since | EWMA 0.1 | EWMA 0.2 | search |\n|" + " --- |" * 5)
    for fall in (0.75, 1.0, 1.5):
        for after in (10, 15, 20, 30):
            z = rng.normal(0, 1, (20_000, _BEFORE + after))
            z[:, _BEFORE:] -= fall
            told = [np.mean((averages(z, w)[:, _BEFORE:] < -b).any(axis=1)) for w, b in width.items()]
            n = 0
            for _ in range(args.runs):
                search = find_changes_in_levels(frame_of(rng, fall, after), alpha=alpha, priors=Priors(residual=1.0))
                n += any(c.coefficient < 0 for c in search.changes)
            cells = [*(f"{100 * t:.0f} %" for t in told), f"{100 * n / args.runs:.0f} %"]
            print(f"| {fall:g} | {after} | {' | '.join(cells)} |", flush=True)
    print(f"{time.process_time() - began:.0f} s of processor")


if __name__ == "__main__":
    main()
