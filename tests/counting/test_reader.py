"""The reader's network: strips, planes and places agree, and the sums of its last layer are exact."""

import numpy as np
import pytest

from qckit.counting import reader
from qckit.photo import read_photo

PLANES = tuple(range(9))


@pytest.fixture(scope="module")
def picture(request):
    photos = request.config.rootpath / "tests" / "photos" / "photos"
    return read_photo(photos / "sieve-03.jpg").pixels[:1200, :203]


def test_strips_answer_as_the_whole_photo_does(picture, monkeypatch):
    """Each strip sees as far beyond its rows as the network looks, or answers near the seams would differ."""
    whole = reader._strips(picture)
    monkeypatch.setattr(reader, "STRIP_PX", 256 * 208)
    strips = reader._strips(picture)
    assert len(whole) == 1 and len(strips) > 3
    np.testing.assert_array_equal(np.concatenate(strips, axis=1), whole[0])
    np.testing.assert_array_equal(reader._planes(strips, PLANES), reader._planes(whole, PLANES))


def test_places_agree_with_planes(picture, monkeypatch):
    monkeypatch.setattr(reader, "STRIP_PX", 256 * 208)
    strips = reader._strips(picture)
    planes = reader._planes(strips, PLANES)
    rng = np.random.default_rng(3)
    r, c = rng.integers(0, planes.shape[1], 500), rng.integers(0, planes.shape[2], 500)
    np.testing.assert_allclose(reader._read_at(strips, range(1, 6), r, c), planes[1:6, r, c].T, atol=1e-5)


def test_sums_of_the_last_layer_are_exact():
    """Whole numbers below 2**24 add up exactly in 32-bit floating point (IEEE 754), in whatever order."""
    weights = reader._network(reader.MODEL).weights
    assert np.array_equal(weights, np.rint(weights)) and np.abs(weights).max() > 1000
    assert 255 * np.abs(weights).sum(axis=2).max() < 2**24
