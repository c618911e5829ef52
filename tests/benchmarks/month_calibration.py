"""Review months of rooms drawn from wide priors: how often a quiet month raises an alarm, what of a change is found.

python tests/benchmarks/month_calibration.py [--rooms N] [--seed S] [--only-quiet]

Rooms are those of ``qckit.practice.month_rooms``: water shared by the day and remembering it, cones, people and lots
that differ for good, seasons, heavy tails, each with constants of its own. N quiet rooms, with what was told of each
month that is not in control, and N with one change each.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.rules import RULES
from qckit.practice.month_rooms import CHANGES, draw_room, draw_room_constants, plan_change
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.month.signals import open_signals
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.verdict import finding_of_month

_MEANT = {"heater": "temperature_c", "salinity": "salinity_ppt", "air of a cone": "oxygen_mg_l", "acid creeping": "ph"}


def months_of(tables, since=None, until=None):
    """Months of a room's records, without the first, which has nothing before it."""
    names = sorted(set(tables.hatches["started"].str[:7]))[1:]
    return [m for m in names if (since is None or m >= since) and (until is None or m <= until)]


def quiet(rng, rows):
    """One quiet room: a row a month, and a line for each month that is not in control."""
    tables = SiteTables(settings=Settings(), **draw_room(draw_room_constants(rng)))
    for month in months_of(tables):
        study = study_month(tables, month=month)
        finding = finding_of_month(study)
        marks = sum(c["n_points"] for c in finding.details["charts"])
        expected = sum(c["signals_expected"] for c in finding.details["charts"])
        of_rules = study.signals[study.signals["rule"].isin(list(RULES))]
        seen = len(of_rules.drop_duplicates(["chart", "hatch"]))
        waiting = len(open_signals(study.signals))
        if finding.verdict in ("out-of-control", "signals"):
            print(f"  quiet {month}: {finding.headline}")
        rows.append((finding.verdict, waiting, marks, seen, expected))


def changed(rng, kind, rows):
    """One room with a change: the first month that names it, whether rightly, and where its start is held."""
    room = plan_change(draw_room_constants(rng), kind, rng)
    tables, change = SiteTables(settings=Settings(), **draw_room(room)), room.change
    first, last = f"{change.first:%Y-%m}", f"{change.last:%Y-%m}"
    for month in months_of(tables, first, last):
        study = study_month(tables, month=month)
        told = [s for s in study.shifts if s.effect < 0 and s.last.date() >= change.first]
        if not told:
            continue
        s = told[0]
        group = (s.factor, s.level) == (change.factor, change.level) or (not s.factor and change.factor == "counted_by")
        lot_alone = s.factor == "lot" and not change.factor
        water = [c["condition"] for c in s.conditions] or [s.quantity]
        right = group or lot_alone or water[0] == _MEANT.get(kind, "-")
        held = s.first_low.date() <= change.first + pd.Timedelta(days=2) and s.first_high.date() >= change.first
        rows.append((kind, change.points, True, right, None if change.grows else held))
        return
    rows.append((kind, change.points, False, False, None))


def main():
    """Draw, review, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--rooms", type=int, default=24)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--only-quiet", action="store_true")
    args = ap.parse_args()
    rng, began, calm, moved = np.random.default_rng(args.seed), time.process_time(), [], []
    for i in range(args.rooms):
        quiet(rng, calm)
        if not args.only_quiet:
            changed(rng, CHANGES[i % len(CHANGES)], moved)
    calm = pd.DataFrame(calm, columns=["verdict", "waiting", "points", "marks", "expected"])
    judged = calm[calm["verdict"] != "not-enough-evidence"]
    n, wrong = len(judged), int((judged["verdict"] != "in-control").sum())
    print(
        f"quiet: {args.rooms} rooms, {n} months judged, not in control {wrong}, with an open signal "
        f"{int((judged['waiting'] > 0).sum())}; marks {judged['marks'].sum()} of {judged['points'].sum()} points, "
        f"stated {judged['expected'].sum():.0f}"
    )
    if not moved:
        return
    moved = pd.DataFrame(moved, columns=["kind", "points", "found", "right", "held"])
    print(moved.groupby("kind")[["found", "right"]].agg(["sum", "size"]).to_string())
    dated = moved["held"].dropna()
    print(
        f"changes: {len(moved)}, found {int(moved['found'].sum())}, named rightly {int(moved['right'].sum())}, start "
        f"held {int(dated.sum())} of {len(dated)}; {time.process_time() - began:.0f} s of processor"
    )


if __name__ == "__main__":
    main()
