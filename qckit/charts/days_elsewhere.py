"""What a room's other hatches say of its days: how much hatches of one day share, and for how long.

A lot opened five days ago cannot show it, and limits that allow for all that five days leave possible see little.
Cones, water and people stay when the lot changes, so the lots before it speak for it, and its own hatches after the
baseline. Each week has a level of its own: a fall in the month moves one of them, and does not hide itself.
"""

from __future__ import annotations

import numpy as np

from qckit.charts.days import day_numbers
from qckit.charts.limits import apply_limits, fit_limits
from qckit.errors import InputError

__all__ = ["day_blocks"]

_BLOCK_DAYS = 7  # days with a level of their own (ours)
_LEAST = 6  # hatches of a lot


def day_blocks(points, charted):
    """Stretches of days, each with a level of its own: lot by lot, the newest first.

    Parameters
    ----------
    points : DataFrame
        From :func:`qckit.charts.series.chart_points`, without what was off the standard.
    charted : series.Charted

    Yields
    ------
    (ndarray of float, ndarray of int)
        Points, in standard deviations of their lot, and the day of each; for
        :func:`qckit.charts.day_spread.learn_sharing`.
    """
    for lot in points.groupby("group")["at"].max().sort_values(ascending=False).index:
        yield from _of_lot(points[points["group"] == lot].reset_index(drop=True), charted)


def _of_lot(points, charted):
    if len(points) < _LEAST:
        return
    try:
        limits = fit_limits(points, charted.kind, spread="standard deviation", per=charted.per, law="leaning")
    except InputError:  # all alike
        return
    z, days = apply_limits(limits, points)["z"].to_numpy(), day_numbers(points["at"])
    z, days = z[np.isfinite(z)], days[np.isfinite(z)]
    block = np.unique(days, return_inverse=True)[1] // _BLOCK_DAYS
    for i in range(block.max(initial=-1), -1, -1):
        yield z[block == i], days[block == i]
