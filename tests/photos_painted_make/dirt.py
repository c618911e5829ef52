"""Small dirt that nobody counts: specks, splinters of shells, dust on the optics."""

import numpy as np
from canvas import linear
from PIL import Image, ImageDraw
from scipy import ndimage


def litter(rng, image, look):
    """Specks and shell splinters of less than 60 micrometres, in place."""
    h, w = look["shape"]
    sheet = Image.new("L", (w * 2, h * 2))
    pen = ImageDraw.Draw(sheet)
    for _ in range(int(rng.integers(0, 140) * rng.random())):
        x, y = rng.uniform(0, 2 * w), rng.uniform(0, 2 * h)
        size = np.clip(rng.exponential(14), 5, 50) / look["um_px"]  # half of it, doubled grid
        turn = np.sort(rng.uniform(0, 6.28, rng.integers(3, 8)))
        far = size * rng.uniform(0.3, 1.0, len(turn))
        corners = zip(x + far * np.cos(turn), y + far * np.sin(turn))
        pen.polygon(list(corners), fill=int(rng.uniform(50, 255)))
    cover = np.asarray(sheet, np.float32) / 255
    cover = cover.reshape(h, 2, w, 2).mean((1, 3))
    cover = ndimage.gaussian_filter(cover, rng.uniform(0.4, 1.0))[..., None]
    if look["mode"] in ("below", "both"):
        image *= np.exp(-cover * rng.uniform(0.5, 1.6) * np.array((0.7, 1.0, 1.4), np.float32))
    else:
        brown = linear(*rng.choice([(0.55, 0.42, 0.28), (0.7, 0.68, 0.62), (0.45, 0.47, 0.36)]))
        strong = rng.uniform(0.3, 0.8) * (0.5 if look["mode"] == "dark" else 1.0)
        image += strong * cover * (brown - image)


def veil_and_dust(rng, image, look, noise):
    """Bacterial veil over the picture and unsharp dust on the optics, in place."""
    if rng.random() < 0.4:
        image *= (1 + rng.uniform(0.01, 0.035) * np.clip(noise, -2, 2))[..., None]
    h, w = look["shape"]
    for _ in range(rng.integers(0, 9)):
        x, y, r = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(3, 14)
        top, left = int(max(0, y - 3 * r)), int(max(0, x - 3 * r))
        part = image[top : int(y + 3 * r), left : int(x + 3 * r)]
        yy, xx = np.mgrid[: part.shape[0], : part.shape[1]]
        far = np.hypot(xx + left - x, yy + top - y)
        part *= (1 - rng.uniform(0.03, 0.15) / (1 + np.exp((far - r) / (0.25 * r))))[..., None]
