"""Foreground: the pixels that belong to bodies, without lines, bristles, fibres and the dish's rim.

Bodies of every stage are at least 60 µm across; ruled lines, bristles, limbs and fibres are thinner than 40 µm, so an
opening by 40 µm takes them away whatever their direction (Serra 1982, Image Analysis and Mathematical Morphology).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.robust import SD_PER_MAD, median_of

__all__ = ["Foreground", "find_foreground", "open_mask"]

SAMPLES = 60_000  # pixels from which the threshold is taken
THIN_UM = 40.0
LEVEL_SCATTERS = 6.0  # of the smoothed background; one pixel in 10^9 by chance
LEVEL_SHARE = 0.13  # of the typical object's signal: halos and bristles stay below it
FAINT_SCATTERS = 16.0
FAINT_UM = 65.0
ROWS = 128  # rows averaged at a time


@dataclass(frozen=True)
class Foreground:
    """Bodies as a mask, and how it came about.

    Attributes
    ----------
    mask : (M, N) ndarray of bool
    signal : (M, N) ndarray of float32
        Smoothed signal.
    level : float
        Threshold. [scatters]
    scatter : float
        Scatter of the smoothed background.
    typical : float
        Median signal of the mask.
    """

    mask: np.ndarray
    signal: np.ndarray
    level: float
    scatter: float
    typical: float


def box_mean(plane: np.ndarray, size: int, out: np.ndarray | None = None) -> np.ndarray:
    """Mean over a square of ``size`` pixels around each pixel; beyond the border as at it. ``out`` may be ``plane``."""
    if size not in (3, 5):
        from scipy import ndimage

        return ndimage.uniform_filter(plane, size, output=out, mode="nearest") if size > 1 else plane
    # adding shifted copies costs less than a running sum, and few rows at a time stay in the processor's cache
    reach, out, cols = size // 2, np.empty_like(plane) if out is None else out, plane.shape[1]
    wide = np.empty((ROWS + 2 * reach, cols + 2 * reach), plane.dtype)
    share = plane.dtype.type(1 / size**2)
    for start in range(0, len(plane), ROWS):
        stop = min(start + ROWS, len(plane))
        part = wide[: stop - start + 2 * reach]
        bottom = min(stop + reach, len(plane))
        after = stop + reach - bottom
        # the rows above as they were: in the plane they may be means by now
        wide[:reach] = wide[ROWS : ROWS + reach] if start else np.pad(plane[0], reach, mode="edge")
        part[reach : len(part) - after, reach:-reach] = plane[start:bottom]
        part[len(part) - after :, reach:-reach] = plane[-1:]
        part[reach:, :reach], part[reach:, -reach:] = part[reach:, reach, None], part[reach:, -reach - 1, None]
        sums = _sums_of(_sums_of(part, size).ravel(), size)  # end to end: what runs over the ends of rows is not used
        sums = np.lib.stride_tricks.as_strided(
            sums, (stop - start, cols), (sums.itemsize * wide.shape[1], sums.itemsize)
        )
        np.multiply(sums, share, out=out[start:stop])
    return out


def _sums_of(values: np.ndarray, size: int) -> np.ndarray:
    """Sums of 3 or 5 neighbours along the first axis."""
    pair = values[:-1] + values[1:]
    if size == 3:
        pair[:-1] += values[2:]
        return pair[:-1]
    out = pair[:-3] + pair[2:-1]  # two and two and one
    out += values[4:]
    return out


def _shifted(mask: np.ndarray, size: int, axis: int, combine, before: int) -> np.ndarray:
    """Combine ``size`` pixels along one axis, so many of them ``before`` each pixel; outside is as the border."""
    out, n = np.empty(mask.shape, bool), mask.shape[axis]
    if size <= n:  # all rows end to end; where that runs over the end of a row it is put right below
        part, done, apart = mask.ravel(), 1, 1 if axis else mask.shape[1]
        while done < size:  # twos, then fours and so on
            step = min(done, size - done)
            done, left = done + step, len(part) - step * apart
            whole = out.ravel()[before * apart :][:left] if done == size else None
            part = combine(part[:left], part[step * apart :], out=whole)
    along = mask.swapaxes(0, axis)
    for at in (*range(min(before, n)), *range(max(n - size + 1 + before, 0), n)):
        combine.reduce(along[max(at - before, 0) : at - before + size], axis=0, out=out.swapaxes(0, axis)[at])
    return out


def open_mask(mask: np.ndarray, size: int) -> np.ndarray:
    """Keep what a square of ``size`` pixels fits into.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
    size : int
        1 keeps everything.

    Returns
    -------
    (M, N) ndarray of bool
    """
    if size < 2:
        return mask
    out = np.empty(mask.shape, bool)
    for start in range(0, len(mask), ROWS):  # few rows at a time: they stay in the cache, and take no new memory each
        first = max(0, start - size + 1)
        some = _opened(mask[first : start + ROWS + size - 1], size)
        out[start : start + ROWS] = some[start - first :][:ROWS]
    return out


def _opened(mask: np.ndarray, size: int) -> np.ndarray:
    """As :func:`open_mask`, all rows at once."""
    before = (size - 1) // 2
    eroded = _shifted(_shifted(mask, size, 0, np.logical_and, before), size, 1, np.logical_and, before)
    before = size // 2  # from the other side, so that an even square opens without a shift
    dilated = _shifted(_shifted(eroded, size, 0, np.logical_or, before), size, 1, np.logical_or, before)
    return np.logical_and(dilated, mask, out=dilated)


def find_foreground(
    signal: np.ndarray, um_per_px: float, *, smooth_um: float = 24.0, is_spent: bool = False
) -> Foreground:
    """Find the pixels of bodies.

    Parameters
    ----------
    signal : (M, N) ndarray of float32
        From :func:`qckit.counting.segmentation.light.signal_of`.
    um_per_px : float
        Of the working picture. [µm/px]
    smooth_um : float
        Side of the averaging square. Larger loses small shells, smaller lets noise in. [µm]
    is_spent : bool
        The signal is not needed any more, and its memory may be used.

    Returns
    -------
    Foreground

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> signal = counting.signal_of(work, counting.estimate_light(work))
    >>> type(counting.find_foreground(signal, 8.0)).__name__
    'Foreground'
    """
    fine = box_mean(signal, max(3, 2 * int(smooth_um / um_per_px / 2) + 1))
    level, scatter, typical = _level(fine)
    mask = fine > level
    if typical < FAINT_SCATTERS * scatter:  # a busy background such as mesh: average over more of it for pale shells
        coarse = box_mean(signal, max(5, 2 * int(FAINT_UM / um_per_px / 2) + 1), signal if is_spent else None)
        level_there = _level(coarse)[0]
        for top in range(0, len(mask), ROWS):  # few rows at a time stay in the processor's cache
            mask[top : top + ROWS] |= coarse[top : top + ROWS] > level_there
    mask = open_mask(mask, max(1, round(THIN_UM / um_per_px)))
    return Foreground(mask, fine, level, scatter, typical)


def _level(smooth: np.ndarray) -> tuple[float, float, float]:
    """Threshold, scatter of the background below its median, and median signal of what is above."""
    # an odd stride over the rows end to end, so that no weave falls in step with it
    sparse = smooth.ravel()[:: max(9, smooth.size // SAMPLES | 1)]
    half = sparse.size // 2
    sparse = np.partition(sparse, half)  # sooner one after the other than both at once
    centre, below = float(sparse[half]), float(np.partition(sparse[: half + 1], half // 2)[half // 2])
    if below == centre:  # a flat picture: only what differs tells its scatter
        differing = sparse[sparse < centre]
        below = float(np.median(differing)) if differing.size else centre - 1 / SD_PER_MAD
    scatter = max(SD_PER_MAD * (centre - below), 0.15)
    level = centre + LEVEL_SCATTERS * scatter
    strong = sparse[half:]
    strong = strong[strong > level]
    typical = float(median_of(strong)) if strong.size > 20 else level
    return max(level, LEVEL_SHARE * typical), scatter, typical
