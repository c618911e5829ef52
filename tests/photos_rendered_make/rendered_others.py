"""What is not the hatch: bubbles, fibres, sand, salt, algae, flecks, moults and other small animals, in millimetres."""

import numpy as np
from rendered_bodies import LONG, PEAR, Body, limbs
from rendered_meshes import Part, any_turn, ball, bent, box, faceted, swell, tube, turn, unit_ball
from scipy.interpolate import PchipInterpolator

FIBRES = ("fibre blue", "fibre black", "fibre red", "fibre clear", "fibre clear")


def _body(parts, detail, size, **more):
    return Body(parts, "debris", detail, np.array([[0, 0, 0, size]]), **more)


def bubble(rng, lot):
    """Return a ball of air."""
    r = np.exp(rng.normal(np.log(0.09), 0.45))
    return _body([ball((0, 0, 0), (r, r, r * 0.97), "air", level=4)], "bubble", r, floats=rng.uniform(0, 0.5))


def fibre(rng, lot):
    """Return a bent thread."""
    length, n = rng.uniform(0.7, 2.6), 40
    heading = np.cumsum(rng.normal(0, 0.09, n) + rng.normal(0, 0.04)) + rng.uniform(0, 6.3)
    rise = 0.04 + 0.05 * np.cumsum(rng.normal(0, 0.15, n))
    step = length / n
    path = np.stack([np.cumsum(np.cos(heading)) * step, np.cumsum(np.sin(heading)) * step, np.abs(rise)], 1)
    path[:, :2] -= path[:, :2].mean(0)
    radius = rng.uniform(0.007, 0.014) * (1 + 0.1 * np.sin(np.linspace(0, 30, n)))
    balls = np.concatenate([path[::8], np.full((5, 1), 0.012)], 1)
    return Body([tube(path, radius, str(rng.choice(FIBRES)), sides=6)], "debris", "fibre", balls)


def sand(rng, lot):
    """Return a grain of sand."""
    r = rng.uniform(0.06, 0.17) * rng.uniform(0.75, 1.2, 3)
    stone = faceted(rng, r, str(rng.choice(["quartz", "quartz", "stone"])))
    return _body([stone.moved(any_turn(rng))], "grain", r.mean() * 0.85)


def salt(rng, lot):
    """Return one or two grown-together salt crystals."""
    side = rng.uniform(0.1, 0.24) * rng.uniform(0.75, 1.2, 3)
    parts = [box(rng, side, "salt")]
    if rng.random() < 0.4:
        parts.append(box(rng, side * rng.uniform(0.4, 0.8), "salt").moved(shift=side * rng.uniform(-0.6, 0.6, 3)))
    matrix = turn("z", rng.uniform(0, 6.3)) @ turn("x", rng.normal(0, 0.12))
    return _body([p.moved(matrix) for p in parts], "crystal", side.mean() * 0.5)


def alga(rng, lot):
    """Return a string of green cells."""
    n, r = rng.integers(6, 26), rng.uniform(0.009, 0.018)
    heading = np.cumsum(rng.normal(0, 0.13, n)) + rng.uniform(0, 6.3)
    step = r * 2.5
    path = np.stack([np.cumsum(np.cos(heading)) * step, np.cumsum(np.sin(heading)) * step, np.full(n, r)], 1)
    path[:, :2] -= path[:, :2].mean(0)
    parts = []
    for p, a in zip(path, heading, strict=True):
        cell = ball((0, 0, 0), (r * 1.3, r, r), "green", level=2)
        parts.append(cell.moved(turn("z", a), p))
    balls = np.concatenate([path[::3], np.full((len(path[::3]), 1), r)], 1)
    return Body(parts, "debris", "algae", balls)


def fleck(rng, lot):
    """Return a crumb of dirt."""
    vertices, triangles = unit_ball(3)
    shape = vertices * (1 + swell(vertices, rng, 0.22, pitch=2.5) + swell(vertices, rng, 0.1, pitch=7))[:, None]
    r = rng.uniform(0.03, 0.09)
    crumb = Part(shape * r * rng.uniform(0.5, 1.2, 3), triangles, str(rng.choice(["dirt", "dirt", "stone", "green"])))
    return _body([crumb.moved(any_turn(rng))], "fleck", r * 0.7)


def moult(rng, lot):
    """Return the cast skin of a larva: clear, empty, limbs and all."""
    length = lot.nauplius_mm * rng.uniform(0.95, 1.2)
    knots = np.array(PEAR if rng.random() < 0.5 else LONG, float)
    s = (1 - np.cos(np.linspace(0, np.pi, 20))) / 2
    half = np.maximum(PchipInterpolator(*knots.T)(s), 0) * length
    u = s - 0.4
    path = np.stack([length * (0.5 - s), rng.normal(0, 0.2) * length * u**2, rng.normal(0, 0.1) * length * u**2], 1)
    trunk = tube(path, np.stack([half, half * 0.45], 1), "veil", sides=18)
    lumps = swell(trunk.vertices / length * 4, rng, 0.03 * length, pitch=2)
    trunk = trunk.moved(shift=np.stack([lumps * 0, lumps, lumps * 0.3], 1))
    parts = [trunk, *limbs(rng, length, stroke=rng.uniform(-0.5, 0.8), fold=0.6, missing=0.2, material="veil")]
    parts = [p for p in parts if p.outlined]
    matrix = turn("z", rng.uniform(0, 6.3)) @ turn("x", rng.normal(0, 0.4))
    balls = np.stack([*path.T, half * 0.5], 1)[3:-3:5]
    return Body(parts, "debris", "moult", balls).turned(matrix)


def rotifer(rng, lot):
    """Return a rotifer-like bystander: a clear vase with a foot and dark innards."""
    length = rng.uniform(0.17, 0.28)
    knots = [(0, 0.16), (0.06, 0.23), (0.3, 0.3), (0.55, 0.31), (0.72, 0.2), (0.78, 0.05), (0.95, 0.035), (1, 0.0)]
    s = np.linspace(0, 1, 24)
    half = PchipInterpolator(*np.array(knots).T)(s) * length
    path = np.stack([length * (0.5 - s), 0.08 * length * np.clip(s - 0.7, 0, 1), 0 * s], 1)
    parts = [tube(path, half, "pale", sides=16)]
    parts.append(ball((length * 0.02, 0, 0), (0.14 * length, 0.13 * length, 0.12 * length), "dirt"))
    if rng.random() < 0.4:
        parts.append(ball((-length * 0.22, 0.17 * length, 0), (0.13 * length, 0.1 * length, 0.1 * length), "pale"))
    return _body(parts, "bystander", length * 0.28, floats=rng.uniform(0, 0.4)).turned(turn("z", rng.uniform(0, 6.3)))


def copepod(rng, lot):
    """Return a copepod-like bystander: a grey drop with a jointed tail and two long feelers."""
    length = rng.uniform(0.6, 0.95)
    s = np.linspace(0, 1, 60)
    knots = [(0, 0.02), (0.05, 0.1), (0.22, 0.165), (0.4, 0.15), (0.55, 0.1), (0.6, 0.055), (0.95, 0.04), (1, 0.03)]
    half = PchipInterpolator(*np.array(knots).T)(s) * length
    joints = np.where(s > 0.25, 1 - 0.12 * (np.mod(s * 13, 1) > 0.82), 1)
    path = np.stack([length * (0.5 - s), 0 * s, rng.normal(0, 0.1) * length * (s - 0.4) ** 2], 1)
    parts = [tube(path, np.stack([half * joints, half * joints * 0.8], 1), "grey", sides=18)]
    parts.append(tube(path[8:34], np.interp(s[8:34], [0.1, 0.3, 0.55], [0.02, 0.06, 0.02]) * length, "dirt", sides=10))
    for side in (-1, 1):
        way = bent((length * 0.44, side * 0.04 * length, 0), (0.35, side, 0), 0.55 * length, (-0.5, 0, 0), 12)
        parts.append(tube(way, length * np.linspace(0.016, 0.005, 12), "grey", sides=6))
        tail = bent((-length * 0.49, side * 0.02 * length, 0), (-1, side * 0.2, 0), 0.25 * length, (0, 0, 0), 6)
        parts.append(tube(tail, length * np.linspace(0.012, 0.003, 6), "grey", sides=6))
    parts.append(ball((length * 0.45, 0, 0.04 * length), (0.012, 0.014, 0.012), "eye"))
    balls = np.array(
        [[length * x, 0, 0, r * length] for x, r in [(0.3, 0.13), (0.1, 0.13), (-0.2, 0.05), (-0.4, 0.04)]]
    )
    matrix = turn("z", rng.uniform(0, 6.3)) @ turn("x", rng.normal(0, 0.5))
    return Body(parts, "debris", "bystander", balls, floats=rng.uniform(0, 0.3)).turned(matrix)


OTHERS = {
    bubble: 0.2,
    fibre: 0.16,
    sand: 0.14,
    salt: 0.1,
    alga: 0.1,
    fleck: 0.16,
    moult: 0.07,
    rotifer: 0.05,
    copepod: 0.02,
}
