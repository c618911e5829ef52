"""Mixture of cysts and shells: checked on invented objects whose true mixture is known."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from qckit.counting.shells.mixture import USUAL_CYSTS, settle_cysts_and_shells


def drawn(rng, n, cysts, apart=1.5):
    """Which of n objects are cysts, and what a reader who assumes even shares says of them."""
    cyst = rng.random(n) < cysts
    x = rng.normal(np.where(cyst, apart, 0.0), 1)
    odds = np.exp(apart * x - apart**2 / 2)
    p = np.zeros((n, 5))
    p[:, 2], p[:, 3] = odds / (1 + odds), 1 / (1 + odds)
    return cyst, p


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_finds_the_mixture_that_the_objects_were_drawn_from(share):
    cyst, p = drawn(np.random.default_rng(3), 4000, share)
    settled = settle_cysts_and_shells(p, usual=0.5, usual_weight=0)
    assert settled[:, 2].mean() == pytest.approx(cyst.mean(), abs=0.02)
    if share != 0.5:
        assert ((settled[:, 2] > settled[:, 3]) == cyst).mean() > ((p[:, 2] > p[:, 3]) == cyst).mean()


def test_agrees_with_the_likelihood_maximised_by_a_general_library():
    from scipy.optimize import minimize_scalar

    _, p = drawn(np.random.default_rng(4), 500, 0.2)
    best = minimize_scalar(
        lambda s: -np.log(2 * (p[:, 2] * s + p[:, 3] * (1 - s))).sum(), bounds=(0, 1), method="bounded"
    )
    assert settle_cysts_and_shells(p, usual=0.5, usual_weight=0)[:, 2].mean() == pytest.approx(best.x, abs=0.005)


def test_leaves_alone_what_is_sure_and_everything_but_the_two():
    p = np.array([[0.0, 0.0, 0.6, 0.4, 0.0], [1.0, 0, 0, 0, 0], [0.2, 0.1, 0.3, 0.3, 0.1], [0, 0, 1.0, 0, 0]])
    settled = settle_cysts_and_shells(p)
    assert settled[0] == pytest.approx(p[0], abs=0.05)  # few objects stay near the usual mixture
    assert settled[[1, 3]] == pytest.approx(p[[1, 3]])
    assert settled[:, [0, 1, 4]] == pytest.approx(p[:, [0, 1, 4]])
    assert settled.sum(axis=1) == pytest.approx(1)
    assert settle_cysts_and_shells(np.zeros((0, 5))).shape == (0, 5)


def test_the_usual_share_is_that_of_the_labelled_photos():
    truth = pd.read_csv(Path(__file__).parents[1] / "photos" / "truth.csv")
    seen = truth[(truth.visible_fraction >= 0.35) & truth.stage.isin(["cyst", "shell"])]
    assert len(seen) == 2630
    assert (seen.stage == "cyst").mean() == pytest.approx(USUAL_CYSTS, abs=0.005)
