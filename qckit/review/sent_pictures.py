"""Pictures as they are sent to a widget in the browser: small enough to go at once, as JPEG."""

from __future__ import annotations

import io
import math

import numpy as np

__all__ = ["jpeg_of", "shrunk"]

_MOST_PX = 1_600_000  # of the picture that is sent first; details come as tiles


def shrunk(pixels: np.ndarray, most: int = _MOST_PX) -> tuple[np.ndarray, float]:
    """Shrink pixels, shape (M, N[, channels]), to at most ``most``; return them and new width over old."""
    from PIL import Image

    m, n = pixels.shape[:2]
    scale = min(1.0, math.sqrt(most / (m * n)))
    if scale == 1.0:
        return pixels, 1.0
    size = (max(1, round(n * scale)), max(1, round(m * scale)))
    return np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.BILINEAR)), size[0] / n


def jpeg_of(pixels: np.ndarray, quality: int = 85) -> bytes:
    """Write pixels, shape (M, N[, channels]), as a JPEG; ``quality`` from 1 to 95."""
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).convert("RGB").save(buffer, "JPEG", quality=quality)
    return buffer.getvalue()
