"""One-sided tolerance factors of a normal sample, which are the exact bounds of a limit of agreement.

ISO 16269-6 and Odeh and Owen 1980, Tables for Normal Tolerance Limits, content 0.95, confidence 0.95 (from memory).
"""

import numpy as np
import pytest
from scipy import stats

from qckit.agreement import bland_altman
from qckit.agreement.paired import limit_bounds


@pytest.mark.parametrize("n, factor", [(5, 4.203), (10, 2.911), (20, 2.396), (30, 2.220)])
def test_the_upper_bound_is_the_published_factor(n, factor):
    # one-sided 95 % is the upper bound of a two-sided 90 % interval of the 95th percentile
    assert limit_bounds(n, multiple=stats.norm.ppf(0.95), confidence=0.90)[1] == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize("n", [6, 8, 12])
def test_intervals_of_limits_hold_94_to_96_of_100_where_the_large_sample_ones_do_not(n):
    rng = np.random.default_rng(n)
    x = rng.standard_normal((40_000, n))
    bias, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    held = {}
    for interval in ("exact", "large sample"):
        low, high = limit_bounds(n, interval=interval)
        held[interval] = 100 * np.mean((bias + low * sd <= 1.96) & (bias + high * sd >= 1.96))
    assert 94.5 <= held["exact"] <= 95.5 and held["large sample"] < 94


def test_exact_and_large_sample_agree_where_pairs_are_many():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0, 1, 2000), rng.normal(0, 1, 2000)
    exact, large = (bland_altman(a, b, interval=name) for name in ("exact", "large sample"))
    assert exact.limit_high_high == pytest.approx(large.limit_high_high, rel=0.01)
