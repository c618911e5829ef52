"""How often do ordinary hatches fall short of the dose that was planned for them?

Run: ``python tests/benchmarks/dose_short.py SITE``, such as the folder of ``qckit demo``, or ``... --rooms N`` for N
rooms drawn by ``qckit.practice.month_rooms``, whose constants (what a day shares and remembers, cones, people, heavy
tails, counting) are drawn from wide ranges and know nothing of the dose. For every lot and month the dose is planned
with what was known on the day before, and held against the ordinary production hatches of that month as they were
counted, at the recovery that the plan used. Prints Markdown.
"""

import argparse
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from qckit import load_site
from qckit.errors import InputError
from qckit.hatch import cone_metrics, dose_records, ordinary_hatches, plan_dose
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.settings import Settings
from qckit.site_tables import SiteTables

RISKS = (0.05, 0.1, 0.2)


def short_hatches(tables, n: Counter, short: Counter) -> None:
    """Add a site's ordinary hatches, and those short of their dose, by lot and risk."""
    cones = cone_metrics(
        tables.samples,
        tables.hatches,
        tables.lots,
        photos=tables.photos,
        reading_h=tables.settings.conditions.reading_h,
    )
    hatches = ordinary_hatches(cones, tables.hatches, tables.settings, tables.readings)
    hatches = hatches[hatches["is_ordinary"]]
    for month, of_month in hatches.groupby(hatches["at"].dt.strftime("%Y-%m")):
        day = str((pd.Timestamp(month) - pd.Timedelta(days=1)).date())
        if not (hatches["at"] < pd.Timestamp(day, tz="UTC")).any():
            continue
        records = dose_records(tables, day=day)
        for lot, later in of_month.groupby("lot"):
            for risk in RISKS:
                try:
                    plan = plan_dose(tables, lot, day=day, risk=risk, records=records)
                except InputError:  # nothing of the lot was counted by then
                    continue
                brought = later["hatching_efficiency_per_g"] * plan.grams * plan.recovery_pct / 100
                n[lot, risk] += len(later)
                short[lot, risk] += int((brought < plan.nauplii).sum())


def main(options):
    """Print the share of short hatches, by lot of a site or over rooms."""
    n, short = Counter(), Counter()
    print("| lot | hatches | " + " | ".join(f"short at 1 in {1 / r:.0f} [%]" for r in RISKS) + " |")
    print("| --- | --- |" + " --- |" * len(RISKS))
    if options.site:
        short_hatches(load_site(options.site).tables, n, short)
    for i in range(options.rooms):
        room = replace(draw_room_constants(np.random.default_rng([options.seed, i])), seed=i)
        of_room: tuple[Counter, Counter] = Counter(), Counter()
        short_hatches(SiteTables(settings=Settings(), **draw_room(room)), *of_room)
        n.update({(f"room {i}", r): sum(v for (_, q), v in of_room[0].items() if q == r) for r in RISKS})
        short.update({(f"room {i}", r): sum(v for (_, q), v in of_room[1].items() if q == r) for r in RISKS})
    lots = list(dict.fromkeys(lot for lot, _ in n))
    for lot in lots:
        cells = " | ".join(f"{100 * short[lot, r] / max(n[lot, r], 1):.1f}" for r in RISKS)
        print(f"| {lot} | {n[lot, RISKS[0]]} | {cells} |")
    whole = [sum(n[lot, r] for lot in lots) for r in RISKS]
    cells = " | ".join(
        f"{100 * sum(short[lot, r] for lot in lots) / max(w, 1):.1f}" for r, w in zip(RISKS, whole, strict=True)
    )
    print(f"| all | {whole[0]} | {cells} |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("site", nargs="?", type=Path)
    parser.add_argument("--rooms", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    main(parser.parse_args())
