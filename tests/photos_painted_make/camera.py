"""Camera: lens, exposure, mosaic, noise, sharpening and tone curve."""

import numpy as np
from scipy import ndimage

OTHER = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]], np.float32) / 4


def choose_camera(rng, kind):
    """Settings of one exposure."""
    return {
        "blur": rng.uniform(0.55, 0.95) + 0.15 * (kind == "sieve"),
        "fringe": rng.normal(0, 0.0006, 2),
        "shift": rng.normal(0, 0.25, (2, 2)),
        "gain": rng.normal(0, 0.09),
        "white": rng.normal(0, 0.06, 3),
        "full_well": rng.uniform(900, 6000),
        "read": rng.uniform(0.001, 0.004),
        "sharp": rng.uniform(0.2, 0.9),
        "curve": rng.uniform(0.0, 0.45),
        "saturation": rng.uniform(0.85, 1.2),
        "quality": int(rng.integers(80, 96)),
        "chroma": int(rng.choice((0, 2))),
        "flare": rng.uniform(0.0, 0.015),
    }


def _lens(image, camera):
    """Blur, lateral colour error and stray light."""
    parts = []
    middle = (np.array(image.shape[:2]) - 1) / 2
    for k in range(3):
        part = ndimage.gaussian_filter(image[..., k], camera["blur"])
        if k != 1:
            grow = 1 + camera["fringe"][k // 2]
            shift = camera["shift"][k // 2]
            part = ndimage.affine_transform(part, (grow, grow), middle * (1 - grow) + shift, order=1, mode="nearest")
        parts.append(part)
    image = np.stack(parts, -1)
    return image * (1 - camera["flare"]) + camera["flare"] * image.mean((0, 1))


def _along_edges(raw):
    """Mean of the two neighbours that differ least: no zipper along edges."""
    wide = np.pad(raw, 1, mode="reflect")  # reflection keeps the mosaic's order
    left, right = wide[1:-1, :-2], wide[1:-1, 2:]
    up, down = wide[:-2, 1:-1], wide[2:, 1:-1]
    flat, steep = (left + right) / 2, (up + down) / 2
    weigh = np.clip(0.5 + 12 * (np.abs(left - right) - np.abs(up - down)), 0, 1)
    return flat + weigh * (steep - flat)


def _mosaic(rng, image, camera):
    """Noisy mosaic of red, green and blue pixels, filled in again."""
    h, w = image.shape[:2]
    sites = np.zeros((h, w), np.uint8) + 1
    sites[::2, ::2] = 0
    sites[1::2, 1::2] = 2
    raw = np.take_along_axis(image, sites[..., None].astype(int), 2)[..., 0]
    well = camera["full_well"]
    spread = np.sqrt(np.clip(raw, 0, None) / well + camera["read"] ** 2)
    raw = np.clip(raw + spread * rng.standard_normal((h, w), dtype=np.float32), 0, 1.0)
    green = np.where(sites == 1, raw, _along_edges(raw))
    found = []
    for k in (0, 2):  # colour differences vary slowly, so they are filled in
        gap = np.where(sites == k, raw - green, 0)
        found.append(green + ndimage.convolve(gap, OTHER, mode="mirror"))
    return np.stack([found[0], green, found[1]], -1)


def expose(rng, image, camera):
    """Linear scene to an 8-bit photo."""
    image = _lens(image.astype(np.float32), camera)
    level = np.percentile(image, 99.7)
    aim = 0.8 if level > 0.35 else np.clip(0.35 + level, 0.45, 0.75)
    image = image * (aim / level) * np.exp(camera["gain"])
    image = image * np.exp(camera["white"] - camera["white"].mean()).astype(np.float32)
    image = np.clip(_mosaic(rng, image, camera), 0, 1) ** (1 / 2.2)
    curve = camera["curve"]
    image = (1 - curve) * image + curve * (3 - 2 * image) * image * image
    grey = image.mean(-1, keepdims=True)
    image = grey + camera["saturation"] * (image - grey)
    soft = ndimage.gaussian_filter(image, (1.1, 1.1, 0))
    image = image + camera["sharp"] * (image - soft)
    return (np.clip(image, 0, 1) * 255 + 0.5).astype(np.uint8)
