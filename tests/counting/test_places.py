"""How places lie among each other: the nearest surer one, the sag on the way, and what lies there."""

import numpy as np

from qckit.counting.reader.places import AROUND, SURER, look_around
from qckit.counting.reader.proposals import Proposals


def seen(places, sure, stage, shape=(60, 80), base=-4.0):
    """Places (row, column of the reader's planes) with their sureness in a plane that is flat elsewhere."""
    at = np.array(places)
    heat = np.full(shape, base, np.float32)
    heat[at[:, 0], at[:, 1]] = sure
    p = np.full((len(at), 5), 0.01)
    p[np.arange(len(at)), stage] = 0.96
    score = 1 / (1 + np.exp(-np.asarray(sure, float)))
    return heat, Proposals(at[:, 0] * 2 + 1.0, at[:, 1] * 2 + 1.0, p, score, np.zeros((2, *shape), np.float32))


def test_a_second_mark_lies_by_a_surer_one_with_no_sag_between():
    heat, places = seen([(20, 20), (20, 24), (50, 70)], [3.0, 1.0, 2.0], [0, 0, 3])
    heat[20, 20:25] = [3.0, 2.5, 2.0, 1.5, 1.0]
    around = look_around(heat, places, stride=2, um_per_px=12.0)
    assert around.shape == (3, AROUND)
    away, sag = slice(4, 4 + SURER), -6
    np.testing.assert_allclose(around[1, away][0], np.exp(-96 / 100))  # four planes' pixels of 24 µm
    assert around[1, sag] == 0
    assert (around[0, away] < 0.01).all()  # nothing is surer than the first
    parted = look_around(np.where(np.arange(80) == 22, -4.0, heat), places, stride=2, um_per_px=12.0)
    np.testing.assert_allclose(parted[1, sag], (-4 - 1) * np.exp(-96 / 200), rtol=1e-6)


def test_shifting_a_photo_shifts_nothing_else():
    rng = np.random.default_rng(4)
    at = rng.permutation(40 * 50)[:25]
    places = np.stack(np.divmod(at, 50), axis=1) + 8
    sure, stage = rng.normal(0, 1, 25), rng.integers(0, 5, 25)
    heat, some = seen(places, sure, stage, (90, 90))
    moved_heat, moved = seen(places + np.array([11, 7]), sure, stage, (90, 90))
    here, there = (look_around(h, p, stride=2, um_per_px=12.0) for h, p in ((heat, some), (moved_heat, moved)))
    np.testing.assert_allclose(here, there, atol=1e-6)


def test_no_place_and_a_single_one():
    heat, one = seen([(5, 5)], [1.0], [2])
    assert np.isfinite(look_around(heat, one, stride=2, um_per_px=12.0)).all()
    assert look_around(heat, one.take(np.zeros(1, bool)), stride=2, um_per_px=12.0).shape == (0, AROUND)
