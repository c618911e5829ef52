"""Shares on the logit scale, where their spread is about the same near 0, in the middle and near 1; and back."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["expit", "logit"]


def logit(share, *, least: float = 0.0):
    """Logarithm of the odds, ln(p / (1 - p)).

    Parameters
    ----------
    share : float or ndarray
        0 to 1. [1]
    least : float
        A share nearer to 0 or 1 than this counts as this far from it; 0 leaves 0 and 1, which are infinitely far out.

    Returns
    -------
    float or ndarray
        NaN stays NaN.
    """
    if isinstance(share, int | float):
        p = min(max(share, least), 1 - least)
        return math.log(p / (1 - p)) if 0 < p < 1 else math.nan if p != p else math.copysign(math.inf, p - 0.5)
    p = np.clip(np.asarray(share, float), least, 1 - least)
    with np.errstate(divide="ignore"):
        return np.log(p / (1 - p))


def expit(log_odds):
    """Share whose log odds these are, 1 / (1 + exp(-x)); the way back from `logit`.

    Parameters
    ----------
    log_odds : float or ndarray

    Returns
    -------
    float or ndarray
        0 to 1; NaN stays NaN. [1]
    """
    if isinstance(log_odds, int | float):
        return 1 / (1 + math.exp(-log_odds)) if log_odds > -700 else math.exp(log_odds)
    with np.errstate(over="ignore"):  # far below 0 the share is 0
        return 1 / (1 + np.exp(-log_odds))
