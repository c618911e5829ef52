"""Fits to a site's own settled objects: the ridge's optimum, and a reader's row that is moved only where that helps."""

import numpy as np

from qckit.counting.last_layer import HEAT_PLANE
from qckit.counting.reader import shipped_last_layer
from qckit.counting.training.last_layer_fit import PlaceExamples, fit_heat
from qckit.counting.training.ridge import RIDGES, ridge_path


def test_two_classes_under_a_ridge_are_statsmodels_penalised_logistic_regression():
    """Two rows of weights w, -w cost a ridge twice, so that their difference is one row under half the ridge."""
    from statsmodels.api import GLM, families

    rng = np.random.default_rng(4)
    x = rng.normal(0, 1, (300, 4))
    is_second = rng.random(300) < 1 / (1 + np.exp(-x @ [1.0, -2.0, 0.5, 0.0]))
    target = np.stack([~is_second, is_second], axis=1).astype(float)
    for ridge, rows in zip(RIDGES, ridge_path(np.zeros((300, 2)), x, target, np.ones(300), ridges=RIDGES), strict=True):
        known = GLM(is_second.astype(float), x, family=families.Binomial())
        known = known.fit_regularized(alpha=ridge / 2 / 300, L1_wt=0)
        np.testing.assert_allclose(rows[1] - rows[0], known.params, atol=0.01)


def places(rng, shift):
    """Places in a photo; where an object lies, the network noticed more of some things."""
    is_object = rng.random(80) < 0.5
    noticed = rng.normal(90, 25, (80, 32)) + np.where(is_object[:, None], shift, -shift) * np.linspace(-1, 1, 32)
    target = np.stack([~is_object, is_object], axis=1).astype(float)
    return PlaceExamples(np.clip(noticed, 0, 255).astype(np.uint8), rng.integers(0, 4, 80), target, np.ones(80))


def test_the_reader_is_moved_where_photos_left_out_come_out_better():
    rng, layer = np.random.default_rng(5), shipped_last_layer()
    moved, new = fit_heat(layer, [places(rng, 12.0) for _ in range(4)]), places(rng, 12.0)
    right = [
        ((a.answers(new.noticed, new.corner, HEAT_PLANE)[:, 0] > 0) == (new.target[:, 1] == 1)).mean()
        for a in (layer, moved)
    ]
    assert right[1] > 0.9 > 0.7 > right[0]
    assert fit_heat(layer, [places(rng, 12.0)]) is layer  # none can be left out
    assert fit_heat(layer, []) is layer
