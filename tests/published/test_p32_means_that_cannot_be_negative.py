"""P32: the interval of a mean that cannot be negative, and of a size that was told because it stood out.

The mean: quasi-Poisson, constant, log link (McCullagh and Nelder 1989), by statsmodels on the insects left by sprays A
and C (Beall 1942, Biometrika 32:243-262; R data set InsectSprays, from memory; its printed means are 14.5 and 2.083).
The size: a normal estimate cut off at a threshold (Zhong and Prentice 2008, Biostatistics 9:621-634): under each bound
the truncated law of scipy leaves 2.5 % beyond the estimate; far above the threshold it is the ordinary interval.
"""

import numpy as np
import pytest
from scipy import stats

from qckit import charts, hatch

SPRAYS = {
    "A": ([10, 7, 20, 14, 14, 12, 10, 23, 17, 20, 14, 13], 14.5),
    "C": ([0, 1, 7, 2, 3, 1, 2, 1, 3, 0, 1, 4], 2.083333),
}


@pytest.mark.parametrize("spray", SPRAYS)
def test_a_mean_is_statsmodels_quasi_poisson(spray):
    from statsmodels.api import GLM, families

    counts, mean = SPRAYS[spray]
    found = hatch.positive_mean_interval(counts)
    fit = GLM(counts, np.ones(len(counts)), family=families.Poisson()).fit(scale="X2")
    reach = stats.t.isf(0.025, len(counts) - 1) * fit.bse[0]
    assert found.value == pytest.approx(mean, abs=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(np.exp(fit.params[0] + np.array([-reach, reach]))), rel=1e-6)


@pytest.mark.parametrize("estimate, threshold", [(3.6, 3.5), (4.2, 3.5), (5.0, 4.0)])
def test_a_size_is_bounded_by_the_truncated_law(estimate, threshold):
    low, high = charts.size_after_selection(estimate, 1.0, threshold=threshold)

    def beyond(mean):
        return stats.truncnorm.sf(estimate, threshold - mean, np.inf, loc=mean)

    assert beyond(high) == pytest.approx(0.975, abs=1e-6)
    assert low == 0.0 or beyond(low) == pytest.approx(0.025, abs=1e-6)
    assert beyond(0.0) <= 0.025 or low == 0.0
    assert charts.size_after_selection(-estimate, 1.0, threshold=threshold) == pytest.approx((-high, -low))


def test_a_size_far_above_the_threshold_keeps_the_ordinary_interval():
    low, high = charts.size_after_selection(24.0, 2.0, threshold=2.0)
    assert (low, high) == pytest.approx((24 - 2 * 1.959964, 24 + 2 * 1.959964), abs=1e-4)
