"""Spread of points whose days have something in common and remember the day before.

Forty hatches of ten days are ten witnesses, not forty, and fewer where a day resembles the one before. How much days
share, and how long they remember, ten days hardly tell: the likeliest values taken as known make limits too narrow. So
limits rest on all values, each with the weight that the points give it, and the room's other hatches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

__all__ = ["NOTHING_LEARNED", "Sharing", "Spread", "day_spread", "learn_sharing"]

_SHARES = np.array([0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95])  # of the variance, the day's
_MEMORIES = np.array([0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9])  # correlation of a day with the next
_INDEPENDENT = 0.5  # chance, before the points are looked at, that days have nothing in common (ours)
_MOST_DAYS = 150  # older days of a long baseline tell of the level, hardly more of the spread
_TAIL = 0.00135  # chance in one tail of limits at three standard deviations
_LIKE_THE_OTHERS = 0.95  # chance, before it is looked at, that a baseline shares days as the other hatches do (ours)


@dataclass(frozen=True)
class Spread:
    """Standard deviation of a point, how well it is known, and how well the mean is."""

    sigma: float
    df: float
    independent: float = 0.0  # points that would tell the mean as well if they were independent; 0: all
    alike: float = 0.0  # chance that hatches of a day, or of days that follow, have something in common


def _prior():
    """Weight of each share and memory of the grid before any point is looked at, shape (n_memories * n_shares,)."""
    weight = np.outer(1 - _MEMORIES, _SHARES > 0)
    weight *= (1 - _INDEPENDENT) / weight.sum()
    weight[0, 0] = _INDEPENDENT
    return weight.ravel()


@dataclass(frozen=True)
class Sharing:
    """What is known of how much days share and remember before a baseline is looked at."""

    weight: np.ndarray = field(default_factory=_prior, repr=False)  # of each share and memory of the grid
    n_days: int = 0  # days it was learnt from


NOTHING_LEARNED = Sharing()


def learn_sharing(blocks) -> Sharing:
    """What other hatches of the room say of how much days share and remember.

    Parameters
    ----------
    blocks : iterable of (ndarray of float, ndarray of int)
        Points and their days, of stretches with a level and a spread of their own each, the newest first. Those after
        the first 150 days are not read.

    Returns
    -------
    Sharing

    Notes
    -----
    The restricted likelihoods of all blocks are multiplied. As a baseline may differ from the rest, the weights are
    mixed with those of nothing known, which take over where its own points clearly speak against the others (a robust
    prior from earlier data: Schmidli et al. 2014, Biometrics 70:1023-1032; from memory).
    """
    log_weight, n_days = 0.0, 0
    for z, days in blocks:
        fresh = len(np.unique(days))
        if n_days + fresh > _MOST_DAYS:
            break
        if len(z) > 2 and fresh > 1 and np.ptp(z) > 0:
            log_weight = log_weight + _grid(np.asarray(z, float), np.asarray(days))[0]
            n_days += fresh
    if not n_days:
        return NOTHING_LEARNED
    weight = _prior() * np.exp(log_weight - log_weight.max())
    mixed = _LIKE_THE_OTHERS * weight / weight.sum() + (1 - _LIKE_THE_OTHERS) * _prior()
    return Sharing(weight=mixed, n_days=n_days)


def day_spread(z, days, sharing=NOTHING_LEARNED) -> Spread:
    """Spread of one further point of some later day, with what the days leave unsure.

    Parameters
    ----------
    z : ndarray of float, shape (n,)
        Points, three or more, not all alike.
    days : ndarray of int, shape (n,)
        Day of each.
    sharing : Sharing
        What the room's other hatches say of days (:func:`learn_sharing`).

    Returns
    -------
    Spread
        ``sigma``, ``df`` and ``independent`` are those of the Student law with the tail of the predictive law.

    Notes
    -----
    A point is a level, its day's own part (first-order autoregressive from day to day) and its own luck. For each share
    and memory on a grid the level has a flat prior and the variance Jeffreys', so that a further point follows
    Student's law, and the restricted likelihood weighs the grid (Harville 1974, Biometrika 61:383-385; averages over
    models: Hoeting et al. 1999, Statistical Science 14:382-401; both from memory). Before that, half of the weight is
    on days that have nothing in common; of the rest all shares weigh alike, and a memory the less the longer it is.
    """
    from scipy.optimize import brentq
    from scipy.special import stdtr, stdtrit

    log_weight, variance, of_mean, n = _grid(np.asarray(z, float), np.asarray(days))
    weight = sharing.weight * np.exp(log_weight - log_weight.max())
    weight = weight / weight.sum()
    # of days with one hatch each the share does not matter unless it lasts
    independent_weight = weight[: len(_SHARES)].sum() if len(np.unique(days)) == n else weight[0]
    reach = np.sqrt(variance * (1 + of_mean))
    free = n - 1.0

    def tail(log_x):
        return math.log(float(weight @ stdtr(free, -math.exp(log_x) / reach)) / _TAIL)

    t = -float(stdtrit(free, _TAIL))
    far = math.exp(brentq(tail, math.log(t * reach.min()) - 0.01, math.log(t * reach.max()) + 0.01))
    total = float(weight @ variance)
    independent = total / float(weight @ (variance * of_mean))
    quantile = far / math.sqrt(total * (1 + 1 / independent))

    def excess(log_df):
        return -float(stdtrit(math.exp(log_df), _TAIL)) - quantile

    ends = (math.log(1.0), math.log(1e4))
    df = 1e4 if excess(ends[1]) >= 0 else 1.0 if excess(ends[0]) <= 0 else math.exp(brentq(excess, *ends))
    log_c4 = 0.5 * math.log(2 / df) + math.lgamma((df + 1) / 2) - math.lgamma(df / 2)
    return Spread(
        sigma=math.sqrt(total) / math.exp(log_c4), df=df, independent=independent, alike=1 - float(independent_weight)
    )


def _grid(z, days):
    """Log weight, variance of a point and that of the mean (in those of a point), for each share and memory."""
    day, which, size = np.unique(days, return_inverse=True, return_counts=True)
    recent = which >= len(day) - _MOST_DAYS
    z, which, day, size = z[recent], which[recent] - which[recent].min(), day[-_MOST_DAYS:], size[-_MOST_DAYS:]
    n, k = len(z), len(day)
    mean = np.bincount(which, weights=z) / size
    within = float(np.sum((z - mean[which]) ** 2))
    alike = _MEMORIES[:, None, None, None] ** np.abs(day[:, None] - day)  # of a day with itself 0**0, which is 1
    cov = _SHARES[:, None, None] * alike + (1 - _SHARES)[:, None, None] * np.diag(1 / size)
    cov = cov.reshape(-1, k, k)
    chol = np.linalg.cholesky(cov)
    y = np.broadcast_to(np.column_stack([mean - z.mean(), np.ones(k)]), (len(cov), k, 2))
    a, one = np.moveaxis(np.linalg.solve(chol, y), 2, 0)
    precision = np.sum(one * one, axis=1)
    luck = np.tile(1 - _SHARES, len(_MEMORIES))  # the hatch's part of the variance
    squares = np.sum(a * a, axis=1) - np.sum(one * a, axis=1) ** 2 / precision + within / luck
    log_weight = (
        -np.sum(np.log(np.diagonal(chol, axis1=1, axis2=2)), axis=1)
        - (n - k) / 2 * np.log(luck)
        - np.log(precision) / 2
        - (n - 1) / 2 * np.log(squares)
    )
    part = size / n
    return log_weight, squares / (n - 1), cov @ part @ part, n
