"""Ruled lines: found by what all strips of the photo share, taken out of the signal, and offered as a scale.

In logarithms of brightness a line adds the same amount wherever it runs, so the median over strips along a direction
is the line's own profile: objects sit in a few strips only. Subtracting it leaves objects that lie on a line whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["RuledLines", "find_ruled_lines", "remove_ruled_lines"]

STRIP_PX = 16
STEEPEST = 0.13  # rise over run: a chamber is laid down within 7 degrees of the photo's sides
LEAST_SCATTERS = 2.5
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
    """

    angle_deg: float
    offsets_px: np.ndarray
    spacing_px: float
    profile: np.ndarray
    slope: float


def _strip_means(signal: np.ndarray) -> np.ndarray:
    """Mean over strips of columns: (M, strips)."""
    n = signal.shape[1] // STRIP_PX
    return signal[:, : n * STRIP_PX].reshape(signal.shape[0], n, STRIP_PX).mean(axis=2)


def _profile(strips: np.ndarray, slope: float, every: int = 1) -> np.ndarray:
    """Median over strips, each moved back by the line's rise."""
    rows, n = strips.shape
    shift = np.rint(slope * (np.arange(n) * every + 0.5) * STRIP_PX).astype(int)
    index = np.clip(np.arange(rows)[:, None] + shift, 0, rows - 1)
    moved = strips[index, np.arange(n)]
    return np.median(moved, axis=1)


def _along_rows(signal: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Profile and slope of lines that run along the rows; None where there are none."""
    if min(signal.shape) < 12 * STRIP_PX:
        return None
    strips = _strip_means(signal)
    n = strips.shape[1]
    # few strips and every second row are enough to find the slope; then refined with all
    every, down = max(1, n // 12), max(2, signal.shape[0] // 240)
    some = np.ascontiguousarray(strips[::down, ::every])
    step = 2.0 / signal.shape[1]
    wide = 1.5 * down * step
    coarse = np.arange(-STEEPEST, STEEPEST + 1e-9, wide)

    def sharpness(s):
        x = (np.arange(some.shape[1]) * every + 0.5) * STRIP_PX
        index = np.clip(np.arange(some.shape[0])[:, None] + np.rint(s * x / down).astype(int), 0, some.shape[0] - 1)
        return float(np.var(np.median(some[index, np.arange(some.shape[1])], axis=1)))

    best = max(coarse, key=sharpness)
    fine = np.arange(best - wide, best + 1.01 * wide, step)
    if float(np.max(_profile(strips[:, ::every], best, every))) < LEAST_SCATTERS:
        return None
    profiles = [_profile(strips, s) for s in fine]
    k = int(np.argmax([np.var(p) for p in profiles]))
    profile = profiles[k] - np.median(profiles[k])
    return np.maximum(profile, 0), float(fine[k])


def _lines_in(profile: np.ndarray, um_per_px: float) -> np.ndarray:
    """Centres of lines in a profile; double lines count once."""
    high = np.flatnonzero(profile > LEAST_SCATTERS)
    if not len(high):
        return np.zeros(0)
    gap = 60.0 / um_per_px
    groups = np.split(high, np.flatnonzero(np.diff(high) > gap) + 1)
    groups = [g for g in groups if (g[-1] - g[0] + 1) * um_per_px <= THICKEST_UM]
    return np.array([np.average(g, weights=profile[g]) + 0.5 for g in groups])


def _measure(signal: np.ndarray, um_per_px: float, along_columns: bool) -> RuledLines | None:
    found = _along_rows(signal.T if along_columns else signal)
    if found is None:
        return None
    profile, slope = found
    at = _lines_in(profile, um_per_px)
    if len(at) < LEAST_LINES:
        return None
    angle = float(np.degrees(np.arctan(slope)))
    spacing = float(np.median(np.diff(at)) * np.cos(np.arctan(slope)))
    return RuledLines(90 - angle if along_columns else angle, at, spacing, profile, slope)


def find_ruled_lines(signal: np.ndarray, um_per_px: float = 8.0) -> tuple[RuledLines | None, RuledLines | None]:
    """Find the ruling of a counting chamber.

    Parameters
    ----------
    signal : (M, N) ndarray
        How far each pixel stands out (:func:`qckit.counting.light.signal_of`), or darkness in units of its scatter.
    um_per_px : float
        Rough scale, to tell lines from broader things. [µm/px]

    Returns
    -------
    along_rows, along_columns : RuledLines or None
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
        taken = view.copy() if n_lines and out is signal else view
        shift = np.rint(lines.slope * (cols + 0.5)).astype(int)
        rows = np.arange(view.shape[0])
        for s in np.unique(shift):
            here = shift == s
            taken[:, here] -= profile[np.clip(rows - s, 0, len(profile) - 1)][:, None]
        out = taken.T if k else taken
    return out, n_lines
