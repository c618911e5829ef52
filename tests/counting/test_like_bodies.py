"""Cysts and shells told apart by how like a photo's other bodies each is."""

import numpy as np
import pytest
from scipy import ndimage

from qckit.counting.shells.like_bodies import likeness_to_others, settle_by_others
from qckit.counting.working import WorkImage

UM_PER_PX, RADIUS_UM, PLACES = 12.0, 110.0, 5


def scene(rng, *, floor=0.1, body=0.6, points=3):
    """Discs with the same points of light on each, every other one torn and folded its own way, on a lattice.

    Returns the photo, labels, centres, and which are whole.
    """
    side = 80 * PLACES // 2
    lattice = np.mgrid[:PLACES, :PLACES] * 40 + 20
    rows, cols = (a.ravel() + rng.uniform(-4, 4, PLACES**2) for a in lattice)
    whole = np.arange(PLACES**2) % 2 == 0
    lamps = rng.uniform(-0.5, 0.5, (points, 2))
    y, x = np.mgrid[:side, :side] + 0.5
    light, labels = np.full((side, side), floor), np.zeros((side, side), int)
    for k, (row, col) in enumerate(zip(rows, cols, strict=True)):
        down, across = (y - row) * UM_PER_PX / RADIUS_UM, (x - col) * UM_PER_PX / RADIUS_UM
        inside, own = np.hypot(down, across) < 1, body * (1 - 0.3 * (down**2 + across**2))
        if whole[k]:
            for lamp in lamps:
                own = own + 0.3 * np.exp(-((down - lamp[0]) ** 2 + (across - lamp[1]) ** 2) / 0.02)
        else:
            turn = rng.uniform(0, 2 * np.pi)
            inside &= down * np.cos(turn) + across * np.sin(turn) < rng.uniform(0.0, 0.6)
            folds = ndimage.gaussian_filter(rng.normal(size=own.shape), 3.0)
            own = own * (1 + 0.4 * folds / folds.std())
        light, labels = np.where(inside, own, light), np.where(inside, k + 1, labels)
    noisy = 255 * np.clip(ndimage.gaussian_filter(light, 0.8) + 0.01 * rng.normal(size=light.shape), 0, 1)
    work = WorkImage(np.repeat(noisy.astype(np.uint8)[..., None], 3, axis=2), UM_PER_PX, 1.0, 1.0, True)
    return work, labels, rows, cols, whole


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("light", [{}, {"floor": 0.9, "body": 0.3}, {"floor": 0.5, "body": 0.55, "points": 6}])
def test_whole_bodies_are_alike_in_any_light_and_torn_ones_are_not(seed, light):
    work, labels, rows, cols, whole = scene(np.random.default_rng(seed), **light)
    like = likeness_to_others(work, labels, rows, cols)
    assert np.isfinite(like).all()
    assert np.median(like[whole]) > np.median(like[~whole]) + 0.7
    assert (like[whole][:, None] > like[~whole]).mean() > 0.9


def test_likeness_is_the_same_in_any_order_and_turned_over():
    work, labels, rows, cols, _ = scene(np.random.default_rng(1))
    like, order = likeness_to_others(work, labels, rows, cols), np.random.default_rng(2).permutation(len(rows))
    np.testing.assert_allclose(likeness_to_others(work, labels, rows[order], cols[order]), like[order], rtol=1e-3)
    over = WorkImage(work.pixels[::-1].copy(), UM_PER_PX, 1.0, 1.0, True)
    turned = likeness_to_others(over, labels[::-1], len(labels) - rows, cols)
    np.testing.assert_allclose(turned, like, atol=1e-3)


def test_a_body_that_hardly_shows_and_one_alone_have_none():
    work, labels, rows, cols, _ = scene(np.random.default_rng(3))
    assert likeness_to_others(work, labels, rows[:0], cols[:0]).shape == (0,)
    assert np.isnan(likeness_to_others(work, labels, rows[:1], cols[:1])).all()
    like = likeness_to_others(work, labels, np.r_[rows, 0.5], np.r_[cols, 0.5])
    assert np.isnan(like[-1])
    assert np.isfinite(like[:-1]).all()


def read_as(cyst_logits):
    """Objects read as cysts or shells alone, with those logits."""
    p = np.full((len(cyst_logits), 5), 0.01)
    chance = 1 / (1 + np.exp(-np.asarray(cyst_logits, float)))
    p[:, 2], p[:, 3] = 0.97 * chance, 0.97 * (1 - chance)
    return p


def test_cysts_that_were_all_read_as_shells_are_put_right():
    rng = np.random.default_rng(1)
    is_cyst = np.arange(30) < 12
    p = read_as(np.where(is_cyst, -2.0, -5.0) + 0.6 * rng.normal(size=30))
    out = settle_by_others(p, np.where(is_cyst, 2.3, 1.35) + 0.25 * rng.normal(size=30))
    assert not (p[:, 2] > p[:, 3]).any()
    assert ((out[:, 2] > out[:, 3]) == is_cyst).mean() > 0.95
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


@pytest.mark.parametrize("n_cysts", [0, 1, 15, 30])
def test_a_right_reading_stays(n_cysts):
    rng = np.random.default_rng(2)
    is_cyst = np.arange(30) < n_cysts
    like = np.where(is_cyst & (n_cysts > 1), 2.3, 1.35) + 0.3 * rng.normal(size=30)
    out = settle_by_others(read_as(np.where(is_cyst, 4.0, -4.0)), like)
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()


def test_sure_cysts_that_look_like_no_other_stay_cysts():
    """Hidden, dented and half-seen cysts are unlike the others."""
    rng = np.random.default_rng(3)
    is_cyst = np.arange(30) < 15
    like = np.where(is_cyst, 2.3, 1.35) + 0.2 * rng.normal(size=30)
    like[:5] = 1.2
    out = settle_by_others(read_as(np.where(is_cyst, 3.0, -4.0)), like)
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()


def test_few_bodies_stay_as_read():
    p = read_as([-1.0, -1.0, -4.0, -4.0])
    np.testing.assert_array_equal(settle_by_others(p, np.array([2.4, 2.4, 1.2, 1.2])), p)
    six = read_as([-1.0] * 6)
    np.testing.assert_array_equal(settle_by_others(six, np.full(6, np.nan)), six)
