"""One piece of foreground per centre that the second reader proposes.

Where a patch holds one centre it is that object; where it holds several, each pixel goes to the centre nearest to where
the reader sees the pixel's object (votes for centres as in Kendall, Gal and Cipolla 2018, CVPR; from memory). A patch
without a centre stays whole. A halo (a shadow on the dish, a fan of bristles in dark field) that is much weaker than
its core is left off before measuring.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.fallback.splitting import CORE_LEAST, CORE_SHARE, LARGEST_UM, LEAST_AREA_UM2, Cut, is_too_large
from qckit.counting.foreground import THIN_UM

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
    width = mask.shape[1] + 2
    # a border that never holds a pixel back: bodies go on outside the photo
    depth = np.pad(mask.view(np.uint8), 1, constant_values=DEEPEST_PX + 1).ravel()
    flat = np.flatnonzero(mask)
    at = flat + 2 * (flat // mask.shape[1]) + width + 1
    sides = (1, -1, width, -width)
    corners = (width + 1, width - 1, 1 - width, -width - 1)
    for k in range(1, DEEPEST_PX):
        # pixels whose neighbours all came as far as they did go one deeper; ever fewer are asked
        least = depth.take(at + 1)
        for step in sides[1:] if k % 2 else sides[1:] + corners:
            np.minimum(least, depth.take(at + step), out=least)
        at = at[least >= k]
        if not len(at):
            break
        depth[at] = k + 1
    out = np.zeros(mask.shape, np.float32)
    out.ravel()[flat] = depth.take(flat + 2 * (flat // mask.shape[1]) + width + 1) * np.float32(um_per_px)
    return out


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
    flat = np.flatnonzero(mask)  # a small part of the photo: everything below goes by these pixels
    patch_of = patches.ravel().take(flat)
    del patches
    keep = _patches_to_keep(flat, patch_of, seeds, mask.shape[1], um_per_px)
    # pieces: whole patches first, then one per centre of the patches with several
    whole = keep & (seeds < 2)
    number = np.zeros(n + 1, np.int32)
    number[whole] = np.arange(1, whole.sum() + 1)
    label = number.take(patch_of)
    piece = number[under].astype(np.int64)
    shared = np.flatnonzero(seeds[under] > 1)
    piece[shared] = whole.sum() + 1 + np.arange(len(shared))
    owner = np.concatenate([[0], np.flatnonzero(whole), under[shared]]).astype(np.int32)
    if len(shared):
        several = np.flatnonzero((seeds > 1).take(patch_of))
        label[several] = _shares(
            flat[several],
            patch_of[several],
            shape=mask.shape,
            proposals=proposals,
            shared=shared,
            piece=piece,
            under=under,
        )
    labelled = np.flatnonzero(label)
    flat, label = flat[labelled], label[labelled]
    label = _without_halo(label, signal.ravel().take(flat), len(owner), alone=seeds[owner] == 0)
    there = np.bincount(label, minlength=len(owner)) > 0
    there[0] = False
    renumbered = np.where(there, np.cumsum(there), 0).astype(np.int32)  # pieces that kept no pixel are no pieces
    labels = np.zeros(mask.shape, np.int32)
    labels.ravel()[flat] = renumbered.take(label)
    piece, owner = renumbered[piece].astype(np.int64), np.r_[owner[:1], owner[there]]
    return Cut(labels, owner, depth_of(labels > 0, um_per_px)), piece


def _patches_to_keep(flat, patch_of, seeds, width, um_per_px) -> np.ndarray:
    """Patches that hold a centre, or are neither flecks nor rims."""
    area = np.bincount(patch_of, minlength=len(seeds)) * um_per_px**2
    keep = (seeds > 0) | (area >= LEAST_AREA_UM2)
    keep[0] = False
    # the foreground has nothing thinner than THIN_UM, so only the larger ones can be too long
    for i in np.flatnonzero(keep & (seeds == 0) & (area > 0.8 * THIN_UM * LARGEST_UM)):
        rows, cols = np.divmod(flat[patch_of == i], width)
        box = slice(rows[0], rows[-1] + 1), slice(cols.min(), cols.max() + 1)
        keep[i] = not is_too_large(box, area[i], um_per_px)
    return keep


def _shares(flat, mine, shape, proposals, shared, piece, under) -> np.ndarray:
    """The piece of each pixel of the patches with several centres: that of the centre to which it points.

    ``flat`` and ``mine`` are the pixels and their patches.
    """
    from scipy.spatial import cKDTree

    offsets = proposals.offsets
    (down, right), (n_rows, n_cols) = np.array(shape) / np.array(offsets.shape[1:]), offsets.shape[1:]
    # votes are as coarse as the reader's planes; one question per vote is enough
    rows, cols = np.divmod(flat, shape[1])
    cell = np.minimum((rows / down).astype(np.int64), n_rows - 1) * n_cols
    cell += np.minimum((cols / right).astype(np.int64), n_cols - 1)
    voter = _distinct(cell, n_rows * n_cols)
    r, c = np.divmod(voter, n_cols)
    to_row, to_col = (plane.ravel().take(voter) for plane in offsets)
    aim = np.stack([(r + 0.5) * down + to_row, (c + 0.5) * right + to_col], axis=1)
    centres = cKDTree(np.stack([proposals.rows[shared], proposals.cols[shared]], axis=1))
    answer = np.zeros((n_rows * n_cols, min(2, len(shared))), np.int64)
    answer[voter] = _nearest_two(centres, aim, max(down, right), shape)
    patch_of_centre = under[shared]
    out = np.zeros(len(flat), np.int32)
    for choice in reversed(range(answer.shape[1])):
        to = answer[cell, choice]
        out = np.where(patch_of_centre[to] == mine, piece[shared][to], out)
    return out


def _nearest_two(centres, aim, grain, shape) -> np.ndarray:
    """The two centres nearest to each aim (one, if there is only one), as indices: (n, 2).

    Most aims gather at few places, a grain across. Each place is asked once; only where it lies about midway between
    two centres is every aim asked.
    """
    k = min(2, centres.n)
    if k < 2:
        return np.zeros((len(aim), 1), np.int64)
    n_rows, n_cols = int(shape[0] / grain) + 1, int(shape[1] / grain) + 1
    at = np.clip((aim / grain).astype(np.int64), 0, (n_rows - 1, n_cols - 1)) @ (n_cols, 1)
    place = _distinct(at, n_rows * n_cols)
    far, near = centres.query((np.stack(np.divmod(place, n_cols), axis=1) + 0.5) * grain, k=k)
    number = np.zeros(n_rows * n_cols, np.int32)
    number[place] = np.arange(len(place))
    mine = number.take(at)
    out = near[mine]
    unsure = np.flatnonzero((far[:, 1] - far[:, 0] < 1.5 * grain).take(mine))
    out[unsure] = centres.query(aim[unsure], k=k)[1]
    return out


def _distinct(index: np.ndarray, n: int) -> np.ndarray:
    """Distinct values among whole numbers below n, in order."""
    present = np.zeros(n, bool)
    present[index] = True
    return np.flatnonzero(present)


def _without_halo(label, value, n, *, alone) -> np.ndarray:
    """Labels of pixels without what is much weaker than the rest of its piece, where that is a large part of it."""
    value = value.astype(float)
    size = np.maximum(np.bincount(label, minlength=n), 1)
    mean = np.bincount(label, weights=value, minlength=n) / size
    spread = np.sqrt(np.maximum(np.bincount(label, weights=value * value, minlength=n) / size - mean**2, 0))
    core = value > (CORE_SHARE * (mean + 1.28 * spread)).take(label)
    share = np.bincount(label[core], minlength=n) / size
    leave = (share < CORE_LEAST) & ~alone
    return np.where(~core & leave.take(label), 0, label)
