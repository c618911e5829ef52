"""The line between cysts and shells is drawn where a photo's own round bodies part."""

import numpy as np
import pytest

from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.shells.dividing_line import redraw_line
from qckit.counting.shells.two_groups import COLUMNS
from qckit.stages import STAGES

SHARES = [STAGES.index("cyst"), STAGES.index("shell")]


def sample(seed, shift=0.0, apart=6.0, n_nauplii=40, n=60):
    """Nauplii, then half cysts and half shells so many spreads apart in three looks, ranked well but read ``shift``
    logits too readily as shells."""
    rng = np.random.default_rng(seed)
    is_cyst = np.arange(n) < n // 2
    features = rng.normal(0, 1, (n_nauplii + n, len(FEATURES)))
    features[n_nauplii:, COLUMNS[:3]] += apart * is_cyst[:, None]
    logit = np.where(is_cyst, 2.0, -2.0) + rng.uniform(-1, 1, n) - shift
    p = np.zeros((n_nauplii + n, 5))
    p[:n_nauplii] = [0.96, 0.01, 0.01, 0.01, 0.01]
    p[n_nauplii:, [0, 1, 4]] = 0.01
    p[n_nauplii:, SHARES[0]] = 0.97 / (1 + np.exp(-logit))
    p[n_nauplii:, SHARES[1]] = 0.97 - p[n_nauplii:, SHARES[0]]
    return p, features, is_cyst


def called_cysts(p, n_nauplii=40):
    return p[n_nauplii:, SHARES[0]] > p[n_nauplii:, SHARES[1]]


@pytest.mark.parametrize("shift", [3.0, -3.0])
def test_a_whole_group_misread_together_is_put_right(shift):
    for seed in range(5):
        p, features, is_cyst = sample(seed, shift)
        assert (called_cysts(p) != is_cyst).sum() >= 25
        out = redraw_line(p, features)
        assert (called_cysts(out) == is_cyst).all()
        np.testing.assert_allclose(out.sum(axis=1), 1)
        np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


def test_a_line_that_the_looks_do_not_show_stays():
    for seed in range(20):
        for shift, apart in ((0.0, 6.0), (0.0, 0.0), (2.0, 0.0), (-2.0, 0.0)):
            p, features, _ = sample(seed, shift, apart)
            assert redraw_line(p, features) is p


def test_an_outlier_is_no_group():
    """One sure shell unlike all others: as few as that say nothing of the light."""
    p, features, _ = sample(0)
    features[40] += 30.0
    p[40, SHARES] = 0.60, 0.37
    assert redraw_line(p, features) is p


def test_few_unmeasured_and_no_bodies_stay():
    p, features, _ = sample(1, 3.0)
    few = np.r_[0:46, 70:76]
    np.testing.assert_array_equal(redraw_line(p[few], features[few]), p[few])
    features[45] = np.nan
    np.testing.assert_array_equal(redraw_line(p, features)[45], p[45])
    none, no_looks = np.zeros((0, 5)), np.zeros((0, len(FEATURES)))
    assert redraw_line(none, no_looks).shape == (0, 5)


def test_the_order_of_the_objects_does_not_matter():
    p, features, _ = sample(3, 1.5, apart=2.0)
    turned = np.random.default_rng(0).permutation(len(p))
    np.testing.assert_allclose(redraw_line(p[turned], features[turned]), redraw_line(p, features)[turned], atol=1e-12)
