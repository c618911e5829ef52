"""Cysts, broken shells and umbrella stages as meshes."""

import numpy as np
from meshes import Part, ball, frames, joined, limb, loft, profile, rotation


def cyst(rng, lattice, radius, form):
    """A hydrated cyst: ``round``, ``dented`` (a cup) or ``bare`` (its shell dissolved)."""
    tone = rng.choice(["cyst", "dark_cyst", "pale_cyst"], p=[0.84, 0.09, 0.07])
    dents = []
    if form == "dented":
        for _ in range(rng.integers(1, 3)):
            axis = rng.normal(size=3)
            axis[2] = abs(axis[2])
            dents.append((axis / np.linalg.norm(axis), rng.uniform(0.25, 0.6), rng.uniform(0.55, 0.85)))
    else:
        axis = rng.normal(size=3)
        dents.append((axis / np.linalg.norm(axis), rng.uniform(0, 0.05), rng.uniform(0.4, 0.8)))

    def squeeze(d):
        r = np.ones(len(d))
        for axis, depth, width in dents:
            angle = np.arccos(np.clip(d @ axis, -1, 1))
            r *= 1 - depth * np.exp(-((angle / width) ** 2))
        return r

    radii = radius * (1 + rng.normal(0, 0.018, 3))
    rough = rng.uniform(0.004, 0.016)
    offset = rng.uniform(0, 1500, 3)
    inner = ball(radii * 0.95, "bare" if form == "bare" else tone, lattice=lattice, rough=rough, squeeze=squeeze)
    inner.rest = inner.rest + offset
    if form == "bare":
        return [inner]
    inner.outline = False
    chorion = ball(radii, "chorion", lattice=lattice, rough=rough, form="sheet", squeeze=squeeze)
    chorion.rest = chorion.rest + offset
    return [inner, chorion]


def _crust(rng, lattice, radius, keep, *, fold=0.0, rows=34, columns=44):
    """A piece of shell: of a sphere whatever ``keep(directions)`` leaves (> 0); its rim is marked as edge."""
    piece = ball([radius] * 3, "shell", rows=rows, columns=columns, lattice=lattice, rough=0.012, form="sheet")
    d = piece.rest / np.linalg.norm(piece.rest, axis=1, keepdims=True)
    ragged = keep(d) + 0.05 * lattice(d * 100 + rng.uniform(0, 900), 22, 2)
    # the raster cuts where the edge value passes 0, within a triangle: the rim is a line and not a saw
    faces = piece.faces[ragged[piece.faces].max(1) > 0]
    piece.edge = ragged.astype(np.float32)
    if fold:
        axis = d[np.argmax(ragged)]
        side = np.cross(axis, [0.3, 0.5, 0.8])
        side /= np.linalg.norm(side)
        along = piece.points @ side
        piece.points = piece.points - np.outer(along * fold * np.abs(along) / radius, side)
    used = np.unique(faces)
    number = np.zeros(len(d), int)
    number[used] = np.arange(len(used))
    rest = piece.rest + rng.uniform(0, 1500, 3)
    return Part(piece.points[used], rest[used], number[faces], "shell", "sheet", piece.edge[used])


def shell(rng, lattice, radius, form):
    """An empty chorion: ``cracked``, ``bowl``, ``halves``, ``crescent`` or ``fragment``; z is up, mouth along +x."""
    radius = radius * rng.uniform(0.97, 1.05)
    if form == "cracked":
        width, reach = rng.uniform(0.06, 0.2), rng.uniform(0.5, 0.98)
        tilt = rng.uniform(0, 2 * np.pi)

        def keep(d):
            across = d[:, 1] * np.cos(tilt) + d[:, 2] * np.sin(tilt)
            along = np.arccos(np.clip(d[:, 0], -1, 1)) / (np.pi * reach)
            return np.abs(across) - width * np.sqrt(np.maximum(1 - along, -0.02) + 0.02) + 0.25 * (along > 1)

        return [_crust(rng, lattice, radius, keep)]
    if form in ("bowl", "crescent"):
        level = rng.uniform(-0.15, 0.55)
        wave, turn = rng.uniform(0, 0.14), rng.uniform(0, 6.3)
        return [
            _crust(
                rng,
                lattice,
                radius,
                lambda d: level - d[:, 0] + wave * np.sin(2 * np.arctan2(d[:, 1], d[:, 2]) + turn),
                fold=rng.uniform(0, 0.22) * (rng.random() < 0.5),
            )
        ]
    if form == "fragment":
        level = -rng.uniform(0.1, 0.35)
        return [_crust(rng, lattice, radius, lambda d: level - d[:, 0] + 0.3 * d[:, 1] ** 2, fold=rng.uniform(0, 0.4))]
    return valves(rng, lattice, radius, rng.uniform(0.5, 1.5))


def valves(rng, lattice, radius, gape):
    """Two valves of a shell that hang together at -x and gape towards +x by an angle."""
    parts = []
    for hand in (-1, 1):
        part = _crust(rng, lattice, radius, lambda d, hand=hand: hand * d[:, 1] + 0.02)
        turn = rotation([0, 0, 1], hand * gape / 2)
        hinge = np.array([-radius, 0, 0])
        parts.append(part.moved(turn, hinge - turn @ hinge))
    return [joined(parts)]


def umbrella(rng, lattice, radius, form):
    """Embryo in its membrane: ``emerging``, ``half``, ``hanging`` or ``membrane`` (its shell lost); it leaves to +x."""
    reach = {"emerging": (0.45, 0.85), "half": (0.9, 1.35), "hanging": (1.75, 2.25), "membrane": (0, 0)}[form]
    centre = rng.uniform(*reach) * radius
    long = radius * rng.uniform(1.02, 1.25) * (0.9 if form == "emerging" else 1.0)
    wide = radius * rng.uniform(0.66, 0.8)
    pear = rng.uniform(0.05, 0.24) * rng.choice([-1, 1], p=[0.3, 0.7])
    late = rng.random() < {"emerging": 0.1, "half": 0.4, "hanging": 0.7, "membrane": 0.8}[form]
    offset = rng.uniform(0, 1500, 3)
    embryo = ball([long, wide, wide * 0.93], "embryo", lattice=lattice, rough=0.012, rows=26)
    along = embryo.points[:, :1] / long
    embryo.points[:, 1:] *= 1 + pear * along
    embryo.rest = embryo.rest + offset
    embryo.outline = False
    parts = [embryo]
    head = rng.choice([-1, 1], p=[0.25, 0.75])
    if late:
        eye = ball([0.075 * radius] * 3, "eye", rows=9, columns=11)
        eye.outline = False
        parts.append(eye.moved(np.eye(3), [head * long * 0.74, 0, wide * 0.3]))
        folded = []
        for hand in (-1, 1):
            for start, size, thick in ((0.55, 1.05, 0.17), (0.2, 0.7, 0.13)):
                x = np.array([start, start - 0.4 * size, start - size]) * head * long
                y = hand * wide * np.array([0.62, 0.88, 0.74]) * (1 + pear * x / long)
                z = wide * np.array([0.6, 0.4, 0.2])
                folded.append(limb(np.stack([x, y, z], 1), np.array([0.9, 1, 0.45]) * thick * radius, "folded_limb"))
        parts.append(joined(folded))
        parts[-1].outline = False
    shift = np.array([centre, 0, 0])
    parts = [p.moved(np.eye(3), shift) for p in parts]
    spare = rng.uniform(1.08, 1.24)
    s = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, 34))
    if form == "membrane":
        start, bulge = -long * spare, np.sqrt(np.maximum(1 - (2 * s - 1) ** 2, 0))
    else:
        start, neck = -0.35 * radius, rng.uniform(0.2, 0.5) * (0.45 if form == "hanging" else 1)
        bulge = profile([0, 0.05, 0.22, 0.45, 0.66, 0.84, 0.96, 1], [0, neck, neck + 0.12, 0.84, 1, 0.86, 0.45, 0])(s)
        if form == "hanging":
            bulge = profile([0, 0.04, 0.3, 0.46, 0.68, 0.87, 0.97, 1], [0, neck, neck, 0.72, 1, 0.84, 0.42, 0])(s)
    end = centre + long * spare
    line = np.stack([start + (end - start) * s, np.zeros_like(s), np.zeros_like(s)], 1)
    side, up = frames(line, np.array([0, 0, 1.0]))
    half = np.maximum(bulge * wide * spare * 1.08, 0.2)
    skin = loft(line, side, up, half, half * 0.95, "membrane", columns=26, form="sheet")
    parts.append(skin)
    if form == "membrane":
        return parts
    if form == "hanging" and rng.random() < 0.5:
        bowl_level = rng.uniform(0.25, 0.7)
        parts += [_crust(rng, lattice, radius, lambda d: bowl_level - d[:, 0])]
    else:
        parts += valves(rng, lattice, radius, rng.uniform(0.2, 0.6) + 0.4 * (form == "half"))
    if rng.random() < 0.6:  # it rarely hangs in one straight line with the mouth of its shell
        turn = rotation([0, 0, 1], rng.normal(0, 0.35))
        count = -1
        parts[count] = parts[count].moved(turn)
    return parts
