"""Bounds of a single mean square are those of chi square (Graybill and Wang 1980 reduce to them).

NIST/SEMATECH e-Handbook 1.3.5.8, gear diameters: n = 100, s = 0.00628; the textbook interval of a standard deviation,
s sqrt(99 / 128.422) to s sqrt(99 / 73.361) (quantiles printed in every table of chi square; from memory).
"""

import math

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import gauge_study
from qckit.agreement.gauge import _modified_large_sample


def test_one_mean_square_has_the_bounds_of_chi_square():
    low, high = _modified_large_sample([(1.0, 0.00628**2, 99)], 0.95)
    assert low == pytest.approx(0.00628 * math.sqrt(99 / 128.422), rel=1e-4)
    assert high == pytest.approx(0.00628 * math.sqrt(99 / 73.361), rel=1e-4)


@pytest.mark.parametrize("person", [0.0, 1.0, 3.0])
def test_three_people_are_covered_93_of_100_or_more(person):
    rng, hit = np.random.default_rng(4), 0
    runs, parts, trials = 300, 8, 2
    for _ in range(runs):
        who, what = rng.normal(0, person, 3), rng.normal(0, 4, parts)
        rows = [
            (p, a, what[p] + who[a] + rng.normal(0, 1.0)) for p in range(parts) for a in range(3) for _ in range(trials)
        ]
        study = gauge_study(pd.DataFrame(rows, columns=["photo", "counter", "value"]))
        hit += study.gauge_low <= math.sqrt(1 + person**2) <= study.gauge_high
    assert 100 * hit / runs >= 92.5
