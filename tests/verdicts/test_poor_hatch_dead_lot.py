"""A lot of dead embryos, of which some pass for shells or are not seen: not called a product of empty shells."""

import numpy as np
import pandas as pd
from poor_cases import explain

from qckit.tables import check_table, table_columns

GOOD, BAD = (0.86, 1.0), (0.5, 0.78)  # share that opens; full cysts counted, of the good lot's


def site(bad, *, best_before=""):
    """A good lot over twenty days, then another over six; neither shells nor umbrellas are found."""
    rng = np.random.default_rng(2)
    rows = {"lots": [{"lot": "L1"}, {"lot": "L2", "best_before": best_before}], "hatches": [], "samples": []}
    for day in range(26):
        lot, (share, amount) = ("L1", GOOD) if day < 20 else ("L2", bad)
        name, started = f"H{day:02d}", (pd.Timestamp("2026-08-01T08:00Z") + pd.Timedelta(days=day)).isoformat()
        row = {"hatch": name, "lot": lot, "purpose": "production", "cone": "A", "started": started}
        rows["hatches"].append(row | {"cysts_g": 2.0, "volume_ml": 1000.0, "operator": "op1"})
        for i in range(4):
            full = rng.poisson(120 * amount)
            nauplii = rng.binomial(full, share)
            row = {"sample": f"{name}-{i}", "hatch": name, "taken": started, "hours": 24.0, "kind": "subsample"}
            row |= {"volume_ul": 250.0, "dilution": 1.0, "counted_by": "person", "nauplii": nauplii, "umbrella": 0}
            rows["samples"].append(row | {"cysts": full - nauplii})
    return {t: check_table(pd.DataFrame(r).reindex(columns=table_columns(t)), t) for t, r in rows.items()}


def chances(**more):
    finding = explain(site(BAD, **more), "H25")
    found = {c["code"]: c["probability"] for c in finding.details["causes"]}
    return finding.details["named"], found.get("embryos", 0.0), found.get("empty", 0.0)


def test_an_old_lot_of_which_some_are_not_seen_is_called_old():
    named, embryos, empty = chances(best_before="2026-06-01")
    assert named == ["embryos"] and embryos > empty


def test_without_its_age_either_may_be_so():
    _named, embryos, empty = chances()
    assert min(embryos, empty) > 0.2
