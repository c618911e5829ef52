"""Images of lamps and shadows among what was found."""

import numpy as np
import pytest

from qckit.counting.no_bodies import FEWEST_BODIES, cast_shadows, lamp_images

FLOOR = np.log([150.0, 170.0, 200.0])
BODIES = FLOOR + np.array([-0.1, -0.5, -1.1])  # orange on a bluish floor


def scene(rng, n=40):
    """Bodies of one hue, each a little its own, strewn over 8 by 6 mm."""
    colours = BODIES + 0.12 * rng.normal(size=(n, 1)) + 0.06 * rng.normal(size=(n, 3))
    return colours, np.tile(FLOOR, (n, 1)), rng.uniform(0, 6000, n), rng.uniform(0, 8000, n)


def with_more(colours, floor, more):
    return np.vstack([colours, more]), np.vstack([floor, np.tile(FLOOR, (len(more), 1))])


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("n", [3, 8])
def test_lights_of_one_colour_above_all_bodies_are_lamps(seed, n):
    rng = np.random.default_rng(seed)
    colours, floor, *_ = scene(rng)
    colours, floor = with_more(colours, floor, FLOOR + 0.3 + 0.01 * rng.normal(size=(n, 3)))
    np.testing.assert_array_equal(np.flatnonzero(lamp_images(colours, floor)), 40 + np.arange(n))


@pytest.mark.parametrize("seed", range(20))
def test_bodies_alone_are_no_lamps_and_no_shadows(seed):
    colours, floor, rows, cols = scene(np.random.default_rng(seed))
    assert not lamp_images(colours, floor).any()
    assert not cast_shadows(colours, floor, rows, cols).any()


def test_bodies_burnt_out_on_black_are_no_lamps():
    rng = np.random.default_rng(5)
    black = np.tile(np.log([12.0, 12.0, 14.0]), (50, 1))
    colours = np.vstack([scene(rng)[0], np.full((10, 3), np.log(255 + 8.0))])
    assert not lamp_images(colours, black).any()
    assert lamp_images(colours, np.tile(FLOOR, (50, 1)))[40:].all()


def test_two_lights_or_lights_of_several_colours_say_nothing():
    rng = np.random.default_rng(1)
    colours, floor, *_ = scene(rng)
    assert not lamp_images(*with_more(colours, floor, FLOOR + 0.3 + np.zeros((2, 3)))).any()
    assert not lamp_images(*with_more(colours, floor, FLOOR + 0.3 + 0.15 * rng.normal(size=(6, 3)))).any()


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("bearing", [0.4, 3.0])
def test_what_is_grey_and_lies_on_one_side_of_bodies_is_shadow(seed, bearing):
    rng = np.random.default_rng(seed)
    colours, floor, rows, cols = scene(rng)
    away = rng.uniform(200, 500, 12)
    colours, floor = with_more(
        colours, floor, FLOOR - rng.uniform(0.15, 0.5, (12, 1)) + 0.02 * rng.normal(size=(12, 3))
    )
    rows = np.append(rows, rows[:12] + away * np.sin(bearing))
    cols = np.append(cols, cols[:12] + away * np.cos(bearing))
    out = cast_shadows(colours, floor, rows, cols)
    assert out[40:].mean() > 0.9
    assert not out[:40].any()


def test_grey_bodies_strewn_anywhere_are_no_shadows():
    """Pale shells are as grey as shadows; they lie on no one side of the others."""
    n_told = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        colours, floor, rows, cols = scene(rng)
        colours[:10] = FLOOR - 0.3 + 0.02 * rng.normal(size=(10, 3))
        n_told += cast_shadows(colours, floor, rows, cols).any()
    assert n_told <= 1


def test_grey_bodies_in_a_crowd_are_no_shadows():
    """Among three hundred others something lies on every side of each."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        colours, floor, rows, cols = scene(rng, 300)
        colours[:6] = FLOOR - 0.3 + 0.02 * rng.normal(size=(6, 3))
        assert not cast_shadows(colours, floor, rows, cols).any()


def test_few_bodies_grey_photos_and_unknown_colours_say_nothing():
    rng = np.random.default_rng(2)
    colours, floor, rows, cols = scene(rng, FEWEST_BODIES - 1)
    assert not lamp_images(colours, floor).any()
    assert not cast_shadows(colours, floor, rows, cols).any()
    colours, floor, rows, cols = scene(rng)
    grey = floor + (colours - floor).mean(axis=1, keepdims=True)
    assert not cast_shadows(grey, floor, rows, cols).any()
    assert not lamp_images(np.full_like(colours, np.nan), floor).any()
    assert not cast_shadows(np.full_like(colours, np.nan), floor, rows, cols).any()
    assert lamp_images(colours[:0], floor[:0]).shape == (0,)
