"""P22: response to a dose, binomial regression and the dose for a share.

Budworm moths, 20 per dose (Collett 1991; Venables and Ripley, Modern Applied Statistics with S, section 7.2; from
memory). Expected values from R, MASS ``dose.p``.
"""

import numpy as np
import pytest

from qckit.hatch import dose_at_share, fit_quasi_binomial

KILLED = np.array([1, 4, 9, 13, 18, 20, 0, 2, 6, 10, 12, 16])
MALE = np.array([1] * 6 + [0] * 6)
LDOSE = np.tile(np.arange(6.0), 2)


@pytest.fixture(scope="module")
def fit():
    return fit_quasi_binomial(KILLED, np.full(12, 20), np.column_stack([1 - MALE, MALE, LDOSE]))


def test_coefficients(fit):
    assert fit["coefficients"] == pytest.approx([-3.473155, -2.372412, 1.064214], abs=1e-4)
    assert np.sqrt(np.diag(fit["covariance"])) == pytest.approx([0.468520, 0.385511, 0.131077], abs=1e-4)
    assert (fit["deviance"], fit["df"]) == pytest.approx((6.757064, 9), abs=1e-4)


def test_dose_at_a_share(fit):
    female, male = dose_at_share(fit, 0, 2), dose_at_share(fit, 1, 2)
    assert female[:, 0] == pytest.approx([2.231265, 3.263587, 4.295910], abs=1e-4)
    assert female[:, 1] == pytest.approx([0.249909, 0.229754, 0.274687], abs=1e-4)
    assert male[:, 0] == pytest.approx([1.196939, 2.229262, 3.261585], abs=1e-4)
    assert male[:, 1] == pytest.approx([0.263510, 0.225965, 0.254984], abs=1e-4)
