"""Products of matrices in pieces so small that the thread that asks for them works each out alone.

The library behind numpy spreads larger ones over all cores, and its other threads then wait for the next at full speed,
some twenty milliseconds: longer than all products of a photo take.
"""

from __future__ import annotations

import numpy as np

__all__ = ["product"]

AT_ONCE = 2**18  # multiplications: what OpenBLAS works out on one thread at most
TOGETHER = 48  # a multiple of the rows that its kernels take together: each piece as it would be within the whole


def product(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Return the product of two matrices.

    Parameters
    ----------
    left : (n, k) ndarray
    right : (k, m) ndarray

    Returns
    -------
    (n, m) ndarray

    Examples
    --------
    >>> from qckit.counting.products import product
    >>> product(np.ones((2, 3)), np.ones((3, 1))).tolist()
    [[3.0], [3.0]]
    """
    (n, k), m = left.shape, right.shape[1]
    if n < m:
        return product(right.T, left.T).T
    out = np.empty((n, m), np.result_type(left, right))
    some = max(1, AT_ONCE // max(k * m, 1))
    some -= some % TOGETHER if some > TOGETHER else 0
    for top in range(0, n, some):
        np.matmul(left[top : top + some], right, out=out[top : top + some])
    return out
