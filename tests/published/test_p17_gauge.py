"""AIAG, Measurement Systems Analysis, 4th ed.: 10 parts, 3 appraisers, 3 trials."""

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import gauge_study
from qckit.agreement.gauge import anova_table

ROWS = """A1 0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
A2 0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
A3 0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
B1 0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
B2 0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
B3 0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
C1 0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
C2 -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
C3 -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16"""


@pytest.fixture
def study():
    rows = [line.split() for line in ROWS.splitlines()]
    return pd.DataFrame(
        [(f"p{i:02d}", row[0][0], float(v)) for row in rows for i, v in enumerate(row[1:], 1)],
        columns=["photo", "counter", "value"],
    )


def test_analysis_of_variance_table(study):
    cube = study.sort_values(["photo", "counter"], kind="stable")["value"].to_numpy().reshape(10, 3, 3)
    table = anova_table(cube)
    assert table["part"] == pytest.approx((88.361934, 9), abs=1e-5)
    assert table["appraiser"] == pytest.approx((3.167262, 2), abs=1e-5)
    assert table["interaction"] == pytest.approx((0.358982, 18), abs=1e-5)
    assert table["error"] == pytest.approx((2.758933, 60), abs=1e-5)


POOLED = {
    "repeatability": 0.199933,
    "reproducibility": 0.226838,
    "gauge": 0.302372,
    "part": 1.042327,
    "total": 1.085300,
    "interaction_p": 0.97411,
}
RANGES = {
    "repeatability": 0.201857,
    "reproducibility": 0.229667,
    "gauge": 0.305766,
    "part": 1.104596,
    "total": 1.146135,
}


@pytest.mark.parametrize(
    ("method", "figures", "gauge_pct", "ndc", "tolerance"),
    [("anova", POOLED, 27.8607, 4, 1e-5), ("range", RANGES, 26.6780, 5, 2e-5)],  # K1 to K3 are printed to four figures
)
def test_published_figures(study, method, figures, gauge_pct, ndc, tolerance):
    got = gauge_study(study, method=method)
    assert {name: getattr(got, name) for name in figures} == pytest.approx(figures, abs=tolerance)
    assert got.gauge_pct == pytest.approx(gauge_pct, abs=1e-3)
    assert got.ndc == ndc


def test_the_analysis_pools_an_interaction_that_is_not_there(study):
    got = gauge_study(study)
    assert got.pooled
    assert got.ndc_exact == pytest.approx(4.8605, abs=1e-3)


def test_unpooled_analysis_of_variance(study):
    got = gauge_study(study, pool_above=1)
    assert not got.pooled
    assert (got.repeatability, got.interaction) == pytest.approx((0.214435, 0.0), abs=1e-5)
    assert (got.reproducibility, got.part) == pytest.approx((0.228304, 1.043395), abs=1e-5)


def test_interval_of_the_gauge_holds_the_estimate_and_the_order_of_rows_does_not_matter(study):
    got = gauge_study(study)
    assert got.gauge_low < got.gauge < got.gauge_high
    shuffled = gauge_study(study.sample(frac=1, random_state=np.random.RandomState(3)))
    assert shuffled.gauge == pytest.approx(got.gauge)
