"""The camera: colour fringes, blur, tone curve, noise, a phone's smear and sharpening. Linear light in, 8 bit out."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage


@dataclass
class Camera:
    """One camera's habits; widths in pixels."""

    fringe: float  # radial offset of red against blue, as a part of the radius
    blur: float
    grain: float
    smear: float  # 0 to 1: how much a phone wipes noise away
    sharpen: float
    contrast: float
    saturation: float
    balance: np.ndarray

    @classmethod
    def any(cls, rng, phone):
        """Draw a camera."""
        warm = rng.normal(0, 0.045)
        return cls(
            fringe=rng.normal(0, 0.0006),
            blur=rng.uniform(0.35, 0.85) if not phone else rng.uniform(0.4, 0.95),
            grain=rng.uniform(0.004, 0.013) * (1.3 if phone else 1),
            smear=rng.uniform(0.4, 0.9) if phone else rng.choice([0.0, rng.uniform(0, 0.4)]),
            sharpen=rng.uniform(0.3, 1.0) if phone else rng.uniform(0, 0.6),
            contrast=rng.uniform(0.0, 0.35),
            saturation=rng.uniform(0.88, 1.2),
            balance=np.array([1 + warm, 1 + rng.normal(0, 0.01), 1 - warm]),
        )

    def take(self, light, rng):
        """The picture of a scene."""
        light = light * self.balance.astype(np.float32)
        if abs(self.fringe) > 1e-4:
            light = self._fringed(light)
        light = ndimage.gaussian_filter(light, (self.blur, self.blur, 0), truncate=3)
        level = np.clip(light, 0, None)
        shot = rng.standard_normal(level.shape, np.float32)
        shot = 0.75 * shot + 0.55 * ndimage.uniform_filter(shot, (2, 2, 1)) * 2
        level = level + shot * self.grain * np.sqrt(level * 0.6 + 0.012)
        high = 0.86
        level = np.where(level > high, high + (1.06 - high) * (1 - np.exp(-(level - high) / (1.06 - high))), level)
        tone = np.clip(level, 0, 1) ** np.float32(1 / 2.2)
        tone = tone + self.contrast * tone * (1 - tone) * (tone - 0.45)
        grey = tone.mean(2, keepdims=True)
        tone = grey + (tone - grey) * self.saturation
        if self.smear > 0:
            soft = ndimage.gaussian_filter(tone, (1.3, 1.3, 0), truncate=2.5)
            detail = np.abs(ndimage.gaussian_filter(tone - soft, (1, 1, 0), truncate=2)).max(2, keepdims=True)
            tone = tone + self.smear * np.exp(-((detail / 0.012) ** 2)) * (soft - tone)
        if self.sharpen > 0:
            tone = tone + self.sharpen * (tone - ndimage.gaussian_filter(tone, (1.2, 1.2, 0), truncate=2.5))
        return (np.clip(tone, 0, 1) * 255 + rng.random(tone.shape, np.float32)).clip(0, 255).astype(np.uint8)

    def _fringed(self, light):
        """Red drawn a little larger and blue a little smaller about the middle."""
        out = light.copy()
        middle = np.array(light.shape[:2]) / 2 - 0.5
        for channel, way in ((0, 1), (2, -1)):
            zoom = 1 + way * self.fringe
            out[..., channel] = ndimage.affine_transform(
                light[..., channel], np.array([zoom, zoom]), middle * (1 - zoom), order=1, mode="nearest"
            )
        return out
