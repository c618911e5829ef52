"""Published control charts: P03 to P08. Sources stand beside each case."""

import numpy as np
import pytest

from qckit import charts

WAFERS = "12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6"
FLOW = "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
DEFECTS = "16 14 28 16 12 20 10 12 10 17 19 17 14 16 15 13 14 16 11 20 11 19 16 31 13"
COMPUTERS = "10 12 8 14 10 16 11 7 10 15 9 5 7 11 12 6 8 10 7 5"
SEEDS_GERM = "10 23 23 26 17 8 10 8 23 0 5 53 55 32 46 10 3 22 15 32 3"
SEEDS_N = "39 62 81 51 39 16 30 28 45 4 6 74 72 51 79 13 12 41 30 51 7"


def numbers(text):
    return np.array(text.split(), float)


def outside(frame):
    return frame.loc[(frame["value"] < frame["low"]) | (frame["value"] > frame["high"]), "point"].tolist()


def test_p03_p_chart_of_wafers():
    # NIST/SEMATECH e-Handbook 6.3.3.2: 30 wafers of 50 chips; published mean 0.2313
    frame = charts.p_chart(numbers(WAFERS), 50)
    assert frame["centre"].iloc[0] == pytest.approx(0.231333, abs=1e-6)
    assert frame["low"].iloc[0] == pytest.approx(0.052428, abs=1e-6)
    assert frame["high"].iloc[0] == pytest.approx(0.410239, abs=1e-6)
    assert outside(frame) == [15, 23]
    assert charts.find_signals(frame, ["beyond_3"])["point"].tolist() == [15, 23]


def test_p04_individuals_and_moving_range():
    # NIST/SEMATECH e-Handbook 6.3.2.2; published limits 45.8159, 55.8041
    frame = charts.individuals_chart(numbers(FLOW))
    assert frame["centre"].iloc[0] == pytest.approx(50.81, abs=1e-5)
    assert frame[["low", "high"]].iloc[0].tolist() == pytest.approx([45.815910, 55.804090], abs=1e-5)
    exact = charts.individuals_chart(numbers(FLOW), d2=charts.D2_EXACT)
    assert exact[["low", "high"]].iloc[0].tolist() == pytest.approx([45.817588, 55.802412], abs=1e-5)
    ranges = charts.moving_range_chart(numbers(FLOW))
    assert ranges["centre"].iloc[0] == pytest.approx(1.877778, abs=1e-5)
    assert ranges["high"].iloc[0] == pytest.approx(6.1347, abs=1e-4)


def test_p05_ewma():
    # NIST/SEMATECH e-Handbook 6.3.2.4; published limits 47.4115, 52.5884
    x = numbers("52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1")
    z = numbers(
        "50.6000 49.5200 50.5640 50.1848 50.1594 49.2116 49.7481 49.8537 50.2576 50.3303 50.1112 49.3578 "
        "49.5205 50.0543 49.3780 49.9246 50.7272 51.2291 51.9403 51.9882"
    )
    steady = charts.ewma_chart(x, centre=50, sigma=2.0539, weight=0.3, steady=True)
    assert steady["ewma"].to_numpy() == pytest.approx(z, abs=1e-4)
    assert steady[["low", "high"]].iloc[0].tolist() == pytest.approx([47.411568, 52.588432], abs=1e-4)
    assert not steady["signal"].any()
    early = charts.ewma_chart(x, centre=50, sigma=2.0539, weight=0.3)["high"].iloc[:5]
    assert early.tolist() == pytest.approx([51.848510, 52.256394, 52.431406, 52.512715, 52.551611], abs=1e-4)


def test_a_missing_point_leaves_the_ewma_and_its_limits_as_they_were():
    x = np.array([80, np.nan, 82, np.nan, 79])
    given, whole = (charts.ewma_chart(v, centre=80, sigma=2) for v in (x, x[~np.isnan(x)]))
    names = ["ewma", "low", "high"]
    assert given.loc[[0, 2, 4], names].to_numpy() == pytest.approx(whole[names].to_numpy())
    assert given.loc[[1, 3], names].to_numpy() == pytest.approx(whole.loc[[0, 1], names].to_numpy())


def test_p06_cusum():
    # NIST/SEMATECH e-Handbook 6.3.2.3
    x = numbers(
        "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 "
        "328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"
    )
    high = "0 0 0 0 0.0325 0 0 0 0 0 0 0 3.0075 4.9400 7.4475 10.6300 11.9875 14.4450 16.0025 19.0350"
    low = "0 0.0075 0 0.3325 0 0 0.5575 0.7150 0.1725 0.2550 0.3125 0 0 0 0 0 0 0 0 0"
    total = (
        "-0.075 -0.4 -0.675 -1.325 -0.975 -0.75 -1.625 -2.1 -1.875 -2.275 -2.65 -2.5 0.825 3.075 5.9 9.4 11.075 "
        "13.85 15.725 19.075"
    )
    frame = charts.cusum_chart(x, target=325, slack=0.3175, decision=4.1959)
    assert frame["high_sum"].to_numpy() == pytest.approx(numbers(high), abs=1e-6)
    assert frame["low_sum"].to_numpy() == pytest.approx(numbers(low), abs=1e-6)
    assert frame["total"].to_numpy() == pytest.approx(numbers(total), abs=1e-6)
    assert frame.loc[frame["signal"] != 0, "point"].iloc[0] == 14


@pytest.mark.parametrize(
    "decision, lengths", [(4, (167.684, 26.630, 8.383, 3.343)), (5, (465.444, 37.996, 10.376, 4.009))]
)
def test_p06_cusum_run_lengths(decision, lengths):
    # R package spc 0.6.7; Lucas and Saccucci 1990, Technometrics 32:1-12 (from memory)
    found = [charts.cusum_run_length(0.5, decision, shift=shift) for shift in (0, 0.5, 1, 2)]
    assert found == pytest.approx(lengths, rel=1e-4)


def test_p06_one_sided_and_ewma_run_lengths():
    # R package spc 0.6.7
    assert charts.cusum_run_length(0.5, 4, sides=1) == pytest.approx(335.368, rel=1e-4)
    assert charts.cusum_run_length(0.5, 5, sides=1) == pytest.approx(930.887, rel=1e-4)
    for weight, width, level, moved in ((0.25, 2.998, 499.836, 11.136), (0.1, 2.814, 499.580, 10.331)):
        assert charts.ewma_run_length(weight, width) == pytest.approx(level, rel=1e-4)
        assert charts.ewma_run_length(weight, width, shift=1) == pytest.approx(moved, rel=1e-4)


def test_p07_c_and_u_charts():
    # NIST/SEMATECH e-Handbook 6.3.3.1: mean 16, limits 4 and 28; point 3 lies on the limit and is not outside
    frame = charts.u_chart(numbers(DEFECTS))
    assert frame[["centre", "low", "high"]].iloc[0].tolist() == pytest.approx([16, 4, 28], abs=1e-6)
    assert charts.find_signals(frame, ["beyond_3"])["point"].tolist() == [24]
    # Montgomery, computers (data set pcmanufact of R package qcc 2.7), five units per sample
    frame = charts.u_chart(numbers(COMPUTERS), 5)
    assert frame[["centre", "low", "high"]].iloc[0].tolist() == pytest.approx([1.93, 0.066133, 3.793867], abs=1e-6)
    assert outside(frame) == []


def test_p08_laney_charts():
    # Laney 2002, Quality Engineering 14:531-537; values recomputed in R on the data named
    points = charts.laney_p_chart(numbers(WAFERS), 50, clip=False)
    assert points["low"].iloc[0] == pytest.approx(-0.065805, abs=1e-5)
    assert points["high"].iloc[0] == pytest.approx(0.528472, abs=1e-5)
    assert outside(points) == []
    assert charts.laney_p_chart(numbers(WAFERS), 50)["low"].iloc[0] == 0
    # Crowder 1978 seeds (agridat crowder.seeds), unequal sizes
    germ, n = numbers(SEEDS_GERM), numbers(SEEDS_N)
    assert outside(charts.p_chart(germ, n)) == [1, 3, 12, 13]
    seeds = charts.laney_p_chart(germ, n)
    assert outside(seeds) == []
    assert seeds["centre"].iloc[0] == pytest.approx(0.510229, abs=1e-5)
    expected = [(0.13187, 0.88859), (0.21014, 0.81031), (0.24769, 0.77277)]
    assert seeds[["low", "high"]].iloc[:3].to_numpy() == pytest.approx(np.array(expected), abs=1e-5)
    computers = charts.laney_u_chart(numbers(COMPUTERS), 5, clip=False)
    assert computers[["low", "high"]].iloc[0].tolist() == pytest.approx([-0.057682, 3.917682], abs=1e-5)


@pytest.mark.parametrize(
    "kind, count, size, sigma_z",
    [
        ("p prime", WAFERS, 50, 1.660867),
        ("p prime", SEEDS_GERM, SEEDS_N, 1.575576),
        ("u prime", COMPUTERS, 5, 1.066429),
    ],
)
def test_p08_sigma_z(kind, count, size, sigma_z):
    import pandas as pd

    size = numbers(size) if isinstance(size, str) else size
    points = pd.DataFrame({"count": numbers(count), "size": size})
    assert charts.fit_limits(points, kind).sigma == pytest.approx(sigma_z, abs=1e-5)
