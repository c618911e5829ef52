"""First months of quiet rooms, and with one bad hatch in them: how often is a hatch told that stands out by itself?

python tests/benchmarks/first_months.py [--runs N] [--seed S] [--earlier N]

Rooms have the constants of ``qckit.practice.month_rooms`` (drawn from wide ranges, tails included); a month is their
first 20, 30 or 40 hatches, one to three a day. Prints how many months tell a hatch, or a change, although nothing
happened, and how often one hatch that is so many points lower is told. ``--earlier`` puts so many before the month.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.search import find_changes_in_levels
from qckit.practice.month_rooms import draw_room_constants
from qckit.practice.room_water import remembering_days
from qckit.verdicts.month.alone import hatches_alone
from qckit.verdicts.month.rates import SHARES

POINTS = (0, 15, 25, 40)


def month(rng, n, points, earlier):
    """Hatches of a room as the search takes them, and the bad one's label ("" where there is none)."""
    room, per_day, every = draw_room_constants(rng), int(rng.integers(1, 4)), n + earlier
    day = np.repeat(np.arange(-(-every // per_day)), per_day)[:every]
    cone = np.concatenate([rng.permutation(list(room.cones))[:per_day] for _ in range(day[-1] + 1)])[:every]
    person = rng.choice(list(room.people), every)
    level, tails = next(iter(room.levels.values())) / 100, room.residual_tail_df
    x = np.log(level / (1 - level)) + room.day * remembering_days(rng, day[-1] + 2, room.day_to_day)[day]
    x += [room.cones[c] + room.people[p] for c, p in zip(cone, person, strict=True)]
    share = 1 / (1 + np.exp(-x - room.residual * rng.standard_t(tails, every) / np.sqrt(tails / (tails - 2))))
    bad = int(rng.integers(earlier, every))
    share[bad] = max(0.02, share[bad] - points / 100)
    full = np.maximum(8, rng.poisson(room.counted[0] * room.counted[1], every))
    rho = (room.overdispersion - 1) / room.counted[0]
    share = rng.beta(share * (1 / rho - 1), (1 - share) * (1 / rho - 1)) if rho > 1e-6 else share
    k = rng.binomial(full, share) + 0.5
    rest = full + 1 - k
    columns = {"cone": cone, "operator": person, "lot": "L1", "counted_by": "photo", "size": full.astype(float)}
    columns |= {"y": np.log(k / rest), "counting": 1 / k + 1 / rest, "label": [f"h{i}" for i in range(every)]}
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(day, unit="D")
    return pd.DataFrame(columns | {"at": at}), f"h{bad}" if points else ""


def judged(rng, n, points, earlier):
    """Whether the bad hatch, a sound one and a change are told."""
    frame, bad = month(rng, n, points, earlier)
    search = find_changes_in_levels(frame, alpha=SHARES["changes"], late_alpha=SHARES["late levels"])
    told = hatches_alone(search, frame["at"].iloc[earlier])
    return bad in told, bool(told - {bad}), bool(search.changes)


def main():
    """Draw, judge, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=200, help="months of each kind; quiet ones five times as many")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--earlier", type=int, default=0)
    args = ap.parse_args()
    rng, began = np.random.default_rng(args.seed), time.process_time()
    print("| hatches | points lower | months | told | a sound hatch told | a change told |\n|" + " --- |" * 6)
    for n in (20, 30, 40):
        for points in POINTS:
            runs = args.runs if points else 5 * args.runs
            bad, sound, change = np.mean([judged(rng, n, points, args.earlier) for _ in range(runs)], axis=0)
            cells = f"{100 * bad:.0f} %" if points else "", f"{100 * sound:.1f} %", f"{100 * change:.1f} %"
            print(f"| {n} | {points} | {runs} | {' | '.join(cells)} |", flush=True)
    print(f"{time.process_time() - began:.0f} s of processor; a hatch is stated at {100 * SHARES['hatches']:.1f} %")


if __name__ == "__main__":
    main()
