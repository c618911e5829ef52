"""One piece of foreground per centre that the reader proposes.

Where a patch holds one centre it is that object; where it holds several, each pixel goes to the centre nearest to where
the reader sees the pixel's object (votes for centres as in Kendall, Gal and Cipolla 2018, CVPR; from memory). A patch
without a centre stays whole. A halo (a shadow on the dish, a fan of bristles in dark field) that is much weaker than
its core is left off before measuring.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.fallback.splitting import (
    CORE_LEAST,
    CORE_SHARE,
    LARGEST_UM,
    LEAST_AREA_UM2,
    Cut,
    is_too_large,
    piece_after_piece,
    starts_of,
)
from qckit.counting.segmentation.foreground import THIN_UM
from qckit.counting.segmentation.runs import Runs, runs_of

__all__ = ["cut_at_centres", "depth_of", "supported_at"]

REACH_UM = 30.0  # a centre this near to a patch belongs to it
DEEPEST_PX = 24
MIDWAY, TOGETHER = 1.5, 3  # grains by which two centres are as near; places a side that are asked as one


def depth_of(flat: np.ndarray, shape: tuple[int, int], um_per_px: float) -> np.ndarray:
    """Distance of pixels to what is beside them in octagons: crosses and squares in turn are taken off.

    Rosenfeld and Pfaltz 1968, Pattern Recognition 1:33 (from memory).

    Parameters
    ----------
    flat : (k,) ndarray of int
        Flat indices of the pixels.
    shape : (M, N)
        Of the picture.
    um_per_px : float
        [µm/px]

    Returns
    -------
    (k,) ndarray of float32
        [µm]
    """
    width = shape[1] + 2
    # a border that never holds a pixel back: bodies go on outside the photo
    framed = np.full((shape[0] + 2, width), DEEPEST_PX + 1, np.uint8)
    framed[1:-1, 1:-1] = 0
    depth = framed.ravel()
    pixels = at = flat + 2 * (flat // shape[1])  # of the neighbour up and to the left
    middle = depth[width + 1 :]
    middle[at] = 1
    sides = [depth[k:] for k in (width + 2, width, 2 * width + 1, 1)]
    corners = [depth[k:] for k in (2 * width + 2, 2 * width, 2, 0)]
    for k in range(1, DEEPEST_PX):
        # pixels whose neighbours all came as far as they did go one deeper; ever fewer are asked
        first, *others = sides if k % 2 else sides + corners
        least = first.take(at, mode="wrap")  # all are within: none is to be checked
        for beside in others:
            np.minimum(least, beside.take(at, mode="wrap"), out=least)
        at = at.compress(least >= k)  # sooner than by truth values as an index
        if not len(at):
            break
        middle[at] = k + 1
    return middle.take(pixels) * np.float32(um_per_px)


def _patch_under(runs: Runs, rows: np.ndarray, cols: np.ndarray, reach: int) -> np.ndarray:
    """The patch at each centre, or the commonest within reach of one that lies beside; 0 for none."""
    height, width = runs.shape
    r = np.clip(rows.astype(np.int64), 0, height - 1)
    c = np.clip(cols.astype(np.int64), 0, width - 1)
    out = runs.patch_at(r, c)
    beside, steps = np.flatnonzero(out == 0), np.arange(-reach, reach + 1)
    near_rows, near_cols = r[beside, None, None] + steps[:, None], c[beside, None, None] + steps
    near = runs.patch_at(np.clip(near_rows, 0, height - 1), np.clip(near_cols, 0, width - 1))
    near *= (near_rows >= 0) & (near_rows < height) & (near_cols >= 0) & (near_cols < width)
    for i in np.flatnonzero(near.any(axis=(1, 2))):
        out[beside[i]] = np.bincount(near[i][near[i] > 0]).argmax()
    return out


def supported_at(mask: np.ndarray, rows: np.ndarray, cols: np.ndarray, um_per_px: float) -> np.ndarray:
    """Whether foreground lies at each centre, or so near that it belongs to it.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    rows, cols : (n,) ndarray
    um_per_px : float
        [µm/px]

    Returns
    -------
    (n,) ndarray of bool
    """
    height, width = mask.shape
    reach = max(1, round(REACH_UM / um_per_px))
    down, right = (axis.ravel() for axis in np.mgrid[-reach : reach + 1, -reach : reach + 1])
    near_rows = np.clip(np.asarray(rows).astype(np.int64)[:, None] + down, 0, height - 1)
    near_cols = np.clip(np.asarray(cols).astype(np.int64)[:, None] + right, 0, width - 1)
    return mask.ravel().take(near_rows * width + near_cols).any(axis=1)


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
    runs, shape = runs_of(mask), mask.shape
    under = _patch_under(runs, proposals.rows, proposals.cols, max(1, round(REACH_UM / um_per_px)))
    seeds = np.bincount(under, minlength=runs.n_patches + 1)
    seeds[0] = 0
    keep = _patches_to_keep(runs, seeds, um_per_px)
    # pieces: whole patches first, then one per centre of the patches with several
    whole = keep & (seeds < 2)
    number = np.zeros(len(seeds), np.int32)
    number[whole] = np.arange(1, whole.sum() + 1)
    piece = number[under].astype(np.int64)
    shared = np.flatnonzero(seeds[under] > 1)
    piece[shared] = whole.sum() + 1 + np.arange(len(shared))
    owner = np.concatenate([[0], np.flatnonzero(whole), under[shared]]).astype(np.int32)
    flat, label = _whole_patches(runs, number)
    if len(shared):
        more, of_more = _shared_patches(runs, seeds > 1, proposals, piece=piece, under=under)
        flat, label = np.concatenate([flat, more]), np.concatenate([label, of_more])
    value = signal.ravel().take(flat)
    kept = _without_halo(label, value, alone=seeds[owner] == 0)
    if not kept.all():
        flat, label, value = flat[kept], label[kept], value[kept]
    begins = starts_of(label)
    there = label[begins[:-1]]  # pieces that kept no pixel are no pieces
    renumbered = np.zeros(len(owner), np.int32)
    renumbered[there] = np.arange(1, len(there) + 1)
    labels = np.zeros(shape, np.uint16 if len(there) < 2**16 else np.int32)  # half the memory to clear and to look up
    labels.ravel()[flat] = np.repeat(renumbered[there], np.diff(begins))
    owner = np.r_[owner[:1], owner[there]]
    cut = Cut(labels, owner, flat, begins, depth=depth_of(flat, shape, um_per_px), signal=value)
    return cut, renumbered[piece].astype(np.int64)


def _patches_to_keep(runs: Runs, seeds: np.ndarray, um_per_px: float) -> np.ndarray:
    """Patches that hold a centre, or are neither flecks nor rims."""
    area = np.bincount(runs.patch, weights=runs.ends - runs.starts, minlength=len(seeds)) * um_per_px**2
    keep = (seeds > 0) | (area >= LEAST_AREA_UM2)
    keep[0] = False
    # the foreground has nothing thinner than THIN_UM, so only the larger ones can be too long
    for i in np.flatnonzero(keep & (seeds == 0) & (area > 0.8 * THIN_UM * LARGEST_UM)):
        mine = runs.patch == i
        rows, first = np.divmod(runs.starts[mine], runs.shape[1])
        last = (runs.ends[mine] - 1) % runs.shape[1]
        box = slice(rows[0], rows[-1] + 1), slice(first.min(), last.max() + 1)
        keep[i] = not is_too_large(box, area[i], um_per_px)
    return keep


def _whole_patches(runs: Runs, number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of the patches that have a number, piece after piece, and their numbers."""
    label = number.take(runs.patch)
    order, _ = piece_after_piece(label)
    order = order[np.count_nonzero(label == 0) :]
    flat, run = runs.pixels(order)
    return flat, label[order].take(run)


def _shared_patches(runs: Runs, has_several, proposals, *, piece, under) -> tuple[np.ndarray, np.ndarray]:
    """Pixels of the patches with several centres, piece after piece, and their pieces."""
    several = np.flatnonzero(has_several.take(runs.patch))
    flat, run = runs.pixels(several)
    mine = runs.patch[several].astype(np.int32).take(run)
    del run
    label = _shares(flat, mine, runs.shape, proposals=proposals, shared=has_several[under], piece=piece, under=under)
    order, _ = piece_after_piece(label)
    order = order[np.count_nonzero(label == 0) :]
    return flat[order], label[order]


def _shares(flat, mine, shape, *, proposals, shared, piece, under) -> np.ndarray:
    """The piece of each pixel of the patches with several centres: that of the centre to which it points.

    ``flat`` and ``mine`` are the pixels and their patches, ``shared`` says which centres lie there.
    """
    n_rows, n_cols = proposals.votes.shape
    # votes are as coarse as the reader's planes; one question per vote is enough
    of_row, of_col = (
        np.minimum((np.arange(size) / (size / most)).astype(np.int32), most - 1)
        for size, most in zip(shape, (n_rows, n_cols), strict=True)
    )
    at = flat // shape[1]
    cell = (of_row * n_cols).take(at)
    at *= -shape[1]
    at += flat
    cell += of_col.take(at)
    del at
    voter = _distinct(cell, n_rows * n_cols)
    nearest = _centres_of_votes(voter, shape, proposals, shared)
    number = np.empty(n_rows * n_cols, np.int32)
    number[voter] = np.arange(len(voter))
    vote = number.take(cell)
    patch_of_centre, piece_of_centre = under[shared].astype(np.int32), piece[shared].astype(np.int32)
    out = np.zeros(len(flat), np.int32)
    for to in reversed(nearest.T):
        np.copyto(out, piece_of_centre[to].take(vote), where=patch_of_centre[to].take(vote) == mine)
    return out


def _centres_of_votes(voter: np.ndarray, shape: tuple[int, int], proposals, shared: np.ndarray) -> np.ndarray:
    """The two of the ``shared`` centres nearest to where each vote points; see :func:`_nearest_two`."""
    from scipy.spatial import cKDTree

    down, right = np.array(shape) / proposals.votes.shape
    r, c = np.divmod(voter, proposals.votes.shape[1])
    to_row, to_col = proposals.votes.at(r, c)
    aim = np.stack([(r + 0.5) * down + to_row, (c + 0.5) * right + to_col], axis=1)
    centres = cKDTree(np.stack([proposals.rows[shared], proposals.cols[shared]], axis=1))
    return _nearest_two(centres, aim, max(down, right), shape)


def _nearest_two(centres, aim, grain, shape) -> np.ndarray:
    """The two centres nearest to each aim (one, if there is only one), as indices: (n, 2).

    Most aims gather at few places, a grain across. Each place is asked once; only where it lies about midway between
    two centres is every aim asked.
    """
    k = min(2, centres.n)
    if k < 2:
        return np.zeros((len(aim), 1), np.int64)
    n_rows, n_cols = int(shape[0] / grain) + 1, int(shape[1] / grain) + 1
    row, col = (np.clip((aim[:, i] / grain).astype(np.int64), 0, n - 1) for i, n in enumerate((n_rows, n_cols)))
    at = row * n_cols + col
    del row, col  # the peak of memory of a count in a chamber lies here
    place = _distinct(at, n_rows * n_cols)
    near, is_unsure = _nearest_to_places(centres, *np.divmod(place, n_cols), grain)
    number = np.zeros(n_rows * n_cols, np.int32)
    number[place] = np.arange(len(place))
    mine = number.take(at)
    del at
    out = near.astype(np.int32).take(mine, axis=0)
    unsure = np.flatnonzero(is_unsure.take(mine))
    out[unsure] = centres.query(aim[unsure], k=k)[1]
    return out


def _nearest_to_places(centres, row: np.ndarray, col: np.ndarray, grain: float) -> tuple[np.ndarray, np.ndarray]:
    """The two centres nearest to the middle of each place, (n, 2), and whether it lies about midway between them.

    Places lie side by side, so some at a time are asked as one: where its three nearest centres differ by more than
    the way there and back to each of these places, all have the same two.
    """
    height, width = int(row.max(initial=0)) // TOGETHER + 1, int(col.max(initial=0)) // TOGETHER + 1
    at = row // TOGETHER * width + col // TOGETHER
    block = _distinct(at, height * width)
    middle = (np.stack(np.divmod(block, width), axis=1) + 0.5) * (TOGETHER * grain)
    far, near = centres.query(middle, k=3)
    there_and_back = (TOGETHER - 1) * 2**0.5 * grain * (1 + 1e-9)
    is_clear = (far[:, 1] - far[:, 0] > MIDWAY * grain + there_and_back) & (far[:, 2] - far[:, 1] > there_and_back)
    number = np.empty(height * width, np.int32)
    number[block] = np.arange(len(block))
    mine = number.take(at)
    out, unsure = near[:, :2].take(mine, axis=0), np.zeros(len(row), bool)
    rest = np.flatnonzero(~is_clear.take(mine))
    far, out[rest] = centres.query((np.stack([row[rest], col[rest]], axis=1) + 0.5) * grain, k=2)
    unsure[rest] = far[:, 1] - far[:, 0] < MIDWAY * grain
    return out, unsure


def _distinct(index: np.ndarray, n: int) -> np.ndarray:
    """Distinct values among whole numbers below n, in order."""
    present = np.zeros(n, bool)
    present[index] = True
    return np.flatnonzero(present)


def _without_halo(label, value, *, alone) -> np.ndarray:
    """Whether pixels are more than what is much weaker than the rest of its piece, where that is a large part of it.

    ``label`` is in order.
    """
    starts = starts_of(label)
    begins, size = starts[:-1], np.diff(starts)
    if not len(size):
        return np.ones(0, bool)
    value = value.astype(float)
    mean = np.add.reduceat(value, begins) / size
    spread = np.sqrt(np.maximum(np.add.reduceat(value * value, begins) / size - mean**2, 0))
    core = value > np.repeat(CORE_SHARE * (mean + 1.28 * spread), size)
    leave = (np.add.reduceat(core, begins, dtype=np.int64) / size < CORE_LEAST) & ~alone[label[begins]]
    return core | ~np.repeat(leave, size)
