"""Which places lie near each other, by plain arrays: a library for it costs every count more to load than to run."""

from __future__ import annotations

import numpy as np

__all__ = ["Centres", "distinct", "pairs_within"]

TILES_PX = 128, 32  # places within such squares are offered the same centres: few of all, then few of these


def distinct(index: np.ndarray, n: int) -> np.ndarray:
    """Distinct values among whole numbers below n, in order."""
    present = np.zeros(n, bool)
    present[index] = True
    return np.flatnonzero(present)


def pairs_within(places: np.ndarray, reach: float) -> np.ndarray:
    """Every two places no further apart than a reach: (m, 2) indices, in no order.

    Parameters
    ----------
    places : (n, 2) ndarray
    reach : float
        In the places' unit.

    Returns
    -------
    (m, 2) ndarray of int
    """
    order = np.argsort(places[:, 0], kind="stable")
    first, second = places[order].T
    pairs = [np.zeros((0, 2), np.int64)]
    for apart in range(1, len(order)):
        down = first[apart:] - first[:-apart]
        right = second[apart:] - second[:-apart]
        near = np.flatnonzero(down * down + right * right <= reach * reach)
        pairs.append(np.stack([order[near], order[near + apart]], axis=1))
        if not (down <= reach).any():  # all that follow lie further down yet
            break
    return np.concatenate(pairs)


class Centres:
    """Centres that places are to be told the nearest of.

    Parameters
    ----------
    places : (n, 2) ndarray
    """

    def __init__(self, places: np.ndarray):
        self._places = np.asarray(places, float)

    @property
    def n(self) -> int:
        """How many there are."""
        return len(self._places)

    def query(self, at: np.ndarray, k: int) -> tuple[np.ndarray, np.ndarray]:
        """The ``k`` centres nearest to each place, the nearest first.

        Parameters
        ----------
        at : (q, 2) ndarray
        k : int

        Returns
        -------
        far : (q, k) ndarray
            How far they are; infinite where there are fewer.
        index : (q, k) ndarray of int
            ``n`` where there are fewer.
        """
        far, index = np.full((k, len(at)), np.inf), np.full((k, len(at)), self.n)
        if not len(at) or not self.n:
            return far.T, index.T
        offered, tile = np.arange(self.n)[:, None], np.zeros(len(at), np.int64)
        for side in TILES_PX:
            offered, tile = self._fewer(offered, tile, at, k, side)
        offered = offered.take(tile, axis=1)
        apart = self._squares(offered, at)
        for i in range(k):
            nearest = apart.min(axis=0)
            index[i] = np.where(apart == nearest, offered, self.n).min(axis=0)
            far[i] = np.sqrt(nearest)
            if i + 1 < k:
                taken = offered == index[i]
                apart[taken], offered[taken] = np.inf, self.n
        return far.T, index.T

    def _squares(self, offered: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Squared distances of places from centres offered to them, (most, q); of ``n``, which is none, infinite."""
        down, right = (np.append(self._places[:, axis], np.inf).take(offered) for axis in (0, 1))
        down -= at[:, 0]
        right -= at[:, 1]
        down *= down
        right *= right
        down += right
        return down

    def _fewer(self, offered: np.ndarray, of: np.ndarray, at: np.ndarray, k: int, side: int):
        """Centres that can be among the ``k`` nearest to places of each tile, (most, tiles), and each place's tile.

        ``offered`` are centres, in columns, among which they are; ``of`` is each place's column. None is further from a
        place than from its tile's middle by more than half a diagonal, so what counts are those no more than a whole
        diagonal further from the middle than its own ``k``-th nearest.
        """
        row, col = np.floor(at.T / side).astype(np.int64)
        first_row, first_col = row.min(), col.min()
        width = int(col.max() - first_col) + 1
        flat = (row - first_row) * width + (col - first_col)
        size = int(flat.max()) + 1
        there, number, column = distinct(flat, size), np.empty(size, np.int64), np.empty(size, np.int64)
        number[there] = np.arange(len(there))
        column[flat] = of
        offered = offered.take(column[there], axis=1)
        middle = np.stack([there // width + first_row + 0.5, there % width + first_col + 0.5], axis=1) * side
        apart = np.sqrt(self._squares(offered, middle).T)
        kth = min(k, apart.shape[1]) - 1
        limit = np.partition(apart, kth, axis=1)[:, kth] + side * 2**0.5 * (1 + 1e-9)
        tile, which = np.nonzero((apart <= limit[:, None]) & (self.n > offered.T))
        n_each = np.bincount(tile, minlength=len(there))
        out = np.full((int(n_each.max()), len(there)), self.n)
        out[np.arange(len(tile)) - np.repeat(np.cumsum(n_each) - n_each, n_each), tile] = offered[which, tile]
        return out, number.take(flat)
