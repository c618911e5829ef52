"""P12: difference of two proportions.

Newcombe 1998, Statistics in Medicine 17:873-890, 56/70 against 48/80 (from memory); Wald, Newcombe,
Mee, Miettinen-Nurminen; the second pair of the same paper as recomputed in R and by an independent inversion.
"""

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from qckit.errors import InputError
from qckit.hatch import compare_hatch_pct, difference_of_proportions
from qckit.hatch.comparison.lots import _difference
from qckit.hatch.intervals.estimates import normal_quantile

FIRST, SECOND = (56, 70, 48, 80), (6, 7, 2, 7)


@pytest.mark.parametrize(
    "method, pair, low, high",
    [
        ("wald", FIRST, 0.0575, 0.3425),
        ("newcombe", FIRST, 0.0524, 0.3339),
        ("mee", FIRST, 0.0533, 0.3377),
        ("miettinen-nurminen", FIRST, 0.0528, 0.3382),
        ("newcombe", SECOND, 0.0582, 0.8062),
        ("mee", SECOND, 0.0544, 0.8478),
        ("miettinen-nurminen", SECOND, 0.0342, 0.8534),
    ],
)
def test_published_bounds(method, pair, low, high):
    value, *bounds = difference_of_proportions(*pair, method=method)
    assert value == pytest.approx(pair[0] / pair[1] - pair[2] / pair[3])
    assert bounds == pytest.approx([low, high], abs=1e-4)


@pytest.mark.parametrize("method", ["newcombe", "mee", "miettinen-nurminen"])
def test_turned_around_the_bounds_turn_around(method):
    value, low, high = difference_of_proportions(*FIRST, method=method)
    other = difference_of_proportions(*FIRST[2:], *FIRST[:2], method=method)
    assert other == pytest.approx((-value, -high, -low), abs=1e-9)


@pytest.mark.parametrize("method", ["mee", "miettinen-nurminen"])
def test_the_bounds_are_where_the_score_test_turns(method):
    # an independent likelihood: the restricted fit found by a search, not by the closed form
    x1, n1, x2, n2 = FIRST
    factor = 1 if method == "mee" else (n1 + n2) / (n1 + n2 - 1)
    for bound in difference_of_proportions(*FIRST, method=method)[1:]:

        def cost(p, d=bound):
            return -stats.binom.logpmf(x1, n1, p + d) - stats.binom.logpmf(x2, n2, p)

        ends = max(0, -bound) + 1e-9, min(1, 1 - bound) - 1e-9
        p = optimize.minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-12}).x
        variance = factor * ((p + bound) * (1 - p - bound) / n1 + p * (1 - p) / n2)
        assert abs(0.2 - bound) / np.sqrt(variance) == pytest.approx(1.959964, abs=1e-4)


def test_all_against_none_reaches_one():
    assert difference_of_proportions(10, 10, 0, 10, method="mee")[2] == 1


def test_an_unknown_method_is_named():
    with pytest.raises(InputError) as error:
        difference_of_proportions(*FIRST, method="score")
    assert str(error.value) == (
        "difference_of_proportions: unknown method 'score'. Known: newcombe, mee, miettinen-nurminen, wald."
    )


@pytest.mark.parametrize("pair, low, high", [((56, 70, 48, 80), 0.0524, 0.3339), ((6, 7, 2, 7), 0.0582, 0.8062)])
def test_the_interval_over_cones_becomes_newcombes_when_cones_add_nothing(pair, low, high):
    x1, n1, x2, n2 = pair
    assert _difference(x1 / n1, n1, x2 / n2, n2, normal_quantile(0.95)) == pytest.approx((low, high), abs=1e-4)


def test_cones_as_replicates_are_wider():
    a = pd.DataFrame({"nauplii": np.array([30, 26]), "full_cysts": np.array([35, 35])})
    b = pd.DataFrame({"nauplii": np.array([27, 21]), "full_cysts": np.array([40, 40])})
    found = compare_hatch_pct(a, b)
    assert found.difference == pytest.approx(20)
    assert found.difference_low < 5.24 and found.difference_high > 33.39
