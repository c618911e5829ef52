"""A scratch or a hair along rows of pixels is no seam; a photo that does not go on below a row still is."""

import numpy as np
import pytest

from qckit.counting.damage.integrity import signs_in_pixels
from qckit.counting.damage.seams import find_seam

SHAPE = (700, 1000)


def floor(seed):
    """Round bodies on an even floor, in light that a lens has drawn."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    picture = np.full(SHAPE, 228.0)
    for row, col in rng.uniform((20, 20), (680, 980), (40, 2)):
        picture -= 110 * np.clip((18 - np.hypot(y - row, x - col)) / 3, 0, 1)
    return picture, y, x, rng


def scratched(seed, depth, lean):
    """A scratch three pixels wide over a third of the width, which leans by so many rows."""
    picture, y, x, rng = floor(seed)
    away = np.abs(y - 319.4 - lean * (x - 500) / 340)
    picture -= depth * np.exp(-((away / 1.1) ** 2)) * (np.abs(x - 500) < 170)
    return as_bytes(picture, rng)


def as_bytes(picture, rng):
    return np.clip(np.rint(picture + rng.normal(0, 0.5, SHAPE)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("depth", [4, 8, -6])
def test_a_scratch_along_a_row_is_no_seam(depth):
    for seed in range(3):
        for lean in (0.0, 1.5, 4.0):
            grey = scratched(seed, depth, lean)
            assert find_seam(grey) is None
            assert signs_in_pixels(np.repeat(grey[..., None], 3, axis=2)) == []


@pytest.mark.parametrize("step", [4, 8])
def test_a_step_of_the_same_height_that_stays_is_a_seam(step):
    for seed in range(3):
        picture, y, _x, rng = floor(seed)
        assert find_seam(as_bytes(picture - step * (y >= 320), rng)) == 320
