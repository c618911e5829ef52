"""Debris as clouds: fibres, salt, bubbles, sand, flecks, algae, cast skins and small bystanders."""

import numpy as np
from cloud import any_turn, ball_points, clotted, curve, grains, join, ripple, sphere_points, tube, turn_about, unit
from larva import nauplius

FORMS = ("fibre", "grain", "bubble", "fleck", "sand", "algae", "moult", "rotifer", "copepod", "ciliate")
SHARE = np.array([0.2, 0.12, 0.13, 0.16, 0.08, 0.09, 0.08, 0.06, 0.04, 0.04])


def dirt(rng, length_um, fine=1.0):
    """One thing that is not to be counted, and its form."""
    form = str(rng.choice(FORMS, p=SHARE))
    if form == "moult":
        body, size = nauplius(rng, length_um * rng.uniform(0.8, 1.1), fine, state="moult")
    else:
        body, size = globals()["_" + form](rng, lambda n: max(50, int(n * fine)))
    if form != "fibre":
        body = body.turned(turn_about((0, 0, 1), rng.uniform(0, 6.3)))
    return body, size, form


def _fibre(rng, count):
    long, thick = rng.uniform(350, 1800), rng.uniform(4.5, 11)
    knots = [rng.normal(0, long * 0.35, 3) * (1, 1, 0.08) for _ in range(4)]
    line = curve(knots, 80)
    place, _, amount = tube(line, [thick, thick * 0.85, thick], count(6 * long), rng)
    skin, out, area = tube(line, [thick, thick], count(5 * long), rng, surface=True)
    dye = np.array([[0.6, 0.6, 0.6], [3, 2.2, 0.8], [0.7, 1.8, 2.4], [2, 2, 2]])[rng.integers(4)] * rng.uniform(
        0.004, 0.02
    )
    pale = np.array([0.006, 0.006, 0.006]) / (1 + 40 * dye)
    inner = grains(place, amount, dye, pale, size=2.6)
    return join([inner, grains(skin, area, 0.02, 0.03, normal=out, bend=0.22, gloss=0.05, size=2.6)]), long


def _grain(rng, count):
    """A salt crystal: a box with worn edges, clear, its faces glinting."""
    half = rng.uniform(35, 120) * rng.uniform(0.6, 1.0, 3)
    n = count(5000)
    face = rng.integers(0, 3, n)
    sign = rng.choice([-1.0, 1.0], n)
    place = rng.uniform(-1, 1, (n, 3))
    place[np.arange(n), face] = sign
    place = place / (np.abs(place) ** 9).sum(1, keepdims=True) ** (1 / 9)
    normal = np.zeros((n, 3))
    normal[np.arange(n), face] = sign
    turn = turn_about(rng.normal(size=3), rng.normal(0, 0.4))
    area = 8 * (half[0] * half[1] + half[1] * half[2] + half[0] * half[2])
    worn = place * half + rng.normal(0, 1.5, (n, 3))
    body = grains(worn, area, 0.03, 0.03, normal=normal, bend=0.9, gloss=0.12, size=3)
    line = np.sort(np.abs(place), 1)[:, 1] > 0.9  # edges scatter more than faces
    body = body.but(scatter=body.scatter * (1 + 2.0 * line[:, None]), bend=body.bend * (1 + 2.5 * line))
    return body.turned(turn), half.max() * 2


def _bubble(rng, count):
    radius = rng.uniform(40, 190)
    out = sphere_points(count(9000), rng, 0.15)
    body = grains(out * radius, 4 * np.pi * radius**2, 0.0, 0.012, normal=out, bend=9.0, gloss=0.5, size=2.4)
    rim = np.clip(1 - np.abs(out[:, 2]), 0, 1) ** 3
    return body.but(scatter=body.scatter * (1 + 6 * rim[:, None])), radius * 2


def _fleck(rng, count):
    size = rng.uniform(25, 110)
    place = clotted(ball_points(count(2500), rng), rng, rng.integers(5, 14), 0.16) * size * rng.uniform(0.4, 1, 3)
    tone = np.array([1, 1 + rng.uniform(0, 0.8), 1 + rng.uniform(0, 1.6)]) * rng.uniform(0.002, 0.018)
    return grains(place, 4.19 * size**3 * 0.3, tone, 0.006, size=3.5), size * 2


def _sand(rng, count):
    size = rng.uniform(40, 130)
    place = ball_points(count(6000), rng)
    cuts = unit(rng.normal(size=(9, 3)))
    limit = rng.uniform(0.55, 0.85, 9)
    reach = (place @ cuts.T / limit).max(1)
    place = place / np.maximum(reach / 0.98, 1)[:, None] * size * rng.uniform(0.7, 1, 3)
    tone = np.array([0.8, 1.1, 1.6]) * rng.uniform(0.001, 0.009)
    at = np.argmax(place @ cuts.T / limit, 1)
    skin = reach > 0.9
    body = grains(place, 4 * size**3 * 0.5, tone, np.array([0.0042, 0.0036, 0.0027]), size=3.5)
    return body.but(
        normal=cuts[at] * skin[:, None],
        bend=skin * 18.0 / len(place) * size**2 * 0.3,
        gloss=skin * 2e0 * size**2 / len(place) * 0.2,
    ), size * 2


def _algae(rng, count):
    parts, size = [], rng.uniform(30, 130)
    green = np.array([0.012, 0.004, 0.016]) * rng.uniform(0.6, 1.5)
    for _ in range(rng.integers(6, 26)):
        radius = rng.uniform(7, 19)
        at = rng.normal(0, size * 0.45, 3) * (1, 1, 0.5)
        ball = ball_points(count(260), rng) * radius + at
        parts.append(grains(ball, 4.19 * radius**3, green, (0.002, 0.005, 0.0015), bend=0.004, size=2.6))
    return join(parts), size * 2


def _rotifer(rng, count):
    """A clear sack with a crown, a mastax, a stomach, a foot and sometimes an egg."""
    long = rng.uniform(140, 240)
    line = curve([(long / 2, 0, 0), (0, 0, 0), (-long / 2, 0, 0)], 20)
    radii = long * np.array([0.2, 0.24, 0.3, 0.33, 0.31, 0.2, 0.04])
    place, _, amount = tube(line, radii, count(2200), rng, squash=0.7)
    parts = [grains(place, amount, 0.0009, 0.0012, size=4, weight=np.clip(1 + 0.6 * ripple(place, 30, rng), 0, 3))]
    skin, out, area = tube(line, radii, count(2000), rng, surface=True, squash=0.7)
    parts.append(grains(skin, area, 0.02, 0.035, normal=out, bend=0.4, gloss=0.06, size=2.5))
    for x, r, tone in ((0.2, 0.1, 0.006), (-0.06, 0.15, 0.005)):
        organ = ball_points(count(300), rng) * long * r + (long * x, 0, 0)
        parts.append(grains(organ, 4.19 * (long * r) ** 3, np.array([0.7, 1, 1.5]) * tone, 0.005, size=3.5))
    foot = curve(
        [(-long * 0.45, 0, 0), (-long * 0.6, long * 0.05, 0), (-long * 0.78, long * rng.normal(0, 0.12), 0)], 15
    )
    place, _, amount = tube(foot, [9, 6, 3], count(350), rng)
    parts.append(grains(place, amount, 0.003, 0.008, bend=0.006, size=2.5))
    if rng.random() < 0.5:
        egg = ball_points(count(700), rng) * long * np.array([0.2, 0.15, 0.15]) + (-long * 0.45, long * 0.28, 0)
        parts.append(grains(egg, 4.19 * long**3 * 0.0045, (0.004, 0.006, 0.009), 0.006, bend=0.001, size=4))
    return join(parts), long


def _copepod(rng, count):
    """A clear drop-shaped body of rings, a forked tail, two long feelers."""
    long = rng.uniform(380, 720)
    line = curve([(long / 2, 0, 0), (0, 0, 0), (-long / 2, rng.normal(0, 25), 0)], 30)
    radii = long * np.array([0.05, 0.13, 0.17, 0.175, 0.15, 0.1, 0.055, 0.05, 0.045, 0.04])
    place, _, amount = tube(line, radii, count(4000), rng, squash=0.8)
    rings = 1 + 0.7 * np.cos(place[:, 0] / long * 2 * np.pi * 9)
    tone = np.array([0.8, 1.0, 1.3]) * rng.uniform(0.0009, 0.002)
    parts = [grains(place, amount, tone, 0.0011, size=4, weight=rings)]
    skin, out, area = tube(line, radii, count(3000), rng, surface=True, squash=0.8)
    parts.append(grains(skin, area, 0.03, 0.02, normal=out, bend=0.3, gloss=0.05, size=3.4))
    eye = ball_points(count(150), rng) * long * 0.022 + (long * 0.43, 0, 10)
    parts.append(grains(eye, 4.19 * (long * 0.022) ** 3, (0.05, 0.12, 0.13), 0.002, size=2.6))
    for side in (-1, 1):
        feeler = curve(
            [(long * 0.45, side * 15, 0), (long * 0.45, side * long * 0.25, 0), (long * 0.15, side * long * 0.42, 0)],
            40,
        )
        place, _, amount = tube(feeler, [9, 7, 3], count(900), rng)
        parts.append(grains(place, amount, 0.003, 0.008, bend=0.006, size=2.4))
        tail = curve([(-long * 0.48, side * 8, 0), (-long * 0.6, side * 16, 0), (-long * 0.78, side * 40, 0)], 20)
        place, _, amount = tube(tail, [7, 5, 1.5], count(500), rng)
        parts.append(grains(place, amount, 0.003, 0.008, bend=0.006, size=2.0))
    return join(parts), long


def _ciliate(rng, count):
    long = rng.uniform(70, 170)
    scale = long * np.array([0.5, rng.uniform(0.22, 0.34), 0.24])
    place = ball_points(count(1500), rng) * scale
    parts = [
        grains(
            place, 4.19 * scale.prod(), 0.0015, 0.004, size=3, weight=np.clip(1 + 0.8 * ripple(place, 16, rng), 0, 3)
        )
    ]
    out = sphere_points(count(1200), rng)
    parts.append(
        grains(
            out * scale,
            12 * scale.prod() ** (2 / 3),
            0.02,
            0.04,
            normal=unit(out / scale),
            bend=0.4,
            gloss=0.03,
            size=2.4,
        )
    )
    return join(parts).turned(any_turn(rng) if rng.random() < 0.2 else np.eye(3)), long
