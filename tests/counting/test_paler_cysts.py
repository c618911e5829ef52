"""Cysts of two kinds of darkness are said where the paler ones are nearer to the photo's shells."""

import numpy as np
import pytest

from qckit.counting.flags import PhotoSigns, judge_photo
from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.shells.pale_cysts import paler_cysts


def bodies(*kinds):
    """Surely read bodies: (stage, how many, their darkness) each, in a scatter of 0.05."""
    rng = np.random.default_rng(4)
    p, looks = [], []
    for stage, n, dark in kinds:
        p.append(np.full((n, 5), 0.01) + 0.95 * np.eye(5)[stage])
        looks.append(np.zeros((n, len(FEATURES))))
        looks[-1][:, FEATURES.index("contrast")] = dark + rng.normal(0, 0.05, n)
    return np.concatenate(p), np.concatenate(looks)


NAUPLII, SHELLS, DARK = (0, 40, 0.3), (3, 30, 0.5), (2, 20, 1.1)


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        ((NAUPLII, SHELLS, DARK, (2, 15, 0.7)), 15),  # whole-looking shells read as cysts
        ((NAUPLII, SHELLS, DARK), 0),  # one kind
        ((NAUPLII, SHELLS, DARK, (2, 15, 0.9)), 0),  # two kinds, both far from the shells
        ((NAUPLII, SHELLS, DARK, (2, 15, -0.2)), 0),  # paler than any shell
        ((NAUPLII, DARK, (2, 15, 0.7)), 0),  # no shells to hold them against
        ((NAUPLII,), 0),
    ],
)
def test_the_paler_kind_is_counted_where_it_is_nearer_to_the_shells(kinds, expected):
    assert paler_cysts(*bodies(*kinds)) == pytest.approx(expected, abs=1)


def test_what_was_not_measured_is_left_out():
    p, looks = bodies(NAUPLII, SHELLS, (2, 60, 1.1), (2, 40, 0.7))
    looks[::7] = np.nan
    assert 30 <= paler_cysts(p, looks) < 40
    assert paler_cysts(np.zeros((0, 5)), np.zeros((0, len(FEATURES)))) == 0


def signs(n_cysts, n_paler):
    stages = np.repeat([0, 2, 3], [40, n_cysts, 30])
    sure = np.full(len(stages), 0.99)
    return PhotoSigns(0, 0, 20, 0.1, 0, stages, sure, sure, np.full(len(stages), 250.0), paler_cysts=n_paler)


def test_it_is_flagged_where_it_matters():
    (flag,) = [f for f in judge_photo(signs(35, 15)) if f.code == "groups"]
    assert "the 15 paler ones are nearer to the shells" in flag.sentence
    assert "13 points higher" in flag.sentence  # 100 * 40 / 60 - 100 * 40 / 75
    assert not [f for f in judge_photo(signs(35, 3)) if f.code == "groups"]  # 2 points
