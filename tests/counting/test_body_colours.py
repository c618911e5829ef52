"""Cysts and shells told apart by where their colours lie in one photo."""

import numpy as np
import pytest

from qckit.counting.shells.body_colours import REACH_UM, SOFTENER_CODES, colours_of, settle_by_colours
from qckit.counting.working import WorkImage

UM_PER_PX = 12.0
# logarithms of the three colours: cysts close together, shells about them here and there
CYSTS_AT, CYSTS_SPREAD = np.array([4.6, 4.1, 3.5]), np.array([0.06, 0.06, 0.06])
SHELLS_OFF, SHELLS_SPREAD = np.array([0.05, 0.18, 0.30]), np.array([0.12, 0.12, 0.12])


def coloured(rng, is_cyst, *, hue=0.02):
    """Colours of bodies that vary in brightness together, and each a little by itself."""
    n = len(is_cyst)
    light = rng.normal(size=(n, 1))
    cysts = CYSTS_AT + CYSTS_SPREAD * light + hue * rng.normal(size=(n, 3))
    shells = CYSTS_AT + SHELLS_OFF + SHELLS_SPREAD * light + 2 * hue * rng.normal(size=(n, 3))
    return np.where(is_cyst[:, None], cysts, shells)


def read_as(cyst_logits):
    """Objects read as cysts or shells alone, with those logits."""
    p = np.full((len(cyst_logits), 5), 0.01)
    chance = 1 / (1 + np.exp(-np.asarray(cyst_logits, float)))
    p[:, 2], p[:, 3] = 0.97 * chance, 0.97 * (1 - chance)
    return p


def told(p):
    return p[:, 2] > p[:, 3]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("line", [-5.0, 5.0])
def test_a_group_read_as_the_other_kind_is_put_right(seed, line):
    """All are read as cysts, or all as shells, though less surely those that are not."""
    rng = np.random.default_rng(seed)
    is_cyst = np.arange(50) < 22
    p = read_as(line + np.where(is_cyst, 1.5, -1.5) + rng.normal(size=50))
    out = settle_by_colours(p, coloured(rng, is_cyst))
    assert (told(p) == is_cyst).mean() < 0.65
    assert (told(out) == is_cyst).mean() > 0.85
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("cyst", [True, False])
def test_bodies_of_one_kind_stay_as_read(seed, cyst):
    rng = np.random.default_rng(seed)
    p = read_as(np.where(cyst, 3.0, -3.0) + rng.normal(size=40))
    out = settle_by_colours(p, coloured(rng, np.full(40, cyst)))
    assert (told(out) != cyst).sum() <= 2


@pytest.mark.parametrize("gap", [0.15, 0.3, 0.5])
@pytest.mark.parametrize(("n_cysts", "most"), [(5, 0.1), (15, 0.02)])
def test_shade_that_parts_colours_overturns_no_sure_reading(gap, n_cysts, most):
    """Half of the bodies lie in another light, whatever they are; of few cysts most may by chance lie in one."""
    wrong = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        is_cyst, lit = np.arange(30) < n_cysts, rng.uniform(size=30) < 0.5
        colours = CYSTS_AT + 0.03 * rng.normal(size=(30, 3)) + gap * lit[:, None] * [1.0, 0.6, 0.3]
        out = settle_by_colours(read_as(np.where(is_cyst, 4.0, -4.0) + rng.normal(size=30)), colours)
        wrong.append((told(out) != is_cyst).mean())
    assert np.mean(wrong) <= most


def test_few_bodies_and_bodies_without_a_colour_stay_as_read():
    rng = np.random.default_rng(1)
    is_cyst = np.arange(50) < 25
    p, colours = read_as(np.where(is_cyst, -0.5, -3.0)), coloured(rng, is_cyst)
    np.testing.assert_array_equal(settle_by_colours(p[:14], colours[:14]), p[:14])
    colours[::2] = np.nan
    out = settle_by_colours(p, colours)
    np.testing.assert_array_equal(out[::2], p[::2])
    assert told(out)[1::2].sum() > 10
    assert settle_by_colours(p[:0], colours[:0]).shape == (0, 5)


def test_a_colour_is_the_median_within_the_disc():
    pixels = np.full((60, 80, 3), 200, np.uint8)
    y, x = np.mgrid[:60, :80]
    body = np.hypot(y - 30, x - 40) <= REACH_UM / UM_PER_PX
    pixels[body] = (150, 90, 40)
    pixels[29:32, 39:42] = 255  # a lamp's point
    work = WorkImage(pixels, UM_PER_PX, 1.0, 1.0, True)
    found = colours_of(work, np.array([30.5, 30.5, 2.0]), np.array([40.5, 15.5, 40.0]))
    np.testing.assert_allclose(np.exp(found[0]) - SOFTENER_CODES, [150, 90, 40])
    np.testing.assert_allclose(np.exp(found[1]) - SOFTENER_CODES, 200)
    assert np.isnan(found[2]).all()
