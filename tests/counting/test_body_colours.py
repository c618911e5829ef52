"""The colours of bodies."""

import numpy as np

from qckit.counting.segmentation.light import estimate_light
from qckit.counting.shells.body_colours import REACH_UM, SOFTENER_CODES, colours_of
from qckit.counting.working import WorkImage

UM_PER_PX = 12.0


def test_a_colour_is_the_median_within_the_disc():
    pixels = np.full((60, 80, 3), 200, np.uint8)
    y, x = np.mgrid[:60, :80]
    body = np.hypot(y - 30, x - 40) <= REACH_UM / UM_PER_PX
    pixels[body] = (150, 90, 40)
    pixels[29:32, 39:42] = 255  # a lamp's point
    work = WorkImage(pixels, UM_PER_PX, 1.0, 1.0, True)
    found, floor = colours_of(
        work, estimate_light(work), np.array([30.5, 30.5, -4.0, 2.0]), np.array([40.5, 15.5, 40.0, 40.0])
    )
    np.testing.assert_allclose(np.exp(found[0]) - SOFTENER_CODES, [150, 90, 40])
    np.testing.assert_allclose(np.exp(found[1]) - SOFTENER_CODES, 200)
    assert np.isnan(found[2]).all()
    np.testing.assert_allclose(np.exp(found[3]) - SOFTENER_CODES, 200)  # at the edge, more than half within
    np.testing.assert_allclose(np.exp(floor) - SOFTENER_CODES, 200, atol=0.1)


def test_shade_over_half_of_a_photo_moves_no_colour():
    rng = np.random.default_rng(2)
    light = 190 + rng.normal(size=(240, 320, 3))
    at = np.array([(60, 50), (60, 270), (180, 60), (180, 250)]) + 0.5
    y, x = np.mgrid[:240, :320]
    for row, col in at:
        light[np.hypot(y - row, x - col) <= 110 / UM_PER_PX] *= (0.7, 0.45, 0.2)
    light *= np.where(x < 160, 1.0, 0.55)[..., None]
    work = WorkImage(light.round().astype(np.uint8), UM_PER_PX, 1.0, 1.0, True)
    found, floor = colours_of(work, estimate_light(work), *at.T)
    assert np.ptp(found - floor, axis=0).max() < 0.12
    assert np.ptp(found, axis=0).min() > 0.4
