"""Touching objects apart: pieces that are certainly not more than one object, to be put together again by looks.

Each patch of foreground is cut into pieces along the necks of its distance map (Meyer 1994, Signal Processing
38:113, watershed from markers). Cutting too much is no harm: :mod:`qckit.counting.fallback.grouping` joins pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.segmentation.foreground import THIN_UM, open_mask

__all__ = ["Cut", "cut_pieces", "is_too_large", "piece_after_piece", "starts_of"]

LEAST_RADIUS_UM = 16.0
PEAK_WINDOW_UM = 56.0
LEAST_AREA_UM2 = 4000.0  # a fleck of 70 µm across
LARGEST_UM = 4000.0
HALO_UM = 56.0  # shells in the halo are wider, bristles mostly narrower
CORE_SHARE = 0.4  # of the patch's own strong signal
CORE_LEAST = 0.72  # of its area: a core that fills more has no halo worth cutting off


@dataclass(frozen=True)
class Cut:
    """One way of cutting the foreground into pieces.

    Attributes
    ----------
    labels : (M, N) ndarray of int
        0 background, 1 to n pieces.
    patch : (n + 1,) ndarray of int32
        The patch each piece belongs to; entry 0 is unused.
    flat : (k,) ndarray of int
        Flat indices of the pixels of all pieces, piece after piece, each in reading order: sums over runs of an array
        cost a fraction of sums by label.
    starts : (m + 1,) ndarray of int
        Where each piece that has pixels starts among them, and the end.
    depth : (k,) ndarray of float32
        Distance to the outside of the patch, or of the core. [µm]
    signal : (k,) ndarray
        How far each of these pixels stands out.
    """

    labels: np.ndarray
    patch: np.ndarray
    flat: np.ndarray
    starts: np.ndarray
    depth: np.ndarray
    signal: np.ndarray


def cut_pieces(mask: np.ndarray, signal: np.ndarray, um_per_px: float) -> tuple[Cut, Cut]:
    """Cut every patch of a mask into pieces at its necks, in two ways.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    signal : (M, N) ndarray
        How far each pixel stands out.
    um_per_px : float
        [µm/px]

    Returns
    -------
    whole : Cut
        Patches cut as they are.
    cored : Cut
        Only patches whose halo (a shadow on the dish, a fan of bristles in dark field) is much weaker than their core:
        cut into core and halo first. Patches have the same numbers in both.

    Examples
    --------
    >>> mask = np.zeros((40, 60), dtype=bool)
    >>> mask[10:30, 10:50] = True
    >>> coarse, fine = counting.cut_pieces(mask, mask.astype(float) * 20, 8.0)
    >>> coarse is not fine
    True
    """
    from scipy import ndimage

    patches, n = ndimage.label(mask)
    boxes = ndimage.find_objects(patches)
    areas = np.bincount(patches.ravel(), minlength=n + 1) * um_per_px**2
    whole, cored = _Canvas(mask.shape), _Canvas(mask.shape)
    for i, box in enumerate(boxes, start=1):
        if areas[i] < LEAST_AREA_UM2 or is_too_large(box, areas[i], um_per_px):
            continue
        inside = patches[box] == i
        whole.put(i, box, inside, _cut_at_necks(inside, um_per_px))
        parts = _cut_core(inside, signal[box], um_per_px)
        if parts is not None:
            cored.put(i, box, inside, parts)
    return whole.finish(signal), cored.finish(signal)


class _Canvas:
    """Collects the pieces of patch after patch."""

    def __init__(self, shape):
        self.labels, self.depth, self.owner = np.zeros(shape, np.int32), np.zeros(shape, np.float32), [0]

    def put(self, patch, box, inside, parts):
        """Add the pieces of one patch."""
        labels, far, count = parts
        here = inside & (labels > 0)
        self.labels[box][here] = labels[here] + (len(self.owner) - 1)
        self.depth[box][here] = far[here]
        self.owner += [patch] * count

    def finish(self, signal: np.ndarray) -> Cut:
        flat = np.flatnonzero(self.labels != 0)  # of truth values it is several times faster
        order, starts = piece_after_piece(self.labels.ravel().take(flat))
        flat = flat[order]
        owner, depth = np.asarray(self.owner, np.int32), self.depth.ravel().take(flat)
        return Cut(self.labels, owner, flat, starts, depth=depth, signal=signal.ravel().take(flat))


def piece_after_piece(label: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The order that brings labels of pixels together and leaves each one's pixels as they are; where each starts."""
    if label.max(initial=0) < 2**16:
        label = label.astype(np.uint16)  # numpy sorts these by counting
    order = np.argsort(label, kind="stable")
    return order, starts_of(label[order])


def starts_of(label: np.ndarray) -> np.ndarray:
    """Where each run of one label starts, and the end."""
    return np.concatenate([[0], np.flatnonzero(label[1:] != label[:-1]) + 1, [len(label)]])[not len(label) :]


def is_too_large(box, area_um2: float, um_per_px: float) -> bool:
    """A long thin patch is a rim or a line; clumps fill more of their box."""
    sides = [(s.stop - s.start) * um_per_px for s in box]
    return max(sides) > LARGEST_UM and area_um2 < 0.15 * sides[0] * sides[1]


def _cut_core(inside: np.ndarray, signal: np.ndarray, um_per_px: float):
    """Cut one patch into core and halo, each at its necks; None where the core fills the patch."""
    values = signal[inside]
    core = inside & (signal > CORE_SHARE * np.percentile(values, 90))
    if core.sum() >= CORE_LEAST * len(values):
        return None
    size = max(1, round(THIN_UM / um_per_px))
    core = open_mask(core, size)
    labels, far, n = _cut_at_necks(core, um_per_px)
    halo = open_mask(inside & ~core, round(HALO_UM / um_per_px))
    outer, outer_far, m = _cut_at_necks(halo, um_per_px)
    labels[halo] = outer[halo] + np.where(outer[halo] > 0, n, 0)
    far[halo] = outer_far[halo]
    return labels, far, n + m


def _cut_at_necks(inside: np.ndarray, um_per_px: float) -> tuple[np.ndarray, np.ndarray, int]:
    """Watershed from the peaks of the distance map; parts without a peak are left out."""
    from scipy import ndimage
    from skimage.segmentation import watershed

    padded = np.pad(inside, 1)
    far = ndimage.distance_transform_edt(padded)[1:-1, 1:-1].astype(np.float32) * np.float32(um_per_px)
    soft = ndimage.uniform_filter(far, 3, mode="nearest")
    window = max(3, 2 * int(PEAK_WINDOW_UM / um_per_px / 2) + 1)
    peaks = (soft == ndimage.maximum_filter(soft, window)) & (far >= LEAST_RADIUS_UM) & inside
    markers, n = ndimage.label(peaks, structure=np.ones((3, 3)))
    if n == 0:
        return np.zeros(inside.shape, np.int32), far, 0
    return watershed(-soft, markers, mask=inside), far, n
