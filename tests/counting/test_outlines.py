"""A dish's rim that is drawn within one pixel is no cut; what was cut or laid over still is."""

import numpy as np
import pytest

from qckit.counting.damage.integrity import signs_in_pixels
from qckit.counting.damage.outlines import goes_on_bent, is_one_outline

SHAPE, RIM = (700, 900), 840


def dish(seed, *, radius, inside=190.0, outside=90.0):
    """A dish whose rim, of one pixel, touches a column, with round bodies in it."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    away = np.hypot(y - SHAPE[0] / 2, x - (RIM - radius))
    picture = np.where(away < radius, inside, outside)
    for row, col in rng.uniform((20, 20), (680, 800), (40, 2)):
        picture -= 70 * np.clip((13 - np.hypot(y - row, x - col)) / 2, 0, 1)
    picture += rng.normal(0, 1.2, SHAPE)
    return np.clip(picture, 0, 255).astype(np.uint8)


def signs(grey):
    return signs_in_pixels(np.repeat(grey[..., None], 3, axis=2))


@pytest.mark.parametrize(("radius", "outside"), [(500, 90), (900, 90), (1500, 90), (900, 178)])
def test_a_rim_of_one_pixel_is_no_cut(radius, outside):
    for seed in range(3):
        assert signs(dish(seed, radius=radius, outside=outside)) == []


def test_a_cut_beside_a_rim_is_found():
    for seed in range(3):
        grey = dish(seed, radius=900)
        grey[300:] = np.roll(grey[300:], 60, axis=1)  # rows shifted, as where bytes are lost
        assert any("row" in text for text in signs(grey))
        grey = dish(seed, radius=900)
        grey[200:400, 250:600] = np.random.default_rng(seed).normal(130, 4, (200, 350))
        assert signs(grey)


def test_an_outline_goes_on_beside_and_a_cut_ends():
    rim = np.ascontiguousarray(dish(1, radius=900).T)
    step = np.abs(rim[1:].astype(int) - rim[:-1])
    row = int((step > 60).sum(axis=1).argmax())
    edge = np.flatnonzero(step[row] > 60)
    across = int(edge[0]), int(edge[-1]) + 1
    assert goes_on_bent(rim, row, 1, across) and is_one_outline(rim, row, 1)
    cut = np.full((100, 300), 60, np.uint8)
    cut[50:, 100:180] = 160  # a block laid over
    assert not goes_on_bent(cut, 49, 1, (100, 180)) and not is_one_outline(cut, 49, 1)
    cut[50:] = 160  # along the whole photo
    assert not goes_on_bent(cut, 49, 1, (0, 300)) and not is_one_outline(cut, 49, 1)
