"""Cysts and shells told apart by what of a patterned floor shows through them."""

import numpy as np
import pytest
from scipy import ndimage
from scipy.integrate import dblquad
from scipy.stats import multivariate_normal, norm

from qckit.counting.segmentation.light import estimate_light
from qckit.counting.shells import see_through
from qckit.counting.shells.floor_behind import likeness_to_floor
from qckit.counting.shells.see_through import settle_by_floor
from qckit.counting.working import WorkImage

UM_PER_PX, RADIUS_UM = 12.0, 110.0


def weave(rng, side, opening_um=150.0, pitch_um=240.0):
    """Light of threads of their own widths, tilted and stretched, lit from below: (side, side)."""
    y, x = np.mgrid[:side, :side] * UM_PER_PX
    turn = np.deg2rad(rng.uniform(0, 90))
    out = np.ones((side, side))
    for along in (x * np.cos(turn) + y * np.sin(turn), 1.03 * (y * np.cos(turn) - x * np.sin(turn))):
        along = along + 20 * np.sin(along / 3000)
        out *= np.where(np.mod(along, pitch_um) < opening_um, 1.0, 0.35)
    return ndimage.gaussian_filter(out, 1.0)


def grain(rng, side):
    """Light of a floor without a pattern, as rough as a weave."""
    rough = ndimage.gaussian_filter(rng.normal(size=(side, side)), 2.0)
    return 0.7 * np.exp(0.35 * rough / rough.std())


def scene(rng, floor, n=5):
    """Discs on a lattice of ``n`` by ``n`` places, every other one opaque: photo, labels, centres, which are opaque."""
    side = len(floor)
    rows, cols = (a.ravel() + rng.uniform(-4, 4, n * n) for a in np.mgrid[:n, :n] * (side // n) + side // (2 * n))
    opaque = np.arange(n * n) % 2 == 0
    y, x = np.mgrid[:side, :side] + 0.5
    light, labels = 0.8 * floor, np.zeros((side, side), int)
    for k, (row, col) in enumerate(zip(rows, cols, strict=True)):
        out = np.hypot(y - row, x - col) * UM_PER_PX / RADIUS_UM
        dome = 1 - 0.3 * out**2 + 0.05 * rng.normal(size=out.shape)
        inside = out < 1
        # a shell dims what is behind it, unevenly; a cyst hides it. Both are as bright on the whole
        light = np.where(inside, 0.32 * dome if opaque[k] else 0.5 * light * dome + 0.05, light)
        labels[inside] = k + 1
    noisy = 255 * np.clip(light + 0.01 * rng.normal(size=light.shape), 0, 1)
    pixels = np.repeat(noisy.astype(np.uint8)[..., None], 3, axis=2)
    return WorkImage(pixels, UM_PER_PX, 1.0, 1.0, True), labels, rows, cols, opaque


def likeness(rng, floor):
    work, labels, rows, cols, opaque = scene(rng, floor)
    return likeness_to_floor(work, estimate_light(work), labels, rows, cols), opaque


@pytest.mark.parametrize("seed", range(5))
def test_a_weave_goes_on_in_what_it_shines_through(seed):
    rng = np.random.default_rng(seed)
    like, opaque = likeness(rng, weave(rng, 400))
    known = np.isfinite(like)
    assert known.sum() >= 15
    assert like[known & ~opaque].min() > like[known & opaque].max()
    assert np.median(like[known & ~opaque]) > 0.7
    assert np.abs(np.median(like[known & opaque])) < 0.4


@pytest.mark.parametrize("seed", range(5))
def test_a_floor_without_a_pattern_is_not_foretold(seed):
    rng = np.random.default_rng(seed)
    assert np.isnan(likeness(rng, grain(rng, 400))[0]).all()
    assert np.isnan(likeness(rng, np.full((400, 400), 0.7))[0]).all()


def test_no_body_and_a_photo_smaller_than_a_body_give_nothing():
    rng = np.random.default_rng(1)
    work, labels, rows, cols, _ = scene(rng, weave(rng, 400))
    light = estimate_light(work)
    assert likeness_to_floor(work, light, labels, rows[:0], cols[:0]).shape == (0,)
    small = WorkImage(work.pixels[:60, :60], UM_PER_PX, 1.0, 1.0, True)
    assert np.isnan(likeness_to_floor(small, light, labels[:60, :60], np.array([30.0]), np.array([30.0]))).all()


def photo(rng, n=40, n_cysts=20, cysts=0.2, shells=0.65):
    """Bodies read rightly and surely, and how like the floor each is."""
    is_cyst = np.arange(n) < n_cysts
    p = np.full((n, 5), 0.01)
    p[np.arange(n), np.where(is_cyst, 2, 3)] = 0.96
    return p, np.where(is_cyst, cysts, shells) + 0.12 * rng.normal(size=n), is_cyst


def test_a_group_that_was_misread_as_a_whole_is_put_right():
    """Fifteen of twenty shells are read as cysts as surely as the cysts are."""
    rng = np.random.default_rng(1)
    p, like, is_cyst = photo(rng, cysts=0.16, shells=0.72)
    p[20:35] = p[0]
    out = settle_by_floor(p, like)
    assert ((p[:, 2] > p[:, 3]) == is_cyst).mean() < 0.7
    assert ((out[:, 2] > out[:, 3]) == is_cyst).mean() > 0.9
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


@pytest.mark.parametrize("shift", [-0.2, 0.0, 0.25])
def test_a_right_reading_stays_where_more_or_less_shows_through_than_usual(shift):
    rng = np.random.default_rng(2)
    p, like, is_cyst = photo(rng, cysts=0.25 + shift, shells=0.67 + 0.5 * shift)
    out = settle_by_floor(p, like)
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()


@pytest.mark.parametrize("n_cysts", [0, 40])
def test_bodies_of_one_kind_stay_one_kind(n_cysts):
    p, like, is_cyst = photo(np.random.default_rng(3), n_cysts=n_cysts)
    out = settle_by_floor(p, like)
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()


def test_few_bodies_and_an_unknown_floor_change_nothing():
    p, like, _ = photo(np.random.default_rng(4))
    np.testing.assert_array_equal(settle_by_floor(p, np.full(40, np.nan)), p)
    like[7:] = np.nan
    np.testing.assert_array_equal(settle_by_floor(p, like), p)


def test_other_bodies_are_not_touched_and_those_without_a_floor_follow_the_reading_that_holds():
    rng = np.random.default_rng(5)
    p, like, is_cyst = photo(rng, n=60, n_cysts=30)
    p[:30] = [0.01, 0.01, 0.3, 0.67, 0.01]  # all cysts are read as shells, less surely than the shells are
    p[-1] = [0.9, 0.04, 0.03, 0.02, 0.01]
    like[[0, 1, 40, 41]] = np.nan
    out = settle_by_floor(p, like)
    np.testing.assert_array_equal(out[-1], p[-1])
    assert ((out[:-1, 2] > out[:-1, 3]) == is_cyst[:-1]).all()


def test_weights_are_those_of_numerical_integration():
    """The integral over both groups' means, by scipy's quadrature: Laplace's method errs by less than 0.5."""
    rng = np.random.default_rng(6)
    like = np.r_[rng.normal(0.2, 0.15, 9), rng.normal(0.7, 0.15, 7)]
    readings = np.stack([np.r_[np.full(9, 0.9), np.full(7, 0.1)], np.full(16, 0.5)])
    got, chance = see_through.weigh_readings(like, readings, see_through.GROUPS)
    prior = multivariate_normal(see_through.GROUPS.means, see_through.GROUPS.spread)
    wide = see_through.GROUPS.within**0.5

    def likelihood(shells, cysts, reading):
        group = reading * norm.pdf(like, cysts, wide) + (1 - reading) * norm.pdf(like, shells, wide)
        return prior.pdf([cysts, shells]) * np.prod(
            (1 - see_through.STRAY) * group + see_through.STRAY / see_through.RANGE
        )

    exact = [np.log(dblquad(likelihood, -0.5, 1.2, -0.2, 1.5, args=(r,), epsabs=0, epsrel=1e-4)[0]) for r in readings]
    assert got[0] - got[1] == pytest.approx(exact[0] - exact[1], abs=0.5)
    assert (chance[0][:9] > 0.5).mean() > 0.9
