"""How often do ordinary hatches fall short of the dose that was planned for them?

Run: ``python tests/benchmarks/dose_short.py SITE``, such as the folder of ``qckit demo``, or ``... --rooms N`` for N
rooms drawn by ``qckit.practice.month_rooms``, whose constants (what a day shares and remembers, cones, people, heavy
tails, counting) are drawn from wide ranges and know nothing of the dose. For every lot and month the dose is planned
with what was known on the day before, and held against the ordinary production hatches of that month as they were
counted, at the recovery that the plan used. Prints Markdown.

With ``--certificate N`` the counts of the site or room are taken as a person's, a counter that finds and mistakes a
part (drawn anew for each) counts all of them by photo, and a check of N photos corrects it. Doses then rest on the
corrected counts, and what a hatch brings is what a person counted.
"""

import argparse
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from qckit import load_site
from qckit.agreement import certify_camera, correct_photo_counts
from qckit.errors import InputError
from qckit.hatch import cone_metrics, dose_records, ordinary_hatches, plan_dose
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.stages import STAGE_COLUMNS
from qckit.tables import check_table

RISKS = (0.05, 0.1, 0.2)
COLUMNS = list(STAGE_COLUMNS.values())


def as_photos(rng, counts, found, mistaken):
    """Counts by a counter that finds a part of the nauplii and takes a part of the cysts for nauplii."""
    taken = rng.binomial(counts["cysts"].astype(int), mistaken)
    nauplii = rng.binomial(counts["nauplii"].astype(int), found) + taken
    return counts.assign(nauplii=nauplii, cysts=counts["cysts"].astype(int) - taken)


def certificate(rng, counts, n, found, mistaken):
    """A check of ``n`` photos like those of the site, every object of them paired."""
    hand = counts.sample(n, random_state=int(rng.integers(2**31)))[COLUMNS].astype(int).reset_index(drop=True)
    hand = hand.assign(photo=[f"P{i}" for i in range(n)])
    rows = []
    for photo in hand.to_dict("records"):
        for stage, column in STAGE_COLUMNS.items():
            luck = rng.random(photo[column])
            called = np.full(len(luck), stage, dtype=object)
            called[luck < (1 - found if stage == "nauplius" else 0.0)] = "missed"
            called[luck < (mistaken if stage == "cyst" else 0.0)] = "nauplius"
            rows.append(pd.DataFrame({"photo": photo["photo"], "hand": stage, "photo_stage": called}))
    matches = pd.concat(rows, ignore_index=True)
    seen = matches[matches["photo_stage"] != "missed"].groupby(["photo", "photo_stage"]).size().unstack(fill_value=0)
    seen = seen.reindex(columns=list(STAGE_COLUMNS), index=hand["photo"], fill_value=0).set_axis(COLUMNS, axis=1)
    made = certify_camera(
        seen.reset_index(),
        hand,
        camera="scope",
        made_at="2020-01-01T09:00:00+00:00",
        made_by="op1",
        counter_version="2",
        matches=matches,
    )
    return check_table(made.to_frame().assign(valid_until="2099-01-01"), "certificates")


def by_photo(tables, rng, n):
    """The same site with every complete subsample counted by photo, corrected by a check of ``n`` photos."""
    samples = tables.samples.copy()
    whole = samples[COLUMNS].notna().all(axis=1) & samples["embryos"].isna() & (samples["kind"] == "subsample")
    found, mistaken = rng.uniform(0.8, 0.98), rng.uniform(0.0, 0.06)
    known = certificate(rng, samples[whole], n, found, mistaken)
    seen = as_photos(rng, samples.loc[whole, COLUMNS], found, mistaken)
    for column in COLUMNS:
        samples.loc[whole, column] = seen[column]
    samples.loc[whole, "counted_by"] = "photo"
    names = samples.loc[whole, "sample"].tolist()
    photos = pd.DataFrame({"photo": [f"{s}.png" for s in names], "sample": names, "um_per_px": 6.2})
    photos = photos.assign(sha256=[f"{i:064x}" for i in range(len(names))], counter_version="2")
    photos = check_table(photos.assign(width_px=1000, height_px=1000), "photos")
    nobody = pd.DataFrame({"sample": []})
    return correct_photo_counts(tables.but(samples=samples, photos=photos, certificates=known, hand_checked=nobody))


def short_hatches(tables, n: Counter, short: Counter, planned=None) -> None:
    """Add a site's ordinary hatches, and those short of their dose, by lot and risk.

    Doses are planned from ``planned``, the same hatches as another counter saw them.
    """
    planned = tables if planned is None else planned
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
        records = dose_records(planned, day=day)
        for lot, later in of_month.groupby("lot"):
            for risk in RISKS:
                try:
                    plan = plan_dose(planned, lot, day=day, risk=risk, records=records)
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
        tables = load_site(options.site).tables
        rng = np.random.default_rng([options.seed, 999])
        short_hatches(tables, n, short, by_photo(tables, rng, options.certificate) if options.certificate else None)
    for i in range(options.rooms):
        room = replace(draw_room_constants(np.random.default_rng([options.seed, i])), seed=i)
        of_room: tuple[Counter, Counter] = Counter(), Counter()
        tables = SiteTables(settings=Settings(), **draw_room(room))
        rng = np.random.default_rng([options.seed, i, 7])
        short_hatches(tables, *of_room, by_photo(tables, rng, options.certificate) if options.certificate else None)
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
    parser.add_argument("--certificate", type=int, default=0, help="photos of the check that corrects all counts")
    main(parser.parse_args())
