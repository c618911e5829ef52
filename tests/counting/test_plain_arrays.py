"""What a count works out by plain arrays, so that no library is loaded for it, is what the library works out."""

import numpy as np
import pytest
from scipy import ndimage, special
from scipy.spatial import cKDTree

from qckit.counting.light import _box_mean
from qckit.counting.nearby import pairs_within
from qckit.counting.odds import chance_of, logit_of, shares_of
from qckit.counting.runs import runs_of


@pytest.mark.parametrize(("n", "reach"), [(0, 5.0), (1, 5.0), (400, 0.5), (400, 40.0)])
def test_pairs_within_reach(rng, n, reach):
    places = rng.integers(0, 500, (n, 2)).astype(float)  # some pairs lie at the very reach
    expected = cKDTree(places).query_pairs(reach) if n else set()
    found = pairs_within(places, reach)
    assert {(min(p), max(p)) for p in found.tolist()} == expected
    assert len(found) == len(expected)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.6, 0.9, 1.0])
@pytest.mark.parametrize("shape", [(1, 40), (40, 1), (60, 90)])
def test_patches_of_a_mask(rng, share, shape):
    mask = rng.random(shape) < share
    runs = runs_of(mask)
    labels, n = ndimage.label(mask)
    assert runs.n_patches == n
    found = np.zeros(mask.size, int)
    flat, run = runs.pixels(np.arange(len(runs.starts)))
    found[flat] = runs.patch[run]
    assert (found.reshape(shape) == labels).all()  # both number patches by their first pixels


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (2, 3), (61, 82)])
def test_means_of_blocks(rng, shape):
    plane = rng.normal(500, 30, shape).astype(np.float32)
    assert (_box_mean(plane) == ndimage.uniform_filter(plane, 5, mode="nearest")).all()


def test_chances_and_logits(rng):
    logits = np.concatenate([rng.normal(0, 20, 1000), [-1e5, -800.0, 0.0, 800.0, 1e5]])
    np.testing.assert_allclose(chance_of(logits), special.expit(logits), rtol=1e-14, atol=0)
    chances = rng.uniform(1e-4, 1 - 1e-4, 1000)
    np.testing.assert_allclose(logit_of(chances), special.logit(chances), rtol=1e-12, atol=1e-15)
    answers = rng.normal(0, 300, (200, 5))
    np.testing.assert_allclose(shares_of(answers), special.softmax(answers, axis=1), rtol=1e-14, atol=0)
