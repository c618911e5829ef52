"""How often do ordinary hatches of a site fall short of the dose that was planned for them?

Run: ``python tests/benchmarks/dose_short.py SITE``, such as the folder of ``qckit demo``. For every lot and month the
dose is planned with what was known on the day before, and held against the ordinary production hatches of that month as
they were counted, at the recovery that the plan used. Prints Markdown.
"""

import sys

import pandas as pd

from qckit import load_site
from qckit.errors import InputError
from qckit.hatch import cone_metrics, ordinary_hatches, plan_dose


def main(folder):
    """Print short hatches by lot."""
    tables = load_site(folder).tables
    cones = cone_metrics(
        tables.samples,
        tables.hatches,
        tables.lots,
        photos=tables.photos,
        reading_h=tables.settings.conditions.reading_h,
    )
    hatches = ordinary_hatches(cones, tables.hatches, tables.settings, tables.readings)
    hatches = hatches[hatches["is_ordinary"]]
    print("| lot | hatches | short of the dose | percent (1 in 20 stated) |\n| --- | --- | --- | --- |")
    all_n = all_short = 0
    for lot, mine in hatches.groupby("lot"):
        n = short = 0
        for month, later in mine.groupby(mine["at"].dt.strftime("%Y-%m")):
            day = (pd.Timestamp(month) - pd.Timedelta(days=1)).date()
            try:
                plan = plan_dose(tables, lot, day=str(day))
            except InputError:  # nothing of the lot was counted by then
                continue
            brought = later["hatching_efficiency_per_g"] * plan.grams * plan.recovery_pct / 100
            n, short = n + len(later), short + int((brought < plan.nauplii).sum())
        print(f"| {lot} | {n} | {short} | {100 * short / n if n else float('nan'):.1f} |", flush=True)
        all_n, all_short = all_n + n, all_short + short
    print(f"| all | {all_n} | {all_short} | {100 * all_short / max(all_n, 1):.1f} |")


if __name__ == "__main__":
    main(sys.argv[1])
