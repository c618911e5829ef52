"""P11: intervals of one proportion.

Newcombe 1998, Statistics in Medicine 17:857-872, Table I (from memory), 95 %. Clopper-Pearson, Jeffreys and
Agresti-Coull come from statsmodels; Wilson and mid-P are the kit's own and are held against the same table.
"""

import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from qckit.errors import InputError
from qckit.hatch import binomial_interval

TABLE = {
    (81, 263): {
        "wilson": (0.2553, 0.3662),
        "clopper-pearson": (0.2527, 0.3676),
        "jeffreys": (0.2545, 0.3656),
        "mid-p": (0.2544, 0.3658),
        "agresti-coull": (0.2552, 0.3663),
    },
    (15, 148): {
        "wilson": (0.0624, 0.1605),
        "clopper-pearson": (0.0578, 0.1617),
        "jeffreys": (0.0604, 0.1576),
        "mid-p": (0.0601, 0.1581),
        "agresti-coull": (0.0614, 0.1615),
    },
}


@pytest.mark.parametrize("counts", TABLE)
@pytest.mark.parametrize("method", ["wilson", "clopper-pearson", "jeffreys", "mid-p", "agresti-coull"])
def test_table_one(counts, method):
    assert binomial_interval(*counts, method=method) == pytest.approx(TABLE[counts][method], abs=5e-5)


@pytest.mark.parametrize("x, n", [(81, 263), (15, 148), (0, 20), (20, 20), (1, 29)])
def test_wilson_is_that_of_the_library(x, n):
    assert binomial_interval(x, n) == pytest.approx(proportion_confint(x, n, method="wilson"), abs=1e-9)


def test_none_and_all_of_twenty():
    # Wilson, Table I of the same paper; Jeffreys is taken to 0 (1) there
    assert binomial_interval(0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)
    low, high = binomial_interval(0, 20, method="jeffreys")
    assert low == 0 and high == pytest.approx(stats.beta.ppf(0.975, 0.5, 20.5))
    assert binomial_interval(20, 20, method="jeffreys") == pytest.approx((1 - high, 1))
    # mid-P of none: half of (1 - p)^20 is 2.5 %
    assert binomial_interval(0, 20, method="mid-p") == pytest.approx((0, 1 - 0.05 ** (1 / 20)), abs=1e-9)


def test_an_unknown_method_is_named():
    with pytest.raises(InputError) as error:
        binomial_interval(1, 2, method="midp")
    assert str(error.value) == (
        "binomial_interval: unknown method 'midp'. Did you mean 'mid-p'? Known: wilson, clopper-pearson, jeffreys, "
        "agresti-coull, mid-p."
    )
