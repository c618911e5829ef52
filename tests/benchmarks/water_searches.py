"""Search the water of quiet rooms drawn from wide priors: how often a search tells a change at a stated chance.

python tests/benchmarks/water_searches.py [--rooms N] [--seed S]

Each room is searched once a quantity, at the end of its records; a change told is a false one.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.series import CONDITIONS, hatch_series
from qckit.charts.water import search_water, water_points
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.settings import Settings
from qckit.verdicts.month.false_alarms import SHARES

_WIDEST = 0.1


def searches(rng):
    """A row a quantity of one room: chance of the clearest change, and of what group it is."""
    sheets = draw_room(draw_room_constants(rng))
    tables = (sheets[name] for name in ("lots", "hatches", "samples", "readings"))
    history = hatch_series(*tables, conditions=Settings().conditions, purposes=("production",))
    for q in CONDITIONS:
        search = search_water(water_points(history, q), q, last=pd.Timestamp("2025-10-01", tz="UTC"), alpha=_WIDEST)
        if search is not None:
            best = min(search.changes, key=lambda c: c.p_value, default=None)
            yield (1.0, "") if best is None else (best.p_value, best.factor or "all")


def main():
    """Draw, search, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--rooms", type=int, default=300)
    ap.add_argument("--seed", type=int, default=202)
    args = ap.parse_args()
    rng, began = np.random.default_rng(args.seed), time.process_time()
    rows = pd.DataFrame([row for _ in range(args.rooms) for row in searches(rng)], columns=["p", "group"])
    print(f"{len(rows)} searches of {args.rooms} quiet rooms, {time.process_time() - began:.0f} s of processor")
    for alpha in (_WIDEST, 0.05, 0.01, SHARES["water"] / len(CONDITIONS)):
        told = rows.loc[rows["p"] < alpha, "group"]
        error = np.sqrt(alpha / len(rows))
        print(
            f"stated {alpha:.4f}: told {len(told) / len(rows):.4f} (error {error:.4f}), {told.value_counts().to_dict()}"
        )


if __name__ == "__main__":
    main()
