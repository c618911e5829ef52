"""What the bodies lie on: lit fields, ruled chambers, floors, dishes and meshes.

Each maker returns (image in linear light, open ground as a bool array or None).
"""

import numpy as np
from canvas import linear
from noise import fractal, window
from PIL import Image, ImageDraw
from scipy import ndimage


def _field(rng, shape, spread=0.06):
    """Uneven lighting: a slope and a broad bump, about 1."""
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    x, y = x / shape[1] - 0.5, y / shape[0] - 0.5
    slope = rng.normal(0, spread, 2)
    cx, cy = rng.normal(0, 0.15, 2)
    bump = rng.uniform(0, 2.5 * spread) * ((x - cx) ** 2 + (y - cy) ** 2) * 2
    return (1 + slope[0] * x * 2 + slope[1] * y * 2 - bump).astype(np.float32)


def _colour(rng, *names):
    """Colour of a lamp, one of the names or any."""
    lamps = {
        "warm": (0.95, 0.88, 0.74),
        "neutral": (0.90, 0.90, 0.89),
        "cool": (0.82, 0.88, 0.95),
        "green": (0.84, 0.91, 0.82),
        "blue": (0.70, 0.80, 0.94),
        "pinkish": (0.93, 0.85, 0.86),
    }
    return linear(*lamps[rng.choice(names or list(lamps))])


def lamp(rng, shape, um_px, look, round_field=None):
    """Transmitted light, with or without the round edge of an eyepiece."""
    image = _colour(rng)[None, None] * (rng.uniform(0.7, 1.0) * _field(rng, shape, 0.09))[..., None]
    haze = fractal(rng, shape, rng.uniform(60, 200), 4)
    image = image * (1 - 0.02 * rng.uniform(0, 1.6) * np.clip(haze + 1, 0, 3))[..., None]
    if round_field is None:
        round_field = rng.random() < 0.4
    if not round_field:
        return image, None
    h, w = shape
    y, x = np.mgrid[:h, :w].astype(np.float32)
    radius = rng.uniform(0.52, 0.62) * w
    cx, cy = w / 2 + rng.normal(0, 0.03 * w), h / 2 + rng.normal(0, 0.03 * h)
    far = radius - np.hypot(x - cx, y - cy)
    soft = rng.uniform(2, 14)
    edge = 1 / (1 + np.exp(-np.clip(far / soft, -30, 30)))
    fall = 1 - 0.25 * np.clip(1 - far / (0.45 * radius), 0, 1) ** 2
    fringe = np.exp(-((far / (soft + 3)) ** 2))[..., None] * linear(0.15, 0.3, 0.55) * 0.3
    image = image * (edge * fall)[..., None] + fringe * edge[..., None] + 0.004
    return image, far > 2 * soft


def chamber(rng, shape, um_px, look):
    """Transmitted light through a ruled counting chamber."""
    image, _ = lamp(rng, shape, um_px, look, False)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    angle = rng.normal(0, 0.06)
    u = x * np.cos(angle) + y * np.sin(angle)
    v = y * np.cos(angle) - x * np.sin(angle)
    step = rng.choice((500, 1000, 1000, 2000)) / um_px
    wide = rng.uniform(9, 22) / um_px
    ink = rng.uniform(0.35, 0.9)
    bright = rng.random() < 0.2
    double = rng.random() < 0.4
    lines = np.zeros(shape, np.float32)
    for axis, only in ((u, False), (v, rng.random() < 0.25)):
        if only:
            continue
        off = rng.uniform(0, step)
        for shift in (0, 4.0 * wide) if double else (0,):
            d = np.abs((axis - off - shift + step / 2) % step - step / 2)
            lines = np.maximum(lines, np.clip((wide / 2 - d) + 0.5, 0, 1))
    worn = np.clip(1 + 0.3 * window("cloud", rng, shape, 0.7), 0.2, 1.4)
    lines = ndimage.gaussian_filter(lines * worn, rng.uniform(0.4, 1.2))
    image = image * (1 + (0.25 if bright else -ink) * lines)[..., None]
    return image, None


def _specks(rng, shape, n, size, gain):
    """Small blurred points (dust on a floor)."""
    dots = np.zeros(shape, np.float32)
    rows, cols = rng.integers(0, shape[0], n), rng.integers(0, shape[1], n)
    dots[rows, cols] = rng.exponential(1.0, n)
    return gain * ndimage.gaussian_filter(dots, size) * 2 * np.pi * size**2


def _scratches(rng, shape, n):
    """Fine straight scratches."""
    sheet = Image.new("L", shape[::-1])
    pen = ImageDraw.Draw(sheet)
    for _ in range(n):
        x, y = rng.uniform(0, shape[1]), rng.uniform(0, shape[0])
        aim, long = rng.uniform(0, 6.3), rng.uniform(60, 600)
        end = (x + long * np.cos(aim), y + long * np.sin(aim))
        pen.line([(x, y), end], fill=int(rng.uniform(40, 200)), width=1)
    return ndimage.gaussian_filter(np.asarray(sheet, np.float32) / 255, 0.7)


def black(rng, shape, um_px, look):
    """Black floor lit from above."""
    base = linear(*(np.array((0.14, 0.14, 0.15)) * rng.uniform(0.5, 1.7) + rng.normal(0, 0.01, 3)).clip(0.02, 1))
    tone = _field(rng, shape, 0.25) * (1 + 0.12 * fractal(rng, shape, 50, 5))
    image = base * np.clip(tone, 0.2, 3)[..., None]
    image = image + _specks(rng, shape, rng.integers(50, 500), 0.7, 0.03)[..., None]
    image = image + 0.05 * _scratches(rng, shape, rng.integers(0, 14))[..., None]
    return image, None


def dark_field(rng, shape, um_px, look):
    """Dark field: nearly black, faintly blue, with stray glow and bright dust."""
    base = linear(*rng.choice([(0.06, 0.08, 0.13), (0.08, 0.08, 0.09), (0.12, 0.10, 0.08)]))
    glow = np.clip(_field(rng, shape, 0.4) + 0.25 * fractal(rng, shape, 160, 3), 0.1, 3)
    image = base * glow[..., None] * rng.uniform(0.6, 2.0)
    image = image + _specks(rng, shape, rng.integers(100, 900), 0.6, 0.07)[..., None]
    return image, None


def plain(colour):
    """Maker of a grey or white floor lit from above."""

    def make(rng, shape, um_px, look):
        if colour == "grey":
            base = linear(*(rng.uniform(0.42, 0.62) + rng.normal(0, 0.015, 3)))
        else:
            base = linear(*(rng.uniform(0.86, 0.96) + rng.normal(0, 0.015, 3)))
        grainy = 0.02 * fractal(rng, shape, 40, 5) + 0.02 * window("cloud", rng, shape, 0.5)
        image = base * (_field(rng, shape, 0.12) * (1 + rng.uniform(0.3, 1.2) * grainy))[..., None]
        image = image * (1 - 0.12 * _scratches(rng, shape, rng.integers(0, 12)))[..., None]
        return image, None

    return make


def dish(rng, shape, um_px, look):
    """Dish from above with a part of its rim in view."""
    colour = look["floor"]
    maker = {"black": black, "grey": plain("grey"), "white": plain("white")}[colour]
    image, _ = maker(rng, shape, um_px, look)
    h, w = shape
    radius = rng.uniform(14000, 19000) / um_px
    aim = rng.uniform(0, 6.3)
    reach = rng.uniform(0.30, 0.46) * (w * abs(np.cos(aim)) + h * abs(np.sin(aim)))
    cx = w / 2 - (radius - reach) * np.cos(aim)
    cy = h / 2 - (radius - reach) * np.sin(aim)
    y, x = np.mgrid[:h, :w].astype(np.float32)
    far = np.hypot(x - cx, y - cy) - radius  # positive outside the wall
    wall = rng.uniform(900, 1500) / um_px
    table = linear(*rng.choice([(0.35, 0.30, 0.26), (0.7, 0.7, 0.68), (0.2, 0.21, 0.23)]))
    wood = np.clip(1 + 0.15 * fractal(rng, shape, 90, 5), 0.4, 1.8)
    outside = table * wood[..., None]
    glass = 0.55 * outside + 0.35 * image + 0.03
    for at, wide, gain in ((0.05, 0.05, 0.5), (0.3, 0.12, -0.4), (0.55, 0.04, 0.9), (0.95, 0.06, -0.5)):
        band = np.exp(-(((far / wall - at) / wide) ** 2))
        sweep = 0.6 + 0.4 * np.cos(np.arctan2(y - cy, x - cx) * rng.integers(2, 9) + rng.uniform(0, 6))
        glass = glass + (gain * band * sweep * 0.3)[..., None] if gain > 0 else glass * (1 + gain * band)[..., None]
    meniscus = np.exp(-((np.minimum(far, 0) / (0.35 * wall)) ** 2))[..., None]
    image = image * (1 - 0.35 * meniscus)
    inner = np.clip(far + 0.5, 0, 1)[..., None]
    outer = np.clip(far - wall + 0.5, 0, 1)[..., None]
    image = image * (1 - inner) + glass * (inner - outer) + outside * outer
    return np.clip(image, 0.002, None), far < -0.12 * wall


def sieve(rng, shape, um_px, look):
    """Woven mesh, wet; lit from below or from above."""
    opening, wire = rng.uniform(100, 150), rng.uniform(60, 100)
    pitch, half = (opening + wire) / um_px, wire / 2 / um_px
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    y = y + 1.2 * fractal(rng, shape, 250, 2)
    x = x + 1.2 * fractal(rng, shape, 250, 2)
    angle = rng.uniform(-0.5, 0.5)
    u = (x * np.cos(angle) + y * np.sin(angle)) / pitch
    v = (y * np.cos(angle) - x * np.sin(angle)) / pitch
    wires = [_wires(u, v, half / pitch, 0.0), _wires(v, u, half / pitch, 1.0)]
    over = wires[0][1] > wires[1][1]
    cover = np.maximum(wires[0][0], wires[1][0])
    tall = np.where(over, wires[0][1], wires[1][1])
    across = np.where(over, wires[0][2], wires[1][2])
    light = np.where(over, np.cos(look["sun"] - angle), np.sin(look["sun"] - angle))
    look["wires"] = ndimage.gaussian_filter(cover, 1.5)
    cell = (np.floor(u).astype(int) * 73 + np.floor(v).astype(int) * 151) % 997
    film = rng.random(997).astype(np.float32)[cell]
    fu, fv = u - np.floor(u) - 0.5, v - np.floor(v) - 0.5
    glint = np.exp(
        -(
            (fu - 0.16 * np.cos(look["sun"]) + 0.3 * (film - 0.85)) ** 2 / 0.012
            + (fv - 0.16 * np.sin(look["sun"])) ** 2 / 0.004
        )
    )
    if look["mode"] == "both":
        image = _mesh_below(rng, shape, cover, tall, across, film, fu, fv)
    else:
        image = _mesh_above(rng, shape, cover, tall, across * light, film, glint)
    # Drawn at the photo's own resolution, so soften the steps where wires cross.
    return ndimage.gaussian_filter(image, (0.65, 0.65, 0)), None


def _wires(u, v, half, phase):
    """Coverage, height and place across (-1 to 1) of the wires of one direction."""
    k = np.round(u)
    d = (u - k) / half
    cover = np.clip((1 - np.abs(d)) * 4, 0, 1)
    wave = np.cos(np.pi * (v + k + phase))
    tall = np.where(np.abs(d) < 1, np.sqrt(np.clip(1 - d * d, 0, 1)) + 0.9 * wave, -9.0)
    return cover.astype(np.float32), tall.astype(np.float32), np.clip(d, -1, 1).astype(np.float32)


def _mesh_below(rng, shape, cover, tall, across, film, fu, fv):
    """Mesh before a lamp: bright openings, dark or glassy wires, films of water."""
    lamp_light = _colour(rng, "warm", "neutral", "cool") * rng.uniform(0.6, 0.95)
    bright = _field(rng, shape, 0.12)
    ring = np.exp(-(((np.hypot(fu, fv) - 0.3) / 0.07) ** 2))
    bright = bright * (1 - 0.35 * ring * (film > 0.6)) * (0.92 + 0.08 * film)
    nylon = rng.random() < 0.5
    steel = linear(*((0.62, 0.60, 0.52) if nylon else (0.30, 0.30, 0.32)))
    round_wire = 0.5 + 0.3 * np.clip(tall, 0, 1.9) / 1.9 + (0.35 if nylon else -0.1) * (1 - np.abs(across))
    wire = steel * np.clip(round_wire, 0.1, 2)[..., None]
    return lamp_light * bright[..., None] * (1 - cover[..., None]) + wire * cover[..., None]


def _mesh_above(rng, shape, cover, tall, facing, film, glint):
    """Mesh over a dark tray: shining wires, glints of water in some openings."""
    tray = linear(*(rng.choice((0.08, 0.14, 0.3)) + rng.normal(0, 0.01, 3)).clip(0.03, 1))
    field = _field(rng, shape, 0.2)
    floor = tray * (field * (1 + 0.2 * fractal(rng, shape, 80, 3))).clip(0.3, 2)[..., None]
    tint = linear(*rng.choice([(0.55, 0.56, 0.58), (0.62, 0.60, 0.55), (0.72, 0.72, 0.70), (0.60, 0.50, 0.38)]))
    shade = 0.35 + 0.28 * np.clip(tall, -0.5, 1.9) / 1.9 + 0.22 * facing
    wire = tint * np.clip(shade * field, 0.05, 2)[..., None]
    shine = np.exp(-(((facing - 0.45) / 0.14) ** 2)) * np.clip(tall, 0, 1.9) / 1.9
    wire = wire + (rng.uniform(0.15, 0.6) * shine)[..., None]
    image = floor * (1 - cover[..., None]) + wire * cover[..., None]
    wet = np.clip(fractal(rng, shape, 220, 3) - 0.5, 0, 2)
    image = image + (0.8 * film * glint * (film > 0.8) * (1 - cover) * field)[..., None]
    return image + (0.05 * wet * rng.uniform(0, 1.5))[..., None]


FLOORS = {
    "bright": lamp,
    "wide": lamp,
    "chamber": chamber,
    "black": black,
    "dark": dark_field,
    "grey": plain("grey"),
    "white": plain("white"),
    "dish": dish,
    "sieve": sieve,
}
