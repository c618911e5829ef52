"""Charts with a memory, for small lasting shifts: EWMA and tabular CUSUM."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.errors import InputError

__all__ = ["CUSUM_COLUMNS", "EWMA_COLUMNS", "cusum_chart", "ewma_chart"]

EWMA_COLUMNS = ("point", "value", "ewma", "centre", "low", "high", "signal")
CUSUM_COLUMNS = ("point", "value", "high_sum", "low_sum", "total", "decision", "signal")


def ewma_chart(values, *, centre, sigma, weight=0.2, width=3.0, steady=False):
    """Exponentially weighted moving average of points.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Points; NaN leaves the average and its limits where they were.
    centre, sigma : float
        Level and standard deviation of a single point, from a baseline.
    weight : float
        Weight of the newest point, above 0 and at most 1. Nearer 0 remembers longer; 1 is the plain chart.
    width : float
        Limits in standard deviations of the average.
    steady : bool
        Use the limits of a long series from the start, instead of those that begin narrow.

    Returns
    -------
    DataFrame, shape (n, len(EWMA_COLUMNS))
        ``signal`` is +1 or -1 beyond a limit, else 0.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.2.4; Lucas and Saccucci 1990, Technometrics 32:1-12.

    Examples
    --------
    >>> chart = charts.ewma_chart([80, 82, 79, 78, 76, 75, 74], centre=80, sigma=2)
    >>> len(chart)
    7
    """
    if not 0 < weight <= 1:
        raise InputError(f"weight is {weight:g} and must lie above 0 and at most 1, such as 0.2. Correct it.")
    _check_sigma(sigma)
    x = np.asarray(values, float)
    z, last = np.empty(len(x)), float(centre)
    for i, value in enumerate(x):
        last = last if np.isnan(value) else weight * value + (1 - weight) * last
        z[i] = last
    t = np.cumsum(~np.isnan(x))  # a missing point makes the average no less sure either
    grown = 1.0 if steady else 1 - (1 - weight) ** (2 * t)
    half = width * sigma * np.sqrt(weight / (2 - weight) * grown) * np.ones(len(x))
    low, high = centre - half, centre + half
    signal = np.where(z > high + 1e-12, 1, np.where(z < low - 1e-12, -1, 0))
    return pd.DataFrame(
        {
            "point": np.arange(1, len(x) + 1),
            "value": x,
            "ewma": z,
            "centre": float(centre),
            "low": low,
            "high": high,
            "signal": signal,
        }
    )


def cusum_chart(values, *, target, slack, decision):
    """Tabular CUSUM, both sides.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Points; NaN leaves the sums where they were.
    target : float
        Level wanted.
    slack : float
        Deviation that is let pass, usually half the shift to be found, in the unit of the values.
    decision : float
        Height at which a sum signals, in the unit of the values.

    Returns
    -------
    DataFrame, shape (n, len(CUSUM_COLUMNS))
        ``total`` is the plain running sum of deviations.

    References
    ----------
    Page 1954, Biometrika 41:100-115; NIST/SEMATECH e-Handbook, 6.3.2.3.

    Examples
    --------
    >>> chart = charts.cusum_chart([80, 82, 79, 78, 76, 75, 74], target=80, slack=1, decision=8)
    >>> chart.columns.tolist()
    ['point', 'value', 'high_sum', 'low_sum', 'total', 'decision', 'signal']
    """
    if slack < 0 or decision <= 0:
        raise InputError(
            f"slack is {slack:g} and decision is {decision:g}: slack cannot be negative and decision must be above 0."
        )
    x = np.asarray(values, float)
    deviation = np.nan_to_num(x - target)
    high, low = np.empty(len(x)), np.empty(len(x))
    up = down = 0.0
    for i, d in enumerate(deviation):
        if not np.isnan(x[i]):
            up, down = max(0.0, up + d - slack), max(0.0, down - d - slack)
        high[i], low[i] = up, down
    signal = np.where(high > decision, 1, np.where(low > decision, -1, 0))
    return pd.DataFrame(
        {
            "point": np.arange(1, len(x) + 1),
            "value": x,
            "high_sum": high,
            "low_sum": low,
            "total": np.cumsum(deviation),
            "decision": float(decision),
            "signal": signal,
        }
    )


def _check_sigma(sigma):
    if not sigma > 0:
        raise InputError(f"sigma is {sigma:g} and must be above 0. Take it from a baseline with some spread.")
