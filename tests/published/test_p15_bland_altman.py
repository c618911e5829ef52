"""Bland and Altman (1986), Lancet i:307-310: peak flow by two meters, twice each.

Data and the lower limit's interval as printed; the exact values were recomputed in R.
"""

import pytest

from qckit.agreement import bland_altman, repeatability

W1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
W2 = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
M1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
M2 = [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443]


def test_limits_with_two_standard_deviations_as_printed():
    got = bland_altman(W1, M1, multiple=2, interval="large sample")
    assert got.n == 17
    assert got.bias == pytest.approx(-2.117647, abs=1e-5)
    assert got.sd == pytest.approx(38.765130, abs=1e-5)
    assert (got.limit_low, got.limit_high) == pytest.approx((-79.647907, 75.412613), abs=1e-5)
    assert (got.bias_low, got.bias_high) == pytest.approx((-22.048838, 17.813544), abs=1e-5)
    assert got.se_limit == pytest.approx(16.284612, abs=1e-5)
    assert (got.limit_low_low, got.limit_low_high) == pytest.approx((-114.169742, -45.126072), abs=1e-5)
    assert (got.limit_high_low, got.limit_high_high) == pytest.approx((40.890778, 109.934447), abs=1e-5)
    assert got.correlation == pytest.approx(0.943279, abs=1e-5)


def test_limits_with_196():
    got = bland_altman(W1, M1)
    assert (got.limit_low, got.limit_high) == pytest.approx((-78.097302, 73.862007), abs=1e-5)


@pytest.mark.parametrize(
    "first, second, sd, coefficient", [(W1, W2, 15.306669, 43.293798), (M1, M2, 19.910831, 56.316333)]
)
def test_repeatability_of_each_meter(first, second, sd, coefficient):
    got = repeatability(first, second)
    assert got.within_sd == pytest.approx(sd, abs=1e-5)
    assert got.coefficient == pytest.approx(coefficient, abs=1e-5)
