"""How often the cause of a poor hatch is named rightly, and how far stated probabilities hold, in rooms that differ.

Every case is a room of its own (``practice.rooms``): mechanisms, lots, water, counting and words are drawn anew. Run:

    python tests/benchmarks/poor_hatch_calibration.py --n 300 --seed 1 [--json OUT] [--checks]

``--checks`` answers every check truthfully in every case and says how often the true cause rises.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
import pandas as pd

from qckit.practice.rooms import simulate_in_room
from qckit.practice.situations import PLANTED
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.checks import CHECKS, weigh_answer
from qckit.verdicts.poor_hatch.verdict import decide, study_hatch

KIT_NAME = {"weighing": "amount", "volume": "amount"}
P_NONE, P_PAIR = 0.12, 0.18
DROPS = (0.10, 0.50)  # share of the nauplii per gram that a planted cause costs
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


def plan_cases(n, rng):
    """Draw what is planted: (causes, drops, logged or not) for n cases, half of them logged.

    Causes come as often as the page says that it assumes: a stated probability can hold only for such a mixture.
    """
    split = pd.Series([KIT_NAME.get(c, c) for c in PLANTED]).value_counts()
    often = np.array([cause(KIT_NAME.get(c, c)).prior / split[KIT_NAME.get(c, c)] for c in PLANTED])
    often = often / often.sum()
    plans = []
    for i in range(n):
        x = rng.random()
        k = 0 if x < P_NONE else 2 if x < P_NONE + P_PAIR else 1
        causes = tuple(str(c) for c in rng.choice(PLANTED, size=k, replace=False, p=often))
        plans.append((causes, tuple(rng.uniform(*DROPS, k)), i % 2 == 0))
    return plans


def studied(n: int, seed: int):
    """Simulate and study cases one by one: (plan, Case)."""
    rng = np.random.default_rng(seed)
    for causes, drops, is_logged in plan_cases(n, rng):
        made = simulate_in_room(rng, causes, drops, is_logged=is_logged)
        tables = SiteTables(
            settings=Settings(), **{k: made.tables[k] for k in ("lots", "hatches", "samples", "readings")}
        )
        yield (causes, drops, is_logged), study_hatch(tables, hatch=made.hatch, for_page=False)


def row_of(plan, case) -> dict:
    """What was planted beside what is said."""
    causes, drops, is_logged = plan
    truth = {KIT_NAME.get(c, c) for c in causes}
    verdict, named = decide(case)
    ranked = case.weights.ranked()
    first = named[0] if named else ranked[0][0]
    dismissed = verdict in ("not-poor", "chance") and not named
    return {
        "causes": " + ".join(sorted(truth)),
        "n_causes": len(causes),
        "drop": max(drops, default=0.0),
        "logged": is_logged,
        "verdict": verdict,
        "named": named[0] if named else "",
        "dismissed": dismissed,
        "first_right": not dismissed and first in truth,
        "in_three": not dismissed and truth <= {code for code, _ in ranked[:3]},
        "none": case.weights.none,
        "weights": dict(ranked),
        "stated": {code: case.weights.stated(code) for code, _ in ranked},
    }


def answered(plan, case) -> list[tuple[str, bool]]:
    """Answer every check truthfully: (check, whether the true cause that it speaks of is at least as likely as before).

    Of two causes a check that speaks of one is about that one; one that speaks of neither is about the likelier.
    """
    truth = {KIT_NAME.get(c, c) for c in plan[0]}
    found = []
    for item in CHECKS:
        sure = bool(truth & set(item.speaks_for))
        # under causes that leave the answer open, both answers are honest
        for is_yes in (True, False) if truth & set(item.silent) and not sure else (sure,):
            after = weigh_answer(case.weights, item.code, is_yes)
            about = truth & set(item.speaks_for) or truth
            before_true = max((case.weights.of(c) for c in about), default=case.weights.none)
            after_true = max((after.of(c) for c in about), default=after.none)
            found.append((item.code, after_true >= before_true - 1e-9))
    return found


def reliability(table: pd.DataFrame, edges=EDGES, *, as_stated=True) -> pd.DataFrame:
    """Stated probabilities in bins against how often they were so, over the six causes a page lists."""
    pairs = [
        (row.stated[code] if as_stated else w, code in row.causes.split(" + "))
        for row in table.itertuples()
        for code, w in list(row.weights.items())[:6]  # as ranked
    ]
    frame = pd.DataFrame(pairs, columns=["p", "so"])
    frame["bin"] = pd.cut(frame["p"], edges, right=False, include_lowest=True, labels=False)
    grouped = frame.groupby(frame["bin"].fillna(len(edges) - 2))
    return pd.DataFrame({"n": grouped.size(), "mean stated": grouped["p"].mean(), "found true": grouped["so"].mean()})


def summary(table: pd.DataFrame) -> dict:
    """The figures that are reported."""
    one, none = table[table["n_causes"] == 1], table[table["n_causes"] == 0]
    caused, named = table[table["n_causes"] > 0], table[(table["named"] != "") & (table["n_causes"] > 0)]
    return {
        "cases": len(table),
        "one cause, first right": float(one["first_right"].mean()),
        "one cause logged, first right": float(one.loc[one["logged"], "first_right"].mean()),
        "one cause not logged, first right": float(one.loc[~one["logged"], "first_right"].mean()),
        "one cause, among three": float(one["in_three"].mean()),
        "named": len(named),
        "named wrongly": float((~named["first_right"]).mean()),
        "chance accused": float((none["named"] != "").mean()),
        "nothing wrong said of a caused case": float(caused["dismissed"].mean()),
        "... whose loss is 25 % or more": float(caused.loc[caused["drop"] >= 0.25, "dismissed"].mean()),
    }


def main() -> None:
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--n", type=int, default=300)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--json")
    ap.add_argument("--checks", action="store_true")
    args = ap.parse_args()
    since, rows, answers = time.perf_counter(), [], []
    for plan, case in studied(args.n, args.seed):
        rows.append(row_of(plan, case))
        if args.json:
            Path(args.json).write_text(json.dumps({"rows": rows, "answers": answers}) + "\n", encoding="utf-8")
        if args.checks:
            answers += answered(plan, case)
    table = pd.DataFrame(rows)
    for name, value in summary(table).items():
        print(f"{name}: {value:.3f}" if isinstance(value, float) else f"{name}: {value}")
    print(reliability(table).round(3).to_string())
    with_one = table[table["n_causes"] == 1].groupby("causes")
    print(
        with_one.agg(
            n=("drop", "size"),
            first=("first_right", "mean"),
            three=("in_three", "mean"),
            dismissed=("dismissed", "mean"),
        )
        .round(2)
        .to_string()
    )
    if answers:
        rises = pd.DataFrame(answers, columns=["check", "rises"])
        print(f"true cause rises or stays after an honest answer: {rises['rises'].mean():.3f} of {len(rises)}")
        print(rises.groupby("check")["rises"].mean().round(3).to_string())
    print(f"{time.perf_counter() - since:.0f} s")


if __name__ == "__main__":
    main()
