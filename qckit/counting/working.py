"""The working picture: each photo at one scale, so that all later sizes are in micrometres, and dim ones brightened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.photo import Photo

__all__ = ["WORK_UM_PER_PX", "WorkImage", "make_work_image"]

WORK_UM_PER_PX = 8.0
"""Fine enough for a 200 µm cyst to span 25 px; finer pixels cost time and bring noise."""

DIM, BRIGHT = 140, 200  # code values: where next to nothing is lighter than the first it is brought to the second
MOST_GAIN = 3.0  # beyond that, code values are too few to tell much
SAMPLES = 50_000  # pixels from which the lightest is taken
LIGHTEST = 0.999  # share of them that is no lighter; glints are rarer


@dataclass(frozen=True)
class WorkImage:
    """A photo at its working scale.

    Attributes
    ----------
    pixels : (M, N, 3) ndarray of uint8
    um_per_px : float
        Of the working picture; at least ``WORK_UM_PER_PX``. [µm/px]
    step_x, step_y : float
        Full-photo pixels per working pixel along each axis.
    is_grey : bool
    gain : float
        Factor by which the code values of a dim photo were raised.
    """

    pixels: np.ndarray
    um_per_px: float
    step_x: float
    step_y: float
    is_grey: bool
    gain: float = 1.0


def make_work_image(
    photo: Photo, um_per_px: float, *, to_um_per_px: float = WORK_UM_PER_PX, colour_gain: np.ndarray | None = None
) -> WorkImage:
    """Reduce a photo to the working scale (a coarser one stays as it is), and brighten a dim one.

    Parameters
    ----------
    photo : Photo
    um_per_px : float
        Scale of the full photo. [µm/px]
    to_um_per_px : float
        Scale wanted. [µm/px]
    colour_gain : (3,) ndarray, optional
        Factors on red, green and blue that bring this camera's colours to usual ones.

    Returns
    -------
    WorkImage

    Examples
    --------
    >>> counting.make_work_image(photo.read_photo(picture), 6.2).um_per_px
    8.0
    """
    pixels = photo.at_scale(um_per_px, to_um_per_px)
    if colour_gain is not None:
        pixels = _with_gain(pixels, colour_gain)
    step_x, step_y = photo.width_px / pixels.shape[1], photo.height_px / pixels.shape[0]
    pixels, gain = _brightened(pixels)
    return WorkImage(
        pixels=pixels,
        um_per_px=um_per_px * (step_x * step_y) ** 0.5,
        step_x=step_x,
        step_y=step_y,
        is_grey=photo.is_grey,
        gain=gain,
    )


def _with_gain(pixels: np.ndarray, colour_gain: np.ndarray) -> np.ndarray:
    """Code values times a factor for each colour."""
    table = np.clip(np.rint(np.arange(256)[:, None] * np.asarray(colour_gain, float)), 0, 255).astype(np.uint8)
    return np.stack([table[:, c].take(pixels[..., c]) for c in range(3)], axis=-1)


def _brightened(pixels: np.ndarray) -> tuple[np.ndarray, float]:
    """A dim photo as a longer exposure would show it, so that it is read as others are; and the gain."""
    step = max(1, int((pixels.shape[0] * pixels.shape[1] / SAMPLES) ** 0.5))
    red, green, blue = np.ascontiguousarray(pixels[::step, ::step].transpose(2, 0, 1))
    some = np.maximum(np.maximum(red, green), blue).ravel()
    k = min(int(LIGHTEST * some.size), some.size - 1)
    if np.count_nonzero(some < DIM) <= k:  # most photos
        return pixels, 1.0
    lightest = float(np.searchsorted(np.cumsum(np.bincount(some)), k, side="right"))  # the k-th, sooner than sorted
    if not 0 < lightest < DIM:
        return pixels, 1.0
    gain = min(BRIGHT / lightest, MOST_GAIN)
    return np.clip(np.rint(gain * np.arange(256)), 0, 255).astype(np.uint8).take(pixels), gain
