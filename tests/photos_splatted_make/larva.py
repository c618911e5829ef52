"""The nauplius as a cloud: yolk platelets in a cuticle, an eye, three pairs of limbs with their bristles.

Body frame: x runs from tail to head, y to the side, z to the back.
"""

import numpy as np
from cloud import ball_points, curve, grains, join, ripple, tube, turn_about, unit

HEAD = np.array(
    [0.02, 0.46, 0.72, 0.86, 0.94, 0.98, 1.0, 0.96, 0.88, 0.79, 0.71, 0.64, 0.58, 0.53, 0.48, 0.42, 0.32, 0.05]
)


def nauplius(rng, length_um, fine=1.0, *, state="fresh", beat=None):
    """One nauplius and what is said of it.

    ``state``: fresh, second (instar II: longer, clearer, a gut line), pale, dead (limp, torn), moult (skin alone).
    """
    long = length_um * (1.22 if state == "second" else 1.0)
    wide = length_um * rng.uniform(0.175, 0.215) * (0.88 if state == "second" else 1.0)
    count = lambda n: max(40, int(n * fine))  # noqa: E731
    x = np.linspace(long * 0.5, -long * 0.5, len(HEAD))
    spine = np.stack([x, np.zeros_like(x), np.zeros_like(x)], 1)
    radii = HEAD * wide * (1 + 0.05 * np.cos(np.linspace(0, rng.uniform(3, 9), len(HEAD)) + rng.uniform(0, 6)))
    yolk = {"fresh": 1.0, "second": 0.33, "pale": 0.4, "dead": 0.75, "moult": 0.0}[state] * rng.uniform(0.75, 1.25)
    warm = rng.uniform(0.82, 1.3)
    absorb = np.array([0.0017, 0.0064 * warm, 0.0160 * warm]) * yolk
    scatter = np.array([0.0120, 0.0048 / warm, 0.0018 / warm]) * (0.35 + 0.65 * yolk)
    parts = []
    place, _, amount = tube(spine, radii * 0.93, count(11000), rng, squash=0.8)
    if state != "moult":
        dense = np.clip(0.8 + 0.25 * ripple(place, 42, rng) + 0.2 * ripple(place, 16, rng), 0.12, 2.2)
        rear = np.clip((0.30 - place[:, 0] / long) / 0.35, 0.42, 1)  # the head is clearer than the yolk-filled trunk
        tip = np.clip((place[:, 0] / long + 0.5) / 0.12, 0.3, 1)
        brow = np.hypot(place[:, 0] - long * 0.445, place[:, 1]) / wide  # the eye lies bare in the clear brow
        clear = np.clip(brow / 0.45, 0.08, 1) ** 2
        parts.append(grains(place, amount, absorb, scatter, size=4.5, weight=dense * rear * tip * clear))
        parts += _gut(rng, long, wide, count, state)
        parts.append(_eye(rng, long, wide, count, state))
    skin, out, area = tube(spine, radii, count(6500), rng, surface=True, squash=0.8)
    parts.append(
        grains(skin, area, (0.035, 0.045, 0.06), (0.03, 0.024, 0.018), normal=out, bend=0.22, gloss=0.05, size=4.0)
    )
    lip = curve([(long * 0.30, 0, -wide * 0.7), (long * 0.16, 0, -wide * 1.25), (long * 0.02, 0, -wide * 0.8)], 12)
    place, out, amount = tube(lip, wide * np.array([0.2, 0.36, 0.42, 0.3, 0.1]), count(500), rng)
    parts.append(grains(place, amount, absorb * 0.5 + 0.0006, scatter * 0.6, bend=0.0008, size=4))
    swing = rng.uniform(-0.5, 0.9) if beat is None else beat
    for side in (-1, 1):
        if state == "dead" and rng.random() < 0.25:
            continue
        parts += _limbs(rng, side, long, length_um, wide, swing + rng.normal(0, 0.12), absorb, scatter, count, state)
    body = join(parts)
    return _bent(body, rng, long, state), long


def _eye(rng, long, wide, count, state):
    """The naupliar eye: a cup of dark red grains close to the brow."""
    at = np.array([long * 0.445, 0, wide * 0.1])
    place = ball_points(count(420), rng) * np.array([0.13, 0.165, 0.2]) * wide * rng.uniform(0.9, 1.15) + at
    strong = 0.5 if state == "dead" else 1.0
    dark = np.array([0.055, 0.14, 0.15]) * strong
    return grains(place, 4.19 * 0.0043 * wide**3, dark, (0.009, 0.0012, 0.0012), size=2.8)


def _gut(rng, long, wide, count, state):
    """The gut's line along the trunk; plain in the second instar, hardly seen in the first."""
    strong = {"second": 1.0, "dead": 0.2}.get(state, 0.22)
    line = curve([(long * 0.25, 0, 0), (0, rng.normal(0, wide * 0.06), 0), (-long * 0.46, 0, 0)], 20)
    place, _, amount = tube(line, wide * np.array([0.08, 0.4, 0.36, 0.28, 0.2, 0.12]), count(900), rng)
    return [
        grains(place, amount, np.array([0.003, 0.008, 0.014]) * strong, np.array([0.01, 0.006, 0.002]) * strong, size=4)
    ]


def _limbs(rng, side, long, length, wide, swing, absorb, scatter, count, state):
    """First antenna, second antenna with both its branches, mandible palp; each a tapered tube with bristles."""
    limp = state == "dead"
    parts = []
    clear = (absorb * 0.42 + 0.0007, scatter * 0.35 + 0.0007)

    def stem(knots, thick, n):
        line = curve(knots, 24)
        place, out, amount = tube(line, thick, count(n), rng)
        parts.append(grains(place, amount, *clear, size=3.4))
        place, out, amount = tube(line, thick, count(n * 0.7), rng, surface=True)
        parts.append(grains(place, amount, 0.045, 0.022, normal=out, bend=0.28, gloss=0.03, size=3.0))
        return line

    def bristles(line, starts, aim, reach):
        for t in starts:
            root = line[int(t * (len(line) - 1))]
            way = unit(np.asarray(aim) + rng.normal(0, 0.16, 3))
            end = root + way * reach * rng.uniform(0.75, 1.1)
            middle = (root + end) / 2 + rng.normal(0, reach * 0.05, 3)
            seta = curve([root, middle, end], 16)
            place, _, amount = tube(seta, [2.0, 1.6, 0.7], count(150), rng)
            parts.append(grains(place, amount, 0.012, 0.016, bend=0.075, size=1.3, solid=False))

    def rotate(v, angle):
        turned = turn_about((0, 0, 1), side * angle) @ np.asarray(v, float)
        return turned

    lift = rng.uniform(-0.25, 0.25)
    # first antenna: short, unbranched, forward and out
    root = np.array([long * 0.385, side * wide * 0.68, 0])
    way = rotate((0.8, side * 0.75, -0.1), rng.normal(0.1, 0.22))
    end = root + way * length * 0.215
    line = stem([root - way * 10, root + way * length * 0.11 + (0, side * 5, 0), end], [12, 11, 9, 6], 420)
    bristles(line, (1, 1, 1), way, length * 0.13)
    # second antenna: the swimming oar
    root = np.array([long * 0.235, side * wide * 0.8, -wide * 0.15])
    way = rotate((0.30, side * 1.0, lift), swing + (0.5 if limp else 0.0))
    back = rotate((-0.55, side * 0.75, lift), swing * 1.15 + (0.5 if limp else 0.0))
    elbow = root + way * length * 0.25
    line = stem([root - way * 18, root + way * length * 0.1, elbow], [29, 27, 23, 19], 1500)
    tip = elbow + unit(way * 0.6 + back * 0.7) * length * 0.29
    line = stem([elbow - way * 4, elbow + way * length * 0.1, tip], [17, 15, 11, 5], 900)
    if state != "moult" or rng.random() < 0.5:
        bristles(line, np.linspace(0.25, 1, 9), unit(back + np.array([-0.35, 0, 0])), length * 0.27)
    tip = elbow + unit(way + np.array([0.35, 0, 0])) * length * 0.13
    line = stem([elbow - way * 4, elbow + way * length * 0.06, tip], [10, 9, 7, 4], 260)
    bristles(line, (0.8, 1, 1, 1), way + np.array([0.2, 0, 0]), length * 0.17)
    # mandible palp: short, out and back
    root = np.array([long * 0.095, side * wide * 0.82, -wide * 0.25])
    way = rotate((-0.35, side * 0.9, lift), swing * 0.5 + rng.normal(0, 0.15))
    end = root + way * length * 0.16 + (-length * 0.05, 0, 0)
    line = stem([root - way * 14, root + way * length * 0.09, end], [17, 15, 11, 6], 520)
    bristles(line, (0.7, 0.9, 1, 1), way + np.array([-0.5, 0, 0]), length * 0.13)
    return parts


def _bent(body, rng, long, state):
    """Bend the body a little to the side and along the back, more so when dead."""
    strong = 0.55 if state in ("dead", "moult") else 0.2
    for axis in (1, 2):
        angle = np.clip(rng.normal(0, strong), -1, 1) * (1.0 if axis == 1 else 1.1)
        t = np.clip(0.15 - body.pos[:, 0] / long, 0, None)  # only what lies behind the mandibles bends
        shift = angle * t**2 * long * 0.75
        pos = body.pos.copy()
        pos[:, axis] += shift
        pos[:, 0] += angle**2 * t**3 * long * 0.3
        body = body.but(pos=pos)
    return body


def pose(rng):
    """How it lies: a rotation and the word for it."""
    kind = rng.choice(["dorsal", "side", "oblique", "head-on"], p=[0.52, 0.2, 0.23, 0.05])
    roll = {"dorsal": rng.normal(0, 0.22), "side": 1.5 + rng.normal(0, 0.2), "oblique": rng.uniform(0.5, 1.1)}.get(
        kind, 0.3
    )
    roll = roll * rng.choice([-1, 1]) + (np.pi if rng.random() < 0.4 else 0)
    pitch = rng.normal(0, 0.16) if kind != "head-on" else rng.uniform(0.75, 1.15)
    turn = turn_about((0, 0, 1), rng.uniform(0, 2 * np.pi)) @ turn_about((0, 1, 0), pitch) @ turn_about((1, 0, 0), roll)
    return turn, str(kind)
