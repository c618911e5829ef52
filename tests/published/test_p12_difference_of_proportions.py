"""P12: difference of two proportions.

Newcombe 1998, Statistics in Medicine 17:873-890, 56/70 against 48/80 (from memory); the second pair computed in R.
"""

import numpy as np
import pandas as pd
import pytest

from qckit.hatch import compare_hatch_pct, difference_of_proportions
from qckit.hatch.comparison import _difference
from qckit.hatch.intervals import normal_quantile


@pytest.mark.parametrize("pair, low, high", [((56, 70, 48, 80), 0.0524, 0.3339), ((6, 7, 2, 7), 0.0582, 0.8062)])
def test_newcombe_hybrid_score(pair, low, high):
    value, *bounds = difference_of_proportions(*pair)
    assert value == pytest.approx(pair[0] / pair[1] - pair[2] / pair[3])
    assert bounds == pytest.approx([low, high], abs=1e-4)


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
