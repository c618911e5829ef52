"""Chances and their logits, by plain arrays: a library for it costs every count more to load than to run."""

from __future__ import annotations

import numpy as np

__all__ = ["chance_of", "logit_of", "shares_of"]


def chance_of(logit: np.ndarray) -> np.ndarray:
    """The chance of which that is the logit.

    Parameters
    ----------
    logit : ndarray

    Returns
    -------
    ndarray
        0 to 1.
    """
    with np.errstate(over="ignore"):  # a chance of nothing
        return 1 / (1 + np.exp(-logit))


def logit_of(chance: np.ndarray) -> np.ndarray:
    """The logarithm of the odds; ``chance`` lies between 0 and 1 and is neither."""
    return np.log(chance / (1 - chance))


def shares_of(logits: np.ndarray) -> np.ndarray:
    """Chances of answers that exclude each other, (n, answers), which add up to 1 in each row."""
    odds = np.exp(logits - logits.max(axis=1, keepdims=True))
    return odds / odds.sum(axis=1, keepdims=True)
