"""What bodies lie on: glass, ruled glass, black, grey and white floors, dishes and woven sieves. CC0.

Every floor comes as a stack of bands: transmission for light from below, reflectance for light from above.
"""

import math

import numpy as np
from canvas import noise
from scipy import ndimage
from spectra import ABSORPTION, BANDS, FLOORS


def _stack(spectrum, grey):
    return spectrum.astype(np.float32)[:, None, None] * grey.astype(np.float32)[None]


def blurred(stack, lens, z_um):
    """Blur a floor by its depth, bands in three groups."""
    radius = np.abs(lens.defocus_um(z_um)) * lens.opening / lens.um_per_px
    for group in (slice(0, 3), slice(3, 6), slice(6, 9)):
        sigma = float(np.hypot(lens.sigma_px, radius[group].mean() / 2))
        for band in stack[group]:
            ndimage.gaussian_filter(band, sigma, output=band, truncate=3)
    return stack


def marks(shape, um_per_px, rng, number, soft):
    """Scratches and dust of the floor itself as a loss map, no objects: thin bright-dark lines, soft specks."""
    loss = np.zeros(shape, np.float32)
    height, width = shape
    for _ in range(number):
        at, angle = rng.uniform(0, 1, 2) * (width, height), rng.uniform(0, np.pi)
        steps = np.arange(0, rng.uniform(0.1, 0.9) * width, 0.7)
        bow = rng.normal(0, 0.0002)
        x = at[0] + np.cos(angle) * steps + bow * steps**2
        y = at[1] + np.sin(angle) * steps
        ok = (x >= 0) & (x < width) & (y >= 0) & (y < height) & (rng.random(len(x)) < 0.93)
        loss[y[ok].astype(int), x[ok].astype(int)] = rng.uniform(0.15, 0.5)
    for _ in range(int(soft)):
        x, y, size = int(rng.uniform(0, width)), int(rng.uniform(0, height)), rng.uniform(6, 26) / um_per_px
        r = int(3 * size) + 1
        v, u = np.ogrid[-r : r + 1, -r : r + 1]
        spot = rng.uniform(0.05, 0.35) * np.exp(
            -(((u * u + v * v * rng.uniform(0.6, 1.6)) / (2 * size * size + 0.3)) ** 0.9)
        )
        if r < x < width - r - 1 and r < y < height - r - 1:
            loss[y - r : y + r + 1, x - r : x + r + 1] += spot
    return ndimage.gaussian_filter(loss, rng.uniform(0.6, 1.1))


def glass(shape, um_per_px, rng, lens):
    """Plain glass or plastic, lit from below."""
    loss = marks(shape, um_per_px, rng, rng.poisson(1.5), rng.poisson(14)) + 0.006 * noise(rng, shape, 60)
    base = np.clip(1 - loss, 0.05, 1.05)
    return blurred(_stack(np.ones(BANDS), base), lens, rng.uniform(-150, -40))


def ruled(shape, um_per_px, rng, lens):
    """A counting chamber with a grid etched in its floor."""
    base = 1 - marks(shape, um_per_px, rng, rng.poisson(1), rng.poisson(10))
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32) * um_per_px
    turn = rng.normal(0, 0.04) + float(rng.choice([0, 0, 0.3]))
    u, v = (
        math.cos(turn) * x + math.sin(turn) * y + rng.uniform(0, 1000),
        math.cos(turn) * y - math.sin(turn) * x + rng.uniform(0, 1e3),
    )
    pitch = float(rng.choice([500.0, 1000.0, 1000.0]))
    half, deep = rng.uniform(5, 12), rng.uniform(0.25, 0.8)
    double = pitch > 900 and rng.random() < 0.3
    for w in (u, v):
        d = np.abs((w / pitch + 0.5) % 1 - 0.5) * pitch
        for away in (32,) if double else (0,):
            q = np.abs(d - away) / half
            # both flanks of the groove bend light away, its bottom lets it pass
            flank = np.exp(-(((q - 0.8) / 0.45) ** 2)) + 0.35 * np.exp(-((q / 0.5) ** 2))
            base = base * (1 - deep * np.clip(flank, 0, 1))
    stack = _stack(np.ones(BANDS), np.clip(base, 0.03, 1))
    return blurred(stack, lens, rng.uniform(-110, -30))


def plain(shape, um_per_px, rng, lens, name):
    """A floor seen from above."""
    grain = np.ones(shape, np.float32)
    if name == "black velvet":
        pile = noise(rng, shape, 26 / um_per_px + 1)
        grain += 0.6 * np.clip(pile, -1, 3) + 0.3 * noise(rng, shape, 200 / um_per_px)
    elif name == "grey card":
        grain += 0.05 * noise(rng, shape, 18 / um_per_px + 1) + 0.04 * noise(rng, shape, 90 / um_per_px)
    elif name in ("grey plastic", "white plastic", "black acrylic"):
        grain += 0.015 * noise(rng, shape, 120 / um_per_px)
    else:
        grain += 0.012 * noise(rng, shape, 400 / um_per_px) + 0.008 * noise(rng, shape, 30 / um_per_px + 1)
    stack = _stack(FLOORS[name], np.clip(grain, 0.05, 4))
    spots = marks(
        shape, um_per_px, rng, rng.poisson(3 if "plastic" in name or "acrylic" in name else 0.4), rng.poisson(16)
    )
    dust = 0.35 if FLOORS[name].mean() < 0.1 else (0.5 if FLOORS[name].mean() < 0.5 else -0.4)
    stack *= 1 - 0.5 * spots * (dust < 0)
    stack += (0.22 * np.clip(dust, 0, 1) * spots)[None]
    return blurred(stack, lens, rng.uniform(-130, -30))


def dish(shape, um_per_px, rng, lens, name, with_rim):
    """A dish with its wall, meniscus and the bench beyond, from above; also the map of where water stands."""
    stack = plain(shape, um_per_px, rng, lens, name)
    inside = np.ones(shape, bool)
    if not with_rim:
        return stack, inside
    height, width = shape
    radius = rng.uniform(0.75, 1.5) * width
    corner = rng.uniform(0, 2 * np.pi)
    reach = rng.uniform(0.30, 0.46) * math.hypot(width * math.cos(corner), height * math.sin(corner))
    cx = width / 2 + (reach - radius) * math.cos(corner)
    cy = height / 2 + (reach - radius) * math.sin(corner)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    out = (np.hypot(x - cx, y - cy) - radius) * um_per_px  # um beyond the inner wall
    angle = np.arctan2(y - cy, x - cx)
    sheen = 0.6 + 0.4 * np.cos(2 * (angle - rng.uniform(0, 6.3)))
    bench = FLOORS[rng.choice(["wood", "blue cloth", "green mat", "grey plastic", "white plastic"])]
    beyond = _stack(bench, 1 + 0.04 * noise(rng, shape, 60 / um_per_px) + 0.05 * noise(rng, shape, 900 / um_per_px))
    wall = rng.uniform(900, 1600)
    outside = np.clip((out - wall) / 60, 0, 1)[None]
    stack = stack * (1 - outside) + beyond * outside * (0.55 + 0.45 * np.clip((out - wall) / 2500, 0, 1))[None]
    within = np.clip((out + 5) / 40, 0, 1) * np.clip((wall - out) / 40, 0, 1)
    stack *= (1 - 0.25 * within)[None]
    # meniscus: a dark and a bright band before the wall, then the lines of the wall's edges
    stack *= (1 - rng.uniform(0.2, 0.45) * np.exp(-(((out + 350) / 260) ** 2)))[None]
    for place, size, shine in ((-60, 60, 0.3), (40, 25, 0.2), (wall * 0.55, 120, 0.15), (wall, 45, 0.35)):
        stack += (shine * rng.uniform(0.4, 1) * sheen * np.exp(-(((out - place) / size) ** 2)))[None]
    return stack, out < -450


def sieve(shape, um_per_px, rng, lens, below):
    """Woven mesh, over and under, of steel or nylon, over the light or over something dark or white."""
    metal = rng.random() < 0.55
    opening, wire = rng.uniform(100, 150), rng.uniform(55, 95) if metal else rng.uniform(60, 100)
    pitch, half = opening + wire, wire / 2
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32) * um_per_px
    turn = rng.uniform(-0.6, 0.6)
    wave = 14 * np.sin(x / 5100 + rng.uniform(0, 6)) + 10 * np.sin(y / 4300 + rng.uniform(0, 6))
    u = math.cos(turn) * x + math.sin(turn) * y + wave
    v = math.cos(turn) * y - math.sin(turn) * x + 0.7 * wave
    solid, top, glow = np.zeros(shape, np.float32), np.full(shape, -1e3, np.float32), np.zeros(shape, np.float32)
    light = rng.uniform(0, 2 * np.pi)
    for across, along, phase in ((u, v, 0), (v, u, 1)):
        count = np.floor(across / pitch)
        d = (across / pitch - count - 0.5) * pitch + 5 * np.sin(count * 12.9)
        over = np.cos(np.pi * (along / pitch - 0.5) + np.pi * (count + phase))
        q = np.clip(np.abs(d) / half, 0, 1)
        arch = np.sqrt(1 - q * q)
        height = half * (0.9 * over + arch)
        here = np.clip((half - np.abs(d)) / um_per_px + 0.5, 0, 1)
        lit = (
            0.5
            + 0.35 * arch
            + 0.3 * np.clip(d / half, -1, 1) * math.cos(light - turn - phase * math.pi / 2)
            + 0.18 * over
        )
        if metal:
            lit = lit * 0.65 + 1.1 * np.exp(-(((d / half - 0.3 * math.cos(light - phase)) / 0.25) ** 2)) * (
                0.4 + 0.6 * np.clip(over, 0, 1)
            )
        newer = (height > top) & (here > 0)
        glow, top = np.where(newer, lit, glow), np.where(newer, height, top)
        solid = np.maximum(solid, here)
    film = 1 + 0.06 * noise(rng, shape, 1800 / um_per_px) + 0.05 * noise(rng, shape, 300 / um_per_px)
    if below:
        if metal:
            base = _stack(np.ones(BANDS), 1 - solid * (0.93 - 0.05 * glow))
        else:
            tint = 1 - 0.25 * ABSORPTION["haematin"]
            base = _stack(np.ones(BANDS), 1 - solid) + _stack(tint, solid * np.clip(0.15 + 0.5 * glow, 0, 1))
        base *= np.clip(film, 0.5, 1.2)[None]
    else:
        under = rng.choice(["black acrylic", "grey plastic", "white plastic"], p=[0.4, 0.3, 0.3])
        ground = _stack(FLOORS[under], 0.6 * film)
        thread = _stack(FLOORS["steel" if metal else "nylon"], np.clip(glow, 0.05, 2.2))
        base = ground * (1 - solid)[None] + thread * solid[None]
    return blurred(base, lens, rng.uniform(-120, -40))
