"""Cysts and shells told apart by colours, a likeness and the reading together."""

import numpy as np
import pytest

from qckit.counting.shells.joint_groups import settle_by_groups
from qckit.counting.shells.like_bodies import GROUPS as BY_OTHERS
from qckit.counting.shells.see_through import GROUPS as BY_FLOOR

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


def settled(p, colours, likeness=None, groups=BY_FLOOR):
    """As settled, or as read where nothing is said."""
    likeness = np.full(len(p), np.nan) if likeness is None else likeness
    out = settle_by_groups(p, colours, likeness, groups)
    return p if out is None else out


def told(p):
    return p[:, 2] > p[:, 3]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("line", [-5.0, 5.0])
def test_a_group_read_as_the_other_kind_is_put_right(seed, line):
    """All are read as cysts, or all as shells, though less surely those that are not."""
    rng = np.random.default_rng(seed)
    is_cyst = np.arange(50) < 22
    p = read_as(line + np.where(is_cyst, 1.5, -1.5) + rng.normal(size=50))
    out = settled(p, coloured(rng, is_cyst))
    assert (told(p) == is_cyst).mean() < 0.65
    assert (told(out) == is_cyst).mean() > 0.85
    np.testing.assert_allclose(out.sum(axis=1), 1)
    np.testing.assert_allclose(out[:, [0, 1, 4]], p[:, [0, 1, 4]])


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("cyst", [True, False])
def test_bodies_of_one_kind_stay_as_read(seed, cyst):
    rng = np.random.default_rng(seed)
    p = read_as(np.where(cyst, 3.0, -3.0) + rng.normal(size=40))
    out = settled(p, coloured(rng, np.full(40, cyst)))
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
        out = settled(read_as(np.where(is_cyst, 4.0, -4.0) + rng.normal(size=30)), colours)
        wrong.append((told(out) != is_cyst).mean())
    assert np.mean(wrong) <= most


@pytest.mark.parametrize("gap", [0.15, 0.3, 0.5])
def test_shade_overturns_nothing_that_reading_and_likeness_have_right(gap):
    wrong = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        is_cyst, lit = np.arange(40) < 18, rng.uniform(size=40) < 0.5
        colours = CYSTS_AT + 0.03 * rng.normal(size=(40, 3)) + gap * lit[:, None] * [1.0, 0.6, 0.3]
        likeness = BY_FLOOR.means[np.where(is_cyst, 0, 1)] + 0.15 * rng.normal(size=40)
        out = settled(read_as(np.where(is_cyst, 4.0, -4.0) + rng.normal(size=40)), colours, likeness)
        wrong.append((told(out) != is_cyst).mean())
    assert np.mean(wrong) <= 0.03


def test_few_bodies_say_nothing_and_a_body_without_a_colour_goes_by_the_line_of_the_others():
    rng = np.random.default_rng(1)
    is_cyst = np.arange(50) < 25
    p, colours = read_as(np.where(is_cyst, -0.5, -3.0)), coloured(rng, is_cyst)
    unknown = np.full(50, np.nan)
    assert settle_by_groups(p[:14], colours[:14], unknown[:14], BY_FLOOR) is None
    assert settle_by_groups(p[:0], colours[:0], unknown[:0], BY_FLOOR) is None
    colours[::2] = np.nan
    out = settle_by_groups(p, colours, unknown, BY_FLOOR)
    np.testing.assert_allclose(out.sum(axis=1), 1)
    assert told(out)[1::2].sum() > 10
    share = out[::2, 2] / out[::2, 2:4].sum(axis=1)
    assert share[is_cyst[::2]].min() > share[~is_cyst[::2]].max()


@pytest.mark.parametrize("groups", [BY_FLOOR, BY_OTHERS])
def test_a_likeness_says_which_group_of_colours_is_which(groups):
    """All are read nearly alike, the colours part them into two groups, and the likeness tells their names."""
    right = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        is_cyst = np.arange(40) < 18
        p = read_as(np.where(is_cyst, -1.7, -2.3) + rng.normal(size=40))
        colours = coloured(rng, is_cyst)
        likeness = groups.means[np.where(is_cyst, 0, 1)] + np.sqrt(groups.within) * rng.normal(size=40)
        likeness[::5] = np.nan  # of those, colours alone must tell
        right.append((told(settled(p, colours, likeness, groups)) == is_cyst).mean())
    assert np.mean(right) > 0.9


def test_a_reading_is_not_turned_round():
    """Cysts and shells read surely and rightly keep their names where a likeness has them the other way round."""
    rng = np.random.default_rng(3)
    is_cyst = np.arange(40) < 20
    p = read_as(np.where(is_cyst, 4.0, -4.0) + rng.normal(size=40))
    likeness = BY_FLOOR.means[np.where(is_cyst, 1, 0)]
    assert (told(settled(p, coloured(rng, is_cyst), likeness)) == is_cyst).mean() > 0.9


def test_two_groups_that_the_reading_does_not_know_are_not_believed():
    rng = np.random.default_rng(4)
    lit = rng.uniform(size=60) < 0.5
    colours = CYSTS_AT + 0.03 * rng.normal(size=(60, 3)) + 0.4 * lit[:, None]
    p = read_as(2.0 * rng.normal(size=60))
    assert (told(settled(p, colours)) == told(p)).mean() > 0.8
