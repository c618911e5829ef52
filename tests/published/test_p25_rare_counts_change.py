"""One change in a rate of rare counts: British coal-mining disasters a year, 1851 to 1962.

Data: Jarrett 1979, Biometrika 66:191-193 (from memory). Carlin, Gelfand and Smith 1992, Applied Statistics 41:389-405:
the change lies at 1891 (41 years before it), rates near 3.1 and 0.9 a year.
"""

import numpy as np
import pytest

from qckit.errors import InputError
from qckit.hatch import poisson_change

DISASTERS = [
    *(4, 5, 4, 1, 0, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4, 2, 5, 2, 2, 3, 4, 2),
    *(1, 3, 2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2, 0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 2, 1, 0),
    *(0, 0, 1, 1, 0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2, 4, 2, 0, 0, 0, 1, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0),
    1,
]


def test_the_year_and_both_rates():
    assert (len(DISASTERS), sum(DISASTERS)) == (112, 191)
    found = poisson_change(DISASTERS, permutations=199)
    assert 1850 + found.last_before == 1891
    assert (found.rate_before, found.rate_after) == pytest.approx((3.098, 0.901), abs=5e-3)
    assert 1886 <= 1850 + found.first <= 1889 and 1893 <= 1850 + found.last <= 1897
    assert found.p_value == pytest.approx(1 / 200)


def test_still_counts_are_called_changed_in_5_of_100_at_most():
    rng = np.random.default_rng(5)
    called = sum(
        poisson_change(rng.poisson(0.4, 30) + (np.arange(30) == 3), permutations=99).p_value <= 0.05 for _ in range(150)
    )
    assert called <= 15


def test_too_few_counts_are_refused():
    with pytest.raises(InputError, match="a change needs four or more"):
        poisson_change([1, 2, 0])
