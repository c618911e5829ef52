"""Cysts, empty shells and umbrella stages as clouds: flakes of chorion about an embryo, a membrane or nothing."""

import numpy as np
from cloud import ball_points, clotted, curve, grains, join, ripple, sphere_points, tube, turn_about, unit

WALL = np.array([0.30, 0.62, 1.12])  # optical depth of the chorion, passed once
WALL_SCATTER = np.array([0.118, 0.079, 0.053])
YOLK = np.array([0.0017, 0.0062, 0.0155])
CYST_MORE = np.array([0.0028, 0.0016, 0.0008])  # the packed embryo of a cyst lets less through
YOLK_SCATTER = np.array([0.0120, 0.0043, 0.0015])


def chorion(rng, radius, fine, *, strength=1.0, n=9000, rough=0.012):
    """A closed shell, its flakes thrown about by noise."""
    out = sphere_points(max(300, int(n * fine)), rng)
    swell = 1 + rough * ripple(out, 0.9, rng) + rough * 0.5 * ripple(out, 0.25, rng)
    patch = np.clip(1 + 0.10 * ripple(out, 0.6, rng) + 0.13 * ripple(out, 0.16, rng), 0.3, 2)
    depth = rng.uniform(0.955, 1.0, (len(out), 1))
    where = out * swell[:, None] * depth * radius
    normal = unit(out + 0.05 * rng.normal(size=out.shape))
    area = 4 * np.pi * radius**2
    return grains(
        where,
        area,
        WALL * strength,
        WALL_SCATTER * strength,
        normal=normal,
        bend=0.3,
        gloss=0.16,
        size=3.6,
        weight=patch,
    )


def dented(cloud, rng, radius, depth=None):
    """Fold a cap of the sphere inwards: a dent, or a cup where it is deep."""
    way = unit(rng.normal(size=3))
    height = radius * (1 - (rng.uniform(0.12, 0.3) if depth is None else depth))
    over = cloud.pos @ way - height
    inside = over > 0
    pos, normal = cloud.pos.copy(), cloud.normal.copy()
    pos[inside] -= (1.75 * over[inside])[:, None] * way
    mirrored = normal[inside] - 2 * (normal[inside] @ way)[:, None] * way
    normal[inside] = -mirrored
    return cloud.but(pos=pos, normal=normal)


def cyst(rng, diameter_um, fine=1.0):
    """An intact cyst and its form."""
    radius = diameter_um / 2
    form = rng.choice(["round", "dented", "cup", "dark", "pale", "bare"], p=[0.58, 0.2, 0.05, 0.08, 0.06, 0.03])
    strong = {"dark": 1.6, "pale": 0.6, "bare": 0.03}.get(form, 1.0) * rng.uniform(0.7, 1.3)
    full = {"dark": 1.5, "pale": 0.75}.get(form, 1.0) * rng.uniform(0.75, 1.3)
    place = ball_points(max(300, int(7000 * fine)), rng) * radius * 0.93
    dense = np.clip(1 + 0.3 * ripple(place, 90, rng) + 0.3 * ripple(place, 26, rng), 0.15, 2.2)
    volume = 4.19 * (radius * 0.93) ** 3
    yolk = grains(
        place,
        volume,
        (YOLK + CYST_MORE) * full,
        YOLK_SCATTER * full * (1.0 if form == "bare" else 0.3),
        size=5,
        weight=dense,
    )
    wall = chorion(rng, radius, fine, strength=strong, rough=rng.uniform(0.004, 0.016))
    if form == "bare":
        wall = wall.but(bend=wall.bend * 0.5)
    body = join([yolk, wall])
    if form in ("dented", "cup"):
        body = dented(body, rng, radius, rng.uniform(0.55, 0.8) if form == "cup" else None)
        if rng.random() < 0.4:
            body = dented(body, rng, radius)
    squeeze = np.array([1, rng.uniform(0.93, 1), 1])
    return body.but(pos=body.pos * squeeze), diameter_um, str(form)


def hinged(rng, wall, radius, angle):
    """Cut a closed shell in two with a ragged edge and swing the halves apart about a hinge."""
    edge = radius * (0.05 * ripple(wall.pos, radius * 0.8, rng) + 0.02 * ripple(wall.pos, radius * 0.25, rng))
    upper = wall.pos[:, 0] > edge + rng.uniform(-0.25, 0.25) * radius
    hinge = np.array([0, -radius, 0])
    halves = []
    for part, sign in ((wall.kept(upper), -1), (wall.kept(~upper), 1)):
        halves.append(part.moved(-hinge).turned(turn_about((0, 0, 1), sign * angle / 2)).moved(hinge))
    return halves


def bowl(rng, wall, radius, share):
    """What lies below a ragged cut: ``share`` is the part of the sphere's height that is left."""
    edge = radius * (2 * share - 1)
    edge = edge + radius * (0.07 * ripple(wall.pos, radius * 0.9, rng) + 0.025 * ripple(wall.pos, radius * 0.22, rng))
    return wall.kept(wall.pos[:, 2] < edge)


def crumpled(cloud, rng, radius, strong):
    """Soft walls give way: long waves push them in and out."""
    push = np.stack([ripple(cloud.pos, radius * 1.7, rng, 4) for _ in range(3)], 1)
    return cloud.but(pos=cloud.pos + push * radius * strong)


def shell(rng, diameter_um, fine=1.0):
    """An empty shell and its form."""
    radius = diameter_um / 2 * rng.uniform(0.96, 1.06)
    form = rng.choice(
        ["slit", "gaping", "halves", "bowl", "crescent", "fragment", "whole"],
        p=[0.17, 0.2, 0.13, 0.27, 0.1, 0.06, 0.07],
    )
    wall = chorion(rng, radius, fine, strength=rng.uniform(0.4, 1.05), n=11000, rough=rng.uniform(0.01, 0.03))
    wall = wall.but(bend=wall.bend * 1.25)
    turn = turn_about(rng.normal(size=3), rng.normal(0, 0.5))
    if form in ("slit", "gaping", "halves", "whole"):
        low, high = {"slit": (0.22, 0.5), "gaping": (0.6, 1.4), "halves": (2.0, 3.0), "whole": (0.06, 0.12)}[form]
        body = join(hinged(rng, wall, radius, rng.uniform(low, high)))
        body = body.turned(turn_about((1, 0, 0), rng.uniform(-0.7, 0.7)))
    else:
        share = {
            "bowl": rng.uniform(0.45, 0.8),
            "crescent": rng.uniform(0.36, 0.52),
            "fragment": rng.uniform(0.33, 0.4),
        }[form]
        body = bowl(rng, wall, radius, share)
        if form == "crescent":
            squeeze = np.array([1, rng.uniform(0.75, 1), rng.uniform(0.8, 1.1)])
            body = body.but(pos=body.pos * squeeze)
            turn = turn_about((1, 0, 0), rng.choice([-1, 1]) * (np.pi / 2 + rng.normal(0, 0.18)))
        elif form == "fragment":
            body = body.kept(
                body.pos[:, 0] < radius * rng.uniform(0.2, 0.6) * (1 + 0.3 * ripple(body.pos, radius, rng))
            )
        elif rng.random() < 0.35:
            turn = turn_about((1, 0, 0), np.pi + rng.normal(0, 0.5))
    body = crumpled(body, rng, radius, rng.uniform(0.01, 0.07)).turned(turn)
    if rng.random() < 0.5:
        rag = clotted(ball_points(max(60, int(700 * fine)), rng) * radius * 0.5, rng, 12, radius * 0.06)
        body = join([body, grains(rag, radius**3 * 0.4, 0.0006, 0.0012, size=5, solid=False)])
    body = body.but(pos=body.pos - body.pos.mean(0))
    return body, diameter_um, str(form)


def embryo(rng, radius, fine, *, late, long):
    """The pre-nauplius, egg- or pear-shaped, its limbs folded along it, in its clear membrane; x is its long axis."""
    n = max(300, int(7500 * fine))
    wide = radius * 0.94 / np.sqrt(long)
    pear = rng.uniform(0.0, 0.24)
    scale = np.array([radius * 0.92 * long, wide, wide * 0.95])

    def shaped(points):
        points = points.copy()
        points[:, 1:] *= (1 + pear * points[:, :1])[:, :]
        return points * scale

    place = shaped(ball_points(n, rng))
    dense = np.clip(0.9 + 0.3 * ripple(place, 45, rng) + 0.3 * ripple(place, 15, rng), 0.15, 2.2)
    if late > 0:
        furrow = np.cos(place[:, 0] / scale[0] * 5.5 + 0.5 * np.abs(place[:, 1]) / wide)
        rim = np.hypot(place[:, 1], place[:, 2]) / wide > 0.62
        dense = np.where(rim, dense * (1 - 0.8 * late * (furrow > 0.2)), dense)
    if late > 0.55:  # the eye lies bare
        brow = np.hypot(place[:, 0] - scale[0] * 0.8, place[:, 1]) / radius
        dense = dense * np.clip(brow / 0.3, 0.1, 1) ** 2
    parts = [grains(place, 4.19 * scale.prod(), YOLK, YOLK_SCATTER, size=4.5, weight=dense)]
    skin = sphere_points(max(200, int(2200 * fine)), rng)
    normal = unit(skin / scale)
    area = 12.0 * (scale.prod()) ** (2 / 3)
    parts.append(grains(shaped(skin), area, 0.04, 0.03, normal=normal, bend=0.25, gloss=0.05, size=3.4))
    for side in (-1, 1):
        if late < 0.35:
            break
        for start, end, thick in ((0.62, -0.35, 0.12), (0.25, -0.55, 0.1)):
            line = curve(
                [
                    (start * scale[0], side * wide * 0.7, wide * 0.5),
                    (0.1 * scale[0], side * wide * 1.02, wide * 0.35),
                    (end * scale[0], side * wide * 0.72, wide * 0.5),
                ],
                20,
            )
            leg, _, amount = tube(
                line, radius * np.array([thick, thick * 0.9, thick * 0.5]), max(60, int(700 * fine)), rng
            )
            parts.append(grains(leg, amount, YOLK * 0.8, YOLK_SCATTER, bend=0.003, size=3.4))
    if late > 0.55:
        eye = ball_points(max(60, int(300 * fine)), rng) * radius * np.array([0.1, 0.11, 0.16]) + (
            scale[0] * 0.8,
            0,
            wide * 0.1,
        )
        parts.append(grains(eye, 4.19 * (radius * 0.105) ** 3, (0.075, 0.18, 0.2), (0.012, 0.002, 0.002), size=3))
    roomy = rng.uniform(1.1, 1.24)
    film = sphere_points(max(300, int(8000 * fine)), rng, 1.5)
    hull = film * scale * np.array([roomy, roomy * 1.04, roomy * 1.04])
    hull = hull * (1 + 0.01 * ripple(film, 1.2, rng))[:, None]
    parts.append(
        grains(hull, area * roomy**2, 0.012, 0.022, normal=unit(film / scale), bend=0.15, gloss=0.05, size=2.4)
    )
    return join(parts), scale[0] * roomy


def umbrella(rng, diameter_um, fine=1.0):
    """An umbrella stage and its form: the embryo in its membrane, with its shell or without it."""
    radius = diameter_um / 2
    form = rng.choice(["emerging", "half out", "hanging", "beside", "membrane"], p=[0.2, 0.3, 0.26, 0.1, 0.14])
    late = {"emerging": rng.uniform(0, 0.3), "half out": rng.uniform(0.1, 0.7)}.get(form, rng.uniform(0.3, 1))
    long = {"emerging": rng.uniform(1.0, 1.15), "half out": rng.uniform(1.1, 1.35)}.get(form, rng.uniform(1.25, 1.6))
    young, reach = embryo(rng, radius, fine, late=late, long=long)
    if form == "membrane":
        return young, reach * 2, str(form)
    wall = chorion(rng, radius, fine, strength=rng.uniform(0.7, 1.05), n=9000)
    parts = []
    if rng.random() < 0.7 or form == "emerging":
        angle = {"emerging": rng.uniform(0.45, 0.8), "half out": rng.uniform(0.7, 1.2)}.get(form, rng.uniform(0.4, 1.1))
        parts += [p.turned(turn_about((0, 0, 1), -np.pi / 2)) for p in hinged(rng, wall, radius, angle)]  # opens to +x
    else:
        cut = bowl(rng, wall, radius, rng.uniform(0.55, 0.8))
        parts.append(cut.turned(turn_about((0, 1, 0), np.pi / 2)))
    out = {"emerging": rng.uniform(0.3, 0.6), "half out": rng.uniform(0.75, 1.15)}.get(
        form, rng.uniform(1.0, 1.2)
    ) * radius
    if form in ("hanging", "beside"):
        out = radius * 0.7 + reach * rng.uniform(0.85, 1.05)
        thread = curve([(0, 0, 0), (out * 0.3, rng.normal(0, 12), 0), (out - reach, 0, 0)], 20)
        place, _, amount = tube(thread, [5, 3.5, 5], max(40, int(300 * fine)), rng)
        parts.append(grains(place, amount, 0.01, 0.02, bend=0.05, size=2.5))
    flip = 1 if form == "emerging" else rng.choice([1, 1, -1])
    young = young.turned(turn_about((0, 0, 1), 0 if flip > 0 else np.pi)).turned(
        turn_about((1, 0, 0), rng.uniform(0, 6.3))
    )
    tilt = rng.normal(0, 0.5 if form == "beside" else 0.2)
    young = young.moved((out, 0, 0)).turned(turn_about((0, 0, 1), tilt))
    body = join([*parts, young])
    return body.but(pos=body.pos - (out * 0.5, 0, 0)), diameter_um + out, str(form)
