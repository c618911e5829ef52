"""What the bodies lie on: glass, ruled chambers, woven mesh, dishes, cards, velvet; from below and from above."""

import numpy as np
from scipy import ndimage


def soft_noise(rng, height, width, sigma_px):
    """Unit noise smooth over about ``sigma_px``, drawn coarse and enlarged."""
    step = max(1, int(sigma_px / 2))
    coarse = rng.standard_normal((height // step + 3, width // step + 3), dtype=np.float32)
    coarse = ndimage.gaussian_filter(coarse, max(sigma_px / step, 0.3), mode="wrap")
    if step > 1:
        coarse = ndimage.zoom(coarse, step, order=1)
    coarse = coarse[:height, :width]
    return coarse / max(float(coarse.std()), 1e-6)


def _grid(height, width, um_per_px, angle, wobble=0.0, rng=None):
    """Turned coordinates in micrometres."""
    y = ((np.arange(height) - height / 2) * um_per_px).astype(np.float32)[:, None]
    x = ((np.arange(width) - width / 2) * um_per_px).astype(np.float32)[None, :]
    u, v = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    if wobble:
        u = u + wobble * soft_noise(rng, height, width, 900 / um_per_px)
        v = v + wobble * soft_noise(rng, height, width, 900 / um_per_px)
    return u, v


def _specks(rng, height, width, um_per_px, count):
    """Soft absorbing dust far out of focus."""
    out = np.zeros((height, width), np.float32)
    for _ in range(count):
        r = rng.uniform(6, 30) / um_per_px + 1
        n = int(4 * r)
        y, x = rng.integers(-n, height), rng.integers(-n, width)
        a, b, c, d = max(y, 0), min(y + 2 * n, height), max(x, 0), min(x + 2 * n, width)
        yy, xx = np.mgrid[a:b, c:d].astype(np.float32)
        out[a:b, c:d] += rng.uniform(0.02, 0.16) * np.exp(-((yy - y - n) ** 2 + (xx - x - n) ** 2) / (2 * r * r))
    return out


def glass(rng, height, width, um_per_px, ruled=False):
    """Absorption (h, w, 3), path and the place where bodies may lie, for light from below."""
    grey = _specks(rng, height, width, um_per_px, rng.integers(4, 30))
    path = 0.010 * soft_noise(rng, height, width, 3.0) + 0.5 * soft_noise(rng, height, width, 700 / um_per_px)
    allowed = np.ones((height, width), bool)
    if ruled:
        every, broad = rng.choice([1000.0, 500.0], p=[0.7, 0.3]), rng.uniform(9, 15)
        angle = rng.choice([rng.normal(0, 0.03), rng.uniform(0, 1.5)], p=[0.8, 0.2])
        u, v = _grid(height, width, um_per_px, angle)
        start = rng.uniform(0, every, 2)
        for axis, zero in ((u, start[0]), (v, start[1])):
            far = np.abs((axis + zero) % every - every / 2)
            groove = np.clip((broad - far) / um_per_px + 0.5, 0, 1)
            rough = np.clip(1 + 0.25 * soft_noise(rng, height, width, 1.5), 0.2, 2)
            grey += rng.uniform(0.25, 0.6) * groove * rough
            path += 0.35 * groove * np.maximum(1 - far / broad, 0) * rough
    elif rng.random() < 0.3:  # the rim of the drop: light bent away by the meniscus
        angle, reach = rng.uniform(0, 6.28), rng.uniform(0.75, 1.0)
        radius = rng.uniform(4000, 9000) + 0.5 * min(height, width) * um_per_px
        u, v = _grid(height, width, um_per_px, angle)
        middle = 0.5 * max(height, width) * um_per_px * reach - radius
        far = np.hypot(u - middle, v) + 60 * soft_noise(rng, height, width, 500 / um_per_px) - radius
        grey += 1.4 * np.exp(-((far / 70) ** 2)) + 0.5 * np.exp(-np.abs(far + 130) / 220) * (far < 0)
        allowed = far < -150
    absorb = np.repeat(grey[..., None], 3, 2)
    return absorb, path, allowed


def weave(rng, height, width, um_per_px):
    """Woven mesh: half thickness (um), height of the upper face (um) and coverage of its threads."""
    opening = rng.choice([100.0, 120.0, 125.0, 150.0])
    wire = opening * rng.uniform(0.36, 0.52)
    pitch = opening + wire
    u, v = _grid(height, width, um_per_px, rng.uniform(0, np.pi), rng.uniform(2, 7), rng)
    a, b = u / pitch, v / pitch
    r = wire / 2
    du, dv = (a - np.round(a)) * pitch, (b - np.round(b)) * pitch
    warp = np.sqrt(np.maximum(r * r - du * du, 0))
    weft = np.sqrt(np.maximum(r * r - dv * dv, 0))
    # each thread rides over and under its neighbours, the next one the other way round
    wave = np.cos(np.pi * b) * (1 - 2 * (np.round(a) % 2)), np.cos(np.pi * a) * (1 - 2 * (np.round(b) % 2))
    top_warp = np.where(warp > 0, warp + r * wave[0], -4 * r)
    top_weft = np.where(weft > 0, weft - r * wave[1], -4 * r)
    cover = 1 - np.clip(0.5 + (np.abs(du) - r) / um_per_px, 0, 1) * np.clip(0.5 + (np.abs(dv) - r) / um_per_px, 0, 1)
    return warp + weft, np.maximum(top_warp, top_weft), cover.astype(np.float32), wire


def mesh_below(rng, height, width, um_per_px):
    """Mesh lit from below: nylon dims and bends light, steel blocks it."""
    half, _top, cover, wire = weave(rng, height, width, um_per_px)
    steel = rng.random() < 0.25
    if steel:
        absorb = cover * rng.uniform(0.9, 1.6)
        path = 0 * half
    else:
        edge = cover * (0.15 + 1.0 * np.clip(1 - half / (0.5 * wire), 0, 1))
        absorb = rng.uniform(0.25, 0.55) * edge + 0.18 * cover
        path = 0.012 * half
    absorb = ndimage.gaussian_filter(absorb, 0.5)
    colour = np.array([1, 1, 1]) if steel else np.array([0.9, 1.0, 1.15])
    return absorb[..., None] * colour.astype(np.float32), path.astype(np.float32), np.ones((height, width), bool)


def mesh_above(rng, height, width, um_per_px, lamps, ambient):
    """Reflectance of a mesh over darkness or a pale tray."""
    _half, top, cover, wire = weave(rng, height, width, um_per_px)
    steel = rng.random() < 0.4
    gy, gx = np.gradient(ndimage.gaussian_filter(np.maximum(top, -wire), 0.6), um_per_px)
    n = 1 / np.sqrt(1 + gx * gx + gy * gy)
    base, mirror = (0.16, 0.75) if steel else (rng.uniform(0.3, 0.5), 0.18)
    shade = ambient * (0.6 + 0.4 * n)
    for lamp in lamps:
        lx, ly, lz = lamp.way
        shade = shade + lamp.strength * np.maximum((-gx * lx - gy * ly + lz) * n, 0)
        half = np.array([lx, ly, lz + 1]) / np.linalg.norm([lx, ly, lz + 1])
        shade = (
            shade + lamp.strength * mirror / base * np.maximum((-gx * half[0] - gy * half[1] + half[2]) * n, 0) ** 24
        )
    ground = rng.choice([rng.uniform(0.02, 0.06), rng.uniform(0.25, 0.5)], p=[0.65, 0.35])
    deep = ndimage.gaussian_filter(cover, 3)
    out = cover * base * shade * 0.8 + (1 - cover) * ground * (1 - 0.5 * deep)
    tint = np.array([1.0, 0.99, 0.96]) if steel else np.array([1.0, 0.98, 0.93])
    return np.repeat(out[..., None], 3, 2).astype(np.float32) * tint.astype(np.float32), np.ones((height, width), bool)


def plain(rng, height, width, um_per_px, what):
    """Reflectance of a plain floor: black (velvet, acrylic), grey card, white porcelain or plastic."""
    if what == "black":
        base, grain = rng.uniform(0.003, 0.012), rng.uniform(0.05, 0.22)
        tint = 1 + rng.normal(0, 0.06, 3)
    elif what == "grey":
        base, grain = rng.uniform(0.14, 0.28), rng.uniform(0.02, 0.07)
        tint = 1 + rng.normal(0, 0.03, 3)
    else:
        base, grain = rng.uniform(0.62, 0.82), rng.uniform(0.004, 0.02)
        tint = 1 + rng.normal(0, 0.015, 3)
    texture = 1 + grain * soft_noise(rng, height, width, rng.uniform(1, 3))
    texture += 0.5 * grain * soft_noise(rng, height, width, rng.uniform(8, 30))
    dust = _specks(rng, height, width, um_per_px, rng.integers(3, 20))
    texture = base * np.clip(texture, 0.1, 3) + (0.05 * dust if what == "black" else -0.4 * dust * base)
    return np.maximum(texture, 0)[..., None] * tint.astype(np.float32)


def dish(rng, height, width, um_per_px, what, rim):
    """A dish's floor, its rim in the picture or not, and where bodies may lie."""
    floor = plain(rng, height, width, um_per_px, what)
    allowed = np.ones((height, width), bool)
    if rim:
        radius = rng.uniform(0.62, 1.05) * max(height, width) * um_per_px
        angle = rng.uniform(0, 6.28)
        reach = radius - rng.uniform(0.30, 0.46) * np.hypot(height, width) * um_per_px
        u, v = _grid(height, width, um_per_px, angle)
        far = np.hypot(u + reach, v) - radius
        table = plain(rng, height, width, um_per_px, rng.choice(["grey", "black", "white"])) * rng.uniform(0.6, 1)
        outside = np.clip(far / um_per_px - 900 / um_per_px, 0, 1)[..., None]
        round_ = np.arctan2(v, u + reach)
        gleam = 1 + 0.4 * np.cos(round_ * 2 + rng.uniform(0, 6)) + 0.2 * np.cos(round_ * 7 + rng.uniform(0, 6))
        lines = np.zeros_like(far)
        for at, broad, strong in ((0, 45, 0.5), (260, 80, -0.35), (520, 50, 0.35), (860, 60, 0.7)):
            at, strong = at + rng.normal(0, 30), strong * rng.uniform(0.6, 1.3)
            lines += strong * np.exp(-(((far - at) / broad) ** 2)) * gleam
        bend = -0.45 * np.exp(-np.abs(far + 60) / 260) * (far < 0)  # the water climbs the wall
        wall = np.where(far > 0, 0.8, 1.0)
        floor = floor * (wall + bend)[..., None] + (0.22 * np.maximum(lines, 0))[..., None]
        floor *= (1 + np.minimum(lines, 0))[..., None]
        floor = np.maximum(floor * (1 - outside) + table * outside, 0.001)
        allowed = far < -220
    return floor.astype(np.float32), allowed
