"""What lies beside the hatch in the inflated make: bystanders, skins, bubbles, grains, algae, fibres, clumps."""

import numpy as np
from scipy.ndimage import distance_transform_edt, gaussian_filter
from shapes import CLEAR, DARK, FIBRE, FINE, GREEN, MINERAL, WALL, YOLK, Sheet, _curve, nauplius


def copepod(rng, um, _):
    """Jointed body with a forked tail and long feelers."""
    length = rng.uniform(300, 750)
    sheet = Sheet(0.95 * length, um, rng.uniform(0, 6.3))
    w = rng.uniform(0.13, 0.17) * length
    xs = np.array([-0.5, -0.35, -0.15, -0.1, 0.1, 0.35, 0.5]) * length
    outline, _ = _curve(xs, w * np.array([0.14, 0.25, 0.35, 0.75, 1, 0.85, 0.4]), rng.normal(0, 0.03) * length, 0)
    body = sheet.polygon(outline)
    rings = np.abs(np.sin(sheet.x / length * 22)) > 0.97
    fine = np.zeros_like(body)
    for side in (-1, 1):
        reach = rng.uniform(0.35, 0.7) * length
        a = rng.uniform(1.0, 2.2)
        root = np.array([0.45 * length, side * 0.3 * w])
        fine |= sheet.stroke([root, root + reach * np.array([np.cos(a), side * np.sin(a)])], [9])
        fine |= sheet.stroke([(-0.48 * length, side * 5), (-0.75 * length, side * rng.uniform(10, 60))], [6])
    t = sheet.inflate(body, 0.8 * w)
    layers = [
        (CLEAR, t * np.where(rings, 1.6, 1)),
        (YOLK, 0.35 * t * (sheet.x > -0.1 * length)),
        (CLEAR, 7.0 * (fine & ~body)),
    ]
    layers.append((DARK, 18.0 * (np.hypot(sheet.x - 0.46 * length, sheet.y) < 11)))
    return sheet.finish("debris", "copepod", layers, body | fine, length)


def rotifer(rng, um, _):
    """A vase with a foot."""
    length = rng.uniform(130, 260)
    sheet = Sheet(1.0 * length, um, rng.uniform(0, 6.3))
    xs = np.array([-0.5, -0.2, 0.1, 0.4, 0.5]) * length
    outline, _ = _curve(xs, length * np.array([0.1, 0.28, 0.33, 0.24, 0.26]), 0, 0)
    body = sheet.polygon(outline)
    foot = sheet.stroke([(-0.45 * length, 0), (-0.9 * length, rng.normal(0, 0.12) * length)], [22])
    t = sheet.inflate(body, 0.25 * length)
    stomach = np.hypot(sheet.x, sheet.y / 0.8) < 0.18 * length
    return sheet.finish(
        "debris",
        "rotifer",
        [(CLEAR, t), (GREEN if rng.random() < 0.5 else YOLK, 0.4 * t * stomach), (CLEAR, 12.0 * (foot & ~body))],
        body | foot,
        length,
    )


def moult(rng, um, size):
    """Cast skin: the outline of an animal, nearly nothing inside."""
    whole = nauplius(rng, um, size, instar=2 if rng.random() < 0.5 else 1)
    skin = np.exp(-distance_transform_edt(whole.mask) * um / 7.0) * whole.mask
    whole.thick[:] = 0
    whole.thick[CLEAR] = 28 * skin + 5 * whole.mask
    whole.height, whole.lens, whole.stage, whole.detail = 10 * skin, 12 * skin, "debris", "moult"
    return whole


def bubble(rng, um, _):
    """Air: a dark ring and a bright middle from below; made of a thin clear wall with steep sides."""
    radius = rng.uniform(30, 180)
    sheet = Sheet(1.3 * radius, um, 0)
    r = np.hypot(sheet.x, sheet.y) / radius
    t = 2 * radius * np.sqrt(np.maximum(1 - r * r, 0))
    thing = sheet.finish("debris", "bubble", [(CLEAR, 0.02 * t)], r < 1, 2 * radius)
    thing.height = t.reshape(thing.mask.shape[0], FINE, -1, FINE).mean(axis=(1, 3)) / 2
    thing.lens = 14 * thing.height
    return thing


def grain(rng, um, _):
    """Sand or salt: a many-sided outline with facets."""
    radius = rng.uniform(30, 150)
    sheet = Sheet(1.5 * radius, um, rng.uniform(0, 6.3))
    a = np.sort(rng.uniform(0, 6.3, rng.integers(5, 9)))
    reach = radius * rng.uniform(0.7, 1.1, len(a))
    mask = sheet.polygon(np.stack([reach * np.cos(a), reach * np.sin(a)], 1))
    t = np.minimum(distance_transform_edt(mask) * sheet.step * 1.6, rng.uniform(0.3, 0.9) * radius)
    return sheet.finish("debris", "grain", [(MINERAL, t)], mask, 2 * radius)


def alga(rng, um, _):
    """Green cells: a ball of them, a chain, or a boat-shaped diatom."""
    kind = rng.integers(3)
    sheet = Sheet(230, um, rng.uniform(0, 6.3))
    t = np.zeros((sheet.n, sheet.n))
    if kind == 2:
        length = rng.uniform(80, 200)
        xs = np.array([-0.5, -0.2, 0.2, 0.5]) * length
        outline, _ = _curve(xs, length * np.array([0.02, 0.12, 0.12, 0.02]), 0, 0)
        t = sheet.inflate(sheet.polygon(outline), 12.0)
    else:
        n = rng.integers(6, 30)
        place = (
            rng.normal(0, 35, (n, 2))
            if kind == 0
            else np.stack([np.linspace(-190, 190, n), 12 * np.sin(np.linspace(0, 5, n))], 1)
        )
        for x, y in place:
            r = np.hypot(sheet.x - x, sheet.y - y) / rng.uniform(10, 17)
            t = np.maximum(t, 26 * np.sqrt(np.maximum(1 - r * r, 0)))
    return sheet.finish("debris", "alga", [(GREEN, t)], t > 1, 300)


def fibre(rng, um, _):
    """A lint fibre or hair: a long bent line."""
    length = rng.uniform(400, 1300)
    sheet = Sheet(0.65 * length, um, rng.uniform(0, 6.3))
    x = np.linspace(-0.5, 0.5, 24) * length
    y = length * (0.12 * np.sin(x / length * rng.uniform(2, 9)) + 0.05 * np.sin(x / length * 19 + rng.uniform(0, 6)))
    mask = sheet.stroke(np.stack([x, y], 1), [rng.choice([7, 11, 17])] * 23)
    return sheet.finish("debris", "fibre", [(FIBRE, sheet.inflate(mask, 9))], mask, length)


def clump(rng, um, _):
    """Slime and dirt without an outline of its own."""
    reach = rng.uniform(60, 200)
    sheet = Sheet(1.8 * reach, um, rng.uniform(0, 6.3))
    rough = gaussian_filter(rng.normal(size=sheet.x.shape), 14 / sheet.step) * 14 / sheet.step
    r = np.hypot(sheet.x / reach, sheet.y / reach / rng.uniform(0.4, 1)) + 0.7 * rough
    t = (
        60
        * np.clip(1 - r, 0, 1)
        * np.clip(1 + gaussian_filter(rng.normal(size=r.shape), 4 / sheet.step) * 6 / sheet.step, 0.2, 2)
    )
    return sheet.finish("debris", "clump", [(rng.choice([FIBRE, GREEN, YOLK, WALL]), t)], t > 4, 2 * reach)


def splinter(rng, um, size):
    """A chip of chorion too small to be a shell."""
    sheet = Sheet(60, um, rng.uniform(0, 6.3))
    a = np.sort(rng.uniform(0, 6.3, 5))
    mask = sheet.polygon(np.stack([rng.uniform(12, 36) * np.cos(a), rng.uniform(12, 36) * np.sin(a)], 1))
    return sheet.finish("debris", "splinter", [(WALL, 12.0 * mask)], mask, 60)


OTHERS = (copepod, rotifer, moult, bubble, grain, alga, fibre, clump, splinter)
