"""A cheap camera: its lens, its mosaic of colours, its noise, and what its program makes of them."""

from typing import NamedTuple

import numpy as np
from relief_physics import cloudy
from scipy import ndimage


class Device(NamedTuple):
    """A camera and its program."""

    name: str
    blur_px: float  # of the lens in the middle
    corner_px: float  # more of it at the corners
    fringe: float  # how much larger red is than blue, at the corners, in px
    vignette: float
    full_well: float  # electrons at white: fewer, more noise
    soften: float  # strength of the program against noise
    sharpen: float
    contrast: float
    colour: float  # saturation
    cast: tuple[float, float, float]
    quality: int
    subsampling: int
    round_field: bool = False


RANGES = {  # of the fields blur_px to colour, and of quality
    "usb microscope": (
        (0.9, 1.25),
        (0.3, 1),
        (0.5, 1.6),
        (0.1, 0.3),
        (1500, 4000),
        (0.5, 1.2),
        (0.9, 1.6),
        (0.25, 0.6),
    ),
    "phone": ((0.5, 0.8), (0.2, 0.8), (0.2, 1), (0.05, 0.25), (3000, 9000), (0.5, 1.1), (0.5, 1.2), (0.2, 0.55)),
    "compact": ((0.4, 0.7), (0.1, 0.6), (0.1, 0.7), (0.05, 0.2), (9000, 25000), (0.2, 0.5), (0.3, 0.7), (0.15, 0.4)),
    "camera": ((0.5, 0.9), (0.1, 0.4), (0.1, 0.5), (0.03, 0.15), (5000, 15000), (0, 0.4), (0.2, 0.8), (0.05, 0.3)),
}
REST = {  # colour, quality, subsampling
    "usb microscope": ((1.1, 1.4), (72, 86), 2),
    "phone": ((1.05, 1.3), (82, 94), 2),
    "compact": ((1.0, 1.15), (88, 95), 1),
    "camera": ((0.85, 1.1), (85, 96), 0),
}
NAMES = {"phone": "phone at the eyepiece", "camera": "microscope camera"}


def any_device(rng, *, macro: bool) -> Device:
    """Return a camera as it may stand on a bench."""
    cast = tuple(np.exp(rng.normal(0, 0.05, 3) + np.array([0.03, 0, -0.03]) * rng.normal()))
    key = str(rng.choice(["phone", "compact"] if macro else ["camera", "phone", "usb microscope", "compact"]))
    values = [rng.uniform(*bounds) for bounds in RANGES[key]]
    colour, quality, subsampling = REST[key]
    name = "phone macro" if macro and key == "phone" else NAMES.get(key, key)
    last = (rng.uniform(*colour), cast, int(rng.uniform(*quality)), subsampling, name == "phone at the eyepiece")
    return Device(name, *values, *last)


def developed(rng, light, device: Device, exposure: float):
    """Return the picture (uint8) that a camera makes of the light, and what Pillow is to save it with."""
    light = light * exposure * np.asarray(device.cast, np.float32)
    light = _lens(light, device)
    light = np.clip(light, 0, 1.6)
    grid = _mosaic(light)
    electrons = np.maximum(grid, 0) * device.full_well
    noisy = electrons + rng.standard_normal(grid.shape, np.float32) * np.sqrt(electrons + 14**2)
    grid = np.clip(noisy / device.full_well, -0.01, 1.0).astype(np.float32)
    picture = _demosaic(grid) / np.asarray([1.0, 1.0, 1.0], np.float32)
    picture = _program(picture, device)
    return (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8), {
        "quality": device.quality,
        "subsampling": device.subsampling,
    }


def _lens(light, device):
    h, w = light.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    u, v = (x - w / 2) / (w / 2), (y - h / 2) / (w / 2)
    far = u**2 + v**2
    out = np.empty_like(light)
    for c, share in enumerate((0.5, 0.0, -0.5)):
        sharp = ndimage.gaussian_filter(light[..., c], device.blur_px)
        soft = ndimage.gaussian_filter(sharp, device.corner_px)
        mixed = sharp + (soft - sharp) * np.clip(far, 0, 1)
        if share:
            scale = device.fringe * share * np.sqrt(far)
            mixed = ndimage.map_coordinates(mixed, [y + v * scale, x + u * scale], order=1, mode="nearest")
        out[..., c] = mixed
    veil = ndimage.gaussian_filter(out[::8, ::8], (18, 18, 0)).repeat(8, 0).repeat(8, 1)[:h, :w]
    return (0.985 * out + 0.015 * veil) * (1 - device.vignette * far)[..., None]


def _mosaic(light):
    grid = light[..., 1].copy()
    grid[0::2, 0::2] = light[0::2, 0::2, 0]
    grid[1::2, 1::2] = light[1::2, 1::2, 2]
    return grid


def _demosaic(grid):
    """Fill in the colours: green along its smoother way, red and blue by their difference to green."""
    red, blue = np.zeros(grid.shape, bool), np.zeros(grid.shape, bool)
    red[0::2, 0::2], blue[1::2, 1::2] = True, True
    across = (np.roll(grid, 1, 1) + np.roll(grid, -1, 1)) / 2
    down = (np.roll(grid, 1, 0) + np.roll(grid, -1, 0)) / 2
    jump_x = np.abs(np.roll(grid, 1, 1) - np.roll(grid, -1, 1))
    jump_y = np.abs(np.roll(grid, 1, 0) - np.roll(grid, -1, 0))
    part = (jump_y + 1e-3) / (jump_x + jump_y + 2e-3)
    green = np.where(red | blue, part * across + (1 - part) * down, grid)
    out = [None, green, None]
    kernel = np.array([[0.25, 0.5, 0.25], [0.5, 1, 0.5], [0.25, 0.5, 0.25]], np.float32)
    for c, where in ((0, red), (2, blue)):
        out[c] = green + ndimage.convolve(np.where(where, grid - green, 0).astype(np.float32), kernel, mode="mirror")
    return np.stack(out, axis=-1)


def _program(picture, device):
    """Quiet the noise, set contrast and colour, sharpen."""
    bright = picture @ np.array([0.25, 0.6, 0.15], np.float32)
    tone = picture - bright[..., None]
    tone = ndimage.gaussian_filter(tone, (0.6 + 1.3 * device.soften, 0.6 + 1.3 * device.soften, 0))
    if device.soften > 0.05:
        mean = ndimage.uniform_filter(bright, 5)
        var = np.maximum(ndimage.uniform_filter(bright**2, 5) - mean**2, 0)
        noise = device.soften * 1.6 * (np.maximum(mean, 0) / device.full_well + (14 / device.full_well) ** 2) * 0.6
        keep = var / (var + noise)
        bright = mean + keep * (bright - mean)
    picture = np.clip(bright[..., None] + tone * device.colour, 0, 1)
    picture = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * np.maximum(picture, 1e-6) ** (1 / 2.4) - 0.055)
    bent = picture * picture * (3 - 2 * picture)
    picture = picture + device.contrast * (bent - picture)
    light = picture.mean(axis=2)
    edge = light - ndimage.gaussian_filter(light, 1.3)
    edge = np.sign(edge) * np.maximum(np.abs(edge) - 0.004, 0)
    return picture + (device.sharpen * np.clip(edge, -0.12, 0.12))[..., None]


def round_field(rng, shape, margin: float = 0.0):
    """Return how bright the field of an eyepiece is (H, W), and its middle and radius in px."""
    h, w = shape
    r = h * rng.uniform(0.52, 0.68)
    x0, y0 = w / 2 + rng.normal(0, 0.02) * w, h / 2 + rng.normal(0, 0.02) * h
    y, x = np.mgrid[0:h, 0:w]
    far = np.hypot(x - x0, y - y0) + 1.5 * cloudy(rng, shape, 60)
    return (1 / (1 + np.exp((far - r) / (r * 0.008)))).astype(np.float32), (x0, y0, r)
