"""A mask as runs of pixels along rows: foreground is a small part of a photo, and is worked on without the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Runs", "runs_of"]


@dataclass(frozen=True)
class Runs:
    """Runs of a mask, in reading order; none goes on in the next row.

    Attributes
    ----------
    starts, ends : (r,) ndarray of int
        Flat index of the first pixel, and of the first one after.
    patch : (r,) ndarray of int
        1 to ``n_patches``, numbered by their first pixels: runs that touch across rows, not only at corners.
    n_patches : int
    shape : (int, int)
    """

    starts: np.ndarray
    ends: np.ndarray
    patch: np.ndarray
    n_patches: int
    shape: tuple[int, int]

    def patch_at(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """The patch of pixels; 0 where there is none."""
        flat = rows * self.shape[1] + cols
        if not len(self.starts):
            return np.zeros_like(flat)
        run = np.searchsorted(self.starts, flat, side="right") - 1
        return np.where((run >= 0) & (flat < self.ends[run]), self.patch[run], 0)

    def pixels(self, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Flat indices of the pixels of some runs, one after another; and which of these runs each is of."""
        starts, length = self.starts[which], self.ends[which] - self.starts[which]
        run = np.repeat(np.arange(len(which), dtype=np.int32), length)
        return np.arange(len(run)) + (starts - np.cumsum(length) + length).take(run), run


def runs_of(mask: np.ndarray) -> Runs:
    """Find the runs of a mask and put those that touch into patches.

    Parameters
    ----------
    mask : (M, N) ndarray of bool

    Returns
    -------
    Runs
    """
    height, width = mask.shape
    flat = mask.ravel()
    edges = np.flatnonzero(flat[1:] != flat[:-1]) + 1
    sides = np.arange(1, height) * width
    over = sides[flat[sides] & flat[sides - 1]]  # what fills the end of a row and the start of the next is two runs
    outer = [at for at, there in ((0, flat[:1].any()), (flat.size, flat[-1:].any())) if there]
    edges = np.concatenate([edges, over, over, np.array(outer, np.int64)])
    edges.sort(kind="stable")  # nearly sorted
    starts, ends = edges[::2].copy(), edges[1::2].copy()
    patch, n = _patches(starts, ends, width)
    return Runs(starts, ends, patch, n, (height, width))


def _patches(starts: np.ndarray, ends: np.ndarray, width: int) -> tuple[np.ndarray, int]:
    """The patch of each run, and how many there are."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    first = np.searchsorted(ends, starts - width, side="right")  # of the runs above that it touches
    touching = np.maximum(np.searchsorted(starts, ends - width, side="left") - first, 0)
    begins = np.concatenate([[0], np.cumsum(touching)])  # of each run's part in all of them, end to end
    above = np.arange(begins[-1]) + np.repeat(first - begins[:-1], touching)
    pairs = csr_array((np.ones(len(above)), above, begins), shape=(len(starts), len(starts)))
    n, patch = connected_components(pairs, directed=False)
    return patch.astype(np.int64) + 1, n
