"""Nauplii, alive, limp or stuck; and what lives beside them."""

from itertools import pairwise

import numpy as np
from sliced_shells import EMBRYO, EYE
from sliced_volume import Material, Model, Stroke, ball

SKIN = Material("skin", (0.0011, 0.0016, 0.0023), 0.0035, (0.92, 0.82, 0.66), 0.35, 0.022, 0.15)
LIMB = Material("limb", (0.0024, 0.0040, 0.0062), 0.0075, (0.93, 0.80, 0.62), 0.35, 0.025, 0.2)
HAIR = Material("hair", (0.004, 0.005, 0.006), 0.012, (0.9, 0.85, 0.75), 0.2, 0.02, in_outline=False)
GUT = Material("gut", (0.004, 0.0085, 0.013), 0.014, (0.60, 0.42, 0.22), 0.0, 0.01, 0.3)
GLASS = Material("glass", (0.0006, 0.0007, 0.0009), 0.0016, (0.85, 0.88, 0.85), 0.4, 0.022, 0.1)
GREEN = Material("green", (0.010, 0.004, 0.014), 0.010, (0.30, 0.50, 0.16), 0.15, 0.02, 0.35)

_BODY_1 = (
    (0, 0.07, 0.15, 0.25, 0.38, 0.5, 0.65, 0.8, 0.93, 1),
    (0.07, 0.115, 0.148, 0.168, 0.160, 0.138, 0.112, 0.094, 0.072, 0.045),
)
_BODY_2 = (
    (0, 0.06, 0.13, 0.22, 0.32, 0.42, 0.55, 0.75, 0.93, 1),
    (0.06, 0.092, 0.118, 0.130, 0.120, 0.098, 0.078, 0.062, 0.047, 0.03),
)


def _spine(length, bend, sag, n=17):
    """Return points from head to tail, and the frame (forward, left) at each; bend in the plane, sag to the belly."""
    t = np.linspace(0, 1, n)
    turn = bend * np.clip(t - 0.3, 0, 1) * 1.4
    dip = sag * np.clip(t - 0.3, 0, 1) * 1.4
    forward = np.stack([np.cos(turn) * np.cos(dip), np.sin(turn) * np.cos(dip), np.sin(dip)], axis=1)
    points = -np.cumsum(forward, axis=0) * length / (n - 1)
    left = np.stack([-np.sin(turn), np.cos(turn), np.zeros(n)], axis=1)
    return t, points - points.mean(axis=0), forward, left


def _limb(root, forward, side, angle, length, drop, curl=0.35, n=4):
    """Return points of a limb that leaves the body at an angle from ahead, curling back, dropping to the belly."""
    angles = angle + curl * np.linspace(0, 1, n - 1)
    steps = [np.cos(a) * forward + np.sin(a) * side + np.array([0, 0, -drop]) for a in angles]
    steps = np.array([s / np.linalg.norm(s) for s in steps]) * length / (n - 1)
    return np.vstack([root, root + np.cumsum(steps, axis=0)])


def _hairs(points, n, length, rng, material, weight, fan=0.9):
    """Return bristles along the far part of a limb."""
    found = []
    back = points[-1] - points[-2]
    back /= np.linalg.norm(back)
    for i in range(n):
        along = rng.uniform(0.55, 1.0) if i else 1.0
        at = along * (len(points) - 1)
        k = min(int(at), len(points) - 2)
        root = points[k] + (at - k) * (points[k + 1] - points[k])
        way = back + fan * rng.normal(0, 0.4, 3) * [1, 1, 0.5]
        way /= np.linalg.norm(way)
        far = root + way * length * rng.uniform(0.7, 1.1)
        found.append(Stroke(np.stack([root, far]), np.array([1.7, 0.8]), material, weight))
    return found


def nauplius(rng, length, look, *, limbs="swim", instar=1, bend=0.0, sag=0.0) -> Model:
    """Return a nauplius; its limbs swim (and blur), hang limp, or stick to a body out of water."""
    t_of, r_of = _BODY_1 if instar == 1 else _BODY_2
    t, spine, forward, left = _spine(length, bend, sag)
    radii = np.interp(t, t_of, r_of) * length * rng.uniform(1.02, 1.18)
    skin, limb = look.stuff(rng, SKIN, 0.1), look.stuff(rng, LIMB, 0.1)
    hair = look.stuff(rng, HAIR, 0.1)
    fat = rng.uniform(0.75, 1.1) if instar == 1 else rng.uniform(0.15, 0.4)
    yolk = look.stuff(rng, EMBRYO, 0.12).changed(absorb=fat, scatter=fat)
    parts = [Stroke(spine, radii, skin)]
    inner = slice(2, len(t) - 2)
    parts.append(Stroke(spine[inner] + [0, 0, 0.008 * length], radii[inner] * rng.uniform(0.74, 0.84), yolk))
    belly = spine[4] + np.array([0, 0, -0.10 * length])
    parts.append(Stroke(np.stack([belly, spine[6] + [0, 0, -0.11 * length]]), length * np.array([0.075, 0.06]), limb))
    parts.append(ball(spine[1] + [0, 0, 0.05 * length], rng.uniform(12, 15), EYE))
    if instar > 1:
        parts.append(Stroke(spine[4:-1], np.full(len(spine) - 5, 0.028 * length), look.stuff(rng, GUT, 0.15)))
    angle = {"swim": rng.uniform(0.7, 2.0), "limp": rng.uniform(1.7, 2.4), "stuck": rng.uniform(2.2, 2.75)}[limbs]
    beats = 3 if limbs == "swim" and rng.random() < 0.5 else 1
    for hand in (-1, 1):
        own = angle + rng.normal(0, 0.12 if limbs == "swim" else 0.35)
        drop = rng.uniform(0.1, 0.45)
        parts += _pairs(rng, length, (spine, forward, hand * left, radii), own, drop, (limb, hair), beats)
    return Model("nauplius", "instar2" if instar > 1 else "", length, parts)


def _pairs(rng, length, body, angle, drop, stuffs, beats):
    spine, forward, side, radii = body
    limb, hair = stuffs
    first = _limb(
        spine[2] + 0.8 * radii[2] * side[2], forward[2], side[2], rng.uniform(0.25, 0.7), 0.27 * length, drop, 0.2
    )
    parts = [Stroke(first, length * np.linspace(0.026, 0.015, 4), limb)]
    parts += _hairs(first, 3, 0.14 * length, rng, hair, 1.0)
    root = spine[4] + 0.75 * radii[4] * side[4]
    swing = rng.uniform(0.1, 0.22)
    for beat in range(beats):
        a = angle + swing * (beat - (beats - 1) / 2)
        weight = 1.0 if beats == 1 else 0.45
        stem = _limb(root, forward[4], side[4], a, 0.30 * length, drop, 0.25)
        outer = _limb(stem[-1], forward[4], side[4], a + 0.35, 0.30 * length, drop, 0.5)
        inner = _limb(stem[-1], forward[4], side[4], a + 0.75, 0.2 * length, drop + 0.2, 0.3)
        parts.append(Stroke(stem, length * np.linspace(0.052, 0.036, 4), limb, weight))
        parts.append(Stroke(outer, length * np.linspace(0.032, 0.016, 4), limb, weight))
        parts.append(Stroke(inner, length * np.linspace(0.026, 0.014, 4), limb, weight))
        parts += _hairs(outer, 7, 0.27 * length, rng, hair, weight)
        parts += _hairs(inner, 3, 0.2 * length, rng, hair, weight)
    root = spine[6] + 0.7 * radii[6] * side[6]
    third = _limb(root, forward[6], side[6], min(angle + rng.uniform(0.2, 0.7), 2.7), 0.25 * length, drop + 0.15, 0.3)
    parts.append(Stroke(third, length * np.linspace(0.034, 0.018, 4), limb))
    return parts + _hairs(third, 4, 0.15 * length, rng, hair, 1.0)


def moult(rng, length, look) -> Model:
    """Return the cast skin of a nauplius: all of it clear, a little crumpled."""
    whole = nauplius(rng, length, look, limbs="limp", bend=rng.normal(0, 0.6))
    thin = SKIN.changed(absorb=0.35, scatter=0.45)
    parts = [
        p._replace(material=thin) for p in whole.parts if isinstance(p, Stroke) and p.material.name in ("skin", "limb")
    ]
    return Model("debris", "moult", length, parts)


def rotifer(rng, look) -> Model:
    """Return a rotifer: a clear vase with a dark stomach, a crown and a thin foot."""
    size = rng.uniform(130, 230)
    glass = look.stuff(rng, GLASS, 0.1)
    t = np.linspace(0, 1, 9)
    points = np.stack([size * (0.5 - t), 4 * np.sin(4 * t), 0 * t], axis=1)
    vase = size * np.array([0.22, 0.27, 0.33, 0.37, 0.38, 0.36, 0.28, 0.16, 0.06])
    parts = [Stroke(points, vase, glass)]
    foot = np.stack(
        [
            points[-1],
            points[-1] + [-0.25 * size, rng.normal(0, 15), 0],
            points[-1] + [-0.45 * size, rng.normal(0, 25), 0],
        ]
    )
    parts.append(Stroke(foot, np.array([9.0, 6.0, 3.0]), glass))
    parts.append(ball([-0.02 * size, 0.06 * size, 0], 0.15 * size, GUT.changed(absorb=0.5, scatter=0.6)))
    for y in np.linspace(-0.2, 0.2, 9):
        crown = np.array([[0.5 * size, y * size, 0], [0.62 * size, 1.3 * y * size, 0]])
        parts.append(Stroke(crown, np.array([1.8, 1.0]), HAIR))
    return Model("debris", "rotifer", size, parts)


def copepod(rng, look) -> Model:
    """Return a small copepod: a clear drop with long feelers, a jointed tail and a fork."""
    size = rng.uniform(450, 800)
    glass = look.stuff(rng, GLASS, 0.1).changed(absorb=1.6, scatter=1.5)
    t = np.linspace(0, 1, 14)
    points = np.stack([size * (0.5 - t), size * rng.normal(0, 0.03) * np.sin(3 * t), 0 * t], axis=1)
    widths = size * np.interp(
        t, [0, 0.08, 0.3, 0.5, 0.58, 0.62, 0.95, 1], [0.05, 0.10, 0.15, 0.12, 0.06, 0.045, 0.035, 0.03]
    )
    widths *= 1 + 0.06 * np.cos(np.arange(14) * np.pi)
    parts = [Stroke(points, widths, glass), ball(points[1], 12, EYE)]
    parts.append(Stroke(points[3:9], np.full(6, 0.035 * size), GUT.changed(absorb=0.7)))
    for hand in (-1, 1):
        out = np.array([[0.45, 0.05], [0.5, 0.2], [0.36, 0.4], [0.2, 0.55]]) * size
        feeler = np.column_stack([out[:, 0], hand * out[:, 1], np.zeros(4)])
        parts.append(Stroke(feeler, np.array([9.0, 7.0, 5.0, 3.0]), glass))
        parts += _hairs(feeler, 5, 0.09 * size, rng, HAIR, 1.0)
        fork = np.array([[-0.5, 0.01 * hand, 0], [-0.6, 0.03 * hand, 0]]) * size
        parts.append(Stroke(fork, np.array([8.0, 4.0]), glass))
        parts += _hairs(fork, 3, 0.2 * size, rng, HAIR, 1.0, fan=0.5)
    return Model("debris", "copepod", size, parts)


def ciliate(rng, look) -> Model:
    """Return a ciliate: a small clear slipper with vacuoles."""
    size = rng.uniform(70, 140)
    points = np.array([[0.4, 0, 0], [0.1, 0.03, 0], [-0.25, 0, 0]]) * size
    parts = [
        Stroke(points, size * np.array([0.11, 0.19, 0.15]), look.stuff(rng, GLASS, 0.1).changed(scatter=2, absorb=2))
    ]
    for _ in range(4):
        parts.append(ball(rng.normal(0, 0.1, 3) * size, rng.uniform(4, 8), GUT))
    return Model("debris", "ciliate", size, parts)


def alga(rng, look) -> Model:
    """Return a green thread of cells end to end."""
    size, thick = rng.uniform(350, 1100), rng.uniform(6, 13)
    n = max(int(size / (3.5 * thick)), 6)
    heading = np.cumsum(rng.normal(0, 0.16, n)) + rng.normal(0, 0.02) * np.arange(n)
    points = np.cumsum(np.column_stack([np.cos(heading), np.sin(heading), 0 * heading]), axis=0) * 3.5 * thick
    points -= points.mean(axis=0)
    stuff = look.stuff(rng, GREEN, 0.2)
    cells = [
        Stroke(np.stack([0.95 * a + 0.05 * b, 0.1 * a + 0.9 * b]), np.full(2, thick), stuff)
        for a, b in pairwise(points)
    ]
    return Model("debris", "alga", size, cells)
