"""A mixed logit with several rows a group: Crowder's seeds (1978, Applied Statistics 27:34-37), plates split in rows.

The random effect is the plate's, so that splitting a plate's seeds into rows changes nothing but a constant: the
published fit (Breslow and Clayton 1993, J. Am. Stat. Assoc. 88:9-25, maximum likelihood) must come back.
"""

import numpy as np
import pytest

from qckit.errors import InputError
from qckit.hatch import fit_logistic_normal

GERMINATED = np.array([10, 23, 23, 26, 17, 8, 10, 8, 23, 0, 5, 53, 55, 32, 46, 10, 3, 22, 15, 32, 3])
SEEDS = np.array([39, 62, 81, 51, 39, 16, 30, 28, 45, 4, 6, 74, 72, 51, 79, 13, 12, 41, 30, 51, 7])
O73 = np.array([0] * 5 + [1] * 5 + [0] * 6 + [1] * 5)
CUCUMBER = np.array([0] * 10 + [1] * 11)
DESIGN = np.column_stack([np.ones(21), O73, CUCUMBER, O73 * CUCUMBER])


def test_the_published_fit_comes_back_from_split_plates():
    rng = np.random.default_rng(2)
    first_n = SEEDS // 2
    first_x = rng.hypergeometric(GERMINATED, SEEDS - GERMINATED, first_n)
    x, n = np.concatenate([first_x, GERMINATED - first_x]), np.concatenate([first_n, SEEDS - first_n])
    found = fit_logistic_normal(x, n, np.vstack([DESIGN, DESIGN]), groups=np.tile(np.arange(21), 2))
    assert found.coefficients == pytest.approx([-0.548, 0.097, 1.337, -0.811], abs=2e-3)
    assert found.spread == pytest.approx(0.236, abs=2e-3)


def test_groups_that_do_not_fit_the_rows_are_refused():
    with pytest.raises(InputError, match="groups were named for 21 rows"):
        fit_logistic_normal(GERMINATED, SEEDS, DESIGN, groups=[1, 2])
