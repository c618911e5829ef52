"""What is summed up over the pixels of each piece of the foreground, so that any group of pieces can be measured."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np

from qckit.counting.light import LOG_CODE, Light, background_at
from qckit.counting.working import WorkImage

__all__ = ["AT", "CONTRAST_BINS", "MOMENTS", "SUMS", "PieceSums", "hues_of", "sum_pieces"]


MEDIAN_OF = 20_000  # pixels are enough for a median over the whole photo


BACKGROUND_STEP = 3  # pixels: the background changes over blocks much larger


RIM_UM = 26.0  # the outer zone of an object: a cyst's wall shows there


CONTRAST_BINS = (0.25, 0.5, 0.8, 1.2, 1.8)  # of the photo's typical contrast


MOMENTS = ("n", "x", "y", "xx", "xy", "yy", "xxx", "xxy", "xyy", "yyy")


_LOOKS = ("c0", "c1", "c2", "c00", "c11", "c22", "s", "ss", "g", "d")


_RIM = ("n_rim", "c0_rim", "c1_rim", "c2_rim", "g_rim")


_BINS = tuple(f"h{i}" for i in range(len(CONTRAST_BINS) + 1))


SUMS = (*MOMENTS, *_LOOKS, *_RIM, *_BINS)


AT = {name: i for i, name in enumerate(SUMS)}


@dataclass(frozen=True)
class PieceSums:
    """Sums over the pixels of each piece.

    Attributes
    ----------
    sums : (n + 1, len(SUMS)) ndarray of float64
        Row 0 is unused. Coordinates are in µm from ``origin_um`` of the piece's patch.
    border : (n + 1,) ndarray
        Length of outline in pixel sides.
    edge : (n + 1,) ndarray
        Pixel sides on the photo's border.
    pairs : (k, 2) ndarray of int
        Pieces that touch, first less than second.
    shared : (k,) ndarray
        Pixel sides shared by each pair.
    depth : (n + 1,) ndarray
        Largest distance to the background. [µm]
    boxes : (n + 1, 4) ndarray of int
        first row, first column, row past the last, column past the last.
    patch : (n + 1,) ndarray of int
    origin : (patches + 1, 2) ndarray of int
        First row and column of each patch.
    context : dict
        Photo-wide figures: is_dark, um_per_px, typical contrast and hue.
    """

    sums: np.ndarray
    border: np.ndarray
    edge: np.ndarray
    pairs: np.ndarray
    shared: np.ndarray
    depth: np.ndarray
    boxes: np.ndarray
    patch: np.ndarray
    origin: np.ndarray
    context: dict


def _contrasts(work: WorkImage, light: Light, flat: np.ndarray, rows: np.ndarray, cols: np.ndarray):
    """Contrast of pixels per channel, in natural logarithms: positive is darker, in dark field brighter."""
    out = []
    shape = work.pixels.shape[:2]
    near = rows // BACKGROUND_STEP * -(-shape[1] // BACKGROUND_STEP) + cols // BACKGROUND_STEP
    codes = work.pixels.reshape(-1, 3).take(flat, axis=0)
    sign = np.float32(0.01 if light.is_dark else -0.01)
    for c in range(3):
        back = background_at(light.grid[..., c], light.block_px, shape, BACKGROUND_STEP).ravel().take(near)
        out.append(sign * (LOG_CODE.take(codes[:, c]) - back))
    return out


def _gradient(work: WorkImage, flat: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Size of the green channel's gradient at pixels. [code values per working pixel]"""
    height, width = work.pixels.shape[:2]
    codes, at, line = work.pixels.ravel(), 3 * flat + 1, 3 * width
    down, up = codes.take(at + line * (rows < height - 1)), codes.take(at - line * (rows > 0))
    right, left = codes.take(at + 3 * (cols < width - 1)), codes.take(at - 3 * (cols > 0))
    dy, dx = np.subtract(down, up, dtype=np.float32), np.subtract(right, left, dtype=np.float32)
    return 0.5 * np.sqrt(dx * dx + dy * dy)


def sum_pieces(
    work: WorkImage, light: Light, signal: np.ndarray, pieces: np.ndarray, patch: np.ndarray, depth: np.ndarray
) -> PieceSums:
    """Add up what the features need, per piece.

    Parameters
    ----------
    work : WorkImage
    light : Light
    signal : (M, N) ndarray
        Smoothed signal.
    pieces : (M, N) ndarray of int
    patch : (n + 1,) ndarray of int
    depth : (M, N) ndarray
        Distance to the background. [µm]

    Returns
    -------
    PieceSums
    """
    um = work.um_per_px
    flat, starts, there = _in_order(pieces)
    n, size = len(patch) - 1, np.diff(starts)
    label = np.repeat(there, size)
    rows, cols = np.divmod(flat, pieces.shape[1])
    contrast = _contrasts(work, light, flat, rows, cols)
    typical = max(_typical((contrast[0] + contrast[1] + contrast[2]) / 3), 1e-3) if len(flat) else 1.0
    s, d = signal.ravel().take(flat), depth.ravel().take(flat)
    g = _gradient(work, flat, rows, cols) / np.float32(max(float(light.level[1]), 30.0))  # of the same channel
    boxes = _boxes(rows, cols, starts, there, n)
    origin = _patch_origin(boxes, patch)
    corner = np.repeat(origin[patch[there]], size, axis=0)
    x, y = (cols - corner[:, 1]) * um, (rows - corner[:, 0]) * um
    table = np.zeros((n + 1, len(SUMS)))
    table[there] = _table(starts, x, y, contrast=contrast, s=s, d=d, g=g, typical=typical)
    pairs, shared, border, edge = _borders(
        pieces, flat, rows=rows, cols=cols, label=label, starts=starts, there=there, n=n
    )
    deepest = np.zeros(n + 1)
    deepest[there] = np.maximum.reduceat(d, starts[:-1]) if len(there) else 0
    # hue shares of the photo's own objects, by which an unusual lamp or stain is allowed for
    hues = hues_of(*(np.array([_typical(c)]) if len(flat) else np.array([typical]) for c in contrast))
    context = {
        "is_dark": float(light.is_dark),
        "um_per_px": um,
        "typical": typical,
        "rg": float(hues[0][0]),
        "gb": float(hues[1][0]),
    }
    return PieceSums(
        sums=table,
        border=border,
        edge=edge,
        pairs=pairs,
        shared=shared,
        depth=deepest,
        boxes=boxes,
        patch=patch,
        origin=origin,
        context=context,
    )


def _table(starts, x, y, *, contrast, s, d, g, typical):
    """The sums of each piece, columns ``SUMS``; pixels stand piece after piece."""
    c0, c1, c2 = contrast
    sums = [_sums(values, starts) for values in chain(_moments(x, y), _looks(contrast, s=s, d=d, g=g))]
    return np.stack([np.diff(starts), *sums, *_shares((c0 + c1 + c2) / 3 / typical, starts)], axis=1)


def _moments(x, y):
    """Yield the products of ``MOMENTS`` after the first, one at a time: together they would be nine pictures."""
    yield from (x, y)
    xx = x * x
    yield from (xx, x * y)
    yy = y * y
    yield yy
    for one, two in ((xx, x), (xx, y), (x, yy), (yy, y)):
        yield one * two


def _looks(contrast, *, s, d, g):
    """Yield what ``_LOOKS`` and ``_RIM`` add up, one at a time."""
    yield from contrast
    yield from (c * c for c in contrast)
    yield from (s, s * s, g, d)
    rim = (d <= RIM_UM).astype(np.float32)
    yield rim
    yield from (c * rim for c in contrast)
    yield g * rim


def _in_order(pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pixels piece after piece, each in reading order: flat index, where each piece starts (and the end), its number.

    Sums over runs of an array cost a fraction of sums by label.
    """
    flat = np.flatnonzero(pieces != 0)  # of truth values it is several times faster
    label = pieces.ravel().take(flat)
    if label.max(initial=0) < 2**16:
        label = label.astype(np.uint16)  # numpy sorts these by counting
    order = np.argsort(label, kind="stable")
    label = label[order]
    starts = np.r_[0, np.flatnonzero(label[1:] != label[:-1]) + 1, len(label)] if len(label) else np.zeros(1, np.int64)
    return flat[order], starts, label[starts[:-1]].astype(np.int64)


def _typical(values: np.ndarray) -> float:
    """Median of pixels, from evenly spread ones where there are many."""
    return float(np.median(values[:: max(1, len(values) // MEDIAN_OF)]))


def _sums(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Sum over each run."""
    return np.add.reduceat(values, starts[:-1]) if len(starts) > 1 else np.zeros(0)


def _shares(ratio: np.ndarray, starts: np.ndarray) -> list[np.ndarray]:
    """Pixels of each run between the steps of ``CONTRAST_BINS``, below the first and above the last."""
    above = [_sums((ratio >= step).astype(np.float32), starts) for step in CONTRAST_BINS]
    above = [np.diff(starts), *above, np.zeros(len(starts) - 1)]
    return [more - less for more, less in pairwise(above)]


def _boxes(rows: np.ndarray, cols: np.ndarray, starts: np.ndarray, there: np.ndarray, n: int) -> np.ndarray:
    """Bounding boxes per piece; pieces without pixels have none (first past last)."""
    box = np.empty((n + 1, 4), np.int64)
    box[:, :2], box[:, 2:] = np.iinfo(np.int32).max, 0
    if len(there):
        first, last = starts[:-1], starts[1:] - 1
        left, right = np.minimum.reduceat(cols, first), np.maximum.reduceat(cols, first)
        box[there] = np.stack([rows[first], left, rows[last] + 1, right + 1], axis=1)
    return box


def _patch_origin(boxes, patch):
    """First row and column of each patch, so that moments stay small numbers."""
    origin = np.full((int(patch.max(initial=0)) + 1, 2), np.iinfo(np.int32).max, np.int64)
    np.minimum.at(origin, patch[1:], boxes[1:, :2])
    return origin


def _borders(pieces, flat, rows, cols, label, starts, there, n):
    """Outline lengths, sides on the photo's border, and sides shared between touching pieces."""
    height, width = pieces.shape
    sides, on_edge = np.zeros(len(flat), np.float32), np.zeros(len(flat), np.float32)
    codes = []
    for step, outside in ((1, cols == width - 1), (width, rows == height - 1), (-1, cols == 0), (-width, rows == 0)):
        beside = pieces.ravel().take(flat + step, mode="clip")
        differs = (beside != label) | outside
        sides += differs
        on_edge += outside
        if step > 0:  # each side once
            both = np.flatnonzero(differs & (beside > 0) & ~outside)
            one, two = label[both], beside[both].astype(np.int64)
            codes.append(np.minimum(one, two) * (n + 1) + np.maximum(one, two))
    border, edge = np.zeros(n + 1), np.zeros(n + 1)
    border[there], edge[there] = _sums(sides, starts), _sums(on_edge, starts)
    code, shared = np.unique(np.concatenate(codes), return_counts=True)
    pairs = np.stack(np.divmod(code, n + 1), axis=1) if len(code) else np.zeros((0, 2), np.int64)
    return pairs, shared.astype(float), border, edge


def hues_of(c0, c1, c2):
    """Colour of a contrast as two shares that do not depend on how strong it is."""
    total = np.abs(c0) + np.abs(c1) + np.abs(c2) + 0.02
    return (c0 - c1) / total, (c1 - c2) / total
