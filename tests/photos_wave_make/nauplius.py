"""Nauplii: a spine with a radius profile, yolk in it, one eye, three pairs of limbs with bristles."""

import numpy as np
from sketch import EYE, LIMB, TISSUE, YOLK, Sheet, turn

# Half width of the body over its length, by place along it (head 0, tail 1), seen from the back.
PLACE = np.array([0.10, 0.17, 0.25, 0.34, 0.44, 0.54, 0.64, 0.74, 0.84, 0.93])
WIDTH = np.array([0.123, 0.156, 0.175, 0.179, 0.166, 0.150, 0.136, 0.119, 0.099, 0.073])
WIDTH_SIDE = np.array([0.112, 0.138, 0.150, 0.152, 0.148, 0.142, 0.130, 0.114, 0.092, 0.064])


def _spine(length, bend, squeeze):
    """Spine points from head to tail, the head towards +x, and the directions along it."""
    place = PLACE.copy()
    heading = bend * (place - 0.25) ** 2 * np.sign(place - 0.25) * 1.9
    step = np.diff(place) * length * squeeze
    middle = 0.5 * (heading[1:] + heading[:-1])
    x = -np.concatenate([[0], np.cumsum(step * np.cos(middle))])
    y = np.concatenate([[0], np.cumsum(step * np.sin(middle))])
    points = np.stack([x, y], 1)
    return points - points[4], heading


def _limb(sheet, base, angle, length, radii, curl, strength, parts=5):
    """A bent tapering limb; returns its tip, its last direction and its points."""
    angles = angle + curl * np.linspace(0, 1, parts)
    steps = np.stack([np.cos(angles), np.sin(angles)], 1) * length / parts
    points = np.concatenate([[base], base + np.cumsum(steps, 0)])
    box, half, _ = sheet.tube(points, np.linspace(radii[0], radii[1], parts + 1))
    sheet.add(box, half, LIMB, strength)
    return points[-1], angles[-1], points


def _bristles(sheet, tips, angles, length, strength):
    for tip, angle in zip(tips, angles):
        bow = angle + sheet.rng.normal(0, 0.12)
        middle = tip + 0.5 * length * np.array([np.cos(angle), np.sin(angle)])
        end = middle + 0.5 * length * np.array([np.cos(bow), np.sin(bow)])
        sheet.hair(tip, middle, 1.3, strength=strength)
        sheet.hair(middle, end, 0.9, strength=strength)


def _second_antenna(sheet, base, angle, side, size, strength, limp):
    """Stem, long outer branch with a comb of swimming bristles, short inner branch."""
    rng = sheet.rng
    curl = side * rng.uniform(0.15, 0.75) * (1.6 if limp else 1)
    angles = angle + curl * np.array([0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.1])
    steps = size * np.array([0.080, 0.100, 0.078, 0.078, 0.075, 0.068, 0.055])
    points = base + np.concatenate(
        [[[0, 0]], np.cumsum(steps[:, None] * np.stack([np.cos(angles), np.sin(angles)], 1), 0)]
    )
    box, half, _ = sheet.tube(points, size * np.array([0.056, 0.053, 0.043, 0.035, 0.029, 0.024, 0.018, 0.011]))
    sheet.add(box, half, LIMB, strength)
    tip, last, out, points = points[2], angles[1], angles[-1], points[2:]
    share = np.linspace(0.25, 1, 8)
    place = np.stack([np.interp(share, np.linspace(0, 1, len(points)), points[:, k]) for k in (0, 1)], 1)
    fan = out + side * np.linspace(0.95, -0.12, 8)
    _bristles(sheet, place, fan, rng.uniform(0.24, 0.32) * size, 1.0)
    inner, out, _ = _limb(
        sheet, tip, last + side * rng.uniform(0.35, 0.7), 0.20 * size, (0.024 * size, 0.010 * size), curl, strength
    )
    _bristles(sheet, [inner] * 4, out + np.linspace(-0.3, 0.3, 4), 0.2 * size, 1.0)


def _limbs(sheet, spot, across, forward, side, size, phase, strength, limp, foreshorten):
    """The three limbs of one side; ``spot(place, lateral)`` gives points of the body."""
    rng = sheet.rng
    lean = forward + side * rng.uniform(0.35, 0.8)
    tip, out, _ = _limb(
        sheet, spot(0.13, side * 0.095 * across), lean, 0.25 * size * foreshorten, (0.024 * size, 0.013 * size),
        side * rng.uniform(-0.3, 0.3), strength, 4,
    )  # fmt: skip
    _bristles(sheet, [tip] * 3, out + np.array([-0.3, 0.0, 0.3]), 0.16 * size, 1.0)
    base = spot(0.27, side * 0.125 * across)
    angle = forward + side * phase
    moving = rng.random() < 0.22 and not limp
    if moving:  # a stroke during the exposure smears the limb over an arc
        for shift in (-0.16, -0.05, 0.05, 0.16):
            _second_antenna(sheet, base, angle + shift, side, size * foreshorten, strength * 0.32, limp)
    else:
        _second_antenna(sheet, base, angle, side, size * foreshorten, strength, limp)
    tip, out, _ = _limb(
        sheet, spot(0.42, side * 0.12 * across), forward + side * rng.uniform(1.7, 2.35), 0.19 * size * foreshorten,
        (0.032 * size, 0.015 * size), side * rng.uniform(0.1, 0.6), strength, 4,
    )  # fmt: skip
    _bristles(sheet, [tip] * 3, out + np.array([-0.25, 0.05, 0.3]), 0.15 * size, 1.0)


def draw_nauplius(rng, um_per_px, length, look):
    """One nauplius of body length ``length`` um; ``look`` holds the photo's yolk strength and share of dead."""
    pose = rng.choice(["dorsal", "side", "oblique", "curled", "head-on"], p=[0.46, 0.20, 0.19, 0.11, 0.04])
    second = rng.random() < look["second"]
    dead = rng.random() < look["dead"]
    length *= rng.uniform(1.18, 1.38) if second else 1
    sheet = Sheet(1.08 * length, um_per_px, rng)
    squeeze = {"oblique": rng.uniform(0.68, 0.88), "head-on": rng.uniform(0.12, 0.25)}.get(pose, 1.0)
    bend = {"curled": rng.choice([-1, 1]) * rng.uniform(1.6, 3.4), "side": rng.normal(0, 0.5)}.get(
        pose, rng.normal(0, 0.3)
    )
    points, heading = _spine(length, bend, squeeze)
    width = (WIDTH_SIDE if pose == "side" else WIDTH).copy() * rng.normal(1, 0.05)
    width *= 1 + 0.10 * rng.normal() * np.sin(PLACE * np.pi)
    if second:
        width *= np.interp(PLACE, [0.1, 0.4, 0.6, 0.93], [0.92, 0.80, 0.62, 0.72])
    width *= length
    if pose == "head-on":
        width = np.maximum(width, 0.12 * length)
    angle = rng.uniform(0, 2 * np.pi)
    points = turn(points, angle)
    axis_x = turn([[1, 0]], angle)[0]

    def spot(place, lateral):
        """The point of the body at a place along the spine, ``lateral`` lengths to the left of it."""
        i = np.interp(place, PLACE, np.arange(len(PLACE)))
        j = min(int(i), len(PLACE) - 2)
        d = points[j + 1] - points[j]
        d = d / max(np.hypot(*d), 1e-6)
        p = points[j] + (i - j) * (points[j + 1] - points[j])
        if place < PLACE[0]:
            p = p - d * (PLACE[0] - place) * length * max(squeeze, 0.3)
        return p + lateral * length * np.array([d[1], -d[0]])

    forward = np.arctan2(axis_x[1], axis_x[0]) - heading[0]
    pale = rng.uniform(0.35, 0.7) if dead and rng.random() < 0.6 else 1.0
    strength = rng.uniform(0.8, 1.25) * pale
    phase = rng.choice([rng.uniform(0.75, 1.15), rng.uniform(1.2, 1.7), rng.uniform(1.8, 2.4)])
    if dead:
        phase = rng.uniform(2.1, 2.7)
    roll = 0.0
    if pose == "side":
        near = rng.choice([-1, 1])
        for lean, dim in ((near, 1.0), (near * rng.uniform(0.2, 0.7), 0.8)):
            size = length * rng.uniform(0.8, 1)
            _limbs(
                sheet,
                spot,
                0.35 * np.sign(lean),
                forward,
                near,
                size,
                phase * rng.uniform(0.8, 1.1),
                strength * dim,
                dead,
                0.9,
            )
        lobe = [spot(0.22, near * 0.09), spot(0.33, near * 0.15), spot(0.43, near * 0.17)]
        box, half, _ = sheet.tube(lobe, np.array([0.07, 0.065, 0.045]) * length)
        sheet.add(box, half, LIMB, 0.9)
        roll = -near * rng.uniform(0.02, 0.05)
    else:
        for side in (-1, 1):
            short = rng.uniform(0.6, 0.95) if pose == "oblique" and side == 1 else 1.0
            _limbs(
                sheet,
                spot,
                1.0,
                forward,
                side,
                length * rng.uniform(0.88, 1.06),
                phase + rng.normal(0, 0.18),
                strength,
                dead,
                short,
            )
    _fill(sheet, points, width, spot, strength * look["yolk"], squeeze, second, roll, dead)
    if second:  # the forked tail
        for side in (-1, 1):
            d = points[-1] - points[-2]
            start = points[-1] + 0.05 * length * d / np.hypot(*d)
            _bristles(sheet, [start], [np.arctan2(d[1], d[0]) + 0.25 * side], 0.1 * length, 1.5)
    detail = pose + (", second instar" if second else "") + (", dead" if dead else "")
    return sheet.finish("nauplius", detail, round(float(length), 1), gloss=0.7)


def _fill(sheet, points, width, spot, strength, squeeze, second, roll, dead):
    """Skin, yolk with its grain, gut and eye."""
    rng, length = sheet.rng, np.hypot(*np.diff(points, axis=0).T).sum() / 0.83 / max(squeeze, 0.3)
    deep = min(1 / max(squeeze, 0.45), 1.7)
    if dead and rng.random() < 0.3:  # a torn tail
        keep = rng.integers(6, 9)
        points, width = points[:keep], width[:keep]
    box, half, along = sheet.tube(points, width)
    sheet.add(box, half, TISSUE, 1.0, depth=deep)
    radius = np.interp(along, np.linspace(0, 1, len(width)), width)
    core = np.sqrt(np.maximum(half**2 - 0.24 * radius**2, 0)).astype(np.float32)
    grain = 1 + 0.18 * sheet.grain(2.5)[box] + 0.14 * sheet.grain(6.0)[box]
    front = np.clip((along - 0.02) / 0.16, 0.35, 1)  # the head round the eye is clearer
    filled = np.clip(grain, 0.3, 2) * front * (0.3 if second else 1.0)
    sheet.add(box, core, YOLK, strength, depth=deep, rough=filled)
    sheet.path[box] += 0.010 * sheet.grain(1.2)[box] * (core > 0)
    if second or rng.random() < 0.25:
        gut = np.array([spot(p, 0) for p in np.linspace(0.25, 0.9, 6)])
        window, line, _ = sheet.tube(gut, np.linspace(0.045, 0.028, 6) * length)
        sheet.add(window, line, YOLK, 1.5 * strength if second else 0.5, outline=False)
    sheet.top[box] += (1.0 * sheet.grain(6.0)[box] + 0.5 * sheet.grain(2.5)[box]) * (half > 0)
    eye = spot(rng.uniform(0.045, 0.075), roll)
    r = length * rng.uniform(0.024, 0.031)
    wing = 0.35 * r * np.array([rng.normal(), rng.normal()])
    window, ball, _ = sheet.tube([eye - wing, eye + wing], [r, r])
    sheet.add(window, ball, EYE, rng.uniform(0.8, 1.3), outline=False)
    sheet.lid[window] += (1.2 * ball)[..., None] * np.asarray(EYE[0], np.float32)
