"""Places where the reader sees something, however faintly, and how each lies among the others.

A second mark on one body, a shell beside its embryo and a body under another look alike where they are; what tells them
is what lies around: the nearest surer place, whether the reader's sureness sags between the two, and what is there.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.reader.proposals import Proposals

__all__ = ["AROUND", "look_around"]

BOXES = (1, 2, 4, 6)  # half sides of squares over which sureness is averaged, in pixels of the reader's planes
SURER = 3  # so many nearest surer places are looked at
AMONG = 17  # of so many nearest ones
REACHES_UM = (100.0, 300.0)  # over which what is near counts less and less
BETWEEN_UM, LIKE_UM, FAR_UM = 200.0, 150.0, 600.0
MOST = 8.0  # logits: surer than that says no more
STEPS = 9  # places looked at between two others
LEAST = 1e-3  # of a probability
AROUND = len(BOXES) + SURER * (len(REACHES_UM) + 1) + 1 + 5
"""Numbers per place: mean sureness around it, distances and sureness of the nearest surer places, how sureness sags
on the way to the nearest of them, and what the reader takes that one for."""


def look_around(heat: np.ndarray, proposals: Proposals, *, stride: float, um_per_px: float) -> np.ndarray:
    """Say how places lie among each other.

    Parameters
    ----------
    heat : (P, Q) ndarray
        How sure the reader is of a centre, in logits.
    proposals : Proposals
        In pixels of the picture that the reader saw.
    stride : float
        Pixels of the picture per pixel of ``heat``.
    um_per_px : float
        Of the picture. [µm/px]

    Returns
    -------
    (n, AROUND) ndarray
    """
    r, c = (np.floor(v / stride).astype(int) for v in (proposals.rows, proposals.cols))
    um, sure = um_per_px * stride, np.clip(heat, -MOST, MOST)
    level = sure[r, c].astype(float)
    near, apart = _nearest_surer(np.stack([r, c], axis=1) * um, level)
    away = np.concatenate([np.exp(-apart / reach) for reach in REACHES_UM], axis=1)
    more = np.where(near >= 0, level[near] - level[:, None], 0) * np.exp(-apart / LIKE_UM)
    first, is_there = near[:, 0], near[:, 0] >= 0
    share = np.linspace(0, 1, STEPS)[:, None, None]
    at = np.stack([r, c], axis=1)
    path = np.rint(at + (at[first] - at) * share).astype(int)
    lowest = sure[path[..., 0], path[..., 1]].min(axis=0)
    sag = np.where(is_there, lowest - level, 0) * np.exp(-apart[:, 0] / BETWEEN_UM)
    other = np.where(is_there[:, None], np.log(proposals.p[first] + LEAST), 0) * np.exp(-apart[:, :1] / LIKE_UM)
    return np.concatenate([_means_around(sure, r, c), away, more, sag[:, None], other], axis=1)


def _means_around(plane, r, c) -> np.ndarray:
    """Means over squares around pixels; beyond the border as at it."""
    reach = max(BOXES)
    steps = np.arange(-reach, reach + 1)
    rows, cols = (np.clip(v[:, None] + steps, 0, n - 1) for v, n in zip((r, c), plane.shape, strict=True))
    square = plane[rows[:, :, None], cols[:, None, :]]
    inner = (slice(reach - k, reach + k + 1) for k in BOXES)
    return np.stack([square[:, s, s].mean(axis=(1, 2)) for s in inner], axis=1)


def _nearest_surer(at_um, sure) -> tuple[np.ndarray, np.ndarray]:
    """The nearest places that are surer, as indices, and how far they are: (n, SURER); -1 and ``FAR_UM`` for none."""
    from scipy.spatial import cKDTree

    n = len(sure)
    near, apart = np.full((n, SURER), -1), np.full((n, SURER), FAR_UM)
    if n < 2:
        return near, apart
    rank = np.empty(n, int)
    rank[np.argsort(-sure, kind="stable")] = np.arange(n)
    k = min(AMONG, n)
    far, who = cKDTree(at_um).query(at_um, k=k)
    far[(rank[who] >= rank[:, None]) | (far > FAR_UM)] = np.inf
    order = np.argsort(far, axis=1, kind="stable")[:, :SURER]
    there = np.isfinite(np.take_along_axis(far, order, axis=1))
    width = order.shape[1]
    near[:, :width] = np.where(there, np.take_along_axis(who, order, axis=1), -1)
    apart[:, :width] = np.where(there, np.take_along_axis(far, order, axis=1), FAR_UM)
    return near, apart
