"""Readings of the water: in one unit each, and against the site's standard; the only place that decides either.

"Off the standard" means outside what the settings ask for: the temperature and the salinity by more than their
tolerance, pH, oxygen and light below their minimum. "Far off" means beyond that by the tolerance once more (pH by 0.1):
so far that the hatch is no sample of the ordinary (ours).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.hatch.water.seawater import oxygen_mg_l_from_pct, salinity_from_specific_gravity
from qckit.quantities import QUANTITIES, WATER, in_standard_unit
from qckit.words import spaced

__all__ = [
    "Standard",
    "hatches_off_standard",
    "standard_of",
    "standard_readings",
    "water_of_hatches",
    "water_values",
]

_SLACK = 1e-9  # a value on the border is within it


@dataclass(frozen=True)
class Standard:
    """What the site asks of one quantity: least and most, both allowed, and how far beyond is far off.

    Examples
    --------
    >>> standard = hatch.standard_of("temperature", tables.settings.conditions)
    >>> standard.low, standard.high
    (27.0, 29.0)
    """

    quantity: str
    low: float
    high: float
    far: float  # beyond low or high
    words: str

    def side(self, value: float) -> str:
        """``below`` or ``above`` where a value is off the standard; empty where it is within it or not known."""
        return "below" if value < self.low - _SLACK else "above" if value > self.high + _SLACK else ""

    def is_off(self, values) -> np.ndarray:
        """Tell which values lie off the standard; unknown ones do not."""
        values = np.asarray(values, float)
        return (values < self.low - _SLACK) | (values > self.high + _SLACK)

    def is_far_off(self, values) -> np.ndarray:
        """Tell which values lie so far off that the hatch is no sample of the ordinary."""
        values = np.asarray(values, float)
        return (values < self.low - self.far - _SLACK) | (values > self.high + self.far + _SLACK)

    def worst(self, values) -> float:
        """Return the value that is furthest out (or least within)."""
        return float(max(values, key=lambda v: max(self.low - v, v - self.high)))


def standard_of(quantity: str, conditions) -> Standard:
    """Give the site's standard for one quantity.

    Parameters
    ----------
    quantity : str
        One of ``quantities.WATER``.
    conditions : settings.ConditionSettings

    Returns
    -------
    Standard

    Examples
    --------
    >>> hatch.standard_of("temperature", tables.settings.conditions).words
    '28 ± 1 °C'
    """
    c, inf = conditions, math.inf
    if quantity == "temperature":
        return _around(quantity, c.temperature_c, c.temperature_tolerance_c)
    if quantity == "salinity":
        return _around(quantity, c.salinity_ppt, c.salinity_tolerance_ppt)
    least, far = {
        "ph": (c.min_ph, 0.1),
        "oxygen": (c.min_oxygen_mg_l, 0.0),
        "light": (c.min_light_lux, 0.0),
    }[quantity]
    return Standard(quantity, least, inf, far, f"at least {spaced(least, '.10g')} {QUANTITIES[quantity].unit}".rstrip())


def _around(quantity, centre, tolerance):
    words = f"{centre:g} ± {tolerance:g} {QUANTITIES[quantity].unit}"
    return Standard(quantity, centre - tolerance, centre + tolerance, tolerance, words)


def standard_readings(readings: pd.DataFrame | None, hatches: pd.DataFrame | None = None) -> pd.DataFrame:
    """Turn readings into their standard units.

    Parameters
    ----------
    readings : DataFrame or None
        The readings table.
    hatches : DataFrame, optional
        The hatches table: its temperature and salinity serve where a hatch has no reading of its own. Percent of
        saturation becomes mg/l, and specific gravity becomes ppt, at the hatch's own water (median of its readings).

    Returns
    -------
    DataFrame
        A copy with ``value`` in the unit of ``QUANTITIES``; NaN where the water is not known, or the unit is not.

    Examples
    --------
    >>> reading = {"quantity": "temperature", "value": 82.4, "unit": "°F"}
    >>> readings = pd.DataFrame([{"hatch": "H1", "taken": "2026-11-05T09:00:00+00:00", **reading}])
    >>> hatch.standard_readings(readings)["value"].round(1).tolist()
    [28.0]
    """
    if readings is None or not len(readings):
        columns = ["hatch", "taken", "quantity", "value", "unit"]
        return pd.DataFrame(columns=columns).astype({"value": "float64"}) if readings is None else readings.copy()
    out = readings.assign(value=in_standard_unit(readings))
    for quantity, convert in (("salinity", _salinity), ("oxygen", _oxygen)):  # in this order: each may need the last
        rows = (out["quantity"] == quantity) & out["value"].isna() & readings["value"].notna()
        by = [getattr(QUANTITIES[quantity].unit_of(unit), "by", "") for unit in readings.loc[rows, "unit"]]
        rows = rows[rows].index[np.array(by, dtype=object) != ""]
        if len(rows):
            of_hatch = out.loc[rows, "hatch"]
            water = {q: of_hatch.map(_usual(out, hatches, q)).to_numpy(float) for q in ("temperature", "salinity")}
            out.loc[rows, "value"] = convert(readings.loc[rows, "value"].to_numpy(float), water)
    standard = {q.name: q.written_unit for q in QUANTITIES.values()}
    return out.assign(unit=out["quantity"].map(standard).fillna(out["unit"]))


def _usual(readings, hatches, quantity):
    """Median reading of each hatch, or what its field sheet says."""
    of_quantity = readings[(readings["quantity"] == quantity) & readings["value"].notna()]
    usual = of_quantity.groupby("hatch")["value"].median()
    column = QUANTITIES[quantity].column
    if hatches is None or column not in hatches:
        return usual
    sheet = pd.Series(hatches[column].to_numpy(dtype=float, na_value=np.nan), index=hatches["hatch"].to_numpy())
    return usual.reindex(usual.index.union(sheet.index)).fillna(sheet[~sheet.index.duplicated()])


def _salinity(gravity, water):
    good = np.isfinite(water["temperature"]) & (gravity >= 0.99) & (gravity <= 1.1)
    return _where(good, lambda g: salinity_from_specific_gravity(gravity[g], water["temperature"][g]))


def _oxygen(share, water):
    good = np.isfinite(water["temperature"]) & np.isfinite(water["salinity"])
    good &= (water["temperature"] >= -2) & (water["temperature"] <= 45) & (water["salinity"] >= 0)
    return _where(good, lambda g: oxygen_mg_l_from_pct(share[g], water["salinity"][g], water["temperature"][g]))


def _where(good, convert):
    out = np.full(len(good), np.nan)
    if good.any():
        out[good] = convert(good)
    return out


def water_values(hatches: pd.DataFrame, readings: pd.DataFrame | None = None) -> pd.DataFrame:
    """List every value of the water: what the field sheet says and each reading, in standard units.

    Returns
    -------
    DataFrame
        hatch, quantity, value, taken (missing for the field sheet's), none of them without a value.

    Examples
    --------
    >>> hatch.water_values(tables.hatches.tail(2), tables.readings).columns.tolist()
    ['hatch', 'quantity', 'value', 'taken']
    """
    rows = [
        pd.DataFrame({"hatch": hatches["hatch"], "quantity": q, "value": hatches[QUANTITIES[q].column].astype(float)})
        for q in WATER
        if QUANTITIES[q].column in hatches
    ]
    measured = standard_readings(readings, hatches)
    measured = measured[measured["quantity"].isin(WATER) & measured["hatch"].isin(hatches["hatch"])]
    rows.append(measured.reindex(columns=["hatch", "quantity", "value", "taken"]))
    rows = [table for table in rows if len(table)]
    if not rows:
        return pd.DataFrame(columns=["hatch", "quantity", "value", "taken"]).astype({"value": "float64"})
    table = pd.concat(rows, ignore_index=True).dropna(subset="value")
    return table.reindex(columns=["hatch", "quantity", "value", "taken"]).reset_index(drop=True)


def hatches_off_standard(hatches: pd.DataFrame, readings: pd.DataFrame | None, conditions) -> set[str]:
    """Name the hatches with a value of the water off the site's standard (``conditions``: the settings' section)."""
    values = water_values(hatches, readings)
    off = np.zeros(len(values), bool)
    for quantity in WATER:
        mine = (values["quantity"] == quantity).to_numpy()
        off[mine] = standard_of(quantity, conditions).is_off(values.loc[mine, "value"])
    return set(values.loc[off, "hatch"])


def water_of_hatches(hatches: pd.DataFrame, readings: pd.DataFrame | None = None) -> pd.DataFrame:
    """Give each hatch one value of each quantity: the median of its readings, or the field sheet's where it has none.

    Returns
    -------
    DataFrame, indexed like ``hatches``
        The columns temperature_c, salinity_ppt, ph, oxygen_mg_l, light_lux.

    Examples
    --------
    >>> hatch.water_of_hatches(tables.hatches.tail(2), tables.readings).columns.tolist()
    ['temperature_c', 'salinity_ppt', 'ph', 'oxygen_mg_l', 'light_lux']
    """
    measured = standard_readings(readings, hatches)
    measured = measured[measured["hatch"].isin(hatches["hatch"])]
    median = measured.groupby(["hatch", "quantity"])["value"].median() if len(measured) else pd.Series(dtype="float64")
    out = {}
    for quantity in WATER:
        column = QUANTITIES[quantity].column
        sheet = hatches[column].astype(float) if column in hatches else pd.Series(np.nan, index=hatches.index)
        if len(measured) and quantity in median.index.get_level_values("quantity"):
            sheet = hatches["hatch"].map(median.xs(quantity, level="quantity")).astype(float).fillna(sheet)
        out[column] = sheet
    return pd.DataFrame(out, index=hatches.index)
