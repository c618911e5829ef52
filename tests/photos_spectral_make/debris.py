"""What else lies in the water: fibres, grains, bubbles, flecks, algae and other small animals. CC0."""

import math

import numpy as np
from canvas import Canvas, noise, profile, spline
from scipy import ndimage

ALL = (slice(None), slice(None))


def draw_debris(form, um_per_px, shift_px, rng):
    """Draw one piece of dirt or a bystander; returns the sheet and its size in um."""
    return {"fibre": _fibre, "salt": _salt, "bubble": _bubble, "fleck": _fleck, "sand": _sand, "algae": _algae,
            "rotifer": _rotifer, "copepod": _copepod, "ciliate": _ciliate}[form](um_per_px, shift_px, rng)  # fmt: skip


def _fibre(um_per_px, shift_px, rng):
    length = rng.uniform(250, 1500)
    half = rng.uniform(5, 11)
    points, at, angle = [], np.zeros(2), rng.uniform(0, 6.3)
    for _ in range(7):
        points.append(at)
        angle += rng.normal(0, 0.5)
        at = at + length / 6 * np.array([np.cos(angle), np.sin(angle)])
    points = np.array(points) - np.mean(points, axis=0)
    canvas = Canvas(np.abs(points).max() + 40, um_per_px, shift_px)
    laid = canvas.sweep(spline(points, 80), half * (1 + 0.15 * rng.standard_normal(12)))
    dye = rng.choice(["blue", "red", "soot", "gut", "none"], p=[0.25, 0.12, 0.2, 0.13, 0.3])
    if dye != "none":
        canvas.add(dye, laid.window, rng.uniform(0.5, 1.6) * laid.round)
    wall = (np.abs(laid.across_um) / laid.half_um) ** 3 * laid.cover
    canvas.add("edge", laid.window, 0.7 * wall)
    canvas.add("scatter", laid.window, 0.5 * laid.cover)
    canvas.draw_into_outline(laid.window, laid.cover)
    canvas.raise_to(laid.window, laid.thick_um)
    return canvas, length


def _stone(canvas, radius, corners, rng, sharp):
    """Cover and height of a faceted grain."""
    x, y = canvas.grid()
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.normal(0, 0.35, corners)
    reach, steep = radius * rng.uniform(0.5, 0.95, corners), rng.uniform(0.35, 1.3, corners)
    depth = np.full(canvas.shape, 1e9, np.float32)
    height = np.full(canvas.shape, radius * sharp, np.float32)
    for a, r, k in zip(turn.tolist(), reach.tolist(), steep.tolist()):
        away = r - x * math.cos(a) - y * math.sin(a)
        depth, height = np.minimum(depth, away), np.minimum(height, k * away)
    depth = np.minimum(depth, radius * 1.02 - np.hypot(x, y) + 5 * noise(rng, canvas.shape, 12 / canvas.step_um))
    cover = np.clip(depth / canvas.step_um + 0.5, 0, 1)
    return cover, np.maximum(depth, 0), np.clip(height, 0, None)


def _salt(um_per_px, shift_px, rng):
    size = rng.uniform(35, 130)
    canvas = Canvas(size * 1.6, um_per_px, shift_px)
    x, y = canvas.grid()
    a, b, turn = size, size * rng.uniform(0.6, 1.0), rng.uniform(0, np.pi)
    c, s = np.cos(turn), np.sin(turn)
    u, v = np.abs(c * x + s * y), np.abs(c * y - s * x)
    depth = np.minimum(np.minimum(a - u, b - v), 1.22 * size - (u + v) * 0.72)
    cover = np.clip(depth / canvas.step_um + 0.5, 0, 1)
    steps = np.floor(np.clip(depth, 0, None) / (0.3 * b)) % 2
    canvas.add("edge", ALL, cover * (1.3 * np.exp(-depth / 7) + 0.12 * steps + 0.05))
    canvas.add("scatter", ALL, cover * (0.5 * np.exp(-depth / 9) + 0.12))
    canvas.draw_into_outline(ALL, cover)
    canvas.raise_to(ALL, np.clip(depth * 2, 0, size) * cover)
    return canvas, 2 * size


def _bubble(um_per_px, shift_px, rng):
    radius = rng.uniform(30, 190)
    canvas = Canvas(radius * 1.2, um_per_px, shift_px)
    x, y = canvas.grid()
    rho = np.hypot(x, y) / radius
    cover = np.clip((1 - rho) * radius / canvas.step_um + 0.5, 0, 1)
    # total reflection beyond a limit angle: a black ring around a clear window
    ring = np.clip((rho - rng.uniform(0.5, 0.72)) / 0.16, 0, 1) * cover
    canvas.add("edge", ALL, 3.2 * ring * (1 - 0.5 * np.exp(-(((rho - 0.93) / 0.02) ** 2))))
    canvas.maps["clear"] = cover
    canvas.draw_into_outline(ALL, cover)
    canvas.raise_to(ALL, 2 * radius * np.sqrt(np.clip(1 - rho**2, 0, 1)))
    return canvas, 2 * radius


def _fleck(um_per_px, shift_px, rng):
    radius = rng.uniform(25, 110)
    canvas = Canvas(radius * 2.0, um_per_px, shift_px)
    x, y = canvas.grid()
    turn = rng.uniform(0, np.pi)
    c, s = np.cos(turn), np.sin(turn)
    field = 1 - ((c * x + s * y) / radius) ** 2 - ((c * y - s * x) / (radius * rng.uniform(0.45, 0.9))) ** 2
    field = field + 0.55 * noise(rng, canvas.shape, 0.5 * radius / canvas.step_um)
    cover = np.clip(field * 5, 0, 1)
    cover = cover * np.clip((1.9 * radius - np.hypot(x, y)) / 10, 0, 1)
    grain = np.clip(1 + 0.5 * noise(rng, canvas.shape, 8 / canvas.step_um), 0.1, 3)
    canvas.add("soot", ALL, cover * grain * rng.uniform(0.4, 1.8))
    canvas.add("gut", ALL, cover * grain * rng.uniform(0, 1.4))
    canvas.add("scatter", ALL, cover * grain * rng.uniform(0.3, 1.2))
    canvas.draw_into_outline(ALL, (cover > 0.4).astype(np.float32))
    canvas.raise_to(ALL, cover * 30 * grain)
    return canvas, 2 * radius


def _sand(um_per_px, shift_px, rng):
    radius = rng.uniform(50, 160)
    canvas = Canvas(radius * 1.3, um_per_px, shift_px)
    cover, depth, height = _stone(canvas, radius, rng.integers(6, 10), rng, 0.6)
    smooth = ndimage.gaussian_filter(height, 1.5)
    flaw = np.clip(noise(rng, canvas.shape, 14 / canvas.step_um) - 0.8, 0, 2)
    canvas.add("edge", ALL, cover * (0.7 * np.exp(-depth / 5) + 0.30 * flaw + 0.1))
    canvas.add("scatter", ALL, cover * rng.uniform(0.5, 1.6))
    canvas.add("gut", ALL, cover * rng.uniform(0.05, 0.6))
    canvas.add("haematin", ALL, cover * rng.uniform(0, 0.5))
    canvas.draw_into_outline(ALL, cover)
    canvas.raise_to(ALL, 1.6 * smooth * cover)
    canvas.bend_light(2 * smooth, 0.12, 0.8)
    return canvas, 2 * radius


def _algae(um_per_px, shift_px, rng):
    radius = rng.uniform(40, 150)
    canvas = Canvas(radius * 1.5, um_per_px, shift_px)
    number = int(rng.uniform(12, 60))
    spots = rng.normal(0, radius * 0.4, (number, 2))
    shade = rng.uniform(0.5, 1.3)
    for spot in spots:
        r = rng.uniform(5, 15)
        if np.hypot(*spot) > radius * 1.25:
            continue
        window = canvas.window(spot[None], r + 3)
        x, y = canvas.grid(window)
        inside = np.sqrt(np.clip(1 - ((x - spot[0]) ** 2 + (y - spot[1]) ** 2) / r**2, 0, 1))
        canvas.add("chlorophyll", window, 0.9 * shade * inside)
        canvas.add("scatter", window, 0.35 * inside)
        canvas.add("edge", window, 0.35 * np.exp(-(((inside - 0.3) / 0.25) ** 2)) * (inside > 0))
        canvas.raise_to(window, 2 * r * inside)
        canvas.draw_into_outline(window, (inside > 0.15).astype(np.float32))
    canvas.outline = ndimage.grey_closing(canvas.outline, size=(9, 9))
    return canvas, 2 * radius


def _animal(canvas, spine, half, dense, rng, pigment):
    laid = canvas.sweep(spine, half)
    across = np.abs(laid.across_um) / np.maximum(laid.half_um, 0.5)
    grain = np.clip(1 + 0.5 * noise(rng, laid.cover.shape, 10 / canvas.step_um), 0, 3)
    canvas.add(pigment, laid.window, dense * 0.01 * laid.thick_um * grain * np.clip(1.2 - across**2, 0, 1))
    canvas.add("scatter", laid.window, 0.1 * laid.cover + 0.006 * dense * laid.thick_um * grain)
    canvas.add("edge", laid.window, 0.45 * across**6 * laid.cover)
    canvas.draw_into_outline(laid.window, laid.cover)
    canvas.raise_to(laid.window, laid.thick_um)
    return laid


def _placed(rng, points):
    turn = rng.uniform(0, 6.3)
    c, s = np.cos(turn), np.sin(turn)
    return lambda p: np.atleast_2d(p) @ np.array([[c, s], [-s, c]])


def _rotifer(um_per_px, shift_px, rng):
    length = rng.uniform(130, 260)
    canvas = Canvas(length * 1.1, um_per_px, shift_px)
    turn = _placed(rng, None)
    half = profile([(0, 0.14), (0.1, 0.24), (0.5, 0.33), (0.85, 0.26), (1, 0)])(np.linspace(0, 1, 21)) * length
    _animal(canvas, turn(spline([(-length / 2, 0), (0, rng.normal(0, 6)), (length / 2, 0)])), half, 0.6, rng, "gut")
    foot = turn(spline([(length * 0.45, 0), (length * 0.68, rng.normal(0, 14)), (length * 0.85, rng.normal(0, 25))]))
    _animal(canvas, foot, np.linspace(0.05, 0.025, 6) * length, 0.3, rng, "gut")
    for y in (-1, 1):
        canvas.line(turn([(-length / 2, y * 0.1 * length), (-length * 0.62, y * 0.2 * length)]), 5, "edge", 0.4)
    return canvas, length


def _copepod(um_per_px, shift_px, rng):
    length = rng.uniform(350, 700)
    canvas = Canvas(length * 0.85, um_per_px, shift_px)
    turn = _placed(rng, None)
    half = profile([(0, 0), (0.05, 0.08), (0.25, 0.15), (0.5, 0.13), (0.58, 0.055), (0.9, 0.04), (1, 0.02)])
    spine = turn(spline([(-length / 2, 0), (0, rng.normal(0, 10)), (length / 2, rng.normal(0, 15))]))
    laid = _animal(canvas, spine, half(np.linspace(0, 1, 31)) * length, 0.7, rng, rng.choice(["gut", "carotenoid"]))
    rings = np.clip(np.cos(laid.along * 2 * np.pi * 10), 0, 1) ** 6 * laid.cover
    canvas.add("edge", laid.window, 0.25 * rings)
    for y in (-1, 1):
        horn = turn([(-0.45 * length, 0), (-0.3 * length, y * 0.28 * length), (-0.05 * length, y * 0.48 * length)])
        canvas.line(horn, 11, "edge", 0.55)
        fork = turn([(0.48 * length, y * 4), (0.6 * length, y * 0.05 * length), (0.7 * length, y * 0.08 * length)])
        canvas.line(fork, 6, "edge", 0.45)
    return canvas, length


def _ciliate(um_per_px, shift_px, rng):
    length = rng.uniform(60, 140)
    canvas = Canvas(length, um_per_px, shift_px)
    half = profile([(0, 0), (0.1, 0.13), (0.5, 0.24), (0.9, 0.17), (1, 0)])(np.linspace(0, 1, 21)) * length
    spine = spline([(-length / 2, 0), (0, rng.normal(0, 5)), (length / 2, 0)])
    _animal(canvas, _placed(rng, None)(spine), half, 1.0, rng, "gut")
    return canvas, length
