"""Nauplii: plan views from above, the side, oblique, end-on and foreshortened."""

import numpy as np
from canvas import Canvas, open_spline, ribbon
from noise import window
from scipy.interpolate import PchipInterpolator

# Half widths along the body, front (0) to rear (1), as shares of the length.
KNOTS = (0.0, 0.02, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.96, 1.0)
FIRST = {
    "top": (0.07, 0.10, 0.135, 0.165, 0.19, 0.20, 0.195, 0.182, 0.174, 0.164, 0.15, 0.125, 0.10, 0.075),
    "back": (0.06, 0.08, 0.105, 0.13, 0.15, 0.16, 0.16, 0.158, 0.155, 0.148, 0.134, 0.11, 0.09, 0.07),
    "belly": (0.06, 0.08, 0.11, 0.15, 0.205, 0.235, 0.21, 0.155, 0.15, 0.146, 0.134, 0.11, 0.09, 0.07),
}
SECOND = {
    "top": (0.06, 0.085, 0.11, 0.135, 0.15, 0.155, 0.14, 0.112, 0.094, 0.085, 0.08, 0.072, 0.062, 0.05),
    "back": (0.05, 0.07, 0.09, 0.11, 0.125, 0.13, 0.118, 0.10, 0.09, 0.083, 0.078, 0.07, 0.06, 0.05),
    "belly": (0.05, 0.07, 0.10, 0.135, 0.175, 0.195, 0.155, 0.10, 0.09, 0.083, 0.078, 0.07, 0.06, 0.05),
}
VIEWS = {  # roll (0 seen from the back, 1 from the side), pitch in degrees
    "dorsal": ((0.0, 0.2), (0, 22)),
    "oblique": ((0.25, 0.75), (0, 40)),
    "side": ((0.8, 1.0), (0, 25)),
    "foreshortened": ((0.0, 1.0), (42, 62)),
    "endon": ((0.0, 0.4), (68, 84)),
}


def choose_nauplius(rng, lot):
    """Size, pose and condition of one animal."""
    second = rng.random() < lot["instar2_share"]
    dead = rng.random() < lot["dead_share"]
    view = rng.choice(list(VIEWS), p=(0.40, 0.24, 0.20, 0.10, 0.06))
    roll, pitch = VIEWS[view]
    length = lot["nauplius_um"] * np.clip(rng.normal(1, 0.06), 0.84, 1.16)
    if second:
        length *= rng.uniform(1.22, 1.5)
    curl = rng.normal(0, 0.12) + (rng.choice((-1, 1)) * rng.uniform(0.3, 1.0) if dead else 0)
    return {
        "length": length,
        "second": second,
        "dead": dead,
        "view": view,
        "roll": rng.uniform(*roll),
        "pitch": np.radians(rng.uniform(*pitch)),
        "curl": curl,
        "mirror": rng.choice((-1, 1)),
        "beat": rng.random() < lot["beat_share"] and not dead,
    }


def _outline(animal, shrink=1.0, start=0.0, stop=1.0, n=70):
    """Outline, axis and half widths of the body in its own frame (micrometres)."""
    size, table = animal["length"], SECOND if animal["second"] else FIRST
    s = start + (stop - start) * (1 - np.cos(np.linspace(0, np.pi, n))) / 2
    round_off = np.sqrt(np.clip(1 - (2 * (s - start) / (stop - start) - 1) ** 8, 0, 1))
    width = {k: PchipInterpolator(KNOTS, v)(s) * size * shrink for k, v in table.items()}
    roll = animal["roll"]
    one = ((1 - roll) * width["top"] + roll * width["back"]) * round_off
    two = ((1 - roll) * width["top"] + roll * width["belly"]) * round_off
    axis = _axis(animal, s)
    if animal["mirror"] > 0:
        one, two = two, one
    return ribbon(axis, one, two), axis, one, two


def _axis(animal, s):
    """Points on the body's axis at shares s; bent by curl, shortened by pitch."""
    fine = np.linspace(0, 1, 60)
    step = animal["curl"] * fine**1.5
    u = -np.concatenate([[0], np.cumsum(np.cos(step))])[:60] / 60
    v = -np.concatenate([[0], np.cumsum(np.sin(step))])[:60] / 60
    points = np.stack([np.interp(s, fine, u), np.interp(s, fine, v)], -1) + np.array((0.5, 0))
    return points * animal["length"] * (np.cos(animal["pitch"]), 1.0)


def _body(canvas, animal, shrink=1.0, start=0.0, stop=1.0):
    """Silhouette; a tilted body is filled up with the ellipses of its sections."""
    outline, axis, one, two = _outline(animal, shrink, start, stop)
    shapes = [outline]
    lean = np.sin(animal["pitch"])
    if lean > 0.35:
        turn = np.linspace(0, 2 * np.pi, 28)
        for k in range(2, len(axis) - 2, 5):
            r = (one[k] + two[k]) / 2
            shapes.append(axis[k] + r * np.stack([lean * 0.9 * np.cos(turn), np.sin(turn)], 1))
    return canvas.poly(*shapes)


def _hairs(rng, base, angle, n, length, spread, side):
    """Setae that fan from the points of a rod, as hair strokes."""
    lines = []
    for k in range(n):
        at = base[int((0.35 + 0.65 * k / max(n - 1, 1)) * (len(base) - 1))]
        lean = angle + side * (spread * (1 - k / n) + 0.12) + rng.normal(0, 0.05)
        reach = length * rng.uniform(0.8, 1.1) * (0.75 + 0.25 * k / n)
        bow = rng.normal(0, 0.07)
        tip = at + reach * np.array([np.cos(lean), np.sin(lean)])
        mid = (at + tip) / 2 + reach * bow * np.array([-np.sin(lean), np.cos(lean)])
        lines.append((open_spline([at, mid, tip], 8), 3.2, 1.2, rng.uniform(0.5, 0.9)))
    return lines


def _antenna(rng, animal, side, swing):
    """Second antenna: rods and hairs; swing is the angle from straight ahead."""
    size = animal["length"] * (0.8 if animal["second"] else 1.0)
    root = _axis(animal, np.array([0.22]))[0]
    spread = (1 - 0.75 * animal["roll"]) * 0.15 * size
    root = root + np.array((0, side * spread))
    heading = side * swing
    squeeze = np.array([max(np.cos(animal["pitch"]), 0.35), 1.0])

    def out(points, angle, length, bow):
        tip = length * np.array([np.cos(angle), np.sin(angle)])
        mid = tip / 2 + bow * length * np.array([-np.sin(angle), np.cos(angle)])
        return open_spline([points, points + mid * squeeze, points + tip * squeeze], 12)

    stem = out(root, heading, 0.27 * size, 0.10 * side)
    whip_angle = heading + side * rng.uniform(0.25, 0.6)
    whip = out(stem[-1], whip_angle, 0.30 * size, 0.08 * side)
    twig_angle = heading - side * rng.uniform(0.2, 0.5)
    twig = out(stem[-1], twig_angle, 0.15 * size, 0.0)
    rods = [
        (stem, 0.085 * size, 0.055 * size, 1.0),
        (whip, 0.045 * size, 0.014 * size, 0.9),
        (twig, 0.035 * size, 0.018 * size, 0.85),
    ]
    hairs = _hairs(rng, whip, whip_angle, 11, 0.36 * size, 0.75, side)
    hairs += _hairs(rng, twig, twig_angle, 4, 0.22 * size, 0.3, -side)
    return rods, hairs


def _small_limbs(rng, animal):
    """First antennae (short, in front) and mandibles (behind the second antennae)."""
    size = animal["length"] * (0.8 if animal["second"] else 1.0)
    rods, hairs = [], []
    for side in (-1, 1):
        gap = (1 - 0.7 * animal["roll"]) * size
        for share, out, reach, lean, wide in (
            (0.10, 0.11, 0.19, rng.uniform(0.4, 1.0), 0.032),
            (0.37, 0.17, 0.17, rng.uniform(1.6, 2.3), 0.04),
        ):
            root = _axis(animal, np.array([share]))[0] + (0, side * out * gap)
            aim = np.array([np.cos(side * lean), np.sin(side * lean)])
            tip = root + reach * size * aim * (max(np.cos(animal["pitch"]), 0.4), 1)
            rod = open_spline([root, (root + tip) / 2 + rng.normal(0, 3, 2), tip], 8)
            rods.append((rod, wide * size, 0.6 * wide * size, 0.8))
            hairs += _hairs(rng, rod, side * lean, 3, 0.13 * size, 0.2, side)
    return rods, hairs


def _limbs(rng, animal):
    """Sets of limb strokes behind and before the body: lists of (rods, hairs, weight)."""
    swing = rng.triangular(0.5, 1.9, 2.7)
    behind, before = [(*_small_limbs(rng, animal), 1.0)], []
    for side in (-1, 1):
        lag = rng.normal(0, 0.15 if not animal["dead"] else 0.5)
        sets = []
        if animal["beat"]:  # a beating limb leaves several faint copies
            for step in np.linspace(-0.28, 0.28, 4):
                sets.append((*_antenna(rng, animal, side, swing + lag + step), 0.36))
        else:
            sets.append((*_antenna(rng, animal, side, swing + lag), 1.0))
        near = animal["roll"] > 0.4 and side == animal["mirror"]
        (before if near else behind).extend(sets)
    return behind, before


def _paint_limbs(canvas, sets, pigments, flat):
    """Paint limb strokes; rods count to the silhouette, hairs do not."""
    for rods, hairs, weight in sets:
        rod = canvas.strokes(rods)
        canvas.paint(canvas.strokes(hairs), pigments["seta"], weight * flat)
        canvas.paint(rod, pigments["limb"], weight * (0.8 + 0.2 * flat))
        rim = rod - canvas.soften(rod, 3.0)
        canvas.paint(np.clip(rim, 0, 1), pigments["skin_line"], weight)
        canvas.raise_to(18 * canvas.soften(rod, 5.0) * weight)
        canvas.claim(rod * (weight > 0.3), core=False)


def _paint_yolk(rng, canvas, animal, pigments, dome):
    """Yolk: granular orange filling, thick in the trunk, patchy in instar II."""
    second, dead = animal["second"], animal["dead"]
    yolk = canvas.soften(_body(canvas, animal, 0.80, 0.13, 0.97), 7)
    u, _ = canvas.grid()
    rear = 1 / (1 + np.exp(u / (0.09 * animal["length"])))
    grain = 1 + 0.16 * window("worley", rng, canvas.shape, canvas.um * 0.9)
    grain += 0.16 * window("cloud", rng, canvas.shape, canvas.um * 0.6)
    deep = 0.35 + 0.65 * dome / (dome.max() + 1e-6)
    amount = (0.62 + 0.55 * rear) if not second else 0.30 + 0.1 * rear
    amount = amount * rng.uniform(0.85, 1.2) * (0.55 if dead else 1.0)
    canvas.paint(yolk, pigments["yolk"], np.clip(amount * grain * deep, 0, 2.2))
    if dead:
        canvas.paint(yolk, pigments["pale"], 0.8 * grain)
    if second:
        tube = canvas.soften(_body(canvas, animal, 0.36, 0.24, 0.96), 4)
        wall = np.clip(canvas.soften(tube, 2) - canvas.soften(tube, 9), 0, 1)
        fed = rng.choice((0.0, 0.25, 0.9), p=(0.5, 0.3, 0.2))
        canvas.paint(wall, pigments["skin_line"], 1.3)
        canvas.paint(tube, pigments["gut"], fed)


def _paint_marks(rng, canvas, animal, pigments):
    """Eye spot and upper lip."""
    size, roll = animal["length"], animal["roll"]
    turn = np.linspace(0, 2 * np.pi, 24)
    ring = np.stack([np.cos(turn), np.sin(turn)], 1)
    if not animal["second"] or roll < 0.5:
        lip = _axis(animal, np.array([0.3]))[0] + (0, animal["mirror"] * -0.1 * size * roll)
        shape = lip + ring * size * (0.10 * np.cos(animal["pitch"]) + 0.03, 0.055)
        lip_cover = canvas.soften(canvas.poly(shape), 4)
        edge = np.clip(lip_cover - canvas.soften(lip_cover, 8), 0, 1)
        canvas.paint(edge, pigments["skin_line"], 0.9)
    eye = _axis(animal, np.array([0.085]))[0] + (0, rng.normal(0, 2))
    eye = eye + np.array((0.0, animal["mirror"] * 0.03 * size * roll))
    r = size * rng.uniform(0.027, 0.034) * (0.8 if animal["second"] else 1)
    spot = canvas.soften(canvas.poly(eye + ring * r * (0.9, 1.15)), 1.5)
    canvas.paint(spot, pigments["eye"], 0.5 if animal["dead"] else 1.0)


def draw_nauplius(rng, animal, pose, look, pigments):
    """Paint one animal on a fresh canvas."""
    behind, before = _limbs(rng, animal)
    lines = [p for rods, hairs, _ in behind + before for p, *_ in rods + hairs]
    pad = 0.24 * animal["length"]
    axis = _axis(animal, np.linspace(0, 1, 12))
    box = np.vstack([axis + d for d in ((pad, pad), (pad, -pad), (-pad, pad), (-pad, -pad))])
    canvas = Canvas(pose, np.vstack([*lines, box]), look["mode"], look["um_px"], look["ss"])
    flat = 0.6 if animal["dead"] or "wires" in look else 1.0  # limbs cling when limp or wet
    _paint_limbs(canvas, behind, pigments, flat)
    body = _body(canvas, animal)
    dome = canvas.dome(body, 0.17 * animal["length"])
    canvas.paint(body, pigments["skin"], 1.0)
    rim = np.clip(body - canvas.soften(body, 5), 0, 1)
    canvas.paint(rim, pigments["skin_line"], 1.3)
    _paint_yolk(rng, canvas, animal, pigments, dome)
    _paint_marks(rng, canvas, animal, pigments)
    canvas.raise_to(dome)
    canvas.claim(body, core=True)
    _paint_limbs(canvas, before, pigments, flat)
    return canvas


def draw_moult(rng, animal, pose, look, pigments):
    """An empty cast skin: the outline of an animal without yolk, eye or gut."""
    animal = {**animal, "beat": False, "dead": True}
    behind, before = _limbs(rng, animal)
    lines = [p for rods, hairs, _ in behind + before for p, *_ in rods + hairs]
    box = _outline(animal)[0] * 1.15
    canvas = Canvas(pose, np.vstack([*lines, box]), look["mode"], look["um_px"], look["ss"])
    _paint_limbs(canvas, behind + before, {**pigments, "limb": pigments["membrane"]}, 0.5)
    body = _body(canvas, animal)
    canvas.paint(body, pigments["membrane"], 1.4)
    rim = np.clip(body - canvas.soften(body, 4), 0, 1)
    canvas.paint(rim, pigments["membrane_line"], 1.6)
    folds = []
    for _ in range(5):
        s = np.sort(rng.uniform(0.1, 0.9, 3))
        path = _axis(animal, s) + rng.normal(0, 0.05 * animal["length"], (3, 2))
        folds.append((open_spline(path, 12), 3, 2, 0.6))
    canvas.paint(canvas.strokes(folds) * body, pigments["membrane_line"])
    canvas.claim(body, core=True)
    return canvas
