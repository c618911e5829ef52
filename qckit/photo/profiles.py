"""A picture averaged along a direction, how such a profile repeats itself, and a picture's spectrum."""

from __future__ import annotations

import math

import numpy as np

__all__ = [
    "brightest_phase",
    "cos_deg",
    "likeness_curve",
    "mean_repeat",
    "profile_across",
    "shifts_of_repeats",
    "sin_deg",
    "spectrum",
    "turned_upright",
]


def cos_deg(angle):
    return math.cos(math.radians(angle))


def sin_deg(angle):
    return math.sin(math.radians(angle))


def profile_across(flat, angle_deg):
    """Mean of the picture along lines, by distance across them; NaN where a line is too short to tell."""
    m, n = flat.shape
    c, s = cos_deg(angle_deg), sin_deg(angle_deg)
    t = np.add.outer(np.arange(m, dtype=np.float32) * s, np.arange(n, dtype=np.float32) * c)
    start = math.floor(float(min(0, (n - 1) * c, (m - 1) * s, (n - 1) * c + (m - 1) * s)) - 1)
    place = t.ravel() - start
    slot = place.astype(np.int32)
    part = place - slot
    size = int(slot.max()) + 2
    weight = np.bincount(slot, 1 - part, size) + np.bincount(slot + 1, part, size)
    total = np.bincount(slot, (1 - part) * flat.ravel(), size) + np.bincount(slot + 1, part * flat.ravel(), size)
    enough = weight > 0.35 * min(m, n)
    return start, np.where(enough, total / np.maximum(weight, 1e-9), np.nan)


def turned_upright(flat, angle_deg):
    """Turn a picture so that lines across ``angle_deg`` stand upright: (picture, NaN outside; where column 0 lies)."""
    from scipy import ndimage

    m, n = flat.shape
    c, s = cos_deg(angle_deg), sin_deg(angle_deg)
    across = [x * c + y * s for x in (0, n - 1) for y in (0, m - 1)]
    along = [-x * s + y * c for x in (0, n - 1) for y in (0, m - 1)]
    start, top = math.floor(min(across)), math.floor(min(along))
    size = (math.ceil(max(along)) - top + 1, math.ceil(max(across)) - start + 1)
    # of a row v and column u of the new picture: y = u s + v c, x = u c - v s
    matrix = np.array([[c, s], [-s, c]])
    offset = matrix @ np.array([top, start])
    turned = ndimage.affine_transform(flat, matrix, offset, size, order=1, cval=np.nan, prefilter=False)
    return turned, start


def likeness_curve(profile):
    """Correlation of the profile with itself at each lag; NaN where fewer than a third of it overlaps."""
    good = profile[np.isfinite(profile)]
    if good.size < 40:
        return np.full(1, np.nan)
    z = good - good.mean()
    size = 1 << (2 * z.size - 1).bit_length()
    lagged = np.fft.irfft(np.abs(np.fft.rfft(z, size)) ** 2, size)[: z.size]
    energy = np.concatenate([[0], np.cumsum(z**2)])
    lag = np.arange(z.size)
    # each lag by the energy of the two stretches that overlap
    norm = np.sqrt((energy[z.size - lag]) * (energy[z.size] - energy[lag]))
    return np.where(lag < 0.67 * z.size, lagged / np.maximum(norm, 1e-12), np.nan)


def _fold(z, period, size):
    """Mean repeat of a profile, sampled at ``size`` points, by linear interpolation."""
    n = int(z.size // period)
    grid = np.arange(n)[:, None] * period + np.arange(size)[None, :] * period / size
    return np.interp(grid, np.arange(z.size), z)


def mean_repeat(z, period):
    """The middle of all repeats, a value a pixel of the period: dirt on a few of them leaves no trace."""
    return np.median(_fold(z, period, max(16, round(period))), axis=0)


def shifts_of_repeats(z, period):
    """How far each repeat lies from the mean one, by correlation. Returns (index of repeat, shift in px)."""
    size = max(16, round(period))
    repeats = _fold(z, period, size)
    if len(repeats) < 3:
        return None
    mean = np.median(repeats, axis=0)
    # odd groups of a fine mesh are taken together, so that each shift rests on enough of the profile
    group = max(1, len(repeats) // 40)
    rows = len(repeats) // group
    blocks = repeats[: rows * group].reshape(rows, group, size).mean(axis=1)
    cross = np.fft.irfft(np.fft.rfft(blocks, axis=1) * np.conj(np.fft.rfft(mean)), size, axis=1)
    reach = max(2, size // 4)
    cross[:, reach : size - reach] = -np.inf
    top = np.argmax(cross, axis=1)
    left, mid, right = (cross[np.arange(rows), (top + d) % size] for d in (-1, 0, 1))
    bend = left - 2 * mid + right
    usable = np.isfinite(bend) & (bend < 0)
    part = np.where(usable, 0.5 * (left - right) / np.where(usable, bend, 1), 0)
    lag = (np.where(top > size / 2, top - size, top) + part) * period / size
    return np.arange(rows) * float(group) + (group - 1) / 2, lag


def brightest_phase(z, period):
    """Where in the repeat the strongest line lies, dark or light."""
    size = max(16, round(period))
    mean = np.median(_fold(z, period, size), axis=0)
    return float(np.argmax(np.abs(mean - np.median(mean)))) * period / size


def spectrum(flat):
    """Power by frequency [cycles/px], windowed; with the frequencies of rows and columns."""
    window = np.outer(np.hanning(flat.shape[0]), np.hanning(flat.shape[1])).astype(np.float32)
    power = np.abs(np.fft.rfft2(flat * window)) ** 2
    return power, np.fft.fftfreq(flat.shape[0])[:, None], np.fft.rfftfreq(flat.shape[1])[None, :]
