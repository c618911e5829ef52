"""Outlines that shadows lengthen are not taken for those of a squeezed photo (``counting/damage/integrity.py``)."""

from types import SimpleNamespace

import numpy as np
import pytest

from qckit.counting.damage.integrity import _stretched
from qckit.stages import CLASSES, STAGES


def round_bodies(high: float, wide: float, below: float):
    """Forty cysts and shells whose outlines reach so far beyond their centres, of their height."""
    n = 40
    rows, cols = np.full(n, 500.0), np.arange(n) * 60.0
    middle = np.stack([rows + below * high, cols], axis=1)
    half = np.array([high, wide]) / 2
    p = np.full((n, len(CLASSES)), 0.02)
    p[np.arange(n), STAGES.index("cyst") + np.arange(n) % 2] = 0.9
    boxes = np.concatenate([middle - half, middle + half], axis=1).round().astype(int)
    ones = np.ones(n)
    return SimpleNamespace(boxes=boxes, p=p, p_single=ones, features=ones[:, None], rows=rows, cols=cols)


@pytest.mark.parametrize("below", [-0.18, 0.18])
def test_a_shadow_on_one_side_is_no_squeeze(below):
    assert _stretched(round_bodies(30, 20, below)) == ""


def test_bodies_around_their_centres_are_squeezed():
    assert _stretched(round_bodies(30, 20, 0.0)) == "its objects are 1.5 times higher than wide"
    assert _stretched(round_bodies(20, 30, 0.0)) == "its objects are 1.5 times wider than high"
    assert _stretched(round_bodies(24, 24, 0.0)) == ""
