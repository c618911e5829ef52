"""Grain: how coarse and how strong the noise of plain parts is, which one camera makes alike all over a photo.

A part that was enlarged, smoothed or taken from another photo has another grain, and the change stands along one
straight line; light and lens change it gradually. A part that is nothing but noise, every pixel for itself, has come
through no lens at all.
"""

from __future__ import annotations

import numpy as np

from qckit.robust import median_of

__all__ = ["find_other_grain"]

CELL = 24  # pixels a side
MOST_CELLS = 1600  # looked at, evenly over a photo
AT_ONCE = 8  # rows of cells
PLAIN = 1.6  # times the median activity: cells that hold no object
MARGIN, LEAST_CELLS, LEAST_SHARE = 4, 20, 0.1  # rows of cells at the border; plain cells on each side of a line
COARSER, STRONGER = 1.9, 2.3
"""Scatters of plain cells by which both sides of a line differ: 1.4 and 2.7 at most on sound photos, there slowly."""

NEAR, SHARP = 3, 0.75  # rows of cells on each side of the line, which differ by this much of the limit: no slow change

WHITE_STEP, WHITE_RATIO, WHITE_SHARE = 20.0, 0.92, 0.03
"""Noise alone: steps between neighbours, in code values; their square over that of every second; share of cells, which
in sound photos of anything reaches 0.0025."""

AS_BRIGHT = 1.4  # times: of parts that differ by more, light itself and the tone curve make the noise differ

ROUNDING = 0.05  # of squared code values: below it there is no grain to be looked at


def find_other_grain(green: np.ndarray) -> str:
    """Find a part of a photo whose grain is not the rest's.

    Parameters
    ----------
    green : (M, N) ndarray of uint8

    Returns
    -------
    str
        What was found, in words; empty where nothing was.
    """
    if min(green.shape) < (2 * MARGIN + 2) * CELL:
        return ""
    one, two, level, pitch = _activity(green)
    strong = one > 2 * WHITE_STEP**2
    if float((strong & (one > WHITE_RATIO * two)).mean()) > WHITE_SHARE:
        return "a part of it is noise, every pixel for itself"
    plain = two <= PLAIN * float(median_of(two.ravel()))
    for values, limit in ((one / np.maximum(two, ROUNDING), COARSER), (np.log(np.maximum(two, ROUNDING)), STRONGER)):
        for across, which, word in ((values, plain, "row"), (values.T, plain.T, "column")):
            at = _change(across, which, limit)
            if at is not None and _as_bright(level if word == "row" else level.T, which, at):
                return f"its grain is another beyond {word} {at * pitch}"
    return ""


def _activity(green: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """Mean squared steps between neighbours and between every second pixel, of both directions, and the brightness, for
    each cell that is looked at; and how far these lie apart.
    """
    rows, cols = green.shape[0] // CELL, green.shape[1] // CELL
    skip = max(1, round((rows * cols / MOST_CELLS) ** 0.5))
    cells = green[: rows * CELL, : cols * CELL].reshape(rows, CELL, cols, CELL)[::skip, :, ::skip]
    wide = cells.shape[2] * CELL
    sums = np.empty((2, len(cells), cells.shape[2]), np.float32)
    for first in range(0, len(cells), AT_ONCE):  # few rows at a time stay in the processor's cache
        some = cells[first : first + AT_ONCE].astype(np.float32, order="C").reshape(-1, CELL, wide)
        squares = some * some
        total = squares.sum(axis=1)  # of each column
        for apart, out in zip((1, 2), sums, strict=True):
            # a step's square is both pixels' less twice their product, all whole numbers; by the column it begins in
            across = np.zeros((len(some), wide), np.float32)
            np.einsum("kij,kij->kj", some[..., apart:], some[..., :-apart], out=across[:, :-apart])
            across *= -2
            across[:, :-apart] += total[:, :-apart] + total[:, apart:]
            across.reshape(-1, cells.shape[2], CELL)[..., CELL - apart :] = 0  # they end in the next cell
            across += 2 * (total - np.einsum("kij,kij->kj", some[:, apart:], some[:, :-apart]))
            across -= squares[:, :apart].sum(axis=1) + squares[:, -apart:].sum(axis=1)
            out[first : first + AT_ONCE] = across.reshape(-1, cells.shape[2], CELL).sum(axis=2) / (
                CELL * (CELL - apart)
            )
    some = cells[:, ::4, :, ::4]
    level = some.sum(axis=1, dtype=np.uint16).sum(axis=2, dtype=np.float32) / np.float32(some.shape[1] * some.shape[3])
    return sums[0], sums[1], level, skip * CELL


def _as_bright(level: np.ndarray, which: np.ndarray, at: int) -> bool:
    """Whether chosen cells near a line are about as bright before it as after.

    Noise grows with light and with the slope of the tone curve (EMVA 1288, from memory), so a dark bench beside a dish
    has another grain; a part laid into the picture shows the same things in the same light.
    """
    before, after = (
        float(np.median(level[part][which[part]])) for part in (slice(at - NEAR, at), slice(at, at + NEAR))
    )
    return max(before, after) <= AS_BRIGHT * max(min(before, after), 1.0)


def _change(values: np.ndarray, which: np.ndarray, limit: float) -> int | None:
    """Row before which chosen cells differ most from those after, in their scatter; None within the limit."""
    n = np.cumsum(which.sum(axis=1))
    total = np.cumsum(np.where(which, values, 0).sum(axis=1))
    squares = np.cumsum(np.where(which, values**2, 0).sum(axis=1))
    before = n[MARGIN - 1 : -MARGIN].astype(float)
    after = n[-1] - before
    enough = np.minimum(before, after) >= max(LEAST_CELLS, LEAST_SHARE * n[-1])
    if not enough.any():
        return None
    first = total[MARGIN - 1 : -MARGIN] / np.maximum(before, 1)
    second = (total[-1] - total[MARGIN - 1 : -MARGIN]) / np.maximum(after, 1)
    scatter = np.sqrt(np.maximum((squares[-1] - before * first**2 - after * second**2) / n[-1], 1e-8))
    z = np.where(enough, np.abs(first - second) / scatter, 0)
    at = int(z.argmax())
    if z[at] <= limit:
        return None
    k = at + MARGIN

    def mean(part: slice) -> float:
        return float(values[part][which[part]].sum()) / max(int(which[part].sum()), 1)

    step = abs(mean(slice(k - NEAR, k)) - mean(slice(k, k + NEAR))) / scatter[at]
    return k if step > SHARP * limit else None
