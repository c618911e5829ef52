"""Nauplii of the first and second instar: swimming, lying on their side, limp, dead, torn; and their cast skins."""

import numpy as np
from relief_physics import bent_rod, cloudy, rotation, sampled
from scipy import ndimage

TURNS = {"dorsal": (0.0, 0.22), "oblique": (0.75, 0.2), "side": (1.5, 0.15)}


def _limb(rng, root, heading, lengths, radii, bends, out):
    """Return points and radii of a jointed limb in the body's plane; ``out`` lifts it out of it."""
    points, thick = [np.asarray(root, float)], [radii[0]]
    angle = heading
    for k, (length, bend) in enumerate(zip(lengths, bends)):
        n = max(4, int(length / 5))
        curl = rng.normal(0, 0.12)
        for i in range(n):
            a = angle + bend * (i + 1) / n + curl * np.sin(np.pi * i / n)
            step = np.array([np.cos(a), np.sin(a), out])
            points.append(points[-1] + step / np.linalg.norm(step) * length / n)
            thick.append(radii[k] + (radii[k + 1] - radii[k]) * (i + 1) / n)
        angle += bend
    return np.array(points), np.array(thick), angle


def _setae(rng, tip, angle, n, length, fan, out):
    """Return lines of bristles that fan out from a limb's end."""
    lines = []
    for spread in np.linspace(-fan, fan, n) + rng.normal(0, 0.05, n):
        t = np.linspace(0, 1, 8)[:, None]
        a = angle + spread * (1 + 0.25 * t)
        steps = np.hstack([np.cos(a), np.sin(a), np.full_like(a, out)])
        lines.append(tip + t * steps * length * rng.uniform(0.8, 1.1))
    return lines


def limbs(rng, scale, trunk, mood):
    """Return the three pairs of limbs as (points, radii), and their bristles as lines, in the body's own axes.

    ``trunk`` gives the point of the spine at a share of its length from the head; mood is swim, limp or shed.
    """
    parts, bristles = [], []
    phase = rng.uniform(0, 1)
    for side in (-1, 1):
        jitter = rng.normal(0, 0.16 if mood == "swim" else 0.4, 4)
        # First antennae: short, plain, forward.
        a = side * (0.42 + 0.3 * rng.random())
        out = rng.normal(0, 0.15)
        root = trunk(0.05) + np.array([0, side * 0.085 * scale, 0])
        p, r, end = _limb(
            rng, root, a + jitter[0] * 0.4, [0.25 * scale], [0.024 * scale, 0.011 * scale], [side * 0.1], out
        )
        parts.append((p, r))
        bristles += _setae(rng, p[-1], end, 3, 0.14 * scale, 0.25, out)
        # Second antennae: the oars, forked, swung from forward to back.
        swing = 0.75 + 1.35 * phase if mood == "swim" else rng.uniform(1.3, 2.5)
        a = side * (swing + jitter[1] * 0.5)
        out = rng.normal(0, 0.22)
        root = trunk(0.20) + np.array([0, side * 0.15 * scale, 0])
        bend = side * rng.uniform(-0.35, 0.25) + jitter[2] * 0.3
        p, r, end = _limb(
            rng, root, a, [0.25 * scale, 0.10 * scale], [0.066 * scale, 0.050 * scale, 0.044 * scale], [0.0, bend], out
        )
        parts.append((p, r))
        for fork, length in ((0.22, 0.31), (-0.36, 0.20)):
            q, rr, last = _limb(
                rng,
                p[-1],
                end + side * fork,
                [length * scale],
                [0.036 * scale, 0.014 * scale],
                [side * rng.normal(0.1, 0.2)],
                out,
            )
            parts.append((q, rr))
            n = 5 if length > 0.25 else 3
            bristles += _setae(rng, q[-1], last, n, 0.27 * scale, 0.45, out)
            bristles += _setae(rng, q[len(q) // 2], last + side * 0.5, 2, 0.22 * scale, 0.2, out)
        # Mandibles: short, back.
        a = side * (1.75 + 0.5 * (phase - 0.5) + jitter[3] * 0.5)
        root = trunk(0.36) + np.array([0, side * 0.14 * scale, -0.02 * scale])
        out = rng.normal(-0.1, 0.15)
        p, r, end = _limb(
            rng,
            root,
            a,
            [0.13 * scale, 0.13 * scale],
            [0.04 * scale, 0.031 * scale, 0.013 * scale],
            [side * 0.1, side * 0.35],
            out,
        )
        parts.append((p, r))
        bristles += _setae(rng, p[-1], end, 3, 0.12 * scale, 0.4, out)
    return parts, bristles


def nauplius(form, rng, look, length_um: float, turn: tuple[float, float, float], *, instar=1, mood="swim", torn=""):
    """Fill a form with a nauplius.

    Parameters
    ----------
    turn
        Yaw, pitch and roll in rad.
    mood
        ``swim``, ``limp`` (dead or fixed) or ``shed`` (a cast skin).
    torn
        ``""``, ``tail`` (the hind body is gone) or ``limbs`` (some limbs are).
    """
    k = 70
    scale = length_um / (1.0 if instar == 1 else 1.18)
    t = np.linspace(0, 1, k)
    lean = rng.normal(0, 0.10 if mood == "swim" else 0.6)
    rod = bent_rod(rng, length_um * 0.86, k, 5.0 if mood == "swim" else 1.8, lean)
    rod = (rod - rod[k // 3]) * [-1, 1, 1]  # the head to +x
    plump = look.plump * rng.lognormal(0, 0.05)
    if instar == 1:
        radius = 0.188 * np.exp(-(((t - 0.22) / 0.30) ** 2)) + 0.102 * np.exp(-(((t - 0.66) / 0.30) ** 2)) + 0.012
    else:
        radius = 0.155 * np.exp(-(((t - 0.20) / 0.22) ** 2)) + 0.088 * np.exp(-(((t - 0.60) / 0.34) ** 2)) + 0.016
        radius = radius * (1 + 0.02 * np.sin(46 * t) * (t > 0.5))
    radius *= scale * plump * np.minimum(1, 0.62 + 2.2 * t) * np.sqrt(np.clip((1.04 - t) / 0.12, 0, 1))
    last = k if torn != "tail" else int(k * rng.uniform(0.5, 0.7))

    def trunk(share):
        return rod[int(share * (k - 1))]

    parts, bristles = limbs(rng, scale, trunk, mood)
    if torn == "limbs":
        keep = rng.random(len(parts)) < 0.55
        parts, bristles = [p for p, yes in zip(parts, keep) if yes], bristles[::3]
    place = rotation(yaw=turn[0], pitch=turn[1]) @ rotation(roll=turn[2])

    def put(points):
        return points @ place.T

    flat = np.array([0, 1, 0]) * scale
    rows = [rod[:last] + flat * s * 0.045 * np.exp(-(((t[:last] - 0.25) / 0.25) ** 2))[:, None] for s in (-1, 0, 1)]
    hull = form.sweep(put(np.vstack(rows)), np.tile(radius[:last], 3))
    labrum = np.linspace(0.16, 0.42, 12)
    lip = np.array([trunk(s) for s in labrum]) + [0, 0, -1] * (radius[(labrum * k).astype(int)] * 0.62)[:, None]
    lobe = form.sweep(put(lip), 0.070 * scale * np.sin(np.linspace(0.6, 2.8, 12)))
    skin = 1.6 if mood != "shed" else 1.3
    if mood == "shed":
        form.cover(hull)
        form.skin(hull, "skin", skin)
        part = form.sweep(put(np.vstack([p for p, _ in parts])), np.concatenate([r for _, r in parts]))
        form.cover(part)
        form.skin(part, "skin", skin * 0.8)
        form.threads([put(np.asarray(b)) for b in bristles[::2]], 2.0)
        return
    for side in (-1, 1):  # apart, as there is water between the two
        points = [(p, r) for p, r in parts if side * (p[:, 1] - rod[k // 4, 1]).mean() > 0]
        if points:
            part = form.sweep(put(np.vstack([p for p, _ in points])), np.concatenate([r for _, r in points]))
            form.solid(part, "tissue", 1.15)
            form.skin(part, "skin", 1.5)
    form.cover(hull)
    form.cover(lobe)
    form.solid(hull, "tissue", 0.8, outer=False)
    form.solid(lobe, "tissue", 1.0, outer=False)
    form.skin(hull, "skin", skin)
    form.skin(lobe, "skin", 0.9)
    _inside(form, rng, look, put, rod[:last], radius[:last], scale, instar, mood)
    form.threads([put(np.asarray(b)) for b in bristles], 3.2)
    form.gloss = look.body_gloss


def _inside(form, rng, look, put, rod, radius, scale, instar, mood):
    """Add yolk in grains, gut and eye."""
    k, n = 70, len(rod)
    t = np.arange(n) / k
    rich = look.yolk_rich * rng.uniform(0.85, 1.1) * (1.0 if instar == 1 else 0.42)
    full = np.clip(1.35 * np.exp(-(((t - 0.42) / 0.40) ** 4)), 0.05, 0.9)
    yolk = form.sweep(put(rod), radius * np.sqrt(full) * (0.9 if instar == 1 else 0.7))
    deep = ndimage.gaussian_filter(np.where(yolk[0] > yolk[1], yolk[0] - yolk[1], 0), max(0.7, 4 / form.step))
    dx, dy = rng.uniform(0, 999, 2)
    x, y = np.broadcast_arrays(form.x[None, :], form.y[:, None])
    lumps = 0.05 * sampled(look.yolk_tile, x + dx, y + dy, 170.0) + 0.10 * cloudy(rng, deep.shape, 34 / form.step)
    form.grain = 1 + 0.6 * np.clip(lumps, -0.3, 0.3)
    form.add("yolk", deep * rich * np.clip(1 + lumps, 0.5, 1.5))
    if instar == 2:
        gut = form.sweep(
            put(rod[int(0.3 * k) : int(0.93 * n)]), np.maximum(radius[int(0.3 * k) : int(0.93 * n)] * 0.33, 6)
        )
        form.solid(gut, "yolk" if rng.random() < 0.6 else "green", rng.uniform(0.4, 0.9), outer=False)
    if mood == "limp" and rng.random() < 0.5:
        form.add("thread", deep * 0.25)  # dead tissue turns cloudy
    eye = rod[3] + np.array([0.0, 0.0, 0.25 * radius[3]])
    form.solid(form.sweep([put(eye)], 0.027 * scale * rng.uniform(0.9, 1.2)), "pigment", 1.0, outer=False)
    if instar == 2 and rng.random() < 0.4:
        for side in (-1, 1):
            spot = put(rod[6] + [0, side * 0.11 * scale, 0])
            form.solid(form.sweep([spot], 0.013 * scale), "pigment", 0.8, outer=False)


def turn_of(rng, *, lying: bool) -> tuple[str, tuple[float, float, float]]:
    """Return how a nauplius shows and its yaw, pitch and roll."""
    detail = rng.choice(["dorsal", "oblique", "side"], p=[0.55, 0.22, 0.23])
    roll, spread = TURNS[detail]
    roll = rng.choice([-1, 1]) * roll + rng.normal(0, spread)
    if detail == "dorsal" and rng.random() < 0.35:
        roll += np.pi
    return str(detail), (rng.uniform(0, 2 * np.pi), rng.normal(0, 0.07 if lying else 0.2), roll)
