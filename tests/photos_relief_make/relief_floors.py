"""What lies under the sample: glass over a lamp, black, grey and white floors, rulings, a dish's rim, woven wire."""

import numpy as np
from relief_light import Lamp
from relief_physics import cloudy, rotation
from scipy import ndimage


def lamp_field(rng, shape, lamp: Lamp):
    """Return how evenly the lamp below fills the photo, (H, W)."""
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    turn, tilt = rng.uniform(0, 6.3), rng.uniform(0.0, 0.16)
    slope = (np.cos(turn) * (x - w / 2) + np.sin(turn) * (y - h / 2)) / w
    mx, my = w / 2 + rng.normal(0, 0.1) * w, h / 2 + rng.normal(0, 0.1) * h
    fall = rng.uniform(0.0, 0.25) * ((x - mx) ** 2 + (y - my) ** 2) / (w / 2) ** 2
    return ((1 + tilt * slope) * (1 - fall).clip(0.4) * (1 + 0.008 * cloudy(rng, shape, 140))).astype(np.float32)


def glass(rng, shape, um_per_px):
    """Return what a plain glass lets through, (H, W, 3): specks, smears and hair scratches on it, out of focus."""
    clear = 0.985 - 0.004 * cloudy(rng, shape, 300)
    clear *= 1 - _scratches(rng, shape, um_per_px, int(rng.poisson(2)), (2, 5), 0.15)
    clear *= 1 - _specks(rng, shape, um_per_px, int(rng.poisson(22)), 0.22)
    return np.repeat(clear[..., None], 3, axis=2).astype(np.float32)


def opaque(rng, shape, um_per_px, tone: str):
    """Return how much a floor throws back, (H, W, 3)."""
    base = {"black": rng.uniform(0.005, 0.028), "grey": rng.uniform(0.16, 0.30), "white": rng.uniform(0.66, 0.85)}[tone]
    tint = np.exp(rng.normal(0, 0.03 if tone != "black" else 0.10, 3))
    rough = 0.035 if tone != "black" else 0.16
    weave = cloudy(rng, shape, max(2.0, 12 / um_per_px)) * rough * 0.5 + cloudy(rng, shape, 220) * rough * 0.7
    out = base * (1 + weave)
    marks = _scratches(rng, shape, um_per_px, int(rng.poisson(1.6)), (2, 6), 0.5)
    dust = _specks(rng, shape, um_per_px, int(rng.poisson(25)), 0.6)
    if tone == "black":
        out = out + 0.035 * marks + 0.06 * dust
    else:
        out = out * (1 - 0.16 * marks) * (1 - 0.15 * dust)
    return (np.clip(out, 0.002, 0.95)[..., None] * tint).astype(np.float32)


def _specks(rng, shape, um_per_px, n, most):
    out = np.zeros(shape, np.float32)
    for _ in range(n):
        x, y, r = rng.uniform(0, shape[1]), rng.uniform(0, shape[0]), rng.uniform(3, 11) / um_per_px + 0.4
        half = int(3 * r) + 2
        i0, i1, j0, j1 = max(0, int(y) - half), int(y) + half, max(0, int(x) - half), int(x) + half
        yy, xx = np.mgrid[i0 : min(i1, shape[0]), j0 : min(j1, shape[1])]
        out[i0:i1, j0:j1] += rng.uniform(0.3, 1) * most * np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / (2 * r * r))
    return np.clip(out, 0, 0.9)


def _scratches(rng, shape, um_per_px, n, width_um, most):
    out = np.zeros(shape, np.float32)
    for _ in range(n):
        x, y, turn = rng.uniform(0, shape[1]), rng.uniform(0, shape[0]), rng.uniform(0, 6.3)
        length = rng.uniform(0.06, 0.4) * shape[1]
        t = np.linspace(0, 1, int(length * 2))
        bend = rng.normal(0, 0.2)
        px = x + length * t * np.cos(turn + bend * t)
        py = y + length * t * np.sin(turn + bend * t)
        keep = (px >= 0) & (py >= 0) & (px < shape[1] - 1) & (py < shape[0] - 1)
        line = np.zeros(shape, np.float32)
        line[py[keep].astype(int), px[keep].astype(int)] = (np.sin(np.pi * t) * rng.uniform(0.3, 1))[keep]
        out = np.maximum(out, line)
    wide = np.mean(width_um) / um_per_px / 2
    return np.clip(ndimage.gaussian_filter(out, max(wide, 0.5)) * most * 3, 0, 1)


def rulings(rng, shape, um_per_px, depth: float):
    """Return how strong the etched lines of a counting chamber are, (H, W): a line each mm, some kinds doubled."""
    h, w = shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    turn = rng.normal(0, 0.04) + rng.choice([0, np.pi / 2])
    u = ((x * np.cos(turn) + y * np.sin(turn)) * um_per_px + rng.uniform(0, 1000)) / 1000
    v = ((-x * np.sin(turn) + y * np.cos(turn)) * um_per_px + rng.uniform(0, 1000)) / 1000
    wide = rng.uniform(9, 22)
    pattern = rng.choice(["single", "double", "quarters"])
    out = np.zeros(shape, np.float32)
    broken = 1 + 0.18 * cloudy(rng, shape, 14)
    for a in (u, v):
        far = np.abs(a - np.round(a)) * 1000
        if pattern == "double":
            far = np.abs(far - 28)
        line = np.exp(-((far / (wide / 2)) ** 4))
        if pattern == "quarters":
            fine = np.abs(4 * a - np.round(4 * a)) * 250
            line = np.maximum(line, 0.55 * np.exp(-((fine / (wide / 3)) ** 4)))
        out = np.maximum(out, line)
    return np.clip(out * broken, 0, 1) * depth


def dish_rim(rng, shape, um_per_px, lamp: Lamp, floor):
    """Draw the wall of a dish into a floor; return the floor and a function that tells what lies inside."""
    h, w = shape
    radius = rng.uniform(13000, 21000) / um_per_px
    corner = rng.choice([0, 1, 2, 3])
    turn = corner * np.pi / 2 + np.pi / 4 + rng.normal(0, 0.3)
    reach = rng.uniform(0.30, 0.42) * np.hypot(w, h)
    ex, ey = w / 2 + np.cos(turn) * reach, h / 2 + np.sin(turn) * reach
    cx, cy = ex - np.cos(turn) * radius, ey - np.sin(turn) * radius
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    far = (np.hypot(x - cx, y - cy) - radius) * um_per_px  # µm outside the wall's foot
    angle = np.arctan2(y - cy, x - cx)
    out = floor.copy()
    wall = rng.uniform(900, 1500)
    bands = [(0, 90, -0.45), (160, 120, 0.35), (wall * 0.55, 200, -0.25), (wall, 110, 0.6), (wall + 210, 90, -0.35)]
    level = float(np.median(floor)) if lamp.mode == "above" else 0.9
    for at, wide, strength in bands:
        sway = 1 + 0.35 * np.sin(angle * rng.uniform(3, 9) + rng.uniform(0, 6))
        band = np.exp(-(((far - at) / wide) ** 2)) * strength * sway
        out = out * (1 + np.minimum(band, 0))[..., None] + (np.maximum(band, 0) * max(level, 0.22) * 0.6)[..., None]
    beyond = 1 / (1 + np.exp(-(far - wall - 250) / 60))
    bench = np.asarray(rng.uniform(0.10, 0.55) * np.exp(rng.normal(0, 0.10, 3)), np.float32) * max(level, 0.25)
    out = out * (1 - beyond[..., None]) + beyond[..., None] * bench * (1 + 0.1 * cloudy(rng, shape, 50))[..., None]
    meniscus = np.exp(-(((far + 350) / 300) ** 2)) * rng.uniform(0.05, 0.2)
    out = out * (1 - meniscus[..., None])
    limit = radius - 420 / um_per_px

    def inside(px, py, r=0.0):
        return np.hypot(px - cx, py - cy) < limit - r

    return out.astype(np.float32), inside


def glare(rng, shape, um_per_px, power: float):
    """Return light that the water's face mirrors into the lens, (H, W): a window or a lamp, its edges wavy."""
    h, w = shape
    out = np.zeros(shape, np.float32)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    wave = cloudy(rng, shape, 90) * 14
    for _ in range(int(rng.integers(1, 3))):
        cx, cy, turn = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0, 3.2)
        u = np.cos(turn) * (x - cx) + np.sin(turn) * (y - cy) + wave
        v = -np.sin(turn) * (x - cx) + np.cos(turn) * (y - cy) + wave
        a, b = rng.uniform(0.03, 0.09) * w, rng.uniform(0.02, 0.06) * w
        far = np.maximum(np.abs(u) / a, np.abs(v) / b) if rng.random() < 0.5 else np.hypot(u / a, v / b)
        out += rng.uniform(0.3, 1.0) / (1 + np.exp((far - 1) * 9))
    return np.clip(out, 0, 1) * power


def woven(rng, shape, um_per_px, lamp: Lamp):
    """Return how bright a sieve's cloth looks, (H, W, 3), lit by the lamps above: bent wires over dark or pale gaps."""
    fine = 2
    h, w = shape[0] * fine, shape[1] * fine
    step = um_per_px / fine
    wire = rng.uniform(55, 95)
    gap = rng.uniform(95, 150)
    pitch = wire + gap
    yaw = rng.uniform(0, np.pi)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    sway = cloudy(rng, (h, w), 700 / step) * 0.05 * pitch
    cos, sin = np.float32(np.cos(yaw) * step), np.float32(np.sin(yaw) * step)
    u = cos * x + sin * y + sway.astype(np.float32)
    v = cos * y - sin * x + (cloudy(rng, (h, w), 700 / step) * 0.05 * pitch).astype(np.float32)
    pitch = np.float32(pitch)
    height = np.full((h, w), -1e3, np.float32)
    gx, gy = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    r = wire / 2
    for a, b, turn in ((u, v, yaw), (v, u, yaw + np.pi / 2)):
        k = np.round(a / pitch)
        d = a - k * pitch
        inside = np.abs(d) < r
        round_ = np.sqrt(np.where(inside, r * r - d * d, 1))
        phase = np.pi * (b / pitch + k + (0 if turn == yaw else 1))
        z = np.where(inside, round_ + 0.5 * wire * np.cos(phase), -1e3)
        across = np.where(inside, -d / np.maximum(round_, 0.25 * r), 0)
        along = -0.5 * wire * np.sin(phase) * np.pi / pitch
        sign = 1 if turn == yaw else -1
        sx = across * np.cos(turn) - sign * along * np.sin(turn)
        sy = across * np.sin(turn) + sign * along * np.cos(turn)
        higher = z > height
        height, gx, gy = np.where(higher, z, height), np.where(higher, sx, gx), np.where(higher, sy, gy)
    gx, gy = gx.astype(np.float32), gy.astype(np.float32)
    norm = np.sqrt(1 + gx**2 + gy**2)
    steel = rng.random() < 0.35
    colour = np.asarray(
        [0.36, 0.36, 0.37] if steel else rng.choice([[0.50, 0.50, 0.47], [0.36, 0.40, 0.39]]), np.float32
    )
    onto, shine = np.zeros_like(norm), np.zeros_like(norm)
    for lobe in lamp.lobes:
        ex, ey, ez = (np.float32(c) for c in lobe.towards)
        dot = (ez - gx * ex - gy * ey) / norm
        power = np.float32(lobe.power.mean())
        onto += np.clip((dot + np.float32(0.3)) / np.float32(1.3), 0, None) * power
        shine += np.exp((2 * dot / norm - ez - 1) * np.float32(10)) * power
    tint = (lamp.lobes[0].power / lamp.lobes[0].power.mean()).astype(np.float32)
    dim = np.float32(0.72) + np.float32(0.28) * np.clip(height / np.float32(wire), -0.5, 1)
    onto = lamp.ambient.astype(np.float32) * (0.55 + 0.45 / norm)[..., None] + onto[..., None] * tint
    out = colour * onto * dim[..., None] + np.float32(0.30 if steel else 0.12) * shine[..., None] * tint
    under = np.asarray(rng.choice([[0.03, 0.03, 0.035], [0.10, 0.10, 0.10], [0.24, 0.24, 0.23]]), np.float32)
    out = np.where((height < -500)[..., None], under * (1 + 0.05 * cloudy(rng, (h, w), 60))[..., None], out)
    out = out.reshape(shape[0], fine, shape[1], fine, 3).mean(axis=(1, 3))
    return out.astype(np.float32), f"cloth, opening {gap:.0f} um"


def lamps_above(rng, *, warm: float):
    """Return lobes of a bench's lamps and its ambient light: ring, two goosenecks, window, or a soft box."""
    from relief_light import Lobe

    name = str(rng.choice(["ring light", "two goosenecks", "one gooseneck", "window and room light", "soft lamp"]))
    white = np.array([1 + warm, 1.0, 1 - 1.3 * warm])

    def lobe(azimuth, height, power, wide):
        towards = rotation(yaw=azimuth) @ np.array([np.cos(height), 0, np.sin(height)])
        return Lobe(towards, white * power, wide)

    a = rng.uniform(0, 6.3)
    if name == "ring light":
        lobes = tuple(lobe(a + k * np.pi / 4, rng.uniform(0.9, 0.95), 0.115, 0.08) for k in range(8))
        return name, lobes, white * 0.22
    if name == "two goosenecks":
        height = rng.uniform(0.5, 0.85)
        lobes = (
            lobe(a, height, 0.75, 0.10),
            lobe(a + np.pi + rng.normal(0, 0.4), height, rng.uniform(0.3, 0.75), 0.10),
        )
        return name, lobes, white * 0.20
    if name == "one gooseneck":
        return name, (lobe(a, rng.uniform(0.45, 0.8), 1.0, 0.09),), white * 0.16
    if name == "soft lamp":
        return name, (lobe(a, rng.uniform(0.8, 1.2), 0.75, 0.32),), white * 0.34
    return name, (lobe(a, rng.uniform(0.6, 0.9), 0.6, 0.25),), np.array([0.95, 1.0, 1.06]) * 0.45
