"""P13: germination of seeds on 21 plates, more variable than binomial.

Crowder 1978, Applied Statistics 27:34-37 (data set crowder.seeds of the R package agridat). Expected values from R
(glm, VGAM and an own likelihood by optim).
"""

import numpy as np
import pytest

from qckit.hatch import binomial_dispersion, fit_beta_binomial, fit_quasi_binomial

O73 = np.array([0] * 5 + [1] * 5 + [0] * 6 + [1] * 5)
CUCUMBER = np.array([0] * 10 + [1] * 11)
GERM = np.array([10, 23, 23, 26, 17, 8, 10, 8, 23, 0, 5, 53, 55, 32, 46, 10, 3, 22, 15, 32, 3])
N = np.array([39, 62, 81, 51, 39, 16, 30, 28, 45, 4, 6, 74, 72, 51, 79, 13, 12, 41, 30, 51, 7])


def test_quasi_binomial_fit():
    fit = fit_quasi_binomial(GERM, N, np.column_stack([np.ones(21), O73, CUCUMBER, O73 * CUCUMBER]))
    assert fit["coefficients"] == pytest.approx([-0.558172, 0.145927, 1.318182, -0.778104], abs=1e-5)
    assert fit["standard_errors"] == pytest.approx([0.171955, 0.304508, 0.242153, 0.418125], abs=1e-5)
    assert np.sqrt(np.diag(fit["covariance"])) == pytest.approx([0.126021, 0.223166, 0.177468, 0.306433], abs=1e-5)
    assert (fit["deviance"], fit["pearson"], fit["df"]) == pytest.approx((33.277786, 31.651145, 17), abs=1e-5)
    assert fit["dispersion"] == pytest.approx(1.861832, abs=1e-5)


def test_homogeneity_of_all_plates():
    found = binomial_dispersion(GERM, N)
    assert (found.chi2, found.df) == pytest.approx((93.817786, 20), abs=1e-5)


def test_common_beta_binomial():
    fit = fit_beta_binomial(GERM, N)
    assert fit.share == pytest.approx(0.493572, abs=2e-3)
    assert fit.rho == pytest.approx(0.081572, abs=2e-3)
    assert fit.loglik == pytest.approx(-64.516283, abs=2e-3)


def test_no_overdispersion_gives_rho_zero_not_an_error():
    assert fit_beta_binomial([40, 40, 40], [50, 50, 50]).rho == 0.0
