"""Floors and lamps of the inflated make: (M, N, 3) of linear light where nothing lies."""

import numpy as np
from scipy.ndimage import gaussian_filter, zoom


def smooth_field(rng, shape, cells=4):
    """Uneven field around 0."""
    coarse = rng.normal(size=(cells, cells))
    big = zoom(coarse, (shape[0] / cells, shape[1] / cells), order=3)[: shape[0], : shape[1]]
    return np.pad(big, [(0, a - b) for a, b in zip(shape, big.shape)], mode="edge")


def axes(rng, shape, um, angle=None):
    """Turned coordinates. [µm]"""
    angle = rng.uniform(-0.6, 0.6) if angle is None else angle
    y, x = np.indices(shape) * um
    return x * np.cos(angle) + y * np.sin(angle), -x * np.sin(angle) + y * np.cos(angle)


def _line(d, width, um):
    return np.clip((width / 2 - np.abs(d)) / um + 0.5, 0, 1)


def etched(rng, shape, um):
    """Lines of a counting chamber: fine, in triples at every fourth, 1 where a line is."""
    u, v = axes(rng, shape, um)
    out = np.zeros(shape)
    pitch, width = rng.choice([250.0, 500.0, 1000.0]), rng.uniform(8, 22)
    for w in (u + rng.uniform(0, 3000), v + rng.uniform(0, 3000)):
        d = (w + pitch / 2) % pitch - pitch / 2
        fourth = np.round(w / pitch) % 4 == 0
        out = np.maximum(out, _line(d, width, um) * (0.6 + 0.4 * fourth))
        for off in (-42, 42):
            out = np.maximum(out, _line(d - off, width, um) * fourth)
    return out


def printed(rng, shape, um):
    """Millimetre paper: thin at 1 mm, thicker at 5 mm."""
    u, v = axes(rng, shape, um)
    out = np.zeros(shape)
    for w in (u + rng.uniform(0, 9000), v + rng.uniform(0, 9000)):
        d = (w + 500) % 1000 - 500
        fifth = np.round(w / 1000) % 5 == 0
        out = np.maximum(out, _line(d, 90, um) * 0.7)
        out = np.maximum(out, _line(d, 190, um) * fifth)
    return gaussian_filter(out, 12 / um)


def weave(rng, shape, um):
    """Plain weave of round wires: where wire is (0 to 1), and its height [µm]."""
    u, v = axes(rng, shape, um, rng.uniform(0, 1.5))
    opening = rng.choice([80.0, 100.0, 125.0, 150.0, 200.0])
    wire = opening * rng.uniform(0.5, 0.75)
    pitch = opening + wire
    best, cover = np.full(shape, -1e3), np.zeros(shape)
    for w, along in ((u, v), (v, u)):
        number = np.floor(w / pitch)
        d = (w / pitch - number - 0.5) * pitch
        inside = np.clip((wire / 2 - np.abs(d)) / um + 0.5, 0, 1)
        sign = 1 if w is u else -1
        z = np.sqrt(np.maximum((wire / 2) ** 2 - d * d, 0)) + sign * 0.5 * wire * np.sin(
            np.pi * (along / pitch + number)
        )
        best = np.where((inside > 0.5) & (z > best), z, best)
        cover = np.maximum(cover, inside)
    return cover, np.where(best > -1e3, best, -wire)


def reflecting(rng, shape, um, level, grain):
    """Reflectance of a bare floor of some brightness: glazed, of slate, of cloth or of paper."""
    tint = level * np.exp(rng.normal(0, 0.05, 3))
    rough = sum(gaussian_filter(rng.normal(size=shape), s) * s * w for s, w in ((0.8, 0.5), (3, 0.6), (12, 0.6)))
    out = tint * np.exp(grain * rough)[..., None]
    if rng.random() < 0.5:  # scratches
        for _ in range(rng.integers(2, 9)):
            u, v = axes(rng, shape, um, rng.uniform(0, 3.1))
            d = u - rng.uniform(u.min(), u.max()) + 60 * np.sin(v / 3000)
            out = out + (0.25 * _line(d, rng.uniform(4, 12), um) * rng.uniform(0.1, 0.8) * (0.05 + level))[..., None]
    return np.clip(out, 0, 1)


def rim_of_dish(rng, shape, um):
    """Rim of a dish through the photo: factor on the light (M, N), and where the dish's inside is."""
    h, w = shape
    reach = rng.uniform(0.8, 1.6) * w
    side = rng.choice([-1, 1])
    centre = (h / 2 + rng.uniform(-0.2, 0.2) * h, w / 2 + side * (reach - rng.uniform(0.36, 0.46) * w))
    y, x = np.indices(shape)
    r = np.hypot(y - centre[0], x - centre[1]) - reach
    wide = rng.uniform(200, 700) / um
    wall = np.exp(-((r - wide / 2) ** 2) / (wide / 3) ** 2)
    step = np.exp(-((r) ** 2) / (25 / um) ** 2)
    return (1 + rng.uniform(-0.4, 0.6) * wall) * (1 - rng.uniform(0.2, 0.7) * step) * np.where(
        r > wide, rng.uniform(0.2, 0.8), 1
    ), r < 0
