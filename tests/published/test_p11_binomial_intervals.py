"""P11: intervals of one proportion.

Newcombe 1998, Statistics in Medicine 17:857-872, Table I (from memory), 95 %; Clopper-Pearson through statsmodels as
the outside library.
"""

import pytest
from statsmodels.stats.proportion import proportion_confint

from qckit.hatch import binomial_interval


@pytest.mark.parametrize("x, n, low, high", [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605),
                                             (0, 20, 0.0, 0.1611)])  # fmt: skip
def test_wilson(x, n, low, high):
    assert binomial_interval(x, n) == pytest.approx((low, high), abs=5e-5)
    assert binomial_interval(x, n) == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-9)


@pytest.mark.parametrize("x, n, low, high", [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617)])
def test_the_library_used_beside_it(x, n, low, high):
    assert proportion_confint(x, n, method="beta") == pytest.approx((low, high), abs=5e-5)
