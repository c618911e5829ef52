"""The colours of bodies and of the floor at their places."""

from __future__ import annotations

import numpy as np

from qckit.counting.segmentation.light import SOFTENER, Light
from qckit.counting.working import WorkImage

__all__ = ["colours_of"]

# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Counter 1.22"
REACH_UM = 75.0  # of the disc about a centre whose colour is taken: two thirds of a cyst's radius
ENOUGH_ACROSS = 5  # pixels in that reach at least, of finer pictures
LEAST_WITHIN = 0.5  # share of the disc that must lie within the photo
SOFTENER_CODES = 8.0  # added to code values before their logarithm is taken, as black floors are noise there


def colours_of(work: WorkImage, light: Light, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The colours of bodies: medians over a disc about each centre, which lamps' points and rims hardly move.

    The same light falls on a body and on the floor about it, so shade over a part of the photo leaves their difference
    as it is.

    Parameters
    ----------
    work : WorkImage
    light : Light
    rows, cols : (n,) ndarray
        Centres in working pixels, the first pixel's centre at 0.5.

    Returns
    -------
    colours, floor : (n, 3) ndarray
        Logarithms of code values; colours are NaN where less than half of the disc lies within the photo.
    """
    reach = REACH_UM / work.um_per_px
    far = int(np.ceil(reach))
    some = np.arange(-far, far + 1)
    some = some[some % max(1, int(reach / ENOUGH_ACROSS)) == 0]
    down, across = np.meshgrid(some, some, indexing="ij")
    disc = np.hypot(down, across) <= reach  # an odd number of pixels, so that the median is one of them
    height, width = work.pixels.shape[:2]
    r, c = (np.asarray(at, float).astype(int) for at in (rows, cols))
    whole = (far <= r) & (r < height - far) & (far <= c) & (c < width - far)
    at = 3 * ((r * width + c)[whole, None] + (down * width + across)[disc])
    out, middle = np.full((len(r), 3), np.nan), at.shape[1] // 2
    for channel in range(3):
        inside = work.pixels.ravel().take(at + channel).astype(np.uint16)  # bytes are parted much slower
        out[whole, channel] = np.log(np.partition(inside, middle, axis=1)[:, middle] + SOFTENER_CODES)
    for k in np.flatnonzero(~whole):  # of those at the edges, what lies within
        y, x = r[k] + down[disc], c[k] + across[disc]
        within = (y >= 0) & (y < height) & (x >= 0) & (x < width)
        if within.sum() >= LEAST_WITHIN * len(within):
            some = np.sort(work.pixels[y[within], x[within]], axis=0)
            out[k] = np.log(some[len(some) // 2] + SOFTENER_CODES)
    return out, _floor_at(light, r, c)


def _floor_at(light: Light, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Logarithm of the background's code values at pixels, softened as bodies' are: (n, 3)."""
    from scipy import ndimage

    at = [(np.asarray(k) + 0.5) / light.block_px - 0.5 for k in (rows, cols)]
    brightness = [ndimage.map_coordinates(light.grid[..., k], at, order=1, mode="nearest") for k in range(3)]
    codes = np.exp(np.stack(brightness, axis=1) / 100) * (255 + SOFTENER) - SOFTENER
    return np.log(np.maximum(codes, 0) + SOFTENER_CODES)
