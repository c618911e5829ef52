"""Floors with a build of their own: the woven mesh of a sieve and the rim of a dish."""

import numpy as np
from scipy import ndimage


def mesh(ground, rng, through):
    """Woven wires over and under each other; rgb of the floor, its words and what lies behind it."""
    opening, wire = rng.uniform(100, 150), rng.uniform(58, 75 if through else 95)
    pitch = opening + wire
    steel = rng.random() < 0.5
    angle = rng.uniform(0, np.pi)
    u, v = ground.turned(angle)
    waver = rng.uniform(1, 7)
    u = u + waver * ground.cloudy(90, rng, 2)
    v = v + waver * ground.cloudy(90, rng, 2)
    cover, tone, lift = [], [], []
    hue = np.array([1.0, 0.98, rng.uniform(0.86, 1.02)]) if steel else np.array([1.0, 1.0, rng.uniform(0.92, 1.06)])
    lamp = rng.uniform(0, 2 * np.pi)
    for across, length, phase, way in ((u, v, 0.0, 0.0), (v, u, 1.0, np.pi / 2)):
        number = np.floor(across / pitch)
        t = (across - (number + 0.5) * pitch) / (wire / 2)  # -1 to 1 over the wire
        soft = 2 * ground.um_per_px / wire
        cover.append(np.clip((1 - np.abs(t)) / soft + 0.5, 0, 1))
        wave = np.cos(np.pi * (length / pitch + number + phase))
        lift.append(np.sqrt(np.clip(1 - t * t, 0, 1)) * 0.6 + wave)
        lean = np.cos(lamp - angle - way)
        if steel:
            shine = np.exp(-(((t - 0.45 * lean) / 0.33) ** 2)) * (0.45 + 0.55 * np.clip(wave, -0.2, 1))
            tone.append(0.07 + 0.13 * np.sqrt(np.clip(1 - t * t, 0, 1)) + rng.uniform(0.3, 0.7) * shine)
        else:
            body = 0.30 + 0.22 * np.sqrt(np.clip(1 - t * t, 0, 1)) + 0.12 * wave
            tone.append(body + 0.25 * np.exp(-(((t - 0.4 * lean) / 0.2) ** 2)))
    upper = (lift[0] > lift[1]).astype(np.float32)
    first = cover[0] * (upper + (1 - upper) * (1 - cover[1]))
    second = cover[1] * (1 - first)
    gap = np.clip(1 - first - second, 0, 1)
    behind = ""
    if through:
        passed = rng.uniform(0.03, 0.1) if steel else rng.uniform(0.32, 0.6)
        rim = 1.0 if steel else 1 - 0.35 * (cover[0] * cover[1])
        value = (
            gap
            + (1 - gap) * passed * rim
            + (1 - gap) * (rng.uniform(0.12, 0.3) if steel else 0.15) * (first * tone[0] + second * tone[1])
        )
    else:
        back = rng.choice([rng.uniform(0.01, 0.05), rng.uniform(0.12, 0.3), rng.uniform(0.4, 0.6)])
        behind = "black" if back < 0.08 else "grey" if back < 0.35 else "white"
        value = gap * back + first * tone[0] + second * tone[1]
        value *= 1 + 0.05 * ground.cloudy(40, rng, 2)
    floor = ndimage.gaussian_filter(value, rng.uniform(0.5, 1.1))
    return (floor[..., None] * hue).astype(np.float32), ("steel" if steel else "nylon") + " mesh", behind


def rim(ground, rng, floor, through):
    """Lay a dish's wall over a floor; the floor with it, and where the dish's inside is."""
    radius = rng.uniform(14000, 26000)
    half = 0.5 * ground.um_per_px * np.array([ground.width, ground.height])
    way = rng.uniform(0, 2 * np.pi)
    toward = np.array([np.cos(way), np.sin(way)])
    seen = rng.uniform(0.55, 0.85)  # how far from the middle the wall crosses
    reach = np.abs(toward * half).sum() * seen
    centre = toward * (reach - radius)
    away = np.hypot(ground.x - centre[0], ground.y - centre[1]) - radius  # negative inside
    thick = rng.uniform(700, 1300)
    sharp = lambda a, b: np.clip((away - a) / 40, 0, 1) * np.clip((b - away) / 40, 0, 1)  # noqa: E731
    outside = np.clip((away - thick) / 60, 0, 1)[..., None]
    table = rng.uniform(0.05, 0.6) * np.array([1, rng.uniform(0.85, 1.0), rng.uniform(0.7, 1.0)])
    if through:
        table = np.full(3, rng.uniform(0.5, 1.0))
    floor = floor * (1 - outside) + table * outside
    band = 1 - 0.35 * np.exp(-((away / 260) ** 2)) + 0.12 * np.exp(-(((away + 500) / 420) ** 2))
    facing = (ground.x - centre[0]) * np.cos(way + 0.8) + (ground.y - centre[1]) * np.sin(way + 0.8)
    shine = rng.uniform(0.15, 0.5) * np.clip(facing / radius, 0, 1) ** 3
    wall = sharp(0, thick)
    floor = floor * (band * (1 - 0.3 * wall))[..., None]
    floor += (shine * (sharp(40, 190) + 0.7 * sharp(thick - 180, thick - 30)) + 0.05 * wall)[..., None]
    return floor.astype(np.float32), away < -220
