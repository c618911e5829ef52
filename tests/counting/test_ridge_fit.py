"""Fits to a site's own settled objects: the ridge's optimum."""

import numpy as np

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
