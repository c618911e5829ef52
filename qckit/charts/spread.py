"""The spread of a baseline's points: moving ranges of two, the plain standard deviation, or that of their days."""

from __future__ import annotations

import math

import numpy as np

from qckit.charts.day_spread import Sharing, Spread, day_spread
from qckit.errors import InputError, unknown_name

__all__ = ["D2_EXACT", "D2_TABLE", "D4_TABLE", "estimate_spread", "moving_range", "moving_range_df"]

D2_TABLE = 1.128
"""Mean range of two standard normal values as printed in tables; used unless asked otherwise."""
D2_EXACT = 2 / math.sqrt(math.pi)
"""The same, unrounded."""
D4_TABLE = 3.267
"""Upper limit of a moving range of two as a multiple of its mean, as printed in tables."""


def moving_range(values):
    """Absolute differences of neighbours; one fewer than the values.

    Parameters
    ----------
    values : array_like of float, shape (n,)

    Returns
    -------
    ndarray of float, shape (n - 1,)

    Examples
    --------
    >>> charts.moving_range([80.0, 82.0, 79.0]).tolist()
    [2.0, 3.0]
    """
    return np.abs(np.diff(np.asarray(values, float)))


def estimate_spread(z, group, spread, d2, where, days=None) -> Spread:
    """Standard deviation of points, and how well it is known.

    Parameters
    ----------
    z, group : ndarray, shape (n,)
        Points, and the group (lot) of each; ranges are not taken across groups.
    spread : str or day_spread.Sharing
        ``moving range``, ``standard deviation``, or what is known of days whose hatches may be alike.
    d2 : float
    where : str
        How messages name the points.
    days : ndarray of int, shape (n,), optional
        Day of each point, where these may be alike.

    Returns
    -------
    Spread

    Raises
    ------
    InputError
        All are alike, no two neighbours share a group, or the spread is unknown.
    """
    n = len(z)
    if isinstance(spread, Sharing) and n > 2 and np.ptp(z) > 0:
        return day_spread(z, days, spread)
    if isinstance(spread, Sharing) or spread == "standard deviation":
        sigma, df = float(np.std(z, ddof=1)), n - 1.0
    elif spread == "moving range":
        ranges = moving_range(z)[group[1:] == group[:-1]]
        if not len(ranges):
            raise InputError("no two neighbouring points share a group, so there is no moving range.", where=where)
        sigma, df = float(np.mean(ranges)) / d2, moving_range_df(len(ranges) + 1)
    else:
        raise unknown_name("spread", spread, ("moving range", "standard deviation"), where=where)
    if not sigma > 0:
        raise InputError(
            f"all {n} points are alike, so there is no spread to set limits from. "
            "Check that the values were not copied down the column.",
            where=where,
        )
    return Spread(sigma=sigma, df=df)


def moving_range_df(n):
    """Degrees of freedom of a chi variable as variable as the mean moving range of n normal values.

    The mean moving range over d2 has the relative variance (0.8264 n - 1) / (n - 1)^2 (Cryer and Ryan 1990, Journal
    of Quality Technology 22:187-192; from memory, and checked by simulation in the tests).
    """
    if n < 3:
        return 1.0
    variance = (0.8264 * n - 1) / (n - 1) ** 2
    from scipy.optimize import brentq
    from scipy.special import gammaln

    def excess(df):
        log_c4 = 0.5 * math.log(2 / df) + gammaln((df + 1) / 2) - gammaln(df / 2)
        return math.exp(-2 * log_c4) - 1 - variance

    return float(brentq(excess, 0.3, 4.0 * n))
