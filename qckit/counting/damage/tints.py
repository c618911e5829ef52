"""Colour that changes along one line: what follows when bytes of a compressed photo were lost.

A compressed photo tells each block's colour by its difference from the last one's, so that after a loss all that
follows has another tint. Light changes slowly over a photo; objects and ruled lines leave the middle of a row's
colours as it is.
"""

from __future__ import annotations

import numpy as np

__all__ = ["find_tint"]

SAMPLES = 64  # of a row
REACH, GAP = 16, 9  # rows on each side that are held against each other; left out: it begins within a row of blocks
LEAST_STEP, SPREADS = 5.0, 3.0  # in code values, and in ranges of the rows on one side and a half
"""Steps of all columns are smaller than 4 in sound photos, also at quality 50."""


ALIKE, EVERYWHERE, MOST_OF_STEP = 3.0, 0.6, 0.7
"""Code values, or a quarter, by which columns may differ in their change; share of those that do not differ by more;
share of the step that the usual column shows."""


def find_tint(pixels: np.ndarray) -> int | None:
    """Find a row below which all of a photo has another colour.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8

    Returns
    -------
    int or None
        Row, counted from 1.
    """
    if pixels.shape[0] < 4 * REACH:
        return None
    some = pixels[:, :: max(1, pixels.shape[1] // SAMPLES)].astype(np.int16)
    for channel in (0, 2):  # against green: brightness alone changes at ruled lines and rims, too
        level = _middle(some[..., channel] - some[..., 1]).astype(np.float32)
        if np.ptp(level) < LEAST_STEP:
            continue
        window = np.sort(np.lib.stride_tricks.sliding_window_view(level, REACH), axis=1)
        middle, spread = window[:, REACH // 2], window[:, -1] - window[:, 0]
        apart = REACH + 2 * GAP
        step = np.abs(middle[apart:] - middle[:-apart])
        clear = (step >= LEAST_STEP) & (step >= SPREADS * (0.5 + np.maximum(spread[apart:], spread[:-apart])))
        if clear.any():
            row = int(np.argmax(np.where(clear, step, 0))) + REACH + GAP
            if _is_everywhere(some[..., channel] - some[..., 1], row, float(step.max(where=clear, initial=0))):
                return row
    return None


def _is_everywhere(colour: np.ndarray, row: int, step: float) -> bool:
    """Tell whether most columns change alike; where an object ends, some do and the others not at all."""
    above = _middle(colour[row - GAP - REACH : row - GAP].T).astype(np.float32)
    change = _middle(colour[row + GAP : row + GAP + REACH].T) - above
    usual = float(np.median(change))
    alike = float((np.abs(change - usual) < max(ALIKE, abs(usual) / 4)).mean())
    return alike > EVERYWHERE and abs(usual) > MOST_OF_STEP * step


def _middle(values: np.ndarray) -> np.ndarray:
    """The upper of the middle values of each row; half the work of a median, if each row lies in one piece."""
    at = values.shape[1] // 2
    return np.partition(np.ascontiguousarray(values), at, axis=1)[:, at]
