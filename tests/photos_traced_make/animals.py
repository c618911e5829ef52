"""Nauplii and the bystanders that a person could take for them."""

import numpy as np
from eggs import random_turn
from scipy.interpolate import PchipInterpolator
from sheet import FAR, bump, capsule, ellipsoid, fuse, lumpy, matter, rotation


class Pose:
    """Maps points of the body (units of its length, x forward, z dorsal) to micrometres."""

    def __init__(self, turn, scale, bend=0.0, tilt=0.0):
        self.turn, self.scale, self.bend, self.tilt = turn, scale, bend, tilt

    def __call__(self, x, y, z):
        """Bend the body along a parabola behind its head, then turn and scale it."""
        back = max(0.25 - x, 0) ** 2
        return self.turn @ np.array([x, y + self.bend * back, z + self.tilt * back]) * self.scale


def swim_pose(rng, scale, wild=False):
    """Pose of an animal: mostly flat, any roll, sometimes steep or end-on."""
    pitch = rng.normal(0, 0.3) if rng.random() < 0.85 else rng.uniform(-1.45, 1.45)
    turn = rotation(rng.uniform(0, 2 * np.pi), pitch, rng.normal(0, 0.9) + np.pi * rng.integers(2))
    curl = 0.9 if wild else 0.22
    return Pose(turn, scale, rng.normal(0, curl), rng.normal(0, curl))


def limb(sheet, pose, lot, joints, radii, setae=(), weight=1.0, root=False):
    """A limb as a chain of capsules; setae are (start, end) pairs of points.

    With `root`, branches drawn later grow out of it without darkening it.
    """
    pts = [pose(*j) for j in joints]
    parts = [
        capsule(sheet, pts[i], pts[i + 1], radii[i] * pose.scale, radii[i + 1] * pose.scale)
        for i in range(len(pts) - 1)
    ]
    thin = np.mean([p[3] for p in parts])
    where, entry, leave = fuse(sheet, parts, 5.0)
    sheet.fill(where, entry, leave, lot["limb"], thin * weight, hull=weight > 0.25, buried=0.25)
    if root:
        sheet.core[where] |= entry > leave
    for start, end in setae:
        where, a, b, w = capsule(sheet, pose(*start), pose(*end), 2.2, 1.0)
        sheet.fill(where, a, b, lot["seta"], w * weight, hull=False, buried=0.2)


def ramus(base, heading, length, lift, side, segments=4, sag=0.0):
    """Joints of one branch: from base along a heading (0 sideways, + forward), curving by sag."""
    pts, at, step = [np.array(base, float)], heading, length / segments
    for _ in range(segments):
        pts.append(pts[-1] + step * np.array([np.sin(at), side * np.cos(at), lift]))
        at += sag / segments
    return pts


def fringe(pts, side, long, count, spread):
    """Setae along the rear edge of a branch and in a fan at its tip."""
    out, pts = [], np.array(pts)
    along = np.interp(np.linspace(0.35, 1, count), np.linspace(0, 1, len(pts)), np.arange(len(pts)))
    tip = pts[-1] - pts[-2]
    tip /= np.linalg.norm(tip) + 1e-9
    rear = np.array([tip[1] * side, -tip[0] * side, 0]) * side
    rear *= -1 if rear[0] > 0 else 1
    for k, s in enumerate(along):
        p = np.array([np.interp(s, np.arange(len(pts)), pts[:, i]) for i in range(3)])
        mix = (k + 1) / count
        hair = tip * mix + rear * (1 - mix) * spread + [0, 0, 0.12 * np.sin(2.4 * k)]
        out.append((p, p + hair / np.linalg.norm(hair) * long))
    return out


def second_antenna(sheet, pose, lot, side, heading, rng, weight):
    """The swimming limb: a stout stem, a long outer and a shorter inner branch, both fringed."""
    lift = rng.uniform(-0.25, 0.1)
    stem = ramus((0.24, side * 0.13, -0.05), heading, 0.25, lift, side, 2)
    limb(sheet, pose, lot, stem, (0.058, 0.05, 0.042), weight=weight, root=weight == 1)
    sag = -rng.uniform(0.1, 0.8)
    outer = ramus(stem[-1], heading - 0.05, 0.38, lift, side, 4, sag)
    limb(sheet, pose, lot, outer, (0.042, 0.037, 0.031, 0.025, 0.016), fringe(outer, side, 0.2, 9, 0.9), weight)
    inner = ramus(stem[-1], heading - 0.5, 0.2, lift - 0.15, side, 3, sag)
    limb(sheet, pose, lot, inner, (0.035, 0.029, 0.022, 0.014), fringe(inner, side, 0.16, 4, 0.7), weight)


def appendages(sheet, pose, lot, rng, state):
    """All three pairs of limbs; a beating pair is smeared over several angles."""
    stroke = rng.uniform(-0.85, 0.9)
    beating = state == "alive" and rng.random() < 0.3
    for side in (1, -1):
        middle = stroke + rng.normal(0, 0.12 if state != "dead" else 0.5)
        angles = middle + np.linspace(-0.25, 0.25, 4) if beating else [middle]
        # Every smeared copy draws the same numbers, so only its angle differs.
        twin = int(rng.integers(2**32))
        for angle in angles:
            second_antenna(sheet, pose, lot, side, angle, np.random.default_rng(twin), 1 / len(angles) ** 0.8)
        front = ramus((0.4, side * 0.09, -0.05), rng.uniform(0.6, 1.2), 0.24, -0.1, side, 3, 0.2)
        limb(sheet, pose, lot, front, (0.03, 0.026, 0.022, 0.016), fringe(front, side, 0.12, 3, 0.25))
        jaw = ramus((0.06, side * 0.13, -0.1), rng.uniform(-0.9, 0.1), 0.2, -0.3, side, 3, -0.5)
        limb(sheet, pose, lot, jaw, (0.045, 0.034, 0.025, 0.015), fringe(jaw, side, 0.1, 4, 0.6))


TRUNK = {
    "instar1": (
        [0.47, 0.40, 0.28, 0.14, 0.0, -0.14, -0.28, -0.40, -0.47],
        [0.075, 0.15, 0.185, 0.195, 0.178, 0.155, 0.125, 0.088, 0.045],
    ),
    "instar2": (
        [0.47, 0.42, 0.32, 0.20, 0.06, -0.1, -0.25, -0.38, -0.48],
        [0.05, 0.095, 0.12, 0.13, 0.098, 0.08, 0.068, 0.052, 0.03],
    ),
}


def nauplius_reach(length):
    """Radius (um) of the circle that holds a nauplius with its limbs."""
    return 0.86 * length


def trunk_parts(sheet, pose, xs, radii, factor=1.0):
    """The body as a chain of capsules along its (bent) long axis, its outline rounded first."""
    fine = np.linspace(xs[0], xs[-1], 2 * len(xs) - 1)
    radii = PchipInterpolator(xs[::-1], np.asarray(radii)[::-1])(fine)
    xs = fine
    pts = [pose(x, 0, 0) for x in xs]
    return [
        capsule(sheet, pts[i], pts[i + 1], radii[i] * pose.scale * factor, radii[i + 1] * pose.scale * factor)
        for i in range(len(xs) - 1)
    ]


def draw_nauplius(sheet, rng, lot, length, detail):
    """A free nauplius of instar I or II, alive or dead."""
    second = detail == "instar2"
    dead = detail == "dead"
    pose = swim_pose(rng, length, wild=dead)
    xs, radii = TRUNK["instar2" if second else "instar1"]
    radii = np.array(radii) * rng.uniform(0.9, 1.15)
    where, entry, leave = fuse(sheet, trunk_parts(sheet, pose, xs, radii), 3.0)
    sheet.fill(where, entry, leave, lot["tissue"])
    sheet.core[where] |= entry > leave
    store = rng.uniform(0.1, 0.3) if second else rng.uniform(0.7, 1.1)
    inner = trunk_parts(sheet, pose, xs[1:-1], radii[1:-1], 0.8)
    sheet.fill(*fuse(sheet, inner[:10], 3.0), lot["yolk"], 0.75 * store)
    # The trunk behind the head keeps most of the yolk.
    where, a, b, w = ellipsoid(sheet, pose(-0.1, 0, 0.02), np.array([0.2, 0.1, 0.1]) * length, pose.turn)
    sheet.fill(where, a, b, lot["yolk"], store * w)
    where, a, b, w = ellipsoid(sheet, pose(0.22, 0, -0.15), np.array([0.12, 0.08, 0.05]) * length, pose.turn)
    sheet.fill(where, a, b, lot["tissue"], w, buried=0.4)
    if second:
        gut = trunk_parts(sheet, pose, [0.26, 0.1, -0.1, -0.3, -0.46], [0.035] * 5)
        sheet.fill(*fuse(sheet, gut, 8.0), lot["gut"], rng.uniform(0.5, 1.3))
        for side in (1, -1):
            limb(
                sheet,
                pose,
                lot,
                [(-0.44, side * 0.02, 0), (-0.53, side * 0.04, 0)],
                (0.02, 0.01),
                [((-0.53, side * 0.04, 0), (-0.62, side * 0.06, 0))],
            )
    appendages(sheet, pose, lot, rng, "dead" if dead else "alive")
    where, a, b, w = ellipsoid(sheet, pose(0.42, 0, 0.035), [0.031 * length] * 3, np.eye(3))
    sheet.fill(where, a, b, lot["eye"], w)
    if dead:
        # Dead tissue turns cloudy and loses its colour.
        grey = sheet.tint.mean(-1, keepdims=True)
        sheet.tint = 0.55 * sheet.tint + 0.5 * grey


def draw_moult(sheet, rng, lot, length, detail):
    """A cast skin: the outline of a nauplius with nothing in it."""
    pose = swim_pose(rng, length, wild=True)
    xs, radii = TRUNK["instar1"]
    ghost = dict(lot, limb=lot["clear"])
    where, entry, leave = fuse(sheet, trunk_parts(sheet, pose, xs, np.array(radii) * 0.8), 3.0)
    sheet.fill(where, entry, leave, lot["clear"], 0.4)
    sheet.core[where] |= entry > leave
    appendages(sheet, pose, ghost, rng, "dead")
    sheet.scatter *= 0.8


def draw_rotifer(sheet, rng, lot, length, detail):
    """A rotifer-like bystander: a pale vase with a crown and a narrow foot."""
    pose = swim_pose(rng, length)
    xs = [0.5, 0.35, 0.1, -0.15, -0.28, -0.5]
    radii = [0.2, 0.24, 0.29, 0.22, 0.07, 0.03]
    body = matter([0.3, 0.34, 0.42], 1.1, [0.72, 0.72, 0.6], 0.5, 0.6)
    sheet.fill(*fuse(sheet, trunk_parts(sheet, pose, xs, radii), 3.0), body)
    where, a, b, w = ellipsoid(sheet, pose(-0.02, 0.02, 0), np.array([0.14, 0.1, 0.1]) * length, pose.turn)
    sheet.fill(where, a, b, matter([0.9, 0.6, 1.1], 2.2, [0.4, 0.5, 0.22], 0.1), w)
    for side in (1, -1):
        limb(sheet, pose, lot, [(0.48, side * 0.17, 0), (0.6, side * 0.22, 0)], (0.05, 0.02))


def draw_copepod(sheet, rng, lot, length, detail):
    """A copepod-like bystander: a grey drop with rings, long feelers and a forked tail."""
    pose = swim_pose(rng, length)
    body = matter([0.4, 0.42, 0.45], 1.3, [0.62, 0.62, 0.58], 0.4, 0.6)
    xs = [0.5, 0.4, 0.2, 0.05, -0.03, -0.2, -0.4]
    radii = [0.05, 0.11, 0.145, 0.11, 0.055, 0.045, 0.03]
    sheet.fill(*fuse(sheet, trunk_parts(sheet, pose, xs, radii), 3.0), body)
    grey = dict(lot, limb=body)
    for side in (1, -1):
        feeler = ramus((0.42, side * 0.05, 0), rng.uniform(-0.4, 0.4), 0.42, 0, side, 4, -0.6)
        limb(sheet, pose, grey, feeler, (0.02, 0.017, 0.014, 0.011, 0.008))
        limb(
            sheet,
            pose,
            grey,
            [(-0.4, side * 0.02, 0), (-0.5, side * 0.045, 0)],
            (0.02, 0.012),
            [((-0.5, side * 0.045, 0), (-0.72, side * (0.05 + 0.05 * k), 0)) for k in range(3)],
        )
    where, a, b, w = ellipsoid(sheet, pose(0.43, 0, 0.03), [0.02 * length] * 3, np.eye(3))
    sheet.fill(where, a, b, lot["eye"], w)


def draw_grain(sheet, rng, lot, length, detail):
    """A mineral grain: angular, glassy or dull."""
    where, up, low, _, _, hit = lumpy(sheet, np.zeros(3), length * 0.42, bump(rng, 7, 0.13, 2, 6))
    if rng.random() < 0.5:
        stuff = matter([0.35, 0.4, 0.5], 0.8, [0.8, 0.78, 0.72], 1.1, 1.0)
    else:
        stuff = matter([1.6, 1.7, 1.8], 5.0, [0.33, 0.31, 0.3], 0.8, 0.5)
    sheet.fill(where, np.where(hit, up, FAR), low, stuff)


def draw_algae(sheet, rng, lot, length, detail):
    """A clump of green cells."""
    green = matter([1.3, 0.6, 1.5], 3.5, [0.28, 0.42, 0.14], 0.5, 0.2)
    for _ in range(int(rng.integers(18, 45))):
        at = rng.normal(0, length * 0.15, 3) * [1, 0.7, 0.5]
        where, a, b, w = ellipsoid(sheet, at, rng.uniform(8, 20, 3), random_turn(rng))
        sheet.fill(where, a, b, green, w)


def draw_fibre(sheet, rng, lot, length, detail):
    """A curved textile fibre."""
    dye = [[0.25, 0.35, 0.7], [0.8, 0.8, 0.82], [0.6, 0.2, 0.2], [0.25, 0.25, 0.27]]
    stuff = matter([0.0] * 3, 4.0, dye[rng.integers(4)], 1.2, 0.4)
    stuff["absorb"] = (3.4 * (1 - stuff["albedo"]) / 100).astype(np.float32)
    at, heading = -0.45 * length * np.array([1.0, 0, 0]), rng.normal(0, 0.5)
    turn, radius, rate = rotation(rng.uniform(0, 6.3), 0, 0), rng.uniform(5, 10), 0.0
    parts = []
    for _ in range(14):
        rate += rng.normal(0, 0.12)
        heading = 0.9 * heading + rate * 0.5
        ahead = at + length / 15 * np.array([np.cos(heading), np.sin(heading), 0.05])
        parts.append(capsule(sheet, turn @ at, turn @ ahead, radius, radius))
        at = ahead
    sheet.fill(*fuse(sheet, parts, 2.0), stuff, parts[0][3])


def draw_bubble(sheet, rng, lot, length, detail):
    """An air bubble: a black ring with a bright middle from below, glints from above."""
    where, a, b, _ = ellipsoid(sheet, np.zeros(3), [length / 2] * 3, np.eye(3))
    sheet.fill(where, a, b, matter([0.0] * 3, 0.03, [0.9, 0.9, 0.95], 1.2, 1.6))
    # Total reflection makes the outer part of a bubble black from below.
    steep = np.clip(1 - ((a - b) / length) ** 2, 0, 1) * (a > b)
    sheet.od[where] += (2.6 * steep**3)[..., None]


DEBRIS = {
    "rotifer": (draw_rotifer, (150, 240), 0.75),
    "copepod": (draw_copepod, (420, 800), 0.85),
    "moult": (draw_moult, (420, 520), 0.86),
    "grain": (draw_grain, (90, 240), 0.8),
    "algae": (draw_algae, (110, 260), 0.75),
    "fibre": (draw_fibre, (350, 1200), 0.62),
    "bubble": (draw_bubble, (80, 260), 0.56),
}
