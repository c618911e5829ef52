"""The kinds of photo: sizes, scales, lamps, optics and the picture each makes of a placed scene."""

import above
import floors
import numpy as np
import waves
from camera import develop, field

SHAPES = {  # (width, height): products with the waves' margin are quick to transform
    "bright": [(1280, 960), (1376, 960), (1280, 1016)], "chamber": [(1280, 960), (1376, 960)],
    "wide": [(1280, 960), (1386, 1016)], "black": [(1440, 1080), (1600, 1200), (1280, 960)],
    "dark field": [(1280, 960)], "grey floor": [(1440, 1080), (1280, 960)], "white floor": [(1440, 1080), (1280, 960)],
    "dish": [(1600, 1200), (1512, 1512), (1728, 1296)], "sieve": [(1376, 1016), (1280, 960), (1440, 1080)],
}  # fmt: skip
SCALES = {
    "bright": (3.5, 6.0), "chamber": (4.0, 6.0), "wide": (10.6, 12.2), "black": (3.8, 6.5), "dark field": (3.8, 6.0),
    "grey floor": (4.0, 6.5), "white floor": (4.0, 6.5), "dish": (9.0, 11.5), "sieve": (9.0, 10.6),
}  # fmt: skip
KINDS = {
    "bright": 6, "chamber": 3, "wide": 2, "black": 4, "dark field": 2, "grey floor": 2, "white floor": 2, "dish": 4,
    "sieve": 5,
}  # fmt: skip


def _balance(rng):
    warm = rng.normal(0.01, 0.05)
    return np.array([1 + warm, 1 + rng.normal(0, 0.015), 1 - warm], np.float32)


def _camera(rng, poor, um):
    return {
        "blur": rng.uniform(0.35, 0.75) + (rng.uniform(0.3, 0.8) * min(1, 5 / um) if poor else 0),
        "sharpen": rng.uniform(0, 0.7),
        "noise": rng.uniform(0.004, 0.014) * (2 if poor else 1),
        "curve": rng.uniform(1.0, 1.25),
        "veil": rng.uniform(0, 0.05),
        "saturation": rng.uniform(0.8, 1.1),
    }


def _below(rng, kind, um, height, width, poor):
    """Light from below or from aslant past the objective: returns (floor, painter, light)."""
    shape = waves.padded_shape(height, width)
    if kind == "sieve":
        absorb, path, allowed = floors.mesh_below(rng, *shape, um)
    else:
        absorb, path, allowed = floors.glass(rng, *shape, um, ruled=kind == "chamber")
    allowed = waves.unpad(allowed, height, width)
    carried = min(1.0, 3.6 / um)
    aperture = (0.5 * 0.54 / um) * rng.uniform(0.62, 0.85)
    depth = rng.uniform(60, 220) * min(um / 4.5, 2)
    focus = rng.normal(0.2 * depth, 40) + (rng.choice([-1, 1]) * rng.uniform(80, 200) if poor else 0)
    turn = rng.uniform(0, 6.28)
    dark = kind == "dark field"
    how = "plain"
    if dark:
        directions = waves.ring(5, aperture * rng.uniform(1.18, 1.4), turn)
    else:
        how = rng.choice(["wide", "narrow", "oblique"], p=[0.5, 0.25, 0.25])
        if how == "wide":
            directions = waves.ring(4, aperture * rng.uniform(0.55, 0.75), turn)
        elif how == "narrow":
            directions = waves.ring(3, aperture * rng.uniform(0.2, 0.35), turn)
        else:
            directions = waves.ring(4, aperture * rng.uniform(0.6, 0.85), turn, arc=rng.uniform(1.6, 3.2))
    optics = waves.Optics(aperture, directions, focus, (0.0, depth), bend=carried, scattered=rng.uniform(0.18, 0.32))
    lamp = rng.choice(["LED", "halogen", "daylight", "light table"])
    balance = _balance(rng)

    def paint(bodies):
        made, turbid = waves.plates(
            bodies, height, width, 2, 0.06 if dark else optics.scattered, 0.05 if dark else 0.006, rng
        )
        # light that scatters in a body comes from all sides: the floor under it shows but faintly
        made[0][0][...] += absorb * (1 - (0.75 if kind == "sieve" else 0.3) * (1 - np.exp(-2 * turbid)))[..., None]
        made[0][1][...] += path
        picture = waves.unpad(waves.image(made, optics, um), height, width)
        if dark:
            bright = float(np.percentile(picture, 99.3))
            picture = picture * (rng.uniform(0.6, 0.95) / max(bright, 1e-4))
            picture += rng.uniform(0.002, 0.012)
        else:
            picture = picture * (rng.uniform(0.55, 0.92) / max(float(np.percentile(picture, 80)), 0.2))
        picture = picture * field(rng, height, width, rng.uniform(0.01, 0.07), rng.uniform(0.0, 0.12))
        return develop(rng, picture, balance=balance, **_camera(rng, poor, um))

    light = "dark field" if dark else f"{lamp}, transmitted"
    return allowed, paint, light, how if not dark else "dark field"


def _lamps(rng):
    """One gooseneck, two, a ring, or a window: (lamps, ambient)."""
    how = rng.choice(["one gooseneck", "two goosenecks", "ring", "window"], p=[0.3, 0.3, 0.25, 0.15])
    turn = rng.uniform(0, 6.28)
    count = {"one gooseneck": 1, "two goosenecks": 2, "ring": 7, "window": 1}[how]
    low = {"ring": rng.uniform(0.8, 1.0), "window": rng.uniform(0.6, 0.9)}.get(how, rng.uniform(0.55, 1.0))
    ambient = {"ring": 0.3, "window": 0.55}.get(how, rng.uniform(0.22, 0.4))
    sharp = {"window": 25.0, "ring": 320.0}.get(how, rng.uniform(60, 160))
    lamps = []
    for k in range(count):
        a = turn + 2 * np.pi * k / count + (rng.normal(0, 0.3) if how != "ring" else 0)
        h = low + rng.normal(0, 0.03)
        way = (float(np.cos(a) * np.cos(h)), float(np.sin(a) * np.cos(h)), float(np.sin(h)))
        strength = (1 - ambient) / np.sin(h) / count * rng.uniform(0.85, 1.15)
        lamps.append(above.Lamp(way, strength, sharp, tuple(1 + rng.normal(0, 0.02, 3))))
    return lamps, ambient, how


def _above(rng, kind, um, height, width, poor):
    """Light from above over a plain floor, a dish or a mesh."""
    lamps, ambient, how = _lamps(rng)
    if kind == "sieve":
        ground = "grey"
        floor, allowed = floors.mesh_above(rng, height, width, um, lamps, ambient)
    elif kind == "dish":
        ground = rng.choice(["white", "grey", "black"], p=[0.55, 0.2, 0.25])
        floor, allowed = floors.dish(rng, height, width, um, ground, rng.random() < 0.6)
    else:
        ground = {"black": "black", "grey floor": "grey", "white floor": "white"}[kind]
        floor, allowed = floors.plain(rng, height, width, um, ground), np.ones((height, width), bool)
    wet = rng.uniform(0.05, 0.3) * (0.4 if how == "window" else 1) if kind != "sieve" else rng.uniform(0.3, 0.8)
    heights = (rng.uniform(60, 110), rng.uniform(130, 380))
    blurs = (rng.uniform(0, 0.5) + (0.8 * 4.5 / um if poor else 0), rng.uniform(0.3, 1.6) * 4.5 / um)
    balance = _balance(rng)

    def paint(bodies):
        picture = above.image(bodies, floor, lamps, ambient, um, wet, blurs, heights)
        if ground == "white":
            gain = rng.uniform(0.85, 1.1)
        else:  # exposed for the animals, or a little below
            gain = rng.uniform(0.34, 0.66) / max(float(np.percentile(picture.max(2), 98.5)), 0.1)
        picture = picture * gain * field(rng, height, width, rng.uniform(0.02, 0.12), rng.uniform(0.0, 0.15))
        if kind == "dish" and rng.random() < 0.5:  # a lamp mirrored in the water
            y, x = np.ogrid[:height, :width]
            r = rng.uniform(25, 70)
            far = np.hypot(
                y - rng.uniform(0.1, 0.9) * height, (x - rng.uniform(0.1, 0.9) * width) * rng.uniform(0.6, 1)
            )
            picture += rng.uniform(0.08, 0.35) / (1 + np.exp((far - r) / (0.25 * r)))[..., None]
        return develop(rng, picture, balance=balance, **_camera(rng, poor, um))

    return allowed, paint, f"incident, on {ground}", how


def setting(rng, kind):
    """(um per px, height, width, allowed, painter, light, note) of a photo of a kind."""
    width, height = SHAPES[kind][rng.integers(len(SHAPES[kind]))]
    um = round(float(rng.uniform(*SCALES[kind])), 2)
    poor = rng.random() < 0.25
    from_below = kind in ("bright", "chamber", "wide", "dark field") or (kind == "sieve" and rng.random() < 0.45)
    allowed, paint, light, note = (_below if from_below else _above)(rng, kind, um, height, width, poor)
    return um, height, width, allowed, paint, light, f"{note}{', a bit poor' if poor else ''}"
