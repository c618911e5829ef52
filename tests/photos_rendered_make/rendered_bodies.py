"""The hatch as meshes: cysts, empty shells, umbrella stages and nauplii, in millimetres, built from what is known of
their anatomy. Each function takes a random generator and the lot, and gives a body lying about the origin."""

from dataclasses import dataclass, field

import numpy as np
from rendered_meshes import Part, any_turn, ball, bent, swell, tube, turn, unit_ball
from scipy.interpolate import PchipInterpolator


@dataclass(frozen=True)
class Lot:
    """What all bodies of one photo share."""

    cyst_mm: float  # mean diameter
    nauplius_mm: float  # mean length
    dented: float  # share of cysts that are still dry-ish


@dataclass
class Body:
    """A thing in the picture: its pieces, what it is, and the balls (k, 4: x, y, z, radius) that keep others out."""

    parts: list[Part]
    stage: str
    detail: str
    balls: np.ndarray
    shade: float = 1.0
    floats: float = 0.0  # height above the ground, for what swims or floats [mm]
    drift: tuple = (0.0, 0.0)  # way made while the shutter was open [mm]
    place: np.ndarray = field(default_factory=lambda: np.zeros(3))

    def turned(self, matrix):
        """Return the body turned (3, 3)."""
        parts = [p.moved(matrix) for p in self.parts]
        balls = np.concatenate([self.balls[:, :3] @ np.asarray(matrix).T, self.balls[:, 3:]], 1)
        return Body(parts, self.stage, self.detail, balls, self.shade, self.floats, self.drift)


def _dents(vertices, rng, number, depth):
    """Radii (n,) of a ball with dents."""
    r = np.ones(len(vertices))
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    for k in range(number):
        towards = axis * (-1) ** k + rng.normal(size=3) * 0.15
        towards /= np.linalg.norm(towards)
        angle = np.arccos(np.clip(vertices @ towards, -1, 1))
        r -= depth * rng.uniform(0.7, 1.1) * np.exp(-((angle / rng.uniform(0.55, 0.8)) ** 2))
    return r


def cyst(rng, lot, bare=False):
    """Return an unhatched cyst: round where wetted, cup-shaped or biconcave where dry-ish; bare of its shell rarely."""
    vertices, triangles = unit_ball(4)
    radius = lot.cyst_mm / 2 * rng.normal(1, 0.035) * (0.94 if bare else 1)
    dented = rng.random() < lot.dented and not bare
    r = 1 + swell(vertices, rng, 0.008, pitch=2) + swell(vertices, rng, 0.003, pitch=7)
    if dented:
        r = r * _dents(vertices, rng, 1 + (rng.random() < 0.45), rng.uniform(0.3, 0.6))
    shape = vertices * r[:, None] * (1 + rng.normal(0, 0.015, 3))
    part = Part(shape * radius, triangles, "embryo" if bare else "chorion").moved(any_turn(rng))
    detail = "bare" if bare else "dented" if dented else "round"
    return Body([part], "cyst", detail, np.array([[0, 0, 0, radius]]), shade=rng.normal(1, 0.07))


def skin(rng, radius, keep, lumps=0.04, slit=None, rag=0.06):
    """Return a thin skin of a ball: the part that ``keep`` says (-1 none to 1 all, along +x), or all but a slit."""
    vertices, triangles = unit_ball(4)
    middle = vertices[triangles].mean(1)
    torn = swell(middle, rng, rag, pitch=3) + swell(middle, rng, rag / 3, pitch=12)
    if slit is None:
        stays = middle[:, 0] + torn > -keep
    else:
        around = np.abs(np.arctan2(middle[:, 1], middle[:, 0]) + torn * 0.5)
        stays = (around > slit * np.cos(np.clip(middle[:, 2], -1, 1) * 1.2)) | (np.abs(middle[:, 2]) > 0.93)
    shape = vertices * (1 + swell(vertices, rng, lumps, pitch=1.6) + swell(vertices, rng, lumps / 4, pitch=6))[:, None]
    return Part(shape * radius, triangles[stays], "shell")


def shell(rng, lot):
    """Return an empty shell: a bowl, halves, a slit ball, a crumpled one or a fragment."""
    radius = lot.cyst_mm / 2 * rng.normal(1, 0.04)
    form = rng.choice(["bowl", "halves", "slit", "crumpled", "fragment"], p=[0.4, 0.22, 0.16, 0.12, 0.1])
    if form == "halves":
        gape = rng.uniform(0.5, 1.4)
        half = skin(rng, radius, rng.uniform(-0.05, 0.15))
        other = skin(rng, radius * rng.uniform(0.92, 1), rng.uniform(-0.05, 0.15))
        hinge = np.array([0, radius, 0])
        parts = [
            half.moved(shift=-hinge).moved(turn("z", gape / 2), hinge * 0.6),
            other.moved(turn("z", np.pi), -hinge).moved(turn("z", -gape / 2), hinge * 0.6),
        ]
    elif form == "slit":
        parts = [skin(rng, radius, 0, slit=rng.uniform(0.12, 0.45), rag=0.1)]
    elif form == "crumpled":
        crushed = skin(rng, radius, rng.uniform(0.3, 0.7), lumps=0.13)
        parts = [crushed.moved(np.diag([1, rng.uniform(0.45, 0.8), rng.uniform(0.6, 1)]) @ any_turn(rng))]
    elif form == "bowl":
        parts = [skin(rng, radius, rng.uniform(0.1, 0.6), lumps=rng.uniform(0.02, 0.06))]
    else:
        parts = [skin(rng, radius, rng.uniform(-0.55, -0.25), lumps=0.05)]
        parts = [parts[0].moved(shift=-parts[0].vertices[parts[0].triangles].mean((0, 1)))]
    size = radius * (0.55 if form == "fragment" else 0.85)
    body = Body(parts, "shell", str(form), np.array([[0, 0, 0, size]]), shade=rng.normal(1, 0.1))
    if form == "slit":  # the slit towards the eye, more or less: one nobody sees cannot be told
        matrix = turn("x", rng.uniform(-0.5, 0.5)) @ turn("y", rng.uniform(-2.2, -0.9))
        return body.turned(turn("z", rng.uniform(0, 2 * np.pi)) @ matrix)
    return body.turned(any_turn(rng))


def _spindle(length, knots, n=26):
    """Distances from the front (n,) and half widths (n,) of a body, from knots (place, half width) in lengths."""
    t = (1 - np.cos(np.linspace(0, np.pi, n))) / 2
    knots = np.asarray(knots, float)
    return t * length, np.maximum(PchipInterpolator(knots[:, 0], knots[:, 1])(t), 0) * length


PEAR = [
    (0, 0),
    (0.03, 0.08),
    (0.12, 0.155),
    (0.28, 0.2),
    (0.45, 0.185),
    (0.62, 0.15),
    (0.8, 0.115),
    (0.94, 0.075),
    (1, 0),
]
LONG = [
    (0, 0),
    (0.03, 0.06),
    (0.1, 0.115),
    (0.22, 0.145),
    (0.38, 0.12),
    (0.55, 0.085),
    (0.8, 0.066),
    (0.95, 0.04),
    (1, 0),
]
DROP = [(0, 0), (0.04, 0.13), (0.15, 0.25), (0.35, 0.335), (0.55, 0.335), (0.78, 0.26), (0.93, 0.14), (1, 0)]


def _bristles(rng, path, number, length, spread):
    """Return the setae along the outer half of a limb."""
    out = []
    for t in np.linspace(0.45, 1, number):
        k = min(int(t * (len(path) - 1)), len(path) - 2)
        along = path[k + 1] - path[k]
        along = along / np.linalg.norm(along) + rng.normal(0, 0.12, 3) + np.array([-spread * (1.2 - t), 0, 0])
        way = bent(path[k] + (path[k + 1] - path[k]) * 0.5, along, length * rng.uniform(0.75, 1.1), (-0.15, 0, 0), 4)
        out.append(tube(way, [0.0028, 0.0022, 0.0016, 0.0006], "limb", sides=4, outlined=False))
    return out


def limbs(rng, length, *, stroke, fold, missing=0.0, material="limb"):
    """Return three pairs of appendages; ``stroke`` -1 forward to 1 back, ``fold`` 0 spread to 1 along the body."""
    parts = []
    front = length / 2
    for side in (-1, 1):
        own = stroke + rng.normal(0, 0.12)
        if rng.random() >= missing:  # first antennae: short, simple, forward
            a = np.deg2rad(rng.uniform(30, 55) + 12 * own)
            way = bent(
                (front - 0.1 * length, side * 0.1 * length, 0),
                (np.cos(a), side * np.sin(a), -0.15),
                0.24 * length,
                (0, 0, 0),
            )
            parts.append(tube(way, length * np.linspace(0.022, 0.01, 8), material, sides=8))
            parts += _bristles(rng, way[-3:], 3, 0.14 * length, 0)
        if rng.random() >= missing:  # second antennae: the oars
            a = np.deg2rad(95 + 38 * own + 40 * fold)
            start = (front - 0.24 * length, side * 0.14 * length, -0.03 * length)
            stem = bent(start, (np.cos(a), side * np.sin(a) * (1 - 0.6 * fold), -0.3), 0.26 * length, (-0.04, 0, 0), 7)
            parts.append(tube(stem, length * np.linspace(0.052, 0.034, 7), material, sides=10))
            outer = bent(
                stem[-1], stem[-1] - stem[-2] + np.array([-0.1, 0, 0]) * length * 0.1, 0.34 * length, (-0.22, 0, 0), 9
            )
            parts.append(tube(outer, length * np.linspace(0.032, 0.011, 9), material, sides=8))
            parts += _bristles(rng, outer, 8, 0.26 * length, 0.5)
            inner = bent(
                stem[-1],
                stem[-1] - stem[-2] + np.array([-0.5, -side * 0.3, 0]) * length * 0.06,
                0.2 * length,
                (-0.15, 0, 0),
                6,
            )
            parts.append(tube(inner, length * np.linspace(0.026, 0.01, 6), material, sides=8))
            parts += _bristles(rng, inner, 3, 0.16 * length, 0.3)
        if rng.random() >= missing:  # mandibles: short, back
            a = np.deg2rad(115 + 20 * own + 25 * fold)
            start = (front - 0.38 * length, side * 0.13 * length, -0.05 * length)
            way = bent(start, (np.cos(a), side * np.sin(a) * (1 - 0.5 * fold), -0.3), 0.24 * length, (-0.1, 0, 0))
            parts.append(tube(way, length * np.linspace(0.032, 0.013, 8), material, sides=8))
            parts += _bristles(rng, way, 4, 0.15 * length, 0.3)
    return parts


def _trunk(rng, length, knots, material, bend=0.06, until=1.0):
    """Return body, yolk in the gut, upper lip and eye, the head towards +x."""
    s, half = _spindle(length, knots)
    keep = s <= until * length
    s, half = s[keep], half[keep]
    u = s / length - 0.4
    sway, nod = rng.normal(0, bend), rng.normal(0, bend)
    path = np.stack([length / 2 - s, sway * length * u**2, nod * length * u**2], 1)
    radii = np.stack([half, half * 0.86], 1)
    widest = half.max()
    parts = [tube(path, radii, material, sides=20)]
    inner = (s > 0.2 * length) & (s < 0.95 * length)
    if inner.sum() > 4:
        thick = (
            np.minimum(0.5 * half[inner], 0.055 * length) * np.sin(np.linspace(0.35, np.pi - 0.1, inner.sum())) ** 0.5
        )
        parts.append(tube(path[inner] + [0, 0, 0.01 * length], thick, "gut", sides=12))
    parts.append(ball((length * 0.22, 0, -widest * 0.72), (0.13 * length, 0.075 * length, 0.07 * length), material))
    level = 0.86 * np.interp(0.085 * length, s, half)  # the eye lies under the skin of the back and shows through
    parts.append(ball((length * 0.415, 0, level * 0.66), (0.03 * length, 0.038 * length, 0.38 * level), "eye"))
    return parts, np.stack([*path.T, half], 1)[2:-2:4]


def nauplius(rng, lot, form="instar I"):
    """Return a free larva of a first or second instar, a dead or a torn one, in any pose and heading."""
    second, dead = form == "instar II", form in ("dead", "torn")
    length = lot.nauplius_mm * rng.normal(1, 0.045) * (rng.uniform(1.3, 1.5) if second else 1)
    skin_of = "pale" if second else "dull" if dead else "larva"
    until = rng.uniform(0.62, 0.8) if form == "torn" else 1.0
    parts, balls = _trunk(rng, length, LONG if second else PEAR, skin_of, 0.25 if dead else 0.08, until)
    stroke = rng.uniform(-0.9, 0.9)
    parts += limbs(rng, length, stroke=stroke, fold=0.8 if dead else rng.uniform(0, 0.3), missing=0.25 if dead else 0.0)
    pose = rng.choice(["dorsal", "oblique", "side"], p=[0.6, 0.22, 0.18])
    roll = {"dorsal": rng.normal(0, 0.2), "oblique": rng.choice([-1, 1]) * rng.uniform(0.45, 1.0)}.get(pose)
    roll = rng.choice([-1, 1]) * rng.uniform(1.1, 1.6) if roll is None else roll
    roll += np.pi * (rng.random() < 0.4)
    matrix = turn("z", rng.uniform(0, 2 * np.pi)) @ turn("y", rng.normal(0, 0.18)) @ turn("x", roll)
    body = Body(parts, "nauplius", str(pose if form == "instar I" else form), balls, shade=rng.normal(1, 0.08))
    return body.turned(matrix)


def umbrella(rng, lot):
    """Return an embryo in its membrane: half out of its shell, hanging from it, or free of it."""
    radius = lot.cyst_mm / 2 * rng.normal(1, 0.035)
    form = rng.choice(["emerging", "hanging", "free"], p=[0.36, 0.42, 0.22])
    length = radius * rng.uniform(2.15, 2.45) * (1.22 if form == "free" else 1.0)
    s, half = _spindle(length, DROP)
    half = half * (0.84 if form == "free" else 0.88)
    path = np.stack([length / 2 - s, 0 * s, 0 * s], 1)
    parts = [tube(path, np.stack([half, half * 0.93], 1), "embryo", sides=20)]
    ripe = form == "free" or rng.random() < 0.5
    if ripe:  # folded limbs along the embryo and its eye
        for side in (-1, 1):
            for k, (reach, at) in enumerate([(0.45, 0.3), (0.3, 0.42)]):
                start = (length * (0.5 - at), side * half.max() * 0.83, -0.1 * half.max() - 0.02 * k)
                way = bent(start, (-1, side * 0.16, -0.1 * k), reach * length, (0, -side * 0.22, 0))
                parts.append(tube(way, length * np.linspace(0.055, 0.03, 8), "embryo", sides=8))
        parts.append(ball((length * 0.41, 0, half.max() * 0.25), (0.011, 0.014, 0.011), "eye"))
    roomy = rng.uniform(1.1, 1.25)
    neck = {"emerging": 0.0, "hanging": rng.uniform(0.15, 0.5) * radius, "free": 0.0}[form]
    veil = np.stack([path[:, 0] * (roomy + 0.02), path[:, 1], path[:, 2]], 1)
    parts.append(tube(veil, half * roomy + 0.004, "veil", sides=20))
    balls = [[0, 0, 0, half.max()], [length * 0.25, 0, 0, half.max() * 0.8], [-length * 0.25, 0, 0, half.max() * 0.8]]
    if form != "free":
        cup = skin(rng, radius, rng.uniform(0.1, 0.45) if form == "hanging" else rng.uniform(0.0, 0.35))
        away = {"emerging": rng.uniform(0.1, 0.4) * radius, "hanging": length / 2 + 0.35 * radius + neck}[form]
        if form == "emerging":
            away += 0.35 * radius
        else:
            link = bent((length * 0.45, 0, 0), (1, 0, 0), away - length * 0.45 + 0.3 * radius, (0, 0, 0), 6)
            parts.append(tube(link, radius * np.array([0.55, 0.42, 0.36, 0.38, 0.5, 0.3]), "veil", sides=14))
        tilt = turn("z", rng.normal(0, 0.25)) @ turn("x", rng.uniform(0, 6.3))
        parts.append(cup.moved(tilt, (away, 0, 0)))
        balls.append([away, 0, 0, radius * 0.9])
    matrix = turn("z", rng.uniform(0, 2 * np.pi)) @ turn("y", rng.normal(0, 0.28)) @ turn("x", rng.uniform(0, 6.3))
    return Body(parts, "umbrella", str(form), np.array(balls), shade=rng.normal(1, 0.07)).turned(matrix)
