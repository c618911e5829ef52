"""Fit where the reader sees objects to those that a person has settled.

What the network noticed at a place (32 numbers) is turned into the chance of an object by one row of its last layer. A
few hundred objects are too few to learn it anew, and enough to move it: the sum of cross-entropies plus a penalty on
how far it moves (ridge, on noticed numbers brought to spread 1). The penalty is chosen by leaving out one photo at a
time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.last_layer import HEAT_PLANE, LastLayer

__all__ = ["PlaceExamples", "fit_heat"]

PULLS = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
FEWEST_PHOTOS = 2  # with fewer, none can be left out
STOP = {"maxiter": 200, "ftol": 1e-6}  # nearer to the best nothing changes that a photo left out could tell
LEAST_SPREAD = 2.0  # code values: what hardly varies among the objects is not to be blown up


@dataclass(frozen=True)
class PlaceExamples:
    """What was noticed at places, and what is there.

    Attributes
    ----------
    noticed : (n, 32) ndarray of uint8
    corner : (n,) ndarray of int
    target : (n, k) ndarray
        Chance of each answer: 1 for what a person said; what the reader said itself where it is only to be held.
    weight : (n,) ndarray
    """

    noticed: np.ndarray
    corner: np.ndarray
    target: np.ndarray
    weight: np.ndarray

    @classmethod
    def join(cls, parts) -> PlaceExamples:
        """Put those of several photos together."""
        return cls(*(np.concatenate([getattr(p, k) for p in parts]) for k in vars(parts[0])))


def _spread(noticed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return noticed.mean(axis=0), np.maximum(noticed.std(axis=0), LEAST_SPREAD)


def _ridge(logits, z, target, weight, pull):
    """Rows to add for standardised numbers ``z``: (k, 1 + c), the first column for the offset."""
    from scipy.optimize import minimize
    from scipy.special import log_softmax

    k = logits.shape[1]
    x = np.concatenate([np.ones((len(z), 1)), z], axis=1)

    def cost(flat):
        rows = flat.reshape(k, -1)
        log_p = log_softmax(logits + x @ rows.T, axis=1)
        value = -(weight[:, None] * target * log_p).sum() + 0.5 * pull * (flat**2).sum()
        slope = (weight[:, None] * (np.exp(log_p) * target.sum(axis=1, keepdims=True) - target)).T @ x
        return value, slope.ravel() + pull * flat

    return minimize(cost, np.zeros(k * x.shape[1]), jac=True, method="L-BFGS-B", options=STOP).x.reshape(k, -1)


def _unscaled(rows: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    weights = rows[:, 1:] / spread
    return weights, rows[:, 0] - weights @ mean


def fit_heat(layer: LastLayer, photos: list[PlaceExamples]) -> LastLayer:
    """Move the row that says where objects lie.

    Parameters
    ----------
    layer : LastLayer
    photos : list of PlaceExamples
        One per photo; two answers: nothing, an object.

    Returns
    -------
    LastLayer
        The same one where photos left out in turn come out no better by any other, or there are too few to tell.
    """
    photos = [p for p in photos if len(p.weight)]
    if len(photos) < FEWEST_PHOTOS:
        return layer
    costs = np.zeros(len(PULLS))
    for i, out in enumerate(photos):
        rest = PlaceExamples.join([p for j, p in enumerate(photos) if j != i])
        costs += [_cost(_moved(layer, rest, pull), out) for pull in PULLS]
    if costs.min() >= sum(_cost(layer, p) for p in photos):
        return layer
    return _moved(layer, PlaceExamples.join(photos), PULLS[int(costs.argmin())])


def _moved(layer: LastLayer, examples: PlaceExamples, pull: float) -> LastLayer:
    mean, spread = _spread(examples.noticed)
    logit = layer.answers(examples.noticed, examples.corner, HEAT_PLANE)
    logits = np.concatenate([np.zeros_like(logit), logit], axis=1)
    rows = _ridge(logits, (examples.noticed - mean) / spread, examples.target, examples.weight, pull)
    return layer.moved(HEAT_PLANE, *_unscaled(rows[1:] - rows[:1], mean, spread))


def _cost(layer: LastLayer, out: PlaceExamples) -> float:
    """Cross-entropy of the places of a photo left out."""
    logit = layer.answers(out.noticed, out.corner, HEAT_PLANE)[:, 0]
    return float((out.weight * (np.logaddexp(0, logit) - out.target[:, 1] * logit)).sum())
