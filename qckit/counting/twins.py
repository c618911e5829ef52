"""Parts of a photo that stand in it twice: the same objects, alike down to the grain."""

from __future__ import annotations

import numpy as np

__all__ = ["find_twins"]

PATCH, LEAST_TWINS, ALIKE = 16, 3, 0.85  # half a patch's side [px], pairs at one distance, correlation of fine detail
MOST, FEW = 1500, 150  # objects
SAME, SAME_ALIGNED = 0.8, 0.72
"""Correlation of two patches' spectra in logarithms, less what all patches share: different objects reach 0.67, and
0.5 where they stand exactly in one row or column."""

FLOOR = 8.0  # of a spectrum, in code values: below it is rounding


def find_twins(green: np.ndarray, rows_px: np.ndarray, cols_px: np.ndarray) -> str:
    """Find objects that stand in a photo twice.

    Parameters
    ----------
    green : (M, N) ndarray of uint8
    rows_px, cols_px : (n,) ndarray
        Centres of its objects.

    Returns
    -------
    str
        What was found, in words; empty where nothing was.
    """
    if len(rows_px) > MOST:
        return ""
    inside = (
        (rows_px > PATCH)
        & (rows_px < green.shape[0] - PATCH - 1)
        & (cols_px > PATCH)
        & (cols_px < green.shape[1] - PATCH - 1)
    )
    r, c = np.round(rows_px[inside]).astype(int), np.round(cols_px[inside]).astype(int)
    if len(r) < 2:
        return ""
    fine: list[np.ndarray] = []
    return _at_one_distance(green, r, c, fine) or _lone_pair(green, r, c, fine)


def _fine(green: np.ndarray, known: list[np.ndarray]) -> np.ndarray:
    """Fine detail of a photo, worked out once."""
    if not known:
        from scipy.ndimage import uniform_filter

        plain = green.astype(np.float32)
        known.append(plain - uniform_filter(plain, 5))
    return known[0]


def _at_one_distance(green: np.ndarray, r: np.ndarray, c: np.ndarray, known: list[np.ndarray]) -> str:
    """Several objects at one distance from their doubles, alike down to the grain."""
    i, j = np.triu_indices(len(r), 1)
    dr, dc = r[j] - r[i], c[j] - c[i]
    far = np.hypot(dr, dc) > 3 * PATCH
    i, j, dr, dc = i[far], j[far], dr[far], dc[far]
    bins = ((dr + 4096) // 3).astype(np.int64) * 8192 + (dc + 4096) // 3
    keys, counts = np.unique(bins, return_counts=True)
    for key in keys[np.argsort(-counts, kind="stable")][:8]:
        pairs = np.flatnonzero(bins == key)
        if len(pairs) < LEAST_TWINS:
            break
        fine = _fine(green, known)
        alike = sum(_alike(fine, (r[i[k]], c[i[k]]), (r[j[k]], c[j[k]])) > ALIKE for k in pairs[:40])
        if alike >= LEAST_TWINS:
            return f"{alike} of its objects stand in it twice, down to the grain"
    return ""


def _lone_pair(green: np.ndarray, r: np.ndarray, c: np.ndarray, known: list[np.ndarray]) -> str:
    """Two objects whose surroundings have the same spectrum beyond what all have in common, and the same grain.

    With many objects a repeated part holds several, which their one distance tells; so only few are looked at here.
    """
    if len(r) > FEW:
        return ""
    from scipy.fft import rfft2

    window = np.hanning(2 * PATCH + 2)[1:-1].astype(np.float32)
    patches = np.stack([green[y - PATCH : y + PATCH, x - PATCH : x + PATCH] for y, x in zip(r, c)]).astype(np.float32)
    patches -= patches.mean(axis=(1, 2), keepdims=True)
    spectrum = np.log(np.abs(rfft2(patches * np.outer(window, window))) + FLOOR).reshape(len(r), -1)
    spectrum -= spectrum.mean(axis=0)
    spectrum -= spectrum.mean(axis=1, keepdims=True)
    spectrum /= np.sqrt((spectrum**2).sum(axis=1, keepdims=True)) + 1e-6
    same = np.triu(spectrum @ spectrum.T, 1)
    down, right = np.abs(r[:, None] - r), np.abs(c[:, None] - c)
    limit = np.where(np.minimum(down, right) <= 1, SAME_ALIGNED, SAME)  # a row or column that was read twice
    same[np.hypot(down, right) <= 3 * PATCH] = 0
    pairs = np.argwhere(same > limit)
    for i, j in pairs[np.argsort(-same[pairs[:, 0], pairs[:, 1]])][:6]:
        if _alike(_fine(green, known), (r[i], c[i]), (r[j], c[j])) > ALIKE:
            return "one of its objects stands in it twice, down to the grain"
    return ""


def _alike(fine: np.ndarray, here, there) -> float:
    """Best correlation of two patches' fine detail, a pixel or two apart."""
    a = fine[here[0] - PATCH : here[0] + PATCH, here[1] - PATCH : here[1] + PATCH].ravel()
    best = 0.0
    for down in (-2, -1, 0, 1, 2):
        for right in (-2, -1, 0, 1, 2):
            r, c = there[0] + down, there[1] + right
            b = fine[max(0, r - PATCH) : r + PATCH, max(0, c - PATCH) : c + PATCH]
            if b.size == a.size:
                b = b.ravel()
                best = max(best, float(a @ b) / (float(np.sqrt((a @ a) * (b @ b))) + 1e-6))
    return best
