import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qckit.agreement import bland_altman, concordance, gauge_study, say_gauge
from qckit.errors import InputError

VALUES = st.lists(st.tuples(st.floats(0, 500), st.floats(0, 500)), min_size=3, max_size=30)


@settings(max_examples=60, deadline=None)
@given(VALUES, st.floats(-50, 50))
def test_adding_a_constant_moves_the_bias_by_it_and_swapping_turns_its_sign(pairs, shift):
    a, b = map(np.array, zip(*pairs, strict=True))
    first, moved, turned = bland_altman(a, b), bland_altman(a + shift, b), bland_altman(b, a)
    assert moved.bias == pytest.approx(first.bias + shift, abs=1e-6)
    assert turned.bias == pytest.approx(-first.bias, abs=1e-9)
    assert turned.limit_low == pytest.approx(-first.limit_high, abs=1e-6)
    assert first.limit_low <= first.bias <= first.limit_high


def test_pairs_that_are_all_alike_have_no_slope():
    got = bland_altman(np.zeros(3), np.full(3, 341.66324776464296))
    assert got.bias == pytest.approx(-341.66324776464296) and np.isnan(got.slope)


def test_interval_of_the_bias_covers_as_often_as_it_says():
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(1500):
        a = rng.normal(3.0, 5.0, 8)
        got = bland_altman(a, np.zeros(8))
        hits += got.bias_low <= 3.0 <= got.bias_high
    assert 0.93 < hits / 1500 < 0.97


def test_relative_differences_are_in_percent_of_the_mean():
    got = bland_altman([110, 220, 55, 0], [90, 180, 45, 0], relative=True)
    assert (got.bias, got.unit, got.n, got.left_out) == (pytest.approx(20.0), "%", 3, 1)


def test_concordance_is_one_only_on_the_line_of_equality():
    assert concordance([1, 2, 3, 4], [1, 2, 3, 4]).ccc == pytest.approx(1)
    assert concordance([1, 2, 3, 4], [2, 3, 4, 5]).ccc < 0.8
    assert np.isnan(concordance([5, 5, 5], [5, 5, 5]).ccc_low)


@pytest.mark.parametrize(
    "call, message",
    [
        (
            lambda: bland_altman([1, 2], [1, 2, 3]),
            "first has 2 values and second has 3; each needs its partner. "
            "Give both counts of the same photos, in the same order.",
        ),
        (
            lambda: concordance([1, 2, np.nan], [1, 2, 3]),
            "2 complete pairs of first and second; at least 3 are needed to speak of agreement. "
            "Count more photos both ways.",
        ),
        (
            lambda: bland_altman([1, 2, 3], [1, 2, 3], confidence=95),
            "confidence is 95 and must lie between 0 and 1, such as 0.95.",
        ),
        (
            lambda: gauge_study(
                pd.DataFrame({"photo": ["a"] * 4 + ["b"] * 3, "counter": list("ppqqppq"), "value": range(7)})
            ),
            "photo b was counted 1 time(s) by q and 2 times elsewhere; every person must count every photo equally "
            "often. Add the missing count or leave that photo out.",
        ),
        (
            lambda: gauge_study(pd.DataFrame({"photo": list("aabb"), "counter": list("pqpq"), "value": range(4)})),
            "every photo was counted once by each person; counting again is what shows repeatability. Let each person "
            "count each photo at least twice.",
        ),
    ],
)
def test_wrong_input_is_said_in_full(call, message):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == message


def test_study_of_people_recovers_what_was_put_in_and_says_it():
    rng = np.random.default_rng(1)
    photos, people = rng.normal(70, 12, 40), rng.normal(0, 3, 12)
    rows = [
        (f"f{i}", f"p{j}", photos[i] + people[j] + rng.normal(0, 1.5))
        for i in range(40)
        for j in range(12)
        for _ in range(2)
    ]
    got = gauge_study(pd.DataFrame(rows, columns=["photo", "counter", "value"]))
    assert got.repeatability == pytest.approx(1.5, rel=0.1)
    assert got.gauge == pytest.approx(np.hypot(people.std(ddof=1), 1.5), rel=0.1)
    lines = say_gauge(got)
    assert "by two of these 12 people lie within" in lines[1]
    assert any("agree on what counts as which stage" in line for line in lines)


def test_distances_of_a_small_study_hold_95_times_in_100():
    """Prediction by Student's law (Hahn and Meeker 1991, chapter 4, from memory); 91 % with 1.96 for its quantile."""
    rng, held = np.random.default_rng(3), []
    for _ in range(150):
        person = rng.normal(0, 1, 2)
        value = rng.normal(80, 5, (5, 1, 1)) + person[:, None] + rng.normal(0, 1, (5, 2, 2))
        cells = [(f"f{i}", f"p{j}", v) for (i, j, _), v in np.ndenumerate(value)]
        lines = say_gauge(gauge_study(pd.DataFrame(cells, columns=["photo", "counter", "value"])), unit="points")
        same, two = (float(re.search(r"within ([\d.]+) points", line).group(1)) for line in lines[:2])
        apart = stats.norm(person[0] - person[1], np.sqrt(2))
        held.append((2 * stats.norm.cdf(same / np.sqrt(2)) - 1, apart.cdf(two) - apart.cdf(-two)))
    assert (np.mean(held, axis=0) > 0.93).all() and (np.mean(held, axis=0) < 0.98).all()


@pytest.mark.parametrize("law", [stats.norm(), stats.t(3), stats.laplace()])
def test_a_further_pair_lies_within_its_limits_with_long_tails_too(law):
    """Chance of a further difference, exact by scipy's laws."""
    rng, held = np.random.default_rng(5), []
    for _ in range(300):
        d = law.rvs(12, random_state=rng)
        low, high = bland_altman(100 + d, np.full(12, 100.0)).of_a_further_pair
        held.append(law.cdf(high) - law.cdf(low))
    assert np.mean(held) == pytest.approx(0.94, abs=0.025)
