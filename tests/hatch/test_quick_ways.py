"""What was written out for speed gives what the long way gives."""

import numpy as np
import pandas as pd

from qckit.hatch import fit_quasi_binomial
from qckit.hatch.water.conditions import check_conditions
from qckit.hatch.water.readings import hatches_off_standard
from qckit.settings import Settings


def test_a_fit_of_proportions_equals_statsmodels():
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    n = rng.integers(60, 600, 80)
    design = np.column_stack([rng.integers(0, 2, 80), rng.normal(0, 1, 80), np.ones(80)]).astype(float)
    p = 1 / (1 + np.exp(-(design @ [0.4, -0.8, 1.5] + rng.normal(0, 0.3, 80))))
    k = rng.binomial(n, p)
    k[:3], k[3] = n[:3], 0  # all and none hatched
    theirs = sm.GLM(k / n, design, family=sm.families.Binomial(), var_weights=n).fit(tol=1e-12)
    ours = fit_quasi_binomial(k, n, design)
    np.testing.assert_allclose(ours["coefficients"], theirs.params, rtol=1e-7)
    np.testing.assert_allclose(ours["covariance"], theirs.cov_params(), rtol=1e-6)
    np.testing.assert_allclose([ours["deviance"], ours["pearson"]], [theirs.deviance, theirs.pearson_chi2], rtol=1e-8)
    # a column twice over: the same fit, shared between both
    twice = fit_quasi_binomial(k, n, np.column_stack([design, design[:, 1]]))
    np.testing.assert_allclose(twice["deviance"], theirs.deviance, rtol=1e-8)


def test_hatches_off_the_standard_are_those_that_the_check_calls_off():
    rng, rows, readings = np.random.default_rng(6), [], []
    for i in range(60):
        started = f"2026-05-{i % 28 + 1:02d}T09:00:00+00:00"
        row = {"hatch": f"H{i}", "lot": "L", "cone": "A", "started": started, "volume_ml": 800.0, "cysts_g": 1.6}
        row |= {"temperature_c": 28 + rng.normal(0, 2), "salinity_ppt": None if i % 3 else 33 + rng.normal(0, 4)}
        row |= {"ph": 8.1 + rng.normal(0, 0.2), "oxygen_mg_l": None, "light_lux": 2000.0, "aeration": "strong"}
        rows.append(row)
        readings.append({"hatch": f"H{i}", "taken": started, "quantity": "oxygen", "value": 5 + rng.normal(0, 2)})
    hatches, read = pd.DataFrame(rows), pd.DataFrame(readings).assign(unit="mg/l")
    told = check_conditions(hatches, read, Settings().conditions)
    off = set(told.loc[told["status"] == "off", "hatch"])
    assert 10 < len(off) < 60 and hatches_off_standard(hatches, read, Settings().conditions) == off
