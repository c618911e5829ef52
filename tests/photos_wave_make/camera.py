"""From light to an 8-bit picture: fall-off, lens blur, white balance, noise, sharpening, tone."""

import numpy as np
from scipy import ndimage


def field(rng, height, width, uneven, corners):
    """Smooth unevenness of a lamp and the fall-off of a lens, about one."""
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :] * (width / height)
    a, b, c, d = rng.normal(0, uneven, 4)
    light = 1 + a * x + b * y + 0.6 * c * x * y + 0.5 * d * (x * x - y * y)
    middle = rng.normal(0, 0.15, 2)
    return np.maximum(light * (1 - corners * ((x - middle[0]) ** 2 + (y - middle[1]) ** 2)), 0.15)[..., None]


def develop(rng, light, *, blur=0.5, sharpen=0.4, noise=0.012, balance=(1, 1, 1), curve=1.0, veil=0.01, saturation=1.0):
    """uint8 picture of linear light in which 1 is white."""
    light = np.maximum(light, 0) * np.asarray(balance, np.float32)
    if blur > 0.2:
        light = ndimage.gaussian_filter(light, (blur, blur, 0))
    light = light * (1 - veil) + veil * light.mean((0, 1))
    shot = noise * np.sqrt(np.maximum(light, 0) * 0.8 + 0.03)
    speckle = rng.standard_normal(light.shape, dtype=np.float32)
    # demosaicing and the camera's noise filter leave grain of more than one pixel
    speckle = 0.6 * speckle + 0.9 * ndimage.uniform_filter(speckle, (2, 2, 1))
    light = light + shot * speckle
    light = np.maximum(light, 0)
    tone = np.where(light < 0.0031308, 12.92 * light, 1.055 * np.power(np.maximum(light, 1e-6), 1 / 2.4) - 0.055)
    if curve != 1.0:
        tone = tone + (curve - 1) * tone * (1 - tone) * (2 * tone - 1) * 2
    grey = tone.mean(2, keepdims=True)
    tone = grey + saturation * (tone - grey)
    if sharpen > 0:
        tone = tone + sharpen * (tone - ndimage.gaussian_filter(tone, (1.1, 1.1, 0)))
    return (np.clip(tone, 0, 1) * 255 + 0.5).astype(np.uint8)
