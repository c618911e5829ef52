"""The line between a photo's cysts and shells, drawn elsewhere than the reading draws it.

In light that it does not know the reader ranks cysts and shells well and draws the line between them in the wrong
place: a whole group is misread together, each body of it surely, and doubts about single bodies say nothing of that. So
the line is drawn elsewhere, and each parting is judged by two likelihoods: of the bodies' looks as two normal groups of
one width, on a line by a rule fitted to all other bodies, and of what was read, had all of it been read that much too
readily as the one or as the other. Where one parting is far likelier than the one as read, it takes its place.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.shells.two_groups import LEAST_EACH, RIDGE_OTHERS, RoundBodies

__all__ = ["redraw_line"]

LINES = np.arange(-7.0, 7.1)  # logits of the reading at which the line is drawn
CLEAR = 10.0  # log likelihood by which another line must be better; where it lies is normal about 0, of width 1


def redraw_line(p: np.ndarray, features: np.ndarray) -> np.ndarray:
    """Draw the line between cysts and shells where the photo's own round bodies clearly part.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    features : (n, len(FEATURES)) ndarray
        As measured; rows of NaN are left as they are.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change. The same as ``p`` where no other line is clearly
        better, or it would move fewer bodies than make a group.
    """
    bodies = RoundBodies.of(p, features)
    if bodies is None:
        return p
    read = np.log(bodies.reading / (1 - bodies.reading))[:, None] - LINES
    above = read > 0
    likely = _gain_by_looks(bodies, above) - np.logaddexp(0, -np.abs(read)).sum(axis=0) - LINES**2 / 2
    n_above, as_read = above.sum(axis=0), np.argmin(np.abs(LINES))
    best = np.argmax(np.where(_enough(n_above, len(read)), likely, -np.inf))
    moved = abs(int(n_above[best]) - int(n_above[as_read]))
    if moved < LEAST_EACH or likely[best] <= likely[as_read] + CLEAR:
        return p
    return bodies.settled(p, read[:, best])


def _gain_by_looks(bodies: RoundBodies, partings: np.ndarray) -> np.ndarray:
    """How much better two groups describe the looks than one; 0 where one has too few bodies."""
    is_cyst = partings.astype(float)
    along = bodies.read_by_others(is_cyst, bodies.rule(RIDGE_OTHERS))
    n_cysts = is_cyst.sum(axis=0)
    n_shells = len(is_cyst) - n_cysts
    of_cysts = (along * is_cyst).sum(axis=0)
    cysts, shells = of_cysts / np.maximum(n_cysts, 1), (along.sum(axis=0) - of_cysts) / np.maximum(n_shells, 1)
    within = ((along - np.where(partings, cysts, shells)) ** 2).mean(axis=0)
    gain = len(along) / 2 * np.log(np.maximum(along.var(axis=0), 1e-6) / np.maximum(within, 1e-6))
    return np.where(_enough(n_cysts, len(along)) & (cysts > shells), gain, 0.0)


def _enough(n_cysts: np.ndarray, n: int) -> np.ndarray:
    """Whether both groups are large enough."""
    return np.minimum(n_cysts, n - n_cysts) >= LEAST_EACH
