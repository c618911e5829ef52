"""Ruled lines: found by what all strips of the photo share, taken out of the signal, and offered as a scale.

In logarithms of brightness a line adds the same amount wherever it runs, so the median over strips along a direction
is the line's own profile: objects sit in a few strips only. Subtracting it leaves objects that lie on a line whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qckit.robust import median_of

__all__ = ["RuledLines", "find_ruled_lines", "remove_ruled_lines"]

STRIP_PX = 16
STEEPEST = 0.13  # rise over run: a chamber is laid down within 7 degrees of the photo's sides
LEAST_SCATTERS = 2.5
FEW_STRIPS, COARSEST = 16, 8  # strips, and rows taken together, of the first look
LEAST_SHARED, LEAST_SHARE = 1.5, 0.75  # a line is seen, at least so many scatters strong, by that share of the strips
LEAST_LINES = 3  # fewer may be fibres or a rim
THICKEST_UM = 150.0  # a double line included; what is wider is no ruling


@dataclass(frozen=True)
class RuledLines:
    """Ruling of a counting chamber, along one direction.

    Attributes
    ----------
    angle_deg : float
        Direction of the lines against the photo's rows; 90 is along its columns.
    offsets_px : (n,) ndarray
        Where each line (or the middle of a double line) crosses the photo's first column (or row). [px]
    spacing_px : float
        Median distance between neighbouring lines, measured across them. [px]
    profile : (M,) ndarray
        What the lines add, by offset.
    slope : float

    Examples
    --------
    >>> signal = np.zeros((300, 300))
    >>> signal[::50] = 20
    >>> lines = counting.find_ruled_lines(signal)
    >>> len(lines)
    2
    """

    angle_deg: float
    offsets_px: np.ndarray
    spacing_px: float
    profile: np.ndarray
    slope: float


def _strip_means(signal: np.ndarray, which: np.ndarray) -> np.ndarray:
    """Mean over the chosen strips of columns: (strips, M)."""
    rows, cols = signal.shape
    n = cols // STRIP_PX
    if signal.flags.c_contiguous:
        strips = signal[:, : n * STRIP_PX].reshape(rows, n, STRIP_PX)
        strips = strips if len(which) == n else strips[:, which]
        return np.ascontiguousarray(np.einsum("rnp->nr", strips)) / np.float32(STRIP_PX)  # sooner than a mean
    strips = signal.T[: n * STRIP_PX].reshape(n, STRIP_PX, rows)
    return (strips if len(which) == n else strips[which]).mean(axis=1)


def _moved_back(strips: np.ndarray, shifts: np.ndarray) -> np.ndarray:
    """Every strip moved back by the line's rise; the first and last pixel go on outside: (..., strips, M)."""
    reach = int(np.abs(shifts).max())
    wide = _wider(strips, reach)
    begun = np.ndarray(  # (strips, 2 * reach + 1, M): each begins a pixel further on
        (len(strips), 2 * reach + 1, strips.shape[1]), wide.dtype, wide, strides=(*wide.strides, wide.itemsize)
    )
    return begun[np.arange(len(strips)), reach + shifts]


def _wider(profiles: np.ndarray, reach: int) -> np.ndarray:
    """Profiles that go on at both ends as they end: as numpy's pad, which takes several times as long for so few."""
    n, size = profiles.shape
    out = np.empty((n, size + 2 * reach), profiles.dtype)
    out[:, reach : reach + size] = profiles
    out[:, :reach], out[:, reach + size :] = profiles[:, :1], profiles[:, -1:]
    return out


def _best_slope(strips: np.ndarray, at: np.ndarray, slopes: np.ndarray, down: int) -> float:
    """The slope along which the strips agree most."""
    shifts = np.rint(np.outer(slopes, at) / down).astype(int)
    return float(slopes[_moved_back(strips, shifts).mean(axis=1).var(axis=1).argmax()])


def _along_rows(signal: np.ndarray, um_per_px: float) -> tuple[np.ndarray, float] | None:
    """Profile and slope of lines that run along the rows; None where there are none.

    A few strips, first at a low resolution, tell whether there are lines; only then are all strips looked at.
    """
    rows, cols = signal.shape
    if min(rows, cols) < 12 * STRIP_PX:
        return None
    n = cols // STRIP_PX
    which = np.unique(np.linspace(0, n - 1, FEW_STRIPS).astype(int))
    at = (which + 0.5) * STRIP_PX
    # no strip has more say than a line would give it, or one dark body would outweigh them all
    few = np.clip(_strip_means(signal, which), 0, 2 * LEAST_SCATTERS)
    slopes = np.arange(-STEEPEST, STEEPEST + 1e-9, 2 * COARSEST / cols)
    coarser = {1: few}
    for down in (2, 4, COARSEST):
        finer = coarser[down // 2][:, : rows // down * 2]
        coarser[down] = np.maximum(finer[:, ::2], finer[:, 1::2])  # thin lines stay
    for down in (COARSEST, COARSEST // 2, COARSEST // 4):
        pooled = coarser[down]
        slope = _best_slope(pooled, at, slopes, down)
        slopes = slope + np.arange(-2, 3) * down / cols
    shared = (_moved_back(pooled, np.rint(slope * at / down).astype(int)) > LEAST_SHARED).mean(axis=0)
    if len(_lines_in(np.where(shared >= LEAST_SHARE, 2 * LEAST_SCATTERS, 0), um_per_px * down)) < LEAST_LINES:
        return None
    slope = _best_slope(few, at, slope + np.arange(-4, 5) * 0.5 * down / cols, 1)
    every = np.arange(n)
    shift = np.rint(slope * (every + 0.5) * STRIP_PX).astype(int)
    profile = median_of(_moved_back(_strip_means(signal, every), shift))
    return np.maximum(profile - median_of(profile), 0), slope


def _lines_in(profile: np.ndarray, um_per_px: float) -> np.ndarray:
    """Centres of lines in a profile; double lines count once."""
    high = np.flatnonzero(profile > LEAST_SCATTERS)
    if not len(high):
        return np.zeros(0)
    gap = 60.0 / um_per_px
    groups = np.split(high, np.flatnonzero(np.diff(high) > gap) + 1)
    groups = [g for g in groups if (g[-1] - g[0] + 1) * um_per_px <= THICKEST_UM]
    return np.array([_weighted_mean(g, profile[g]) + 0.5 for g in groups])


def _weighted_mean(values: np.ndarray, weights: np.ndarray) -> float:
    """As numpy's average, which takes ten times as long for so few."""
    return float(np.multiply(values, weights, dtype=float).sum() / weights.sum(dtype=float))


def _measure(signal: np.ndarray, um_per_px: float, along_columns: bool) -> RuledLines | None:
    found = _along_rows(signal.T if along_columns else signal, um_per_px)
    if found is None:
        return None
    profile, slope = found
    at = _lines_in(profile, um_per_px)
    if len(at) < LEAST_LINES:
        return None
    angle = float(np.degrees(np.arctan(slope)))
    spacing = float(median_of(np.diff(at)) * np.cos(np.arctan(slope)))
    return RuledLines(90 - angle if along_columns else angle, at, spacing, profile, slope)


def find_ruled_lines(signal: np.ndarray, um_per_px: float = 8.0) -> tuple[RuledLines | None, RuledLines | None]:
    """Find the ruling of a counting chamber.

    Parameters
    ----------
    signal : (M, N) ndarray
        How far each pixel stands out (:func:`qckit.counting.segmentation.light.signal_of`), or darkness in units of
        its scatter.
    um_per_px : float
        Rough scale, to tell lines from broader things. [µm/px]

    Returns
    -------
    along_rows, along_columns : RuledLines or None

    Examples
    --------
    >>> counting.find_ruled_lines(np.zeros((200, 200)))
    (None, None)
    """
    return _measure(signal, um_per_px, False), _measure(signal, um_per_px, True)


def remove_ruled_lines(signal: np.ndarray, um_per_px: float) -> tuple[np.ndarray, int]:
    """Subtract what ruled lines add.

    Parameters
    ----------
    signal : (M, N) ndarray of float32
    um_per_px : float
        [µm/px]

    Returns
    -------
    signal : (M, N) ndarray of float32
        The same array where there are no lines.
    n_lines : int

    Examples
    --------
    >>> cleaned, n_lines = counting.remove_ruled_lines(np.zeros((200, 200)), 8.0)
    >>> n_lines
    0
    """
    out, n_lines = signal, 0
    for k, lines in enumerate(find_ruled_lines(signal, um_per_px)):
        if lines is None:
            continue
        n_lines += len(lines.offsets_px)
        near = np.zeros(len(lines.profile), bool)
        reach = round(THICKEST_UM / um_per_px / 2) + 2
        for at in lines.offsets_px:
            near[max(0, int(at) - reach) : int(at) + reach + 1] = True
        profile = np.where(near, lines.profile, 0).astype(np.float32)
        view = out.T if k else out
        cols = np.arange(view.shape[1])
        taken = view.copy(order="K") if n_lines and out is signal else view
        shift = np.rint(lines.slope * (cols + 0.5)).astype(int)
        reach = int(np.abs(shift).max())
        wide = _wider(profile[None], reach)[0]
        steps = [0, *(np.flatnonzero(np.diff(shift)) + 1), len(shift)]
        for first, last in pairwise(steps):
            start = reach - shift[first]
            taken[:, first:last] -= wide[start : start + len(profile), None]
        out = taken.T if k else taken
    return out, n_lines
