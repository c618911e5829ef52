"""What bodies lie on: lit glass, ruled glass, cards, velvet, woven wire and turned dishes, as linear light."""

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter


def soft_noise(rng, shape, grain_px):
    """Smooth noise of unit spread with grains of about ``grain_px``."""
    small = (max(int(shape[0] / grain_px), 1) + 3, max(int(shape[1] / grain_px), 1) + 3)
    values = Image.fromarray(rng.normal(size=small).astype(np.float32))
    return np.asarray(values.resize((shape[1], shape[0]), Image.Resampling.BICUBIC))


def lamp(rng, shape, strength=0.1):
    """An uneven lamp: a soft hot spot and a slope."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    size = np.hypot(*shape)
    cy, cx = rng.uniform(0.25, 0.75, 2) * shape
    spot = np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (size * rng.uniform(0.4, 0.9)) ** 2)
    a = rng.uniform(0, 2 * np.pi)
    slope = ((x - shape[1] / 2) * np.cos(a) + (y - shape[0] / 2) * np.sin(a)) / size
    field = 1 + strength * (2.0 * (spot - spot.mean()) + rng.uniform(0, 1.2) * slope)
    return np.clip(field, 0.2, None)


def glare(rng, shape):
    """The soft mirror image of a lamp or a window in the water's skin."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    size, a = min(shape) * rng.uniform(0.12, 0.4), rng.uniform(0, np.pi)
    dx, dy = x - rng.uniform(-0.1, 1.1) * shape[1], y - rng.uniform(-0.1, 1.1) * shape[0]
    u, v = (dx * np.cos(a) + dy * np.sin(a)) / size, (dy * np.cos(a) - dx * np.sin(a)) / size * rng.uniform(1, 3)
    u = u + 0.25 * soft_noise(rng, shape, size * 0.8)
    return (rng.uniform(0.02, 0.09) / (1 + (u * u + v * v) ** 1.5))[..., None]


def _flat_texture(rng, shape, kind, um_per_px):
    """Brightness of a plain floor around 1, and its tint."""
    fine = soft_noise(rng, shape, max(25 / um_per_px, 1.0))
    broad = soft_noise(rng, shape, 900 / um_per_px)
    if kind == "velvet":
        threads = gaussian_filter(rng.normal(size=shape).astype(np.float32), (2.2, 0.6)) * 3
        return np.clip(1 + 0.35 * threads + 0.25 * fine + 0.2 * broad, 0.15, None)
    if kind == "card":
        fibres = gaussian_filter(rng.normal(size=shape).astype(np.float32), (0.7, 2.0)) * 2
        return 1 + 0.025 * fibres + 0.02 * fine + 0.02 * broad
    if kind == "porcelain":
        return 1 + 0.006 * fine + 0.015 * broad
    return 1 + 0.03 * fine + 0.1 * broad  # acrylic


def scratches(rng, picture, count, um_per_px, light_from_below):
    """Hair-fine scratches and specks of the glass, out of the truth."""
    h, w = picture.shape[:2]
    mark = np.zeros((h, w), np.float32)
    for _ in range(count):
        y, x, a = rng.uniform(0, h), rng.uniform(0, w), rng.uniform(0, 6.28)
        length = rng.uniform(150, 2500) / um_per_px
        t = np.arange(0, length, 0.5)
        bow = rng.normal(0, 0.0006)
        rows = (y + t * np.sin(a) + bow * t**2 * np.cos(a)).astype(int)
        columns = (x + t * np.cos(a) - bow * t**2 * np.sin(a)).astype(int)
        ok = (rows >= 0) & (rows < h) & (columns >= 0) & (columns < w)
        mark[rows[ok], columns[ok]] = rng.uniform(0.15, 0.6) * np.abs(np.sin(t[ok] / length * 3.1))
    specks = rng.integers(20, 160)
    mark[rng.integers(0, h, specks), rng.integers(0, w, specks)] = rng.uniform(0.2, 1.5, specks)
    mark = gaussian_filter(mark, rng.uniform(0.7, 1.3))
    if light_from_below:
        return picture * (1 - np.clip(mark, 0, 0.6))[..., None]
    return picture + 0.12 * mark[..., None] * picture.mean() ** 0.5


def rulings(rng, picture, um_per_px, from_below=True):
    """Etched grooves every millimetre (some with finer ones between): their walls turn light away."""
    h, w = picture.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    a = rng.uniform(-0.12, 0.12) + (np.pi / 4 if rng.random() < 0.1 else 0)
    u = (x * np.cos(a) + y * np.sin(a)) * um_per_px + rng.uniform(0, 1000)
    v = (-x * np.sin(a) + y * np.cos(a)) * um_per_px + rng.uniform(0, 1000)
    pitch = 1000.0
    half = rng.uniform(9, 20)
    soft = um_per_px * 0.7
    dark, clear = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    double = rng.random() < 0.35
    for along in (u, v):
        off = np.abs((along + pitch / 2) % pitch - pitch / 2)
        for centre in (0, 45) if double else (0,):
            d = np.abs(off - centre)
            wall = np.exp(-(((d - half * 0.6) / (half * 0.4 + soft)) ** 2))
            dark = np.maximum(dark, wall)
            clear = np.maximum(clear, np.exp(-((d / (half * 0.3 + soft * 0.6)) ** 2)))
    worn = np.clip(0.8 + 0.25 * soft_noise(rng, (h, w), 60), 0.2, 1)
    depth = rng.uniform(0.35, 0.7)
    factor = 1 - depth * dark * worn + rng.uniform(0.1, 0.5) * clear * worn
    return picture * factor[..., None]


class Weave:
    """Plain weave of round wires: each wire is a tube that bends over one and under the next."""

    def __init__(self, rng, shape, um_per_px):
        self.opening = rng.uniform(100, 150)
        self.wire = self.opening * rng.uniform(0.45, 0.75)
        pitch = self.opening + self.wire
        radius = self.wire / 2
        y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
        a = rng.uniform(0, np.pi)
        warp = soft_noise(rng, shape, 2500 / um_per_px) * 12, soft_noise(rng, shape, 2500 / um_per_px) * 12
        u = (x * np.cos(a) + y * np.sin(a)) * um_per_px + warp[0]
        v = (-x * np.sin(a) + y * np.cos(a)) * um_per_px + warp[1]
        self.height = np.full(shape, -1e3, np.float32)
        self.cover = np.zeros(shape, np.float32)
        self.normal = np.zeros((*shape, 3), np.float32)
        for along, across, phase, turn in ((u, v, 0.0, a), (v, u, np.pi, a + np.pi / 2)):
            number = np.floor(across / pitch)
            wobble = 5 * np.sin(number * 12.9898 + along / 1300)
            off = across - (number + 0.5) * pitch + wobble
            middle = radius * 0.95 * np.sin(np.pi * along / pitch + np.pi * number + phase)
            slope = radius * 0.95 * np.pi / pitch * np.cos(np.pi * along / pitch + np.pi * number + phase)
            s = np.clip(off / radius, -1, 1)
            up = np.sqrt(np.maximum(1 - s**2, 0.0004))
            z = middle + radius * up
            cover = np.clip((radius - np.abs(off)) / um_per_px + 0.5, 0, 1)
            z = np.where(cover > 0, z, -1e3)
            hand = 1 if phase == 0 else -1
            n_along, n_across = -slope * up, s
            size = np.sqrt(n_along**2 + n_across**2 + up**2)
            # along is +u for the first family and +v for the second
            e1 = (np.cos(turn), np.sin(turn))
            e2 = (-np.sin(turn) * hand, np.cos(turn) * hand) if hand > 0 else (np.sin(turn), -np.cos(turn))
            normal = np.stack(
                [(n_along * e1[0] + n_across * e2[0]) / size, (n_along * e1[1] + n_across * e2[1]) / size, up / size],
                -1,
            )
            above = z > self.height
            self.height = np.where(above, z, self.height)
            self.normal[above] = normal[above]
            self.cover = np.maximum(self.cover, cover)


def woven(rng, shape, um_per_px, light, ground):
    """The picture of a sieve over ``ground`` (h, w, 3) light that comes through its openings."""
    weave = Weave(rng, shape, um_per_px)
    cover = weave.cover[..., None]
    nylon = rng.random() < (0.7 if light.mode == "below" else 0.4)
    n = weave.normal
    if light.mode == "below":
        facing = 1 - n[..., 2]
        if nylon:
            through = np.clip(0.62 - 0.5 * facing, 0.08, 1)[..., None] * np.array([1.0, 0.97, 0.9])
            return ground * (1 - cover + cover * through)
        wire = np.array([0.10, 0.10, 0.105]) * (0.5 + 0.5 * n[..., 2:]) + 0.1 * facing[..., None] ** 3
        return ground * (1 - cover) + cover * (wire + 0.25 * light.sky * n[..., 2:] ** 2)
    sun = np.clip(n @ light.toward, 0, 1)
    half = light.toward + np.array([0, 0, 1.0])
    half = half / np.linalg.norm(half)
    glint = np.clip(n @ half, 0, 1)
    if nylon:
        tone = np.array([0.62, 0.62, 0.58])
        lit = tone * (light.sky * (0.4 + 0.6 * n[..., 2:]) + 0.7 * light.sun * sun[..., None])
        lit = lit + (0.25 * glint**20)[..., None] * light.sun
    else:
        tone = np.array([0.30, 0.30, 0.31]) * rng.uniform(0.7, 1.1)
        lit = tone * (light.sky * (0.2 + 0.8 * n[..., 2:] ** 2) + 0.5 * light.sun * sun[..., None])
        lit = lit + (0.6 * glint**14 + 0.5 * glint**70)[..., None] * light.sun * 0.55
    shade = np.clip(1 + weave.height / weave.wire * 0.45, 0.5, 1.25)[..., None]
    shadow = np.roll(weave.cover, tuple(round(-v * 90 / um_per_px) for v in light.toward[1::-1]), (0, 1))
    under = ground * (1 - 0.5 * gaussian_filter(shadow, 30 / um_per_px))[..., None]
    return under * (1 - cover) + cover * lit * shade


def dish(rng, picture, um_per_px, light, table):
    """A turned rim across a corner of the picture: returns the picture and where the dish's inside lies."""
    h, w = picture.shape[:2]
    y, x = np.mgrid[:h, :w].astype(np.float32)
    radius = rng.uniform(17000, 30000) / um_per_px
    a = rng.uniform(0, 2 * np.pi)
    reach = 0.5 * (abs(np.cos(a)) * w + abs(np.sin(a)) * h) * rng.uniform(0.62, 0.95)
    cx, cy = w / 2 + np.cos(a) * (reach - radius), h / 2 + np.sin(a) * (reach - radius)
    dx, dy = (x - cx) / radius, (y - cy) / radius
    r = np.hypot(dx, dy)
    out = (r - 1) * radius * um_per_px
    wall = rng.uniform(900, 1600)
    stations = np.array([-700, -250, 0, 0.25 * wall, 0.5 * wall, 0.75 * wall, wall, wall + 60])
    heights = np.array([0, 80, 420, 800, 860, 780, 350, 0.0])
    fine = np.arange(-800, wall + 120, 8.0)
    curve = gaussian_filter(np.interp(fine, stations, heights), 8)
    slope = np.interp(out, fine, np.gradient(curve, 8.0))
    nz = 1 / np.sqrt(1 + slope**2)
    lean = -(slope * nz) / (r + 1e-6)
    n = np.stack([dx * lean, dy * lean, nz], -1)
    on = (out > -700) & (out < wall)
    rim = np.clip((out + 120) / 120, 0, 1) * (out < wall)
    beyond = np.clip((out - wall) / um_per_px + 0.5, 0, 1)[..., None]
    sun = np.clip(n @ light.toward, 0, 1)
    half = light.toward + np.array([0, 0, 1.0])
    half = half / np.linalg.norm(half)
    glint = np.clip(n @ half, 0, 1) ** 90
    inside_light = picture * np.where(on, 0.55 + 0.45 * nz**2, 1)[..., None]
    body = picture * (0.45 + 0.5 * nz**2 + 0.25 * (sun - light.toward[2]))[..., None]
    body = body + glint[..., None] * light.sun * 0.8
    result = inside_light * (1 - rim[..., None]) + np.clip(body, 0, None) * rim[..., None]
    fall = np.exp(-np.clip(out - wall, 0, None) / 900.0)[..., None]
    result = result * (1 - beyond) + table * (1 - 0.5 * fall) * beyond
    return result, out < -500


def plain(rng, shape, kind, um_per_px):
    """Texture of a floor without lamp, (h, w, 1)."""
    return _flat_texture(rng, shape, kind, um_per_px)[..., None].astype(np.float32)
