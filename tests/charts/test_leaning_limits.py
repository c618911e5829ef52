"""Limits that lean as overdispersed counts do: against scipy's laws, against Laney's, and by simulation."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from qckit import charts
from qckit.charts.overdispersed import between_share, lean, limit_value, normal_score, on_the_line


def test_scores_and_limits_are_those_of_the_pearson_iii_law_of_scipy():
    for skewness in (-1.2, -0.4, 0.05, 0.7):
        w = np.array([-1.5, -0.3, 0.0, 1.1, 2.6]) if skewness > 0 else -np.array([-1.5, -0.3, 0.0, 1.1, 2.6])
        score = normal_score(w, np.full(5, skewness))
        assert stats.norm.cdf(score) == pytest.approx(stats.pearson3.cdf(w, skewness), rel=1e-6)
        limit = limit_value(3.0, np.array([skewness]))[0]
        assert limit == pytest.approx(stats.pearson3.isf(stats.norm.sf(3), skewness), rel=1e-6)
        assert normal_score(np.array([limit]), np.array([skewness]))[0] == pytest.approx(3.0, abs=1e-6)
    assert limit_value(3.0, np.zeros(2)).tolist() == [3, 3]


def test_far_and_missing_points_keep_a_score():
    score = normal_score(np.array([-40.0, 40.0, np.nan]), np.array([-0.5, -0.5, -0.5]))
    assert score[0] == -12 and score[1] == 12 and np.isnan(score[2])


def test_lean_is_the_third_moment_of_scipys_laws():
    share, rho, n = 0.9, 0.004, 400
    total = (1 - rho) / rho
    law = stats.betabinom(n, share * total, (1 - share) * total)
    ratio = law.var() / (n * share * (1 - share))
    found = lean("p prime", np.array([share]), np.array([n]), np.array([ratio]))[0]
    assert found == pytest.approx(float(law.stats("s")), rel=0.02)
    mean, spread = 6.0, 3.0
    counts = stats.nbinom(mean / (spread - 1), 1 / spread)
    found = lean("u prime", np.array([mean / 2]), np.array([2.0]), np.array([spread]))[0]
    assert found == pytest.approx(float(counts.stats("s")), rel=1e-9)


def test_limits_are_near_the_exact_ones_of_the_beta_binomial_law():
    share, rho, n = 0.03, 0.004, 400
    total = (1 - rho) / rho
    law = stats.betabinom(n, share * total, (1 - share) * total)
    ratio = law.var() / (n * share * (1 - share))
    limits = charts.Limits("p prime", share, 1.0, 10_000, law="leaning", between=(ratio - 1) / n)
    chart = charts.apply_limits(limits, pd.DataFrame({"count": [12.0], "size": [float(n)]}))
    high, low = chart["high"][0] * n, chart["low"][0] * n
    assert law.sf(np.floor(high)) == pytest.approx(0.00135, rel=0.3)
    assert low == pytest.approx(law.ppf(0.00135), abs=1)


def test_with_equal_sizes_the_spread_is_laneys_own():
    points = pd.DataFrame({"count": [80, 84, 71, 88, 79, 83.0], "size": 100.0})
    plain = charts.fit_limits(points, "p prime")
    leaning = charts.fit_limits(points, "p prime", law="leaning")
    at = charts.apply_limits(leaning, points)["sigma"]
    assert at.to_numpy() == pytest.approx(charts.apply_limits(plain, points)["sigma"].to_numpy())


def test_what_hatches_differ_by_does_not_shrink_with_the_number_counted():
    assert between_share(2.0, [100, 300]) == pytest.approx(3 / 200)
    assert between_share(0.8, [100, 300]) == 0
    limits = charts.Limits("p prime", 0.85, 1.0, 99, law="leaning", between=0.004)
    chart = charts.apply_limits(limits, pd.DataFrame({"count": [85.0, 85_000], "size": [100.0, 100_000]}))
    shrink = chart["sigma"][0] / chart["sigma"][1]
    assert shrink == pytest.approx(np.sqrt((1 + 0.004 * 100) / 100 / ((1 + 0.004 * 1e5) / 1e5)))


def test_limits_stored_before_they_could_lean_are_read_as_symmetric():
    old = charts.Limits.from_json('{"kind": "p prime", "centre": 0.8, "sigma": 1.5, "n_points": 30, "df": null}')
    assert old.law == "symmetric" and old.between == 0
    new = charts.Limits("u prime", 2.0, 1.1, 30, law="leaning", between=0.2)
    assert charts.Limits.from_json(new.to_json()) == new


# kind, level, sizes, correlation of larvae of one hatch: near the demo's percentage, a rare stage, a high percentage
CASES = [
    ("p prime", 0.85, (250, 501), 0.004),
    ("p prime", 0.03, (250, 501), 0.004),
    ("p prime", 0.95, (250, 501), 0.004),
]


def false_alarms(kind, share, sizes, rho, n, repeats, rng, *, law="leaning", monitored=80):
    """Share of later hatches beyond limits frozen on n, in percent, and its simulation error."""
    total, each = (1 - rho) / rho, []
    for _ in range(repeats):
        size = rng.integers(*sizes, n + monitored)
        count = rng.binomial(size, rng.beta(share * total, (1 - share) * total, n + monitored))
        points = pd.DataFrame({"count": count.astype(float), "size": size.astype(float)})
        limits = charts.set_baseline(points.head(n), kind, rules=("beyond_3",), law=law).limits
        chart = charts.apply_limits(limits, points.tail(monitored))
        each.append(((chart["value"] < chart["low"]) | (chart["value"] > chart["high"])).mean())
    return 100 * np.mean(each), 100 * np.std(each) / np.sqrt(repeats)


@pytest.mark.parametrize("n", [20, 25, 40])
@pytest.mark.parametrize("case", CASES)
def test_false_alarms_come_as_often_as_stated(case, n):
    rate, error = false_alarms(*case, n, 160, np.random.default_rng(n))
    assert rate < 0.27 + 3 * max(error, 0.05)  # and not more rarely than a third of it, over all
    assert rate > 0.05


def test_symmetric_limits_of_a_rare_stage_signal_too_often_and_leaning_ones_do_not():
    plain, _ = false_alarms(*CASES[1], 40, 110, np.random.default_rng(3), law="symmetric")
    leaning, error = false_alarms(*CASES[1], 40, 110, np.random.default_rng(3))
    assert plain > 0.4 and leaning < 0.27 + 3 * error


def test_score_and_limit_agree_on_what_signals():
    rng = np.random.default_rng(9)
    size = rng.integers(100, 900, 400).astype(float)
    points = pd.DataFrame({"count": np.round(size * rng.beta(3, 40, 400)), "size": size})
    chart = charts.set_baseline(points, "p prime").chart
    limits = charts.set_baseline(points, "p prime").limits
    beyond = (chart["value"] < chart["low"] - 1e-12) | (chart["value"] > chart["high"] + 1e-12)
    assert beyond.tolist() == (chart["z"].abs() > limits.width).tolist()


@pytest.mark.parametrize(("share", "spread"), [(0.003, 0.0), (0.003, 0.005), (0.01, 0.01)])
def test_rare_counts_are_not_marked_for_being_more_than_none(share, spread):
    """Umbrella stages of some 60 objects: mostly 0, so that ranges of neighbours are far too small for them."""
    rng = np.random.default_rng(5)

    def draw():
        p = rng.beta(share / spread, (1 - share) / spread, 40) if spread else np.full(40, share)
        size = rng.integers(48, 73, 40)
        return pd.DataFrame({"count": rng.binomial(size, p), "size": size})

    beyond = []
    while len(beyond) < 100:
        baseline = draw()
        if baseline["count"].sum() >= 2:
            limits = charts.widen(charts.fit_limits(baseline, "p prime", law="leaning"))
            beyond.append((charts.apply_limits(limits, draw())["z"].abs() > limits.width).mean())
    assert np.mean(beyond) < 0.01  # 0.27 % are stated; 1.2 to 7 % were beyond when ranges alone set the spread


def test_on_a_side_stands_what_fewer_than_half_of_scipys_poisson_law_reach():
    for mean in (0.1, 0.5, 0.9, 1.2, 2.5, 6.0, 40.0):
        x = np.arange(0, 8 * int(mean + 2))
        sd = np.sqrt(mean)
        z = on_the_line((x - mean) / sd, 0.5 / sd, np.full(len(x), 1 / sd))
        law = stats.poisson(mean)
        assert law.cdf(x[z < 0]).max(initial=0) < 0.5 + 0.03 and law.sf(x[z > 0] - 1).max(initial=0) < 0.5 + 0.03


def test_a_stage_that_most_hatches_lack_makes_no_runs_below_the_mean():
    rng, runs, points = np.random.default_rng(8), 0, 0
    for _ in range(60):
        count = rng.binomial(60, 0.003, 140)
        if not count[:40].any():
            continue
        frame = pd.DataFrame({"count": count, "size": np.full(140, 60)})
        limits = charts.set_baseline(frame.head(40), "p prime").limits
        found = charts.find_signals(charts.apply_limits(limits, frame.tail(100)), reach=limits.reach)
        runs, points = runs + int((found["rule"] == "nine_one_side").sum()), points + 100
    assert runs / points < 0.01  # 0.32 when each of the many zeros counted as below the mean; 0.003 to 0.007 is stated
