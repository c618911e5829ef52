"""The nauplius, carved: a trunk of round cones along a bent spine, three pairs of limbs, yolk, eye and gut inside.

Own frame: x to the head, y to the side, z to the back; L is the body's length.
"""

import itertools

import numpy as np
from fields import Cones, ellipsoid, mottle, ripples, smooth_union, turned
from light import Part
from patches import Body
from tissues import mix, step_up

TRUNK = (
    (0.375, 0.122),
    (0.30, 0.158),
    (0.20, 0.180),
    (0.08, 0.176),
    (-0.06, 0.150),
    (-0.19, 0.115),
    (-0.31, 0.086),
    (-0.435, 0.063),
)
LONG_TRUNK = (
    (0.40, 0.098),
    (0.33, 0.128),
    (0.24, 0.142),
    (0.13, 0.138),
    (0.0, 0.112),
    (-0.14, 0.082),
    (-0.29, 0.060),
    (-0.455, 0.044),
)


def _spine(profile, length_um, curl, lean):
    """Middles along the spine; ``curl`` to the belly and ``lean`` to the side, radians over the rear half."""
    s = np.array([p[0] for p in profile])
    points = [np.array([s[0], 0.0, 0.0])]
    for k in range(1, len(s)):
        rear = np.clip((0.12 - s[k]) / 0.55, 0, 1)
        a, b = curl * rear, lean * rear
        way = np.array([-np.cos(a) * np.cos(b), np.sin(b), -np.sin(a)])
        points.append(points[-1] + way * (s[k - 1] - s[k]))
    return np.array(points) * length_um


def _limbs(rng, length_um, *, limp, stroke_deg, thin=1.0):
    """Cones and hairs of the three pairs of limbs."""
    links, strands = [], []

    def bone(a, b, ra, rb):
        links.append((a * length_um, b * length_um, ra * length_um * thin, rb * length_um * thin))

    def hair(at, angle, side, long, droop, width_um=2.6):
        bend = np.radians(rng.normal(0, 12))
        way = np.array([np.cos(angle), side * np.sin(angle), droop])
        turn = np.array([np.cos(angle + bend), side * np.sin(angle + bend), droop * 1.3])
        mid = at + way * long * 0.5
        strands.append((np.array([at, mid, mid + turn * long * 0.5]) * length_um, width_um))

    for side in (-1, 1):
        droop = -rng.uniform(0.05, 0.35)
        # first antennae: short, forward, with a tuft at the tip
        a = np.radians(rng.normal(34, 9) + 22 * limp)
        base = np.array([0.40, side * 0.085, -0.04])
        way = np.array([np.cos(a), side * np.sin(a), droop])
        elbow, tip = (
            base + way * 0.12,
            base + way * 0.12 + np.array([np.cos(a * 0.8), side * np.sin(a * 0.8), droop]) * 0.12,
        )
        bone(base, elbow, 0.030, 0.024)
        bone(elbow, tip, 0.024, 0.016)
        for _ in range(3):
            hair(tip, a + rng.normal(0, 0.25), side, rng.uniform(0.16, 0.24), droop)
        # second antennae: the oars
        a = np.radians(stroke_deg + rng.normal(0, 7) + side * rng.normal(0, 5))
        droop = -rng.uniform(0.0, 0.30) - 0.25 * limp
        base = np.array([0.25, side * 0.13, -0.06])
        way = np.array([np.cos(a), side * np.sin(a), droop])
        fork = base + way * 0.25
        bone(base, fork, 0.056, 0.040)
        b = a + np.radians(rng.normal(8 + 10 * limp, 8))
        knee = fork + np.array([np.cos(b), side * np.sin(b), droop]) * 0.20
        c = b + np.radians(rng.normal(12 + 15 * limp, 9))
        tip = knee + np.array([np.cos(c), side * np.sin(c), droop]) * 0.18
        bone(fork, knee, 0.035, 0.025)
        bone(knee, tip, 0.025, 0.013)
        d = a - np.radians(rng.normal(30, 8))
        inner = fork + np.array([np.cos(d), side * np.sin(d), droop]) * 0.15
        bone(fork, inner, 0.026, 0.014)
        spread = rng.uniform(0.5, 1.0) * (1 - 0.5 * limp)
        for k in range(9):
            f = k / 8
            at = fork + (knee - fork) * min(1, 2 * f) + (tip - knee) * max(0, 2 * f - 1)
            hair(at, c + spread * (1.05 - 1.1 * f) + rng.normal(0, 0.08), side, rng.uniform(0.24, 0.32), droop)
        for _ in range(3):
            hair(inner, d + rng.normal(0, 0.3), side, rng.uniform(0.16, 0.24), droop)
        # mandibles: short, backward
        a = np.radians(rng.normal(112, 10) + 15 * limp)
        base = np.array([0.10, side * 0.13, -0.09])
        way = np.array([np.cos(a), side * np.sin(a), -rng.uniform(0.2, 0.5)])
        elbow, tip = (
            base + way * 0.11,
            base + way * 0.12 + np.array([np.cos(a + 0.4), side * np.sin(a + 0.4), way[2]]) * 0.10,
        )
        bone(base, elbow, 0.036, 0.026)
        bone(elbow, tip, 0.026, 0.014)
        for _ in range(3):
            hair(tip, a + 0.4 + rng.normal(0, 0.3), side, rng.uniform(0.09, 0.15), way[2])
    return links, strands


def _tissue(rng, stuff, length_um, trunk, spine, *, late, pale):
    """What the trunk is made of at a point."""
    grain, patchy = mottle(rng, 22), mottle(rng, 75)
    eye = np.array([0.415, 0.0, 0.055]) * length_um
    eye_radii = np.array([0.026, 0.034, 0.026]) * length_um * rng.uniform(0.9, 1.15)
    fill = (0.28 if late else 1.0) * (0.30 if pale else 1.0) * rng.uniform(0.85, 1.1)
    front, back = (0.30, 0.37), (-0.47, -0.36)
    gut = None
    if late:
        gut = Cones([(a, b, 0.030 * length_um, 0.030 * length_um) for a, b in itertools.pairwise(spine)], 4)

    def at(q):
        x = q[0] / length_um
        deep = step_up(-trunk(q) / length_um, 0.012, 0.075)
        along = (1 - 0.8 * step_up(x, *front)) * (0.35 + 0.65 * step_up(x, *back))
        share = fill * deep * along * np.clip(1 + 0.28 * grain(q) + 0.22 * patchy(q), 0.3, None)
        see = step_up(-ellipsoid(q, eye, eye_radii), -5, 3) * (0.6 if pale else 1.0)
        parts = [(stuff.clear, (1 - 0.5 * share).clip(0.3, None)), (stuff.yolk, share), (stuff.eye, see)]
        if gut is not None:
            parts.append((stuff.gut, step_up(-gut(q), -6, 4)))
        return mix(parts)

    return at


def _turn(rng, pose):
    """Which way the body faces the camera."""
    roll, pitch = rng.normal(0, 12), rng.normal(0, 9)
    if rng.random() < 0.5:
        roll += 180  # on its back
    if pose == "side":
        roll = rng.choice([-90, 90]) + rng.normal(0, 12)
    elif pose == "oblique":
        roll += rng.choice([-1, 1]) * rng.uniform(30, 60)
        pitch += rng.choice([-1, 1]) * rng.uniform(10, 35)
    elif pose == "head-on":
        pitch = rng.choice([-1, 1]) * rng.uniform(55, 75)
    return turned(0, 0, rng.uniform(0, 360)) @ turned(0, pitch, 0) @ turned(roll, 0, 0)


def nauplius(rng, stuff, mean_um, *, late_share=0.0, limp_all=False, skin=False):
    """Carve one; ``skin`` makes the cast skin of one (a moult, debris)."""
    late = rng.random() < late_share
    dead = rng.random() < 0.07 or skin
    length_um = mean_um * rng.normal(1, 0.045) * (rng.uniform(1.2, 1.45) if late else 1.0)
    pose = rng.choice(["dorsal", "side", "oblique", "curled", "head-on"], p=[0.52, 0.19, 0.19, 0.06, 0.04])
    curl = rng.normal(0.1, 0.22) + (rng.uniform(0.7, 1.1) if pose == "curled" else 0)
    profile = LONG_TRUNK if late else TRUNK
    spine = _spine(profile, length_um, curl, rng.normal(0, 0.16))
    plump = rng.normal(1.0, 0.05) * (0.9 if dead else 1.0)
    radii = [p[1] * length_um * plump for p in profile]
    chain = [(a, b, ra, rb) for a, b, ra, rb in zip(spine[:-1], spine[1:], radii[:-1], radii[1:], strict=True)]
    trunk = Cones(chain, 0.012 * length_um)
    lip, lip_radii = np.array([0.17, 0, -0.15]) * length_um, np.array([0.105, 0.075, 0.075]) * length_um
    rough, size = ripples(rng, 90), rng.uniform(1.0, 2.5) * (3.5 if dead else 1)

    def body(q):
        d = smooth_union(trunk(q), ellipsoid(q, lip, lip_radii), 0.05 * length_um)
        return d + size * rough(q)

    limp = 1.0 if (dead or limp_all) else 0.0
    stroke = np.clip(rng.normal(78, 24), 35, 125) + 25 * limp
    links, strands = _limbs(rng, length_um, limp=limp, stroke_deg=stroke, thin=0.85 if late else 1.0)
    tissue = _tissue(rng, stuff, length_um, trunk, spine, late=late, pale=dead)
    soft = mottle(rng, 40)
    limb_share = 2.4

    def limb_tissue(q):
        return mix(
            [(stuff.clear, limb_share * (1 + 0.2 * soft(q))), (stuff.yolk, np.full(q.shape[1], 0.12, np.float32))]
        )

    def outside(cones):
        """Limbs as far as they stand out of the trunk: what is inside it is the trunk's own tissue."""

        def field(q):
            d = cones(q)
            close = np.flatnonzero(d < 1)  # elsewhere the cut changes nothing
            if close.size:
                d[close] = np.maximum(d[close], -trunk(q[:, close]) - 4)
            return d

        return field

    if skin:
        return _moult(rng, stuff, body, links, strands, pose, length_um)
    parts = [Part(body, tissue, samples=6, gloss=0.06, rim=0.75, rim_glow=0.5, flat=trunk_bound(trunk, length_um))]
    beating = not (limp or rng.random() > 0.14)
    if beating:
        state = rng.bit_generator.state
        for k, swing in enumerate((-9, 0, 9)):
            rng.bit_generator.state = state  # the same limbs again, a little further on their stroke
            some, hairs = _limbs(rng, length_um, limp=0, stroke_deg=stroke + swing, thin=0.85 if late else 1.0)
            cones = Cones(some, 0.008 * length_um)
            parts.append(
                Part(outside(cones), limb_tissue, samples=2, rim=0.5, weight=0.4, outline=k == 1, flat=cones.flat)
            )
            strands = hairs if k == 1 else strands
    else:
        cones = Cones(links, 0.008 * length_um)
        parts.append(Part(outside(cones), limb_tissue, samples=2, gloss=0.06, rim=0.6, rim_glow=0.35, flat=cones.flat))
    detail = pose if not (late or dead) else f"{pose}, {'instar II' if late else 'pale'}"
    return Body(
        "nauplius", detail, parts, _turn(rng, pose), 0.80 * length_um, length_um, strands, caustic=0.25,
        middle=(0.06 * length_um, 0.0, 0.0), sharp=0.4 if beating else 1.0,
    )  # fmt: skip


def trunk_bound(trunk, length_um):
    """Rays worth tracing for a trunk with its lip: a little more than the cones' own bound."""
    return lambda x, y, turn: trunk.flat(x, y, turn) - 0.08 * length_um


def _moult(rng, stuff, body, links, strands, pose, length_um):
    """A cast skin: the same form, but a clear film that is open and crumpled."""
    limbs, crumple = Cones(links, 0.01 * length_um), ripples(rng, 110)
    fold = ripples(rng, 35)

    def film(q):
        whole = smooth_union(body(q) + 9 * crumple(q), limbs(q) + 3, 6)
        return np.abs(whole + 4) - 1.6 + 0.3 * fold(q)

    def thin(q):
        return mix([(stuff.membrane, np.full(q.shape[1], 1.5, np.float32))])

    bound = trunk_bound(Cones(links, 0.01 * length_um), length_um * 2)
    part = Part(film, thin, entries=2, samples=1, gloss=0.05, rim=0.30, rim_glow=0.4, opaque=0.1, flat=bound)
    middle = (0.06 * length_um, 0.0, 0.0)
    return Body(
        "debris",
        "moult",
        [part],
        _turn(rng, pose),
        0.8 * length_um,
        length_um,
        strands[::3],
        middle,
        caustic=0.0,
        sharp=0.5,
    )
