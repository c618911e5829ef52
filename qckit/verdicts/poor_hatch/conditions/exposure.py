"""Readings during a hatch as a course over the hours: time out of range, and the loss expected over that course."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.hatch.water.readings import standard_of
from qckit.tables import to_utc

__all__ = ["Course", "course_of", "expected_loss", "out_of_range"]

# cause -> (quantity, direction that is bad)
_BORDERS = {
    "cold": ("temperature", -1),
    "hot": ("temperature", 1),
    "salt": ("salinity", 1),
    "fresh": ("salinity", -1),
    "ph": ("ph", -1),
    "oxygen": ("oxygen", -1),
    "dark": ("light", -1),
}
_STEPS = 200


class Course:
    """One quantity over the hours of a hatch, readings joined by straight lines."""

    def __init__(self, hours, values):
        order = np.argsort(hours, kind="stable")
        self.hours, self.values = np.asarray(hours, float)[order], np.asarray(values, float)[order]

    def __len__(self):
        return len(self.hours)

    def on_grid(self, first: float, last: float):
        """Values at evenly spaced hours; before the first reading and after the last they stand still."""
        return np.interp(np.linspace(first, last, _STEPS), self.hours, self.values)


def course_of(readings, hatch: str, quantity: str, started) -> Course:
    """Return the readings (in standard units) of one quantity in one hatch as a course; empty where there are none."""
    if readings is None or started is None or not len(readings):
        return Course([], [])
    values = readings[(readings["hatch"] == hatch) & (readings["quantity"] == quantity) & readings["value"].notna()]
    if values.empty:
        return Course([], [])
    hours = (to_utc(values["taken"]) - pd.Timestamp(started)).dt.total_seconds().to_numpy() / 3600.0
    return Course(hours, values["value"].astype(float).to_numpy())


def out_of_range(course: Course, code: str, conditions) -> tuple[float, float, str]:
    """Hours a course lay beyond the standard, of how many hours read, and the standard in words.

    Parameters
    ----------
    course : Course
    code : str
        A cause that has a standard.
    conditions : ConditionSettings or None

    Returns
    -------
    (float, float, str)
        NaN hours with fewer than two readings or without a standard.
    """
    if conditions is None or code not in _BORDERS or len(course) < 2:
        return math.nan, math.nan, ""
    quantity, sign = _BORDERS[code]
    standard = standard_of(quantity, conditions)
    border = standard.high if sign > 0 else standard.low
    first, last = course.hours[0], course.hours[-1]
    beyond = sign * (course.on_grid(first, last) - border) > 0
    return float(beyond.mean() * (last - first)), float(last - first), f"{'above' if sign > 0 else 'below'} {border:g}"


def expected_loss(loss_at, worst: float, course: Course, code: str, hours: float) -> float:
    """Share of nauplii that a course should cost.

    Parameters
    ----------
    loss_at : callable
        Value(s) -> share lost when a hatch stands at that value throughout.
    worst : float
        Worst value, from the readings or from the field sheet.
    course : Course
    code : str
        The cause.
    hours : float
        Hours from wetting to the count.

    Returns
    -------
    float
        With fewer than two readings the worst value's. Else the mean of the worst value's and of the average over the
        course, for one low reading may have been a moment; heat does its harm in hours and is weighed by the
        geometric mean of the two; of light only the start matters.
    """
    at_worst = float(loss_at(worst))
    if len(course) < 2 or code in ("dark", "early", "overlong", "crowded"):
        return at_worst
    over = float(np.mean(loss_at(course.on_grid(0.0, max(hours, course.hours[-1])))))
    over = min(over, at_worst)
    return math.sqrt(at_worst * over) if code == "hot" else 0.5 * (at_worst + over)
