"""From light to a stored picture: lens, sensor and file."""

import numpy as np
from scipy import ndimage


def chromatic(image, rng):
    """Colours focus at slightly different scales: red and blue are shifted radially."""
    h, w = image.shape[:2]
    amount, shift = rng.normal(0, 0.0008), rng.normal(0, 0.25, 2)
    for channel, sign in ((0, 1), (2, -1)):
        k = 1 + sign * amount
        offset = (np.array([h, w]) / 2) * (1 - k) + sign * shift
        image[..., channel] = ndimage.affine_transform(image[..., channel], [k, k], offset, order=1, mode="nearest")
    return image


def dust(image, rng):
    """Dust before the sensor: a few soft grey spots."""
    h, w = image.shape[:2]
    for _ in range(rng.poisson(2.5)):
        y, x, r = rng.uniform(0, h), rng.uniform(0, w), rng.uniform(3, 11)
        ys, xs = (slice(max(int(y - 4 * r), 0), int(y + 4 * r)), slice(max(int(x - 4 * r), 0), int(x + 4 * r)))
        d = (np.arange(h)[ys, None] - y) ** 2 + (np.arange(w)[None, xs] - x) ** 2
        image[ys, xs] *= (1 - rng.uniform(0.05, 0.22) * np.exp(-((d / r**2) ** 1.5)))[..., None]
    return image


def expose(image, rng, scene):
    """White balance and exposure with the errors of a hurried user, then veiling glare."""
    cast = np.array([rng.normal(1, 0.045), 1.0, rng.normal(1, 0.06)], np.float32)
    level = np.percentile(image[::7, ::7].max(-1), scene.get("meter", 97))
    gain = scene["expose"] * np.exp(rng.normal(0, 0.13)) / max(level, 0.08)
    image = image * (cast * np.float32(gain))
    veil = rng.uniform(0.0, 0.03) * image.mean()
    return image + np.float32(veil)


def sensor_noise(image, rng):
    """Shot and read noise; in half of the cameras their own smoothing has made it coarser."""
    shot, read = rng.uniform(0.004, 0.017), rng.uniform(0.001, 0.006)
    noise = rng.normal(size=image.shape).astype(np.float32)
    if rng.random() < 0.5:
        noise = ndimage.gaussian_filter(noise, (0.7, 0.7, 0)) * 2.0
    return noise * np.sqrt(shot**2 * image + read**2)


def develop(image, rng):
    """Tone curve, sharpening, contrast and saturation of the camera."""
    # A soft shoulder keeps highlights from clipping hard, as cameras do.
    image = np.where(image > 0.8, 0.8 + 0.2 * np.tanh((image - 0.8) / 0.2), image)
    image = np.clip(image, 0, 1) ** np.float32(1 / rng.uniform(2.0, 2.4))
    sharpen = rng.choice([0.0, rng.uniform(0.2, 0.9)], p=[0.35, 0.65])
    if sharpen:
        soft = ndimage.gaussian_filter(image, (1.2, 1.2, 0))
        image = image + np.float32(sharpen) * (image - soft)
    image = (image - 0.5) * np.float32(rng.normal(1.0, 0.06)) + 0.5
    grey = image.mean(-1, keepdims=True)
    return grey + (image - grey) * np.float32(rng.uniform(0.75, 1.2))


def shoot(light, rng, scene):
    """Camera picture (uint8) of a light field (linear, float32)."""
    image = ndimage.gaussian_filter(np.maximum(light, 0), (scene["psf"], scene["psf"], 0))
    image = dust(chromatic(image, rng), rng)
    image = np.clip(expose(image, rng, scene), 0, 1.2)
    image = np.clip(image + sensor_noise(image, rng), 0, 1.15)
    return (np.clip(develop(image, rng), 0, 1) * 255 + 0.5).astype(np.uint8)
