"""P13: germination of seeds on 21 plates, more variable than binomial.

Crowder 1978, Applied Statistics 27:34-37 (data set crowder.seeds of the R package agridat). Expected values from R
(glm, lme4, VGAM and an own likelihood by optim). The logistic-normal fit is published: Breslow and Clayton 1993, J. Am.
Stat. Assoc. 88:9-25, maximum likelihood -0.548, 0.097, 1.337, -0.811, SD 0.236 (from memory).
"""

import numpy as np
import pytest

from qckit.errors import InputError
from qckit.hatch import (
    binomial_dispersion,
    fit_beta_binomial,
    fit_beta_binomial_on,
    fit_logistic_normal,
    fit_quasi_binomial,
)

O73 = np.array([0] * 5 + [1] * 5 + [0] * 6 + [1] * 5)
CUCUMBER = np.array([0] * 10 + [1] * 11)
GERM = np.array([10, 23, 23, 26, 17, 8, 10, 8, 23, 0, 5, 53, 55, 32, 46, 10, 3, 22, 15, 32, 3])
N = np.array([39, 62, 81, 51, 39, 16, 30, 28, 45, 4, 6, 74, 72, 51, 79, 13, 12, 41, 30, 51, 7])

DESIGN = np.column_stack([np.ones(21), O73, CUCUMBER, O73 * CUCUMBER])


def test_quasi_binomial_fit():
    fit = fit_quasi_binomial(GERM, N, DESIGN)
    assert fit["coefficients"] == pytest.approx([-0.558172, 0.145927, 1.318182, -0.778104], abs=1e-5)
    assert fit["standard_errors"] == pytest.approx([0.171955, 0.304508, 0.242153, 0.418125], abs=1e-5)
    assert np.sqrt(np.diag(fit["covariance"])) == pytest.approx([0.126021, 0.223166, 0.177468, 0.306433], abs=1e-5)
    assert (fit["deviance"], fit["pearson"], fit["df"]) == pytest.approx((33.277786, 31.651145, 17), abs=1e-5)
    assert fit["dispersion"] == pytest.approx(1.861832, abs=1e-5)


def test_logistic_normal_fit():
    fit = fit_logistic_normal(GERM, N, DESIGN)
    assert fit.coefficients == pytest.approx([-0.548416, 0.096933, 1.337032, -0.810416], abs=2e-3)
    assert fit.standard_errors == pytest.approx([0.166598, 0.278050, 0.236943, 0.385180], abs=2e-3)
    assert fit.spread == pytest.approx(0.236258, abs=2e-3)
    published = [-0.548, 0.097, 1.337, -0.811]
    assert fit.coefficients == pytest.approx(published, abs=1e-3) and fit.spread == pytest.approx(0.236, abs=1e-3)


def test_beta_binomial_on_conditions():
    fit = fit_beta_binomial_on(GERM, N, DESIGN)
    assert fit.coefficients == pytest.approx([-0.541951, 0.097391, 1.320068, -0.797925], abs=2e-3)
    assert fit.standard_errors == pytest.approx([0.16378, 0.27367, 0.23398, 0.37796], abs=2e-3)
    assert fit.spread == pytest.approx(0.012361, abs=2e-3)
    assert fit.loglik == pytest.approx(-53.766763, abs=2e-3)


def test_a_beta_binomial_on_the_intercept_alone_is_the_common_one():
    fit, common = fit_beta_binomial_on(GERM, N, np.ones((21, 1))), fit_beta_binomial(GERM, N)
    assert 1 / (1 + np.exp(-fit.coefficients[0])) == pytest.approx(common.share, abs=1e-4)
    assert (fit.spread, fit.loglik) == pytest.approx((common.rho, common.loglik), abs=1e-4)


def test_a_design_that_does_not_fit_the_groups_is_refused():
    with pytest.raises(InputError) as error:
        fit_logistic_normal([1, 2], [5, 5], np.ones((3, 1)))
    assert str(error.value) == (
        "2 groups and a design of shape (3, 1) were given; a fit needs one row of the design for each group, more "
        "groups than columns, and parts no larger than their wholes."
    )


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
