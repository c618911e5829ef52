"""A busy site: four cones a day for 92 days, six subsamples a hatch. A month takes less than 30 s of processor.

python -m pytest tests/reports/test_month_busy.py -s
"""

import resource
import time

import numpy as np
import pandas as pd
import pytest

from qckit.log import new_site, open_log
from qckit.reports import run_report
from qckit.tables import check_table


def busy_tables(seed=4, days=92):
    """Lots, hatches, samples and readings of an invented busy site; nothing changes in it."""
    rng = np.random.default_rng(seed)
    hatches, samples, readings = [], [], []
    for day in pd.date_range("2026-08-01 18:00", periods=days, freq="D", tz="UTC"):
        for cone in "ABCD":
            name, sheet = f"H{day:%y%m%d}-{cone}", rng.normal([28.0, 33.0, 8.2, 6.3, 2000], [0.3, 0.5, 0.05, 0.2, 120])
            hatches.append(
                (name, "L-1", "production", cone, day.isoformat(), 40.0, 20_000.0, rng.choice(["op1", "op2", "op3"]))
            )
            taken = (day + pd.Timedelta(hours=24)).isoformat()
            own = rng.beta(85 * 2.5, 15 * 2.5)
            for i in range(6):
                whole = int(rng.poisson(130))
                n = int(rng.binomial(whole, own))
                u = int(rng.binomial(whole - n, 0.15))
                samples.append(
                    (
                        f"{name}-{i}",
                        name,
                        taken,
                        24.0,
                        "subsample",
                        250.0,
                        1.0,
                        n,
                        u,
                        whole - n - u,
                        int(rng.binomial(n, 0.95)),
                        "person",
                        0,
                    )
                )
            for what, value, unit in zip(
                ("temperature", "salinity", "ph", "oxygen", "light"),
                sheet,
                ("°C", "ppt", "pH", "mg/l", "lux"),
                strict=True,
            ):
                readings.append((name, taken, what, round(float(value), 2), unit))
    frames = {
        "lots": pd.DataFrame(
            {"lot": ["L-1"], "opened": ["2026-07-31"], "price": [64.0], "pack_g": [500.0], "notes": ["invented"]}
        ),
        "hatches": pd.DataFrame(
            hatches, columns=["hatch", "lot", "purpose", "cone", "started", "cysts_g", "volume_ml", "operator"]
        ),
        "samples": pd.DataFrame(
            samples,
            columns=[
                "sample",
                "hatch",
                "taken",
                "hours",
                "kind",
                "volume_ul",
                "dilution",
                "nauplii",
                "umbrella",
                "cysts",
                "shells",
                "counted_by",
                "revision",
            ],
        ),
        "readings": pd.DataFrame(readings, columns=["hatch", "taken", "quantity", "value", "unit"]),
    }
    return {name: check_table(frame, name) for name, frame in frames.items()}


@pytest.mark.slow
def test_a_month_of_124_hatches_and_744_subsamples_is_reported_in_time(tmp_path):
    new_site(tmp_path / "site")
    with open_log(tmp_path / "site") as log:
        log.add_many(busy_tables(), by="op1", source="invented")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    mine, clock = time.process_time(), time.perf_counter()
    run = run_report("month", tmp_path / "site", {"month": "2026-10"}, now="2026-11-01T09:00:00+00:00")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = time.process_time() - mine
    spent += after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{time.perf_counter() - clock:.1f} s by the clock, {spent:.1f} s of processor")
    assert run.finding["details"]["lots"][0]["n_hatches"] == 124
    assert spent < 30
