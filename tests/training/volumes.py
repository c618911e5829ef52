"""True volumes of what lies in a hatch sample and beside it, marched along the line of sight into maps of thickness.

Animals, bystanders and dirt are unions of round cones, cysts and shells are spheres with walls, dents, cuts and a
filling; each is turned in space and marched. What is kept of each: how much tissue, clear tissue, chorion and dark
pigment a ray meets [100 µm], the slope of the front surface, and the outline. ``worlds.py`` lights them. Invented
shapes; sizes from the literature named in ``qckit/practice/scenes.py``. Only training uses it.
"""

import math
from dataclasses import dataclass

import numpy as np
import torch
import torch.nn.functional as F

GRID, STEP_UM = 120, 8.0
LAYERS, LAYER_UM = 40, 16.4
CHANNELS = ("tissue", "clear", "chorion", "dark", "slope_x", "slope_y", "outline")
NAUPLIUS, UMBRELLA, CYST, SHELL, DEBRIS = range(5)
TISSUE, CLEAR, DARK, SETA = range(4)  # materials of the cones; setae are clear and no part of the outline
CYST_UM, NAUPLIUS_UM = 244.0, 480.0
SOFT_UM = 5.5


@dataclass
class Bank:
    """Maps (n, 7, GRID, GRID), stage, kind and outline area [µm²] of each object; volumes where they were kept.

    Volumes (n, 4, LAYERS, GRID, GRID) hold the share of tissue, clear tissue, chorion and dark pigment, in bytes.
    """

    maps: torch.Tensor
    stage: torch.Tensor
    kind: list
    area: torch.Tensor
    volumes: torch.Tensor | None = None


# ---------------------------------------------------------------- bodies made of round cones
class Cones:
    """Collects round cones: two ends, two radii, a material."""

    def __init__(self):
        self.rows = []

    def add(self, a, b, ra, rb, material):
        self.rows.append((*a, *b, max(ra, 2.0), max(rb, 2.0), material))

    def chain(self, points, radii, material):
        for k in range(len(points) - 1):
            self.add(points[k], points[k + 1], radii[k], radii[k + 1], material)

    def turned(self, rng, *, tilt=0.5, roll=True):
        """Turned in space: mostly lying, rolled about its own axis."""
        rows = np.array(self.rows, float)
        about = rng.normal(0, tilt)
        spin = rng.uniform(0, 2 * math.pi) if roll and rng.random() < 0.6 else rng.normal(0, 0.35)
        c, s = math.cos(spin), math.sin(spin)
        x = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
        c, s = math.cos(about), math.sin(about)
        y = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        turn = y @ x
        for k in (0, 3):
            rows[:, k : k + 3] = rows[:, k : k + 3] @ turn.T
        centre = (rows[:, :3].min(0) + rows[:, :3].max(0)) / 2
        solid = rows[rows[:, 8] != SETA]
        centre = (solid[:, :3].min(0) + solid[:, 3:6].max(0)) / 2 if len(solid) else centre
        rows[:, :3] -= centre
        rows[:, 3:6] -= centre
        return rows


def _limb(cones, rng, root, side, length, angle, radius, setae, *, bend=0.5, lift=0.3):
    """One limb of two joints with bristles; angle from the head's direction. side is +1 or -1."""
    x, y, z = root
    a1, a2 = angle, angle + rng.normal(0, bend)
    z1, z2 = rng.normal(0, lift, 2)
    mid = (
        x + 0.5 * length * math.cos(a1),
        y + side * 0.5 * length * math.sin(a1),
        z + 0.5 * length * z1,
    )
    tip = (
        mid[0] + 0.5 * length * math.cos(a2),
        mid[1] + side * 0.5 * length * math.sin(a2),
        mid[2] + 0.5 * length * z2,
    )
    stem = TISSUE if rng.random() < 0.3 else CLEAR
    cones.add(root, mid, radius, 0.75 * radius, stem)
    cones.add(mid, tip, 0.7 * radius, 0.35 * radius, CLEAR)
    for _ in range(setae):
        f = rng.uniform(0.3, 1)
        start = tuple(m + f * (t - m) for m, t in zip(mid, tip, strict=True))
        a = a2 + rng.normal(0.3, 0.35)
        reach = rng.uniform(0.18, 0.45) * length
        end = (
            start[0] + reach * math.cos(a),
            start[1] + side * reach * math.sin(a),
            start[2] + reach * rng.normal(0, 0.3),
        )
        cones.add(start, end, 3.5, 2.0, SETA)


def nauplius(rng, *, second=False, dead=False):
    """Instar I, or II with its longer, clearer trunk and its gut; dead ones have limp or missing limbs."""
    cones = Cones()
    length = NAUPLIUS_UM * (rng.uniform(1.15, 1.7) if second else rng.uniform(0.92, 1.08))
    wide = (rng.uniform(0.10, 0.15) if second else rng.uniform(0.155, 0.21)) * length
    curl = rng.normal(0, 0.10 if not dead else 0.25) * length
    x = np.array([0.42, 0.30, 0.08, -0.2, -0.5]) * length
    y = curl * (np.array([0.42, 0.30, 0.08, -0.2, -0.5]) ** 2)
    profile = np.array([0.55, 0.95, 1.0, 0.72, 0.22]) if not second else np.array([0.7, 1.0, 0.85, 0.5, 0.25])
    profile = profile * np.exp(rng.normal(0, 0.07, 5))
    points = [(a, b, 0.0) for a, b in zip(x, y, strict=True)]
    cones.chain(points, wide * profile, CLEAR)
    fill = rng.uniform(0.7, 0.97) if not second else rng.uniform(0.25, 0.6)
    start = rng.choice([0.4, 0.25, 0.1]) if not second else rng.choice([0.2, 0.0])
    inner = [(start * length, curl * start**2, 0.0), *points[2:]]
    cones.chain(inner, fill * wide * np.array([0.75, *profile[2:]]), TISSUE)
    if rng.random() < (0.82 if second else 0.1):
        gut = rng.uniform(0.18, 0.35) * wide
        cones.chain(
            [(0.2 * length, 0, 0), (-0.1 * length, 0, 0), (-0.42 * length, points[4][1], 0)],
            [gut, gut, gut * 0.6],
            DARK if rng.random() < 0.5 else TISSUE,
        )
    if rng.random() < 0.92:
        eye = rng.uniform(9, 17)
        cones.add((0.39 * length, 0, 0.3 * wide), (0.395 * length, 0, 0.3 * wide), eye, eye, DARK)
    beat = rng.uniform(0.5, 2.3)
    for side in (-1, 1):
        lost = rng.random(3) < (0.35 if dead else 0.03)
        if not lost[0]:
            _limb(
                cones,
                rng,
                (0.38 * length, side * 0.35 * wide, 0),
                side,
                rng.uniform(0.2, 0.33) * length,
                rng.uniform(0.3, 1.0),
                rng.uniform(8, 14),
                2,
                bend=0.2,
            )
        if not lost[1]:
            far = rng.uniform(0.5, 0.8) * min(length, 560)
            _limb(
                cones,
                rng,
                (0.27 * length, side * 0.7 * wide, 0),
                side,
                far,
                beat + rng.normal(0, 0.2),
                rng.uniform(17, 30),
                5,
            )
        if not lost[2]:
            _limb(
                cones,
                rng,
                (0.12 * length, side * 0.75 * wide, 0),
                side,
                rng.uniform(0.25, 0.4) * min(length, 560),
                beat + rng.normal(0.3, 0.3),
                rng.uniform(11, 20),
                3,
            )
    return cones.turned(rng)


def rotifer(rng):
    """Rotifer-like: a vase with a crown and a foot, seldom an egg."""
    cones = Cones()
    length, wide = rng.uniform(110, 260), rng.uniform(0.26, 0.42)
    r = length * wide * np.array([0.7, 1.0, 0.8, 0.25])
    p = [(length * a, 0.0, 0.0) for a in (0.45, 0.1, -0.25, -0.5)]
    cones.chain(p, r, CLEAR)
    cones.chain([p[1], p[2]], r[1:3] * rng.uniform(0.35, 0.75), TISSUE if rng.random() < 0.6 else DARK)
    foot = rng.uniform(0.3, 0.8) * length
    a = rng.normal(0, 0.4)
    end = (p[3][0] - foot * math.cos(a), foot * math.sin(a), 0.0)
    cones.add(p[3], end, 0.2 * length * wide + 3, 5, CLEAR)
    for side in (-1, 1):
        cones.add(end, (end[0] - 20, side * 12, 0), 4, 2, CLEAR)
        cones.add(p[0], (p[0][0] + 0.08 * length, side * 0.28 * length, 0), 0.14 * length, 0.08 * length, CLEAR)
    if rng.random() < 0.4:
        egg = rng.uniform(0.2, 0.3) * length
        cones.add((-0.4 * length, 0.3 * length, 0), (-0.42 * length, 0.34 * length, 0), egg, egg, TISSUE)
    return cones.turned(rng, tilt=0.3)


def copepod(rng):
    """Copepod-like: a drop-shaped trunk, a jointed tail with a fork, two long feelers, one eye; or its larva."""
    cones = Cones()
    length = rng.uniform(220, 720)
    wide = rng.uniform(0.13, 0.2) * length
    p = [(length * a, 0.0, 0.0) for a in (0.45, 0.28, 0.0, -0.18)]
    cones.chain(p, wide * np.array([0.6, 1.0, 0.9, 0.5]), CLEAR)
    cones.chain(p[:3], wide * rng.uniform(0.4, 0.85) * np.array([0.5, 0.9, 0.8]), TISSUE)
    tail = [(-0.18 * length, 0, 0), (-0.34 * length, rng.normal(0, 8), 0), (-0.46 * length, rng.normal(0, 12), 0)]
    cones.chain(tail, [0.32 * wide, 0.25 * wide, 0.2 * wide], CLEAR if rng.random() < 0.6 else TISSUE)
    for side in (-1, 1):
        cones.add(tail[2], (tail[2][0] - 0.12 * length, side * 0.05 * length, 0), 6, 3, CLEAR)
        cones.add(
            (tail[2][0] - 0.1 * length, side * 0.04 * length, 0),
            (tail[2][0] - 0.25 * length, side * rng.uniform(0.05, 0.12) * length, 0),
            3,
            2,
            SETA,
        )
        a = rng.uniform(0.9, 2.2)
        reach = rng.uniform(0.3, 0.75) * length
        root = (0.4 * length, side * 0.4 * wide, 0.0)
        mid = (root[0] + 0.5 * reach * math.cos(a), root[1] + side * 0.5 * reach * math.sin(a), 0.0)
        a += rng.uniform(-0.2, 0.6)
        cones.chain(
            [root, mid, (mid[0] + 0.5 * reach * math.cos(a), mid[1] + side * 0.5 * reach * math.sin(a), 0.0)],
            [10, 7, 4],
            CLEAR,
        )
        for k in range(rng.integers(0, 4)):
            at = (0.2 - 0.1 * k) * length
            cones.add(
                (at, side * 0.5 * wide, -20),
                (at - 0.12 * length, side * (0.8 * wide + rng.uniform(0, 40)), -40),
                7,
                3,
                CLEAR,
            )
        if rng.random() < 0.2:
            cones.add(
                (-0.22 * length, side * 0.12 * length, 0),
                (-0.36 * length, side * 0.14 * length, 0),
                0.09 * length,
                0.07 * length,
                TISSUE,
            )
    cones.add((0.42 * length, 0, 0.3 * wide), (0.42 * length, 0, 0.3 * wide), rng.uniform(6, 12), 8, DARK)
    return cones.turned(rng, tilt=0.3)


def thread(rng):
    """A fibre, a filament of algae, a worm: a curved tube of even width."""
    cones = Cones()
    n, radius = 7, rng.choice([4.0, 7.0, 12.0, 20.0], p=[0.35, 0.35, 0.2, 0.1])
    length = rng.uniform(250, 1100)
    angle, curve = 0.0, rng.normal(0, 0.35)
    p = [(0.0, 0.0, 0.0)]
    for _ in range(n):
        angle += curve + rng.normal(0, 0.15)
        p.append((p[-1][0] + length / n * math.cos(angle), p[-1][1] + length / n * math.sin(angle), rng.normal(0, 20)))
    cones.chain(p, np.full(n + 1, radius), rng.choice([TISSUE, CLEAR, DARK], p=[0.4, 0.4, 0.2]))
    return cones.turned(rng, tilt=0.1, roll=False)


def clump(rng):
    """A heap of dirt, bacteria, algae or faeces: many small balls, now round, now drawn out."""
    cones = Cones()
    n = rng.integers(4, 26)
    reach = np.array([1.0, rng.uniform(0.25, 1.0), rng.uniform(0.2, 0.6)]) * rng.uniform(30, 190)
    material = rng.choice([TISSUE, CLEAR, DARK], p=[0.55, 0.3, 0.15])
    for _ in range(n):
        p = tuple(rng.normal(0, 0.5, 3) * reach)
        r = rng.uniform(0.12, 0.4) * reach[0]
        cones.add(
            p, tuple(np.array(p) + rng.normal(0, 0.3, 3) * r), r, 0.7 * r, material if rng.random() < 0.8 else TISSUE
        )
    return cones.turned(rng)


def march_cones(bodies, device, hollow=False, chunk=48, into=None):
    """Maps of bodies made of round cones; their volumes are added to the list ``into``."""
    out = []
    for start in range(0, len(bodies), chunk):
        some = bodies[start : start + chunk]
        n, most = len(some), max(len(b) for b in some)
        rows = np.zeros((n, most, 9), np.float32)
        rows[:, :, 6:8] = -1e4
        for k, b in enumerate(some):
            rows[k, : len(b)] = b
        t = torch.from_numpy(rows).to(device)
        axis = (torch.arange(GRID, device=device) - (GRID - 1) / 2) * STEP_UM
        zs = torch.linspace(320, -320, 40, device=device)
        step = 16.4
        x, y, z = axis[None, None, None, :], axis[None, None, :, None], zs[None, :, None, None]
        logs = {m: torch.zeros(n, 40, GRID, GRID, device=device) for m in (TISSUE, CLEAR, DARK)}
        seta = torch.zeros_like(logs[CLEAR])
        for k in range(most):
            ax, ay, az, bx, by, bz, ra, rb, material = (t[:, k, j][:, None, None, None] for j in range(9))
            dx, dy, dz = bx - ax, by - ay, bz - az
            h = ((x - ax) * dx + (y - ay) * dy + (z - az) * dz) / (dx * dx + dy * dy + dz * dz + 1e-3)
            h = h.clamp(0, 1)
            d = ((x - ax - h * dx) ** 2 + (y - ay - h * dy) ** 2 + (z - az - h * dz) ** 2).sqrt()
            d = ra + h * (rb - ra) - d
            inside = F.softplus(d / SOFT_UM)
            if hollow:
                inside = inside * torch.sigmoid((9 - d) / 3)
            for m, log in logs.items():
                log += inside * (material == m)
            seta += inside * (material == SETA)
        occ = {m: 1 - torch.exp(-log) for m, log in logs.items()}
        setae = 1 - torch.exp(-seta)
        solid = 1 - torch.exp(-(logs[TISSUE] + logs[CLEAR] + logs[DARK]))
        tissue = occ[TISSUE] * (1 - occ[DARK])
        clear = torch.maximum(occ[CLEAR] * (1 - occ[TISSUE]) * (1 - occ[DARK]), setae)
        thick = [o.sum(1) * step / 100 for o in (tissue, clear)]
        nothing = torch.zeros_like(thick[0])
        dark = occ[DARK].sum(1) * step / 100
        outline = (solid.amax(1) > 0.5).float()
        if into is not None:
            into.append(_layers([tissue, clear, None, occ[DARK]]))
        out.append(_finish(solid, zs, step, [*thick, nothing, dark], outline))
    return torch.cat(out)


def _layers(shares):
    """Four shares (n, z, GRID, GRID), None for nothing, as bytes in LAYERS layers."""
    out = []
    for one in shares:
        if one is None:
            out.append(None)
            continue
        if one.shape[1] > LAYERS:
            one = F.avg_pool3d(one[:, None], (2, 1, 1))[:, 0]
        lack = LAYERS - one.shape[1]
        out.append((F.pad(one, (0, 0, 0, 0, lack // 2, lack - lack // 2)).clamp(0, 1) * 255).to(torch.uint8))
    some = next(o for o in out if o is not None)
    return torch.stack([torch.zeros_like(some) if o is None else o for o in out], 1)


def _finish(solid, zs, step, thick, outline):
    """Front surface and its slopes; all maps together, half precision."""
    a = 1 - torch.exp(-solid * step / 14)
    before = torch.cumprod(torch.cat((torch.ones_like(a[:, :1]), 1 - a[:, :-1]), 1), 1)
    w = a * before
    total = w.sum(1)
    depth = (w * zs[None, :, None, None]).sum(1) / total.clamp(min=1e-3)
    smooth = lambda v: F.avg_pool2d(F.pad(v[:, None], (1, 1, 1, 1), mode="replicate"), 3, 1)[:, 0]  # noqa: E731
    weight = smooth(total).clamp(min=1e-3)
    depth = smooth(depth * total) / weight
    sx, sy = torch.zeros_like(depth), torch.zeros_like(depth)
    sx[:, :, 1:-1] = (depth[:, :, :-2] - depth[:, :, 2:]) / (2 * STEP_UM)
    sy[:, 1:-1] = (depth[:, :-2] - depth[:, 2:]) / (2 * STEP_UM)
    there = (total > 0.15).float()
    return torch.stack([*thick, (sx * there).clamp(-4, 4), (sy * there).clamp(-4, 4), outline], 1).half()


# ---------------------------------------------------------------- cysts, shells, umbrella stages, bubbles, grains
def _direction(rng):
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


EGG = {
    **dict.fromkeys(("radius", "wall", "filled", "slit", "cut", "rough", "has_shell", "has_core"), 1),
    **dict.fromkeys(("second", "second_cut", "dent_wide", "crumple", "membrane"), 1),
    **dict.fromkeys(("normal", "across", "shell_at", "second_at", "second_normal", "dent_a", "dent_b"), 3),
    **dict.fromkeys(("wave", "flat", "core_at", "core", "core_axis"), 3),
    "dent": 2,
}
"""Numbers of an egg-like thing, and how many of each."""


def egg(rng, kind):
    """Numbers of one egg-like thing: (stage, dict)."""
    radius = CYST_UM / 2 * rng.uniform(0.95, 1.05)
    e = {k: np.zeros(n) for k, n in EGG.items()}
    e["radius"][:], e["wall"][:], e["has_shell"][:] = radius, rng.uniform(6, 13), 1
    e["cut"][:], e["slit"][:], e["rough"][:] = 9, 0, rng.uniform(0, 0.12)
    for k in ("normal", "across", "dent_a", "dent_b", "wave", "second_normal", "core_axis"):
        e[k][:] = _direction(rng)
    e["across"] -= e["normal"] * (e["across"] @ e["normal"])
    e["dent_wide"][:], e["flat"][:] = rng.uniform(0.08, 0.5), 1
    e["core"][:], e["membrane"][:] = 1, 0
    flatten = np.exp(rng.normal(0, 0.03, 3))
    if kind == "cyst":
        e["filled"][:] = 1
        e["flat"] = flatten
        if rng.random() < 0.3:
            e["dent"][0] = rng.uniform(0.1, 0.6)
            e["dent"][1] = rng.uniform(0, 0.4) * (rng.random() < 0.4)
        return CYST, e
    if kind == "decapsulated":
        e["has_shell"][:], e["has_core"][:] = 0, 1
        e["core"][:] = radius * rng.uniform(0.85, 0.97) * np.exp(rng.normal(0, 0.03, 3))
        e["membrane"][:] = rng.uniform(4, 12) * (rng.random() < 0.5)
        return CYST, e
    if kind in ("slit", "open", "cup", "half", "halves", "crumpled", "piece", "splinter"):
        e["flat"] = np.exp(rng.normal(0, 0.08, 3))
        if kind == "slit":
            e["slit"][:] = rng.uniform(0.04, 0.3)
        else:
            low, high = {
                "open": (0.45, 0.9),
                "cup": (0.1, 0.5),
                "half": (-0.15, 0.15),
                "halves": (-0.1, 0.4),
                "crumpled": (0.0, 0.9),
                "piece": (-0.55, -0.25),
                "splinter": (-0.95, -0.72),
            }[kind]
            e["cut"][:] = rng.uniform(low, high)
            e["rough"][:] = rng.uniform(0, 0.25)
        if kind == "crumpled":
            e["crumple"][:] = rng.uniform(0.1, 0.3)
            e["flat"] = np.exp(rng.normal(0, 0.2, 3))
            e["dent"][:] = rng.uniform(0, 0.6, 2)
        elif rng.random() < 0.3:
            e["crumple"][:] = rng.uniform(0.02, 0.1)
        if kind == "halves":
            e["second"][:] = 1
            e["second_cut"][:] = rng.uniform(-0.1, 0.35)
            aside = -e["normal"] if rng.random() < 0.5 else _direction(rng)
            aside[2] *= 0.3
            e["second_at"][:] = aside * radius * rng.uniform(0.1, 1.9)
            e["second_normal"][:] = -e["normal"] if rng.random() < 0.6 else _direction(rng)
            e["shell_at"][:] = -e["second_at"] / 2
            e["second_at"][:] += e["shell_at"]
        if kind == "splinter":
            e["shell_at"] = e["normal"] * radius * 0.9
            return DEBRIS, e
        if kind == "piece":
            e["shell_at"] = e["normal"] * radius * 0.6
        return SHELL, e
    # umbrella stages
    long = radius * rng.uniform(0.95, 1.25)
    broad = radius * rng.uniform(0.68, 0.88)
    e["has_core"][:] = 1
    away = _direction(rng)
    away[2] *= rng.choice([0.2, 1.0])
    away /= np.linalg.norm(away)
    e["core"][:] = (long, broad, broad * rng.uniform(0.85, 1))
    e["core_axis"][:] = away if rng.random() < 0.65 else _direction(rng)
    e["membrane"][:] = rng.uniform(5, 38)
    if kind == "free":
        e["has_shell"][:] = 0
        return UMBRELLA, e
    e["normal"][:] = away + rng.normal(0, 0.35, 3)
    e["normal"] /= np.linalg.norm(e["normal"])
    e["across"] = _direction(rng)
    if kind == "early":  # still half within its shell
        gap, e["cut"][:] = rng.uniform(0.25, 0.9), rng.uniform(0.0, 0.5)
    else:
        gap, e["cut"][:] = rng.uniform(0.9, 2.3), rng.uniform(-0.1, 0.75)
    if rng.random() < 0.25:
        e["cut"][:], e["slit"][:] = 9, rng.uniform(0.1, 0.4)
    if rng.random() < 0.2:
        e["second"][:], e["second_cut"][:] = 1, rng.uniform(-0.1, 0.3)
        e["second_normal"][:] = _direction(rng)
        e["second_at"][:] = -away * radius * (gap / 2) + rng.normal(0, 0.35, 3) * radius
    e["core_at"][:] = away * radius * gap / 2
    e["shell_at"][:] = -away * radius * gap / 2
    e["crumple"][:] = rng.uniform(0, 0.12)
    return UMBRELLA, e


def march_eggs(eggs, device, chunk=48, into=None):
    """Maps of cysts, shells and umbrella stages; their volumes are added to the list ``into``."""
    out = []
    for start in range(0, len(eggs), chunk):
        some = eggs[start : start + chunk]
        g = {k: torch.from_numpy(np.stack([e[k] for e in some])).float().to(device) for k in EGG}
        n = len(some)
        s = lambda k, i=0: g[k][:, i][:, None, None, None]  # noqa: B023,E731
        axis = (torch.arange(GRID, device=device) - (GRID - 1) / 2) * STEP_UM
        zs = torch.linspace(300, -300, 72, device=device)
        step = 600 / 71
        grid = (axis[None, None, None, :], axis[None, None, :, None], zs[None, :, None, None])
        dot = lambda p, k: p[0] * s(k, 0) + p[1] * s(k, 1) + p[2] * s(k, 2)  # noqa: B023,E731
        soft = 4.5
        radius, wall = s("radius"), s("wall")
        warp = s("crumple") * radius * 0.5

        def sphere(at, g=g, s=s, grid=grid, dot=dot, radius=radius, warp=warp):
            p = [grid[j] - s(at, j) for j in range(3)]
            w = (p[0] * s("wave", 0) + p[1] * s("wave", 1) + p[2] * s("wave", 2)) / radius
            p = [
                (p[j] + warp * torch.sin(3.1 * w + 2.0 * j + 4 * p[(j + 1) % 3] / radius)) / s("flat", j)
                for j in range(3)
            ]
            r = (p[0] ** 2 + p[1] ** 2 + p[2] ** 2).sqrt().clamp(min=1)
            dents = sum(
                s("dent", j) * torch.exp(-(1 - dot(p, k) / r) / s("dent_wide"))
                for j, k in enumerate(("dent_a", "dent_b"))
            )
            return p, r - radius * (1 - dents)

        p, d = sphere("shell_at")
        ragged = (
            s("rough") * radius * (torch.sin(p[0] / 23 + 1.3 * torch.sin(p[1] / 31)) + torch.sin(p[2] / 17 + p[1] / 29))
        )
        keep = torch.sigmoid((s("cut") * radius + 0.5 * ragged - dot(p, "normal")) / soft)
        slit = torch.maximum(
            dot(p, "normal").abs() - s("slit") * radius * (1 + dot(p, "across") / radius),
            -dot(p, "across") - 0.3 * radius,
        )
        keep = torch.where(s("slit") > 0, torch.sigmoid((slit + 0.3 * ragged) / soft), keep)
        shell = torch.sigmoid((wall / 2 - d.abs()) / 3.0) * keep
        core = torch.sigmoid((-wall / 2 - d) / soft) * s("filled")
        if bool((g["second"] > 0).any()):
            q, d2 = sphere("second_at")
            keep = torch.sigmoid((s("second_cut") * radius + 0.5 * ragged - dot(q, "second_normal")) / soft)
            shell = torch.maximum(shell, torch.sigmoid((wall / 2 - d2.abs()) / 3.0) * keep * s("second"))
        shell = shell * s("has_shell")
        p = [grid[j] - s("core_at", j) for j in range(3)]
        along = dot(p, "core_axis")
        aside = (p[0] ** 2 + p[1] ** 2 + p[2] ** 2 - along**2).clamp(min=0).sqrt()
        rho = ((along / s("core", 0)) ** 2 + (aside / s("core", 1)) ** 2).sqrt()
        d = (rho - 1) * s("core", 1)
        core = torch.maximum(core, torch.sigmoid(-d / soft) * s("has_core"))
        skin = torch.sigmoid((5 - (d - s("membrane")).abs()) / 3.0) * s("has_core") * (s("membrane") > 0)
        within = torch.sigmoid((s("membrane") - d) / soft) * s("has_core")
        shell, skin = shell * (1 - core), skin * (1 - core)
        solid = torch.maximum(torch.maximum(shell, core), skin)
        thick = [o.sum(1) * step / 100 for o in (core, skin, shell)]
        thick.append(torch.zeros_like(thick[0]))
        if into is not None:
            into.append(_layers([core, skin, shell, None]))
        outline = (torch.maximum(torch.maximum(shell, core), within).amax(1) > 0.4).float()
        out.append(_finish(solid, zs, step, thick, outline))
        del n
    return torch.cat(out)


def march_grains(rng, n, device, chunk=48, into=None):
    """Grains, crystals and flakes: solids between planes."""
    out = []
    for start in range(0, n, chunk):
        m = min(chunk, n - start)
        normals = rng.normal(size=(m, 9, 3))
        normals /= np.linalg.norm(normals, axis=2, keepdims=True)
        size = rng.uniform(15, 110, (m, 1)) * rng.uniform(0.6, 1.2, (m, 9))
        thin = (rng.random((m, 1)) < 0.4) & (np.arange(9) >= 7)
        flat = rng.normal(size=(m, 1, 3)) * np.array([0.25, 0.25, 1])
        flat /= np.linalg.norm(flat, axis=2, keepdims=True)
        normals[:, 7:] = np.where(thin[:, 7:, None], np.concatenate((flat, -flat), 1), normals[:, 7:])
        size = np.where(thin, rng.uniform(3, 12, (m, 1)), size)
        t, size = torch.from_numpy(normals).float().to(device), torch.from_numpy(size).float().to(device)
        axis = (torch.arange(GRID, device=device) - (GRID - 1) / 2) * STEP_UM
        zs = torch.linspace(140, -140, 32, device=device)
        x, y, z = axis[None, None, None, :], axis[None, None, :, None], zs[None, :, None, None]
        d = torch.full((m, 32, GRID, GRID), -1e9, device=device)
        for k in range(9):
            a, b, c = (t[:, k, j][:, None, None, None] for j in range(3))
            d = torch.maximum(d, x * a + y * b + z * c - size[:, k][:, None, None, None])
        d = torch.maximum(d, (x * x + y * y + z * z).sqrt() - 140)
        solid = torch.sigmoid(-d / 4)
        tissue = solid.sum(1) * 9 / 100
        nothing = torch.zeros_like(tissue)
        which = torch.from_numpy(rng.random(m) < 0.5).to(device)[:, None, None]
        thick = [torch.where(which, tissue, nothing), torch.where(which, nothing, tissue), nothing, nothing]
        if into is not None:
            deep = F.interpolate(solid[:, None], size=(18, GRID, GRID), mode="trilinear", align_corners=False)[:, 0]
            into.append(_layers([deep * which[:, None], deep * ~which[:, None], None, None]))
        out.append(_finish(solid, zs, 9.0, thick, (solid.amax(1) > 0.5).float()))
    return torch.cat(out)


# ---------------------------------------------------------------- the bank
def make_bank(seed, scale, device, volumes=False):
    """About ``600 * scale`` objects of all kinds."""
    rng = np.random.default_rng(seed)
    maps, stage, kind = [], [], []
    keep = [] if volumes else None

    def put(m, s, k):
        maps.append(m)
        stage.extend(s)
        kind.extend([k] * len(s))

    bodies = [("nauplius", nauplius, {}, 190, NAUPLIUS), ("second", nauplius, {"second": True}, 60, NAUPLIUS)]
    bodies += [("dead", nauplius, {"dead": True}, 20, NAUPLIUS), ("rotifer", rotifer, {}, 25, DEBRIS)]
    bodies += [
        ("copepod", copepod, {}, 30, DEBRIS),
        ("thread", thread, {}, 30, DEBRIS),
        ("clump", clump, {}, 50, DEBRIS),
    ]
    for name, make, options, n, s in bodies:
        some = [make(rng, **options) for _ in range(int(n * scale))]
        put(march_cones(some, device, into=keep), [s] * len(some), name)
    some = [nauplius(rng, second=rng.random() < 0.4) for _ in range(int(25 * scale))]
    some = [b[(b[:, 8] == CLEAR) | (b[:, 8] == SETA)] for b in some]  # an empty skin
    put(march_cones(some, device, hollow=True, into=keep), [DEBRIS] * len(some), "moult")
    kinds = {
        "cyst": 90,
        "decapsulated": 14,
        "slit": 28,
        "open": 30,
        "cup": 28,
        "half": 24,
        "halves": 44,
        "crumpled": 26,
        "piece": 16,
        "splinter": 24,
        "free": 14,
        "early": 26,
        "hanging": 44,
    }
    for name, n in kinds.items():
        some = [egg(rng, name) for _ in range(int(n * scale))]
        if some:
            put(march_eggs([e for _, e in some], device, into=keep), [s for s, _ in some], name)
    bubbles = []
    for _ in range(int(14 * scale)):
        _, e = egg(rng, "cyst")
        e["filled"][:], e["dent"][:], e["wall"][:] = 0, 0, 3
        e["radius"][:] = rng.uniform(20, 150)
        e["flat"][:] = 1
        bubbles.append(e)
    put(march_eggs(bubbles, device, into=keep), [DEBRIS] * len(bubbles), "bubble")
    n = int(30 * scale)
    put(march_grains(rng, n, device, into=keep), [DEBRIS] * n, "grain")
    maps = torch.cat(maps)
    area = maps[:, 6].float().sum((1, 2)) * STEP_UM**2
    return Bank(maps, torch.tensor(stage, device=device), kind, area, torch.cat(keep) if volumes else None)
