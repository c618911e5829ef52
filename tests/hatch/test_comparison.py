"""Comparison of lots: sentences, verdicts, properties."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from simulated_cones import draw_cones

from qckit import hatch


def cones(*nauplii, n=840):
    x = np.array(nauplii, float)
    return pd.DataFrame({"nauplii": x, "full_cysts": np.full(len(x), n), "factor_per_g": np.full(len(x), 333.3)})


def test_as_good():
    found = hatch.compare_hatch_pct(cones(700, 705, 702), cones(701, 706, 698))
    assert found.verdict == "equivalent"
    assert found.sentence.endswith("at least 90 % as good.")


def test_worse_says_by_how_much():
    found = hatch.compare_per_g(cones(550, 560, 545), cones(700, 690, 705))
    assert found.verdict == "worse" and ": worse by 1" in found.sentence


def test_better():
    assert hatch.compare_hatch_pct(cones(760, 765, 770), cones(600, 610, 605)).verdict == "better"


def test_cannot_tell_and_how_many_cones_would():
    found = hatch.compare_hatch_pct(cones(640, 700), cones(690, 700))
    assert found.verdict == "cannot tell" and found.sentence.endswith("cannot tell yet.")
    more = hatch.cones_to_decide(found, 2, 2)
    assert more is not None and more > 0
    assert hatch.cones_to_decide(hatch.Comparison("x", "y", 0.9), 1, 1) is None


def test_one_cone_each_says_so():
    found = hatch.compare_hatch_pct(cones(640), cones(690))
    assert math.isnan(found.low)
    assert found.sentence == (
        "Hatching percentage is 93 % of the reference lot; with one cone each, how much that is chance cannot be known."
    )


def test_a_known_spread_decides_with_one_cone_each():
    found = hatch.compare_hatch_pct(cones(400), cones(690), spread=hatch.Spread(0.004, 0.05, 40))
    assert found.verdict == "worse"


def test_nothing_to_compare():
    assert hatch.compare_hatch_pct(cones(), cones(690)).sentence == (
        "Hatching percentage against the reference lot: nothing to compare."
    )


@pytest.mark.parametrize("compare", [hatch.compare_hatch_pct, hatch.compare_per_g])
@pytest.mark.parametrize("missing", [np.nan, 0.0])
def test_a_cone_without_the_counts_is_left_out_as_the_estimates_leave_it_out(compare, missing):
    whole = cones(690, 700)
    more = pd.concat([whole, cones(650)], ignore_index=True)
    more.loc[2, ["full_cysts", "nauplii"]] = missing
    if missing == 0:  # counted, and nothing there: a rate of nothing is a figure, a share of nothing is none
        more.loc[2, "factor_per_g"] = np.nan
    assert compare(cones(550, 560), more) == compare(cones(550, 560), whole)
    assert compare(cones(550, 560), more).verdict == "worse"


def test_a_claim_is_compared_on_the_safe_bounds():
    estimate = hatch.proportion_over_cones([700, 700], [840, 840]).scaled(100)
    found = hatch.compare_with_claim(estimate, 85, "hatching percentage")
    assert found.low == pytest.approx(estimate.counting_low / 85)


@given(
    a=st.lists(st.integers(50, 800), min_size=2, max_size=5), b=st.lists(st.integers(50, 800), min_size=2, max_size=5)
)
def test_the_other_way_round_is_the_reciprocal(a, b):
    one, other = hatch.compare_per_g(cones(*a), cones(*b)), hatch.compare_per_g(cones(*b), cones(*a))
    assert one.ratio * other.ratio == pytest.approx(1)
    assert one.low * other.high == pytest.approx(1)
    assert one.low <= one.tost_low <= one.ratio <= one.tost_high <= one.high


@pytest.mark.parametrize("rho", [0.0, 0.01])
def test_the_interval_of_the_ratio_covers_the_truth(rho):
    rng, hits, runs = np.random.default_rng(11), 0, 1500
    a, b = (draw_cones(3, share, rho, 840, rng=rng, runs=runs) for share in (0.72, 0.8))
    for x, y in zip(a, b):
        found = hatch.compare_hatch_pct(cones(*x), cones(*y))
        hits += found.low <= 0.9 <= found.high and found.difference_low <= -8 <= found.difference_high
    # both intervals at once, 1,500 runs: two standard errors are 1.1 points
    assert 92.5 <= 100 * hits / runs <= (99 if rho == 0 else 97.5)


def test_each_lot_keeps_its_own_spread_as_in_welchs_test():
    # scipy's test with unequal variances, on counts over their lot's mean: the delta method on the log scale
    a, b = np.array([4000, 6500, 5200]), np.array([5000, 5100, 4950, 5060, 5010, 4980])
    found = hatch.compare_per_g(cones(*a), cones(*b))
    welch = stats.ttest_ind(a / a.mean(), b / b.mean(), equal_var=False)
    assert found.df == pytest.approx(welch.df)
    assert math.log(found.high / found.ratio) == pytest.approx(welch.confidence_interval(0.95).high)


@pytest.mark.parametrize(
    "shares, rhos, ks", [((0.8, 0.8), (0.025, 0.0005), (3, 6)), ((0.6, 0.95), (0.02, 0.002), (3, 6))]
)
def test_even_cones_of_one_lot_do_not_speak_for_uneven_ones_of_the_other(shares, rhos, ks):
    rng, hits, runs = np.random.default_rng(12), 0, 1000
    a, b = (draw_cones(k, share, rho, 840, rng=rng, runs=runs) for k, share, rho in zip(ks, shares, rhos, strict=True))
    for x, y in zip(a, b, strict=True):
        found = hatch.compare_hatch_pct(cones(*x), cones(*y))
        difference = 100 * (shares[0] - shares[1])
        hits += found.low <= shares[0] / shares[1] <= found.high and (
            found.difference_low <= difference <= found.difference_high
        )
    # one spread for both lots held 77 and 70 % of them; two standard errors are 1.7 points
    assert hits / runs >= 0.9


@pytest.mark.parametrize("rho, share", [(0.025, 0.8), (0.05, 0.9), (0.01, 0.7)])
def test_two_uneven_cones_against_six_are_not_too_sure(rho, share):
    rng, hits, runs = np.random.default_rng(31), 0, 1000
    a, b = (draw_cones(k, share, r, 840, rng=rng, runs=runs) for k, r in ((2, rho), (6, 0.002)))
    for x, y in zip(a, b, strict=True):
        found = hatch.compare_hatch_pct(cones(*x), cones(*y))
        hits += found.low <= 1 <= found.high and found.difference_low <= 0 <= found.difference_high
    # Welch's degrees of freedom held 89, 89 and 88 %; two standard errors are 1.5 points
    assert hits / runs >= 0.93


def test_equivalence_seldom_passes_at_the_margin():
    # at a true ratio of exactly 0.9 the test may pass in no more than 5 of 100 (Schuirmann 1987)
    rng, passed = np.random.default_rng(5), 0
    for _ in range(2000):
        a, b = rng.binomial(840, 0.72, 3), rng.binomial(840, 0.8, 3)
        passed += hatch.compare_hatch_pct(cones(*a), cones(*b)).tost_low >= 0.9
    assert passed / 2000 <= 0.06
