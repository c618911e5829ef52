"""P01: the standard hatch calculation.

Formulas: Lavens and Sorgeloos (eds) 1996, FAO Fisheries Technical Paper 361, hatching worksheet (from memory). The
counts are constructed for this check; the expected values were computed in R 4.2.2.
"""

import pandas as pd
import pytest

from qckit.hatch import binomial_dispersion, cone_metrics, conversion_factor, sample_metrics, summarise_cones
from qckit.tables import check_table

N = [118, 109, 121, 115, 112, 125], [107, 111, 104, 119, 113, 108], [122, 117, 110, 126, 114, 119]
U = [3, 5, 2, 4, 3, 4], [6, 4, 5, 3, 5, 4], [2, 3, 4, 3, 2, 3]
E = [21, 18, 24, 19, 22, 20], [25, 23, 27, 22, 24, 26], [18, 20, 17, 21, 19, 18]


@pytest.fixture
def tables():
    hatches = [
        {
            "hatch": f"H{c}",
            "lot": "L",
            "purpose": "standard test",
            "cone": str(c + 1),
            "cysts_g": 1.6,
            "volume_ml": 800,
            "started": "2026-01-01T09:00:00+00:00",
        }
        for c in range(3)
    ]
    samples = [
        {
            "sample": f"H{c}-{i}",
            "hatch": f"H{c}",
            "taken": "2026-01-02T09:00:00+00:00",
            "hours": 24,
            "kind": "subsample",
            "volume_ul": 250,
            "dilution": 1,
            "nauplii": N[c][i],
            "umbrella": U[c][i],
            "embryos": E[c][i],
            "counted_by": "person",
        }
        for c in range(3)
        for i in range(6)
    ]
    return check_table(pd.DataFrame(samples), "samples"), check_table(pd.DataFrame(hatches), "hatches")


def test_means_percentage_and_efficiency_per_cone(tables):
    cones = cone_metrics(*tables)
    means = cones[["nauplii", "umbrella", "unhatched"]].div(cones["n_subsamples"], axis=0).to_numpy().tolist()
    assert means[0] == pytest.approx([116.666667, 3.5, 20.666667], abs=1e-6)
    assert means[1] == pytest.approx([110.333333, 4.5, 24.5], abs=1e-6)
    assert means[2] == pytest.approx([118, 2.833333, 18.833333], abs=1e-6)
    assert cones["hatch_pct"].tolist() == pytest.approx([82.840237, 79.186603, 84.486874], abs=1e-6)
    assert cones["hatching_efficiency_per_g"].tolist() == pytest.approx([233333.333, 220666.667, 236000], abs=1e-3)
    assert cones["basis"].tolist() == ["embryos"] * 3


def test_mean_and_sd_over_cones_and_the_pooled_percentage(tables):
    lot = summarise_cones(cone_metrics(*tables))
    assert (lot.hatch_pct.value, lot.hatch_pct.sd) == pytest.approx((82.171238, 2.712727), abs=1e-6)
    assert lot.pooled_hatch_pct == pytest.approx(82.175466, abs=1e-6)  # not the mean of the cones
    efficiency = lot.hatching_efficiency_per_g
    assert (efficiency.value, efficiency.sd) == pytest.approx((230000, 8192.1372), abs=1e-3)
    assert lot.hatch_pct.low < 82.17 < lot.hatch_pct.high


def test_the_pooled_percentage_is_of_the_cones_counted_in_full(tables):
    cones = cone_metrics(*tables)
    more = cones.assign(full_cysts=cones["full_cysts"].where(cones["hatch"] != "H2"))
    assert summarise_cones(more).pooled_hatch_pct == pytest.approx(summarise_cones(cones[:2]).pooled_hatch_pct)


def test_the_factor_comes_from_the_volumes(tables):
    assert conversion_factor(volume_ml=800, counted_ul=250, cysts_g=1.6) == pytest.approx(2000)
    assert sample_metrics(*tables)["factor_per_g"].tolist() == pytest.approx([2000] * 18)
    # a factor of 200 belongs to 80 ml
    assert conversion_factor(volume_ml=80, counted_ul=250, cysts_g=1.6) == pytest.approx(200)
    assert conversion_factor(volume_ml=800, counted_ul=250, cysts_g=1.6, dilution=2) == pytest.approx(4000)


def test_the_eighteen_drops_scatter_less_than_chance():
    part = [n for cone in N for n in cone]
    whole = [n + u + e for ns, us, es in zip(N, U, E) for n, u, e in zip(ns, us, es)]
    found = binomial_dispersion(part, whole)
    assert (found.chi2, found.df, found.ratio) == pytest.approx((11.404343, 17, 0.670844), abs=1e-6)
