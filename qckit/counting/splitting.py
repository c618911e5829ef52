"""Touching objects apart: pieces that are certainly not more than one object, to be put together again by looks.

Each patch of foreground is cut into pieces along the necks of its distance map (Meyer 1994, Signal Processing
38:113, watershed from markers). Cutting too much is no harm: :mod:`qckit.counting.grouping` joins pieces.
"""

from __future__ import annotations

import numpy as np

__all__ = ["cut_pieces"]

LEAST_RADIUS_UM = 16.0
PEAK_WINDOW_UM = 56.0
LEAST_AREA_UM2 = 4000.0  # a fleck of 70 µm across
LARGEST_UM = 4000.0


def cut_pieces(mask: np.ndarray, um_per_px: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cut every patch of a mask into pieces at its necks.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    um_per_px : float
        [µm/px]

    Returns
    -------
    pieces : (M, N) ndarray of int32
        0 background, 1 to n pieces.
    patch : (n + 1,) ndarray of int32
        The patch each piece belongs to; entry 0 is unused.
    depth : (M, N) ndarray of float32
        Distance to the background inside the mask. [µm]
    """
    from scipy import ndimage

    patches, n = ndimage.label(mask)
    boxes = ndimage.find_objects(patches)
    areas = np.bincount(patches.ravel(), minlength=n + 1) * um_per_px**2
    pieces = np.zeros(mask.shape, np.int32)
    depth = np.zeros(mask.shape, np.float32)
    owner = [0]
    for i, box in enumerate(boxes, start=1):
        if areas[i] < LEAST_AREA_UM2 or _is_too_large(box, areas[i], um_per_px):
            continue
        inside = patches[box] == i
        labels, far, count = _cut_one(inside, um_per_px)
        pieces[box][inside] = labels[inside] + (len(owner) - 1)
        depth[box][inside] = far[inside]
        owner += [i] * count
    return pieces, np.asarray(owner, np.int32), depth


def _is_too_large(box, area_um2: float, um_per_px: float) -> bool:
    """A long thin patch is a rim or a line; clumps fill more of their box."""
    sides = [(s.stop - s.start) * um_per_px for s in box]
    return max(sides) > LARGEST_UM and area_um2 < 0.15 * sides[0] * sides[1]


def _cut_one(inside: np.ndarray, um_per_px: float) -> tuple[np.ndarray, np.ndarray, int]:
    """Cut one patch; returns labels 1..n in its box, the distance map and n."""
    from scipy import ndimage
    from skimage.segmentation import watershed

    padded = np.pad(inside, 1)
    far = ndimage.distance_transform_edt(padded)[1:-1, 1:-1].astype(np.float32) * np.float32(um_per_px)
    soft = ndimage.uniform_filter(far, 3, mode="nearest")
    window = max(3, 2 * int(PEAK_WINDOW_UM / um_per_px / 2) + 1)
    peaks = (soft == ndimage.maximum_filter(soft, window)) & (far >= LEAST_RADIUS_UM) & inside
    markers, n = ndimage.label(peaks, structure=np.ones((3, 3)))
    if n <= 1:
        return inside.astype(np.int32), far, 1
    return watershed(-soft, markers, mask=inside), far, n
