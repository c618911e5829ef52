"""Processor time of one month's review of a long log: the study, the finding and, if asked, the page.

OMP_NUM_THREADS=1 python tests/benchmarks/bench_month.py [--hatches N] [--changes K] [--page]

The log is a room of ``qckit.practice.month_rooms``, every hatch with its readings and its subsamples, with up to four
changes in its last ten months: what is found is fitted again and again, so that a log with many changes costs most.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
from dataclasses import replace

import numpy as np

from qckit.practice.month_rooms import draw_room, draw_room_constants, plan_change
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.verdict import finding_of_month

# part of the log's days at which it begins and ends, cone (all without one), share of the nauplii lost
_MORE = ((0.72, 0.74, "", 0.16), (0.80, 1.0, "A", 0.12), (0.90, 0.96, "B", 0.20))


def long_log(n_hatches, *, changes=1, seed=5):
    """Tables of a room with about so many hatches and changes, and its last whole month."""
    rng = np.random.default_rng(seed)
    room = replace(draw_room_constants(rng, days=round(n_hatches / 2.33)), hatches_a_day=2.5, counted_by_hand=0.1)
    tables = draw_room(plan_change(room, "air of a cone", rng) if changes else room)
    hatches, samples = tables["hatches"], tables["samples"].copy()
    for begin, end, cone, lost in _MORE[: max(0, changes - 1)]:
        part = np.linspace(0, 1, len(hatches))
        touched = (part >= begin) & (part <= end) & ((hatches["cone"] == cone) | (cone == "")).to_numpy()
        mine = samples["hatch"].isin(hatches.loc[touched, "hatch"])
        fewer = rng.binomial(samples.loc[mine, "nauplii"].astype(int), lost)
        samples.loc[mine, "nauplii"] -= fewer
        samples.loc[mine, "cysts"] += fewer
    return SiteTables(settings=Settings(), **{**tables, "samples": samples}), sorted(set(hatches["started"].str[:7]))[
        -2
    ]


def write_page(tables, month, keep=""):
    """Write the site and its month's page; seconds of this process and its kernel, and megabytes."""
    from qckit.log import new_site, open_log
    from qckit.reports.run import run_report

    with tempfile.TemporaryDirectory() as folder:
        new_site(f"{folder}/site", name="bench", timezone="UTC")
        with open_log(f"{folder}/site") as log:
            for name in ("lots", "hatches", "readings", "samples"):
                log.add(name, getattr(tables, name), by="bench")
        began = sum(os.times()[:4])
        made = run_report("month", f"{folder}/site", {"month": month}, out_dir=f"{folder}/out")
        if keep:
            shutil.copy(made.html, keep)
        return sum(os.times()[:4]) - began, made.html.stat().st_size / 1e6


def main():
    """Draw, review, print."""
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--hatches", type=int, default=1531)
    ap.add_argument("--changes", type=int, default=1, choices=range(5))
    ap.add_argument("--page", metavar="FILE", help="write the page too, say how large it is, and keep it in FILE")
    args = ap.parse_args()
    tables, month = long_log(args.hatches, changes=args.changes)
    study_month(long_log(340, seed=6)[0], month="2025-05")  # loads the libraries
    began = time.process_time()
    study = study_month(tables, month=month)
    finding = finding_of_month(study)
    took = time.process_time() - began
    print(f"{len(tables.hatches)} hatches, {len(tables.readings)} readings, {len(tables.samples)} subsamples, {month}")
    print(f"study and finding: {took:.1f} s of processor; {len(study.shifts)} changes; {finding.headline}")
    if args.page:
        took, size = write_page(tables, month, args.page)
        print(f"page: {took:.1f} s of processor, {size:.2f} MB")


if __name__ == "__main__":
    main()
