"""Intervals over cones: properties, honest refusals, and coverage by simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from simulated_cones import (
    bounds_of_proportions,
    bounds_of_rates,
    coverage_of_proportion,
    coverage_of_rate,
    coverage_with_site_spread,
    draw_cones,
)

from qckit import hatch
from qckit.errors import InputError


def test_no_cone_and_one_cone():
    assert hatch.proportion_over_cones([], []).note == "Nothing was counted."
    one = hatch.proportion_over_cones([80], [100])
    assert (one.value, one.n_cones, math.isnan(one.low)) == (0.8, 1, True)
    assert one.note == (
        "One cone: how much cones differ cannot be known, so there is no interval. Counting alone would give 71.1 to "
        "86.7 %; the truth is wider."
    )


def test_a_known_spread_makes_one_cone_enough():
    spread = hatch.Spread(rho=0.005, cv=0.05, df=30)
    one = hatch.proportion_over_cones([800], [1000], spread=spread)
    assert 0.7 < one.low < 0.8 < one.high < 0.9
    assert one.high - one.low > 2 * 1.96 * math.sqrt(0.16 / 1000)


def test_all_or_none_hatched_still_has_an_interval():
    none, all_ = hatch.proportion_over_cones([0, 0], [100, 100]), hatch.proportion_over_cones([100, 100], [100, 100])
    assert none.low == 0 and 0.01 < none.high < 0.1
    assert all_.high == 1 and all_.low == pytest.approx(1 - none.high)


def test_cones_that_agree_by_luck_keep_the_interval_of_counting_at_hand():
    lucky = hatch.proportion_over_cones([80, 80], [100, 100])
    assert lucky.safe_low == lucky.counting_low < lucky.low
    assert lucky.safe_high == lucky.counting_high > lucky.high
    assert lucky.is_lucky and not hatch.proportion_over_cones([70, 90], [100, 100]).is_lucky


def test_the_floor_is_what_it_says():
    # cones that do not differ: chance of missing is E[2 Phi(-max(c, t sqrt(X)))], here by simulation
    rng = np.random.default_rng(4)
    for k, t in ((2, 12.7062), (3, 4.30265), (6, 2.57058)):
        z, x = rng.standard_normal(400_000), rng.chisquare(k - 1, 400_000) / (k - 1)
        missed = np.mean(np.abs(z) > np.maximum(hatch.counting_floor(k), t * np.sqrt(x)))
        assert missed == pytest.approx(0.038, abs=0.002)


def test_confidence_must_make_sense():
    with pytest.raises(InputError) as error:
        hatch.proportion_over_cones([1], [2], confidence=95)
    assert str(error.value) == "confidence is 95 and must lie between 0.5 and 0.9999. 0.95 is usual."


cones = st.lists(st.tuples(st.integers(0, 200), st.integers(0, 200)), min_size=2, max_size=6)


@given(cones)
def test_the_interval_holds_its_estimate(pairs):
    x, rest = (np.array(v, float) for v in zip(*pairs))
    found = hatch.proportion_over_cones(x, x + rest)
    if found.is_known:
        assert 0 <= found.low <= found.value <= found.high <= 1
    per_g = hatch.rate_over_cones(x, np.full(len(x), 0.001))
    assert 0 <= per_g.low <= per_g.value <= per_g.high


@given(cones)
def test_more_confidence_is_wider_and_order_does_not_matter(pairs):
    x, rest = (np.array(v, float) for v in zip(*pairs))
    a, b = (hatch.proportion_over_cones(x, x + rest, confidence=c) for c in (0.9, 0.99))
    if a.is_known:
        assert b.low <= a.low + 1e-12 and b.high >= a.high - 1e-12
        turned = hatch.proportion_over_cones(x[::-1], (x + rest)[::-1], confidence=0.9)
        assert (turned.low, turned.high) == pytest.approx((a.low, a.high))


def test_per_gram_interval_scales_with_the_factor():
    a = hatch.rate_over_cones([110, 120, 116], [1 / 2000] * 3)
    b = hatch.rate_over_cones([110, 120, 116], [1 / 1000] * 3)
    assert (a.low, a.value, a.high) == pytest.approx((2 * b.low, 2 * b.value, 2 * b.high))


def test_the_simulated_intervals_are_those_of_the_kit():
    rng = np.random.default_rng(1)
    for k, share in ((2, 0.97), (3, 0.5), (6, 0.02)):
        whole = rng.integers(60, 200, k)
        counts = draw_cones(k, share, 0.01, whole, rng=rng, runs=60)
        low, high = bounds_of_proportions(counts, whole, is_safe=False)
        safe_low, safe_high = bounds_of_proportions(counts, whole, is_safe=True)
        per_g = bounds_of_rates(counts)
        for i, row in enumerate(counts):
            one, rate = hatch.proportion_over_cones(row, whole), hatch.rate_over_cones(row, np.ones(k))
            assert (one.low, one.high, one.safe_low, one.safe_high) == pytest.approx(
                (low[i], high[i], safe_low[i], safe_high[i])
            )
            assert (rate.low, rate.high) == pytest.approx((per_g[0][i], per_g[1][i]))


@pytest.mark.parametrize("n_cones", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("hatch_pct", [5, 20, 50, 80, 95, 98])
def test_nominal_95_covers_93_to_97_of_100(n_cones, hatch_pct):
    # 20,000 runs: two standard errors of the simulation are 0.3 points; the long script has the whole table
    for rho in (0.0, 0.002, 0.01, 0.02):  # variance up to 17.8 times binomial
        for family in ("beta", "logit-normal"):
            covered = coverage_of_proportion(
                n_cones, hatch_pct, rho, runs=20_000, rng=np.random.default_rng(7), family=family
            )
            assert 92.7 <= covered <= 97.3, (n_cones, hatch_pct, rho, family)


@pytest.mark.parametrize("n_cones", [2, 3, 6])
@pytest.mark.parametrize("hatch_pct", [5, 80, 98])
def test_small_counts_are_covered_93_to_97_of_100_too(n_cones, hatch_pct):
    for rho in (0.0, 0.02):
        covered = coverage_of_proportion(
            n_cones, hatch_pct, rho, n=240, runs=20_000, rng=np.random.default_rng(7), family="logit-normal"
        )
        assert 92.7 <= covered <= 97.3, (n_cones, hatch_pct, rho)


@pytest.mark.parametrize("rho", [0.0, 0.005, 0.02])
def test_two_cones_are_covered_exactly_enumerated(rho):
    # every pair of counts with its probability: no simulation error, so the limits hold as they stand
    n, shares = 240, (0.02, 0.0225, 0.025, 0.03, 0.035, 0.04, 0.05)
    counts = np.arange(161)
    pairs = np.stack(np.meshgrid(counts, counts, indexing="ij"), -1).reshape(-1, 2)
    low, high = bounds_of_proportions(pairs, np.full(2, n))
    for share in shares:
        both = 1 / rho - 1 if rho else 0
        one = (
            stats.betabinom.pmf(counts, n, share * both, (1 - share) * both)
            if rho
            else stats.binom.pmf(counts, n, share)
        )
        weight = np.outer(one, one).ravel()
        assert weight.sum() > 0.9999
        covered = 100 * weight[(low <= share) & (share <= high)].sum()
        assert 93 <= covered <= 97, (share, rho)


@pytest.mark.parametrize("n_cones", [3, 6])
def test_where_cones_spread_more_than_the_shortfall_itself_coverage_is_lower_as_said(n_cones):
    # 98 % hatch with a standard deviation between cones of 3.1 points: the corner that the docs name
    covered = coverage_of_proportion(
        n_cones, 98, 0.05, runs=20_000, rng=np.random.default_rng(7), family="logit-normal"
    )
    assert 90 <= covered <= 95, n_cones


def test_the_bound_away_from_the_border_reaches_further_the_more_cones_differ():
    assert hatch.skewness_reach(1.0, 0.1, 840) == 1 and hatch.skewness_reach(9.0, 0.5, 840) == 1
    reach = hatch.skewness_reach(17.78, 0.02, 840)  # rho 0.02: the spread of q is q itself, CV about 1
    assert reach == pytest.approx(1 + 0.8 * 0.96 * 0.989, abs=0.01)
    near = hatch.proportion_over_cones([835, 810, 838, 800, 836, 831], [840] * 6)
    assert near.value - near.low > 2.5 * (near.high - near.value)


def test_very_few_unhatched_cysts_say_little_of_clumps():
    assert hatch.floor_of_few(0) == pytest.approx(3.3, abs=0.01)
    assert hatch.floor_of_few(100) < hatch.counting_floor(2)
    few = hatch.proportion_over_cones([239, 239], [240, 240])
    assert few.low < hatch.binomial_interval(478, 480)[0]


@pytest.mark.parametrize("n_cones", [1, 3])
def test_joined_with_the_sites_spread_95_covers_92_to_99_of_100(n_cones):
    # 2,000 runs: two standard errors are 1 point; near 100 % a poor cone widens the interval, and it holds too often
    for hatch_pct, rho in ((50, 0.0), (80, 0.01), (98, 0.02)):
        covered = coverage_with_site_spread(n_cones, hatch_pct, rho, df=12, rng=np.random.default_rng(9))
        assert 92 <= covered <= (97.8 if hatch_pct < 98 else 99.2), (n_cones, hatch_pct, rho)


@pytest.mark.parametrize("ratio, least, most", [(1, 93, 97.8), (2, 91, 97.8), (3, 88, 97.8)])
def test_a_lot_whose_cones_differ_more_than_usual_overrules_the_site(ratio, least, most):
    # 1,500 runs, two standard errors 1.4 points; the long script has the table
    covered = coverage_with_site_spread(3, 80, 0.004, df=146, ratio=ratio, runs=1500, rng=np.random.default_rng(9))
    assert least <= covered <= most


def test_one_cone_and_cones_that_agree_rest_on_the_site():
    spread = hatch.Spread(0.004, 0.05, 146)
    factor, df = hatch.joined_dispersion(0.0, 0, 4.0, spread.df)
    assert (factor, df) == (4.0, 146)
    agree, differ = (hatch.joined_dispersion(own * 2, 2, 4.0, spread.df)[0] for own in (1.0, 20.0))
    # three cones: 0.78 times the normal quantile on the site's spread alone, over Student's on 148 degrees of freedom
    assert agree == pytest.approx(0.78**2 * 4.0 * (1.95996 / 1.97612) ** 2, rel=1e-3) and differ > 20


@pytest.mark.parametrize("whole", [(1000, 600, 300), (900, 800, 400, 300, 200, 100)])
def test_cones_that_counted_unequally_many_are_covered_too(whole):
    for rho in (0.0, 0.01, 0.02):
        covered = coverage_of_proportion(len(whole), 80, rho, n=whole, runs=20_000, rng=np.random.default_rng(7))
        assert 92.7 <= covered <= 97.3, (whole, rho)


@pytest.mark.parametrize("n_cones", [2, 3, 6])
def test_per_gram_95_covers_93_to_97_of_100(n_cones):
    for cv in (0.0, 0.1):
        covered = coverage_of_rate(n_cones, 115 * 6, cv, runs=20_000, rng=np.random.default_rng(8))
        assert 92.7 <= covered <= 97.3, (n_cones, cv)


def test_a_mean_that_cannot_be_negative_against_the_quasi_poisson_model():
    import statsmodels.api as sm

    values = np.array([2.1e5, 0.4e5, 3.3e5, 0.0])
    seen = hatch.positive_mean_interval([*values, np.nan])
    fit = sm.GLM(values, np.ones(4), family=sm.families.Poisson()).fit(scale="X2", use_t=True)
    assert (seen.low, seen.high) == pytest.approx(tuple(np.exp(fit.conf_int()[0])), rel=1e-6)
    assert seen.value == values.mean() and seen.n_cones == 4 and seen.low > 0 > hatch.mean_interval(values).low
    # where hatches differ little it is the interval of the logarithms
    alike = np.array([2.00e5, 2.06e5, 1.97e5, 2.03e5, 2.01e5])
    logs = np.log(alike)
    low, high = np.exp(stats.t.interval(0.95, 4, logs.mean(), stats.sem(logs)))
    close = hatch.positive_mean_interval(alike)
    assert (close.low, close.high) == pytest.approx((low, high), rel=2e-4)


def test_two_values_or_none_but_zeros_give_no_interval():
    for values in ([2.5e5, 0.8e5], [0.0, 0.0, 0.0]):
        seen = hatch.positive_mean_interval(values)
        assert seen.value == np.mean(values) and not seen.is_known and seen.note == "Too few for an interval."
