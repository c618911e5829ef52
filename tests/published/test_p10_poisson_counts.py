"""P10: Student's yeast counts.

Student 1907, Biometrika 5:351-360, 400 squares each (frequencies from memory; totals and means match the printed
ones). Expected values from R 4.2.2.
"""

import numpy as np
import pytest
from scipy import stats

from qckit.hatch import poisson_dispersion

SERIES = {
    "I": ([213, 128, 37, 18, 3, 1], 0.6825, 0.811694, 1.192276, 475.7179, 0.004908),
    "II": ([103, 143, 98, 42, 8, 4, 2], 1.3225, 1.283494, 0.972938, 388.2023, 0.641355),
    "III": ([75, 103, 121, 54, 30, 13, 2, 1, 0, 1], 1.80, 1.96, 1.091618, 435.5556, 0.100282),
    "IV": ([0, 20, 43, 53, 86, 70, 54, 37, 18, 10, 5, 2, 2], 4.68, 4.4576, 0.954866, 380.9915, 0.733573),
}


@pytest.mark.parametrize("name", SERIES)
def test_dispersion(name):
    squares, mean, variance, ratio, chi2, p = SERIES[name]
    counts = np.repeat(np.arange(len(squares)), squares)
    found = poisson_dispersion(counts)
    assert len(counts) == 400 and counts.mean() == pytest.approx(mean, abs=1e-12)
    assert counts.var() == pytest.approx(variance, abs=1e-4)
    assert found.df == 399
    assert found.chi2 == pytest.approx(chi2, abs=1e-4)
    assert found.ratio == pytest.approx(ratio, abs=1e-4)
    assert found.p_value == pytest.approx(p, abs=1e-4)


def test_only_the_first_series_clumps():
    clumped = [
        n for n, row in SERIES.items() if poisson_dispersion(np.repeat(np.arange(len(row[0])), row[0])).p_value < 0.05
    ]
    assert clumped == ["I"]


def test_expected_counts_of_series_one():
    expected = 400 * stats.poisson.pmf(np.arange(6), 0.6825)
    assert expected == pytest.approx([202.14, 137.96, 47.08, 10.71, 1.83, 0.25], abs=5e-3)
