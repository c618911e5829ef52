"""Lin (1989), Biometrics 45:255-268, on the peak flow data of Bland and Altman (1986); values of the R package epiR."""

import pytest

from qckit.agreement import concordance

W1 = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
M1 = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_concordance_of_two_meters():
    got = concordance(W1, M1)
    assert got.ccc == pytest.approx(0.942742, abs=1e-5)
    assert (got.ccc_low, got.ccc_high) == pytest.approx((0.850492, 0.978726), abs=1e-3)
    assert got.scale_shift == pytest.approx(1 / 0.972509, abs=1e-5)  # epiR prints second over first
    assert abs(got.location_shift) == pytest.approx(0.019030, abs=1e-5)
    assert got.bias_factor == pytest.approx(0.999431, abs=1e-5)
