"""How soon a small lasting fall is told: the month's search beside a weighted mean (EWMA) of the same false-alarm rate.

python tests/benchmarks/small_falls.py [--runs N]      # --runs 0: the weighted means only

Hatches without any day or group that differs, 180 in control, then a fall of so many standard deviations of a hatch
that goes on. EWMAs know level and spread exactly, or have them from the last 180 or 60 hatches in control; their widths
are set so that they signal in 60 quiet hatches (a month) with the search's own chance; "its share": with the share of
that chance which the search has for falls of all hatches that go on, which is what a weighted mean looks for. The
search estimates everything and counts every group, time and shape.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts import candidates
from qckit.charts.levels import Priors
from qckit.charts.search import find_changes_in_levels
from qckit.verdicts.month.false_alarms import SHARES

_BEFORE, _MONTH = 180, 60
# weight, hatches that level and spread are from (0: known), whether the chance is only the search's share for this
_KINDS = ((0.1, 0, 0), (0.2, 0, 0), (0.1, 180, 0), (0.1, 60, 0), (0.1, 180, 1), (0.1, 60, 1))


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


def watched(z, weight, baseline):
    """Weighted means of the hatches after those in control, by level and spread of the last of these."""
    if baseline:
        base = z[:, _BEFORE - baseline : _BEFORE]
        z = (z[:, _BEFORE:] - base.mean(axis=1, keepdims=True)) / base.std(axis=1, ddof=1, keepdims=True)
        return averages(z, weight)
    return averages(z, weight)[:, _BEFORE:]


def main():
    """Draw, search, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=60)
    args = ap.parse_args()
    rng, began, alpha = np.random.default_rng(3), time.process_time(), SHARES["changes"]
    width = {}
    for kind in _KINDS:
        long = watched(rng.normal(0, 1, (40_000, _BEFORE + _MONTH)), *kind[:2])
        if kind[2]:
            lowest = -long.min(axis=1)
            width[kind] = float(np.quantile(lowest, 1 - alpha * candidates.SHARES["all"] * Priors().falls))
        else:
            width[kind] = float(np.quantile(np.abs(long).max(axis=1), 1 - alpha))
    names = [f"EWMA {w}" + (f", from {b}" if b else "") + (", its share" if s else "") for w, b, s in _KINDS]
    print(f"| fall (SD) | hatches since | {' | '.join(names)} | search |\n|" + " --- |" * (3 + len(names)))
    for fall in (0.75, 1.0, 1.5):
        for after in (10, 15, 20, 30):
            z = rng.normal(0, 1, (20_000, _BEFORE + after))
            z[:, _BEFORE:] -= fall
            told = [np.mean((watched(z, *kind[:2]) < -b).any(axis=1)) for kind, b in width.items()]
            n = 0
            for _ in range(args.runs):
                search = find_changes_in_levels(frame_of(rng, fall, after), alpha=alpha, priors=Priors(residual=1.0))
                n += any(c.coefficient < 0 for c in search.changes)
            cells = [*(f"{100 * t:.0f} %" for t in told), f"{100 * n / args.runs:.0f} %" if args.runs else "–"]
            print(f"| {fall:g} | {after} | {' | '.join(cells)} |", flush=True)
    print(f"{time.process_time() - began:.0f} s of processor")


if __name__ == "__main__":
    main()
