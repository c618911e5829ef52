"""Days of hatches: their numbers, and how many independent ones they are worth."""

from __future__ import annotations

import numpy as np

__all__ = ["day_numbers", "effective_days"]


def day_numbers(at) -> np.ndarray:
    """Days since the first, as whole numbers, of a Series of time stamps."""
    day = at.dt.floor("D")
    return ((day - day.min()).dt.total_seconds() / 86400).round().to_numpy(dtype=int)


def effective_days(days, correlation) -> float:
    """Independent days that tell a spread as well as these do: correlations of squares are the squared ones.

    Parameters
    ----------
    days : ndarray of int, shape (n,)
        Days with a hatch.
    correlation : float
        Correlation from one day to the next.
    """
    at = np.zeros(int(np.ptp(days)) + 1)
    at[days - days.min()] = 1.0
    share, pairs, lag = correlation**2, float(len(days)), 1
    while lag < len(at) and share**lag > 1e-18:  # pairs of days so far apart, each of them twice
        pairs += 2 * share**lag * float(at[lag:] @ at[:-lag])
        lag += 1
    return len(days) ** 2 / pairs
