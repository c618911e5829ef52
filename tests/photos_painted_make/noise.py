"""Procedural textures: fractal noise, Worley cells and reaction-diffusion tiles.

The tiles are periodic and made once per process; bodies take a window of a
tile at a random place, which is far cheaper than making noise for each body.
"""

from functools import lru_cache

import numpy as np
from PIL import Image
from scipy import ndimage
from scipy.spatial import cKDTree

TILE = 512


def _stretch(small, shape):
    """Resize a small float array smoothly to shape."""
    image = Image.fromarray(small.astype(np.float32))
    return np.asarray(image.resize((shape[1], shape[0]), Image.Resampling.BICUBIC))


def fractal(rng, shape, cell, octaves=4, gain=0.5):
    """Fractal value noise of about zero mean and unit spread; cell in pixels."""
    total = np.zeros(shape, np.float32)
    strength = 1.0
    for _ in range(octaves):
        rows, cols = (int(np.ceil(n / cell)) + 3 for n in shape)
        total += strength * _stretch(rng.standard_normal((rows, cols)), shape)
        strength *= gain
        cell = max(cell / 2, 1.0)
    return (total - total.mean()) / (total.std() + 1e-6)


@lru_cache(maxsize=1)
def worley_tile():
    """Distance to the nearest of many points (0 in the middle of a cell)."""
    points = np.random.default_rng(11).uniform(0, TILE, (900, 2))
    tree = cKDTree(points, boxsize=TILE)
    grid = np.stack(np.mgrid[:TILE, :TILE], -1).reshape(-1, 2)
    near = tree.query(grid, k=2)[0]
    edge = (near[:, 1] - near[:, 0]).reshape(TILE, TILE)
    return _normal(-np.exp(-edge / 3.0))


@lru_cache(maxsize=1)
def coral_tile():
    """Gray-Scott reaction-diffusion pattern: worm-like ridges."""
    rng = np.random.default_rng(12)
    size = 128
    u = np.ones((size, size), np.float32)
    v = (ndimage.gaussian_filter(rng.random((size, size)), 2, mode="wrap") > 0.52) * 0.3
    v = v.astype(np.float32)
    for _ in range(900):
        reaction = u * v * v
        u += 0.16 * _laplace(u) - reaction + 0.037 * (1 - u)
        v += 0.08 * _laplace(v) + reaction - 0.097 * v
    big = np.kron(v, np.ones((TILE // size, TILE // size), np.float32))
    return _normal(ndimage.gaussian_filter(big, 2.0, mode="wrap"))


@lru_cache(maxsize=1)
def cloud_tile():
    """Periodic fractal noise with a steep spectrum."""
    rng = np.random.default_rng(13)
    freq = np.hypot(*np.meshgrid(np.fft.fftfreq(TILE), np.fft.fftfreq(TILE)))
    freq[0, 0] = 1.0
    wave = np.fft.fft2(rng.standard_normal((TILE, TILE))) / np.maximum(freq, 0.004) ** 1.3
    return _normal(np.real(np.fft.ifft2(wave)).astype(np.float32))


def _laplace(a):
    return np.roll(a, 1, 0) + np.roll(a, -1, 0) + np.roll(a, 1, 1) + np.roll(a, -1, 1) - 4 * a


def _normal(a):
    a = a.astype(np.float32)
    return (a - a.mean()) / (a.std() + 1e-6)


TILES = {"worley": worley_tile, "coral": coral_tile, "cloud": cloud_tile}


def window(name, rng, shape, step=1.0):
    """A window of a tile; step is tile pixels per picture pixel."""
    tile = TILES[name]()
    top, left = rng.integers(0, TILE, 2)
    rows = (top + np.arange(shape[0]) * step).astype(int) % TILE
    cols = (left + np.arange(shape[1]) * step).astype(int) % TILE
    return tile[rows][:, cols]
