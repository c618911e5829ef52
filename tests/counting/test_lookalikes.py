"""Cysts and shells of one photo judged by how those that look alike were read."""

import numpy as np

from qckit.counting.lookalikes import COLUMNS, settle_by_lookalikes
from qckit.counting.measuring import FEATURES


def bodies(rng, n=60, apart=3.0):
    """Half cysts, half shells that look so many spreads apart in three of the looks; read surely and right."""
    features = rng.normal(0, 1, (n, len(FEATURES)))
    is_cyst = np.arange(n) < n // 2
    features[:, COLUMNS[:3]] += apart * is_cyst[:, None]
    p = np.full((n, 5), 0.01)
    p[np.arange(n), np.where(is_cyst, 2, 3)] = 0.96
    return p, features, is_cyst


def test_bodies_misread_among_many_alike_are_put_right():
    p, features, is_cyst = bodies(np.random.default_rng(1), apart=4.0)
    p[[3, 9, 40, 55]] = p[[3, 9, 40, 55]][:, [0, 1, 3, 2, 4]]
    p[[3, 9, 40, 55]] = 0.3 * p[[3, 9, 40, 55]] + 0.7 * np.array([0.01, 0.01, 0.485, 0.485, 0.01])
    out = settle_by_lookalikes(p, features)
    assert ((p[:, 2] > p[:, 3]) != is_cyst).sum() == 4
    assert ((out[:, 2] > out[:, 3]) == is_cyst).all()
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


def test_looks_that_part_nothing_change_no_stage():
    p, features, is_cyst = bodies(np.random.default_rng(2), n=200, apart=0.0)
    out = settle_by_lookalikes(p, features)
    assert ((out[:, 2] > out[:, 3]) == is_cyst).mean() > 0.97


def test_few_bodies_one_kind_alone_and_unmeasured_ones_stay():
    p, features, _ = bodies(np.random.default_rng(3))
    few = np.r_[0:6, 30:36]
    np.testing.assert_array_equal(settle_by_lookalikes(p[few], features[few]), p[few])
    np.testing.assert_array_equal(settle_by_lookalikes(p[:30], features[:30]), p[:30])
    features[5] = np.nan
    np.testing.assert_array_equal(settle_by_lookalikes(p, features)[5], p[5])
    assert settle_by_lookalikes(np.zeros((0, 5)), np.zeros((0, len(FEATURES)))).shape == (0, 5)


def test_where_the_reader_is_less_sure_of_everything_it_asks_for_less():
    from qckit.counting.second import USUAL_SCORE, sureness

    rng = np.random.default_rng(4)
    usual = np.r_[rng.uniform(USUAL_SCORE, 0.9, 60), rng.uniform(0.15, 0.3, 20)]
    assert sureness(usual) == 1
    assert abs(sureness(np.r_[rng.uniform(0.5, 0.6, 60), 0.2]) - 0.55 / USUAL_SCORE) < 0.03
    assert sureness(usual[-20:]) == 1 == sureness(np.zeros(0))
