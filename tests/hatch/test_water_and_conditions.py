"""Water: round trips, limits, messages; conditions against the standard."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qckit import hatch
from qckit.errors import InputError
from qckit.quantities import QUANTITIES
from qckit.tables import check_table


@given(s=st.floats(0, 42), t=st.floats(5, 35))
def test_salinity_and_density_go_both_ways(s, t):
    assert float(hatch.salinity_from_density(hatch.density_kg_m3(s, t), t)) == pytest.approx(s, abs=1e-3)
    gravity = hatch.specific_gravity(s, t, reference_c=15.6)
    assert float(hatch.salinity_from_specific_gravity(gravity, t, reference_c=15.6)) == pytest.approx(s, abs=1e-3)


@given(st.floats(-2, 45))
def test_temperatures_in_fahrenheit_are_those_in_celsius(t):
    unit = QUANTITIES["temperature"].unit_of("°F")
    assert unit.factor * (1.8 * t + 32) + unit.offset == pytest.approx(t, abs=1e-9)


def test_oxygen_percent_and_mg_l_go_both_ways_and_warm_or_salt_water_holds_less():
    mg_l = float(hatch.oxygen_mg_l_from_pct(80, 33, 28))
    assert float(hatch.oxygen_saturation_pct(mg_l, 33, 28)) == pytest.approx(80)
    assert np.all(np.diff(hatch.oxygen_saturation_mg_l(33, np.array([20, 25, 30]))) < 0)
    assert np.all(np.diff(hatch.oxygen_saturation_mg_l(np.array([0, 35, 70]), 28)) < 0)


@pytest.mark.parametrize(
    "call, message",
    [
        (
            lambda: hatch.salinity_from_density(1.022, 25),
            "density is 1.022 kg/m³, and water lies between 990 and 1100. Was it given in g/ml? Multiply by 1000.",
        ),
        (
            lambda: hatch.salinity_from_density(995, 25),
            "density is 995 kg/m³, which is below pure water (997.0 kg/m³ at this "
            "temperature). Read the hydrometer and the "
            "thermometer again.",
        ),
        (
            lambda: hatch.salinity_from_specific_gravity(22, 25),
            "specific gravity is 22 and lies between 0.99 and 1.10 for water. Read the hydrometer again.",
        ),
        (
            lambda: hatch.oxygen_saturation_mg_l(33, 82),
            "temperature is 82 °C and must lie between -2 and 45. Was it given in °F?",
        ),
        (
            lambda: hatch.oxygen_saturation_mg_l(-1, 20),
            "salinity is -1 ppt and must lie between 0 and 350. Correct it.",
        ),
    ],
)
def test_messages(call, message):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == message


def conditions(readings=None, **changes):
    row = {
        "hatch": "H",
        "lot": "L",
        "purpose": "standard test",
        "cone": "A",
        "started": "2026-01-01T09:00:00Z",
        "cysts_g": 1.6,
        "volume_ml": 800,
        "temperature_c": 28,
        "salinity_ppt": 33,
        "ph": 8.2,
        "oxygen_mg_l": 6.3,
        "light_lux": 2000,
        "aeration": "strong",
        **changes,
    }
    found = hatch.check_conditions(check_table(pd.DataFrame([row]), "hatches"), readings)
    return found.set_index("quantity")


def test_the_standard_is_ok():
    assert set(conditions()["status"]) == {"ok"}


@pytest.mark.parametrize(
    "change, quantity, status",
    [
        ({"temperature_c": 26.5}, "temperature", "off"),
        ({"temperature_c": 27.0}, "temperature", "ok"),
        ({"salinity_ppt": 40}, "salinity", "off"),
        ({"ph": 7.6}, "ph", "off"),
        ({"oxygen_mg_l": 3.9}, "oxygen", "off"),
        ({"oxygen_mg_l": 4.1}, "oxygen", "doubtful"),
        ({"light_lux": 300}, "light", "off"),
        ({"aeration": "Weak, one stone"}, "aeration", "doubtful"),
        ({"cysts_g": 8}, "cyst density", "doubtful"),
        ({"ph": None}, "ph", "unknown"),
        ({"aeration": None}, "aeration", "unknown"),
    ],
)
def test_each_quantity(change, quantity, status):
    assert conditions(**change).loc[quantity, "status"] == status


def test_the_worst_reading_counts_and_units_are_turned():
    readings = pd.DataFrame(
        [
            {"hatch": "H", "quantity": "temperature", "value": 82.4, "unit": "°F"},
            {"hatch": "H", "quantity": "oxygen", "value": 60, "unit": "%"},
        ]
    )
    found = conditions(readings)
    assert found.loc["temperature", "status"] == "ok"
    assert found.loc["oxygen", "sentence"] == "Oxygen 3.908 mg/l is below the standard (at least 4 mg/l)."
