"""Water of practice rooms: what is read, in which unit and to which digit, and days that remember the day before."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from qckit.quantities import QUANTITIES, WATER

__all__ = ["READ", "WaterReading", "remembering_days"]


class WaterReading(NamedTuple):
    """One quantity as a room reads it."""

    quantity: str
    column: str
    unit: str
    digits: int


_DIGITS = {"temperature": 1, "salinity": 1, "ph": 2, "oxygen": 1, "light": -1}
READ = tuple(
    WaterReading(name, QUANTITIES[name].column, QUANTITIES[name].written_unit, _DIGITS[name]) for name in WATER
)
"""The quantities read in a room, in the order of the sheets."""


def remembering_days(rng, n: int, correlation: float) -> np.ndarray:
    """Draw a value a day with unit variance, each correlated with the day before; shape (n,)."""
    out, last = np.empty(n), rng.normal()
    for i in range(n):
        out[i] = last = correlation * last + np.sqrt(1 - correlation**2) * rng.normal()
    return out
