"""What is never counted, carved: fibres, salt, bubbles, dust, sand, algae, cast skins and small bystanders."""

import itertools

import numpy as np
from fields import Cones, any_turn, ball, ellipsoid, mottle, ripples, smooth_union, turned
from light import Part, even
from nauplius import nauplius
from patches import Body
from tissues import mix, step_up

KINDS = ("fibre", "salt", "bubble", "dust", "sand", "algae", "moult", "rotifer", "ciliate", "copepod")
ODDS = (0.20, 0.10, 0.10, 0.18, 0.11, 0.09, 0.08, 0.05, 0.05, 0.04)


def debris(rng, stuff, mean_um, kind=None):
    """Carve one piece of dirt."""
    kind = kind or str(rng.choice(KINDS, p=ODDS))
    if kind == "moult":
        return nauplius(rng, stuff, mean_um * rng.uniform(0.95, 1.1), skin=True)
    return globals()[f"_{kind}"](rng, stuff)


def _body(detail, part, turn, reach, length, **more):
    return Body("debris", detail, [part], turn, float(reach), float(length), **more)


def _fibre(rng, stuff):
    long, radius = rng.uniform(250, 1500), rng.uniform(4, 11)
    at, angle, points = np.zeros(3), 0.0, [np.zeros(3)]
    pieces, bend = 14, rng.normal(0, 0.16)
    for _ in range(pieces):
        bend = bend * 0.85 + rng.normal(0, 0.10)
        angle += bend
        at = at + np.array([np.cos(angle), np.sin(angle), rng.normal(0, 0.04)]) * long / pieces
        points.append(at)
    points = np.array(points) - np.mean(points, 0)
    field = Cones([(a, b, radius, radius) for a, b in itertools.pairwise(points)], 1.0)
    tint = np.array(
        [(0.02, 0.021, 0.022), (0.05, 0.03, 0.008), (0.012, 0.03, 0.06), (0.05, 0.05, 0.05), (0.005, 0.005, 0.006)]
    )[rng.integers(5)]
    tissue = even(tint * rng.uniform(0.6, 1.3), np.full(3, 0.02) * rng.uniform(0.4, 1.6))
    part = Part(field, tissue, samples=1, rim=1.1, rim_glow=0.6, gloss=0.1, flat=field.flat)
    return _body("fibre", part, turned(z_deg=rng.uniform(0, 360)), np.abs(points).max() * 1.42 + 12, long, caustic=0.0)


def _salt(rng, stuff):
    half = rng.uniform(30, 120) * rng.uniform(0.7, 1.3, 3)
    soft, wave = rng.uniform(4, 14), ripples(rng, 70)

    def field(q):
        v = np.abs(q) - (half[:, None] - soft)
        return np.sqrt((np.maximum(v, 0) ** 2).sum(0)) + np.minimum(v.max(0), 0) - soft + 1.5 * wave(q)

    part = Part(field, even((0.0004,) * 3, (0.0006,) * 3), samples=2, rim=2.2, rim_glow=1.2, gloss=0.22, opaque=0.2)
    reach = np.linalg.norm(half) + 5
    return _body("salt", part, any_turn(rng), reach, 2 * half.max(), caustic=0.6)


def _bubble(rng, stuff):
    radius = rng.uniform(35, 190)

    def field(q):
        return ball(q, (0, 0, 0), radius)

    part = Part(field, even((0.00005,) * 3, (0.00005,) * 3), samples=1, rim=6.0, rim_glow=2.2, gloss=0.28, opaque=0.0)
    return _body("bubble", part, np.eye(3, dtype=np.float32), radius + 4, 2 * radius, caustic=0.8)


def _dust(rng, stuff):
    radii = rng.uniform(15, 70) * rng.uniform(0.5, 1.4, 3)
    coarse, fine = ripples(rng, 60), ripples(rng, 26)

    def field(q):
        return ellipsoid(q, (0, 0, 0), radii) + 0.28 * radii.min() * coarse(q) + 0.15 * radii.min() * fine(q)

    dark = rng.uniform(0.012, 0.06)
    tissue = even(np.array([1, 1.08, 1.2]) * dark, np.array([1, 0.95, 0.85]) * dark * rng.uniform(0.1, 1.2))
    part = Part(field, tissue, samples=3, rim=0.8)
    return _body("dust", part, any_turn(rng), radii.max() * 1.5, 2 * radii.max(), caustic=0.0)


def _sand(rng, stuff):
    radius = rng.uniform(50, 150)
    ways = rng.normal(size=(11, 3))
    ways = (ways / np.linalg.norm(ways, axis=1)[:, None]).astype(np.float32)
    depth = (radius * rng.uniform(0.62, 1.0, (11, 1))).astype(np.float32)
    wave = ripples(rng, 50)

    def field(q):
        return np.maximum((ways @ q - depth).max(0), ball(q, (0, 0, 0), radius * 1.05)) + 1.2 * wave(q)

    tint = np.array([(0.002, 0.003, 0.005), (0.004, 0.005, 0.006), (0.012, 0.013, 0.014)])[rng.integers(3)]
    part = Part(
        field, even(tint * rng.uniform(0.6, 1.5), (0.004, 0.0038, 0.0032)), samples=3, rim=2.0, gloss=0.15, rim_glow=0.5
    )
    return _body("sand", part, any_turn(rng), radius * 1.15, 2 * radius, caustic=0.3)


def _algae(rng, stuff):
    links, at = [], np.zeros(3)
    for _ in range(rng.integers(6, 22)):
        at = at * 0.8 + rng.normal(0, 26, 3) * (1, 1, 0.5)
        r = rng.uniform(9, 24)
        links.append((at, at + rng.normal(0, 6, 3), r, r))
    field = Cones(links, 2.0)
    green = np.array([(0.012, 0.005, 0.018), (0.016, 0.010, 0.020), (0.010, 0.012, 0.020)])[rng.integers(3)]
    cloud = mottle(rng, 25)

    def tissue(q):
        return mix([((green.astype(np.float32), green[::-1].astype(np.float32) * 0 + 0.003), 1 + 0.5 * cloud(q))])

    reach = max(np.linalg.norm(link[0]) + link[2] for link in links) + 14
    return _body(
        "algae", Part(field, tissue, entries=2, samples=3, rim=0.7, flat=field.flat), any_turn(rng), reach, 2 * reach
    )


def _animal(rng, stuff, field, long, *, fill=0.4, eye=None, strands=(), detail, flat=None):
    cloud, grain = mottle(rng, 60), mottle(rng, 18)
    tint = (
        np.array([0.003, 0.004, 0.007], np.float32) * np.float32(rng.uniform(0.5, 1.6)),
        np.full(3, 0.003, np.float32),
    )

    def tissue(q):
        inner = step_up(-field(q), 4, 18) * np.clip(fill * (1 + 0.9 * cloud(q) + 0.5 * grain(q)), 0.05, None)
        parts = [(stuff.clear, np.ones(q.shape[1], np.float32)), (tint, inner)]
        if eye is not None:
            parts.append((stuff.eye, step_up(-ball(q, eye, 9), -3, 3)))
        return mix(parts)

    part = Part(field, tissue, samples=4, rim=0.8, rim_glow=0.5, flat=flat)
    turn = turned(0, 0, rng.uniform(0, 360)) @ turned(rng.uniform(0, 360), rng.normal(0, 14), 0)
    return Body("debris", detail, [part], turn, float(long * 0.62), float(long), strands, caustic=0.1)


def _rotifer(rng, stuff):
    long = rng.uniform(170, 290)
    wide = long * rng.uniform(0.24, 0.30)
    foot = Cones([((-0.25 * long, 0, 0), (-0.55 * long, rng.normal(0, 0.08) * long, 0), 0.05 * long, 0.02 * long)], 3)

    def field(q):
        d = ellipsoid(q, (0.05 * long, 0, 0), (0.36 * long, wide, wide * 0.75))
        d = np.maximum(d, q[0] - 0.33 * long)  # the crown is cut off flat
        return smooth_union(d, foot(q), 0.05 * long)

    crown = [
        (np.array([[0.32 * long, a * wide, 0], [0.42 * long, a * wide * 1.25, 0]]), 1.8)
        for a in np.linspace(-0.6, 0.6, 8)
    ]
    return _animal(rng, stuff, field, long, fill=0.9, strands=crown, detail="rotifer")


def _ciliate(rng, stuff):
    long = rng.uniform(70, 190)
    radii = long * np.array([0.5, rng.uniform(0.2, 0.34), rng.uniform(0.18, 0.26)])
    return _animal(rng, stuff, lambda q: ellipsoid(q, (0, 0, 0), radii), long, fill=1.2, detail="ciliate")


def _copepod(rng, stuff):
    long = rng.uniform(350, 700)
    links = [
        ((0.42 * long, 0, 0), (0.18 * long, 0, 0), 0.09 * long, 0.125 * long),
        ((0.18 * long, 0, 0), (-0.08 * long, 0, 0), 0.125 * long, 0.085 * long),
    ]
    links += [((-0.10 * long, 0, 0), (-0.42 * long, 0, 0), 0.055 * long, 0.035 * long)]
    hairs = []
    for side in (-1, 1):
        a, b = (0.44 * long, side * 0.05 * long, 0), (0.36 * long, side * 0.30 * long, 0.02 * long)
        c = (0.10 * long, side * 0.48 * long, 0.02 * long)
        links += [(a, b, 0.022 * long, 0.016 * long), (b, c, 0.016 * long, 0.008 * long)]
        links += [
            ((-0.42 * long, side * 0.02 * long, 0), (-0.50 * long, side * 0.035 * long, 0), 0.016 * long, 0.012 * long)
        ]
        tail = np.array([-0.50 * long, side * 0.035 * long, 0])
        hairs += [
            (np.array([tail, tail + np.array([-0.2 * long, side * f * long, 0])]), 2.5) for f in (0.01, 0.05, 0.09)
        ]
    field = Cones(links, 0.01 * long)
    eye = np.array([0.44, 0.0, 0.05]) * long
    return _animal(rng, stuff, field, long * 1.15, fill=0.5, eye=eye, strands=hairs, detail="copepod", flat=field.flat)
