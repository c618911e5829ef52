"""What lies behind the bodies: lamp field, ruled chamber, floors, dish and woven sieve."""

import numpy as np
from scipy import ndimage


def grid(scene):
    """Pixel centres in micrometres: (x as a row, y as a column)."""
    um = scene["um"]
    return (
        ((np.arange(scene["w"]) + 0.5) * um).astype(np.float32)[None],
        ((np.arange(scene["h"]) + 0.5) * um).astype(np.float32)[:, None],
    )


def cloud(rng, shape, cells):
    """Smooth noise of mean 0 and about unit spread, `cells` bumps from top to bottom."""
    coarse = rng.normal(size=(cells + 3, int(cells * shape[1] / shape[0]) + 3)).astype(np.float32)
    if cells < 20:
        # Curved interpolation on a small grid, then straight: as smooth and much faster.
        coarse = ndimage.zoom(coarse, 6, order=3)[3:-3, 3:-3]
    y = np.linspace(0.5, coarse.shape[0] - 1.5, shape[0], dtype=np.float32)
    x = np.linspace(0.5, coarse.shape[1] - 1.5, shape[1], dtype=np.float32)
    j, i = y.astype(int), x.astype(int)
    fy, fx = (y - j)[:, None], x - i
    rows = coarse[j] * (1 - fy) + coarse[j + 1] * fy
    return rows[:, i] * (1 - fx) + rows[:, i + 1] * fx


def falloff(rng, scene, strength):
    """Uneven lamp: brighter in one place, darker towards the corners, and a slope."""
    x, y = grid(scene)
    w, h = scene["w"] * scene["um"], scene["h"] * scene["um"]
    cx, cy = rng.normal(0.5, 0.15, 2)
    slope = rng.normal(0, strength * 0.5, 2)
    u, v = x / w - cx, (y / h - cy) * h / w
    return (1 - strength * 1.6 * (u * u + v * v) + slope[0] * u + slope[1] * v).astype(np.float32)


def lamp_floor(rng, scene):
    """The bright field of a transmitted lamp with its colour."""
    field = falloff(rng, scene, scene["uneven"])
    return field[..., None] * np.asarray(scene["lamp"], np.float32)


def rule(canvas, rng, scene):
    """Lines of a counting chamber: engraved, thin, in single, double or triple bands."""
    x, y = grid(scene)
    tilt = rng.normal(0, 0.06) + rng.choice([0, 0, 0.4])
    u, v = x * np.cos(tilt) + y * np.sin(tilt), y * np.cos(tilt) - x * np.sin(tilt)
    pitch = rng.choice([500.0, 1000.0, 1000.0, 1500.0])
    bands = rng.choice([1, 1, 2, 3])
    wide, gap = rng.uniform(7, 14), rng.uniform(28, 45)
    deep, blur = rng.uniform(0.3, 0.65), scene["um"] * 0.8
    start = rng.uniform(0, pitch, 2)
    for axis, along in enumerate((u, v)):
        off = (along - start[axis]) % pitch
        line = np.zeros(canvas.shape[:2], np.float32)
        for k in range(bands):
            d = np.abs(off - pitch / 2 - (k - (bands - 1) / 2) * gap)
            # A groove refracts: dark flanks and, in a wide groove, a light middle.
            line = np.maximum(line, np.clip((wide - d) / blur, 0, 1) - 0.35 * np.clip((wide * 0.35 - d) / blur, 0, 1))
        canvas *= (1 - deep * line)[..., None]
    return canvas


def specks(canvas, rng, um, count, sign, sizes=(5, 22)):
    """Fine dirt below countable size: dust on glass, cells, crumbs; sign -1 dark, +1 light."""
    h, w = canvas.shape[:2]
    layer = np.zeros((h, w), np.float32)
    for _ in range(count):
        r = max(rng.uniform(*sizes) / um / 2, 0.4)
        cx, cy, n = rng.uniform(0, w), rng.uniform(0, h), int(3 * r) + 2
        x0, y0 = int(cx) - n, int(cy) - n
        ys = slice(max(y0, 0), min(y0 + 2 * n, h))
        xs = slice(max(x0, 0), min(x0 + 2 * n, w))
        dy = np.arange(ys.start, ys.stop)[:, None] + 0.5 - cy
        dx = np.arange(xs.start, xs.stop)[None] + 0.5 - cx
        layer[ys, xs] += rng.uniform(0.2, 0.9) * np.exp(-(dx**2 + dy**2 * rng.uniform(0.5, 2)) / r**2)
    layer = np.clip(layer, 0, 1)[..., None]
    if sign < 0:
        canvas *= 1 - 0.75 * layer
    else:
        canvas += 0.35 * layer * np.array([1, 0.97, 0.9], np.float32)
    return canvas


def scratches(canvas, rng, count, gain):
    """Straight or slightly bent scratches on glass or plastic."""
    h, w = canvas.shape[:2]
    for _ in range(count):
        turn, long = rng.uniform(0, np.pi), rng.uniform(0.1, 0.6) * w
        t = np.linspace(-0.5, 0.5, int(long * 2))
        x = rng.uniform(0, w) + long * t * np.cos(turn) + rng.normal(0, 20) * t * t
        y = rng.uniform(0, h) + long * t * np.sin(turn) + rng.normal(0, 20) * t * t
        ok = (x >= 0) & (x < w) & (y >= 0) & (y < h)
        canvas[y[ok].astype(int), x[ok].astype(int)] *= 1 + gain * rng.uniform(0.3, 1)
    return canvas


def haze(canvas, rng, strength):
    """Bacterial haze: fine grain of low contrast in clouds."""
    h, w = canvas.shape[:2]
    grain = ndimage.gaussian_filter(rng.normal(size=(h, w)).astype(np.float32), 0.9)
    patch = np.clip(0.5 + 0.6 * cloud(rng, (h, w), 4), 0, 2)
    canvas *= (1 + strength * grain * patch)[..., None]
    return canvas


def plain_floor(rng, scene):
    """An even floor seen from above: colour, unevenness and a little texture."""
    field = falloff(rng, scene, scene["uneven"])
    field = field * (1 + scene["texture"] * cloud(rng, field.shape, int(rng.integers(30, 120))))
    return field[..., None] * np.asarray(scene["floor"], np.float32)


def dish(canvas, rng, scene):
    """A dish rim across the picture: wall with light and dark arcs, the table beyond.

    Returns the canvas and the mask of the inside.
    """
    cx, cy, radius = scene["rim_um"]
    x, y = grid(scene)
    out = np.hypot(x - cx, y - cy) - radius
    turn = np.arctan2(y - cy, x - cx)
    wall = rng.uniform(700, 1300)
    table = np.array([0.5, 0.47, 0.43], np.float32) * rng.uniform(0.15, 1.5)
    face = rng.uniform(0.25, 0.6) * (1 + 0.4 * np.cos(turn - rng.uniform(0, 6.3)))
    beyond = np.where((out > wall)[..., None], table, (canvas * 0.55 + 0.3 * face[..., None]))
    for at, deep, wide in (
        (0, -0.6, 25),
        (wall * 0.2, 0.7, 45),
        (wall * 0.55, -0.35, 90),
        (wall * 0.8, 0.5, 35),
        (wall, -0.6, 40),
    ):
        bend = 1 + deep * np.exp(-(((out - at) / wide) ** 2)) * (0.6 + 0.4 * np.cos(turn * 2 + at))
        beyond = beyond * bend[..., None]
    soft = np.clip(out / (2 * scene["um"]) + 0.5, 0, 1)[..., None]
    # The water climbs the wall: the floor darkens or brightens just inside.
    climb = 1 + rng.uniform(-0.35, 0.3) * np.exp(np.minimum(out, 0) / 260)
    return (canvas * climb[..., None] * (1 - soft) + beyond * soft).astype(np.float32), out < 0


def weave(rng, scene):
    """Woven sieve: wires over and under each other: coverage, normal across and along, cells."""
    x, y = grid(scene)
    opening, wire = scene["opening_um"], scene["wire_um"]
    pitch, r, um = opening + wire, wire / 2, scene["um"]
    tilt = rng.uniform(-0.8, 0.8)
    u, v = x * np.cos(tilt) + y * np.sin(tilt), y * np.cos(tilt) - x * np.sin(tilt)
    u = u + 0.05 * pitch * cloud(rng, u.shape, 5)
    v = v + 0.05 * pitch * cloud(rng, u.shape, 5)
    layers = []
    for across, along, sign in ((u, v, 1.0), (v, u, -1.0)):
        number = np.round(across / pitch)
        d = across - number * pitch
        swing = sign * np.cos(np.pi * (along / pitch + number))
        half = np.sqrt(np.clip(r * r - d * d, 0, None))
        layers.append(
            {
                "cover": np.clip((r - np.abs(d)) / um + 0.5, 0, 1),
                "n": np.clip(d / r, -1, 1),
                "z": np.where(np.abs(d) < r + um / 2, swing * r * 0.9 + half, -1e3),
                "slope": -sign * np.sin(np.pi * (along / pitch + number)) * 0.5,
            }
        )
    iu, iv = np.floor(u / pitch), np.floor(v / pitch)
    cell = (iu.astype(int) * 7919 + iv.astype(int) * 104729) % 4096
    return layers, (cell, u / pitch - iu - 0.5, v / pitch - iv - 0.5), tilt


def water(rng, scene, cell, cu, cv):
    """Brightness of the openings: each holds its own film, which bends light like a small lens."""
    film = rng.uniform(0.8, 1.08, 4096).astype(np.float32)
    film[rng.random(4096) < 0.05] = rng.uniform(0.35, 0.8)
    turn, power = rng.uniform(0, 6.3), rng.uniform(0.1, 0.9)
    lens = (rng.random(4096) < rng.uniform(0.1, 0.9)) * rng.uniform(0.2, 1, 4096) * power
    lens = lens.astype(np.float32)[cell]
    lean = 1 + lens * (cu * np.cos(turn) + cv * np.sin(turn)) - 0.9 * lens * (cu**2 + cv**2)
    if scene["below"]:
        return 0.9 * film[cell] * lean
    hole = scene["hole"] * film[cell] * (1 + 2 * (lean - 1))
    # Some films mirror the lamp, each from a spot of its own.
    at = rng.uniform(-0.25, 0.25, (2, 4096)).astype(np.float32)
    spot = np.exp(-((cu - at[0][cell]) ** 2 + (cv - at[1][cell]) ** 2) / rng.uniform(0.01, 0.06))
    mirrors = (rng.random(4096) < scene["mirror"]) * rng.uniform(0.2, 0.8, 4096)
    return hole + mirrors.astype(np.float32)[cell] * spot


def sieve_floor(rng, scene):
    """Picture of the wet mesh alone, lit from below or from above."""
    layers, cell, tilt = weave(rng, scene)
    below = scene["below"]
    light = np.asarray(scene["lamp"], np.float32)
    hole = water(rng, scene, *cell)
    out = (falloff(rng, scene, 0.2) * hole)[..., None] * light
    lamp_turn = rng.uniform(0, 2 * np.pi)
    metal = np.asarray(scene["metal"], np.float32)
    shine = 0.14 if below else 1.0
    order = layers[0]["z"] > layers[1]["z"]
    for first in (False, True):
        for k, layer in enumerate(layers):
            on = order if k == 0 else ~order
            cover = layer["cover"] * (on == first)
            toward = layer["n"] * np.cos(lamp_turn - tilt - k * np.pi / 2) + layer["slope"] * np.sin(
                lamp_turn - tilt - k * np.pi / 2
            )
            up = np.sqrt(np.clip(1 - layer["n"] ** 2, 0, 1))
            bright = 0.12 + 0.55 * np.clip(0.5 * toward + 0.6 * up, 0, 1)
            glint = scene["glint"] * np.clip(0.6 * toward + 0.8 * up - 0.55 * np.abs(layer["slope"]), 0, 1) ** 18
            tone = (shine * (bright[..., None] * metal + glint[..., None])).astype(np.float32)
            out = out * (1 - cover[..., None]) + tone * cover[..., None]
    return out.astype(np.float32)


def glare(canvas, rng):
    """The water surface mirrors a lamp or a window: one soft bright patch, partly burnt out."""
    h, w = canvas.shape[:2]
    cx, cy, turn = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0, np.pi)
    x, y = np.arange(w, dtype=np.float32)[None] - cx, np.arange(h, dtype=np.float32)[:, None] - cy
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    long, wide = rng.uniform(40, 170), rng.uniform(15, 60)
    patch = np.exp(-np.clip(((u / long) ** 2 + (v / wide) ** 2) ** rng.uniform(0.5, 1.5), 0, 30))
    level = np.percentile(canvas[::9, ::9], 98)
    return canvas + np.float32(rng.uniform(0.1, 0.5) * level) * patch[..., None]


def wet(canvas, rng, scene, count):
    """Glare of water standing on the mesh: small burnt-out patches with soft tails."""
    h, w = canvas.shape[:2]
    spots = np.zeros((h, w), np.float32)
    for _ in range(count):
        cx, cy = rng.uniform(0, w), rng.uniform(0, h)
        for _ in range(int(rng.integers(1, 5))):
            x, y = (int(cx + rng.normal(0, 60 / scene["um"])), int(cy + rng.normal(0, 60 / scene["um"])))
            if 0 <= x < w and 0 <= y < h:
                spots[y, x] += rng.uniform(0.3, 1)
    small = ndimage.gaussian_filter(spots, 14 / scene["um"])
    small = np.clip(small / (small.max() + 1e-6) * 2.2 - 0.25, 0, 1)
    canvas += (0.75 * small + 0.08 * ndimage.gaussian_filter(small, 60 / scene["um"]))[..., None]
    return canvas
