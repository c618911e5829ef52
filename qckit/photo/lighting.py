"""What light a photo was taken in, in five numbers: photos in the same light make one kind of photo.

The floor's brightness and colours, and how far the darkest and lightest things stand off it, in doublings of light. On
the labelled photos of both makes (``tests/photo/test_lighting.py``) photos of one kind find another within 0.35 of
themselves, and light floors and dark ones lie 2 and more apart.
"""

from __future__ import annotations

import numpy as np

__all__ = ["SAME_LIGHT", "light_apart", "light_of"]

SAME_LIGHT = 0.5  # doublings, of whichever of the five numbers differs most
_DARKEST = 8.0  # code values: below them differences are noise
_PIXELS = 60_000


def light_of(pixels: np.ndarray) -> np.ndarray:
    """Describe the light of a photo.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8

    Returns
    -------
    (5,) ndarray
        Brightness of the floor; its red and blue beside its green; the darkest and lightest fiftieth of the photo
        beside the floor. [doublings]
    """
    step = max(1, int((pixels.shape[0] * pixels.shape[1] / _PIXELS) ** 0.5))
    shown = pixels[::step, ::step].reshape(-1, 3).astype(float)
    grey = shown.mean(axis=1)
    red, green, blue = np.log2(np.median(shown, axis=0) + _DARKEST)
    low, floor, high = np.log2(np.percentile(grey, [2, 50, 98]) + _DARKEST)
    return np.array([floor, red - green, blue - green, low - floor, high - floor])


def light_apart(one: np.ndarray, other: np.ndarray) -> float:
    """How far two photos' lights are apart, at most; up to ``SAME_LIGHT`` they are of one kind. [doublings]"""
    return float(np.abs(np.asarray(one) - np.asarray(other)).max())
