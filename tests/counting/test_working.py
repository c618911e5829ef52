"""The working picture: its scale, and what becomes of dim photos."""

import numpy as np
import pytest
from PIL import Image

from qckit.counting import count_photo, make_work_image
from qckit.photo import read_photo


def as_photo(pixels, folder, name="a.png"):
    Image.fromarray(pixels).save(folder / name)
    return read_photo(folder / name)


@pytest.fixture
def field(rng):
    pixels = np.full((300, 400, 3), 90, np.uint8)
    pixels[100:120, 100:120] = (60, 40, 30)
    pixels[:, :40] = 100
    return pixels


def test_a_dim_photo_is_brightened_by_one_factor(field, tmp_path):
    """The lightest thousandth comes to 200: 100 -> 200, everything else in proportion."""
    work = make_work_image(as_photo(field, tmp_path), 12.0)
    assert work.gain == 2.0
    assert (work.pixels == 2 * field).all()


def test_a_glint_does_not_hide_that_a_photo_is_dim(field, tmp_path):
    field[10:14, 10:14] = 255
    assert make_work_image(as_photo(field, tmp_path), 12.0).gain == 2.0


@pytest.mark.parametrize("level", [0, 140, 200, 255])
def test_black_and_well_exposed_photos_stay_as_they_are(level, tmp_path):
    pixels = np.full((300, 400, 3), level, np.uint8)
    work = make_work_image(as_photo(pixels, tmp_path), 12.0)
    assert work.gain == 1.0
    assert (work.pixels == pixels).all()


def test_gain_has_an_end(field, tmp_path):
    work = make_work_image(as_photo(field // 10, tmp_path), 12.0)
    assert work.gain == 3.0


def test_a_dim_photo_counts_as_a_well_exposed_one_does(crop, tmp_path):
    """A fifth of the light, and the noise that comes with it."""
    path, um_per_px = crop()
    light = (np.asarray(Image.open(path).convert("RGB")) / 255) ** 2.2
    dim = 255 * np.clip(0.2 * light + np.random.default_rng(5).normal(0, 0.003, light.shape), 0, 1) ** (1 / 2.2)
    Image.fromarray(np.rint(dim).astype(np.uint8)).save(tmp_path / "dim.jpg", quality=92)
    plain = count_photo(path, um_per_px=um_per_px)
    dark = count_photo(tmp_path / "dim.jpg", um_per_px=um_per_px)
    assert sum(plain.counts.values()) > 15
    assert sum(abs(plain.counts[s] - dark.counts[s]) for s in plain.counts) <= 1
