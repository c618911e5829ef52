"""The prediction interval of one further observation, which a dose rests on.

Hahn and Meeker 1991, Statistical Intervals, Table A.2 (r factors for one further observation, two-sided 95 %; from
memory): n = 5: 3.041, n = 10: 2.373, n = 20: 2.145, n = 30: 2.079.
"""

import math

import pandas as pd
import pytest

from qckit.hatch.dose.plan import _Prediction
from qckit.hatch.harvest.recovery import Recovery
from qckit.hatch.lots.level import LotLevel


@pytest.mark.parametrize("n, factor", [(5, 3.041), (10, 2.373), (20, 2.145), (30, 2.079)])
def test_factors_for_one_further_observation(n, factor):
    at, spread = pd.Timestamp("2026-01-01", tz="UTC"), 0.1
    level = LotLevel("L", at, "production", 0.0, spread / math.sqrt(n), spread, n - 1, 0.0, n, 0, 0, at)
    sure = Recovery("assumed", 100.0, math.nan, math.nan, 0.0, 0.0, 0.0, math.inf, 0, pd.DataFrame())
    found = -math.log(_Prediction(level, sure, 0.0).quantile(0.025)) / spread
    # level and spread come from the same observations, so the factor has the spread's degrees of freedom
    assert found == pytest.approx(factor, rel=0.012)
