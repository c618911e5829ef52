"""Woven sieve cloth of steel or nylon, lit from above or from below."""

import numpy as np
from floors import clouds


def weave(rng, height, width, um_per_px, light):
    """Linear colours (h, w, 3) of the cloth and what shines through its openings."""
    opening, wire = np.float32(rng.uniform(100, 150)), np.float32(rng.uniform(52, 80))
    period = opening + wire
    steel = rng.random() < (0.3 if light.mode == "below" else 0.5)
    slow = [clouds(rng, height, width, max(height, width) / 6) for _ in range(2)]
    a = np.float32(np.radians(rng.normal(0, 14)))
    y, x = np.mgrid[:height, :width].astype(np.float32) * np.float32(um_per_px)
    u = (np.cos(a) * x + np.sin(a) * y + 14 * slow[0]) / period
    v = (-np.sin(a) * x + np.cos(a) * y + 14 * slow[1]) / period
    iu, iv = np.round(u), np.round(v)
    drift = rng.normal(0, 0.035, (2, 4096)).astype(np.float32)  # threads never lie at quite even distances
    du = (u - iu - drift[0][iu.astype(int) % 4096]) * period / (wire / 2)
    dv = (v - iv - drift[1][iv.astype(int) % 4096]) * period / (wire / 2)
    wave_u = np.cos(np.pi * v) * np.where(iu % 2 == 0, 1, -1)  # height of the thread that runs along v
    wave_v = -np.cos(np.pi * u) * np.where(iv % 2 == 0, 1, -1)
    on_u, on_v = (
        np.clip((1 - np.abs(du)) * wire / 2 / um_per_px + 0.5, 0, 1),
        np.clip((1 - np.abs(dv)) * wire / 2 / um_per_px + 0.5, 0, 1),
    )
    top_u = (wave_u >= wave_v).astype(np.float32)
    cu, cv = np.clip(1 - du**2, 0, 1), np.clip(1 - dv**2, 0, 1)
    if light.mode == "below":
        return _from_below(rng, on_u, on_v, cu, cv, top_u, steel)
    return _from_above(rng, light, (du, dv), (on_u, on_v), (cu, cv), (wave_u, wave_v), top_u, steel, a)


def _from_below(rng, on_u, on_v, cu, cv, top_u, steel):
    bright = np.array([0.66, 0.66, 0.66]) * rng.uniform(0.85, 1.05)
    if steel:
        thread = np.array([0.06, 0.06, 0.062]) * rng.uniform(0.6, 1.8)
        shade = np.maximum(on_u, on_v)[..., None]
        return (bright * (1 - shade) + thread * shade).astype(np.float32)

    # nylon is clear: each thread is a lens with a bright middle and dark edges
    def lens(on, c):
        return 1 - on * (1 - (0.16 + 0.62 * c**1.5))

    return (bright * (lens(on_u, cu) * lens(on_v, cv))[..., None]).astype(np.float32)


def _from_above(rng, light, d, on, c, wave, top_u, steel, angle):
    if steel:
        base, shine = np.array([0.30, 0.30, 0.31]) * rng.uniform(0.6, 1.2), 0.5
    else:
        base, shine = np.array([0.55, 0.56, 0.55]) * rng.uniform(0.7, 1.1), 0.12
    under = (
        np.array([0.02, 0.02, 0.022]) * rng.uniform(0.4, 1.6) if rng.random() < 0.7 else np.array([0.22, 0.22, 0.21])
    )
    to = light.toward
    along = np.array([np.cos(angle) * to[0] + np.sin(angle) * to[1], -np.sin(angle) * to[0] + np.cos(angle) * to[1]])
    faces = []
    for k in (0, 1):
        nx, nz = np.clip(d[k], -1, 1), np.sqrt(c[k])
        slope = nx * along[k] + nz * to[2]
        lit = 0.35 + 0.65 * np.clip(slope, 0, 1)
        glint = shine * np.exp(-(((nx - 0.5 * along[k]) / 0.28) ** 2)) * (0.5 + 0.5 * wave[k])
        faces.append(lit * (0.72 + 0.28 * wave[k]) + glint)
    thread = np.where(top_u * (on[0] > 0.5) + (on[1] <= 0.5) > 0.5, faces[0], faces[1])
    shade = np.maximum(on[0], on[1])[..., None]
    lamp = light.lamp + light.ambient
    return ((base * thread[..., None] * shade + under * (1 - shade)) * lamp).astype(np.float32)
