"""Fit where the reader sees objects to those that a person has settled.

What the network noticed at a place (32 numbers) is turned into the chance of an object by one row of its last layer,
which is moved, and no further than photos left out in turn bear out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.last_layer import HEAT_PLANE, LastLayer
from qckit.counting.training.ridge import Examples, cross_entropy, fit_left_out, ridge_path

__all__ = ["PlaceExamples", "fit_heat"]

LEAST_SPREAD = 2.0  # code values: what hardly varies among the objects is not to be blown up


@dataclass(frozen=True)
class PlaceExamples(Examples):
    """What was noticed at places, and what is there.

    Attributes
    ----------
    noticed : (n, 32) ndarray of uint8
    corner : (n,) ndarray of int
    target : (n, 2) ndarray
        Chance of nothing and of an object: 1 for what a person settled; the reader's own where it is only to be held.
    weight : (n,) ndarray
    """

    noticed: np.ndarray
    corner: np.ndarray
    target: np.ndarray
    weight: np.ndarray


def fit_heat(layer: LastLayer, photos: list[PlaceExamples]) -> LastLayer:
    """Move the row that says where objects lie.

    Parameters
    ----------
    layer : LastLayer
    photos : list of PlaceExamples
        One per photo.

    Returns
    -------
    LastLayer
        The same one where photos left out in turn come out no better by any other, or there are too few to tell.
    """
    photos = [p for p in photos if len(p.weight)]
    return fit_left_out(photos, fits=lambda some, ridges: _moved(layer, some, ridges), cost=_cost, unchanged=layer)


def _moved(layer: LastLayer, photos: list[PlaceExamples], ridges):
    examples = PlaceExamples.join(photos)
    mean, spread = examples.noticed.mean(axis=0), np.maximum(examples.noticed.std(axis=0), LEAST_SPREAD)
    x = np.concatenate([np.ones((len(examples.weight), 1)), (examples.noticed - mean) / spread], axis=1)
    logits = _logits(layer, examples)
    for ridge in ridges:  # each from zeros: of answers stopped early, those nearer to the kit's own
        (rows,) = ridge_path(logits, x, examples.target, examples.weight, ridges=(ridge,))
        added = rows[1:] - rows[:1]
        weights = added[:, 1:] / spread
        yield layer.moved(HEAT_PLANE, weights, added[:, 0] - weights @ mean)


def _logits(layer: LastLayer, examples: PlaceExamples) -> np.ndarray:
    """Of nothing, which is the zero of the scale, and of an object."""
    logit = layer.answers(examples.noticed, examples.corner, HEAT_PLANE)
    return np.concatenate([np.zeros_like(logit), logit], axis=1)


def _cost(layer: LastLayer, photo: PlaceExamples) -> float:
    return cross_entropy(_logits(layer, photo), photo.target, photo.weight)
