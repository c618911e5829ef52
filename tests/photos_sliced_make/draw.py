"""Draw photos of hatching brine shrimp from stacks of slices: the sliced make.

Every object is a stack of thin slices, each holding how much of which stuff (chorion, yolk, skin, membrane, air) fills
each little box. Light is sent through the stack or down onto it, and the layers so lit are laid over a floor and taken
with the lens, sensor and program of a cheap camera. Nothing in the pictures was measured on a real sample.
"""

import sys
import zlib
from pathlib import Path

import numpy as np
from scipy import ndimage

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "training")]

from drawn_make import STAGES, DrawnPhoto, main  # noqa: E402
from sliced_camera import develop, round_field  # noqa: E402
from sliced_kinds import setting  # noqa: E402
from sliced_sample import contents, height_of, lot, radius_of, turn_of  # noqa: E402
from sliced_scene import composed, masked, place, spread, truth_rows  # noqa: E402

KINDS = {"bright": 6, "black": 4, "dark": 2, "grey": 2, "white": 2, "chamber": 3, "dish": 4, "sieve": 5, "wide": 2}


def draw(seed: int, kind: str, number: int, hatched: bool = True, bench: bool = False) -> DrawnPhoto:
    """Draw one photo; those of one bench have light, floor, camera, strain and share of stages in common."""
    rng = np.random.default_rng([zlib.crc32(kind.encode()), seed, number])
    common = np.random.default_rng([zlib.crc32(kind.encode()), seed, 0, 1]) if bench else rng
    name = f"sliced_{kind}_{seed:02d}_{'b' if bench else ''}{number:02d}"
    look = lot(common)
    how = setting(kind, common)
    stage, lamp, mix = how.stage, how.lamp, how.mix
    field = None
    if common.random() < how.device.round_field and how.may_be_round:
        field = round_field(common, (stage.height, stage.width))
        stage = stage._replace(
            inside=stage.inside & ndimage.binary_erosion(field > 0.95, iterations=int(260 / stage.um_per_px))
        )
    models = contents(rng, look, mix, hatched)
    places = spread(rng, np.array([radius_of(m) for m in models]), stage, mix.clumped)
    things = []
    for model, at in zip(models, places):
        if at is not None:
            turn, detail = turn_of(rng, model, mix)
            things.append(place(model, detail, turn, at, height_of(rng, model, mix), stage, lamp, rng))
    things.sort(key=lambda t: t.low_um + t.layer.height_um)
    things = _without_hidden(things, stage)
    mask = masked(things, stage)
    rows = truth_rows(name, things, stage, mask)
    for gone in set(np.unique(mask)) - {0} - {row["object_id"] for row in rows}:
        mask[mask == gone] = 0
    fine = composed(how.floor, things, stage, lamp)
    fine = how.finish(fine, things, rng)
    if field is not None:
        fine *= np.kron(field, np.ones((stage.fine, stage.fine), np.float32))[..., None] * 0.985 + 0.015
    picture, jpeg = develop(fine, stage.fine, rng, how.device, how.exposure)
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": round(stage.um_per_px, 4),
        "width_px": stage.width,
        "height_px": stage.height,
        "light": how.light,
        "lugol": int(look.lugol),
        "strain_length_um": round(look.nauplius_um, 1),
        "shifted": 0,
        "notes": how.notes,
    }
    for one in STAGES:
        row[f"n_{one}"] = sum(r["in_frame"] for r in rows if r["stage"] == one)
    return DrawnPhoto(name, picture, mask, row, rows, jpeg)


def _without_hidden(things, stage):
    """Leave out what would hardly show under the others, so that the photo can be counted by eye."""
    rows = truth_rows("", things, stage, masked(things, stage))
    clear = {r["object_id"] - 1 for r in rows if r["visible_fraction"] >= 0.55 or r["stage"] == "debris"}
    return [thing for i, thing in enumerate(things) if i in clear]


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
