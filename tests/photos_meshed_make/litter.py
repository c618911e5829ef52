"""Debris as meshes: fibres, salt, bubbles, sand, flecks, algae, cast skins and small bystanders."""

import numpy as np
from meshes import Part, any_rotation, ball, hairs, joined, limb, rotation
from nauplius import nauplius, pose_matrix


def _flat_turn(rng):
    return rotation([0, 0, 1], rng.uniform(0, 2 * np.pi))


def fibre(rng, lattice):
    """A thread of cloth or paper, bent."""
    length, count = rng.uniform(300, 1600), 7
    heading = rng.uniform(0, 6.28) + np.cumsum(rng.normal(0, 0.4, count))
    step = np.stack([np.cos(heading), np.sin(heading), rng.normal(0, 0.03, count)], 1) * length / count
    radius = rng.uniform(4, 11)
    part = limb(np.cumsum(step, axis=0), np.full(count, radius) * rng.uniform(0.8, 1.2, count), "fibre", stations=60)
    return [part]


def salt(rng, lattice):
    """A grain of salt: a rounded box."""
    size = rng.uniform(50, 170, 3)

    def squeeze(d):
        return 1 / (np.abs(d) ** 9).sum(1) ** (1 / 9)

    part = ball(size / 1.6, "salt", lattice=lattice, rough=0.02, squeeze=squeeze, rows=30, columns=40)
    return [part.moved(any_rotation(rng))]


def sand(rng, lattice):
    """A worn grain of sand or grit."""
    size = rng.uniform(35, 150) * rng.uniform(0.7, 1.3, 3)
    material = rng.choice(["sand", "grit"], p=[0.65, 0.35])
    part = ball(size, material, lattice=lattice, rough=0.3, grain_um=size.mean() * 0.9)
    part.rest = part.rest + rng.uniform(0, 900, 3)
    return [part.moved(any_rotation(rng))]


def bubble(rng, lattice):
    """A bubble of air."""
    return [ball([rng.choice([rng.uniform(30, 90), rng.uniform(90, 260)])] * 3, "bubble", rows=30, columns=40)]


def fleck(rng, lattice):
    """A thin ragged flake."""
    size = rng.uniform(40, 170)
    part = ball([size, size * rng.uniform(0.4, 0.9), size * 0.08], "fleck", lattice=lattice, rough=0.45, grain_um=60)
    part.form = "sheet"
    part.rest = part.rest + rng.uniform(0, 900, 3)
    return [part.moved(_flat_turn(rng) @ rotation([1, 0, 0], rng.normal(0, 0.5)))]


def algae(rng, lattice):
    """A clump of green cells."""
    count = rng.integers(12, 60)
    spread = rng.uniform(12, 26)
    cells = []
    for _ in range(count):
        cell = ball([rng.uniform(7, 16)] * 3, "algae", rows=8, columns=10)
        cells.append(cell.moved(np.eye(3), rng.normal(0, 1, 3) * spread * [1, 0.7, 0.4]))
    return [joined(cells).moved(_flat_turn(rng))]


def moult(rng, lattice):
    """The cast skin of a nauplius: its outline without flesh, crumpled."""
    parts, ghosts = nauplius(rng, rng.uniform(380, 520), state="dead", pose=rng.choice(["dorsal", "curled"]))
    hull, (stems, bristles) = parts[1], ghosts[0]
    skins = []
    for part in (hull, stems):
        part.material, part.form, part.outline = "moult", "sheet", True
        crumple = np.stack([lattice(part.rest + 40 * k, 60, 2) for k in range(3)], 1)
        part.points = part.points * [1, 1, 0.35] + crumple * 14
        skins.append(part)
    turn = pose_matrix(rng, "dorsal")
    return [p.moved(turn) for p in (*skins, bristles)]


def rotifer(rng, lattice):
    """A vase-shaped animal with a crown and a foot."""
    long = rng.uniform(75, 130)
    body = ball(
        [long, long * 0.66, long * 0.45],
        "clear_animal",
        lattice=lattice,
        rough=0.02,
        squeeze=lambda d: 1 - 0.16 * np.clip(d[:, 0], 0, 1) ** 6,
    )
    inside = ball([long * 0.45, long * 0.33, long * 0.3], "organs", lattice=lattice, rough=0.2, grain_um=40)
    inside.outline = False
    sway = rng.normal(0, 0.3)
    foot = limb(
        [[-0.9 * long, 0, 0], [-1.3 * long, sway * 0.3 * long, 0], [-1.75 * long, sway * long, 0]], [11, 8, 4], "limb"
    )
    crown = [
        [[x * long, y * long * (0.35 + 0.75 * x), 0] for x in (0.85, 0.98, 1.12)] for y in np.linspace(-0.4, 0.4, 10)
    ]
    turn = _flat_turn(rng) @ rotation([1, 0, 0], rng.normal(0, 0.5))
    inside = inside.moved(np.eye(3), [-0.15 * long, 0, 0])
    return [p.moved(turn) for p in (foot, inside, body, hairs(crown, 2.0))]


def copepod(rng, lattice):
    """A small copepod: a drop-shaped front, a jointed tail with a fork, long antennae."""
    long = rng.uniform(170, 300)

    def squeeze(d):
        return 1 - 0.18 * np.clip(-d[:, 0], 0, 1)

    front = ball([long, long * 0.42, long * 0.36], "clear_animal", lattice=lattice, rough=0.01, squeeze=squeeze)
    gut = ball([long * 0.6, long * 0.14, long * 0.14], "organs", lattice=lattice, rough=0.15, grain_um=50)
    gut.outline = False
    sway = rng.normal(0, 0.25)
    at = np.linspace(0, 1, 6)
    tail = np.stack([-0.8 * long - 0.95 * long * at, sway * long * at**2, 0 * at], 1)
    tail_part = limb(tail, np.array([0.2, 0.15, 0.13, 0.12, 0.1, 0.07]) * long, "clear_animal", stations=26)
    lines, stems = [], []
    for hand in (-1, 1):
        lines.append([tail[-1] + np.array([-0.5, hand * 0.12, 0]) * long * t for t in (0, 0.5, 1)])
        chain = [
            [0.85 * long, hand * 0.1 * long, 0],
            [0.8 * long, hand * 0.6 * long, 0],
            [0.25 * long, hand * 1.2 * long, 0],
        ]
        stems.append(limb(chain, np.array([0.045, 0.03, 0.015]) * long, "limb"))
    eye = ball([10, 10, 10], "eye", rows=9, columns=11).moved(np.eye(3), [0.82 * long, 0, 0.1 * long])
    eye.outline = False
    turn = _flat_turn(rng) @ rotation([1, 0, 0], rng.normal(0, 0.6))
    return [p.moved(turn) for p in (tail_part, joined(stems), gut, front, eye, hairs(lines, 3.0))]


def ciliate(rng, lattice):
    """A clear oval cell with a fringe."""
    long = rng.uniform(40, 85)
    body = ball([long, long * 0.5, long * 0.4], "clear_animal", lattice=lattice, rough=0.05)
    inside = ball([long * 0.5, long * 0.3, long * 0.25], "organs", lattice=lattice, rough=0.25, grain_um=25)
    inside.outline = False
    fringe = []
    for a in np.linspace(0, 2 * np.pi, 30, endpoint=False):
        root = np.array([np.cos(a) * long, np.sin(a) * long * 0.5, 0])
        fringe.append([root, root * 1.06, root * 1.12])
    turn = _flat_turn(rng)
    return [p.moved(turn) for p in (inside, body, hairs(fringe, 1.0))]


KINDS = {
    "fibre": (fibre, 0.22),
    "grain": (salt, 0.11),
    "sand": (sand, 0.14),
    "bubble": (bubble, 0.1),
    "fleck": (fleck, 0.15),
    "algae": (algae, 0.09),
    "moult": (moult, 0.08),
    "rotifer": (rotifer, 0.04),
    "copepod": (copepod, 0.03),
    "ciliate": (ciliate, 0.04),
}


def litter(rng, lattice, favour=None):
    """One piece of debris: its parts and its detail."""
    names = list(KINDS)
    weights = np.array([KINDS[n][1] * (4 if n == favour else 1) for n in names])
    name = str(rng.choice(names, p=weights / weights.sum()))
    parts: list[Part] = KINDS[name][0](rng, lattice)
    return parts, name
