"""One piece of foreground per centre that the second reader proposes.

Where a patch holds one centre it is that object; where it holds several, each pixel goes to the centre nearest to where
the reader sees the pixel's object (votes for centres as in Kendall, Gal and Cipolla 2018, CVPR; from memory). A patch
without a centre stays whole. A halo (a shadow on the dish, a fan of bristles in dark field) that is much weaker than
its core is left off before measuring.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.splitting import CORE_LEAST, CORE_SHARE, LEAST_AREA_UM2, Cut, is_too_large

__all__ = ["cut_at_centres", "depth_of"]

REACH_UM = 30.0  # a centre this near to a patch belongs to it
DEEPEST_PX = 24


def depth_of(mask: np.ndarray, um_per_px: float) -> np.ndarray:
    """Distance to the outside in octagons: crosses and squares in turn are taken off the mask.

    Rosenfeld and Pfaltz 1968, Pattern Recognition 1:33 (from memory).

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    um_per_px : float
        [µm/px]

    Returns
    -------
    (M, N) ndarray of float32
        [µm]
    """
    inner, depth = mask.copy(), mask.astype(np.uint8)
    for k in range(1, DEEPEST_PX):
        across = inner.copy()
        across[1:] &= inner[:-1]
        across[:-1] &= inner[1:]
        if k % 2:
            across[:, 1:] &= inner[:, :-1]
            across[:, :-1] &= inner[:, 1:]
        else:
            rows = across.copy()
            across[:, 1:] &= rows[:, :-1]
            across[:, :-1] &= rows[:, 1:]
        inner = across
        if not inner.any():
            break
        depth += inner
    return depth.astype(np.float32) * np.float32(um_per_px)


def _patch_under(patches: np.ndarray, rows: np.ndarray, cols: np.ndarray, reach: int) -> np.ndarray:
    """The patch at each centre, or the commonest within reach of one that lies beside; 0 for none."""
    r = np.clip(rows.astype(np.int64), 0, patches.shape[0] - 1)
    c = np.clip(cols.astype(np.int64), 0, patches.shape[1] - 1)
    out = patches[r, c].astype(np.int64)
    for i in np.flatnonzero(out == 0):
        near = patches[max(0, r[i] - reach) : r[i] + reach + 1, max(0, c[i] - reach) : c[i] + reach + 1]
        near = near[near > 0]
        out[i] = np.bincount(near).argmax() if len(near) else 0
    return out


def cut_at_centres(mask: np.ndarray, signal: np.ndarray, um_per_px: float, proposals) -> tuple[Cut, np.ndarray]:
    """Cut the foreground into one piece per proposed centre.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    signal : (M, N) ndarray
        How far each pixel stands out.
    um_per_px : float
        [µm/px]
    proposals : Proposals

    Returns
    -------
    cut : Cut
    piece : (n,) ndarray of int
        The piece of each proposal; 0 where no foreground supports it.
    """
    from scipy import ndimage

    patches, n = ndimage.label(mask)
    under = _patch_under(patches, proposals.rows, proposals.cols, max(1, round(REACH_UM / um_per_px)))
    seeds = np.bincount(under, minlength=n + 1)
    seeds[0] = 0
    keep = _worth_keeping(patches, n, seeds, um_per_px)
    # pieces: whole patches first, then one per centre of the patches with several
    whole = keep & (seeds < 2)
    number = np.zeros(n + 1, np.int32)
    number[whole] = np.arange(1, whole.sum() + 1)
    labels = number[patches]
    piece = number[under].astype(np.int64)
    shared = np.flatnonzero(seeds[under] > 1)
    piece[shared] = whole.sum() + 1 + np.arange(len(shared))
    owner = np.concatenate([[0], np.flatnonzero(whole), under[shared]]).astype(np.int32)
    if len(shared):
        _share_out(labels, patches, seeds > 1, proposals, shared, piece, under)
    labels = _without_halo(labels, signal, len(owner), alone=seeds[owner] == 0)
    there = np.bincount(labels.ravel(), minlength=len(owner)) > 0
    there[0] = False
    renumbered = np.where(there, np.cumsum(there), 0).astype(np.int32)  # pieces that kept no pixel are no pieces
    labels, piece, owner = renumbered[labels], renumbered[piece].astype(np.int64), np.r_[owner[:1], owner[there]]
    return Cut(labels, owner, depth_of(labels > 0, um_per_px)), piece


def _worth_keeping(patches, n, seeds, um_per_px) -> np.ndarray:
    """Patches that hold a centre, or are neither flecks nor rims."""
    from scipy import ndimage

    area = np.bincount(patches.ravel(), minlength=n + 1) * um_per_px**2
    keep = (seeds > 0) | (area >= LEAST_AREA_UM2)
    keep[0] = False
    boxes = ndimage.find_objects(patches)
    for i in np.flatnonzero(keep & (seeds == 0)):
        keep[i] = not is_too_large(boxes[i - 1], area[i], um_per_px)
    return keep


def _share_out(labels, patches, several, proposals, shared, piece, under) -> None:
    """Give each pixel of the patches with several centres to the centre that it points to."""
    from scipy.spatial import cKDTree

    way = proposals.way
    scale = np.array(patches.shape) / np.array(way.shape[1:])
    # votes are as coarse as the reader's planes; one question per vote is enough
    flat = np.flatnonzero(several[patches])
    rows, cols = np.divmod(flat, patches.shape[1])
    cell = np.minimum((rows / scale[0]).astype(np.int64), way.shape[1] - 1) * way.shape[2]
    cell += np.minimum((cols / scale[1]).astype(np.int64), way.shape[2] - 1)
    asked = np.zeros(way.shape[1] * way.shape[2], bool)
    asked[cell] = True
    asked = np.flatnonzero(asked)
    r, c = np.divmod(asked, way.shape[2])
    aim = np.stack([(r + 0.5) * scale[0] + way[0, r, c], (c + 0.5) * scale[1] + way[1, r, c]], axis=1)
    k = min(2, len(shared))
    _, near = cKDTree(np.stack([proposals.rows[shared], proposals.cols[shared]], axis=1)).query(aim, k=k)
    answer = np.zeros((way.shape[1] * way.shape[2], k), np.int64)
    answer[asked] = near.reshape(len(asked), k)
    home, mine = under[shared], patches.ravel()[flat]
    out = np.zeros(len(flat), labels.dtype)
    for choice in reversed(range(k)):
        to = answer[cell, choice]
        out = np.where(home[to] == mine, piece[shared][to], out)
    labels.ravel()[flat] = out


def _without_halo(labels, signal, n, *, alone) -> np.ndarray:
    """Leave off what is much weaker than the rest of its piece, where that is a large part of it."""
    flat = np.flatnonzero(labels)
    label, value = labels.ravel()[flat], signal.ravel()[flat]
    size = np.maximum(np.bincount(label, minlength=n), 1)
    mean = np.bincount(label, weights=value, minlength=n) / size
    spread = np.sqrt(np.maximum(np.bincount(label, weights=value * value, minlength=n) / size - mean**2, 0))
    core = value > (CORE_SHARE * (mean + 1.28 * spread))[label]
    share = np.bincount(label, weights=core, minlength=n) / size
    weak = ~core & (share < CORE_LEAST)[label] & ~alone[label]
    labels.ravel()[flat[weak]] = 0
    return labels
