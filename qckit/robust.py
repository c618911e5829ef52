"""Spread that a few wild values do not move."""

from __future__ import annotations

__all__ = ["SD_PER_MAD", "robust_sd"]

SD_PER_MAD = 1.4826
"""Standard deviation of normal values over the median of their absolute deviations, 1 / 0.6745.

Rousseeuw and Croux 1993, Journal of the American Statistical Association 88:1273 (from memory).
"""


def robust_sd(values, centre: float = 0.0) -> float:
    """Estimate a standard deviation from the median absolute deviation.

    Parameters
    ----------
    values : (n,) ndarray
    centre : float
        What they deviate from, such as their median; 0 for residuals.

    Returns
    -------
    float
        In the unit of the values; 0 where more than half of them lie at the centre.
    """
    import numpy as np

    return SD_PER_MAD * float(np.median(np.abs(values - centre)))
