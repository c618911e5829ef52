"""Cysts and empty shells told apart in the light of the photo's own mixture of the two.

The two look alike, and their mixture differs from photo to photo more than anything else: after a good hatch nearly
every round thing is an empty shell, after a poor one a cyst. The photo's mixture is estimated from the probabilities
themselves, by turns with the probabilities given that mixture (expectation and maximisation: Saerens, Latinne and
Decaestecker 2002, Neural Computation 14:21; from memory), and held towards the usual mixture as if some objects of it
had been seen. How likely each object is one of the two stays as it was read, so that nauplii are not touched.
"""

from __future__ import annotations

import numpy as np

from qckit.stages import STAGES

__all__ = ["USUAL_CYSTS", "settle_cysts_and_shells"]

USUAL_CYSTS = 0.52
"""Share of cysts among the 2630 cysts and shells of ``tests/photos/truth.csv`` of which at least 35 % can be seen."""

USUAL_WEIGHT = (
    40.0  # objects of the usual mixture added to the photo's own; where a light is misread, its mixture is misread too
)
ROUNDS = 30
PAIR = [STAGES.index("cyst"), STAGES.index("shell")]


def settle_cysts_and_shells(
    p: np.ndarray, usual: float = USUAL_CYSTS, usual_weight: float = USUAL_WEIGHT
) -> np.ndarray:
    """Bring probabilities that assume the usual mixture of cysts and shells to the photo's own.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    usual : float
        Share of cysts among cysts and shells that the probabilities assume.
    usual_weight : float
        Weight of the usual mixture, in objects; 0 lets the photo speak alone.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; certain rows stay certain.
    """
    either = p[:, PAIR].sum(axis=1)
    cyst = p[:, PAIR[0]] / np.maximum(either, 1e-12)
    share, settled, shell, weight = usual, cyst, 1 - cyst, max(usual_weight + either.sum(), 1e-12)
    for _ in range(ROUNDS):
        as_cyst, as_shell = cyst * share / usual, shell * (1 - share) / (1 - usual)
        settled = as_cyst / np.maximum(as_cyst + as_shell, 1e-12)
        share = (usual_weight * usual + either @ settled) / weight
    out = p.copy()
    out[:, PAIR[0]], out[:, PAIR[1]] = either * settled, either * (1 - settled)
    return out
