"""Draw the inflated make: 30 photos with exact truth, of outlines inflated to cushions.

    python tests/photos_inflated_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``

A further make of our own, unlike both labelled ones and unlike the volumes of the training: layers of two fluxes, bent
rays (``shapes``, ``others``, ``light``, ``floors``). From counter 1.8 on the shipped reader has learnt some seeds (of
late 201 to 203); those named in ``tests/photos/MEASURED.md`` are kept for measuring. With ``--bench N`` the first photo
of each kind is taken N times, each time of other objects.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
from drawn_make import TRUTH_COLUMNS, DrawnPhoto, main
from floors import etched, printed, reflecting, rim_of_dish, smooth_field, weave
from light import bent_floor, dark_field, layer, matter, shading, shadows, through
from others import OTHERS
from scipy.ndimage import gaussian_filter
from shapes import cyst, nauplius, shell, umbrella

SIZE = (900, 1200)
KINDS = {
    "bright": 6,
    "chamber": 3,
    "wide": 2,
    "black": 3,
    "dark field": 3,
    "grey floor": 2,
    "white floor": 2,
    "dish": 4,
    "sieve": 5,
}


def choose_scale(rng, kind):
    """µm per pixel."""
    return {"wide": rng.uniform(10, 12.5), "dish": rng.uniform(7, 11), "sieve": rng.uniform(6, 12)}.get(
        kind, rng.uniform(4, 6.2)
    )


def choose_things(rng, um, inside, hatch=True):
    """Objects with their places, the lowest first."""
    area_mm2 = SIZE[0] * SIZE[1] * um**2 / 1e6
    n = int(np.clip(area_mm2 * rng.uniform(2.2, 4.5), 45, 260))
    hatched = rng.uniform(0.15, 0.9)
    share = np.array([hatched, 0.06, 1 - hatched, hatched * rng.uniform(0.5, 1.0), rng.uniform(0.04, 0.16)])
    long, round_um = rng.uniform(430, 510), rng.uniform(225, 265)
    second, dead, bare = rng.random() < 0.25, rng.random() < 0.2, rng.random() < 0.12
    present = rng.choice(len(OTHERS), 4, replace=False)
    out, places = [], []
    share = share if hatch else np.array([0, 0, 0, 0, 1.0])
    for kind in rng.choice(5, n, p=share / share.sum()):
        if kind == 0:
            late = second and rng.random() < 0.6
            one = nauplius(rng, um, long, instar=2 if late else 1, dead=dead and rng.random() < 0.3)
        elif kind in (1, 3):
            one = (umbrella if kind == 1 else shell)(rng, um, round_um)
        elif kind == 2:
            one = cyst(rng, um, round_um, bare=bare)
        else:
            one = OTHERS[rng.choice(present)](rng, um, long)
        for _ in range(30):
            if places and rng.random() < 0.2:
                near = places[rng.integers(len(places))]
                at = near + rng.normal(0, 1, 2) * 230 / um
            else:
                at = rng.uniform(-20, 1, 2) + rng.random(2) * (np.array(SIZE) + 20)
            row, col = int(np.clip(at[0], 0, SIZE[0] - 1)), int(np.clip(at[1], 0, SIZE[1] - 1))
            free = all(np.hypot(*(at - p)) > 95 / um for p in places)
            if free and inside[row, col]:
                places.append(at)
                out.append((one, at))
                break
    return out


def windows(thing, at):
    """Slices of the photo and of the object that lie on each other; None where they do not meet."""
    h, w = thing.mask.shape
    top, left = round(at[0] - h / 2), round(at[1] - w / 2)
    r0, r1, c0, c1 = max(top, 0), min(top + h, SIZE[0]), max(left, 0), min(left + w, SIZE[1])
    if r1 - r0 < 2 or c1 - c0 < 2:  # a slope needs two pixels
        return None
    return (slice(r0, r1), slice(c0, c1)), (slice(r0 - top, r1 - top), slice(c0 - left, c1 - left))


def below_lit(rng, kind, um):
    """Floor under transmitted light."""
    lamp = np.exp(0.12 * smooth_field(rng, SIZE)) * rng.uniform(0.75, 0.98)
    tint = np.exp(rng.normal(0, 0.06, 3) + rng.choice([0, 1]) * np.array([0.12, 0, -0.25]))
    floor = lamp[..., None] * tint / tint.max()
    if kind == "chamber":
        floor = floor * (1 - rng.uniform(0.3, 0.9) * etched(rng, SIZE, um))[..., None]
    if kind == "sieve":
        cover, _ = weave(rng, SIZE, um)
        floor = floor * (1 - cover * rng.uniform(0.75, 0.98))[..., None]
    if rng.random() < 0.2 and kind == "bright":  # through the eyepiece
        y, x = np.indices(SIZE)
        r = np.hypot(y - SIZE[0] / 2, x - SIZE[1] / 2)
        floor = floor * (0.01 + np.clip((0.52 * SIZE[1] - r) / 20, 0, 1))[..., None]
    return floor


def above_lit(rng, kind, um):
    """Reflectance and height of the floor under light from above, and where objects may lie."""
    level = {"black": rng.uniform(0.008, 0.035), "grey floor": rng.uniform(0.12, 0.3)}.get(
        kind, rng.uniform(0.55, 0.85)
    )
    height, inside, factor = np.zeros(SIZE), np.ones(SIZE, bool), np.ones(SIZE)
    if kind == "sieve":
        cover, height = weave(rng, SIZE, um)
        wire = rng.uniform(0.15, 0.8) * np.exp(rng.normal(0, 0.06, 3))
        under = rng.choice([0.02, 0.15, 0.6]) * np.exp(rng.normal(0, 0.08, 3))
        gy, gx = np.gradient(gaussian_filter(height, 0.8))
        shade = np.clip(0.7 + 0.45 * (gx * 0.6 + gy * 0.5) / um, 0.15, 1.6) * (0.75 + 0.25 * (height > 0))
        return cover[..., None] * wire * shade[..., None] + (1 - cover[..., None]) * under, height, inside
    if kind == "dish":
        level = rng.choice([0.02, 0.2, 0.7])
        factor, inside = rim_of_dish(rng, SIZE, um)
    floor = reflecting(rng, SIZE, um, level, rng.uniform(0.01, 0.10))
    if kind == "white floor" and rng.random() < 0.5:
        ink = np.clip(np.array([0.35, 0.55, 0.85])[rng.permutation(3)], 0, 1)
        floor = floor * (1 - printed(rng, SIZE, um)[..., None] * (1 - ink) * 0.7)
    return floor * factor[..., None], height, inside


def render(look, rng, kind, um, hatch=True):
    """Linear picture, and objects with their places; ``look`` draws floor, lamp and colours, ``rng`` the objects."""
    mode = "below" if kind in ("bright", "chamber", "wide") or (kind == "sieve" and look.random() < 0.3) else "above"
    mode = "dark" if kind == "dark field" else mode
    lugol = mode == "below" and look.random() < 0.12
    k, s = matter(look, lugol=lugol, kind=look.choice(["orange", "brown", "pale", "red"], p=[0.4, 0.3, 0.15, 0.15]))
    inside = np.ones(SIZE, bool)
    if mode == "below":
        floor = below_lit(look, kind, um)
    elif mode == "dark":
        floor = np.full((*SIZE, 3), look.uniform(0.003, 0.02)) * np.exp(0.2 * smooth_field(look, SIZE))[..., None]
    else:
        floor, _, inside = above_lit(look, kind, um)
    things = choose_things(rng, um, inside, hatch)
    picture = {"below": lit_below, "dark": lit_dark, "above": lit_above}[mode](look, floor, things, k, s, um)
    return picture, things, mode, lugol


def own_matter(rng, k, s):
    """Objects of one lot differ a little."""
    return k * np.exp(rng.normal(0, 0.1)), s * np.exp(rng.normal(0, 0.1))


def lit_below(rng, floor, things, k, s, um):
    """Light from below, often a little oblique; each object at its own depth of focus."""
    out, aperture = floor.copy(), rng.uniform(0.06, 0.16)
    turn, oblique = rng.uniform(0, 6.3), rng.choice([0.0, 0.08, 0.25], p=[0.5, 0.3, 0.2])
    way = oblique * np.array([np.cos(turn), np.sin(turn)])
    deep = rng.uniform(0, 9)
    for thing, at in things:
        if (where := windows(thing, at)) is None:
            continue
        t = through(thing, *own_matter(rng, k, s), um, aperture, way)
        t = gaussian_filter(t, (*[abs(rng.normal(0, deep)) / um] * 2, 0), mode="nearest")
        out[where[0]] *= t[where[1]]
    return out + 0.01


def lit_dark(rng, floor, things, k, s, um):
    """Dark field: scattered light only."""
    out, throw = floor.copy(), (rng.uniform(0.4, 1.0), rng.uniform(0.15, 0.8))
    tint = np.exp(rng.normal(0, 0.08, 3))
    for thing, at in things:
        if (where := windows(thing, at)) is None:
            continue
        keep, add = dark_field(thing, *own_matter(rng, k, s), um, throw)
        out[where[0]] = out[where[0]] * keep[where[1]] + add[where[1]]
    return out * tint


def lit_above(rng, floor, things, k, s, um):
    """Light from above: shadows on the floor, the floor bent, then each body over what lies under it."""
    turn, low = rng.uniform(0, 6.3), rng.uniform(0.1, 1.1)
    lamp = np.array([np.cos(turn) * np.sin(low), np.sin(turn) * np.sin(low), np.cos(low)])
    soft, gloss = rng.uniform(0.25, 0.8), rng.uniform(0, 0.5)
    opacity, height, lens = (np.zeros(SIZE) for _ in range(3))
    for thing, at in things:
        if (where := windows(thing, at)) is None:
            continue
        od = np.tensordot(thing.thick / 100, (k + 0.5 * s).mean(axis=1), axes=(0, 0))
        opacity[where[0]] = np.maximum(opacity[where[0]], (1 - np.exp(-od))[where[1]])
        height[where[0]] = np.maximum(height[where[0]], 2 * thing.height[where[1]])
        lens[where[0]] = np.maximum(lens[where[0]], thing.lens[where[1]])
    lit = soft * (1 - 0.45 * gaussian_filter(opacity, 30 / um)) + (1 - soft) * shadows(
        opacity, height, um, lamp, rng.uniform(0.05, 0.4)
    )
    lit = lit * np.exp(0.15 * smooth_field(rng, SIZE))
    out = bent_floor(floor * lit[..., None], lens, um)
    for thing, at in things:
        if (where := windows(thing, at)) is None:
            continue
        below = out[where[0]]
        view = type(thing)(
            **{**vars(thing), "thick": thing.thick[:, where[1][0], where[1][1]], "height": thing.height[where[1]]}
        )
        over, alone = layer(view, *own_matter(rng, k, s), below)
        bright, spark = shading(view, um, lamp, soft)
        shiny = spark * gloss * np.clip(view.thick.sum(axis=0) / 8, 0, 1)
        out[where[0]] = (over - alone) + alone * (1.15 * bright)[..., None] + 0.6 * shiny[..., None]
    return out


def take_photo(look, rng, light, um, mode):
    """Lens, sensor, tone: (M, N, 3) uint8."""
    light = gaussian_filter(light, (*[look.uniform(3.0, 7.5) / um] * 2, 0))
    if look.random() < 0.15:
        light = gaussian_filter(light, (12 / um, 12 / um, 0))
    y, x = np.indices(SIZE)
    r2 = ((y / SIZE[0] - 0.5) ** 2 + (x / SIZE[1] - 0.5) ** 2) * 2
    light = light * (1 - look.uniform(0, 0.25) * r2)[..., None]
    top = np.quantile(light.max(axis=2), 0.995 if mode == "below" else 0.998)
    light = light / top * look.uniform(0.75, 1.0)
    well = look.uniform(1500, 12000)
    light = rng.poisson(np.clip(light, 0, 2) * well) / well + rng.normal(0, 0.002, light.shape)
    value = np.clip(light, 0, 1.0) ** (1 / look.uniform(1.9, 2.4))
    value = value + look.uniform(0, 0.12) * np.sin((value - 0.5) * 2 * np.pi) / np.pi
    value = gaussian_filter(value, (0.5, 0.5, 0))
    value = value + look.uniform(0, 0.8) * (value - gaussian_filter(value, (1.4, 1.4, 0)))
    grey = value.mean(axis=2, keepdims=True)
    value = grey + look.uniform(0.75, 1.3) * (value - grey)
    return np.clip(np.rint(value * 255), 0, 255).astype(np.uint8)


def outlines(things):
    """Which object is seen where, from 1; 0 where none is."""
    ids = np.zeros(SIZE, np.uint16)
    for i, (thing, at) in enumerate(things, 1):
        if (where := windows(thing, at)) is not None:
            ids[where[0]][thing.mask[where[1]]] = i
    return ids


def truth_rows(name, things, ids):
    """One row per object of which anything is seen."""
    for i, (thing, at) in enumerate(things, 1):
        where = windows(thing, at)
        rows, cols = np.nonzero(ids == i)
        if where is None or len(rows) < 12:
            continue
        whole, part = thing.mask.sum(), thing.mask[where[1]].sum()
        r, c = np.nonzero(thing.mask)
        centre = (at[0] - thing.mask.shape[0] / 2 + r.mean() + 0.5, at[1] - thing.mask.shape[1] / 2 + c.mean() + 0.5)
        edge = (
            rows.min() == 0 or cols.min() == 0 or rows.max() == SIZE[0] - 1 or cols.max() == SIZE[1] - 1 or part < whole
        )
        yield (
            *(name, i, thing.stage, round(cols.mean() + 0.5, 2), round(rows.mean() + 0.5, 2)),
            *(cols.min(), rows.min(), cols.max() + 1, rows.max() + 1, len(rows), round(len(rows) / max(part, 1), 3)),
            *(
                int(edge),
                thing.detail,
                int(0 <= centre[0] < SIZE[0] and 0 <= centre[1] < SIZE[1]),
                round(thing.length_um, 1),
                whole,
            ),
        )


def draw(seed, kind, number, hatched=True, bench=False):
    """Draw one photo; those of one bench are of other objects under the lamp, floor and camera of its kind's first."""
    i = [k for k, n in KINDS.items() for _ in range(n)].index(kind) + (0 if bench else number - 1)
    look = np.random.default_rng([seed, i])
    rng = np.random.default_rng([seed, i, number]) if bench else look
    um = round(choose_scale(look, kind), 2)
    name = f"{kind.replace(' ', '-')}-{number if bench else i + 1:02d}-{seed}"
    light, things, mode, lugol = render(look, rng, kind, um, hatched)
    camera = np.random.default_rng([seed, i, 0]) if bench else look
    picture = take_photo(camera, rng, light, um, mode)
    quality = int(camera.integers(80, 95))
    ids = outlines(things)
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": um,
        "width_px": SIZE[1],
        "height_px": SIZE[0],
        "light": mode,
        "lugol": int(lugol),
    }
    objects = [dict(zip(TRUTH_COLUMNS, one, strict=True)) for one in truth_rows(name, things, ids)]
    return DrawnPhoto(name, picture, ids, row, objects, {"quality": quality})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
