"""How often the limits of the water mark a reading of quiet rooms, beside what the charts state.

python tests/benchmarks/water_marks.py [--rooms N] [--seed S] [--only QUANTITY]

Only the water is worked out (no search, no counts), so that many rooms can be drawn. Marks come in clumps: the centre
of a month is wrong for all of its readings at once; the error is that over rooms.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts import hatch_series
from qckit.charts.limits import apply_limits
from qckit.charts.run_lengths import run_length
from qckit.charts.series import CONDITIONS
from qckit.charts.water import water_limits, water_points
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.verdicts.month.periods import month_bounds


def marks_of(series, name) -> list[tuple[int, int, float]]:
    """Readings, marks and marks stated of one quantity, a tuple for each month but the first of a room."""
    points, out = water_points(series, name), []
    for month in sorted(set(points["at"].dt.strftime("%Y-%m")))[1:]:
        first, last = month_bounds(month)
        days = water_limits(points[points["at"] < last], name, first=first, last=last)
        mine = points[(points["at"] >= first) & (points["at"] < last)]
        if days is None or not len(mine):
            continue
        frame = apply_limits(days.limits, mine.rename(columns={"counting": "size"}).assign(group="", size=np.nan))
        marks = int(((frame["value"] < frame["low"]) | (frame["value"] > frame["high"])).sum())
        run = run_length(("beyond_3",), reach=days.limits.reach, n_points=days.limits.n_points, df=days.limits.df)
        out.append((len(mine), marks, len(mine) / run.mean))
    return out


def main() -> None:
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--rooms", type=int, default=30)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--only", default="")
    args = ap.parse_args()
    since, rng, rows = time.process_time(), np.random.default_rng(args.seed), []
    for room in range(args.rooms):
        tables = draw_room(draw_room_constants(rng, days=215))
        series = hatch_series(tables["lots"], tables["hatches"], tables["samples"], tables["readings"])
        for name in CONDITIONS if not args.only else (args.only,):
            rows += [(room, name, *row) for row in marks_of(series, name)]
    table = pd.DataFrame(rows, columns=["room", "quantity", "readings", "marks", "stated"])
    for name, part in table.groupby("quantity", sort=False):
        rate = 100 * part["marks"].sum() / part["readings"].sum()
        by_room = part.groupby("room")[["readings", "marks"]].sum()
        left = by_room["marks"] - rate / 100 * by_room["readings"]
        error = 100 * np.sqrt((left**2).sum()) / part["readings"].sum()
        print(
            f"{name}: {part['marks'].sum()} of {part['readings'].sum()}: {rate:.2f} (error {error:.2f}) per 100, "
            f"{100 * part['stated'].sum() / part['readings'].sum():.2f} stated"
        )
    print(f"{time.process_time() - since:.0f} s of processor")


if __name__ == "__main__":
    main()
