"""P31: limits of a leaning law are the frequency factors of the Pearson type III distribution.

Source: table of K by skew and exceedance probability, US Interagency Advisory Committee on Water Data 1982, Guidelines
for determining flood flow frequency, Bulletin 17B, appendix 3 (after Harter 1969, Technometrics 11:177-187; from
memory, five decimals as printed). The kit asks by the normal quantile with the same chance in place of the probability.
"""

import numpy as np
import pytest
from scipy import stats

from qckit.charts.overdispersed import limit_value, normal_score

EXCEEDED = (0.99, 0.95, 0.90, 0.80, 0.50, 0.20, 0.10, 0.02, 0.01)
TABLE = {  # skew: K
    0.5: (-1.95472, -1.49101, -1.21618, -0.85653, -0.08302, 0.80829, 1.32309, 2.31084, 2.68572),
    1.0: (-1.58838, -1.31684, -1.12762, -0.85161, -0.16397, 0.75752, 1.34039, 2.54206, 3.02256),
}


@pytest.mark.parametrize("skew", TABLE)
@pytest.mark.parametrize("side", [1, -1])
def test_limits_are_the_tables_factors(skew, side):
    for exceeded, k in zip(EXCEEDED, TABLE[skew], strict=True):
        z = stats.norm.isf(exceeded)
        assert limit_value(side * z, np.array([side * skew]))[0] == pytest.approx(side * k, abs=6e-6)
        assert normal_score(np.array([side * k]), np.array([side * skew]))[0] == pytest.approx(side * z, abs=3e-5)
