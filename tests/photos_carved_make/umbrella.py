"""The umbrella stage, carved: an embryo in its clear membrane, in, at or beside its cracked shell."""

import itertools

import numpy as np
from eggs import bowl, hinged, wall_part
from fields import Cones, ball, ellipsoid, mottle, ripples, smooth_union, turned
from light import Part
from patches import Body
from tissues import mix, step_up

DEGREES = ("emerging", "half out", "out", "on a thread", "membrane only")


def umbrella(rng, stuff, mean_um):
    """One object from the slit just opening to the membrane without its shell."""
    radius = 0.5 * mean_um * rng.normal(1, 0.05)
    degree = rng.choice(DEGREES, p=[0.15, 0.27, 0.26, 0.16, 0.16])
    age = {"emerging": 0.05, "half out": 0.3, "out": 0.6, "on a thread": 0.8, "membrane only": 0.9}[degree]
    age = float(np.clip(age + rng.normal(0, 0.12), 0, 1))
    rise = {
        "emerging": (0.50, 0.70),
        "half out": (0.85, 1.15),
        "out": (1.45, 1.75),
        "on a thread": (2.15, 2.5),
        "membrane only": (0, 0),
    }
    lift = radius * rng.uniform(*rise[degree])
    # the embryo is a pear: its fat end inside or near the shell at first, later down below
    fat, slim, apart = (
        radius * rng.uniform(0.76, 0.84),
        radius * rng.uniform(0.49, 0.62),
        radius * rng.uniform(0.48, 0.70),
    )
    up = 1.0 if rng.random() < 0.6 else -1.0
    low = np.array([0, 0, lift - up * apart * 0.5])
    high = np.array([0, 0, lift + up * apart * 0.5])
    wave = ripples(rng, 70)

    def pear(q):
        return smooth_union(ball(q, low, fat), ball(q, high, slim), 0.5 * radius) + 1.5 * wave(q)

    # limbs lie folded along the flanks under the membrane: late embryos show them
    folds = []
    if age > 0.4:
        for side in (-1, 1):
            for a, b, r in ((0.55, -0.55, 0.15), (0.30, -0.30, 0.11)):
                off = side * radius * (0.62 if r > 0.12 else 0.45)
                front = -0.35 if r > 0.12 else 0.5
                folds.append(
                    (
                        (off, front * radius, lift + a * radius * up),
                        (off * 1.05, front * radius, lift + b * radius * up),
                        r * radius,
                        r * 0.7 * radius,
                    )
                )
    limbs = Cones(folds, 0.04 * radius) if folds else None

    def embryo(q):
        d = pear(q)
        return d if limbs is None else smooth_union(d, limbs(q), 0.05 * radius)

    sight = np.array([0, 0.12 * radius, lift + up * (apart * 0.5 + slim * 0.62)])
    seen = step_up(np.float32(age), 0.35, 0.7)
    grain, patchy = mottle(rng, 24), mottle(rng, 80)

    def tissue(q):
        deep = step_up(-pear(q), 0, 14)
        share = deep * np.clip(1 + 0.22 * grain(q) + 0.2 * patchy(q), 0.4, None) * (1 - 0.25 * age)
        eye = step_up(-ellipsoid(q, sight, np.array([0.15, 0.12, 0.11]) * radius), -5, 3) * seen
        return mix([(stuff.clear, 1.4 - 0.7 * share), (stuff.embryo, share), (stuff.eye, eye)])

    gap = radius * (rng.uniform(0.05, 0.11) + 0.09 * age)
    fold = ripples(rng, 120)

    def membrane(q):
        outer = smooth_union(ball(q, low, fat + gap), ball(q, high, slim + gap * 1.2), 0.9 * radius)
        return np.abs(outer + 2.5 * fold(q)) - 1.7

    film = (stuff.membrane[0] * 1.0, stuff.membrane[1] * 1.0)

    def clear(q):
        return mix([(film, np.ones(q.shape[1], np.float32))])

    parts = [
        Part(embryo, tissue, samples=6, gloss=0.04, rim=0.6, rim_glow=0.35),
        Part(membrane, clear, entries=2, samples=1, gloss=0.10, rim=0.42, rim_glow=0.65, opaque=0.05),
    ]
    top, bottom = lift + apart * 0.5 + fat + gap, lift - apart * 0.5 - fat - gap
    if degree != "membrane only":
        wall_um = rng.uniform(8, 11)
        if rng.random() < 0.6:
            gape = {"emerging": (22, 38), "half out": (45, 75), "out": (40, 90), "on a thread": (25, 80)}[degree]
            husk = hinged(rng, radius, wall_um, rng.uniform(*gape))
        else:
            height = {"emerging": (0.45, 0.65), "half out": (0.2, 0.45), "out": (0.1, 0.5), "on a thread": (0.1, 0.6)}[
                degree
            ]
            husk = bowl(rng, radius, wall_um, rng.uniform(*height))
        parts.append(wall_part(rng, husk, stuff))
        bottom = -radius
        if degree in ("out", "on a thread"):
            sway = rng.normal(0, 0.1, 2) * radius
            knots = [
                np.array([0, 0, -0.3 * radius]),
                np.array([*sway, 0.55 * lift]),
                np.array([0, 0, lift - apart * 0.5 - fat]),
            ]
            thread = Cones([(a, b, 4.0, 3.0) for a, b in itertools.pairwise(knots)], 1.0)
            parts.append(
                Part(thread, lambda q: mix([(stuff.clear, np.full(q.shape[1], 4.0, np.float32))]), samples=1, rim=0.8)
            )
    middle = (0.0, 0.0, (top + bottom) / 2)
    reach = max((top - bottom) / 2, 1.1 * radius) * 1.12
    if degree in ("half out", "out", "on a thread"):
        reach = max(reach, (top - bottom) / 2 + 0.25 * radius, 1.6 * radius)
    # gravity lays the pair down: the axis lies near the picture's plane
    tilt = rng.normal(0, 24) if degree != "emerging" else rng.normal(0, 38)
    turn = turned(0, 0, rng.uniform(0, 360)) @ turned(0, 90 + tilt, 0) @ turned(0, 0, rng.uniform(0, 360))
    return Body("umbrella", degree, parts, turn, reach, float(top - bottom), (), middle, 0.2)
