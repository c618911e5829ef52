"""Cysts, empty shells and umbrellas."""

import numpy as np
from sliced_volume import Material, Model, Solid, Stroke, ball

CYST = Material("cyst", (0.0085, 0.0145, 0.027), 0.035, (0.33, 0.185, 0.095), 0.3, 0.03, 0.12)
WALL = Material("wall", (0.0075, 0.0195, 0.042), 0.026, (0.78, 0.52, 0.27), 0.5, 0.05)
EMBRYO = Material("embryo", (0.0025, 0.0068, 0.0135), 0.014, (0.96, 0.56, 0.25), 0.12, 0.02, 0.14)
MEMBRANE = Material("membrane", (0.0012, 0.0014, 0.0018), 0.003, (0.9, 0.88, 0.8), 0.5, 0.035)
CLEAR = Material("clear", (0.00006, 0.00008, 0.0001), 0.00025, (0.85, 0.85, 0.8), 0.0, 0.012)
EYE = Material("eye", (0.08, 0.13, 0.13), 0.15, (0.10, 0.03, 0.03), 0.1)


def direction(rng) -> np.ndarray:
    """Return a random unit vector."""
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def _dot(v, x, y, z):
    return np.float32(v[0]) * x + np.float32(v[1]) * y + np.float32(v[2]) * z


def lumpy_ball(rng, radius, amount=0.02, squash=1.0, ridges=0.0):
    """Return the distance function of a ball that is not quite round, squashed along a random axis."""
    radius = float(radius)
    ways = [(direction(rng), rng.uniform(1.5, 4.5), rng.uniform(0, 6.28)) for _ in range(3)]
    axis = direction(rng)

    def distance(x, y, z):
        along = _dot(axis, x, y, z)
        r = np.sqrt(x * x + y * y + z * z + (1 / squash**2 - 1) * along**2) + 1e-3
        bumps = sum(np.sin(f * _dot(v, x, y, z) / r + p) for v, f, p in ways)
        if ridges:
            bumps = bumps + ridges * np.sin(9 * _dot(ways[0][0], x, y, z) / r + 4 * _dot(ways[1][0], x, y, z) / r)
        return r - radius * (1 + amount * bumps)

    return distance


def _dented(rng, radius, depth, n_dents):
    whole = lumpy_ball(rng, radius, 0.02)
    way = direction(rng)
    bowls = []
    for i in range(n_dents):
        v = way if i == 0 else -way
        bowl_radius = radius * rng.uniform(0.75, 1.1)
        bowls.append(((v * (radius * (1 - depth) + bowl_radius)).tolist(), bowl_radius))

    def distance(x, y, z):
        d = whole(x, y, z)
        for c, r in bowls:
            inside = r - np.sqrt((x - c[0]) ** 2 + (y - c[1]) ** 2 + (z - c[2]) ** 2)
            d = np.maximum(d, inside) + 0.0
        return d

    return distance


def cyst(rng, radius, look) -> Model:
    """Return a full cyst: round, or with one or two dents if it never took up water."""
    form = rng.choice(["round", "dented"], p=[0.8, 0.2])
    if form == "round":
        shape = lumpy_ball(rng, radius, rng.uniform(0.006, 0.02), rng.uniform(0.94, 1.0))
    else:
        shape = _dented(rng, radius, rng.uniform(0.25, 0.45), rng.choice([1, 2], p=[0.7, 0.3]))
    tint = look.stuff(rng, CYST, 0.12)
    return Model("cyst", form, 2 * radius, [Solid(shape, np.zeros(3), 1.12 * radius, tint)])


def _wall_of(solid, thick):
    return lambda x, y, z: np.abs(solid(x, y, z) + thick / 2) - thick / 2


def _open_by_plane(wall, way, height, rng):
    """Take off what lies beyond a plane with a ragged edge."""
    side, up = direction(rng), direction(rng)
    f, p, size = rng.uniform(0.03, 0.07), rng.uniform(0, 6.28), rng.uniform(3, 9)

    def distance(x, y, z):
        edge = size * (np.sin(f * _dot(side, x, y, z) + p) + 0.5 * np.sin(2.7 * f * _dot(up, x, y, z)))
        return np.maximum(wall(x, y, z), _dot(way, x, y, z) - float(height) - edge)

    return distance


def _open_by_slit(wall, radius, rng, facing):
    """Cut a gaping slit round the side that faces the given way."""
    across = np.cross(facing, direction(rng))
    across /= np.linalg.norm(across)
    radius = float(radius)
    gape, reach = rng.uniform(0.2, 0.34) * radius, rng.uniform(-0.35, 0.1)

    def distance(x, y, z):
        forward = _dot(facing, x, y, z) / radius
        half = gape * np.clip(forward - reach, 0, 1) ** 0.6
        bent = _dot(across, x, y, z) + 0.08 * radius * np.sin(3 * forward)
        return np.maximum(wall(x, y, z), np.where(forward > reach, half - np.abs(bent), -1e3))

    return distance


def shell(rng, radius, look, *, splinters=True) -> Model:
    """Return an empty shell: a bowl, a slit ball, a folded crescent, two halves or a splinter."""
    forms = ["bowl", "slit", "crescent", "halves", "fragment"]
    form = rng.choice(forms, p=[0.38, 0.17, 0.17, 0.16, 0.12] if splinters else [0.46, 0.18, 0.2, 0.16, 0])
    clear = rng.choice([1.0, 0.6, 0.33], p=[0.5, 0.32, 0.18]) * rng.uniform(0.85, 1.15)
    wall_stuff = look.stuff(rng, WALL, 0.1).changed(absorb=clear, scatter=0.5 + 0.5 * clear)
    thick = rng.uniform(7, 10)
    if form == "crescent":
        body = _dented(rng, radius, rng.uniform(0.6, 1.15), 1)
    else:
        body = lumpy_ball(rng, radius, rng.uniform(0.03, 0.08), rng.uniform(0.72, 1.0), ridges=0.4)
    wall = _wall_of(body, thick)
    way = direction(rng)
    parts = []
    if form == "bowl":
        parts = [(_open_by_plane(wall, way, rng.uniform(-0.05, 0.6) * radius, rng), np.zeros(3))]
    elif form == "slit":
        way[2] = abs(way[2]) + 0.9  # the gape shows from above
        parts = [(_open_by_slit(wall, radius, rng, way / np.linalg.norm(way)), np.zeros(3))]
    elif form == "crescent":
        parts = [(wall, np.zeros(3))]
    elif form == "halves":
        other = way + 0.6 * direction(rng)
        other /= np.linalg.norm(other)
        shift = np.cross(way, direction(rng))
        shift *= radius * rng.uniform(0.9, 1.4) / np.linalg.norm(shift)
        second = _wall_of(lumpy_ball(rng, radius, 0.04, rng.uniform(0.8, 1)), thick)
        cut_at = rng.uniform(-0.15, 0.15) * radius
        parts = [
            (_open_by_plane(wall, way, cut_at, rng), -shift / 2),
            (_open_by_plane(second, other, -cut_at, rng), shift / 2),
        ]
    else:
        piece = _open_by_plane(wall, -way, -rng.uniform(0.15, 0.55) * radius, rng)
        parts = [(_open_by_plane(piece, np.roll(way, 1), rng.uniform(0.1, 0.5) * radius, rng), -0.5 * radius * way)]
    solids = [Solid(shape, centre, 1.18 * radius, wall_stuff) for shape, centre in parts]
    return Model("shell", str(form), 2 * radius, solids)


def umbrella(rng, radius, look) -> Model:
    """Return an embryo in its membrane that hangs out of the cracked shell, along -x."""
    stuff = look.stuff(rng, WALL, 0.1).changed(absorb=rng.uniform(0.7, 1.1))
    wall = _wall_of(lumpy_ball(rng, radius, 0.02, 0.95), rng.uniform(7, 10))
    how_far = rng.uniform(0.95, 1.75) * radius
    opened = _open_by_plane(wall, np.array([-1.0, 0, 0]), rng.uniform(0.25, 0.55) * radius, rng)
    sag = rng.normal(0, 0.12, 2) * radius
    middle = np.array([-how_far, *sag])
    neck = np.array([-0.3 * radius, 0, 0])
    points = np.stack([neck, 0.5 * (neck + middle), middle])
    r = radius * np.array([0.6, 0.78, rng.uniform(0.9, 1.0)])
    inside = Stroke(points, r, look.stuff(rng, CLEAR, 0.05))
    yolk = look.stuff(rng, EMBRYO, 0.1)

    def at(x, y, z):
        return radius * np.array([x, y, z])

    ends = np.stack([middle + at(0.55, 0, 0), middle, middle + at(-0.22, 0, 0)])
    parts = [Solid(opened, np.zeros(3), 1.15 * radius, stuff), inside]
    parts.append(Stroke(ends, radius * np.array([0.5, 0.68, 0.62]), yolk))
    centre = 0.55 * middle
    skin = Solid(_rind(points - centre, r), centre, 0.5 * how_far + 1.0 * radius, look.stuff(rng, MEMBRANE, 0.05))
    parts.append(skin)
    parts.append(ball(middle + at(-0.62, 0, 0.25), 11, EYE))
    if rng.random() < 0.6:  # limb buds along the flanks
        for side in (-1, 1):
            start = middle + at(-0.35, side * 0.6, 0)
            end = middle + at(0.45, side * 0.68, 0.1)
            parts.append(Stroke(np.stack([start, end]), np.array([17.0, 12.0]), yolk))
    return Model("umbrella", "hanging", 2 * radius + how_far, parts)


def _rind(points, radii, thick=4.0):
    """Return the distance to the skin of a row of balls."""

    def distance(x, y, z):
        d = None
        for i in range(len(points) - 1):
            a, along = points[i].tolist(), points[i + 1] - points[i]
            px, py, pz = x - a[0], y - a[1], z - a[2]
            t = np.clip(_dot(along, px, py, pz) / float(along @ along), 0, 1)
            one = np.sqrt((px - t * along[0]) ** 2 + (py - t * along[1]) ** 2 + (pz - t * along[2]) ** 2)
            one = one - (float(radii[i]) + t * float(radii[i + 1] - radii[i]))
            d = one if d is None else np.minimum(d, one)
        return np.abs(d + thick / 2) - thick / 2

    return distance
