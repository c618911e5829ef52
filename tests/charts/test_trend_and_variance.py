"""Drift, likeness and variance components."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts
from qckit.errors import InputError


def times(n, freq="D"):
    return pd.Series(pd.date_range("2026-01-01", periods=n, freq=freq, tz="UTC"))


def test_slope_only_when_the_data_ask_for_it():
    rng = np.random.default_rng(1)
    flat = charts.judge_drift(times(120), rng.normal(85, 2, 120), unit="%")
    assert flat.shape == "level"
    ageing = charts.judge_drift(times(120), 85 - 0.05 * np.arange(120) + rng.normal(0, 2, 120), unit="%")
    assert ageing.shape == "slope" and ageing.slope_low < -1.5 < ageing.slope_high
    stepped = charts.judge_drift(times(120), np.r_[rng.normal(85, 2, 60), rng.normal(78, 2, 60)], unit="%")
    assert stepped.shape == "step" and abs((stepped.step_at - times(120)[60]).days) <= 3
    short = charts.judge_drift(times(20), np.arange(20.0))
    assert short.sentence == "20 hatches over 19 days are too few to tell a drift."


def test_points_all_on_one_line_drift():
    found = charts.judge_drift(times(81), 80 - 0.5 * np.arange(81))
    assert (found.shape, found.p_value) == ("slope", 0.0)
    assert found.slope_low == pytest.approx(-15) and found.slope_high == pytest.approx(-15)


def test_drift_is_rarely_told_by_chance():
    rng = np.random.default_rng(2)
    told = sum(charts.judge_drift(times(80), rng.normal(0, 1, 80)).shape == "slope" for _ in range(300))
    assert told <= 3


def test_equal_points_are_not_called_few():
    assert charts.autocorrelation([1.0] * 20).sentence == "All 20 points are the same."
    assert charts.autocorrelation([1.0] * 5).sentence == "5 points are too few to judge likeness."
    assert charts.autocorrelation([1.0]).sentence == "1 point is too few to judge likeness."


def test_likeness_of_neighbours():
    rng = np.random.default_rng(3)
    assert not charts.autocorrelation(rng.normal(0, 1, 100)).is_marked
    x = np.zeros(100)
    for i in range(1, 100):
        x[i] = 0.7 * x[i - 1] + rng.normal()
    found = charts.autocorrelation(x)
    assert found.is_marked and found.lag_1 > 0.4
    # Ljung and Box 1978, against statsmodels
    from statsmodels.stats.diagnostic import acorr_ljungbox

    assert found.p_value == pytest.approx(float(acorr_ljungbox(x, lags=[10])["lb_pvalue"].iloc[0]), rel=1e-6)


def gauge():
    # AIAG Measurement Systems Analysis, 4th ed., 10 parts x 3 appraisers x 3 trials
    text = """0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
    0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
    0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
    0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
    0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
    0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
    0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
    -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
    -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16"""
    rows = [line.split() for line in text.splitlines()]
    return pd.DataFrame(
        [(i // 3, j, float(v)) for i, row in enumerate(rows) for j, v in enumerate(row)],
        columns=["appraiser", "part", "y"],
    )


def test_components_of_the_published_gauge_study():
    # pooled ANOVA = REML: part 1.042327, appraiser 0.226838, repeatability 0.199933 (R package lme4 agrees)
    found = charts.variance_components(gauge(), "y", ["part", "appraiser"]).table.set_index("source")["sd"]
    assert found.to_dict() == pytest.approx({"part": 1.042327, "appraiser": 0.226838, "residual": 0.199933}, abs=2e-5)


def test_components_agree_with_statsmodels_on_nested_data():
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(5)
    day = np.repeat(np.arange(20), 6)
    hatch = np.repeat(np.arange(40), 3)
    y = rng.normal(0, 2, 20)[day] + rng.normal(0, 1, 40)[hatch] + rng.normal(0, 0.5, 120)
    frame = pd.DataFrame({"day": day, "hatch": hatch, "y": y})
    own = charts.variance_components(frame, "y", ["day", "hatch"]).table.set_index("source")["variance"]
    fit = smf.mixedlm("y ~ 1", frame, groups="day", vc_formula={"hatch": "0 + C(hatch)"}, re_formula="1").fit(reml=True)
    assert own["day"] == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=2e-3)
    assert own["hatch"] == pytest.approx(float(fit.vcomp[0]), rel=2e-3)
    assert own["residual"] == pytest.approx(float(fit.scale), rel=2e-3)


def test_sources_that_cannot_be_told_apart_say_so():
    frame = gauge().assign(lot="K-121", room=lambda f: f["part"])
    table = charts.variance_components(frame, "y", ["lot", "part", "room"]).table.set_index("source")
    assert table.loc["lot", "note"] == "one level only"
    assert table.loc["room", "note"] == "cannot be told from part"
    with pytest.raises(InputError) as error:
        charts.variance_components(frame.head(2), "y", ["part"])
    assert str(error.value) == "y: 2 observations are not enough to split the variance. Take a longer period."


def test_days_that_share_something_are_found():
    rng, found = np.random.default_rng(21), {0.0: 0, 0.5: 0}
    days = np.repeat(np.arange(10), 4)
    for share in found:
        for _ in range(200):
            z = np.sqrt(share) * rng.normal(size=10)[days] + np.sqrt(1 - share) * rng.normal(size=40)
            likeness = charts.autocorrelation(z, days=days)
            found[share] += likeness.is_marked
    assert "Hatches of one day, or of days that follow, are alike (chance " in likeness.sentence
    assert found[0.0] < 20 and found[0.5] > 170  # an F test at 5 % found 10 and 176
    assert np.isnan(charts.autocorrelation(z).of_days)
