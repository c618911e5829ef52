"""One hatch, one figure: the three verdicts, the series of the month and the door give the same for any counts."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qckit.charts import hatch_series
from qckit.hatch import METRICS, cone_metrics, hatch_table, summarise_cones
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table
from qckit.verdicts.lots.usual import counted_hatches

count = st.integers(0, 200)
maybe = st.one_of(st.none(), count)
subsample = st.fixed_dictionaries(
    {
        "nauplii": count,
        "umbrella": maybe,
        "cysts": maybe,
        "embryos": st.one_of(st.none(), st.none(), count),
        "shells": maybe,
        "hours": st.sampled_from([12.0, 22.6, 23.5, 24.0, 24.5, 25.4, 30.0]),
        "volume_ul": st.sampled_from([250.0, 250.0, 500.0, None]),
        "dilution": st.sampled_from([None, 1.0, 2.0]),
        "counted_by": st.sampled_from(["photo", "person"]),
        "photos": st.sampled_from([None, "a.jpg", "b.jpg"]),
    }
)


def tables_of(hatches, purpose="production"):
    rows, samples = [], []
    for i, subsamples in enumerate(hatches):
        started = f"2026-05-{i + 1:02d}T09:00:00+00:00"
        row = {"hatch": f"H{i}", "lot": "L", "purpose": purpose, "cone": "ABCD"[i % 4], "started": started}
        rows.append(row | {"cysts_g": 1.6, "volume_ml": 800.0, "operator": "op1"})
        for j, counts in enumerate(subsamples):
            taken = (pd.Timestamp(started) + pd.Timedelta(hours=counts["hours"])).isoformat()
            samples.append(counts | {"sample": f"H{i}-{j}", "hatch": f"H{i}", "taken": taken, "kind": "subsample"})
    return SiteTables(
        settings=Settings(),
        lots=check_table(pd.DataFrame([{"lot": "L", "moisture_pct": 5.0, "dry_weight_ug": 2.0}]), "lots"),
        hatches=check_table(pd.DataFrame(rows), "hatches"),
        samples=check_table(pd.DataFrame(samples), "samples"),
    )


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(st.lists(st.lists(subsample, min_size=1, max_size=4), min_size=6, max_size=12))
def test_every_verdict_builds_on_the_same_figures(hatches):
    t = tables_of(hatches)
    shown = ["hatch_pct", "hatching_efficiency_per_g"]
    cones = cone_metrics(t.samples, t.hatches, t.lots).set_index("hatch")[shown]
    month = hatch_series(t.lots, t.hatches, t.samples).set_index("hatch")[shown]
    poor = counted_hatches(t.samples, t.hatches).set_index("hatch")[shown]
    door = hatch_table(t).set_index("hatch")[shown]
    lot = summarise_cones(cone_metrics(t.samples, t.hatches, t.lots)).cones.set_index("hatch")[shown]
    for table in (month, door, lot):
        np.testing.assert_allclose(table.loc[cones.index], cones)
    known = cones["hatch_pct"].notna()
    np.testing.assert_allclose(poor.loc[cones.index[known]], cones[known])  # it looks at hatches with a percentage


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(st.lists(st.lists(subsample, min_size=1, max_size=4), min_size=6, max_size=12))
def test_figures_of_a_hatch_hang_together_and_bounds_hold_them(hatches):
    table = hatch_table(tables_of(hatches))
    for name in METRICS:
        known = table[table[name].notna()]
        assert (known[f"{name}_low"] <= known[name] + 1e-9).all() and (
            known[name] <= known[f"{name}_high"] + 1e-9
        ).all()
    known = table[table["hatching_efficiency_per_g"].notna() & (table["hatch_pct"] > 0)]
    full = known["hatching_efficiency_per_g"] / known["hatch_pct"] * 100
    np.testing.assert_allclose(full, known["full_cysts_per_g"])


def test_a_site_gives_a_row_a_hatch(tmp_path):
    import qckit
    from qckit.log import new_site

    one = {"nauplii": 85, "umbrella": 3, "cysts": 15, "shells": 80, "hours": 24.0, "volume_ul": 250.0}
    one |= {"dilution": 1.0, "counted_by": "person", "photos": None, "embryos": None}
    t = tables_of([[one, one], [one]])
    new_site(tmp_path / "site")
    with qckit.open_log(tmp_path / "site") as log:
        log.add_many({"lots": t.lots, "hatches": t.hatches, "samples": t.samples.iloc[:2]}, by="op1")
    site = qckit.load_site(tmp_path / "site")
    table = site.hatches("2026-05")
    assert table["hatch"].tolist() == ["H0", "H1"] and np.isnan(table["hatch_pct"][1])
    # Wilson 1927 with n = 206: by hand (170 + 1.92) / (206 + 3.84) -+ ...
    assert table["hatch_pct"][0] == pytest.approx(100 * 170 / 206)
    assert (table["hatch_pct_low"][0], table["hatch_pct_high"][0]) == pytest.approx((76.8, 87.1), abs=0.1)
    assert site.hatches(cone="B")["hatch"].tolist() == ["H1"] and len(site.hatches("2026-04")) == 0
    assert len(site.objects) == 0
    with pytest.raises(qckit.InputError, match="unknown cone 'X'"):
        site.hatches(cone="X")
