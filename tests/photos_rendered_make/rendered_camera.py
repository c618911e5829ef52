"""From the light that Cycles gives to a photo: exposure, vignetting, colour fringes, noise, white balance, tones."""

import numpy as np
from scipy import ndimage


def eyepiece_field(shape, rng):
    """Light (rows, cols), 0 to 1, through a round eyepiece that does not fill the picture."""
    rows, cols = shape
    y, x = np.mgrid[:rows, :cols]
    radius = rng.uniform(0.5, 0.6) * np.hypot(rows, cols) * 0.9
    centre = np.array([rows, cols]) / 2 + rng.normal(0, 0.02, 2) * rows
    away = np.hypot(y - centre[0], x - centre[1])
    return 1 / (1 + np.exp(np.clip((away - radius) / rng.uniform(2, 7), -30, 30)))


def _fringed(light, spread):
    """Colours of slightly different size, as a plain lens gives them."""
    out = light.copy()
    middle = (np.array(light.shape[:2]) - 1) / 2
    for channel, scale in ((0, 1 + spread), (2, 1 - spread)):
        shift = middle - middle * scale
        out[..., channel] = ndimage.affine_transform(
            light[..., channel], [scale, scale], shift, order=1, mode="nearest"
        )
    return out


def developed(light, rng, kind, field=None):
    """Return bytes (rows, cols, 3) from linear light (rows, cols, 3)."""
    rows, cols, _ = light.shape
    dark = kind in ("black", "dark field")
    bright = light.mean(2)
    high = (
        np.percentile(bright, 99)
        if dark
        else max(np.percentile(bright, 85), 0.75 * np.percentile(bright, 95 if kind == "sieve" else 99))
    )
    level = rng.uniform(0.6, 1.05) if dark else rng.uniform(0.5, 0.9)
    if kind == "grey":
        level *= rng.uniform(0.45, 0.7)
    exposed = light / max(high, 1e-9) * level
    y, x = np.mgrid[:rows, :cols]
    away = np.hypot((x - cols / 2) / cols, (y - rows / 2) / cols) * 2
    tilt = 1 + rng.normal(0, 0.05) * (x / cols - 0.5) + rng.normal(0, 0.05) * (y / rows - 0.5)
    exposed = exposed * (tilt / (1 + rng.choice([0.03, 0.15, 0.35]) * away**2) ** 2)[..., None]
    exposed = _fringed(exposed, rng.choice([0.0, 0.0005, 0.0012]))
    exposed = ndimage.gaussian_filter(exposed, (*[rng.uniform(0.3, 0.8)] * 2, 0))
    exposed += rng.choice([0, 0.004, 0.02], p=[0.4, 0.4, 0.2]) * level  # stray light in the lens
    if field is not None:
        exposed = exposed * field[..., None]
    white = np.exp(np.array([1, 0.1, -1.1]) * rng.normal(0, 0.09) + np.array([0.3, -1, 0.3]) * rng.normal(0, 0.025))
    exposed = exposed * white
    grain = rng.choice([0.004, 0.009, 0.018], p=[0.45, 0.35, 0.2])
    noise = rng.normal(size=exposed.shape) * np.sqrt(grain**2 * np.clip(exposed, 0, None) + (grain * 0.25) ** 2)
    exposed = np.clip(exposed + ndimage.gaussian_filter(noise, (0.5, 0.5, 0)) * 1.6, 0, None)
    knee = rng.uniform(0.75, 0.95)
    exposed = np.where(exposed > knee, knee + (1 - knee) * (1 - np.exp(-(exposed - knee) / (1 - knee))), exposed)
    tone = np.where(exposed <= 0.0031308, 12.92 * exposed, 1.055 * exposed ** (1 / 2.4) - 0.055)
    tone = tone + rng.uniform(0, 0.16) * np.sin(2 * np.pi * (tone - 0.5)) * 0.5  # contrast
    grey = tone.mean(2, keepdims=True)
    tone = grey + (tone - grey) * rng.uniform(0.85, 1.25)
    if rng.random() < 0.5:
        tone = tone + rng.uniform(0.2, 0.8) * (tone - ndimage.gaussian_filter(tone, (1.2, 1.2, 0)))  # sharpening
    return np.round(np.clip(tone, 0, 1) * 255).astype(np.uint8)
