"""Run lengths: closed forms of runs up and down, simulation of combinations, limits that are estimates."""

import math

import numpy as np
import pytest

from qckit import charts
from qckit.charts.run_chain import build_chain
from qckit.charts.spread import moving_range_df


def simulated(rules, *, shift=0.0, reach=None, repeats, length, seed):
    """Mean first signal and its error; series are longer than any first signal is likely to be."""
    rng, reach, found = np.random.default_rng(seed), reach or {}, []
    for _ in range(repeats):
        z = rng.normal(shift, 1, length)
        firsts = [np.flatnonzero(charts.find_rule(z, rule, **reach.get(rule, {}))) for rule in rules]
        found.append(min(f[0] for f in firsts if len(f)) + 1)
    return np.mean(found), np.std(found) / np.sqrt(repeats)


def test_runs_of_three_have_their_closed_forms():
    # permutations of n without three rising or falling in a row are the alternating ones, 2 E_n of them, and
    # sum E_n / n! = sec 1 + tan 1 (Andre 1881, from memory); those without three alternating are the two even ones
    rising = charts.run_length(["six_trending"], reach={"six_trending": {"window": 3}})
    assert rising.mean == pytest.approx(2 * (1 / math.cos(1) + math.tan(1)) - 2, rel=1e-9)
    assert rising.method == "integral equation"
    turning = charts.run_length(["fourteen_alternating"], reach={"fourteen_alternating": {"window": 3}})
    assert turning.mean == pytest.approx(2 * math.e - 2, rel=1e-9)


@pytest.mark.parametrize(
    "rules, shift, length",
    [
        (("six_trending",), 0.0, 6000),
        (("beyond_3", "six_trending"), 1.0, 1500),
        (("two_of_three_beyond_2", "six_trending", "fourteen_alternating", "eight_beyond_1"), 0.4, 3000),
    ],
)
def test_combinations_with_steps_agree_with_simulation(rules, shift, length):
    mean, error = simulated(rules, shift=shift, repeats=1500, length=length, seed=12)
    assert charts.run_length(rules, shift=shift).mean == pytest.approx(mean, abs=3.5 * error)


def test_all_eight_tests_together():
    found = charts.run_length(charts.NELSON)
    mean, error = simulated(charts.NELSON, repeats=1500, length=1500, seed=3)
    assert found.mean == pytest.approx(mean, abs=3.5 * error)
    assert found.mean == pytest.approx(73.480, abs=0.001)  # frozen: quadrature of 8 and 12 points agree
    assert found.sentence == "chance alone signals about once in 73 hatches"


def test_rules_on_steps_do_not_notice_a_shift():
    assert charts.run_length(["six_trending"], shift=1.3).mean == pytest.approx(
        charts.run_length(["six_trending"]).mean, rel=1e-9
    )


@pytest.mark.parametrize("n", [20, 40])
def test_estimated_limits_signal_as_often_as_is_said(n):
    """Signals per hatch over many baselines, each signal beginning a new search."""
    rules, df = charts.DEFAULT_RULES, moving_range_df(n)
    reach = charts.rule_reach(rules, n, df)
    said = charts.run_length(rules, reach=reach, n_points=n, df=df)
    rng, counts = np.random.default_rng(n), []
    for _ in range(3000):
        base = rng.normal(size=n)
        sigma = np.abs(np.diff(base)).mean() / charts.D2_EXACT
        z, begin, count = (rng.normal(size=300) - base.mean()) / sigma, 0, 0
        fired = np.zeros(300, bool)
        while begin < 300:
            for rule in rules:
                fired[begin:] |= charts.find_rule(z[begin:], rule, **reach.get(rule, {})) != 0
            if not fired[begin:].any():
                break
            begin += int(np.argmax(fired[begin:])) + 1
            count += 1
            fired[begin:] = False
        counts.append(count / 300)
    assert 1 / said.mean == pytest.approx(np.mean(counts), abs=3.5 * np.std(counts) / np.sqrt(3000))
    assert said.n_points == n


def test_a_single_rule_keeps_the_inverse_of_its_rate():
    n, df = 25, moving_range_df(25)
    reach = charts.rule_reach(["beyond_3"], n, df)
    assert charts.run_length(["beyond_3"], reach=reach, n_points=n, df=df).mean == pytest.approx(370.4, rel=0.01)
    assert charts.run_length(["beyond_3"], n_points=5000, df=math.inf).mean == pytest.approx(370.4, abs=0.1)


def test_unwidened_short_limits_would_signal_far_more_often():
    assert charts.run_length(charts.DEFAULT_RULES, n_points=20, df=moving_range_df(20)).mean < 70


def test_states_are_few():
    assert build_chain(charts.DEFAULT_RULES, {}).n_states < 150
    assert build_chain(charts.NELSON, {}).n_states < 10_000


def test_borders_of_weighted_mean_and_cusum_are_the_usual_ones_when_limits_are_known():
    # EWMA 0.2 with L = 2.859 has run length 370 (Lucas and Saccucci 1990, interpolated; from memory); CUSUM k 0.5 with
    # h = 4.77 has 370 (Hawkins and Olwell 1998, Cumulative Sum Charts; from memory)
    assert charts.ewma_width(0.2, 5000, math.inf) == pytest.approx(2.859, abs=0.005)
    assert charts.cusum_decision(0.5, 5000, math.inf) == pytest.approx(4.77, abs=0.01)


def test_borders_of_short_baselines_keep_the_rate_of_weighted_mean_and_cusum():
    n, df = 25, round(moving_range_df(25), 2)
    width, height = charts.ewma_width(0.2, n, df), charts.cusum_decision(0.5, n, df)
    rng, seen = np.random.default_rng(8), []
    for _ in range(1500):
        base = rng.normal(size=n)
        z = (rng.normal(size=300) - base.mean()) / (np.abs(np.diff(base)).mean() / charts.D2_EXACT)
        found = []
        for rule in ("ewma", "cusum"):
            a = up = down = 0.0
            count, half = 0, width * math.sqrt(0.2 / 1.8)
            for value in z:
                a = 0.8 * a + 0.2 * value
                up, down = max(0.0, up + value - 0.5), max(0.0, down - value - 0.5)
                if (abs(a) > half) if rule == "ewma" else (max(up, down) > height):
                    count, a, up, down = count + 1, 0.0, 0.0, 0.0
            found.append(count / 300)
        seen.append(found)
    error = np.std(seen, axis=0) / np.sqrt(len(seen))
    assert np.all(np.abs(np.mean(seen, axis=0) - 1 / 370.4) < 3.5 * error + 0.0002)


def marked(z, rules, reach=None):
    """Points at which any rule fires."""
    return np.any([charts.find_rule(z, rule, **(reach or {}).get(rule, {})) != 0 for rule in rules], axis=0)


@pytest.mark.parametrize(
    "rules, shift",
    [(charts.DEFAULT_RULES, 0.0), (charts.WESTERN_ELECTRIC, 0.5), (("fifteen_within_1", "eight_beyond_1"), 0.0)],
)
def test_points_that_chance_marks_are_counted_as_they_are_marked(rules, shift):
    drawn = np.random.default_rng(8).normal(shift, 1, (2000, 1000))
    rates = [marked(z, rules)[50:].mean() for z in drawn]
    error = np.std(rates) / np.sqrt(len(rates))
    assert charts.run_length(rules, shift=shift).marked == pytest.approx(np.mean(rates), abs=3.5 * error)


def test_a_single_rule_marks_at_its_own_rate():
    for rule in charts.NELSON:
        found = charts.run_length([rule]).marked
        assert found == pytest.approx(float(charts.false_alarm_rate(rule)), rel=1e-9)


def test_points_marked_by_estimated_limits_are_as_many_as_is_said():
    n, rules = 30, charts.DEFAULT_RULES
    df = moving_range_df(n)
    reach = charts.rule_reach(rules, n, df)
    rng, rates = np.random.default_rng(4), []
    for _ in range(4000):
        base = rng.normal(size=n)
        sigma = np.abs(np.diff(base)).mean() / charts.D2_EXACT
        rates.append(marked((rng.normal(size=200) - base.mean()) / sigma, rules, reach)[20:].mean())
    error = np.std(rates) / np.sqrt(len(rates))
    said = charts.run_length(rules, reach=reach, n_points=n, df=df).marked
    assert said == pytest.approx(np.mean(rates), abs=3.5 * error)
