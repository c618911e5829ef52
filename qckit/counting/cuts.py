"""Bodies that end along one straight row of pixels: where a part of a photo was shifted, laid over or left out.

A lens spreads every outline over several pixels, and an outline that it draws bends or leans. Where a picture was cut,
several bodies end at once, each with a step of one pixel, all along one row.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

__all__ = ["find_cut"]

STEP, SHARPER = 14, 3  # code values at the cut; times the steps before and after it
STAYS, STAYS_PX = 0.5, (4, 8, 12)  # share of the step that is there so many pixels on: a ruled line is over by then
RUN_PX, SAME_BODY_PX = 8, 24  # shortest stretch of a cut; stretches nearer than this are of one body
SAME_EDGE = 0.7  # share of the columns between two stretches that step too, if less clearly: one outline's
BESIDE_PX, LEANING = (2, 3, 4), 0.25  # rows off in which an outline that leans or bends is sharp too; share of it
MOST_OF_ONE, LEAST_CUT, LEAST_BODIES = 40, 50, 2
"""Pixels of a cut that one body can bring; in all; bodies. Sound photos of cysts and nauplii, also sharpened, enlarged
or of quality 50, reach 40 with one body and 32 with two; pictures of machines reach 49."""

CANDIDATES = 24
MARGIN = max(STAYS_PX) + 2


def find_cut(values: np.ndarray, middle: np.ndarray, beside: np.ndarray, reach: int) -> int | None:
    """Find a row at which several bodies end.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    middle, beside : (M - 3 * reach, N) ndarray of uint8
        Size of the step from each row to that ``reach`` further on, and of the larger of its neighbours'.
    reach : int
        1; or 2 where a decoder that reduces the photo has mixed two rows.

    Returns
    -------
    int or None
        Row, counted from 0: the last before the cut.
    """
    sharp = middle >= STEP
    sharp &= middle // SHARPER >= beside
    n = np.count_nonzero(sharp, axis=1)
    n[:MARGIN] = n[-MARGIN:] = 0
    for k in np.argsort(-n)[:CANDIDATES]:
        if n[k] < LEAST_CUT:
            break
        bodies = _bodies(values, sharp, int(k), reach)
        if len(bodies) >= LEAST_BODIES and sum(min(px, MOST_OF_ONE) for px in bodies) >= LEAST_CUT:
            return int(k) + reach
    return None


def _bodies(values: np.ndarray, sharp: np.ndarray, k: int, reach: int) -> list[int]:
    """Pixels along row k at which each body ends that ends there."""
    row = k + reach
    step = values[row + reach].astype(np.int16) - values[row]
    sign = np.sign(step)
    stays = sharp[k].copy()
    for apart in STAYS_PX:
        below = values[min(len(values) - 1, row + reach + apart)].astype(np.int16)
        stays &= sign * (below - values[max(0, row - apart)]) >= STAYS * np.abs(step)
    signed = np.where(stays, sign, 0)
    edges = np.flatnonzero(np.diff(np.r_[0, signed, 0]))
    leaning = np.zeros(len(step), bool)
    for apart in BESIDE_PX:
        for other in (k - apart, k + apart):
            if 0 <= other < len(sharp):
                leaning |= sharp[other]
    n_leaning = np.r_[0, np.cumsum(leaning)]
    bodies: list[int] = []
    last, last_sign = -SAME_BODY_PX, 0
    for first, end in pairwise(edges):
        if not signed[first] or end - first < RUN_PX:
            continue
        near = n_leaning[min(len(step), end + RUN_PX)] - n_leaning[max(0, first - RUN_PX)]
        if near > LEANING * (end - first):
            continue
        between = (
            sign[last:first] * last_sign * (np.abs(step[last:first]) >= STEP // 2) > 0 if last > 0 else np.zeros(1)
        )
        if first - last < SAME_BODY_PX or (signed[first] == last_sign and between.mean() >= SAME_EDGE):
            bodies[-1] += int(end - first)
        else:
            bodies.append(int(end - first))
        last, last_sign = int(end), int(signed[first])
    return bodies
