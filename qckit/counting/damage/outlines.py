"""Edges of one pixel that are no cut: outlines drawn without a lens's blur that run along a row where they bend.

The rim of a dish, or a sharpened outline, may step within one pixel and lie along one row for a hundred columns. It
goes on at both ends, a row or two off, with a step of the same sign; a cut ends with what was cut.
"""

from __future__ import annotations

import numpy as np

__all__ = ["goes_on_bent", "is_one_outline"]

BEYOND_PX, LEAST_BEYOND_PX = 16, 6  # columns beyond an end that are looked at; fewer, at the border, say nothing
ROWS_OFF = (-3, -2, -1, 1, 2, 3)
SAME_STEP, GOES_ON = 0.5, 0.7  # share of the step that is there, too, and of the columns in which it is
LEAST_STEP, LEAST_RUN, GAP_PX = 6, 16, 3  # code values; pixels of an edge, and of what may be missing in it
MOST = 0.7  # share of all that steps in a row


def goes_on_bent(values: np.ndarray, row: int, reach: int, across: tuple[int, int]) -> bool:
    """Tell whether an edge along a row goes on a few rows off beyond both of its ends.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    row : int
        The last row before the step, counted from 0.
    reach : int
        Rows over which it steps.
    across : (int, int)
        First column of the edge, and the one after its last.

    Returns
    -------
    bool
        An end at the photo's border says nothing; where both do, the edge does not go on.
    """
    first, end = across
    step = values[row + reach, first:end].astype(np.int16) - values[row, first:end]
    usual = float(np.median(step))
    ends = [slice(max(0, first - BEYOND_PX), first), slice(end, end + BEYOND_PX)]
    ends = [part for part in ends if len(values[row, part]) >= LEAST_BEYOND_PX]
    return bool(ends) and all(_steps_beside(values, row, reach, part, usual) for part in ends)


def _steps_beside(values: np.ndarray, row: int, reach: int, part: slice, usual: float) -> bool:
    """Whether most of some columns step as much, the same way, in a row nearby."""
    above = [row + off for off in ROWS_OFF if row + off >= 0 and row + off + reach < len(values)]
    steps = values[np.array(above) + reach, part].astype(np.int16) - values[above, part]
    there = (steps * np.sign(usual) >= SAME_STEP * abs(usual)).any(axis=0)
    return float(there.mean()) >= GOES_ON


def is_one_outline(values: np.ndarray, row: int, reach: int) -> bool:
    """Tell whether what steps at a row is for the most part outlines that go on beside it.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    row : int
        The last row before the step, counted from 0.
    reach : int

    Returns
    -------
    bool
    """
    step = values[row + reach].astype(np.int16) - values[row]
    total, bent = 0.0, 0.0
    for sign in (1, -1):
        sharp = np.flatnonzero(sign * step >= LEAST_STEP)
        runs = np.split(sharp, np.flatnonzero(np.diff(sharp) > GAP_PX) + 1)
        for run in runs:
            if not len(run):
                continue
            size = float(np.abs(step[run]).sum())
            total += size
            if len(run) >= LEAST_RUN and goes_on_bent(values, row, reach, (int(run[0]), int(run[-1]) + 1)):
                bent += size
    return bent > MOST * total
