"""The counting frame: objects on two of the four edges are left out, so that density is unbiased.

Gundersen 1977, Journal of Microscopy 111:219: an object that touches the left or the upper edge is left out, one that
touches the right or the lower edge is counted.
"""

from __future__ import annotations

import numpy as np

__all__ = ["apply_frame"]


def apply_frame(boxes: np.ndarray, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """Say which objects touch the photo's border and which are counted.

    Parameters
    ----------
    boxes : (n, 4) ndarray of int
        First row, first column, row past the last, column past the last.
    shape : (int, int)
        Rows and columns of the picture, which is the frame.

    Returns
    -------
    on_edge, counted : (n,) ndarray of bool

    Examples
    --------
    >>> boxes = np.array([[0, 10, 20, 30], [40, 40, 60, 60]])
    >>> touches, counted = counting.apply_frame(boxes, (100, 100))
    >>> touches.tolist()
    [True, False]
    """
    boxes = np.asarray(boxes).reshape(-1, 4)
    upper_left = (boxes[:, 0] <= 0) | (boxes[:, 1] <= 0)
    lower_right = (boxes[:, 2] >= shape[0]) | (boxes[:, 3] >= shape[1])
    return upper_left | lower_right, ~upper_left
