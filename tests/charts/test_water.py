"""Limits of the water: light by factors, cones that stand apart or not, a season that is there or not (simulated)."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import signal

from qckit.charts.levels import LevelData, fit_levels
from qckit.charts.limits import apply_limits
from qckit.charts.lot_chart import build_chart
from qckit.charts.series import SERIES_COLUMNS
from qckit.charts.water import _models, _total2, search_water, water_limits, water_points, water_priors

FIRST = pd.Timestamp("2026-04-01", tz="UTC")


def series_of(name, values, per_day=3):
    """Readings of one quantity, so many a day in turning cones, up to the end of March."""
    n = len(values)
    at = FIRST - pd.to_timedelta((n - 1 - np.arange(n)) // per_day + 1, unit="D")
    frame = pd.DataFrame({"hatch": [f"H{i}" for i in range(n)], "at": at, "cone": np.resize(list("ABC"), n)})
    frame = frame.assign(lot="L", operator="op1", **{name: values})
    return frame.reindex(columns=list(dict.fromkeys([*frame.columns, *SERIES_COLUMNS])))


def limits_of(values, name="light_lux"):
    """Low, centre and high for April, in the unit of the readings."""
    points = water_points(series_of(name, values), name)
    days = water_limits(points, name, first=FIRST)
    row = apply_limits(days.limits, points.tail(1).rename(columns={"counting": "size"}).assign(group="", size=np.nan))
    return days, row[["low", "centre", "high"]].iloc[0].to_numpy(float)


def test_light_is_judged_by_factors():
    lux = 1500 * np.exp(np.random.default_rng(1).normal(0, 0.5, 240))
    _, (low, centre, high) = limits_of(lux)
    # symmetric by factors: never below nothing, and as far below as above
    assert low > 0 and low * high == pytest.approx(centre**2, rel=1e-6)
    assert centre == pytest.approx(1500, rel=0.15)
    # three standard deviations of the logarithms, as the 240 readings show them
    assert np.log(high / centre) == pytest.approx(3 * np.log(lux).std(ddof=1), rel=0.05)
    # a lamp twice as bright moves every limit by that factor and nothing else
    np.testing.assert_allclose(limits_of(2 * lux)[1], [2 * low, 2 * centre, 2 * high], rtol=1e-3)


def test_equal_readings_are_not_called_too_few_days():
    """A month of salinities that all read 33.0 was told that its days with a reading are too few."""

    def words(values, name="salinity_ppt"):
        series = series_of(name, values).assign(far_off="")
        period = (FIRST - pd.Timedelta(days=20), FIRST)
        points = water_points(series, name)
        days = water_limits(points, name, first=period[0], last=period[1])
        chart = build_chart(series, name, period=period, days=days)
        assert chart.limits is None
        return chart.baseline_words

    equal = "all readings are equal and do not tell how far ordinary ones lie apart: no limits can be set yet"
    few = "days with a reading are too few: no limits can be set yet"
    assert words(np.full(80, 33.0)) == equal
    assert words(np.full(12, 33.0)) == words(np.linspace(32, 34, 12)) == few  # four days, three readings each
    late = np.full(150, 33.0)
    late[-20:] = np.linspace(32, 34, 20)  # equal only in the days that limits rest on
    assert words(late) == equal
    long_ago = np.full(360, 28.0)
    long_ago[:30] = np.linspace(26, 29, 30)  # older than the sixty days that limits of the temperature rest on
    assert words(long_ago, "temperature_c") == equal


@pytest.mark.parametrize("shares", [[0.0, 1.0], [0.0, 0.5, 0.5], [0.0, 0.2, 0.3, 0.5]])
def test_equal_cones_add_nothing_to_the_spread(shares):
    spreads = SimpleNamespace(residual=0.3, day=0.4)
    data, k = SimpleNamespace(counting=np.full(5, 0.02)), len(shares)
    model = SimpleNamespace(spreads=spreads, coefficients=np.zeros(k), covariance=np.zeros((k, k)))
    # by hand: what a hatch has of its own, what a day shares, and what rounding adds
    assert _total2(model, np.array(shares), data) == pytest.approx(0.3**2 + 0.4**2 + 0.02, rel=1e-6)


def test_cones_far_apart_count_less_than_a_normal_law_of_their_variance():
    model = SimpleNamespace(
        spreads=SimpleNamespace(residual=1.0, day=0.0),
        coefficients=np.array([0.0, -3.0, 3.0]),
        covariance=np.zeros((3, 3)),
    )
    total2 = _total2(model, np.array([0.0, 0.5, 0.5]), SimpleNamespace(counting=np.zeros(2)))
    # two heaps at -3 and 3: one reading in 370 lies beyond 3 + 2.782, the normal law's 1 in 370 to one side (tables)
    assert 3 * np.sqrt(total2) == pytest.approx(3 + 2.782, abs=0.002) and total2 < 1 + 9


def models_of(values, name):
    """Models of readings over the days before April, their weights, and what they were fitted to."""
    points = water_points(series_of(name, values), name)
    days = ((points["at"] - points["at"].iloc[0]) / pd.Timedelta(days=1)).round().to_numpy(int)
    cones = {"cone": points["cone"].to_numpy(str)}
    data = LevelData(
        y=points["y"].to_numpy(float), counting=points["counting"].to_numpy(float), day=days, factors=cones
    )
    models, weight = _models(data, name)
    assert weight.sum() == pytest.approx(1)
    return models, weight, data


def swing_weight(values):
    """Weight of the models with a yearly swing, of temperatures read over five months."""
    models, weight, _ = models_of(values, "temperature_c")
    has_swing = np.array([("season", "cos") in m.columns for m in models])
    assert 0 < has_swing.sum() < len(models)
    return float(weight[has_swing].sum())


def test_the_season_is_believed_where_the_days_show_it():
    rng, n = np.random.default_rng(2), 450
    noise, turn = rng.normal(0, 0.15, n), 2 * np.pi * (np.arange(n) // 3) / 365.25
    assert swing_weight(28 + noise) < 0.5
    assert swing_weight(28 + 1.2 * np.cos(turn) + noise) > 0.9


def remembering(rng, memory, n=150):
    """Days by scipy's filter of a first-order autoregression with a standard deviation of 1, three readings each."""
    luck = np.concatenate([rng.normal(0, 1, 1), rng.normal(0, np.sqrt(1 - memory**2), n - 1)])
    return np.repeat(signal.lfilter([1.0], [1.0, -memory], luck), 3)


def test_limits_are_averaged_over_how_long_the_water_remembers():
    rng, mean = np.random.default_rng(6), {}
    for memory in (0.0, 0.9):
        found = []
        for _ in range(4):
            values = 8.1 + 0.06 * remembering(rng, memory) + rng.normal(0, 0.03, 450)
            models, weight, data = models_of(values, "ph")
            found.append(float(weight @ [m.spreads.day_to_day for m in models]))
        mean[memory] = np.mean(found)
    assert mean[0.0] < 0.4 and mean[0.9] > 0.8
    # a memory put in keeps the other spreads where a search of its own finds them
    slow, priors = models[-1], replace(water_priors("ph"), day_to_day=0.93, most_day_to_day=0.96)
    searched = fit_levels(data, priors=replace(priors, day_to_day_logit_sd=0.1), fixed=())
    assert slow.spreads.day_to_day == pytest.approx(0.93)
    assert slow.spreads.day == pytest.approx(searched.spreads.day, rel=0.3)
    # the chance of the water's own slow waves is in the centre: as unsure as a few days make it
    slow, fast = (limits_of(8.1 + 0.06 * remembering(np.random.default_rng(7), m), "ph")[0] for m in (0.9, 0.0))
    assert slow.limits.n_points < 20 < 50 < fast.limits.n_points


def test_a_season_moves_the_limits_of_the_next_month_on():
    rng, n = np.random.default_rng(3), 450
    noise, day = rng.normal(0, 0.15, n), np.arange(n) // 3
    swing = 1.2 * np.cos(2 * np.pi * day / 365.25)
    steady, _ = limits_of(28 + noise, "temperature_c")
    moving, _ = limits_of(28 + swing + noise, "temperature_c")
    april = 28 + 1.2 * np.cos(2 * np.pi * (day[-1] + 15) / 365.25)
    assert steady.limits.centre == pytest.approx(28, abs=0.1)
    assert moving.limits.centre == pytest.approx(april, abs=0.35)
    assert moving.limits.sigma > steady.limits.sigma


def test_a_change_that_was_over_before_the_month_is_in_no_limits():
    from qckit.charts.lot_chart import build_chart
    from qckit.charts.water import search_water
    from qckit.verdicts.month.searches import _over

    rng = np.random.default_rng(4)
    ppt = np.round(33 + rng.normal(0, 0.3, 300) + np.repeat(rng.normal(0, 0.3, 100), 3), 1)
    ppt[120:180] += 13  # twenty days of too much salt, two months before
    series = series_of("salinity_ppt", ppt)
    points = water_points(series, "salinity_ppt")
    over = _over(search_water(points, "salinity_ppt", last=FIRST, alpha=0.002), FIRST)
    assert over == set(series["hatch"].iloc[120:180])
    days = water_limits(points, "salinity_ppt", first=FIRST, over=over)
    assert (days.limits.centre, days.n_days, days.left_out) == (pytest.approx(33, abs=0.2), 80, over)
    assert days.limits.sigma == pytest.approx(0.45, rel=0.3)
    period = (FIRST, FIRST + pd.Timedelta(days=30))
    chart = build_chart(series.assign(far_off=""), "salinity_ppt", period=period, days=days, rules=("beyond_3",))
    assert chart.baseline_words.endswith("; 60 hatches of earlier changes left out")
    assert set(chart.frame.loc[chart.frame["phase"] == "set aside", "label"]) == over


def test_a_change_that_was_over_is_in_no_limits_where_days_before_the_month_are_few():
    rng = np.random.default_rng(5)
    ppt = np.round(33 + rng.normal(0, 0.3, 60), 1)
    ppt[15:30] += 13  # five days of too much salt; with them left out, five days are left before the month
    points = water_points(series_of("salinity_ppt", ppt), "salinity_ppt")
    over = set(points["label"].iloc[15:30])
    days = water_limits(points, "salinity_ppt", first=points["at"].iloc[30], over=over)
    assert (days.limits.centre, days.n_days, days.left_out) == (pytest.approx(33, abs=0.3), 15, over)
    assert water_limits(points.head(36), "salinity_ppt", first=points["at"].iloc[30], over=over) is None


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("second", ["cold", "warm"])
def test_one_cold_cone_of_a_day_is_no_change_of_the_days_after_it(seed, second):
    """The step would begin between two hatches of a day, and rest on what these two differ by."""
    rng = np.random.default_rng(seed)
    days = np.repeat(np.arange(23), 2)
    celsius = np.round(28 + rng.normal(0, 0.3, len(days)), 1)
    celsius[2 * 17 + (second == "cold")] = 21.5
    points = pd.DataFrame(
        {
            "label": [f"H{day:02}-{cone}" for day, cone in zip(days, "AB" * 23, strict=True)],
            "at": pd.Timestamp("2026-11-01T09:05", tz="UTC") + pd.to_timedelta(days, unit="D"),
            "cone": list("AB" * 23),
            "lot": "S-1",
            "operator": "ab",
            "y": celsius,
            "counting": 0.0008,
            "value": celsius,
        }
    )
    found = search_water(points, "temperature_c", last=pd.Timestamp("2026-12-01", tz="UTC"), alpha=0.0016)
    assert found.changes == []
    lasting = celsius - 3.0 * (days >= 17)  # what goes on is told all the same, since its day
    found = search_water(
        points.assign(y=lasting), "temperature_c", last=pd.Timestamp("2026-12-01", tz="UTC"), alpha=0.0016
    )
    assert [(c.first, c.is_ongoing) for c in found.changes] == [(34, True)]
