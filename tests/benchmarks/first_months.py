"""First months of quiet rooms, and with bad hatches in them: what stands out by itself, what is told as a change?

python tests/benchmarks/first_months.py [--runs N] [--seed S] [--earlier N] [--row K]

Rooms have the constants of ``qckit.practice.month_rooms`` (drawn from wide ranges, tails included); a month is their
first 20, 30 or 40 hatches, one to three a day, and as many hatches make the next. Prints how many months tell a hatch,
or a change (also as all hatches are searched, those that stand out too), although nothing happened; how often one hatch
that is so many points lower is told; and how often that one, or a sound one, is left out of what is usual in the next
month. ``--earlier`` puts so many before the month. ``--row K``: the last K hatches of the month are lower, which is a
change; how often it is told, and how often one of them is left out.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from qckit.charts.search import find_changes_in_levels
from qckit.practice.month_rooms import draw_room_constants
from qckit.practice.room_water import remembering_days
from qckit.verdicts.month.false_alarms import SHARES
from qckit.verdicts.month.searches import search_without_alone

POINTS = (0, 15, 25, 40)


def month(rng, n, points, earlier, row=0):
    """Hatches of a room as the search takes them, a month and the next one, and the labels of the bad ones."""
    room, per_day, every = draw_room_constants(rng), int(rng.integers(1, 4)), 2 * n + earlier
    day = np.repeat(np.arange(-(-every // per_day)), per_day)[:every]
    cone = np.concatenate([rng.permutation(list(room.cones))[:per_day] for _ in range(day[-1] + 1)])[:every]
    person = rng.choice(list(room.people), every)
    level, tails = next(iter(room.levels.values())) / 100, room.residual_tail_df
    x = np.log(level / (1 - level)) + room.day * remembering_days(rng, day[-1] + 2, room.day_to_day)[day]
    x += [room.cones[c] + room.people[p] for c, p in zip(cone, person, strict=True)]
    share = 1 / (1 + np.exp(-x - room.residual * rng.standard_t(tails, every) / np.sqrt(tails / (tails - 2))))
    end = earlier + n
    bad = np.arange(end - row, end) if row else rng.integers(earlier, end, 1)
    share[bad] = np.maximum(0.02, share[bad] - points / 100)
    full = np.maximum(8, rng.poisson(room.counted[0] * room.counted[1], every))
    rho = (room.overdispersion - 1) / room.counted[0]
    share = rng.beta(share * (1 / rho - 1), (1 - share) * (1 / rho - 1)) if rho > 1e-6 else share
    k = rng.binomial(full, share) + 0.5
    rest = full + 1 - k
    columns = {"cone": cone, "operator": person, "lot": "L1", "counted_by": "photo", "size": full.astype(float)}
    columns |= {"y": np.log(k / rest), "counting": 1 / k + 1 / rest, "label": [f"h{i}" for i in range(every)]}
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(day, unit="D")
    return pd.DataFrame(columns | {"at": at}), {f"h{i}" for i in bad} if points else set()


def judged(rng, n, points, earlier, row):
    """Of the month: all bad ones told, a sound one told, a change told, and with all searched; the same of the next."""
    frame, bad = month(rng, n, points, earlier, row)
    first, second = frame["at"].iloc[earlier], frame["at"].iloc[earlier + n]
    mine = frame.head(earlier + n)
    search, alone = search_without_alone(mine, first)
    told = {hatch for hatch in alone if int(hatch[1:]) >= earlier}
    every = (
        search if not alone else find_changes_in_levels(mine, alpha=SHARES["changes"], late_alpha=SHARES["late levels"])
    )
    now = bool(told & bad), bool(told - bad), bool(search.changes), bool(every.changes)
    if row:
        return now
    _, later = search_without_alone(frame, second)
    before = {hatch for hatch in later if int(hatch[1:]) < earlier + n}
    return *now, bool(before & bad), bool(before - bad)


def main():
    """Draw, judge, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--runs", type=int, default=200, help="months of each kind; quiet ones five times as many")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--earlier", type=int, default=0)
    ap.add_argument("--row", type=int, default=0)
    args = ap.parse_args()
    rng, began = np.random.default_rng(args.seed), time.process_time()
    heads = ["hatches", "points lower", "months", "told", "a sound hatch told", "a change told", "all searched"]
    heads += [] if args.row else ["left out in the next month", "a sound one left out"]
    print(f"| {' | '.join(heads)} |\n|" + " --- |" * len(heads))
    for n in (20, 30, 40):
        for points in POINTS[1:] if args.row else POINTS:
            runs = args.runs if points else 5 * args.runs
            shares = 100 * np.mean([judged(rng, n, points, args.earlier, args.row) for _ in range(runs)], axis=0)
            print(f"| {n} | {points} | {runs} | {' | '.join(f'{s:.1f} %' for s in shares)} |", flush=True)
    print(f"{time.process_time() - began:.0f} s of processor; a hatch is stated at {100 * SHARES['hatches']:.1f} %")


if __name__ == "__main__":
    main()
