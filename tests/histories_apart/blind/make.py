"""Invented hatchery histories of known cause: ``python make_blind.py OUT --seed N`` (README.md beside this)."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

import numpy as np

from blind import changes, poor
from blind.evidence import summary
from blind.history import Room, record, standard_test
from blind.world import draw_site
from blind.write import write_set


def quiet(name: str, seed: int) -> tuple[dict, dict]:
    """Six months in which nothing goes wrong; lots change, people differ, water wanders within its range."""
    r = np.random.default_rng([seed, 9])
    site = draw_site(name, seed, str(r.choice(["lab", "nursery", "hatchery", "research"])), lots=3)
    for lot in site.lots:
        lot.ageing = min(lot.ageing, 0.0005)
    first = datetime(int(r.integers(2022, 2025)), int(r.integers(1, 13)), 1)
    a, b = int(r.integers(45, 75)), int(r.integers(110, 140))
    over = int(r.choice([0, 0, 5]))
    plan = [(site.lots[0], 0, a + over), (site.lots[1], a + 1, b), (site.lots[2], b + 1, 181)]
    hatches = Room(
        site, first, 182, plan, per_day={"lab": None, "nursery": 2, "hatchery": 3, "research": 2}[site.kind]
    ).run()
    tests = (
        [t for lot, at, _ in plan for t in standard_test(site, lot, max(at - 2, 0), first, r)] if site.tested else []
    )
    frames = record(site, tests + hatches, plan, first)
    truth = {
        "seed": seed,
        "quiet": site.kind,
        "days": 182,
        "subsample_ul": site.volume_ul,
        "changes": [],
        "evidence": [],
        "decidable": True,
        "acceptable": ["none"],
        "water": {"seasonal_c": site.season_c},
        "lots": [
            {
                "lot": lot.name,
                "ageing_logit_per_day": lot.ageing,
                "dead_at_start": round(lot.dead, 3),
                "resting": lot.resting,
            }
            for lot in site.lots
        ],
    }
    return truth, frames


def show(name: str, truth: dict, frames: dict) -> None:
    m = summary(frames)
    m = m[m.purpose == "production"]
    within = np.log(m.per_g.clip(lower=1)).groupby(m.lot).std().mean()
    what = (
        "+".join(c.get("cause", c.get("kind")) for c in truth.get("causes", []) + truth.get("changes", [])) or "quiet"
    )
    pct, per_g = f"H% {m.hatch_pct.mean():5.1f} SD {m.hatch_pct.std():4.1f}", f"N/g {m.per_g.mean() / 1000:4.0f}k"
    print(
        f"{name:5} {what:32} {len(m):4} hatches at {m.hours.median():4.1f} h  {pct}  {per_g} SD {100 * within:4.1f} %"
    )


def main() -> None:
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("out", type=Path)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--only", choices=("poor", "quiet", "changes"))
    a = p.parse_args()
    r = np.random.default_rng(a.seed)
    cases, base = poor.pick(r), a.seed * 100_000
    order = r.permutation(len(cases))
    jobs = {
        "poor": [(f"p{i + 1:02d}", lambda n, i=i, k=k: poor.make(n, base + i, cases[k])) for i, k in enumerate(order)],
        "quiet": [(f"q{i + 1:02d}", lambda n, i=i: quiet(n, base + 20_000 + i)) for i in range(8)],
        "changes": [
            (f"c{i + 1:02d}", lambda n, i=i, k=k: changes.make(n, base + 40_000 + i, changes.KINDS[k]))
            for i, k in enumerate(r.permutation(len(changes.KINDS)))
        ],
    }
    for kind, makers in jobs.items():
        if a.only and kind != a.only:
            continue
        sites = {}
        for name, make in makers:
            sites[name] = make(name)
            show(name, *sites[name])
        write_set(a.out / kind, sites)


if __name__ == "__main__":
    main()
