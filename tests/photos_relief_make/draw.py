"""Draw photos of hatching brine shrimp from lit reliefs: the relief make.

Shells are nets of springs that buckle, bodies are bent rods, grain is grown by a reaction with diffusion. Each object
becomes a relief, a map of heights with columns of stuff below them; a lamp is a map of where light comes from. Light
from below is bent by the relief's slopes and looked up in that map; light from above is thrown back by the columns
and mirrored by the normals, and photons that fall past or through make shadows and bright spots on the floor. A
camera with a mosaic and a program takes the picture. Nothing in the pictures was measured on a real sample.
"""

import sys
import zlib
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "training")]

import relief_floors as floors  # noqa: E402
from drawn_make import STAGES, DrawnPhoto, main  # noqa: E402
from relief_camera import developed, round_field  # noqa: E402
from relief_form import Form  # noqa: E402
from relief_kinds import setting  # noqa: E402
from relief_light import blurred, lit  # noqa: E402
from relief_sample import contents, lot  # noqa: E402
from relief_scene import composed, fallen_photons, masked, spread, truth_rows  # noqa: E402

KINDS = {"bright": 6, "black": 4, "dark": 2, "grey": 2, "white": 2, "chamber": 3, "dish": 4, "sieve": 5, "wide": 2}


def draw(seed: int, kind: str, number: int, hatched: bool = True, bench: bool = False) -> DrawnPhoto:
    """Draw one photo; those of one bench have light, floor, camera, strain and share of stages in common."""
    rng = np.random.default_rng([zlib.crc32(kind.encode()), seed, number, 11])
    common = np.random.default_rng([zlib.crc32(kind.encode()), seed, 12]) if bench else rng
    name = f"relief_{kind}_{seed:02d}_{'b' if bench else ''}{number:02d}"
    how = setting(kind, common)
    look = lot(common, how.lugol, how.floor == "cloth")
    shape = (how.height, how.width)
    field, circle = round_field(common, shape) if how.device.round_field and not how.dish else (None, None)
    floor, inside, flat = _floor(common, how, shape, circle)
    points = int(np.clip(3.2 * (look.cyst_um / how.um_per_px) ** 2 * _fine(how) ** 2, 9000, 60000) // 3000 * 3000)
    things = contents(rng, look, how.mix, points, hatched)
    radii = [thing.core_um / how.um_per_px for thing in things]
    clumped = [how.mix.clumped if thing.stage in ("cyst", "nauplius") else 0.0 for thing in things]
    places = spread(rng, radii, (how.width, how.height), 120 / how.um_per_px, inside, clumped)
    pairs = [_laid(rng, thing, at, how, look) for thing, at in zip(things, places) if at is not None]
    pairs.sort(key=lambda pair: pair[1].height_um)
    pairs = _without_hidden(pairs, shape)
    things, layers = [thing for thing, _ in pairs], [layer for _, layer in pairs]
    mask = masked(layers, shape)
    rows = truth_rows(name, things, layers, mask)
    for gone in set(np.unique(mask)) - {0} - {row["object_id"] for row in rows}:
        mask[mask == gone] = 0
    if how.lamp.mode == "above":
        floor = floor * fallen_photons(rng, layers, how.lamp, shape, how.um_per_px)
    light = composed(floor, layers, how.um_per_px, flat)
    if how.dish or (kind == "wide" and how.lamp.mode == "above"):
        light = light + floors.glare(rng, shape, how.um_per_px, rng.uniform(0.05, 0.35))[..., None]
    if field is not None:
        light = light * (0.99 * field + 0.01)[..., None]
    picture, jpeg = developed(rng, light, how.device, _exposure(rng, light, how))
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": round(how.um_per_px, 4),
        "width_px": how.width,
        "height_px": how.height,
        "light": how.light,
        "lugol": int(how.lugol),
        "strain_length_um": round(look.nauplius_um, 1),
        "shifted": 0,
        "notes": how.notes,
    }
    for stage in STAGES:
        row[f"n_{stage}"] = sum(r["in_frame"] for r in rows if r["stage"] == stage)
    return DrawnPhoto(name, picture, mask, row, rows, jpeg)


def _fine(how) -> int:
    return 2 if how.um_per_px < 7 else 3


def _floor(rng, how, shape, circle):
    """Return the floor, a function that tells what places are free, and the lamp's evenness (None from above)."""
    flat = None
    if how.floor == "cloth":
        floor, _ = floors.woven(rng, shape, how.um_per_px, how.lamp)
    elif how.floor == "glass":
        flat = floors.lamp_field(rng, shape, how.lamp)
        floor = floors.glass(rng, shape, how.um_per_px)
        if how.lamp.mode == "dark":
            floor = 0.004 + 0.8 * (1 - floor) * np.asarray([1.0, 1.0, 1.05], np.float32)
        elif how.lugol:
            floor = floor * np.asarray([1.0, 0.96, 0.86], np.float32)
        floor = floor * flat[..., None]
    else:
        floor = floors.opaque(rng, shape, how.um_per_px, how.floor)
    if how.ruled:
        lines = floors.rulings(rng, shape, how.um_per_px, rng.uniform(0.3, 0.7))[..., None]
        floor = floor + 0.30 * lines if how.floor == "black" else floor * (1 - lines)
    inside = _everywhere
    if how.dish:
        floor, inside = floors.dish_rim(rng, shape, how.um_per_px, how.lamp, floor)
    elif circle is not None:
        x0, y0, r = circle
        limit = r - 330 / how.um_per_px

        def inside(x, y):
            return np.hypot(x - x0, y - y0) < limit

    return floor.astype(np.float32), inside, flat


def _everywhere(x, y):
    return True


def _laid(rng, thing, at, how, look):
    """Make a thing's relief where it lies, and light it."""
    form = Form(at, thing.reach_um, how.um_per_px, _fine(how))
    form.height_um = thing.height_um + 0.35 * min(thing.core_um, 150)
    thing.gives(form, rng)
    if thing.stage == "debris":
        thing = thing._replace(length_um=_longest(form))
    layer = lit(form, look.optics, how.lamp)
    return thing, blurred(layer, abs(layer.height_um - how.focus_um) * how.opening / how.um_per_px)


def _longest(form) -> float:
    """Return how long a relief's outline is: the long axis of the ellipse of the same spread, µm."""
    i, j = np.nonzero(form.outline)
    if len(i) < 3:
        return 0.0
    return float(4 * np.sqrt(np.linalg.eigvalsh(np.cov(form.x[j], form.y[i]))[-1]))


def _without_hidden(pairs, shape):
    """Leave out what would hardly show under the others, so that the photo can be counted by eye."""
    things, layers = [thing for thing, _ in pairs], [layer for _, layer in pairs]
    rows = truth_rows("", things, layers, masked(layers, shape))
    clear = {r["object_id"] - 1 for r in rows if r["visible_fraction"] >= 0.6 or r["stage"] == "debris"}
    return [pair for k, pair in enumerate(pairs) if k in clear]


def _exposure(rng, light, how) -> float:
    """Return what to multiply the light with: as a camera's program or a person would set it."""
    if how.lamp.mode == "through":
        return rng.uniform(0.55, 0.9) / float(np.percentile(light, 80))
    if how.floor == "white":
        return rng.uniform(0.5, 0.75) / float(np.percentile(light, 75))
    if how.floor == "grey":
        return rng.uniform(0.20, 0.34) / float(np.median(light))
    if how.floor == "cloth":
        return rng.uniform(0.28, 0.42) / float(np.mean(light))
    return rng.uniform(0.65, 0.95) / float(np.percentile(light.max(axis=2), 99.3))


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
