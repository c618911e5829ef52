"""P30: effective degrees of freedom of a combined uncertainty, as budgets and doses use them.

Source: JCGM 100:2008 (GUM), section G.4.1, the example of Y = f(X1, X2, X3) with relative standard uncertainties 0.25,
0.57 and 0.82 % from 10, 5 and 15 observations: 1.03 % with 19.0 effective degrees of freedom.
"""

import numpy as np
import pytest

from qckit.hatch.budgets.derived import _product


def test_three_inputs_of_few_observations():
    parts = {"harvest": (0.0025, 9), "harvest_volume": (0.0057, 4), "harvest_subsample": (0.0082, 14)}
    budget = _product(100.0, parts, 0.95, 2000, np.random.default_rng(1))
    assert budget.u == pytest.approx(1.03, abs=0.005)
    assert budget.df == pytest.approx(19.0, abs=0.05)
