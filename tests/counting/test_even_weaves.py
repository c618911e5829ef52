"""An even weave repeats itself all over; only what stands twice and goes on nowhere is a doubled part."""

import numpy as np
import pytest
from drawn_floors import photographed, woven
from scipy.ndimage import gaussian_filter

from qckit.counting.damage.repeated_parts import find_twins

UM_PER_PX = 12.0


def over_a_weave(seed: int, *, below: bool):
    """A photo's green with thirty soft bodies over a weave, and their centres."""
    rng = np.random.default_rng(seed)
    light = woven(rng, (900, 1100), UM_PER_PX, 150.0, below=below)
    y, x = rng.uniform(40, 860, 40), rng.uniform(40, 1060, 40)
    bodies = np.zeros(light.shape[:2])
    bodies[y.astype(int), x.astype(int)] = 1
    light = light * (1 - 0.8 * np.clip(gaussian_filter(bodies, 4.0) * 160, 0, 1))[..., None]
    return np.ascontiguousarray(photographed(rng, light, UM_PER_PX)[..., 1]), y, x


@pytest.mark.parametrize("below", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_an_even_weave_is_no_doubled_photo(seed, below):
    assert find_twins(*over_a_weave(seed, below=below)) == ""


@pytest.mark.parametrize("below", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_a_part_that_stands_twice_over_a_weave_is_still_found(seed, below):
    green, y, x = over_a_weave(seed, below=below)
    here = (y > 50) & (y < 380) & (x > 50) & (x < 480)
    green[453:803, 571:1031] = green[40:390, 40:500]
    there = (y > 453) & (y < 803) & (x > 571) & (x < 1031)
    y, x = np.r_[y[~there], y[here] + 413], np.r_[x[~there], x[here] + 531]
    assert "twice" in find_twins(green, y, x)


def test_bodies_as_far_apart_as_a_soft_weave_repeats_itself():
    """Out of focus there is little else than the weave: places some openings apart are alike down to the grain."""
    rng = np.random.default_rng(2)
    rows, cols = np.mgrid[:800, :1000]
    weave = 128 + 60 * np.cos(2 * np.pi * rows / 20) * np.cos(2 * np.pi * cols / 24) + rng.normal(0, 0.5, rows.shape)
    at = np.array([(r, c) for r in range(300, 480, 60) for c in range(360, 650, 72)])
    at = at[rng.permutation(len(at))[:12]]
    green = np.rint(weave).astype(np.uint8)
    assert find_twins(green, *at.T.astype(float)) == ""
