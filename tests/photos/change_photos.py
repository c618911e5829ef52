"""Show photos as other lamps, dishes and cameras might, to see whether counts hold and flags speak up."""

from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

TINTS = {
    "blue lamp": (0.55, 0.75, 1.0),
    "amber lamp": (1.0, 0.7, 0.35),
    "green lamp": (0.6, 1.0, 0.6),
    "violet lamp": (0.85, 0.5, 1.0),
}
CHANGES = (
    *TINTS,
    "grey camera",
    "underexposed",
    "out of focus",
    "strongly compressed",
    "hues turned",
    "overexposed",
    "uneven lamp",
    "noisy",
    "sharpened",
    "slightly soft",
)


def change_photo(folder: Path, photos, change: str, out: Path) -> Path:
    """Write the changed photos; return their folder."""
    out.mkdir(parents=True, exist_ok=True)
    for k, photo in enumerate(photos):
        image = Image.open(folder / f"{photo}.jpg").convert("RGB")
        changed = _changed(image, change, np.random.default_rng(k))
        changed.save(out / f"{photo}.jpg", quality=45 if change == "strongly compressed" else 92)
    return out


def _changed(image: Image.Image, change: str, rng) -> Image.Image:
    if change == "grey camera":
        return image.convert("L").convert("RGB")
    if change == "out of focus":
        return image.filter(ImageFilter.GaussianBlur(0.004 * image.width))
    if change == "slightly soft":
        return image.filter(ImageFilter.GaussianBlur(0.001 * image.width))
    if change == "sharpened":
        return image.filter(ImageFilter.UnsharpMask(0.0015 * image.width, 200, 0))
    if change == "strongly compressed":
        return image
    linear = (np.asarray(image, np.float32) / 255) ** 2.2
    if change == "underexposed":
        linear = 0.18 * linear + rng.normal(0, 0.004, linear.shape).astype(np.float32)
    elif change == "overexposed":
        linear = 1.6 * linear + 0.04
    elif change == "uneven lamp":
        across, down = np.linspace(-1, 1, image.width), np.linspace(-1, 1, image.height)
        angle = rng.uniform(0, 2 * np.pi)
        slope = across * np.cos(angle) + down[:, None] * np.sin(angle)
        linear = linear * (0.65 + 0.35 * slope / np.abs(slope).max())[..., None].astype(np.float32)
    elif change == "noisy":
        linear = linear + rng.normal(0, 0.03, linear.shape).astype(np.float32) * np.sqrt(linear + 0.01)
    elif change == "hues turned":
        linear = linear @ np.array([[0.7, 0.3, 0], [0, 0.7, 0.3], [0.3, 0, 0.7]], np.float32)
    else:
        linear = linear * np.array(TINTS[change], np.float32)
    return Image.fromarray(np.rint(255 * np.clip(linear, 0, 1) ** (1 / 2.2)).astype(np.uint8))
