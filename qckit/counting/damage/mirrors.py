"""A photo mirrored beside itself, as programs do that fill a frame: everything in it would be counted twice."""

from __future__ import annotations

import numpy as np

__all__ = ["is_mirrored"]

ROWS, MARGIN, LEAST_PX = 48, 8, 200
MIRRORED = 0.15
"""Mean height of the peak, 1 where all is mirrored without loss. Sound photos reach 0.03, pieces of 400 pixels of ruled
floors 0.08; photos whose second half is the first's mirror image have 0.8 and more, also at quality 85."""


def is_mirrored(values: np.ndarray) -> bool:
    """Tell whether rows repeat themselves backwards around one column.

    A signal that is its own mirror image has a Fourier transform whose phase runs straight; the transform's square,
    with its strength taken away, is then that of one peak, at twice the column of the mirror (phase correlation,
    Kuglin and Hines 1975, from memory).

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    """
    from scipy.fft import irfft, rfft

    if min(values.shape) < LEAST_PX:
        return False
    which = np.linspace(MARGIN, values.shape[0] - 1 - MARGIN, ROWS).astype(int)
    rows = values[which].astype(np.float32)
    rows -= rows.mean(axis=1, keepdims=True)
    rows *= np.hanning(rows.shape[1]).astype(np.float32) ** 0.5  # the two ends meet in the transform
    spectrum = rfft(rows, axis=1)
    spectrum /= np.abs(spectrum) + 1e-3
    mean = (spectrum * spectrum).mean(axis=0)  # of the rows' transforms, for the transform of all their means
    return bool(irfft(mean, n=rows.shape[1]).max() > MIRRORED)
