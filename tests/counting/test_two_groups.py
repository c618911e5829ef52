"""Cysts and shells of one photo settled by the two groups that its round bodies fall into."""

import numpy as np
import pytest

from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.shells.mixture import settle_cysts_and_shells
from qckit.counting.shells.two_groups import (
    COLUMNS,
    RoundBodies,
    evidence_of_two,
    settle_by_groups,
    settle_round_bodies,
)


def bodies(rng, n=60, apart=3.0):
    """Half cysts, half shells that look so many spreads apart in three of the looks; read surely and right."""
    features = rng.normal(0, 1, (n, len(FEATURES)))
    is_cyst = np.arange(n) < n // 2
    features[:, COLUMNS[:3]] += apart * is_cyst[:, None]
    p = np.full((n, 5), 0.01)
    p[np.arange(n), np.where(is_cyst, 2, 3)] = 0.96
    return p, features, is_cyst


def test_most_cysts_read_as_shells_are_put_right_by_their_group():
    """Three in four cysts are read as shells, though less surely than shells are; the looks part the two clearly."""
    p, features, is_cyst = bodies(np.random.default_rng(1), n=120, apart=6.0)
    misread = np.arange(45)
    p[misread] = [0.01, 0.01, 0.3, 0.67, 0.01]
    out = settle_by_groups(p, features)
    assert ((p[:, 2] > p[:, 3]) != is_cyst).sum() == 45
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


@pytest.mark.parametrize("n", [30, 60, 200])
def test_bodies_of_one_kind_do_not_part(n):
    """A direction sought among many looks parts bodies by chance; looks go together, and they are read at random."""
    same = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        together = rng.normal(size=(8, len(FEATURES)))
        features = rng.normal(size=(n, 8)) @ together + 0.5 * rng.normal(size=(n, len(FEATURES)))
        p, read = np.full((n, 5), 0.01), rng.uniform(0.02, 0.95, n)
        p[:, 2], p[:, 3] = read, 0.97 - read
        same += np.array_equal(settle_by_groups(p, features), p)
    assert same >= 17


def test_few_bodies_one_kind_alone_and_unmeasured_ones_stay():
    p, features, _ = bodies(np.random.default_rng(3), n=120, apart=6.0)
    few = np.r_[0:6, 60:66]
    np.testing.assert_array_equal(settle_by_groups(p[few], features[few]), p[few])
    np.testing.assert_array_equal(settle_by_groups(p[:60], features[:60]), p[:60])
    features[5] = np.nan
    out = settle_by_groups(p, features)
    np.testing.assert_array_equal(out[5], p[5])
    assert not np.array_equal(out, p)
    assert settle_by_groups(np.zeros((0, 5)), np.zeros((0, len(FEATURES)))).shape == (0, 5)


def shells_alone(rng, n, misread):
    """Shells whose looks go together, some of them read as cysts (chance 0.9) for no look that others share."""
    features = rng.normal(size=(n, 8)) @ rng.normal(size=(8, len(FEATURES))) + 0.5 * rng.normal(size=(n, len(FEATURES)))
    p = np.tile([0.01, 0.01, 0.03, 0.94, 0.01], (n, 1))
    p[rng.permutation(n)[: int(misread * n)], 2:4] = [0.87, 0.10]
    return p, features


@pytest.mark.parametrize("n", [20, 60, 200])
def test_shells_without_any_cyst_are_one_kind_though_some_are_read_as_cysts(n):
    called, called_before = 0, 0
    for seed in range(10):
        p, features = shells_alone(np.random.default_rng(seed), n, 0.1)
        assert evidence_of_two(RoundBodies.of(p, features)) < 10
        out = settle_round_bodies(p, features)
        np.testing.assert_allclose(out.sum(axis=1), 1)
        called += (out[:, 2] > out[:, 3]).sum()
        before = settle_cysts_and_shells(p)
        called_before += (before[:, 2] > before[:, 3]).sum()
    assert called <= 0.3 * called_before


def test_a_few_sure_cysts_among_many_shells_stay():
    """Five, read surely and unlike the shells."""
    stay = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        p, features = shells_alone(rng, 60, 0.0)
        features[:5, COLUMNS[:6]] += 6 * features.std(axis=0)[COLUMNS[:6]]
        p[:5] = [0.002, 0.002, 0.99, 0.004, 0.002]
        out = settle_round_bodies(p, features)
        stay += (out[:5, 2] > out[:5, 3]).sum()
        assert (out[5:, 3] > out[5:, 2]).all()
    assert stay == 50


def test_two_kinds_are_strong_evidence_of_two_groups():
    for seed in range(10):
        p, features, _ = bodies(np.random.default_rng(seed), n=60, apart=4.0)
        assert evidence_of_two(RoundBodies.of(p, features)) > 10
