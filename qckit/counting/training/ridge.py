"""Fit sums that are added to logits, held near zeros by a ridge; which ridge, photos left out in turn tell.

What a site's own photos teach (:mod:`qckit.counting.training.rule_fit`) is a few hundred settled objects against the
kit's many thousands: enough to move the kit's judgement, too few to replace it. A strong ridge leaves it where it is.
"""

from __future__ import annotations

import numpy as np

__all__ = ["FEWEST_PHOTOS", "RIDGES", "Examples", "cross_entropy", "fit_left_out", "ridge_path"]

RIDGES = (300.0, 100.0, 30.0, 10.0, 3.0, 1.0)  # strongest first: each fit begins where the one before ended
FEWEST_PHOTOS = 2  # with fewer, none can be left out
STOP = {"maxiter": 200, "ftol": 1e-6}  # nearer to the best nothing changes that a photo left out could tell


class Examples:
    """Rows of arrays that belong together, one set per photo; a dataclass of arrays fills it."""

    @classmethod
    def join(cls, parts):
        """Put those of several photos together."""
        return cls(*(np.concatenate([getattr(p, k) for p in parts]) for k in vars(parts[0])))


def cross_entropy(logits: np.ndarray, target: np.ndarray, weight: np.ndarray) -> float:
    """Weighted cross-entropy of chances of each class (n, k) against logits (n, k)."""
    from scipy.special import log_softmax

    return -float((weight[:, None] * target * log_softmax(logits, axis=1)).sum())


def ridge_path(logits: np.ndarray, x: np.ndarray, target: np.ndarray, weight: np.ndarray, *, ridges=RIDGES):
    """Fit weights of sums to add to logits, for one ridge after another.

    Parameters
    ----------
    logits : (n, k) ndarray
        The kit's own judgement.
    x : (n, d) ndarray
    target : (n, k) ndarray
        Chance of each class.
    weight : (n,) ndarray
    ridges : sequence of float
        Strongest first.

    Yields
    ------
    (k, d) ndarray
        Weights that make the cross-entropy plus half the ridge times their sum of squares smallest.
    """
    from scipy.optimize import minimize
    from scipy.special import log_softmax

    k, target = logits.shape[1], weight[:, None] * target
    total = target.sum(axis=1, keepdims=True)

    def cost(flat, ridge):
        log_p = log_softmax(logits + x @ flat.reshape(k, -1).T, axis=1)
        slope = (total * np.exp(log_p) - target).T @ x
        return -(target * log_p).sum() + 0.5 * ridge * (flat**2).sum(), slope.ravel() + ridge * flat

    flat = np.zeros(k * x.shape[1])
    for ridge in ridges:
        flat = minimize(cost, flat, args=(ridge,), jac=True, method="L-BFGS-B", options=STOP).x
        yield flat.reshape(k, -1)


def fit_left_out(photos: list, *, fits, cost, unchanged):
    """Fit with the ridge under which photos left out in turn come out best.

    Parameters
    ----------
    photos : list
        One item per photo.
    fits : callable
        Of photos and ridges; yields what was fitted to them with each ridge.
    cost : callable
        Of something fitted and one photo.
    unchanged
        What there is without any fit.

    Returns
    -------
    object
        What was fitted to all photos; ``unchanged`` where no ridge did better on photos left out, or there are too few
        to tell.
    """
    if len(photos) < FEWEST_PHOTOS:
        return unchanged
    costs = np.zeros(len(RIDGES))
    for i, out in enumerate(photos):
        costs += [cost(fitted, out) for fitted in fits(photos[:i] + photos[i + 1 :], RIDGES)]
    if costs.min() >= sum(cost(unchanged, p) for p in photos):
        return unchanged
    *_, best = fits(photos, RIDGES[: int(costs.argmin()) + 1])
    return best
