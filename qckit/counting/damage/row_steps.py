"""Steps between neighbouring rows of a photo, worked out once and few rows at a time, and rows turned to columns."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

__all__ = ["count_per_row", "rows_at_once", "step_sums", "steps_of", "strips_of_steps", "sums_across", "turned"]

AT_ONCE = 300_000  # bytes
PAIRS = np.uint64(0x00FF00FF00FF00FF)  # every second byte of eight
ROWS, LINE, POWER = 64, 64, 512  # rows turned to columns at a time; bytes of a line of the cache; of many lines


def rows_at_once(cols: int) -> int:
    """How many rows of so many bytes are worked on at a time: so few stay in the processor's cache."""
    return max(16, AT_ONCE // max(cols, 1))


def step_sums(values: np.ndarray, reach: int = 1, every: int = 1) -> np.ndarray:
    """Summed size of the steps from each ``every``-th row to that ``reach`` further on: whole numbers, one a row.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    reach, every : int

    Returns
    -------
    (ceil((M - reach) / every),) ndarray of uint32
    """
    from_rows, to_rows = values[:-reach:every], values[reach::every]
    total = np.empty(len(from_rows), np.uint32)
    at_once = rows_at_once(values.shape[1])
    for first in range(0, len(total), at_once):
        one, two = from_rows[first : first + at_once], to_rows[first : first + at_once]
        size = np.maximum(one, two)
        size -= np.minimum(one, two)
        np.add.reduce(size, axis=1, dtype=np.uint32, out=total[first : first + at_once])
    return total


def steps_of(values: np.ndarray, reach: int) -> tuple[np.ndarray, np.ndarray]:
    """Size of the step from each row to that ``reach`` further on, and of the larger of its neighbours'.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    reach : int
        1; or 2 where a decoder that reduces the photo has mixed two rows.

    Returns
    -------
    middle, beside : (M - 3 * reach, N) ndarray of uint8
    """
    size = np.maximum(values[reach:], values[:-reach])
    size -= np.minimum(values[reach:], values[:-reach])
    return size[reach:-reach], np.maximum(size[: -2 * reach], size[2 * reach :])


def strips_of_steps(values: np.ndarray, reach: int) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """Yield what :func:`steps_of` returns, some rows at a time, each with the first row's number.

    The arrays are the same each time, and hold the next rows when the next are asked for.
    """
    cols = values.shape[1]
    at_once = rows_at_once(cols)
    larger, smaller = (np.empty((at_once + 2 * reach, cols), np.uint8) for _ in range(2))
    neighbours = np.empty((at_once, cols), np.uint8)
    for first in range(0, len(values) - 3 * reach, at_once):
        block = values[first : first + at_once + 3 * reach]
        n = len(block) - reach
        size = np.maximum(block[reach:], block[:-reach], out=larger[:n])
        size -= np.minimum(block[reach:], block[:-reach], out=smaller[:n])
        beside = np.maximum(size[: -2 * reach], size[2 * reach :], out=neighbours[: n - 2 * reach])
        yield first, size[reach:-reach], beside


def count_per_row(which: np.ndarray) -> np.ndarray:
    """How many are set in each row: (M,). Eight at once, as bytes of a number; 255 of these before a byte is full."""
    whole = which.shape[1] // 8 * 8
    eights = np.ascontiguousarray(which[:, :whole]).view(np.uint64)
    total = np.zeros(len(which), np.int64)
    if whole < which.shape[1]:
        total += which[:, whole:].sum(axis=1, dtype=np.int64)
    for first in range(0, eights.shape[1], 255):
        each = np.add.reduce(eights[:, first : first + 255], axis=1)
        pairs = (each & PAIRS) + (each >> np.uint64(8) & PAIRS)  # of bytes, so that none runs over into the next
        total += (pairs * np.uint64(0x0001000100010001) >> np.uint64(48)).astype(np.int64)
    return total


def turned(values: np.ndarray) -> np.ndarray:
    """Rows as columns, (N, M) of (M, N) bytes, each row of it in one piece.

    Rows that begin a power of two apart drive each other out of the processor's cache: they are first copied, some at a
    time, to where they begin at other distances.
    """
    rows, cols = values.shape
    out = np.empty((cols, rows), values.dtype)
    apart = np.empty((ROWS, cols + LINE), values.dtype) if cols % POWER == 0 else None
    for first in range(0, rows, ROWS):
        some = values[first : first + ROWS]
        if apart is not None:
            apart[: len(some), :cols] = some
            some = apart[: len(some), :cols]
        out[:, first : first + ROWS] = some.T
    return out


def sums_across(rows: np.ndarray, size: int) -> np.ndarray:
    """Sum of ``size`` pixels of its row around each pixel; beyond the border a row goes on mirrored.

    Parameters
    ----------
    rows : (M, N) ndarray of uint8
    size : int
        At most 257.

    Returns
    -------
    (M, N) ndarray of uint16
    """
    n_rows, cols = rows.shape
    before, after = size // 2, size - 1 - size // 2
    if cols < size:
        wide = np.pad(rows, ((0, 0), (before, after)), mode="symmetric").astype(np.uint16)
    else:
        wide = np.empty((n_rows, cols + size - 1), np.uint16)
        wide[:, before : before + cols] = rows
        wide[:, :before] = rows[:, :before][:, ::-1]
        wide[:, before + cols :] = rows[:, cols - after :][:, ::-1]
    # twos, fours and so on of all rows end to end; what runs over the end of a row is not used
    power, at, total = wide.ravel(), 0, np.zeros(wide.size - size + 1, np.uint16)
    for bit in range(size.bit_length()):
        if size >> bit & 1:
            total += power[at : at + len(total)]
            at += 1 << bit
        if size >> bit > 1:
            power = power[: -(1 << bit)] + power[1 << bit :]
    return np.lib.stride_tricks.as_strided(total, rows.shape, (2 * wide.shape[1], 2), writeable=False)
