"""Which places lie near each other, by plain arrays: a library for it costs every count more to load than to run."""

from __future__ import annotations

import numpy as np

__all__ = ["pairs_within"]


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
