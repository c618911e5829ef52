"""Light from above: thin scattering layers (two-flux) over a floor, with shadows and glints on wet bodies."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage


@dataclass
class Lamp:
    """A lamp at a direction (towards it), its share of the light and how sharp its glints are."""

    way: tuple
    strength: float
    sharp: float = 90.0
    colour: tuple = (1.0, 1.0, 1.0)


def two_flux(absorb, scatter):
    """Reflectance and transmittance of a scattering layer (Kubelka and Munk)."""
    scatter = np.maximum(scatter, 1e-5)[..., None]
    a = 1 + np.maximum(absorb, 1e-5) / scatter
    b = np.sqrt(a * a - 1)
    x = np.minimum(b * scatter, 12)
    sh, ch = np.sinh(x), np.cosh(x)
    below = a * sh + b * ch
    return sh / below, b / below


def _normals(top, um_per_px, soft_um):
    top = ndimage.gaussian_filter(top, soft_um / um_per_px)
    gy, gx = np.gradient(top, um_per_px)
    n = 1 / np.sqrt(1 + gx * gx + gy * gy)
    return -gx * n, -gy * n, n


def _lit(body, lamps, ambient, um_per_px, wet):
    """Light a body sends back by itself, and what it lets through, per colour."""
    diffuse = (1 - np.exp(-2 * body.scatter))[..., None]  # scattered light takes longer ways
    reflected, passed = two_flux((1 + 1.2 * diffuse) * np.maximum(body.dense - body.lid, 0), body.scatter)
    veil = np.exp(-(1 + 0.8 * diffuse) * body.lid)
    # part of the light leaves the body by its sides and is lost to the camera
    reflected, passed = 0.8 * reflected * veil * veil, passed * veil
    nx, ny, nz = _normals(body.top, um_per_px, 9.0)
    fx, fy, fz = _normals(body.top, um_per_px, max(3.0, 0.5 * um_per_px))
    there = np.clip(3 * ndimage.gaussian_filter((body.top > 0).astype(np.float32), 1.0, mode="constant") - 2, 0, 1)
    shade = np.full((*body.top.shape, 3), ambient, np.float32) * (0.45 + 0.55 * nz)[..., None]
    glint = np.zeros_like(shade)
    for lamp in lamps:
        lx, ly, lz = lamp.way
        lambert = np.maximum(nx * lx + ny * ly + nz * lz, 0)
        # light that enters a translucent body spreads in it: its far side is never black
        shade += ((0.25 * lz + 0.75 * lambert) * lamp.strength)[..., None] * np.asarray(lamp.colour, np.float32)
        half = np.array([lx, ly, lz + 1.0])
        half /= np.linalg.norm(half)
        shine = np.maximum(fx * half[0] + fy * half[1] + fz * half[2], 0) ** lamp.sharp
        glint += (shine * lamp.strength * wet * body.gloss * there)[..., None] * np.asarray(lamp.colour, np.float32)
    rim = 0.06 * min(1.0, 3.5 / um_per_px) * body.gloss * (1 - fz) ** 2 * there
    return reflected * shade + glint + (rim * (ambient + 0.6))[..., None], passed


def _layer(bodies, shape, lamps, ambient, um_per_px, wet):
    """Reflected and passed light of one layer's bodies, composed in order."""
    reflected, passed = np.zeros((*shape, 3), np.float32), np.ones((*shape, 3), np.float32)
    for body in bodies:
        h, w = body.outline.shape
        a, b = max(body.y_px, 0), min(body.y_px + h, shape[0])
        c, d = max(body.x_px, 0), min(body.x_px + w, shape[1])
        if a >= b or c >= d:
            continue
        own, through = _lit(body, lamps, ambient, um_per_px, wet)
        cut = (slice(a - body.y_px, b - body.y_px), slice(c - body.x_px, d - body.x_px))
        reflected[a:b, c:d] = own[cut] + through[cut] ** 2 * reflected[a:b, c:d]
        passed[a:b, c:d] *= through[cut]
    return reflected, passed


def _moved(a, dy, dx):
    """The map shifted, its edge rows and columns drawn out."""
    height, width = a.shape[:2]
    rows = np.clip(np.arange(height) - dy, 0, height - 1)
    columns = np.clip(np.arange(width) - dx, 0, width - 1)
    return a[rows][:, columns]


def _floor_light(passed, lamps, ambient, um_per_px, height_um):
    """How lit the ground below a layer is: each lamp throws the layer's transmittance as a soft shadow."""
    spread = max(0.9 * height_um / um_per_px, 1.0)
    wide = np.stack([ndimage.uniform_filter(passed[..., c], int(2 * spread) | 1) for c in range(3)], -1)
    light = ambient * wide
    soft = (max(0.12 * height_um / um_per_px, 0.6),) * 2
    blurred = np.stack([ndimage.gaussian_filter(passed[..., c], soft, truncate=3) for c in range(3)], -1)
    for lamp in lamps:
        dx, dy = (-height_um * lamp.way[k] / max(lamp.way[2], 0.25) / um_per_px for k in (0, 1))
        thrown = _moved(blurred, round(dy), round(dx))
        light += thrown * np.asarray(lamp.strength * lamp.way[2] * np.asarray(lamp.colour), np.float32)
    return light


def image(bodies, floor, lamps, ambient, um_per_px, wet, blurs, heights_um):
    """Radiance (h, w, 3) of bodies in two layers over a floor of reflectance ``floor``."""
    shape = floor.shape[:2]
    picture = floor
    for layer in (0, 1):
        here = [body for body in bodies if body.layer == layer]
        if layer == 1 and not here:
            break
        reflected, passed = _layer(here, shape, lamps, ambient, um_per_px, wet)
        light = _floor_light(passed, lamps, ambient, um_per_px, heights_um[layer])
        if layer == 1:  # the lower layer is already lit: only the shadow's depth matters
            light /= ambient + sum(lamp.strength * lamp.way[2] for lamp in lamps)
        if blurs[layer] > 0.3:
            reflected = ndimage.gaussian_filter(reflected, (blurs[layer], blurs[layer], 0))
            passed = ndimage.gaussian_filter(passed, (blurs[layer], blurs[layer], 0))
        picture = picture * light * passed + reflected
    return picture
