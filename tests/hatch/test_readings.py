"""Readings: units that are known, turned into one; unknown ones refused; one meaning of off the standard."""

import numpy as np
import pandas as pd
import pytest

from qckit import hatch
from qckit.charts import hatch_series
from qckit.errors import InputError
from qckit.settings import ConditionSettings
from qckit.tables import check_table, empty_table

HATCHES = check_table(
    pd.DataFrame(
        [
            {
                "hatch": name,
                "lot": "L",
                "purpose": "production",
                "cone": "A",
                "started": "2026-01-01T09:00:00+00:00",
                "cysts_g": 1.6,
                "volume_ml": 800,
                "temperature_c": temperature,
                "salinity_ppt": salinity,
            }
            for name, temperature, salinity in (("H", 28.0, 33.0), ("bare", None, None))
        ]
    ),
    "hatches",
)


def readings(*rows):
    base = {"hatch": "H", "taken": "2026-01-01T12:00:00+00:00"}
    named = [base | dict(zip(("quantity", "value", "unit", "hatch"), row, strict=False)) for row in rows]
    return check_table(pd.DataFrame(named), "readings")


def value(*row):
    return hatch.standard_readings(readings(row), HATCHES)["value"].iloc[0]


@pytest.mark.parametrize(
    ("quantity", "given", "unit", "wanted"),
    [
        ("temperature", 28.0, "°C", 28.0),
        ("temperature", 82.4, "degF", 28.0),
        ("temperature", 301.15, "Kelvin", 28.0),
        ("light", 2.0, "klux", 2000.0),
        ("oxygen", 6.0, "ppm", 6.0),
        ("oxygen", 200.0, "umol/l", 6.39976),
        ("salinity", 33.0, "‰", 33.0),
        ("ph", 8.1, "pH", 8.1),
    ],
)
def test_units_become_one(quantity, given, unit, wanted):
    assert value(quantity, given, unit) == pytest.approx(wanted)


def test_percent_of_saturation_becomes_mg_per_litre_at_the_water_of_the_hatch():
    # Benson and Krause 1984, Limnol. Oceanogr. 29:620-632: about 6.5 mg/l at 28 °C and 33 ppt (from memory)
    assert value("oxygen", 100.0, "percent") == pytest.approx(6.5, abs=0.1)
    fresh = hatch.standard_readings(readings(("oxygen", 40, "%"), ("salinity", 5, "ppt")), HATCHES)
    assert fresh["value"].iloc[0] > value("oxygen", 40, "%")  # its own reading goes before the field sheet
    assert np.isnan(value("oxygen", 40, "%", "bare"))


def test_specific_gravity_becomes_salinity_at_the_temperature_of_the_hatch():
    gravity = float(hatch.specific_gravity(33.0, 28.0))
    assert value("salinity", gravity, "SG") == pytest.approx(33.0, abs=0.01)
    assert np.isnan(value("salinity", gravity, "SG", "bare"))
    both = hatch.standard_readings(readings(("salinity", gravity, "SG"), ("oxygen", 100, "%")), HATCHES)
    assert both["value"].iloc[1] == pytest.approx(value("oxygen", 100, "%"), abs=0.01)


def test_an_unknown_unit_is_refused_with_those_that_are_known():
    with pytest.raises(InputError) as error:
        readings(("oxygen", 40, "%"), ("oxygen", 40, "bar"))
    assert str(error.value) == (
        "readings, row 3: unit 'bar' is no unit of oxygen that is known. Write one of: mg/l, %, µmol/l, ml/l."
    )
    with pytest.raises(InputError, match=r"unit 'ppt' is no unit of pH that is known\. Write one of: pH\."):
        readings(("ph", 8, "ppt"))


def test_a_unit_is_kept_in_one_spelling():
    assert readings(("oxygen", 40, "percent"), ("light", 2, "kLux"))["unit"].tolist() == ["%", "klux"]


@pytest.mark.parametrize("temperature", [26.4, 27.0, 28.9, 29.0, 29.5, 31.0])
def test_off_the_standard_means_one_thing(temperature):
    rows = readings(("temperature", temperature, "°C"))
    conditions = ConditionSettings()
    checked = hatch.check_conditions(HATCHES.head(1).assign(temperature_c=None), rows, conditions)
    is_off = checked.loc[checked["quantity"] == "temperature", "status"].iloc[0] == "off"
    none = empty_table("samples")
    series = hatch_series(None, HATCHES.head(1), none, rows, conditions=conditions).iloc[0]
    assert is_off == bool(series["off_standard"]) == (not 27 <= temperature <= 29)
    assert bool(series["far_off"]) == (not 26 <= temperature <= 30)


def test_worst_of_the_readings_and_the_field_sheet_is_judged():
    rows = readings(("oxygen", 3.5, "mg/l"), ("light", 0.9, "klux"))
    table = hatch.check_conditions(HATCHES.head(1), rows).set_index("quantity")
    assert table.loc["oxygen", "sentence"] == "Oxygen 3.5 mg/l is below the standard (at least 4 mg/l)."
    assert table.loc["light", "sentence"] == "Light 900 lux is below the standard (at least 1500 lux)."
    assert table.loc["ph", "sentence"] == "pH was not written down."
