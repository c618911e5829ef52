"""The reader's network: strips, planes and places agree, and the sums of its last layer are exact."""

import numpy as np
import pytest

from qckit.counting.reader import network as reader
from qckit.counting.reader.last_layer import OFFSET_PLANES, PLANES, STAGE_PLANES, LastLayer
from qckit.photo import read_photo

EVERY_PLANE = tuple(range(PLANES))


@pytest.fixture(scope="module")
def picture(request):
    photos = request.config.rootpath / "tests" / "photos" / "photos"
    return read_photo(photos / "sieve-03.jpg").pixels[:1200, :203]


def test_strips_answer_as_the_whole_photo_does(picture, monkeypatch):
    """Each strip sees as far beyond its rows as the network looks, or answers near the seams would differ."""
    whole = reader._strips(picture, reader.MODEL)
    monkeypatch.setattr(reader, "STRIP_PX", 256 * 208)
    strips = reader._strips(picture, reader.MODEL)
    assert len(whole) == 1 and len(strips) > 3
    np.testing.assert_array_equal(np.concatenate(strips, axis=1), whole[0])
    last = reader._network(reader.MODEL).last
    np.testing.assert_array_equal(reader._planes(strips, last, EVERY_PLANE), reader._planes(whole, last, EVERY_PLANE))


def test_places_agree_with_planes(picture, monkeypatch):
    monkeypatch.setattr(reader, "STRIP_PX", 256 * 208)
    strips = reader._strips(picture, reader.MODEL)
    last = reader._network(reader.MODEL).last
    planes = reader._planes(strips, last, EVERY_PLANE)
    rng = np.random.default_rng(3)
    r, c = rng.integers(0, planes.shape[1], 500), rng.integers(0, planes.shape[2], 500)
    answers = last.answers(*reader._noticed_at(strips, r, c), STAGE_PLANES)
    np.testing.assert_allclose(answers, planes[STAGE_PLANES, r, c].T, atol=1e-5)


def test_votes_are_those_of_the_planes(picture, monkeypatch):
    monkeypatch.setattr(reader, "STRIP_PX", 256 * 208)
    strips = reader._strips(picture, reader.MODEL)
    last = reader._network(reader.MODEL).last
    down, right = reader._planes(strips, last, OFFSET_PLANES) * np.float32(reader.STRIDE)
    rng = np.random.default_rng(5)
    r, c = rng.integers(0, down.shape[0], 500), rng.integers(0, down.shape[1], 500)
    votes = reader.Reading(strips, picture.shape[:2], 12.0, reader.MODEL).propose().votes
    np.testing.assert_array_equal(votes.at(r, c), [down[r, c], right[r, c]])


@pytest.mark.parametrize(("down", "across"), [(-1, 1), (1, -1), (-1, -1)])
def test_all_mirror_images_of_a_picture_are_read_alike(picture, down, across):
    whole = np.ascontiguousarray(picture[:640, :192])  # whole blocks: the grid lies alike
    readings = [reader.read_mirrored(reader.read_picture(p, 12.0), p) for p in (whole, whole[::down, ::across])]
    here, there = (reading.propose() for reading in readings)
    rows, cols = (640 - there.rows if down < 0 else there.rows), (192 - there.cols if across < 0 else there.cols)
    one, other = np.lexsort((here.cols, here.rows)), np.lexsort((cols, rows))
    assert len(one) > 20
    np.testing.assert_array_equal(np.c_[here.rows, here.cols][one], np.c_[rows, cols][other])
    np.testing.assert_allclose(np.c_[here.p, here.score][one], np.c_[there.p, there.score][other], atol=1e-5)
    noticed = [r.noticed_at(p.rows, p.cols) for r, p in zip(readings, (here, there), strict=True)]
    np.testing.assert_array_equal(noticed[0][one], noticed[1][other])


def test_the_mean_of_readings_has_the_grid_of_one(picture):
    one = reader.read_picture(picture, 12.0)
    four = reader.read_mirrored(one, picture)
    assert one.heat().shape == four.heat().shape == (600, 102)
    assert np.abs(one.heat() - four.heat()).max() > 0.1 and np.corrcoef(one.heat().flat, four.heat().flat)[0, 1] > 0.9
    assert one.propose().n_readings == 1 and four.propose().n_readings == 4


def test_mirror_images_may_be_read_by_outline(picture):
    """One image by the one network and three by the other, each with its own last layer, weigh alike."""
    whole = np.ascontiguousarray(picture[:640, :192])  # whole blocks: the grid lies alike
    one = reader.read_picture(whole, 12.0)
    mixed, alike = reader.read_mirrored(one, whole, by_outline=True), reader.read_mirrored(one, whole)
    assert (one.model, alike.mirrored_by, mixed.mirrored_by) == (reader.MODEL, reader.MODEL, reader.OUTLINE_MODEL)
    heat = reader._planes(one.strips, reader._network(reader.MODEL).last, (reader.HEAT,))[0]
    for down, across in reader.MIRRORED:
        strips = reader._strips(np.ascontiguousarray(whole[::down, ::across]), reader.OUTLINE_MODEL)
        last = reader._network(reader.OUTLINE_MODEL).last
        heat = heat + reader._planes(strips, last, (reader.HEAT,))[0, ::down, ::across]
    np.testing.assert_allclose(mixed.heat(), heat / 4, atol=1e-4)
    assert np.abs(mixed.heat() - alike.heat()).max() > 0.1
    assert mixed.propose().n_readings == 4
    assert alike.noticed_at([8.0], [8.0]).shape == (1, one.strips[0].shape[0])
    with pytest.raises(ValueError, match=r"mean different things\. Read them by one network: leave by_outline out"):
        mixed.noticed_at([8.0], [8.0])


def test_a_picture_ends_in_grey_at_all_its_edges():
    picture = np.random.default_rng(6).integers(0, 256, (13, 21, 3), dtype=np.uint8)
    wide = np.pad(picture, ((2, 5), (2, 13), (0, 0)), constant_values=128)
    laid = reader._four_by_four(picture, 0, 16, (16, 32))
    for row, col in ((0, 0), (1, 5), (3, 6), (4, 8)):
        np.testing.assert_array_equal(laid[0, row, col].reshape(4, 4, 3), wide[4 * row :, 4 * col :][:4, :4])


def test_sums_of_the_last_layer_are_exact():
    """Whole numbers below 2**24 add up exactly in 32-bit floating point (IEEE 754), in whatever order."""
    weights = reader._network(reader.MODEL).last.weights
    assert np.array_equal(weights, np.rint(weights)) and np.abs(weights).max() > 1000
    assert 255 * np.abs(weights).sum(axis=2).max() < 2**24


@pytest.mark.parametrize(
    "harm", [{"weights": np.zeros((9, 4, 3))}, {"offset": np.full((9, 4), np.nan)}, {"step": np.zeros((9, 4))}]
)
def test_a_damaged_layer_is_refused(harm):
    with pytest.raises(ValueError, match="last layer"):
        LastLayer.of_arrays(**{**reader._network(reader.MODEL).last.arrays(), **harm})
