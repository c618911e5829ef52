"""What is summed up over the pixels of each piece of the foreground, so that any group of pieces can be measured."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np

from qckit.counting.fallback.splitting import Cut
from qckit.counting.segmentation.light import LOG_CODE, Light, background_at
from qckit.counting.working import WorkImage
from qckit.robust import median_of

__all__ = ["AT", "CONTRAST_BINS", "MOMENTS", "SUMS", "PieceSums", "hues_of", "sum_pieces"]


MEDIAN_OF = 20_000  # pixels are enough for a median over the whole photo


PIXELS = 64_000  # of pieces, summed up at a time: of all at once a count's peak of memory would lie here


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


def _backgrounds(work: WorkImage, light: Light) -> list[np.ndarray]:
    """Background of each channel at every ``BACKGROUND_STEP``-th row and column, end to end."""
    shape = work.pixels.shape[:2]
    return [background_at(light.grid[..., c], light.block_px, shape, BACKGROUND_STEP).ravel() for c in range(3)]


def _contrasts(work: WorkImage, backgrounds: list[np.ndarray], is_dark: bool, *, flat, rows, cols) -> list[np.ndarray]:
    """Contrast of pixels per channel, in natural logarithms: positive is darker, in dark field brighter."""
    n_cols = -(-work.pixels.shape[1] // BACKGROUND_STEP)
    near = rows // BACKGROUND_STEP * n_cols + cols // BACKGROUND_STEP
    codes, at = work.pixels.ravel(), 3 * flat
    sign = np.float32(0.01 if is_dark else -0.01)
    return [
        sign * (LOG_CODE.take(codes.take(at + c, mode="wrap"), mode="wrap") - back.take(near, mode="wrap"))
        for c, back in enumerate(backgrounds)
    ]


def _gradient(work: WorkImage, flat: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Size of the green channel's gradient at pixels. [code values per working pixel]"""
    height, width = work.pixels.shape[:2]
    codes, at = work.pixels.ravel(), 3 * flat + 1
    down, up, right, left = (codes.take(at + step, mode="wrap") for step in (3 * width, -3 * width, 3, -3))
    for beside, outside in ((down, rows == height - 1), (up, rows == 0), (right, cols == width - 1), (left, cols == 0)):
        beside[outside] = codes.take(at[outside])
    dy, dx = np.subtract(down, up, dtype=np.float32), np.subtract(right, left, dtype=np.float32)
    return 0.5 * np.sqrt(dx * dx + dy * dy)


def sum_pieces(work: WorkImage, light: Light, cut: Cut) -> PieceSums:
    """Add up what the features need, per piece.

    Parameters
    ----------
    work : WorkImage
    light : Light
    cut : Cut

    Returns
    -------
    PieceSums
    """
    um, pieces, flat, starts = work.um_per_px, cut.labels, cut.flat, cut.starts
    n, size = len(cut.patch) - 1, np.diff(starts)
    there = pieces.ravel().take(flat[starts[:-1]]).astype(np.int64)
    rows = (flat // pieces.shape[1]).astype(np.int32)
    cols = (flat - rows * np.int64(pieces.shape[1])).astype(np.int32)
    label = np.repeat(there.astype(pieces.dtype), size)
    pairs, shared, border, edge = _borders(
        pieces, flat, rows=rows, cols=cols, label=label, starts=starts, there=there, n=n
    )
    del label
    boxes = _boxes(rows, cols, starts, there, n)
    origin = _patch_origin(boxes, cut.patch)
    backgrounds, is_dark = _backgrounds(work, light), light.is_dark
    every = slice(None, None, max(1, len(flat) // MEDIAN_OF))
    some = _contrasts(work, backgrounds, is_dark, flat=flat[every], rows=rows[every], cols=cols[every])
    typical = max(float(median_of((some[0] + some[1] + some[2]) / 3)), 1e-3) if len(flat) else 1.0
    green_level = np.float32(max(float(light.level[1]), 30.0))
    table = np.zeros((n + 1, len(SUMS)))
    for first, last in pairwise(_some_at_a_time(starts)):
        here, group = slice(starts[first], starts[last]), there[first:last]
        at, row, col = flat[here], rows[here], cols[here]
        corner = origin[cut.patch[group]].astype(np.int32).T
        y, x = ((of - np.repeat(k, size[first:last])) * um for of, k in zip((row, col), corner, strict=True))
        table[group] = _table(
            starts[first : last + 1] - starts[first],
            x,
            y,
            contrast=_contrasts(work, backgrounds, is_dark, flat=at, rows=row, cols=col),
            s=cut.signal[here],
            d=cut.depth[here],
            g=_gradient(work, at, row, col) / green_level,  # of the same channel
            typical=typical,
        )
    deepest = np.zeros(n + 1)
    deepest[there] = np.maximum.reduceat(cut.depth, starts[:-1]) if len(there) else 0
    # hue shares of the photo's own objects, by which an unusual lamp or stain is allowed for
    hues = hues_of(*(np.array([float(median_of(c)) if len(flat) else typical]) for c in some))
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
        patch=cut.patch,
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


def _some_at_a_time(starts: np.ndarray) -> np.ndarray:
    """Bounds of groups of pieces with about ``PIXELS`` pixels."""
    ends = np.searchsorted(starts, np.arange(PIXELS, starts[-1], PIXELS))
    return np.unique(np.concatenate([[0], ends, [len(starts) - 1]]))


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
    sides, edge, codes = np.zeros(len(flat), np.uint8), np.zeros(n + 1), []
    for step, outside in ((1, cols == width - 1), (width, rows == height - 1), (-1, cols == 0), (-width, rows == 0)):
        beside = pieces.ravel().take(flat + step, mode="wrap")
        differs = beside != label
        differs[outside] = True
        sides += differs
        edge += np.bincount(label[outside], minlength=n + 1)
        if step > 0:  # each side once
            both = np.flatnonzero(differs)
            both = both[(beside[both] > 0) & ~outside[both]]
            one, two = label[both].astype(np.int64), beside[both].astype(np.int64)
            codes.append(np.minimum(one, two) * (n + 1) + np.maximum(one, two))
    border = np.zeros(n + 1)
    border[there] = np.add.reduceat(sides, starts[:-1], dtype=float) if len(there) else 0
    code, shared = np.unique(np.concatenate(codes), return_counts=True)
    pairs = np.stack(np.divmod(code, n + 1), axis=1) if len(code) else np.zeros((0, 2), np.int64)
    return pairs, shared.astype(float), border, edge


def hues_of(c0, c1, c2):
    """Colour of a contrast as two shares that do not depend on how strong it is."""
    total = np.abs(c0) + np.abs(c1) + np.abs(c2) + 0.02
    return (c0 - c1) / total, (c1 - c2) / total
