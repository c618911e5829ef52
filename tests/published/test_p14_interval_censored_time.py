"""P14: germination of chickweed, times known only to an interval, most seeds never germinating.

Ritz, Pipper and Streibig 2013, European Journal of Agronomy 45:1-6 (data set chickweed of the R package drc).
Published for the log-logistic: d 0.2001, b 20.77, e 196.05 (from memory). The others were fitted in R (optim).
"""

import numpy as np
import pytest

from qckit.hatch import interpolated_times
from qckit.hatch.rate.fit import _all_cysts
from qckit.hatch.rate.models import fit_model, model_quantile

START = [133, 176.5, 182.5, 192.5, 200.5, 206.5, 216.5, 266.5, 281.5]
END = [143, 182.5, 192.5, 200.5, 206.5, 216.5, 224.5, 276.5, np.inf]
COUNTS = [2, 3, 10, 11, 6, 5, 2, 1, 160]

FITS = {
    "log-logistic": (0.200109, 20.76739, 196.0530, -188.171856, (176.3699, 196.0530, 217.9328)),
    "log-normal": (0.200051, 9.46797, 195.0252, -193.621018, (170.3358, 195.0252, 223.2931)),
    "Weibull": (0.200000, 8.77728, 205.1137, -197.752765, (158.7259, 196.7251, 225.5600)),
}


@pytest.mark.parametrize("model", FITS)
def test_three_curves(model):
    d, slope, scale, loglik, times = FITS[model]
    fit = fit_model(model, START, END, COUNTS)
    assert fit.ceiling == pytest.approx(d, rel=2e-3)
    assert fit.slope == pytest.approx(slope, rel=2e-3)
    assert fit.scale_h == pytest.approx(scale, rel=2e-3)
    assert fit.loglik == pytest.approx(loglik, abs=1e-4)
    found = [model_quantile(model, fit.scale_h, fit.slope, s) for s in (0.1, 0.5, 0.9)]
    assert found == pytest.approx(times, rel=2e-3)


def test_published_figures_of_the_log_logistic():
    fit = fit_model("log-logistic", START, END, COUNTS)
    assert (fit.ceiling, fit.slope, fit.scale_h) == pytest.approx((0.2001, 20.77, 196.05), rel=1e-3)


def test_the_log_logistic_fits_best():
    best = max(FITS, key=lambda model: fit_model(model, START, END, COUNTS).loglik)
    assert best == "log-logistic"


def test_standard_errors_of_the_log_logistic():
    fit = fit_model("log-logistic", START, END, COUNTS)
    assert fit.ceiling_se == pytest.approx(0.028300, rel=5e-3)
    assert fit.slope * fit.covariance[2, 2] ** 0.5 == pytest.approx(2.944, rel=5e-3)
    assert fit.scale_h * fit.covariance[1, 1] ** 0.5 == pytest.approx(2.506, rel=5e-3)


def test_half_of_all_seeds_is_not_reached():
    t10, t50, _ = _all_cysts(fit_model("log-logistic", START, END, COUNTS))
    assert np.isfinite(t10[2])
    assert np.isnan(t50[2]) and t50[5] == "not reached: 20 % hatch"


def test_hatch_curve_by_interpolation_with_ties_at_the_maximum():
    # P01, second part; counts constructed, values from R approx
    counts = [0, 2, 9, 24, 48, 78, 101, 112, 118, 121, 122, 122, 122]
    found = interpolated_times(range(12, 25), counts)
    assert [found[n] for n in ("T10", "T50", "T90", "Ts")] == pytest.approx(
        [14.213333, 16.433333, 18.8, 4.586667], abs=1e-6
    )
