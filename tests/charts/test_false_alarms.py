"""With no change, false alarms come as often as stated, although limits are estimates (simulation, seeded)."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts

RULES = ("beyond_3", "two_of_three_beyond_2", "nine_one_side")


def rate_of(rule, n_baseline, *, widened, repeats, rng, monitored=72):
    """Share of points at which a rule fires, over many baselines of normal points."""
    z = rng.normal(0, 1, (repeats, n_baseline + monitored))
    base = z[:, :n_baseline]
    mean = base.mean(axis=1, keepdims=True)
    sigma = np.abs(np.diff(base, axis=1)).mean(axis=1, keepdims=True) / charts.D2_EXACT
    limits = charts.fit_limits(pd.DataFrame({"value": base[0]}), "individuals", d2=charts.D2_EXACT)
    assert limits.centre == pytest.approx(mean[0, 0]) and limits.sigma == pytest.approx(sigma[0, 0])
    reach = charts.widen(limits, RULES).reach.get(rule, {}) if widened else {}
    later = (z[:, n_baseline:] - mean) / sigma
    # the first twelve points have no full window behind them
    return np.mean([np.count_nonzero(charts.find_rule(row, rule, **reach)[12:]) for row in later]) / (monitored - 12)


@pytest.mark.parametrize("n_baseline", [12, 20, 25, 40])
def test_single_point_fires_as_often_as_stated(n_baseline):
    rng = np.random.default_rng(n_baseline)
    rate = rate_of("beyond_3", n_baseline, widened=True, repeats=6000, rng=rng)
    # false alarms cluster by baseline: the simulation error is about 0.0002
    assert rate == pytest.approx(0.0027, abs=0.0006)


def test_plain_limits_signal_several_times_too_often_and_widened_ones_do_not():
    rng = np.random.default_rng(5)
    plain = rate_of("beyond_3", 25, widened=False, repeats=3000, rng=rng)
    assert plain > 2.5 * 0.0027
    rng = np.random.default_rng(5)
    assert rate_of("beyond_3", 25, widened=True, repeats=3000, rng=rng) < 1.3 * 0.0027


def test_runs_and_zones_keep_their_rate_too():
    rng = np.random.default_rng(8)
    for rule in ("two_of_three_beyond_2", "nine_one_side"):
        stated = charts.false_alarm_rate(rule)
        assert rate_of(rule, 25, widened=True, repeats=4000, rng=rng) < 1.3 * stated


def hatches(rng, n, *, share=0.85, rho=0.004, size=(250, 500)):
    """Counts of hatches that differ more than the binomial law lets them: beta-binomial."""
    total = (1 - rho) / rho
    sizes = rng.integers(*size, n)
    return rng.binomial(sizes, rng.beta(share * total, (1 - share) * total, n)), sizes


def p_prime_rate(rng, repeats, *, kind="p prime", widened=True, monitored=80):
    """Share of later hatches beyond limits frozen on 25."""
    beyond = 0
    for _ in range(repeats):
        count, size = hatches(rng, 25 + monitored)
        points = pd.DataFrame({"count": count, "size": size})
        limits = charts.fit_limits(points.head(25), kind)
        limits = charts.widen(limits, ("beyond_3",)) if widened else limits
        chart = charts.apply_limits(limits, points.tail(monitored))
        beyond += int(((chart["value"] < chart["low"]) | (chart["value"] > chart["high"])).sum())
    return beyond / (repeats * monitored)


def test_frozen_p_prime_limits_of_25_hatches_hold_the_stated_rate():
    rate = p_prime_rate(np.random.default_rng(3), 300)
    assert rate == pytest.approx(0.0027, abs=0.0014)
    plain = p_prime_rate(np.random.default_rng(3), 150, widened=False)
    assert plain > 2.5 * 0.0027
    assert p_prime_rate(np.random.default_rng(3), 60, kind="p", widened=False) > 10 * 0.0027


def test_estimated_rate_agrees_with_students_t():
    from math import exp, lgamma, sqrt

    from scipy import stats

    # a prediction limit for one more normal value (Whitmore 1986, from memory): mean +- t sd sqrt(1 + 1/n)
    n, df = 20, 19
    c4 = sqrt(2 / df) * exp(lgamma((df + 1) / 2) - lgamma(df / 2))
    k = stats.t.isf(0.00135, df) * np.sqrt(1 + 1 / n) * c4
    assert charts.estimated_rate("beyond_3", n, df, k=k) == pytest.approx(0.0027, rel=0.01)


def test_moving_range_degrees_of_freedom_by_simulation():
    from qckit.charts.spread import moving_range_df

    rng = np.random.default_rng(2)
    means = np.abs(np.diff(rng.normal(0, 1, (20000, 25)), axis=1)).mean(axis=1)
    relative = means.var() / means.mean() ** 2
    df = moving_range_df(25)
    chi = np.sqrt(rng.chisquare(df, 200000))
    assert chi.var() / chi.mean() ** 2 == pytest.approx(relative, rel=0.05)
