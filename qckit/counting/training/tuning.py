"""Bring the stage model closer to one camera's own photos, from objects that a person has settled.

The networks that come with the kit go on learning from the site's objects, and are held near where they were by a
penalty on how far their weights move (Li, Grandvalet and Davoine 2018, ICML: L2-SP). So a few hundred objects are
enough, and what the networks know of other looks is not lost.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from qckit.counting.stages import ANSWERS, CLASSES, StageModel, load_stage_model
from qckit.counting.training.fitting import _gradients

__all__ = ["tune_stage_model", "tune_stage_models"]

PULL = 0.02  # penalty on the squared moves of all weights, beside the mean cross-entropy
_ROUNDS = 300
_RATE = 3e-3


def tune_stage_model(model: StageModel, features, answers, *, pull: float = PULL) -> StageModel:
    """Let a model go on learning from settled objects, held near where it was.

    Parameters
    ----------
    model : StageModel
    features : (m, len(FEATURES)) ndarray
    answers : (m,) ndarray of int
        Index into ``ANSWERS``.
    pull : float
        How strongly the weights are held; 0 not at all.

    Returns
    -------
    StageModel
        Same features and standardising; the same input gives the same model.
    """
    x = model.standardise(np.asarray(features, float)).astype(np.float32)
    target = np.eye(len(ANSWERS), dtype=np.float32)[np.asarray(answers, int)]
    layers = tuple(_tune_one(layer, x, target, pull, model.temperature) for layer in model.layers)
    return replace(model, layers=layers)


def _tune_one(layers, x, target, pull, temperature):
    """One network by Adam over all objects at once, with a falling rate."""
    start = [np.asarray(p, np.float32) for p in layers]
    # the temperature divides the answers of use; it is part of the last layer while learning
    start[4], start[5] = start[4] / np.float32(temperature), start[5] / np.float32(temperature)
    params = [p.copy() for p in start]
    first, second = [np.zeros_like(p) for p in params], [np.zeros_like(p) for p in params]
    for step in range(1, _ROUNDS + 1):
        rate = np.float32(_RATE * 0.5 * (1 + np.cos(np.pi * step / _ROUNDS)))
        for i, g in enumerate(_gradients(params, x, target)):
            g = g + np.float32(2 * pull) * (params[i] - start[i])
            first[i] += 0.1 * (g - first[i])
            second[i] += 0.001 * (g * g - second[i])
            params[i] -= rate * (first[i] / (1 - 0.9**step)) / (np.sqrt(second[i] / (1 - 0.999**step)) + 1e-8)
    params[4], params[5] = params[4] * np.float32(temperature), params[5] * np.float32(temperature)
    return tuple(p.astype(np.float64) for p in params)


def tune_stage_models(examples, *, pull: float = PULL) -> dict[str, StageModel]:
    """Tune the models for colour and for grey cameras.

    Parameters
    ----------
    examples : sequence of (features, answers, is_grey)
        One per photo: features of its settled objects, index into ``ANSWERS`` of each, whether the photo is grey.
    pull : float
        See :func:`tune_stage_model`.

    Returns
    -------
    dict of str to StageModel
        ``colour`` (tuned on colour photos only) and ``grey`` (on all); one without any photo stays as it comes with
        the kit. Photos with five settled objects or more join those the kit knows the look of.
    """
    models = dict(load_stage_model())
    for kind in models:
        mine = [(f, a) for f, a, is_grey in examples if len(a) and (kind == "grey" or not is_grey)]
        if not mine:
            continue
        features, answers = (np.concatenate(parts) for parts in zip(*mine))
        model = tune_stage_model(models[kind], features, answers, pull=pull)
        looks = [
            np.median(model.standardise(f[a < CLASSES.index("debris")]), axis=0)
            for f, a in mine
            if (a < CLASSES.index("debris")).sum() >= 5
        ]
        if looks and model.looks is not None:
            model = replace(model, looks=np.concatenate([model.looks, looks]))
        models[kind] = model
    return models
