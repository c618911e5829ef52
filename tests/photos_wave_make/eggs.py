"""Cysts, empty shells and umbrella stages: walls and fillings of spheres, cut by planes in space."""

import numpy as np
from sketch import CHORION, EYE, LIMB, MEMBRANE, TISSUE, YOLK, Sheet

WALL_UM = 7.5
EVERYWHERE = (slice(None), slice(None))


def _way(rng, flat=None):
    """A unit vector in space; ``flat`` bounds its part along the line of sight."""
    while True:
        v = rng.normal(size=3)
        v /= np.linalg.norm(v)
        if flat is None or abs(v[2]) <= flat:
            return v


def _ball(sheet, centre, radius, lumps=0.015):
    """Local coordinates of a slightly uneven sphere and its half thickness."""
    rng = sheet.rng
    x, y = sheet.x - centre[0], sheet.y - centre[1]
    turn = np.arctan2(y, x)
    r = radius * np.ones_like(turn)
    for k in (2, 3, 4):
        r = r * (1 + lumps * rng.normal() / (k - 1) * np.cos(k * turn + rng.uniform(0, 6.28)))
    x, y = x * radius / r, y * radius / r
    return x, y, np.sqrt(np.maximum(radius**2 - x * x - y * y, 0))


def wall(sheet, centre, radius, keep, strength=1.0, matter=CHORION, thick=WALL_UM, lumps=0.02):
    """Both walls of a hollow sphere where ``keep(x, y, z)`` (in radii) holds; returns where any wall is."""
    x, y, h = _ball(sheet, centre, radius, lumps)
    inside = h > 0
    steep = np.minimum(radius / np.maximum(h, 1e-3), np.sqrt(2 * radius / thick))
    soft = 0.9 * sheet.step / radius
    any_wall = np.zeros_like(inside)
    rough = 1 + 0.07 * sheet.grain(2.5) + 0.07 * sheet.grain(6.0)
    for up in (1, -1):
        part = np.clip(keep(x / radius, y / radius, up * h / radius) / soft + 0.5, 0, 1) * inside
        length = thick * steep * part * rough
        dark = length[..., None] * np.asarray(matter[0], np.float32) * strength
        sheet.absorb += dark
        if up == 1:
            sheet.lid += 0.55 * dark
        sheet.scatter += length * matter[1] * strength
        sheet.path += matter[2] * thick * np.minimum(steep, 3) * part
        if up == 1:
            sheet.top = np.maximum(sheet.top, (h + 2.5 * sheet.grain(6.0)) * (part > 0.5))
        any_wall |= part > 0.5
    sheet.outline |= any_wall
    return any_wall


def _everywhere(x, y, z):
    return np.ones_like(z)


def draw_cyst(rng, um_per_px, diameter, look):
    """An intact cyst, hydrated: dark, round; some dented or cup-like, darker, paler or without chorion."""
    radius = diameter / 2
    sheet = Sheet(1.25 * radius, um_per_px, rng)
    form = rng.choice(["round", "dented", "cup", "bare"], p=[0.80, 0.13, 0.055, 0.015])
    fill = rng.choice([1.25, 0.75, 2.0], p=[0.74, 0.13, 0.13]) * rng.uniform(0.8, 1.2)
    x, y, h = _ball(sheet, (0, 0), radius, 0.012 if form == "round" else 0.03)
    if form in ("dented", "cup"):
        way = _way(rng, 0.9 if form == "dented" else 0.5)
        way[2] = abs(way[2])
        deep = rng.uniform(0.12, 0.3) if form == "dented" else rng.uniform(0.4, 0.6)
        bite = 1.0 if form == "dented" else 0.8
        far = np.hypot(x / radius - way[0] * (1 + bite - deep), y / radius - way[1] * (1 + bite - deep))
        dent = np.clip((bite - far) / 0.35, 0, 1)
        dent = dent * dent * (3 - 2 * dent)
        sink = 1 - dent * (0.9 if abs(way[2]) < 0.5 else 0.55)
        h = h * np.sqrt(np.maximum(sink, 0))
        h = np.where(h < 0.28 * radius * (dent > 0.4), 0, h)
    rough = 1 + 0.08 * sheet.grain(6.0) + 0.05 * sheet.grain(2.5)
    matter = YOLK if form != "bare" else (tuple(0.9 * np.array(YOLK[0])), 0.0062, 0.006)
    sheet.add(EVERYWHERE, h, matter, 1.5 * fill * look["yolk"], depth=0.95, rough=rough)
    if form != "bare":
        tone = look["chorion"] * rng.uniform(0.75, 1.3)
        thick = WALL_UM * np.minimum(radius / np.maximum(h, 1e-3), 4.0) * (h > 0) * rough
        dark = 2 * thick[..., None] * np.asarray(CHORION[0], np.float32) * tone
        far = np.hypot(x, y) / radius
        # a full ball is a strong lens: near its rim light is bent past the objective
        sheet.absorb += 1.25 * dark + (1.3 * np.clip(far, 0, 1) ** 6 * (h > 0))[..., None]
        sheet.lid += 0.5 * dark
        sheet.scatter += thick * CHORION[1]
    sheet.outline = h > 0
    sheet.path += 0.010 * sheet.grain(1.2) * (h > 0)
    sheet.top = np.where(h > 0, h + 0.9 * sheet.grain(6.0) + 0.3 * sheet.grain(2.5), 0).astype(np.float32)
    return sheet.finish("cyst", {"bare": "without chorion"}.get(form, form), round(float(diameter), 1), gloss=0.4)


def _slit(rng, wide):
    """Keep-function of a sphere with a gaping slit that runs over part of it."""
    way, run = _way(rng), _way(rng)
    way[2] = abs(way[2]) * 0.6
    run -= run @ way * way
    run /= np.linalg.norm(run)
    cross = np.cross(way, run)
    long = rng.uniform(0.2, 0.8)

    def keep(x, y, z):
        side = x * cross[0] + y * cross[1] + z * cross[2]
        up = x * way[0] + y * way[1] + z * way[2]
        gap = wide * np.clip((up - 1 + 2 * long) / (2 * long), 0, 1) + 0.02
        jag = 0.04 * np.sin(11 * (x * run[0] + y * run[1] + z * run[2]) + 4 * way[0])
        return np.where(up > 1 - 2 * long, np.abs(side + jag) - gap, 1.0)

    return keep


def _cup(way, level, jag=0.05, seed=0.0):
    """Keep-function of what lies below a ragged plane."""

    def keep(x, y, z):
        teeth = jag * (np.sin(7 * x + 5 * y + seed) + 0.7 * np.sin(9 * y - 8 * z + 2 * seed))
        return level + teeth - (x * way[0] + y * way[1] + z * way[2])

    return keep


def draw_shell(rng, um_per_px, diameter, look):
    """An empty chorion: slit sphere, bowl, two halves, crescent, splinter or whole-looking."""
    radius = 0.5 * diameter * rng.uniform(0.96, 1.04)
    sheet = Sheet(2.3 * radius, um_per_px, rng)
    form = rng.choice(
        ["slit", "bowl", "halves", "crescent", "splinter", "whole"], p=[0.28, 0.28, 0.14, 0.15, 0.09, 0.06]
    )
    tone = look["chorion"] * rng.uniform(0.7, 1.25)
    if form == "slit":
        wall(sheet, (0, 0), radius, _slit(rng, rng.uniform(0.07, 0.3)), tone, lumps=0.03)
    elif form == "whole":
        wall(sheet, (0, 0), radius, _everywhere, tone * 0.85, lumps=0.03)
    elif form == "bowl":
        wall(
            sheet, (0, 0), radius, _cup(_way(rng), rng.uniform(-0.05, 0.45), 0.05, rng.uniform(0, 6)), tone, lumps=0.035
        )
    elif form == "halves":
        turn = rng.uniform(0, 2 * np.pi)
        gape = rng.uniform(0.25, 1.1)
        away = np.array([np.cos(turn), np.sin(turn)])
        for side in (1, -1):
            lean = turn + side * gape * 0.35
            way = -side * np.array([np.cos(lean), np.sin(lean), rng.normal(0, 0.4)])
            way /= np.linalg.norm(way)
            centre = side * away * radius * rng.uniform(0.25, 0.65)
            wall(sheet, centre, radius * rng.uniform(0.9, 1), _cup(way, rng.uniform(0, 0.12), 0.04), tone, lumps=0.03)
    elif form == "crescent":
        turn = rng.uniform(0, 2 * np.pi)
        reach, bite = rng.uniform(0.45, 0.75), rng.uniform(0.85, 1.15)
        at = np.array([np.cos(turn), np.sin(turn)]) * reach

        def keep(x, y, z):
            return np.minimum(np.hypot(x - at[0], y - at[1]) - bite * 0.9, 0.75 - (x * at[0] + y * at[1]) / reach)

        wall(sheet, (0, 0), radius, keep, tone * 1.1, lumps=0.03)
    else:
        first, other = _way(rng), _way(rng)
        one, two = _cup(first, rng.uniform(-0.1, 0.1), 0.07), _cup(other, rng.uniform(0.1, 0.5), 0.07, 2.0)
        wall(sheet, (0, 0), radius, lambda x, y, z: np.minimum(one(x, y, z), two(x, y, z)), tone, lumps=0.04)
    if sheet.outline.sum() * sheet.step**2 < 0.25 * np.pi * radius**2:
        return draw_shell(rng, um_per_px, diameter, look)
    return sheet.finish("shell", form, round(float(2 * radius), 1), gloss=1.2)


def _embryo(sheet, head, tail, wide, strength, late, shown=None):
    """An egg- or pear-shaped embryo from ``head`` to ``tail`` with folded limbs and, late, an eye."""
    rng = sheet.rng
    share = np.linspace(0, 1, 7)[:, None]
    points = head * (1 - share) + tail * share
    pear = rng.uniform(0.55, 0.9)
    radii = wide * np.interp(share[:, 0], [0, 0.25, 0.5, 1], [0.86, 1, 0.97, pear])
    box, half, _ = sheet.tube(points, radii)
    if shown is not None:
        half = half * shown[box]
    grain = np.clip(1 + 0.15 * sheet.grain(2.5)[box] + 0.1 * sheet.grain(6.0)[box], 0.3, 2)
    sheet.add(box, half, TISSUE)
    sheet.add(box, half * 0.95, YOLK, strength, outline=False, rough=grain)
    sheet.path[box] += 0.010 * sheet.grain(1.2)[box] * (half > 0)
    axis = (tail - head) / max(np.hypot(*(tail - head)), 1e-6)
    across = np.array([-axis[1], axis[0]])
    if late > 0.35 and shown is None:
        for side in (-1, 1):  # limbs folded back along the flanks, seen as paler ridges with a dark furrow
            for start, run, out in ((0.12, 0.75, 0.80), (0.30, 0.5, 0.99)):
                a = head + axis * start * np.hypot(*(tail - head)) + side * across * out * wide
                b = a + axis * run * wide * 1.3 - side * across * 0.16 * wide
                window, limb, _ = sheet.tube([a, b], [0.17 * wide, 0.10 * wide])
                sheet.add(window, limb, LIMB, 1.5)
    if late > 0.5:
        eye = head - axis * 0.45 * wide + across * rng.normal(0, 0.15) * wide
        r = 0.028 * 430
        window, ball, _ = sheet.tube([eye, eye + 0.2 * r], [r, r])
        sheet.add(window, ball, EYE, rng.uniform(0.6, 1.1), outline=False)


def draw_umbrella(rng, um_per_px, diameter, look):
    """An embryo in its hatching membrane, with or just without its cracked shell: one object."""
    radius = diameter / 2
    sheet = Sheet(4.6 * radius, um_per_px, rng)
    degree = rng.choice(
        ["emerging", "half out", "hanging", "on a thread", "membrane alone"], p=[0.16, 0.26, 0.30, 0.12, 0.16]
    )
    turn = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(turn), np.sin(turn)])
    up = np.array([way[0], way[1], rng.normal(0, 0.25)])
    up /= np.linalg.norm(up)
    tone = look["chorion"] * rng.uniform(0.8, 1.2)
    out = {"emerging": 0.55, "half out": 1.05, "hanging": 1.75, "on a thread": 2.5, "membrane alone": 0}[degree]
    out *= rng.uniform(0.9, 1.12) * radius
    late = {"emerging": 0.0, "half out": 0.3}.get(degree, rng.uniform(0.3, 1))
    strength = look["yolk"] * rng.uniform(0.9, 1.2)
    wide = radius * rng.uniform(0.74, 0.84)
    long = radius * rng.uniform(0.75, 1.15)
    centre = out * way
    if degree == "emerging":
        _embryo(sheet, centre * 0.9, centre * 0.2, wide * 0.95, strength, 0)
        skin = (centre * 0.95, centre * 0.3)
    elif degree == "half out":
        _embryo(sheet, centre * 1.15, centre * 0.2, wide, strength, late)
        skin = (centre * 1.2, centre * 0.35)
    else:
        _embryo(sheet, centre + 0.5 * long * way, centre - 0.5 * long * way, wide, strength, late)
        skin = (centre + 0.55 * long * way, centre - 0.55 * long * way)
    loose = max(radius * rng.uniform(0.86, 1.0), 1.08 * wide)
    _membrane(sheet, *skin, loose)
    if degree == "on a thread":
        side = np.array([-way[1], way[0]])
        for a in (-1, 1):
            sheet.hair(
                0.7 * radius * way + a * 0.18 * radius * side,
                centre - (0.5 * long + 0.9 * loose) * way,
                1.8,
                MEMBRANE,
                6,
            )
    if degree != "membrane alone":
        level = {"emerging": 0.72, "half out": 0.45}.get(degree, rng.uniform(0.25, 0.7))
        wall(sheet, (0, 0), radius, _cup(up, level, 0.06, rng.uniform(0, 6)), tone, lumps=0.03)
    return sheet.finish("umbrella", degree, round(float(sheet.outline.sum() ** 0.5 * sheet.step), 1), gloss=0.9)


def _membrane(sheet, head, tail, radius):
    """A clear skin around the embryo: next to no absorption, a bent-light rim."""
    share = np.linspace(0, 1, 4)[:, None]
    points = head * (1 - share) + tail * share
    box, half, _ = sheet.tube(points, radius * np.array([0.97, 1.0, 0.98, 0.9]))
    inside = half > 0
    steep = np.minimum(radius / np.maximum(half, 1e-3), 7.0) * inside
    dark = 2.2 * steep[..., None] * np.asarray(MEMBRANE[0], np.float32) * 6
    sheet.absorb[box] += dark
    sheet.scatter[box] += 2.0 * steep * MEMBRANE[1]
    sheet.path[box] += 0.022 * steep + 0.0025 * half * half / radius
    sheet.top[box] = np.maximum(sheet.top[box], 0.9 * half)
    sheet.outline[box] |= inside
