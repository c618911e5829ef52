"""The two centres nearest to many aims: places asked together have the same answer as each place asked for itself."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from qckit.counting.segmentation.seeded import MIDWAY, _nearest_to_places


@pytest.mark.parametrize("n", [2, 3, 40])
@pytest.mark.parametrize("grain", [1.37, 2.0])
def test_places_asked_together(rng, n, grain):
    centres = np.floor(rng.random((n, 2)) * 150) * grain  # whole steps apart: many lie equally near to a place
    centres[-1] = centres[0] if n == 40 else centres[-1]
    row, col = np.divmod(np.flatnonzero(rng.random(150 * 150) < 0.4), 150)
    tree = cKDTree(centres)
    far, near = tree.query((np.stack([row, col], axis=1) + 0.5) * grain, k=2)
    found, is_unsure = _nearest_to_places(tree, row, col, grain)
    assert (found == near).all()
    assert (is_unsure == (far[:, 1] - far[:, 0] < MIDWAY * grain)).all()
    assert n == 40 or not is_unsure.all()
