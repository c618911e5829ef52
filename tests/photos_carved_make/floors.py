"""What bodies lie on: lit glass and plastic, a ruled chamber, black cloth, cards, porcelain and the rim of a dish."""

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage


def clouds(rng, height, width, scale_px):
    """Smooth noise of about unit spread, its spots ``scale_px`` apart."""
    h, w = max(3, round(height / scale_px)), max(3, round(width / scale_px))
    sheet = Image.fromarray(rng.standard_normal((h, w), np.float32))
    return np.asarray(sheet.resize((width, height), Image.Resampling.BICUBIC))


def _lines(rng, height, width, count, *, long, bend=0.02):
    """Hairline scratches, 0 to 1."""
    sheet = Image.new("L", (width * 2, height * 2))
    pen = ImageDraw.Draw(sheet)
    for _ in range(count):
        x, y, a = rng.uniform(0, width * 2), rng.uniform(0, height * 2), rng.uniform(0, np.pi)
        points = [(x, y)]
        for _ in range(12):
            a += rng.normal(0, bend)
            x, y = x + np.cos(a) * long / 6, y + np.sin(a) * long / 6
            points.append((x, y))
        pen.line(points, fill=int(rng.uniform(40, 255)), width=int(rng.integers(1, 3)))
    small = sheet.resize((width, height), Image.Resampling.BOX)
    return np.asarray(small, np.float32) / 255


def _specks(rng, height, width, count, sigma):
    """Soft dust that lies out of focus, 0 to 1."""
    sheet = np.zeros((height, width), np.float32)
    sheet[rng.integers(0, height, count), rng.integers(0, width, count)] = rng.uniform(0.3, 1, count)
    return np.clip(ndimage.gaussian_filter(sheet, sigma) * 2 * np.pi * sigma**2, 0, 1)


def _slope(rng, height, width, strength):
    """An uneven lamp: a slope and a wide soft spot."""
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    a, cx, cy = rng.uniform(0, 2 * np.pi), *rng.uniform(-0.6, 0.6, 2)
    spot = np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / rng.uniform(0.8, 2.5))
    return 1 + strength * (0.5 * (np.cos(a) * x + np.sin(a) * y) + 0.8 * (spot - 0.5))


def lit_floor(rng, height, width, um_per_px):
    """Glass or plastic with light from below."""
    level = rng.uniform(0.50, 0.74) * _slope(rng, height, width, rng.uniform(0.03, 0.2))
    level *= 1 - 0.25 * _specks(rng, height, width, rng.integers(2, 25), rng.uniform(2, 6))
    if rng.random() < 0.5:
        level *= 1 - rng.uniform(0.05, 0.22) * _lines(
            rng, height, width, rng.integers(3, 22), long=rng.uniform(100, 900)
        )
    level *= 1 + 0.006 * clouds(rng, height, width, 3)
    return np.repeat(level[..., None], 3, 2).astype(np.float32)


def ruled(rng, floor, um_per_px):
    """Rule a floor like a counting chamber: lines every millimetre, some with half lines between."""
    height, width = floor.shape[:2]
    a = np.radians(rng.normal(0, 2.5))
    y, x = np.mgrid[:height, :width].astype(np.float32) * np.float32(um_per_px)
    pitch = rng.choice([1000.0, 1000.0, 500.0])
    wide, double = rng.uniform(11, 22), rng.random() < 0.35
    mark = np.zeros((height, width), np.float32)
    core = np.zeros_like(mark)
    for along in (
        np.cos(a) * x + np.sin(a) * y + rng.uniform(0, 1000),
        -np.sin(a) * x + np.cos(a) * y + rng.uniform(0, 1000),
    ):
        off = (along + pitch / 2) % pitch - pitch / 2
        for shift in (-30, 30) if double else (0,):
            d = np.abs(off - shift)
            mark = np.maximum(mark, np.exp(-((d / wide) ** 4)))
            core = np.maximum(core, np.exp(-((d / (wide * 0.45)) ** 2)))
    worn = 1 + 0.12 * clouds(rng, height, width, 30)
    dark = rng.uniform(0.25, 0.6) * worn * mark - rng.uniform(0.0, 0.35) * core
    return floor * (1 - np.clip(dark, -0.15, 0.9))[..., None].astype(np.float32)


def covered_floor(rng, height, width, kind, light):
    """An opaque floor with light from above."""
    if kind == "velvet":
        tone = np.array([0.010, 0.010, 0.012]) * rng.uniform(0.5, 2.0)
        rough = np.clip(1 + 0.5 * clouds(rng, height, width, 2.2) + 0.3 * clouds(rng, height, width, 9), 0.1, None)
        level = rough * (1 + 2.5 * _lines(rng, height, width, rng.integers(5, 30), long=60, bend=0.3))
    elif kind in ("acrylic", "void"):
        tone = np.array([0.012, 0.012, 0.013]) * rng.uniform(0.5, 1.8)
        level = _slope(rng, height, width, 0.6) * (1 + 0.04 * clouds(rng, height, width, 4))
        level += rng.uniform(1, 6) * _lines(rng, height, width, rng.integers(2, 16), long=rng.uniform(150, 900))
        level += 3.0 * _specks(rng, height, width, rng.integers(5, 60), 0.8)
    elif kind == "card":
        tone = np.array([0.21, 0.21, 0.212]) * rng.uniform(0.7, 1.4)
        level = 1 + 0.035 * clouds(rng, height, width, 2.5) + 0.03 * clouds(rng, height, width, 12)
        level = level * (1 + 0.10 * _lines(rng, height, width, 160, long=50, bend=0.25))
    else:
        tone = np.array([0.64, 0.635, 0.62]) * rng.uniform(0.85, 1.1)
        level = 1 + 0.006 * clouds(rng, height, width, 5) - 0.10 * _specks(rng, height, width, rng.integers(0, 12), 1.5)
    level = level * _slope(rng, height, width, rng.uniform(0.08, 0.35))
    glare = 0.0
    if kind in ("acrylic", "porcelain") and rng.random() < 0.35:
        y, x = np.mgrid[:height, :width].astype(np.float32)
        cx, cy = rng.choice([0.05, 0.95]) * width, rng.uniform(0.1, 0.9) * height
        size = rng.uniform(0.10, 0.25) * width
        glare = rng.uniform(0.03, 0.16) * np.exp(-(((x - cx) / size) ** 2 + ((y - cy) / size / 0.7) ** 2))
    falling = light.lamp * light.toward[2] + light.ambient
    return (tone * level[..., None] * falling + np.asarray(glare)[..., None]).astype(np.float32)


def rim(rng, floor, um_per_px, light):
    """Let the wall of a round dish run through the picture; also the mask of the floor inside."""
    height, width = floor.shape[:2]
    radius = rng.uniform(13000, 24000) / um_per_px
    a, keep = rng.uniform(0, 2 * np.pi), rng.uniform(0.28, 0.44)
    cx = width / 2 - np.cos(a) * (radius - keep * width)
    cy = height / 2 - np.sin(a) * (radius - keep * height)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    r = (np.hypot(x - cx, y - cy) - radius) * um_per_px  # 0 at the foot of the wall
    side = ((x - cx) * np.cos(a + 1) + (y - cy) * np.sin(a + 1)) / radius
    level = floor.mean((0, 1))
    table = level * rng.uniform(0.3, 1.1) + rng.uniform(0.0, 0.06)
    wall = rng.uniform(900, 1600)

    def band(at, wide):
        return np.exp(-(((r - at) / wide) ** 2))

    shade = 1 - 0.35 * band(-120, 160) - 0.15 * band(-600, 500)
    inside = floor * shade[..., None]
    tone = 0.75 + 0.3 * side + 0.35 * band(wall * 0.3, 120) - 0.3 * band(wall * 0.62, 150) + 0.5 * band(wall * 0.9, 70)
    glint = (0.25 * band(60, 45) + 0.18 * band(wall * 0.85, 50)) * np.clip(0.5 + side, 0, 1)
    across = level * np.clip(tone, 0.1, None)[..., None] + glint[..., None]
    outside = np.broadcast_to(table, floor.shape) * (1 - 0.4 * np.exp(-np.clip(r - wall, 0, None) / 700))[..., None]
    step = np.clip(r / um_per_px + 0.5, 0, 1)[..., None]
    over = np.clip((r - wall) / um_per_px + 0.5, 0, 1)[..., None]
    made = inside * (1 - step) + (across * (1 - over) + outside * over) * step
    return made.astype(np.float32), r < -250
