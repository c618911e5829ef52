"""Draw the traced make: 30 photos with exact truth, of bodies in three dimensions with rays traced through them.

    python tests/photos_traced_make/draw.py OUT [--seed 1] [--kinds KIND ...] [--masks] [--without-hatch]

Bodies are skeletons of capsules, ellipsoids and thin broken walls in space (``sheet``, ``eggs``, ``animals``). Where a
ray along the optical axis enters and leaves each of them has a closed form; the matter in between absorbs, scatters and
refracts (``bodies``). Light then goes through the bodies, falls upon them or passes beside them (``lights``), over a
floor, dish, ruled chamber or woven sieve (``floors``, ``scenes``), to a ``camera``.

Invented data for measuring and training, CC0 1.0 as the other photos; sizes, shapes and colours are the biology's, from
memory. Seeds 101 to 103 were trained on from counter 1.12; seed 1 is kept for measuring. OUT gets ``photos``,
``photos.csv`` and ``truth.csv`` as in ``tests/photos``, and with ``--masks`` the outlines. The same seed gives the same
photos on the same versions of numpy, scipy and Pillow.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
import truth
from bodies import build
from camera import shoot
from crowd import place
from joblib import Parallel, delayed
from PIL import Image
from scenes import KINDS, MAKERS, compose

COLUMNS = [
    *("photo", "object_id", "stage", "x_px", "y_px", "x0", "y0", "x1", "y1"),
    *("visible_area_px", "visible_fraction", "touches_edge", "detail", "in_frame", "length_um", "whole_area_px"),
]


def draw(seed, kind, number, hatched=True):
    """One photo: its name, picture and mask, its row of photos.csv and its objects' rows of truth.csv."""
    name = f"s{seed}-{kind}-{number}"
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number, int(hatched)])
    scene = MAKERS[kind](rng)
    shape = (scene["h"], scene["w"])
    bodies = [build(p, scene["um"], scene["focus_um"], scene["depth"]) for p in place(rng, scene, hatched)]
    lost = truth.hidden(bodies, truth.stack(bodies, shape))
    bodies = [b for k, b in enumerate(bodies) if k not in lost]
    light, open_part = compose(scene, bodies, rng)
    ids = truth.stack(bodies, shape, open_part)
    objects = truth.rows(name, bodies, ids, open_part)
    picture = shoot(light, rng, scene)
    return name, picture, ids, truth.summary(name, scene, objects), objects


def save_photo(out, seed, kind, number, *, hatched, masks):
    """Draw and write one photo; return its row and those of its objects."""
    name, picture, ids, row, objects = draw(seed, kind, number, hatched)
    quality = int(np.random.default_rng([seed, number]).integers(80, 96))
    Image.fromarray(picture).save(out / "photos" / f"{name}.jpg", quality=quality)
    if masks:
        Image.fromarray(ids).save(out / "masks" / f"{name}.png")
    return row, objects


def main():
    """Draw all."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS), help="these only")
    parser.add_argument("--without-hatch", action="store_true", help="bystanders and dirt only")
    parser.add_argument("--masks", action="store_true", help="write outlines too, to train on")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    for folder in ("photos", "masks") if args.masks else ("photos",):
        (args.out / folder).mkdir(parents=True, exist_ok=True)
    wanted = [(seed, kind, k + 1) for seed in args.seed for kind in args.kinds for k in range(KINDS[kind])]
    drawn = Parallel(args.workers)(
        delayed(save_photo)(args.out, *one, hatched=not args.without_hatch, masks=args.masks) for one in wanted
    )
    pd.DataFrame([row for row, _ in drawn]).to_csv(args.out / "photos.csv", index=False)
    objects = [row for _, rows in drawn for row in rows]
    pd.DataFrame(objects, columns=COLUMNS).to_csv(args.out / "truth.csv", index=False)


if __name__ == "__main__":
    main()
