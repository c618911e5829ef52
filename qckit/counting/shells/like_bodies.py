"""Cysts and empty shells told apart by how like a photo's other bodies each is: cysts are alike, shells are various.

Whatever the light does to a whole cyst, its rough skin, its rim and the lamps' points on it, it does to all of them,
while each shell is torn, folded and turned in its own way. So how well the picture of a body matches that of the one
most like it (the correlation of their light within the reach of a body, floor around it included) is high for cysts and
low for shells in light that no reader has learnt, too. The two groups are asked as those of
:mod:`qckit.counting.shells.see_through` are: a reading that draws the line between cysts and shells in the wrong place
is put right by which line makes the likenesses likeliest. To be alike makes a cyst, but to be unlike makes no shell: a
cyst may be dented, half hidden or the only one. So the line is only drawn where more are cysts than was read.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from qckit.counting.shells.see_through import Groups, settle_by_likeness
from qckit.counting.working import WorkImage

__all__ = ["likeness_to_others", "settle_by_others"]

REACH_UM, STEP_UM = 170.0, 16.0  # of what is compared around a centre, and its pixels
SHIFTS = tuple((down, across) for down in (-1, 0, 1) for across in (-1, 0, 1))  # centres are known to a pixel
LEAST_SHOWN = 0.6  # share of the reach that must show in both, other bodies and the photo's outside left out
MOST_ALIKE = 0.9985  # correlation: beyond it noise decides
MOST_OTHERS = 120  # bodies that each is compared with
FEWEST_BODIES = 5
LINES = np.arange(-4.0, 0.1)  # logits at which the reading draws the line
LINE_WIDTH = 1.5  # normal about 0
# of cysts and of shells, Fisher's z: tests/photos/fit_see_through.py --by others
GROUPS = Groups(np.array([2.29, 1.35]), np.array([[0.069, 0.008], [0.008, 0.056]]), 0.099, astray=0.3)


def settle_by_others(p: np.ndarray, likeness: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by how like others each body is.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    likeness : (n,) ndarray
        From :func:`likeness_to_others`; NaN where it is not known.

    Returns
    -------
    (n, 5) ndarray
        As of :func:`qckit.counting.shells.see_through.settle_by_likeness`.
    """

    def readings(read):
        return 1 / (1 + np.exp(LINES[:, None] - read)), -((LINES / LINE_WIDTH) ** 2) / 2

    return settle_by_likeness(p, likeness, GROUPS, readings, FEWEST_BODIES)


def likeness_to_others(work: WorkImage, labels: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """How like the one most like it among them each body is.

    Parameters
    ----------
    work : WorkImage
    labels : (M, N) ndarray of int
        Pieces of foreground, 0 for floor.
    rows, cols : (n,) ndarray
        Centres in working pixels, the first pixel's centre at 0.5.

    Returns
    -------
    (n,) ndarray
        Fisher's z of the correlation; NaN where too little of a body, or of all others with it, can be seen.
    """
    n = len(rows)
    if n < 2:
        return np.full(n, np.nan)
    light, visible = _pictures(work, labels, rows, cols)
    others = np.unique(np.linspace(0, n - 1, min(n, MOST_OTHERS)).astype(int))
    itself = np.arange(n)[:, None] == others
    best = np.full(n, -1.0)
    for shift in SHIFTS:
        moved = [np.roll(a[others], shift, (1, 2)) for a in (light, visible)]
        matched = np.where(itself, -1.0, _correlations(light, visible, *moved))
        best = np.maximum(best, matched.max(axis=1))
    return np.where(best > -1, np.arctanh(np.clip(best, -MOST_ALIKE, MOST_ALIKE)), np.nan)


def _pictures(work: WorkImage, labels: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each body's surroundings in pixels of ``STEP_UM``: light (n, k, k, 3), and what is it or floor (n, k, k)."""
    um = work.um_per_px
    reach = int(REACH_UM / STEP_UM) + 1  # a pixel more, so that shifting turns nothing over
    steps = np.arange(-reach, reach + 1) * STEP_UM
    far = int(np.ceil((steps[-1] + 4 * STEP_UM) / um))
    r, c = (np.rint(np.asarray(at, float) - 0.5).astype(int) for at in (rows, cols))
    at = np.rint(steps / um).astype(int) + far
    inside = np.arange(-far, far + 1)
    down, across = r[:, None] + inside, c[:, None] + inside
    height, width = labels.shape
    within = ((down >= 0) & (down < height))[:, at, None] & ((across >= 0) & (across < width))[:, None, at]
    down, across = np.clip(down, 0, height - 1), np.clip(across, 0, width - 1)
    light = np.empty((len(r), len(at), len(at), 3), np.float32)
    for k in range(len(r)):  # one at a time, so that little lies in memory
        patch = work.pixels[down[k][:, None], across[k]].astype(np.float32)
        light[k] = ndimage.gaussian_filter(patch, (STEP_UM / um, STEP_UM / um, 0))[at[:, None], at]
    piece = labels[down[:, at, None], across[:, None, at]]
    at_centre = labels[np.clip(r, 0, height - 1), np.clip(c, 0, width - 1)][:, None, None]
    visible = within & ((piece == 0) | (piece == at_centre)) & (np.hypot(steps[:, None], steps) <= REACH_UM)
    return light - light.mean(axis=(0, 1, 2)), visible.astype(np.float32)


def _correlations(light: np.ndarray, visible: np.ndarray, other: np.ndarray, other_visible: np.ndarray) -> np.ndarray:
    """Correlation of each with each other where both show, colours about their own means; -1 where too little does."""
    n, m = len(light), len(other)
    a_visible, b_visible = visible.reshape(n, -1), other_visible.reshape(m, -1)
    shared = a_visible @ b_visible.T
    enough = np.maximum(shared, 1)
    both = of_a = of_b = 0.0
    for colour in range(3):
        a, b = light[..., colour].reshape(n, -1) * a_visible, other[..., colour].reshape(m, -1) * b_visible
        sum_a, sum_b = a @ b_visible.T, a_visible @ b.T
        both = both + a @ b.T - sum_a * sum_b / enough
        of_a = of_a + (a * a) @ b_visible.T - sum_a**2 / enough
        of_b = of_b + a_visible @ (b * b).T - sum_b**2 / enough
    out = both / np.sqrt(np.maximum(of_a, 1e-3) * np.maximum(of_b, 1e-3))
    return np.where(shared < LEAST_SHOWN * a_visible.sum(axis=1).max(), -1.0, out)
