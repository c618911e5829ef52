"""Cysts, empty shells and umbrella stages: spheres, dented spheres and thin broken walls."""

import numpy as np
from sheet import FAR, bump, capsule, ellipsoid, fuse, lumpy, matter, relief, rotation


def unit(rng):
    """A random direction."""
    v = rng.normal(size=3)
    return v / np.linalg.norm(v)


def random_turn(rng):
    """A random pose of a body that has no preferred side."""
    return rotation(rng.uniform(0, 2 * np.pi), np.arcsin(rng.uniform(-1, 1)), rng.uniform(0, 6.3))


def cyst_reach(diameter):
    """Radius (um) of the circle that holds a cyst."""
    return 0.6 * diameter


def draw_cyst(sheet, rng, lot, diameter, detail):
    """An unhatched cyst: an opaque ball, near-spherical, dented when dry, orange when bare."""
    radius = diameter / 2
    waves = bump(rng, 4, 0.011 if detail != "dented" else 0.022)
    dents = []
    if detail == "dented":
        # A dry cyst caves in like a raisin: one deep bowl, sometimes a second.
        dents = [(unit(rng), rng.uniform(0.3, 0.6), rng.uniform(0.12, 0.35))]
        dents += [(unit(rng), rng.uniform(0.1, 0.3), 0.15)] * int(rng.integers(0, 2))
    where, up, low, n_up, _, hit = lumpy(sheet, np.zeros(3), radius, waves, dents)
    up = np.where(hit, up, FAR)
    core = lot["bare"] if detail == "bare" else lot["core"]
    sheet.fill(where, up, low, core)
    if detail == "bare":
        return
    # The chorion is thin; crossed slantwise at the margin it is the darkest part.
    steep = np.clip(np.abs(n_up[2]), 0.16, 1)
    wall = np.where(hit, lot["wall_um"] / steep, 0)
    speck = 1 + relief(bump(rng, 10, 0.11, 8, 34), *n_up) * steep
    coat = dict(lot["chorion"], contrast=0.2)
    sheet.fill(where, up, up - wall * speck, coat, 2.0, surface=False)
    # Cysts of one lot differ a little in colour.
    sheet.tint[where] *= (0.72 + 0.28 * speck)[..., None] * np.float32(rng.normal(1, 0.1))


def wall_kept(rng, form):
    """Choose which part of a shell is left: a function of direction, true where wall is."""
    rag = bump(rng, 5, 0.06, 3, 14)
    if form == "cup":
        edge = rng.uniform(-0.6, 0.15)
        return lambda n: n[0] > edge + relief(rag, *n)
    if form == "half":
        edge = rng.uniform(0.0, 0.3)
        return lambda n: n[0] > edge + relief(rag, *n)
    # A slit runs over part of a great circle and gapes in the middle.
    gape, long = rng.uniform(0.1, 0.34), rng.uniform(0.9, 1.9)

    def slit(n):
        along = np.abs(np.arctan2(n[1], n[0] + 1e-6)) / long
        width = gape * np.sqrt(np.clip(1 - along**2, 0, 1))
        return np.abs(n[2]) + 0.7 * relief(rag, *n) > width

    return slit


def draw_wall(sheet, rng, lot, radius, turn, form, centre=None, squash=1.0):
    """One piece of empty shell: its upper and lower wall, where the break left them."""
    centre = np.zeros(3) if centre is None else centre
    waves = bump(rng, 5, 0.018 + 0.025 * rng.random(), 1.5, 5)
    where, up, low, n_up, n_low, hit = lumpy(sheet, centre, radius, waves)
    kept = wall_kept(rng, form)
    folds = bump(rng, 4, 0.16, 6, 16)
    for z, n in ((low, n_low), (up, n_up)):
        local = [turn[0, i] * n[0] + turn[1, i] * n[1] + turn[2, i] * n[2] for i in range(3)]
        there = hit & kept(local)
        thick = lot["wall_um"] / np.clip(np.abs(n[2]), 0.17, 1) * (1 + relief(folds, *n))
        upper = np.where(there, centre[2] + (z - centre[2]) * squash, FAR)
        sheet.fill(where, upper, upper - thick * there, lot["chorion"])


def shell_reach(diameter):
    """Radius (um) of the circle that holds a shell, two gaping halves included."""
    return 0.98 * diameter


def draw_shell(sheet, rng, lot, diameter, detail):
    """An empty chorion: slit, cup, two halves that hang together, or one half alone."""
    radius, turn = diameter / 2, random_turn(rng)
    if detail != "halves":
        draw_wall(sheet, rng, lot, radius, turn, detail, squash=rng.uniform(0.55, 1.0))
        return
    # Two valves on one hinge: each is turned away from the other about the hinge line.
    yaw, gape = rng.uniform(0, 6.3), rng.uniform(0.25, 0.75)
    across = np.array([-np.sin(yaw), np.cos(yaw), 0.0])
    along = np.array([np.cos(yaw), np.sin(yaw), 0.0])
    for side in (1, -1):
        pose = rotation(yaw + side * (np.pi / 2 - gape), rng.uniform(-0.5, 0.5), rng.uniform(0, 6))
        # The valves touch at the hinge end and part at the other.
        shift = across * side * radius * 0.55 * gape - along * radius * 0.1
        draw_wall(sheet, rng, lot, radius * rng.uniform(0.95, 1.0), pose, "half", shift, 0.8)


def umbrella_reach(diameter):
    """Radius (um) of the circle that holds an umbrella stage."""
    return 1.5 * diameter


def membrane(sheet, lot, parts):
    """The hatching membrane: a clear bag, seen by its outline."""
    where, entry, leave = fuse(sheet, parts, 30.0)
    inside = entry > leave
    sheet.fill(where, np.where(inside, entry, FAR), leave, lot["membrane"])
    # The skin itself: bright or dark line where the ray grazes it.
    gy, gx = np.gradient(np.where(inside, entry - leave, 0), sheet.step)
    graze = np.clip(np.hypot(gx, gy) / 2 - 1.3, 0, 3) * inside
    skin = 5.0 * graze
    sheet.fill(where, np.where(inside, entry, FAR), entry - skin, lot["skin"], surface=False)


def draw_embryo(sheet, rng, lot, centre, axis, size):
    """The comma-shaped embryo: broad head end away from the shell, tail curled, limbs folded."""
    side = np.cross(axis, unit(rng))
    side /= np.linalg.norm(side)
    bend = rng.uniform(0.15, 0.5) * rng.choice([-1, 1])
    t = np.linspace(-0.5, 0.5, 7)
    spine = [centre + size * (s * axis + bend * (s * s - 0.1) * side) for s in t]
    width = size * np.interp(t, [-0.5, -0.2, 0.15, 0.5], [0.13, 0.24, 0.31, 0.22])
    parts = [capsule(sheet, spine[i], spine[i + 1], width[i], width[i + 1]) for i in range(6)]
    where, entry, leave = fuse(sheet, parts, 4.0)
    sheet.fill(where, entry, leave, lot["tissue"])
    sheet.core[where] |= entry > leave
    yolk = [capsule(sheet, spine[i], spine[i + 1], width[i] * 0.78, width[i + 1] * 0.78) for i in range(4)]
    sheet.fill(*fuse(sheet, yolk, 4.0), lot["yolk"])
    for sign in (1, -1):
        # Folded second antennae lie along the flanks.
        out = np.cross(axis, side) * sign
        p = spine[5] + out * width[5] * 0.9
        where, a, b, w = capsule(sheet, p, spine[2] + out * width[2] * 1.05, size * 0.06, size * 0.03)
        sheet.fill(where, a, b, lot["limb"], w, buried=0.3)
    where, a, b, w = ellipsoid(sheet, spine[6] + side * size * 0.02, [size * 0.055] * 3, np.eye(3))
    sheet.fill(where, a, b, lot["eye"], w)


def draw_umbrella(sheet, rng, lot, diameter, detail):
    """An umbrella stage; detail says how far it is out: emerging, hanging or membrane."""
    radius = diameter / 2
    axis = unit(rng) * np.array([1, 1, 0.45])
    axis /= np.linalg.norm(axis)
    far = {"emerging": 1.0, "hanging": 1.75, "membrane": 0.0}[detail] * rng.uniform(0.92, 1.1)
    centre = axis * radius * far - axis * radius * (0.55 * far)
    shell_at = -axis * radius * 0.55 * far
    size = radius * rng.uniform(1.75, 2.05)
    bag = [capsule(sheet, centre - axis * radius * 0.35, centre + axis * radius * 0.55, radius * 0.72, radius * 0.86)]
    if detail == "hanging":
        bag.append(capsule(sheet, shell_at, centre, radius * 0.3, radius * 0.66))
    membrane(sheet, lot, bag)
    draw_embryo(sheet, rng, lot, centre + axis * radius * 0.08, axis, size)
    if detail != "membrane":
        # The cup opens towards the embryo: its kept part points away from it.
        yaw, pitch = np.arctan2(-axis[1], -axis[0]), np.arcsin(np.clip(-axis[2], -1, 1))
        turn = rotation(yaw + rng.normal(0, 0.2), pitch, rng.uniform(0, 6.3))
        draw_wall(sheet, rng, lot, radius, turn, "cup", shell_at)


def make_lot(rng):
    """Colours and sizes that one lot of cysts and its animals share."""
    dark = rng.uniform(0.5, 1.25)
    warm = rng.uniform(0.85, 1.15)
    brown = np.array([0.34, 0.20 * warm, 0.10 * warm**2]) / dark**0.7
    orange = np.array([0.95, rng.uniform(0.36, 0.55), rng.uniform(0.06, 0.2)])
    pale = rng.uniform(0.7, 1.25)
    return {
        "cyst_um": rng.uniform(212, 262),
        "cyst_sd": rng.uniform(9, 15),
        "nauplius_um": rng.uniform(430, 500),
        "wall_um": rng.uniform(6.5, 9.5),
        "core": matter(np.array([0.95, 1.5, 2.3]) * dark, 9.0, brown, 0.7, 0.45),
        "chorion": matter(np.array([2.5, 4.0, 6.0]) * dark**0.7, 2.0, brown * 1.35, 1.5, 0.4, 250),
        "bare": matter([0.35, 1.0, 2.1], 5.0, orange * [0.95, 0.9, 0.8], 0.4, 0.6),
        "tissue": matter(np.array([0.10, 0.30, 0.55]) * pale, 0.75, orange * 0.9 + 0.06, 0.34, 0.5),
        "yolk": matter(np.array([0.14, 0.62, 1.35]) * pale, 2.4, orange, 0.0, 0.3, 110),
        "limb": matter(np.array([0.65, 1.0, 1.4]) * pale, 1.9, orange * 0.6 + 0.26, 0.7, 0.4),
        "seta": matter([2.6, 2.9, 3.2], 6.0, [0.85, 0.8, 0.72], 1.0, 0.2),
        "clear": matter([0.05, 0.08, 0.12], 0.3, [0.9, 0.85, 0.75], 0.3, 0.4),
        "gut": matter(np.array([0.5, 0.75, 0.95]), 1.6, [0.72, 0.58, 0.36], 0.1, 0.3, 90),
        "eye": matter([8.5, 13.0, 14.0], 45.0, [0.16, 0.05, 0.04], 0.1, 0.3, 70),
        "membrane": matter([0.02, 0.03, 0.04], 0.10, [0.9, 0.9, 0.85], 0.16, 0.7),
        "skin": matter([0.9, 1.1, 1.3], 2.2, [0.9, 0.88, 0.8], 0.3, 0.7),
    }
