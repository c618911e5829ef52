"""The water of each cone against the standard conditions of a test."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.columns import is_empty
from qckit.hatch.dose.timing import max_density_g_per_l
from qckit.hatch.water.readings import standard_of, water_of_hatches, water_values
from qckit.hatch.water.seawater import oxygen_saturation_pct
from qckit.quantities import QUANTITIES, WATER
from qckit.settings import ConditionSettings
from qckit.words import capital, spaced

__all__ = ["CONDITION_COLUMNS", "check_conditions"]

CONDITION_COLUMNS = ("hatch", "lot", "cone", "quantity", "value", "unit", "standard", "status", "sentence")

# common practice, no source: air that keeps every cyst moving holds the water above three quarters of saturation
_LEAST_SATURATION_PCT = 75.0
_WEAK_AIR = ("weak", "poor", "low", "none", "off", "stopped", "blocked", "no")


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

    Examples
    --------
    >>> hatch.check_conditions(tables.hatches.tail(4), tables.readings).columns.tolist()
    ['hatch', 'lot', 'cone', 'quantity', 'value', 'unit', 'standard', 'status', 'sentence']
    """
    if conditions is None:
        conditions = ConditionSettings()
    values = water_values(hatches, readings).groupby(["hatch", "quantity"])["value"].agg(list).to_dict()
    usual = water_of_hatches(hatches, readings)[["salinity_ppt", "temperature_c"]].to_numpy(float)
    rows = []
    for hatch, water in zip(hatches.to_dict("records"), usual, strict=True):
        for quantity in WATER:
            rows.append(_row(hatch, quantity, values.get((hatch["hatch"], quantity), ()), conditions, water))
        rows.append(_aeration(hatch))
        rows.append(_density(hatch))
    return pd.DataFrame(rows, columns=list(CONDITION_COLUMNS))


def _row(hatch, quantity, values, c, water):
    standard, record = standard_of(quantity, c), QUANTITIES[quantity]
    expected = standard.words
    unit = f" {record.unit}" if record.unit else ""
    if not len(values):
        return _line(
            hatch,
            quantity,
            value=math.nan,
            expected=expected,
            status="unknown",
            sentence=f"{record.label} was not written down.",
        )
    worst = standard.worst(values)
    sees = f"{record.label} {spaced(worst, '.4g')}{unit}"
    if side := standard.side(worst):
        return _line(
            hatch,
            quantity,
            value=worst,
            expected=expected,
            status="off",
            sentence=f"{sees} is {side} the standard ({expected}).",
        )
    salinity, temperature = water
    if quantity == "oxygen" and math.isfinite(salinity) and math.isfinite(temperature):
        share = float(oxygen_saturation_pct(worst, np.clip(salinity, 0, 350), np.clip(temperature, -2, 45)))
        if share < _LEAST_SATURATION_PCT:
            return _line(
                hatch,
                quantity,
                value=worst,
                expected=expected,
                status="doubtful",
                sentence=f"{sees} is only {share:.0f} % of saturation.",
            )
    return _line(
        hatch,
        quantity,
        value=worst,
        expected=expected,
        status="ok",
        sentence=f"{sees} is within the standard ({expected}).",
    )


def _aeration(hatch):
    text = hatch.get("aeration")
    if is_empty(text):
        return _line(
            hatch,
            "aeration",
            value=math.nan,
            expected="strong",
            status="unknown",
            sentence="aeration was not written down.",
        )
    words = str(text).casefold().replace(",", " ").replace(";", " ").split()
    return _line(
        hatch,
        "aeration",
        value=math.nan,
        expected="strong",
        status="doubtful" if any(word in _WEAK_AIR for word in words) else "ok",
        sentence=f"aeration was noted as {str(text).strip()!r}.",
    )


def _density(hatch):
    litres = float(hatch["volume_ml"]) / 1000
    density, most = float(hatch["cysts_g"]) / litres, max_density_g_per_l(litres)
    expected = f"at most {most:g} g/l"
    status = "ok" if density <= most * 1.02 else "doubtful"
    end = "is within the standard" if status == "ok" else "is crowded"
    return _line(
        hatch,
        "cyst density",
        value=density,
        expected=expected,
        status=status,
        sentence=f"{density:.3g} g of cysts per litre {end} ({expected}).",
    )


def _line(hatch, quantity, value, expected, status, sentence):
    unit = {"cyst density": "g/l", "aeration": "", "ph": "pH"}.get(quantity) or getattr(
        QUANTITIES.get(quantity), "unit", ""
    )
    return (hatch["hatch"], hatch["lot"], hatch["cone"], quantity, value, unit, expected, status, capital(sentence))
