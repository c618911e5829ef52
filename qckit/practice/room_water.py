"""Water of practice rooms: what is read, in which unit and to which digit, and days that remember the day before."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

__all__ = ["READ", "WaterReading", "remembering_days"]


class WaterReading(NamedTuple):
    """One quantity as a room reads it."""

    quantity: str
    column: str
    unit: str
    digits: int


READ = (
    WaterReading("temperature", "temperature_c", "°C", 1),
    WaterReading("salinity", "salinity_ppt", "ppt", 1),
    WaterReading("ph", "ph", "pH", 2),
    WaterReading("oxygen", "oxygen_mg_l", "mg/l", 1),
    WaterReading("light", "light_lux", "lux", -1),
)
"""The quantities read in a room, in the order of the sheets."""


def remembering_days(rng, n: int, correlation: float) -> np.ndarray:
    """Draw a value a day with unit variance, each correlated with the day before; shape (n,)."""
    out, last = np.empty(n), rng.normal()
    for i in range(n):
        out[i] = last = correlation * last + np.sqrt(1 - correlation**2) * rng.normal()
    return out
