"""How a picture arises from bodies: light through them, upon them, or past them."""

import numpy as np
from scipy import ndimage


def overlap(body, shape):
    """Slices of the canvas and of the body's maps that coincide; None when apart."""
    h, w = body["alpha"].shape
    y0, x0 = max(body["y0"], 0), max(body["x0"], 0)
    y1, x1 = min(body["y0"] + h, shape[0]), min(body["x0"] + w, shape[1])
    if y1 <= y0 or x1 <= x0:
        return None
    canvas = (slice(y0, y1), slice(x0, x1))
    part = (slice(y0 - body["y0"], y1 - body["y0"]), slice(x0 - body["x0"], x1 - body["x0"]))
    return canvas, part


def refraction(body, aperture):
    """Share of light that steep phase slopes throw out of the lens."""
    g = (body["px"] ** 2 + body["py"] ** 2) / aperture**2
    return g / (1 + g)


def through(canvas, bodies, light):
    """Transmitted light: bodies absorb, and refract light out at their rims; in place."""
    lx, ly = light["oblique"] * np.cos(light["turn"]), light["oblique"] * np.sin(light["turn"])
    for body in bodies:
        hit = overlap(body, canvas.shape)
        if hit is None:
            continue
        where, part = hit
        lost = light["rim"] * refraction(body, light["aperture"])[part]
        slant = 1 + np.clip(lx * body["px"][part] + ly * body["py"][part], -0.5, 0.6)
        # Thick scattering bodies send part of the light elsewhere.
        haze = 1 - 0.22 * body["alpha"][part]
        canvas[where] *= body["trans"][part] * ((1 - lost) * slant * haze)[..., None]
        canvas[where] += light["stray"] * body["alpha"][part][..., None] * body["colour"][part]
    return canvas


def shade(body, part, light):
    """Lambert light with wrap, ring light and a fill: brightness of the surface, and glints."""
    lx, ly, lz = light["from"]
    nx, ny, nz = (body[k][part] for k in ("nx", "ny", "nz"))
    wrap = light["wrap"]
    lambert = np.clip((nx * lx + ny * ly + nz * lz + wrap) / (1 + wrap), 0, None)
    ring = light["ring"] * (0.5 + 0.5 * nz)
    half = np.array([lx, ly, lz + 1])
    half /= np.linalg.norm(half)
    glint = np.clip(nx * half[0] + ny * half[1] + nz * half[2], 0, 1) ** light["shine"]
    return light["fill"] + ring + light["key"] * lambert, light["spec"] * glint * body["gloss"][part]


def cast(canvas, body, light, um):
    """Darken what lies under a body by its shadow, with a brighter patch under clear walls."""
    if light["shadow"] <= 0:
        return
    lx, ly, lz = light["from"]
    lift = body["height"]
    dx, dy = -lx / lz * lift / um, -ly / lz * lift / um
    soft = max(0.8, light["soft"] * lift / um)
    pad = int(3 * soft) + 2
    block = np.pad((1 - body["trans"].mean(-1) * (1 - 0.6 * body["alpha"])) * body["cover"], pad)
    block = ndimage.gaussian_filter(block, soft)
    moved = {"alpha": block, "x0": body["x0"] - pad + round(dx), "y0": body["y0"] - pad + round(dy)}
    hit = overlap(moved, canvas.shape)
    if hit is None:
        return
    where, part = hit
    hollow = body["plan"]["stage"] == "shell"
    canvas[where] *= (1 - light["shadow"] * (0.5 if hollow else 1.0) * block[part])[..., None]
    if body["plan"]["stage"] in ("shell", "umbrella") and light["caustic"] > 0:
        focus = ndimage.gaussian_filter(block, 2.0 + soft)[part] ** 3
        canvas[where] *= (1 + light["caustic"] * focus)[..., None]


def upon(canvas, bodies, light, um):
    """Light from above: bodies in order of height, each over its own shadow; in place."""
    for body in bodies:
        cast(canvas, body, light, um)
        hit = overlap(body, canvas.shape)
        if hit is None:
            continue
        where, part = hit
        bright, glint = shade(body, part, light)
        alpha = body["alpha"][part][..., None]
        rim = light["edge"] * refraction(body, 1.2)[part]
        under = canvas[where] * body["trans"][part] ** 0.75 * (1 - 0.5 * light["rim"] * rim)[..., None]
        # Light that wanders inside the tissue fills its dark side with a warmer tone.
        inner = light["inner"] * body["colour"][part] ** 1.5
        lit = body["colour"][part] * bright[..., None] * light["lamp"] + inner
        skim = (rim * light["key"] * body["cover"][part])[..., None] * (0.3 + 0.7 * body["colour"][part])
        canvas[where] = under * (1 - alpha) + alpha * lit + skim + glint[..., None]
    return canvas


def past(canvas, bodies, light):
    """Dark field: only light turned aside by edges and tissue reaches the lens; in place."""
    lx, ly = np.cos(light["turn"]), np.sin(light["turn"])
    for body in bodies:
        hit = overlap(body, canvas.shape)
        if hit is None:
            continue
        where, part = hit
        g = refraction(body, light["aperture"])[part]
        lean = 1 + light["lean"] * np.clip(body["px"][part] * lx + body["py"][part] * ly, -0.8, 0.8)
        alpha, colour = body["alpha"][part][..., None], body["colour"][part]
        # Thick pigmented matter lets little of its scattered light out, save near its rim.
        escape = 0.35 * body["trans"][part] ** 0.4 + 0.12 + 0.3 * alpha**4
        glow = alpha * colour * escape * light["glow"]
        rim = (g * lean)[..., None] * (0.35 + 0.65 * body["trans"][part] ** 0.35) * light["rim"]
        rim = rim * (0.55 + 0.45 * colour / np.maximum(colour.max(-1, keepdims=True), 0.05))
        canvas[where] = canvas[where] * (1 - alpha) + (glow + rim) * light["lamp"]
    return canvas
