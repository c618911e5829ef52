"""P20: sea water.

Check values: UNESCO 1981, Technical Papers in Marine Science 36 (EOS-80, from memory; TEOS-10 differs by less than
0.02 kg/m3 there); TEOS-10 toolbox gsw.rho(34.7118, 28.8099, 10) = 1021.839936 (from memory); oxygen: Garcia and Gordon
1992, Limnol. Oceanogr. 37:1307-1312, 274.610 umol/kg at S 35, 10 C (from memory).
"""

import gsw
import pytest

from qckit import hatch


def test_the_library_holds_its_check_value():
    assert gsw.rho(34.7118, 28.8099, 10) == pytest.approx(1021.839936, abs=1e-5)


def eos80(s, t):
    """UNESCO 1981 one-atmosphere density, Technical Papers in Marine Science 36 (coefficients from memory); IPTS-68."""
    water = (
        999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    b = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    c = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return water + b * s + c * s**1.5 + 4.8314e-4 * s**2


CHECKS = [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)]


@pytest.mark.parametrize("salinity, temperature, density", CHECKS)
def test_the_old_equation_of_state_holds_its_check_values(salinity, temperature, density):
    assert eos80(salinity, temperature) == pytest.approx(density, abs=1e-5)


@pytest.mark.parametrize("salinity", [0, 10, 20, 30, 35, 40])
def test_the_kit_agrees_with_the_old_equation_over_the_working_range(salinity):
    for temperature in (15, 20, 25, 28, 30):
        new = float(hatch.density_kg_m3(salinity, temperature / 1.00024))
        assert new == pytest.approx(eos80(salinity, temperature), abs=0.025)


@pytest.mark.parametrize("salinity, temperature, density", CHECKS)
def test_density(salinity, temperature, density):
    assert float(hatch.density_kg_m3(salinity, temperature / 1.00024)) == pytest.approx(density, abs=0.02)


def test_density_at_35_and_25():
    assert float(hatch.density_kg_m3(35, 25)) == pytest.approx(1023.3431, abs=0.01)


@pytest.mark.parametrize(
    "salinity, temperature, umol_kg", [(35, 25, 206.7668), (35, 28, 196.8579), (25, 28, 209.6962), (0, 25, 258.9676)]
)
def test_oxygen_in_micromoles(salinity, temperature, umol_kg):
    assert gsw.O2sol_SP_pt(salinity, temperature) == pytest.approx(umol_kg, abs=1e-3)
    mg_l = float(hatch.oxygen_saturation_mg_l(salinity, temperature))
    density = float(hatch.density_kg_m3(salinity, temperature))
    assert mg_l == pytest.approx(umol_kg * 31.9988e-6 * density, rel=1e-4)


def test_oxygen_of_fresh_water_is_that_of_the_standard_tables():
    assert float(hatch.oxygen_saturation_mg_l(0, 25)) == pytest.approx(8.26, abs=0.01)


def test_specific_gravity():
    assert float(hatch.specific_gravity(35, 25)) == pytest.approx(1.026373, abs=2e-5)


@pytest.mark.parametrize(
    "gravity, temperature, salinity",
    [(1.0264, 25, 35.04), (1.0250, 25, 33.19), (1.0220, 28, 29.35), (1.0185, 28, 24.69)],
)
def test_salinity_from_specific_gravity(gravity, temperature, salinity):
    assert float(hatch.salinity_from_specific_gravity(gravity, temperature)) == pytest.approx(salinity, abs=0.05)


def test_a_wrong_reference_temperature_shifts_the_salinity():
    right = float(hatch.salinity_from_specific_gravity(1.0250, 25))
    for reference, low, high in ((4.0, 3.5, 5.5), (15.6, 2.0, 3.5)):
        other = float(hatch.salinity_from_specific_gravity(1.0250, 25, reference_c=reference))
        assert low < other - right < high


@pytest.mark.parametrize(
    "salinity, temperature, mg_l", [(35, 25, 6.7707), (35, 28, 6.4403), (25, 28, 6.8100), (0, 25, 8.2622)]
)
def test_oxygen_saturation(salinity, temperature, mg_l):
    assert float(hatch.oxygen_saturation_mg_l(salinity, temperature)) == pytest.approx(mg_l, rel=3e-3)


def test_oxygen_check_value():
    assert gsw.O2sol_SP_pt(35, 10 / 1.00024) == pytest.approx(274.610, rel=3e-5)
