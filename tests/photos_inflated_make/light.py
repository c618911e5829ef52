"""Light in the inflated make: two fluxes through layers (Kubelka and Munk 1931, from memory), rays bent at slopes.

From below, a ray is weakened by what it crosses and lost where the slope throws it past the lens. From above each body
is a layer over what lies under it, with the reflectance of Kubelka and Munk, shaded by its height, and throws a shadow
found by walking from each place of the floor towards the lamp. In dark field what is thrown out of its way is seen.
"""

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates, shift
from shapes import CLEAR, DARK, EMBRYO, FIBRE, GREEN, MINERAL, N_MATERIALS, WALL, YOLK


def matter(rng, *, lugol=False, kind="orange"):
    """Absorption and scatter of each material in this photo [1/100 µm]: two arrays (materials, 3).

    Every lot has its own colours; a full cyst always stops more light than an empty shell.
    """
    k, s = np.zeros((N_MATERIALS, 3)), np.zeros((N_MATERIALS, 3))
    hue = {"orange": (0.16, 0.5, 1.3), "brown": (0.3, 0.55, 0.9), "pale": (0.12, 0.2, 0.42), "red": (0.12, 0.8, 1.0)}[
        kind
    ]
    k[YOLK] = np.array(hue) * np.exp(rng.normal(0, 0.2))
    k[EMBRYO] = np.array(hue) * rng.uniform(0.5, 1.0)
    k[WALL] = np.array((0.7, 1.5, 2.6)) * rng.uniform(0.5, 1.6)
    k[CLEAR], k[DARK], k[GREEN] = (0.02, 0.03, 0.05), (5, 7, 8), (1.6, 0.5, 2.2)
    k[MINERAL], k[FIBRE] = np.array((0.08, 0.09, 0.1)) * rng.uniform(0.3, 4), np.exp(rng.normal(0, 0.6, 3))
    s[YOLK], s[EMBRYO] = rng.uniform(0.9, 2.0), rng.uniform(0.9, 2.2)
    s[WALL], s[CLEAR], s[DARK] = rng.uniform(0.8, 2.5), rng.uniform(0.05, 0.2), 0.3
    s[GREEN], s[MINERAL], s[FIBRE] = 0.8, rng.uniform(0.2, 1.5), 1.5
    if lugol:
        for m in (YOLK, EMBRYO, CLEAR):
            k[m] = k[m] * 1.5 + np.array((0.9, 1.6, 2.2)) * (0.1 if m == CLEAR else 1)
    return k, s


def _slope(z, um):
    gy, gx = np.gradient(z)
    return gx / um, gy / um


def through(thing, k, s, um, aperture, oblique):
    """Share of the light from below that passes: (h, w, 3)."""
    t = thing.thick / 100
    od = np.tensordot(t, k + 0.3 * s, axes=(0, 0))
    gx, gy = _slope(thing.lens * 0.09, um)  # difference of refractive indices
    bent = np.hypot(gx - oblique[0] * 0.5, gy - oblique[1] * 0.5) - 0.5 * np.hypot(*oblique)
    kept = 1 / (1 + (np.maximum(bent, 0) / aperture) ** 4)
    lean = 1 + 2.5 * (gx * oblique[0] + gy * oblique[1])
    return np.exp(-od) * (kept * np.clip(lean, 0.3, 1.8))[..., None]


def dark_field(thing, k, s, um, throw):
    """What passes of the light behind, and what is thrown into the lens: (h, w, 3) each."""
    t = thing.thick / 100
    od_s, od_k = np.tensordot(t, s, axes=(0, 0)), np.tensordot(t, k, axes=(0, 0))
    gx, gy = _slope(thing.lens * 0.09, um)
    rim = np.hypot(gx, gy) ** 2 / (np.hypot(gx, gy) ** 2 + 0.02)
    inner = od_s / (1 + od_s) * np.exp(-0.8 * od_k)
    return np.exp(-od_s - od_k), throw[0] * inner + throw[1] * rim[..., None] * np.exp(-0.2 * od_k)


def layer(thing, k, s, below):
    """Kubelka and Munk's reflectance of a layer over ``below``, and over nothing: (h, w, 3) each."""
    t = thing.thick / 100
    sx = np.maximum(np.tensordot(t, s, axes=(0, 0)), 1e-4)
    kx = np.tensordot(t, k, axes=(0, 0))
    a = 1 + kx / sx
    b = np.sqrt(np.maximum(a * a - 1, 1e-9))
    y = np.minimum(b * sx, 20)
    coth = b / np.tanh(y)
    over = (1 - below * (a - coth)) / (a - below + coth)
    return over, 1 / (a + coth)


def shading(thing, um, lamp, soft):
    """Diffuse light on the upper side and its gloss: (h, w) each."""
    gx, gy = _slope(thing.height, um)
    nz = 1 / np.sqrt(1 + gx * gx + gy * gy)
    facing = np.clip((-gx * lamp[0] - gy * lamp[1] + lamp[2]) * nz, 0, None) / lamp[2]
    half = lamp + np.array([0, 0, 1.0])
    half /= np.linalg.norm(half)
    toward = np.clip((-gx * half[0] - gy * half[1] + half[2]) * nz, 0, 1)
    return soft * (0.6 + 0.4 * nz) + (1 - soft) * facing, toward**60


def shadows(opacity, height, um, lamp, spread):
    """Share of the lamp's light that reaches each place of the floor: (M, N)."""
    out = np.zeros_like(opacity)
    lean = np.hypot(lamp[0], lamp[1]) / lamp[2]
    if lean < 0.05:
        return 1 - 0.5 * gaussian_filter(opacity, 25 / um)
    way = np.array([lamp[1], lamp[0]]) / np.hypot(lamp[0], lamp[1])
    for z in np.arange(15, 260, 35.0):
        there = opacity * (height > z)
        moved = shift(there, -way * z * lean / um, order=1)
        out = np.maximum(out, gaussian_filter(moved, max(spread * z / um, 0.3)))
    return 1 - out


def bent_floor(floor, lens, um, strength=0.25, depth_um=90):
    """The floor as seen through the bodies that lie on it: displaced by their slopes."""
    gx, gy = _slope(gaussian_filter(lens, 1), um)
    rows, cols = np.indices(lens.shape)
    at = [rows + strength * gy * depth_um / um, cols + strength * gx * depth_um / um]
    return np.stack([map_coordinates(floor[..., c], at, order=1, mode="nearest") for c in range(3)], axis=-1)
