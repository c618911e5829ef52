"""The water of each cone against the standard conditions of a test."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.hatch.water import celsius_from_fahrenheit, oxygen_mg_l_from_pct, oxygen_saturation_pct

__all__ = ["CONDITION_COLUMNS", "check_conditions"]

CONDITION_COLUMNS = ("hatch", "lot", "cone", "quantity", "value", "unit", "standard", "status", "sentence")

# common practice, no source: air that keeps every cyst moving holds the water above three quarters of saturation
_LEAST_SATURATION_PCT = 75.0
_WEAK_AIR = ("weak", "poor", "low", "none", "off", "stopped", "blocked", "no")
_UNITS = {"temperature": "°C", "salinity": "ppt", "ph": "pH", "oxygen": "mg/l", "light": "lux"}
_COLUMN = {
    "temperature": "temperature_c",
    "salinity": "salinity_ppt",
    "ph": "ph",
    "oxygen": "oxygen_mg_l",
    "light": "light_lux",
}


def check_conditions(hatches, readings=None, conditions=None):
    """Compare what was measured in each cone with the standard conditions.

    Parameters
    ----------
    hatches : DataFrame
        Columns of the hatches table.
    readings : DataFrame, optional
        Columns of the readings table; their lowest and highest values count beside the one in ``hatches``.
    conditions : settings.ConditionSettings, optional
        The site's standard; the defaults when left out.

    Returns
    -------
    DataFrame, columns ``CONDITION_COLUMNS``
        One row per hatch and quantity. ``status`` is ok, doubtful (inside the limits but a likely cause of a poorer
        hatch), off (outside the limits) or unknown (not measured). ``sentence`` says it in words.
    """
    if conditions is None:
        from qckit.settings import ConditionSettings

        conditions = ConditionSettings()
    rows = []
    for hatch in hatches.to_dict("records"):
        seen = {q: _values(hatch, readings, q) for q in _COLUMN}
        salinity, temperature = seen["salinity"], seen["temperature"]
        for quantity, values in seen.items():
            rows.append(_row(hatch, quantity, values, conditions, salinity, temperature))
        rows.append(_aeration(hatch))
        rows.append(_density(hatch))
    return pd.DataFrame(rows, columns=list(CONDITION_COLUMNS))


def _values(hatch, readings, quantity):
    """All values of one quantity in its standard unit."""
    values = [hatch.get(_COLUMN[quantity])]
    if readings is not None and len(readings):
        mine = readings[(readings["hatch"] == hatch["hatch"]) & (readings["quantity"] == quantity)]
        for value, unit in zip(mine["value"], mine["unit"]):
            values.append(_standard_unit(float(value), str(unit), quantity, hatch))
    return [float(v) for v in values if v is not None and not pd.isna(v)]


def _standard_unit(value, unit, quantity, hatch):
    if quantity == "temperature" and "F" in unit.upper():
        return float(celsius_from_fahrenheit(value))
    if quantity == "oxygen" and "%" in unit:
        salinity, temperature = hatch.get("salinity_ppt"), hatch.get("temperature_c")
        if pd.isna(salinity) or pd.isna(temperature):
            return math.nan
        return float(oxygen_mg_l_from_pct(value, salinity, temperature))
    return value


def _row(hatch, quantity, values, c, salinity, temperature):
    wanted, low, high = {
        "temperature": (
            f"{c.temperature_c:g} ± {c.temperature_tolerance_c:g} °C",
            c.temperature_c - c.temperature_tolerance_c,
            c.temperature_c + c.temperature_tolerance_c,
        ),
        "salinity": (
            f"{c.salinity_ppt:g} ± {c.salinity_tolerance_ppt:g} ppt",
            c.salinity_ppt - c.salinity_tolerance_ppt,
            c.salinity_ppt + c.salinity_tolerance_ppt,
        ),
        "ph": (f"at least {c.min_ph:g}", c.min_ph, math.inf),
        "oxygen": (f"at least {c.min_oxygen_mg_l:g} mg/l", c.min_oxygen_mg_l, math.inf),
        "light": (f"at least {c.min_light_lux:g} lux", c.min_light_lux, math.inf),
    }[quantity]
    name = {"ph": "pH"}.get(quantity, quantity)
    unit = "" if quantity == "ph" else f" {_UNITS[quantity]}"
    if not values:
        return _line(hatch, quantity, math.nan, wanted, "unknown", f"{name} was not written down.")
    worst = max(values, key=lambda v: max(low - v, v - high))
    sees = f"{name} {worst:,.4g}{unit}"
    if worst < low - 1e-9 or worst > high + 1e-9:
        side = "below" if worst < low else "above"
        return _line(hatch, quantity, worst, wanted, "off", f"{sees} is {side} the standard ({wanted}).")
    if quantity == "oxygen" and salinity and temperature:
        share = float(oxygen_saturation_pct(worst, np.clip(salinity[0], 0, 350), np.clip(temperature[0], -2, 45)))
        if share < _LEAST_SATURATION_PCT:
            return _line(hatch, quantity, worst, wanted, "doubtful", f"{sees} is only {share:.0f} % of saturation.")
    return _line(hatch, quantity, worst, wanted, "ok", f"{sees} is within the standard ({wanted}).")


def _aeration(hatch):
    text = hatch.get("aeration")
    if text is None or pd.isna(text) or not str(text).strip():
        return _line(hatch, "aeration", math.nan, "strong", "unknown", "aeration was not written down.")
    words = str(text).casefold().replace(",", " ").replace(";", " ").split()
    if any(word in _WEAK_AIR for word in words):
        return _line(hatch, "aeration", math.nan, "strong", "doubtful", f"aeration was noted as {str(text).strip()!r}.")
    return _line(hatch, "aeration", math.nan, "strong", "ok", f"aeration was noted as {str(text).strip()!r}.")


def _density(hatch):
    """Lavens, Thongrod and Sorgeloos 2000: at most 5 g/l in vessels under 20 l, 2 g/l in larger ones."""
    litres = float(hatch["volume_ml"]) / 1000
    density, most = float(hatch["cysts_g"]) / litres, 5.0 if litres < 20 else 2.0
    wanted = f"at most {most:g} g/l"
    status = "ok" if density <= most * 1.02 else "doubtful"
    end = "is within the standard" if status == "ok" else "is crowded"
    return _line(
        hatch, "cyst density", density, wanted, status, f"{density:.3g} g of cysts per litre {end} ({wanted})."
    )


def _line(hatch, quantity, value, wanted, status, sentence):
    unit = {"cyst density": "g/l", "aeration": ""}.get(quantity, _UNITS.get(quantity, ""))
    start = sentence[0].upper() + sentence[1:] if not sentence.startswith("pH") else sentence
    return (hatch["hatch"], hatch["lot"], hatch["cone"], quantity, value, unit, wanted, status, start)
