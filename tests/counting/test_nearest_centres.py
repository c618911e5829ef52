"""The centres nearest to many places: those that each centre held against each place gives, for any number of them."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from qckit.counting.nearby import Centres
from qckit.counting.seeded import _nearest_two


@pytest.mark.parametrize("k", [1, 2, 3])
@pytest.mark.parametrize("n", [1, 2, 3, 40, 400])
def test_nearest_centres(rng, n, k):
    centres = rng.random((n, 2)) * [900, 1500]
    at = np.concatenate(
        [rng.random((500, 2)) * [1000, 1700] - 50, centres[rng.integers(n, size=500)] + rng.normal(size=(500, 2))]
    )
    far, index = Centres(centres).query(at, k)
    every = np.hypot(*(at[:, None] - centres).transpose(2, 0, 1))
    order = np.argsort(every, axis=1, kind="stable")[:, :k]
    np.testing.assert_array_equal(index[:, :n], order)
    np.testing.assert_allclose(far[:, :n], np.take_along_axis(every, order, axis=1), rtol=1e-12)
    assert (index[:, n:] == n).all() and np.isinf(far[:, n:]).all()
    np.testing.assert_array_equal(far[:, :n], cKDTree(centres).query(at, min(k, n))[0].reshape(len(at), -1))


def test_of_centres_equally_near_the_first_comes_first():
    at = np.array([[5.0, 5.0], [100.0, 100.0]])
    centres = np.array([[5.0, 8.0], [8.0, 5.0], [2.0, 5.0], [2.0, 5.0]])
    far, index = Centres(centres).query(at, 3)
    assert index[0].tolist() == [0, 1, 2] and far[0].tolist() == [3.0, 3.0, 3.0]


def test_no_places_and_no_centres():
    assert Centres(np.zeros((0, 2))).query(np.ones((2, 2)), 2)[1].tolist() == [[0, 0], [0, 0]]
    assert Centres(np.ones((3, 2))).query(np.zeros((0, 2)), 2)[0].shape == (0, 2)


@pytest.mark.parametrize("n", [1, 2, 40])
def test_aims_asked_together(rng, n):
    """Aims of one place are asked as one, and yet each has the centre that is nearest to it."""
    centres = rng.random((n, 2)) * [300, 400]
    aim = centres[rng.integers(n, size=3000)] + rng.normal(scale=6, size=(3000, 2))
    found = _nearest_two(Centres(centres), aim, 2.0, (300, 400))
    inside = ((aim > 0) & (aim < [300, 400])).all(axis=1)
    nearest = cKDTree(centres).query(aim)[1]
    np.testing.assert_array_equal(found[inside, 0], nearest[inside])
    assert found.shape == (3000, min(n, 2))
