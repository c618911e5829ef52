"""From light on the sensor to the file: lens, exposure, noise, sharpening and tone."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage


@dataclass
class Camera:
    """One camera with its settings."""

    blur_px: float
    fringe: float  # how much larger red is drawn than blue
    vignette: float
    tint: np.ndarray
    exposure: float
    noise: float
    smear_px: float  # blur of the noise: a phone's smoothing
    sharpen: float
    contrast: float
    colour: float
    bloom: float


def camera_of(rng, kind, rough):
    """Draw a camera; ``rough`` is 0 for a good photo to 1 for a poor one."""
    phone = kind in ("dish", "sieve", "wide")
    warm = rng.normal(0, 0.06)
    return Camera(
        blur_px=rng.uniform(0.45, 0.85) + (0.3 if phone else 0.7) * rough * rng.random(),
        fringe=rng.normal(0, 0.00045),
        vignette=rng.uniform(0.03, 0.22),
        tint=np.array([1 + warm, 1 + rng.normal(0, 0.015), 1 - 1.3 * warm]),
        exposure=rng.normal(1.0, 0.05) * (1 + 0.14 * rough * rng.normal()),
        noise=rng.uniform(0.003, 0.008) + 0.012 * rough * rng.random(),
        smear_px=rng.uniform(0.0, 0.8) if phone else rng.uniform(0.0, 0.45),
        sharpen=rng.uniform(0.3, 1.1) if phone else rng.uniform(0.0, 0.8),
        contrast=rng.uniform(0.0, 0.35),
        colour=rng.uniform(0.9, 1.25),
        bloom=rng.uniform(0.0, 0.05),
    )


def _scaled(channel, factor):
    """A channel drawn larger about the middle by ``factor``, which is nearly 1."""
    h, w = channel.shape
    offset = np.array([h, w]) * 0.5 * (1 - 1 / factor)
    return ndimage.affine_transform(channel, [1 / factor, 1 / factor], offset, order=1, mode="nearest")


def shoot(rng, scene, camera):
    """Turn linear colours (h, w, 3) into an 8-bit picture."""
    h, w = scene.shape[:2]
    y, x = np.mgrid[-1 : 1 : h * 1j, -1 : 1 : w * 1j].astype(np.float32)
    fall = (1 - camera.vignette * (x * x + y * y) / 2) * camera.exposure
    planes = []
    grey_noise = rng.standard_normal((h, w), np.float32)
    for k in range(3):
        one = scene[..., k] * fall * np.float32(camera.tint[k])
        if k != 1 and abs(camera.fringe) > 2e-4:
            one = _scaled(one, 1 + camera.fringe * (1 if k == 0 else -1))
        sharp = ndimage.gaussian_filter(one, camera.blur_px, truncate=3)
        if camera.bloom > 0.015:
            small = ndimage.gaussian_filter(one[::4, ::4], 4)
            sharp = sharp * (1 - camera.bloom) + camera.bloom * np.repeat(np.repeat(small, 4, 0), 4, 1)[:h, :w]
        noise = 0.75 * grey_noise + 0.65 * rng.standard_normal((h, w), np.float32)
        if camera.smear_px > 0.3:
            noise = ndimage.gaussian_filter(noise, camera.smear_px, truncate=2) * (1 + 1.6 * camera.smear_px)
        planes.append(np.clip(sharp + noise * camera.noise * np.sqrt(np.clip(sharp, 0, 1) + 0.006), 0, None))
    tone = np.stack(planes, -1)
    tone = np.clip(tone, 0, 1.4)
    tone = np.where(tone < 0.82, tone, 0.82 + 0.18 * (1 - np.exp(-(tone - 0.82) / 0.18)))  # highlights roll off
    coded = np.power(tone, np.float32(1 / 2.2))
    coded += camera.contrast * (coded - 0.5) * coded * (1 - coded) * 2
    grey = coded.mean(-1, keepdims=True)
    coded = grey + camera.colour * (coded - grey)
    if camera.sharpen > 0.1:
        soft = ndimage.gaussian_filter(grey[..., 0], 1.3, truncate=2.5)
        coded = coded + camera.sharpen * (grey[..., 0] - soft)[..., None]
    return (np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8)
