"""The two waves of a woven mesh: where they stand in the spectrum, and their exact direction and length.

A profile along a direction that is off by a fraction of a degree shifts the repeat where the picture's corners cut the
lines short. So a wave is followed over the whole picture instead: its phase in many blocks is a plane whose slopes are
what its frequency is off by, and the blocks' scatter about the plane is the uncertainty. What no plane can follow (a
bent field, a tilted camera, a stretched mesh) widens it.
"""

from __future__ import annotations

import math

import numpy as np

from qckit.robust import robust_sd

__all__ = ["follow_wave", "mesh_directions"]

_WAVES_A_BLOCK, _BLOCKS_A_SIDE = 4, 12  # at least so many waves in a block, at most so many blocks a side
_FEWEST_BLOCKS = 6
_FAINT, _FAR = 0.3, 4.0  # of the middle strength; scatters beyond which dirt or an object lies on a block
_LEAST_SPREAD_PX = 0.03  # of a block's phase: finer than that neither pixels nor wires are known


def follow_wave(flat, angle_deg, period_px):
    """Follow a wave of a known rough direction and length over a picture.

    Parameters
    ----------
    flat : (M, N) ndarray
        Picture less its local mean.
    angle_deg, period_px : float
        Roughly; within half a wave over two blocks.

    Returns
    -------
    tuple of float or None
        Direction [degrees, 0 to 180], length [px] and standard uncertainty of the length [px]; None where fewer than
        six blocks show the wave.

    Notes
    -----
    Phases are brought near each other by the plane of the round before, so that none is taken for its neighbour. The
    uncertainty is that of a plane by least squares, enlarged by Student's factor for the blocks there are.
    """
    frequency = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))]) / period_px
    for _ in range(4):
        blocks = _blocks(flat, frequency, period_px)
        if blocks is None:
            return None
        slope, covariance = blocks
        frequency = frequency + slope
        if np.abs(slope).max() < 1e-3 * math.sqrt(np.abs(covariance).max()):
            break
    length = float(np.hypot(*frequency))
    along = frequency / length
    u = math.sqrt(float(along @ covariance @ along))
    return math.degrees(math.atan2(frequency[1], frequency[0])) % 180, 1 / length, u / length**2


def _blocks(flat, frequency, period_px):
    """What a frequency is off by [cycles/px], and the covariance of that, from the phase in each block."""
    at, wave = _phases(flat, frequency, period_px)
    if min(np.ptp(at, axis=0)) == 0:  # one row of blocks says nothing of the other direction
        return None
    strength = np.abs(wave)
    kept = strength > _FAINT * np.median(strength)
    if kept.sum() < _FEWEST_BLOCKS:
        return None
    x = np.concatenate([np.ones((len(at), 1)), at - at.mean(axis=0)], axis=1)
    turns = _near_each_other(wave, kept)
    for _ in range(3):
        plane, *_ = np.linalg.lstsq(x[kept], turns[kept], rcond=None)
        turns = turns - np.round(turns - x @ plane)
        rest = turns - x @ plane
        spread = robust_sd(rest[kept])
        inside = (strength > _FAINT * np.median(strength)) & (np.abs(rest) <= max(_FAR * spread, 1e-3))
        if inside.sum() < _FEWEST_BLOCKS or min(np.ptp(at[inside], axis=0)) == 0 or (inside == kept).all():
            break
        kept = inside
    return plane[1:], _covariance(x[kept], rest[kept], _LEAST_SPREAD_PX / period_px)


def _phases(flat, frequency, period_px):
    """Middles of the blocks (x, y) and the wave in each as a complex number, seen through a soft window."""
    sizes = [max(s // _BLOCKS_A_SIDE, math.ceil(_WAVES_A_BLOCK * period_px)) for s in flat.shape]
    sizes = [min(s, n) for s, n in zip(sizes, flat.shape, strict=True)]
    numbers = [n // s for n, s in zip(flat.shape, sizes, strict=True)]
    y, x = (np.arange(n * s) for n, s in zip(numbers, sizes, strict=True))
    part = flat[: y.size, : x.size]
    rows = np.exp(-2j * np.pi * frequency[1] * y) * np.tile(np.hanning(sizes[0] + 2)[1:-1], numbers[0])
    columns = np.exp(-2j * np.pi * frequency[0] * x) * np.tile(np.hanning(sizes[1] + 2)[1:-1], numbers[1])
    summed = (part * columns).reshape(y.size, numbers[1], sizes[1]).sum(axis=2)
    wave = (summed * rows[:, None]).reshape(numbers[0], sizes[0], numbers[1]).sum(axis=1)
    middle = [(np.arange(n) + 0.5) * s - 0.5 for n, s in zip(numbers, sizes, strict=True)]
    at = np.stack(np.meshgrid(middle[1], middle[0]), axis=2).reshape(-1, 2)
    return at, wave.ravel()


def _near_each_other(wave, kept):
    """Phases in turns, relative to the mean direction of the kept ones."""
    mean = (wave[kept] / np.abs(wave[kept])).sum()
    return np.angle(wave * np.conj(mean if mean != 0 else 1)) / (2 * np.pi)


def _covariance(x, rest, least_spread):
    """Of the two slopes of a plane, widened by Student's factor."""
    from scipy.stats import norm, t

    free = max(len(rest) - 3, 1)
    factor = (t.ppf(0.975, free) / norm.ppf(0.975)) ** 2
    return factor * max((rest**2).sum() / free, least_spread**2) * np.linalg.inv(x.T @ x)[1:, 1:]


def mesh_directions(power, fy, fx, about):
    """Directions and rough repeats of a woven mesh: two strong, equal, nearly perpendicular spots of the spectrum.

    Parameters
    ----------
    power : (M, K) ndarray
    fy, fx : (M, 1) and (1, K) ndarray
        Frequencies of its rows and columns. [cycles/px]
    about : float or None
        Rough repeat. [px]

    Returns
    -------
    list of (float, float)
        Direction across the wires [degrees] and repeat [px]; two or none.
    """
    from scipy import ndimage

    radius = np.hypot(fy, fx)
    low, high = (1 / 80, 0.42) if not about else (0.7 / about, 1.4 / about)
    amplitude = ndimage.gaussian_filter(np.sqrt(power), 1, mode=("wrap", "nearest"))
    level = np.median(amplitude[(radius > low) & (radius < high)])
    spots = (amplitude == ndimage.maximum_filter(amplitude, 9, mode=("wrap", "nearest"))) & (amplitude > 6 * level)
    spots &= (radius > low) & (radius < high)
    y, x = np.nonzero(spots)
    order = np.argsort(-amplitude[y, x])[:24]
    f = [(float(fx[0, x[i]]), float(fy[y[i], 0]), float(amplitude[y[i], x[i]])) for i in order]
    pairs = []
    for i, a in enumerate(f):
        for b in f[i + 1 :]:
            ra, rb = math.hypot(*a[:2]), math.hypot(*b[:2])
            cosine = abs(a[0] * b[0] + a[1] * b[1]) / (ra * rb)
            if cosine < 0.12 and abs(ra - rb) < 0.12 * (ra + rb):
                pairs.append((a[2] * b[2], a, b))
    if not pairs:
        return []
    _, a, b = max(pairs)
    return [(math.degrees(math.atan2(v[1], v[0])) % 180, 1 / math.hypot(v[0], v[1])) for v in (a, b)]
