"""From light to a cheap camera's picture: lens, glare, sensor, and what the camera's own program does to it."""

from typing import NamedTuple

import numpy as np
from scipy import ndimage


class Device(NamedTuple):
    """A kind of camera."""

    name: str
    blur_px: tuple  # of the lens, smallest and largest
    corner_blur_px: float
    fringe: float  # shift of red against blue at the corner, px
    fall_off: tuple  # of light at the corner
    glare: tuple  # share of the light spread over all
    noise: tuple  # at mid grey
    smear: float  # denoising, 0 to 1
    sharpen: tuple
    saturation: tuple
    quality: tuple  # of JPEG
    round_field: float  # how often the eyepiece's round edge shows


PHONE = Device(
    "phone",
    (0.55, 0.9),
    1.6,
    1.6,
    (0.1, 0.35),
    (0.01, 0.05),
    (0.008, 0.02),
    0.55,
    (0.4, 1.1),
    (1.0, 1.35),
    (78, 93),
    0.35,
)
USB = Device(
    "usb", (0.7, 1.2), 1.2, 1.0, (0.1, 0.3), (0.02, 0.07), (0.02, 0.05), 0.25, (0.2, 0.9), (0.9, 1.3), (70, 88), 0
)
DOCUMENT = Device(
    "document",
    (0.7, 1.1),
    0.8,
    0.7,
    (0.03, 0.15),
    (0.02, 0.05),
    (0.01, 0.025),
    0.6,
    (0.6, 1.4),
    (0.9, 1.2),
    (72, 88),
    0,
)
MACRO = Device(
    "macro",
    (0.45, 0.8),
    1.0,
    1.0,
    (0.05, 0.25),
    (0.005, 0.03),
    (0.006, 0.015),
    0.35,
    (0.3, 0.8),
    (1.0, 1.25),
    (82, 95),
    0,
)


def round_field(rng, shape) -> np.ndarray:
    """Return an eyepiece's round field: 1 within, 0 in the corners, the edge soft."""
    h, w = shape
    y, x = np.ogrid[:h, :w]
    cy, cx = h / 2 + rng.normal(0, 0.03) * h, w / 2 + rng.normal(0, 0.03) * w
    radius = np.hypot(h, w) / 2 * rng.uniform(0.84, 0.93)
    away = np.hypot(y - cy, x - cx) - radius
    return (1 / (1 + np.exp(np.clip(away / 5, -30, 30)))).astype(np.float32)


def _per_channel(image, function):
    return np.stack([function(image[..., c]) for c in range(3)], axis=-1)


def _lens(image, rng, device):
    h, w = image.shape[:2]
    y, x = np.ogrid[:h, :w]
    away = np.hypot((y - h / 2), (x - w / 2)) / np.hypot(h, w) * 2
    sharp = ndimage.gaussian_filter(image, (*(2 * [rng.uniform(*device.blur_px)]), 0))
    soft_by = device.corner_blur_px * rng.uniform(0.4, 1)
    soft = ndimage.gaussian_filter(sharp, (soft_by, soft_by, 0))
    mix = (np.clip(away - 0.25, 0, 1) ** 1.5)[..., None].astype(np.float32)
    image = sharp * (1 - mix) + soft * mix
    fringe = device.fringe * rng.uniform(0.2, 1) * rng.choice([-1, 1])
    half = np.hypot(h, w) / 2
    for c, sign in ((0, 1), (2, -1)):
        scale = 1 + sign * fringe / half
        offset = [(1 - scale) * h / 2, (1 - scale) * w / 2]
        image[..., c] = ndimage.affine_transform(image[..., c], [scale, scale], offset, order=1, mode="nearest")
    lamp_y, lamp_x = rng.normal(0, 0.18, 2)
    off = np.hypot(y / h - 0.5 - lamp_y, (x / w - 0.5 - lamp_x) * w / h)
    image *= (1 - rng.uniform(*device.fall_off) * np.clip(off / 0.8, 0, 1.3) ** 2)[..., None]
    share = rng.uniform(*device.glare)
    small = image[::8, ::8]
    halo = ndimage.gaussian_filter(small, (12, 12, 0)) * 0.6 + 0.4 * small.mean(axis=(0, 1))
    halo = _per_channel(halo, lambda c: ndimage.zoom(c, 8, order=1)[:h, :w])
    return image * (1 - share) + halo * share


def _sensor(image, rng, device):
    """Noise of a sensor with one colour per pixel: fine in brightness, blotched in colour."""
    noise = rng.uniform(*device.noise)
    grey = rng.normal(0, 1, image.shape[:2]).astype(np.float32)
    hue = ndimage.gaussian_filter(rng.normal(0, 1, image.shape).astype(np.float32), (1.1, 1.1, 0)) * 2.2
    level = np.sqrt(np.clip(image, 0.004, None) / 0.2 + 0.04)
    image = image + noise * 0.2 * level * (0.75 * grey[..., None] + 0.65 * hue)
    h, w = image.shape[:2]
    y, x = np.ogrid[:h, :w]
    for _ in range(rng.integers(0, 4)):  # dust on the sensor
        r = rng.uniform(3, 9)
        d = np.hypot(y - rng.uniform(0, h), x - rng.uniform(0, w))
        image *= (1 - rng.uniform(0.03, 0.1) / (1 + np.exp(np.clip((d - r) / 1.5, -30, 30))))[..., None]
    return image


def develop(fine: np.ndarray, per_pixel: int, rng, device: Device, exposure: tuple) -> tuple[np.ndarray, dict]:
    """Return the 8-bit picture, and how to save it; ``exposure`` is a percentile and its level, or None and a gain."""
    h, w = fine.shape[0] // per_pixel, fine.shape[1] // per_pixel
    image = fine.reshape(h, per_pixel, w, per_pixel, 3).mean(axis=(1, 3))
    image = _lens(image, rng, device)
    percentile, level = exposure
    image *= level if percentile is None else level / np.percentile(image[::4, ::4].mean(axis=2), percentile)
    cast = np.exp(rng.normal(0, 1, 3) * [0.045, 0.015, 0.06])
    image = _sensor(np.clip(image, 0, 4) * cast, rng, device)
    image = np.clip(image, 0, None)
    knee = 0.85  # highlights roll off
    image = np.where(image > knee, knee + (1 - knee) * np.tanh((image - knee) / (1 - knee)), image)
    tone = np.where(image <= 0.0031308, 12.92 * image, 1.055 * np.maximum(image, 1e-5) ** (1 / 2.4) - 0.055)
    bite = rng.uniform(0.1, 0.55)
    tone = (1 - bite) * tone + bite * (tone * tone * (3 - 2 * tone))
    grey = tone @ np.array([0.3, 0.59, 0.11], np.float32)
    tone = grey[..., None] + (tone - grey[..., None]) * rng.uniform(*device.saturation)
    quiet = _per_channel(tone, lambda c: ndimage.median_filter(c, 3))
    tone = tone * (1 - device.smear) + quiet * device.smear
    around = ndimage.gaussian_filter(tone, (1.3, 1.3, 0))
    tone = tone + rng.uniform(*device.sharpen) * np.clip(tone - around, -0.12, 0.12)
    picture = np.clip(np.round(tone * 255), 0, 255).astype(np.uint8)
    jpeg = {"quality": int(rng.integers(*device.quality)), "subsampling": int(rng.choice([0, 2], p=[0.3, 0.7]))}
    return picture, jpeg
