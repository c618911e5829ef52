"""Light and background: what the empty photo would look like, how it scatters, and which colours stand out.

The background is estimated on a coarse grid (means of blocks, median over their neighbours, then again without the
objects), so that lamps, vignettes and stages of any colour or brightness are met the same way. The signal is the
one mix of the three channels in which objects stand out most from the scatter of the background (Fisher 1936,
Annals of Eugenics 7:179): over woven mesh, whose threads differ in brightness, that mix comes out as a difference of
colours by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.working import WorkImage
from qckit.robust import median_of

__all__ = ["Light", "Mix", "background_at", "estimate_light", "signal_of"]

BLOCK_UM = 130.0  # a block is smaller than any object, so that blocks between objects stay clean
NEIGHBOURS = 9  # blocks across the window of the median: 1.2 mm
SAMPLES = 25_000  # pixels from which the scatter is taken
AT_ONCE = 65_536  # pixels looked up at a time: so few stay in the processor's cache
SOFTENER = 16.0  # added before the logarithm, so that a black stage does not blow up its noise
LOG_CODE = (100.0 * np.log((np.arange(256) + SOFTENER) / (255 + SOFTENER))).astype(np.float32)
"""Brightness of each code value, in hundredths of a natural logarithm, since light on things multiplies."""


@dataclass(frozen=True)
class Light:
    """Light of a photo.

    Attributes
    ----------
    grid : (P, Q, 3) ndarray of float32
        Background at the centres of blocks. [brightness of ``LOG_CODE``]
    block_px : int
        Working pixels per block.
    level : (3,) ndarray
        Median background. [code values]
    covariance : (3, 3) ndarray
        Scatter of the background around its grid.
    weights : (3,) ndarray
        The channel mix that makes the signal; scaled so that the background scatters by 1.
    is_dark : bool
        Objects are brighter than their background.
    """

    grid: np.ndarray
    block_px: int
    level: np.ndarray
    covariance: np.ndarray
    weights: np.ndarray
    is_dark: bool

    @property
    def scatter_pct(self) -> float:
        """Scatter of the background's light around its grid, over the channels: of a weave, a print or grain. [%]"""
        return float(np.sqrt(np.trace(self.covariance) / len(self.covariance)))

    @property
    def scatter_codes(self) -> float:
        """The same in code values: little on a black floor, whose noise scatters much of its little light."""
        return float(self.scatter_pct / 100 * (np.mean(self.level) + SOFTENER))


def _block_means(pixels: np.ndarray, block: int) -> np.ndarray:
    """Mean brightness of blocks: (rows of blocks, columns of blocks, 3)."""
    rows, cols = pixels.shape[0] // block, pixels.shape[1] // block
    every = 2 if block >= 8 else 1  # a quarter of the pixels is enough for a mean
    some = pixels[: rows * block, : cols * block : every].transpose(2, 0, 1)
    first = -(-np.arange(cols) * block // every)  # of each block's columns among these
    sums = np.empty((rows, 3, cols), np.float32)
    for k in range(rows):
        across = LOG_CODE.take(some[:, k * block : (k + 1) * block : every]).sum(axis=1)
        np.add.reduceat(across, first, axis=1, out=sums[k])
    n_each = -(-block // every) * np.diff(first, append=some.shape[2])
    return (sums / n_each.astype(np.float32)).transpose(0, 2, 1)


def background_at(grid: np.ndarray, block: int, shape: tuple[int, int], step: int = 1) -> np.ndarray:
    """Spread one channel of a block grid over all pixels, bilinearly.

    Parameters
    ----------
    grid : (P, Q) ndarray
    block : int
        Pixels per block.
    shape : (M, N)
    step : int
        Only every ``step``-th row and column.

    Returns
    -------
    (M, N) ndarray of float32
        With ``step`` above 1 accordingly smaller.
    """
    wide, rise = _across(grid, block, shape[1], step)
    low, part = _between(shape[0], grid.shape[0], block, step)
    out = rise.take(low, axis=0)
    out *= part[:, None]
    out += wide.take(low, axis=0)
    return out


def _across(grid: np.ndarray, block: int, n: int, step: int) -> tuple[np.ndarray, np.ndarray]:
    """Each row of blocks spread over the columns, and how much the next row adds."""
    grid = grid.astype(np.float32)
    low, part = _between(n, grid.shape[1], block, step)
    wide = grid.take(low, 1) * (1 - part) + grid.take(np.minimum(low + 1, grid.shape[1] - 1), 1) * part
    return wide, np.diff(wide, axis=0, append=wide[-1:])


def _background_rows(across: tuple[np.ndarray, np.ndarray], block: int, out: np.ndarray, first: int):
    """Write the background into some rows of a picture, from ``first`` on; yield slices of rows where it stands.

    ``across`` is what :func:`_across` returns for their columns. Few rows at a time, so that they are still in the
    processor's cache when they are used.
    """
    wide, rise = across
    low, part = _between(out.shape[0], len(wide), block, 1, first)
    at_once = AT_ONCE // out.shape[1]
    for top in range(0, len(out), at_once):
        rows = slice(top, top + at_once)
        np.take(rise, low[rows], axis=0, out=out[rows], mode="wrap")  # a ramp from one row of blocks to the next
        out[rows] *= part[rows, None]
        out[rows] += wide.take(low[rows], axis=0)
        yield rows


def _between(n: int, blocks: int, block: int, step: int, first: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """The block before each ``step``-th of ``n`` pixels from ``first`` on, and how far that lies towards the next."""
    at = np.arange(first, first + n, step, dtype=np.float32)
    at = np.minimum(np.maximum((at + 0.5) / block - 0.5, 0), blocks - 1)
    low = np.minimum(at.astype(np.intp), max(blocks - 2, 0))
    return low, (at - low).astype(np.float32)


def _residual(some: np.ndarray, shape: tuple[int, int], grid: np.ndarray, block: int, step: int) -> np.ndarray:
    """Difference of the brightness ``some`` of every ``step``-th pixel from the background: (m * n, 3)."""
    out = some.copy()
    low, part = _between(shape[1], grid.shape[1], block, step)
    part = part[:, None]
    wide = grid.take(low, 1) * (1 - part) + grid.take(np.minimum(low + 1, grid.shape[1] - 1), 1) * part
    low, part = _between(shape[0], grid.shape[0], block, step)
    part = part[:, None, None]
    out -= wide.take(low, 0) * (1 - part)
    out -= wide.take(np.minimum(low + 1, grid.shape[0] - 1), 0) * part
    return out.reshape(-1, 3)


def _clean_scatter(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of the background among samples with objects in them, by trimming; and products of their channels."""
    floor = np.eye(3) * 0.35  # rounding to whole code values and JPEG
    # every round is two products with these
    products = np.stack([samples[:, i] * samples[:, j] for i, j in zip(_FIRST, _SECOND, strict=True)]).T
    # a quarter of the scatter of everything: objects on up to a quarter of the photo then fall outside and are trimmed,
    # while the two brightnesses of a mesh stay inside
    covariance = 0.25 * _square(products.mean(axis=0, dtype=float)) + floor
    for _ in range(6):
        kept = _distance(products, covariance) < 14.2  # 99.7 % of a normal background in three channels
        n = int(np.count_nonzero(kept))
        if n < 50:
            break
        covariance = 1.08 * _square(kept.astype(np.float32) @ products) / n + floor
    return covariance, products


_FIRST, _SECOND = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]


def _square(six: np.ndarray) -> np.ndarray:
    """The symmetric matrix of the sums of products of ``_FIRST`` with ``_SECOND``."""
    out = np.empty((3, 3))
    out[_FIRST, _SECOND] = out[_SECOND, _FIRST] = six
    return out


def _distance(products: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Mahalanobis distance² of each sample from 0, by the products of its channels."""
    inverse = np.linalg.inv(covariance)[_FIRST, _SECOND]
    return products @ (inverse * [1, 1, 1, 2, 2, 2]).astype(np.float32)


def _mix(samples: np.ndarray, covariance: np.ndarray, distance: np.ndarray) -> tuple[np.ndarray, bool]:
    """Channel weights by Fisher's rule, scaled to unit scatter; and whether objects are brighter."""
    out = samples[distance > 60]
    if len(out) < 30:
        mean = np.array([-1.0, -1.0, -1.0])
    else:
        brighter = out.sum(axis=1) > 0
        dark = brighter.mean() > 0.5
        side = out[brighter == dark]
        mean = median_of(side)
    inverse = np.linalg.inv(covariance)
    weights = inverse @ mean
    scale = np.sqrt(weights @ covariance @ weights)
    return weights / max(scale, 1e-9), bool(mean.sum() > 0)


def estimate_light(work: WorkImage) -> Light:
    """Estimate background, scatter and the channel mix of a photo.

    Parameters
    ----------
    work : WorkImage

    Returns
    -------
    Light

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> light = counting.estimate_light(work)
    >>> counting.signal_of(work, light).ndim
    2
    """
    pixels = work.pixels
    block = max(1, min(round(BLOCK_UM / work.um_per_px), min(pixels.shape[:2])))
    means = _block_means(pixels, block)
    window = min(NEIGHBOURS, 2 * (min(means.shape[:2]) // 2) + 1)
    grid = _coarse_median(means, window)
    step = max(1, int((pixels.shape[0] * pixels.shape[1] / SAMPLES) ** 0.5))
    some = LOG_CODE.take(pixels[::step, ::step])
    for _ in range(2):
        samples = _residual(some, pixels.shape[:2], grid, block, step)
        covariance, _ = _clean_scatter(samples)
        grid = _regrid(grid, means, covariance)
    samples = _residual(some, pixels.shape[:2], grid, block, step)
    covariance, products = _clean_scatter(samples)
    weights, is_dark = _mix(samples, covariance, _distance(products, covariance))
    level = np.exp(median_of(grid.reshape(-1, 3)) / 100) * (255 + SOFTENER) - SOFTENER
    return Light(
        grid=grid,
        block_px=block,
        level=level,
        covariance=covariance,
        weights=weights.astype(np.float32),
        is_dark=is_dark,
    )


def _coarse_median(means: np.ndarray, window: int) -> np.ndarray:
    """Median over the neighbourhood of every second block, spread over all."""
    size = window // 2 + 1
    some = np.ascontiguousarray(means[::2, ::2].transpose(2, 0, 1))
    rows, cols = (np.clip(np.arange(n + size - 1) - size // 2, 0, n - 1) for n in some.shape[1:])
    wide = some.take(rows, 1).take(cols, 2)  # beyond the border as at it
    around = np.ndarray((*some.shape, size, size), wide.dtype, wide, strides=wide.strides + wide.strides[1:])
    around = around.reshape(-1, size * size)
    middle = size * size // 2  # a partition of all windows at once takes a fifth of the time of a median filter
    around.partition(middle, axis=1)
    some = around[:, middle].reshape(some.shape)
    for axis in (1, 2):  # the blocks between lie midway
        n, last = means.shape[axis - 1], some.shape[axis] - 1
        k = np.arange(n)
        some = 0.5 * (some.take(k // 2, axis) + some.take(np.minimum((k + 1) // 2, last), axis))
    return np.ascontiguousarray(some.transpose(1, 2, 0))


def _regrid(grid, means, covariance):
    """Background again: median of the blocks that hold no object, smoothed."""
    from scipy import ndimage

    off = means - grid
    first, second, third = np.moveaxis(off @ np.linalg.inv(covariance) * off, -1, 0)
    clean = first + second + third < 3.0  # sooner than a sum over so short an axis
    weighted = np.where(clean, np.stack([np.ones_like(first, np.float32), *np.moveaxis(means, -1, 0)]), np.float32(0))
    weight, *summed = ndimage.uniform_filter(weighted, (1, 5, 5), mode="nearest")
    out = np.empty_like(grid)
    for c in range(3):
        out[..., c] = np.where(weight > 0.2, summed[c] / np.maximum(weight, 1e-3), grid[..., c])
    return out


def signal_of(work: WorkImage, light: Light) -> np.ndarray:
    """Return how far each pixel stands out from the background, in scatters of the background.

    Parameters
    ----------
    work : WorkImage
    light : Light

    Returns
    -------
    (M, N) ndarray of float32
        Positive for what objects look like; about 0 with scatter 1 where there is only background.

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> signal = counting.signal_of(work, counting.estimate_light(work))
    >>> abs(float(np.median(signal))) < 1  # most of a photo is background
    True
    """
    return Mix.of(work, light, light.weights).within((0, 0), work.pixels.shape[:2])


@dataclass(frozen=True)
class Mix:
    """A mix of a picture's channels about its background, to be worked out for parts of the picture.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
    both, blue : ndarray of float32
        What red and green add, by their codes taken together as one number of 16 bits, and what blue adds.
    across : two (P, N) ndarray of float32
        What the background takes off along the centres of each row of blocks, and how much more along the next's.
    block_px : int
    """

    pixels: np.ndarray
    both: np.ndarray
    blue: np.ndarray
    across: tuple[np.ndarray, np.ndarray]
    block_px: int

    @classmethod
    def of(cls, work: WorkImage, light: Light, weights: np.ndarray) -> Mix:
        """A picture's mix by the weights of its channels: (3,) ndarray of float32."""
        red, green, blue = (LOG_CODE * weight for weight in weights)
        both = (green[:, None] + red).ravel()
        across = _across(-(light.grid @ weights), light.block_px, work.pixels.shape[1], 1)
        return cls(np.ascontiguousarray(work.pixels), both, blue, across, light.block_px)

    def within(self, first: tuple[int, int], end: tuple[int, int]) -> np.ndarray:
        """The mix between the first row and column and those past the last: (m, n) ndarray of float32."""
        box = tuple(slice(*ends) for ends in zip(first, end, strict=True))
        pairs = np.ndarray(self.pixels.shape[:2], "<u2", self.pixels, strides=self.pixels.strides[:2])[box]
        third = self.pixels[..., 2][box]
        out = np.empty(pairs.shape, np.float32)
        across = tuple(one[:, box[1]] for one in self.across)
        for rows in _background_rows(across, self.block_px, out, first[0]):
            out[rows] += self.both.take(pairs[rows].astype(np.intp), mode="wrap")  # a table for every code: none is
            out[rows] += self.blue.take(third[rows].astype(np.intp), mode="wrap")  # to be checked
        return out
