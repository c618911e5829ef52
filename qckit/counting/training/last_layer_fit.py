"""Fit the reader's last layer to objects that a person has settled.

What the network noticed at an object (32 numbers) is turned into its stage by a layer of five rows. A few hundred
objects are too few to learn such a layer anew, and enough to move it: the sum of cross-entropies plus a penalty on how
far it moves (ridge, on noticed numbers brought to spread 1). The penalty is chosen by leaving out one photo at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.last_layer import HEAT_PLANE, STAGE_PLANES, LastLayer

__all__ = ["PlaceExamples", "choose_pull", "fit_heat", "fit_stages"]

PULLS = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0, np.inf)  # the last moves nothing
HEAT_PULL = 10.0
FEWEST_HEAT = 5  # places where the reader missed something or saw what is none
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

    return minimize(cost, np.zeros(k * x.shape[1]), jac=True, method="L-BFGS-B").x.reshape(k, -1)


def _unscaled(rows: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    weights = rows[:, 1:] / spread
    return weights, rows[:, 0] - weights @ mean


def fit_stages(layer: LastLayer, examples: PlaceExamples, pull: float) -> LastLayer:
    """Move the rows of the stages.

    Parameters
    ----------
    layer : LastLayer
        To start from.
    examples : PlaceExamples
        Five answers.
    pull : float
        Penalty on the squares of what is added; infinity leaves the layer as it is.

    Returns
    -------
    LastLayer
    """
    if not np.isfinite(pull) or not len(examples.weight):
        return layer
    mean, spread = _spread(examples.noticed)
    logits = layer.answers(examples.noticed, examples.corner, STAGE_PLANES)
    rows = _ridge(logits, (examples.noticed - mean) / spread, examples.target, examples.weight, pull)
    return layer.moved(STAGE_PLANES, *_unscaled(rows, mean, spread))


def fit_heat(layer: LastLayer, examples: PlaceExamples) -> LastLayer:
    """Move the row that says where objects lie, if the reader missed or invented enough to learn from.

    Parameters
    ----------
    layer : LastLayer
    examples : PlaceExamples
        Two answers: nothing, an object.

    Returns
    -------
    LastLayer
    """
    logit = layer.answers(examples.noticed, examples.corner, HEAT_PLANE)
    wrong = (examples.weight == 1) & ((logit[:, 0] > 0) != (examples.target[:, 1] > 0.5))
    if wrong.sum() < FEWEST_HEAT:
        return layer
    mean, spread = _spread(examples.noticed)
    logits = np.concatenate([np.zeros_like(logit), logit], axis=1)
    rows = _ridge(logits, (examples.noticed - mean) / spread, examples.target, examples.weight, HEAT_PULL)
    return layer.moved(HEAT_PLANE, *_unscaled(rows[1:] - rows[:1], mean, spread))


def choose_pull(layer: LastLayer, photos: list[PlaceExamples]) -> float:
    """The penalty with which photos left out in turn are told best.

    Parameters
    ----------
    layer : LastLayer
    photos : list of PlaceExamples
        One per photo; with fewer than two nothing can be left out, and the strongest finite penalty is taken.

    Returns
    -------
    float
    """
    from scipy.special import log_softmax

    if len(photos) < 2:
        return PULLS[-2]
    cost = np.zeros(len(PULLS))
    for i, out in enumerate(photos):
        settled = out.weight == 1
        if not settled.any():
            continue
        rest = PlaceExamples.join([p for j, p in enumerate(photos) if j != i])
        for k, pull in enumerate(PULLS):
            tried = fit_stages(layer, rest, pull)
            log_p = log_softmax(tried.answers(out.noticed[settled], out.corner[settled], STAGE_PLANES), axis=1)
            cost[k] -= (out.target[settled] * log_p).sum()
    return PULLS[int(np.argmin(cost))]
