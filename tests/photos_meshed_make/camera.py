"""From linear light to the picture a camera stores: lens, mosaic, colour, noise, sharpening."""

from dataclasses import dataclass

import numpy as np
from floors import soft_noise
from scipy.ndimage import convolve, gaussian_filter

GREEN = np.array([[0, 1, 0], [1, 4, 1], [0, 1, 0]], np.float32) / 4
OTHER = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]], np.float32) / 4


@dataclass
class Camera:
    """One photo's camera."""

    blur_px: float
    vignette: float
    balance: np.ndarray
    exposure: float
    gamma: float
    contrast: float
    sharpen: float
    sharpen_px: float
    shot: float
    read: float
    saturation: float
    smooth: bool

    @classmethod
    def pick(cls, rng, phone=False, poor=False):
        """A camera: a microscope's or a phone's; ``poor`` ones are noisier and softer."""
        warm = rng.normal(0, 0.05)
        return cls(
            blur_px=rng.uniform(0.45, 0.85) + (rng.uniform(0.2, 0.6) if poor else 0),
            vignette=rng.uniform(0.0, 0.22),
            balance=np.array([1 + warm, 1 + rng.normal(0, 0.015), 1 - warm * rng.uniform(0.6, 1.4)]),
            exposure=float(np.exp(rng.normal(0, 0.1))),
            gamma=rng.uniform(0.92, 1.1),
            contrast=rng.uniform(0.05, 0.4) if phone else rng.uniform(0, 0.25),
            sharpen=rng.uniform(0.5, 1.4) if phone else rng.uniform(0.0, 0.9),
            sharpen_px=rng.uniform(0.8, 1.5),
            shot=rng.uniform(0.008, 0.02) * (1.8 if poor else 1),
            read=rng.uniform(0.0015, 0.004) * (1.8 if poor else 1),
            saturation=rng.uniform(0.9, 1.25) if phone else rng.uniform(0.8, 1.1),
            smooth=phone and rng.random() < 0.6,
        )


def _demosaic(raw):
    """Bilinear colour from an RGGB mosaic."""
    mask = np.zeros((*raw.shape, 3), bool)
    mask[0::2, 0::2, 0] = mask[1::2, 1::2, 2] = True
    mask[0::2, 1::2, 1] = mask[1::2, 0::2, 1] = True
    return np.stack([convolve(raw * mask[..., k], GREEN if k == 1 else OTHER, mode="mirror") for k in range(3)], -1)


def expose(rng, light, camera):
    """8-bit RGB from linear light (1 is paper white)."""
    h, w = light.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4
    light = light * camera.exposure * (1 - camera.vignette * r2)[..., None] * camera.balance
    light = gaussian_filter(light.astype(np.float32), (camera.blur_px, camera.blur_px, 0))
    pick = np.empty((h, w), np.float32)
    for dy, dx, k in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        pick[dy::2, dx::2] = light[dy::2, dx::2, k]
    noise = rng.standard_normal((h, w), dtype=np.float32)
    pick += noise * np.sqrt(camera.shot**2 * np.clip(pick, 0, None) * 0.6 + camera.read**2)
    picture = _demosaic(pick)
    grey = picture.mean(-1, keepdims=True)
    picture = grey + (picture - grey) * camera.saturation
    picture = np.clip(picture, 0, 1.0)
    tone = np.where(picture < 0.0031308, 12.92 * picture, 1.055 * np.maximum(picture, 1e-6) ** (1 / 2.4) - 0.055)
    tone = tone**camera.gamma
    tone = tone + camera.contrast * (tone * tone * (3 - 2 * tone) - tone)
    if camera.smooth:  # a phone's noise filter smears the finest grain
        soft = gaussian_filter(tone, (1, 1, 0))
        keep = np.clip(np.abs(tone - soft).max(-1, keepdims=True) / 0.03, 0.25, 1)
        tone = soft + (tone - soft) * keep
    if camera.sharpen:
        tone = tone + camera.sharpen * (tone - gaussian_filter(tone, (camera.sharpen_px, camera.sharpen_px, 0)))
    tone = tone + 0.002 * soft_noise(rng, (h, w), 3)[..., None]
    return (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)
