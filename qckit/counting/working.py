"""The working picture: every photo brought to one scale, so that all later sizes are in micrometres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.photo import Photo

__all__ = ["WORK_UM_PER_PX", "WorkImage", "make_work_image", "resize_to_scale"]

WORK_UM_PER_PX = 8.0
"""Fine enough for a 200 µm cyst to span 25 px; finer pixels cost time and bring noise."""


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
    """

    pixels: np.ndarray
    um_per_px: float
    step_x: float
    step_y: float
    is_grey: bool


def make_work_image(photo: Photo, um_per_px: float, *, to_um_per_px: float = WORK_UM_PER_PX) -> WorkImage:
    """Reduce a photo to the working scale; a photo that is coarser already stays as it is.

    Parameters
    ----------
    photo : Photo
    um_per_px : float
        Scale of the full photo. [µm/px]
    to_um_per_px : float
        Scale wanted. [µm/px]

    Returns
    -------
    WorkImage
    """
    pixels = resize_to_scale(photo.pixels, um_per_px * photo.reduction, to_um_per_px)
    step_x, step_y = photo.width_px / pixels.shape[1], photo.height_px / pixels.shape[0]
    return WorkImage(pixels, um_per_px * (step_x * step_y) ** 0.5, step_x, step_y, photo.is_grey)


def resize_to_scale(pixels: np.ndarray, um_per_px: float, to_um_per_px: float, *, enlarge: bool = False) -> np.ndarray:
    """Resample pixels from one scale to another, averaging what falls into a pixel.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
    um_per_px, to_um_per_px : float
        Scale now and wanted. [µm/px]
    enlarge : bool
        Whether a coarser picture is brought up to the finer scale; left as it is otherwise.

    Returns
    -------
    (P, Q, 3) ndarray of uint8
    """
    factor = um_per_px / to_um_per_px
    if abs(factor - 1) < 0.02 or (factor > 1 and not enlarge):
        return pixels
    from PIL import Image

    rows, cols = pixels.shape[:2]
    size = (max(1, round(cols * factor)), max(1, round(rows * factor)))
    method = Image.Resampling.BICUBIC if factor > 1 else Image.Resampling.BILINEAR  # both average when reducing
    return np.asarray(Image.fromarray(pixels).resize(size, method, reducing_gap=None if factor > 0.5 else 2.0))
