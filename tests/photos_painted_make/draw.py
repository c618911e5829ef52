"""Draw the painted make: 30 photos with exact truth, of bodies painted in the plane at several times the resolution.

    python tests/photos_painted_make/draw.py OUT [--seed 1] [--kinds KIND ...] [--masks] [--without-hatch]

Each body is painted on a board of its own at three or four times the photo's resolution (``canvas``): outlines, strokes
and textures (``noise``) in layers of translucent pigment (``palette``), for nauplii in views from above, the side and
the end (``nauplius``), cysts, shells and umbrella stages (``cysts``) and what else lies about (``debris``, ``dirt``). A
relief blown up from the silhouette shades it. Finished boards are laid over a floor, dish, ruled chamber or woven mesh
(``floors``) with their shadows and blur (``light``), by ``scene``, and a ``camera`` with a mosaic sensor takes them.

Invented data for measuring and training, CC0 1.0 as the other photos; sizes, shapes and colours are the biology's, from
memory. Seeds 101 to 103 were trained on from counter 1.12; seed 1 is kept for measuring. OUT gets ``photos``,
``photos.csv`` and ``truth.csv`` as in ``tests/photos``, and with ``--masks`` the outlines. The same seed gives the same
photos on the same versions of numpy, scipy and Pillow.
"""

import argparse
from pathlib import Path

import pandas as pd
from joblib import Parallel, delayed
from PIL import Image
from scene import KINDS, draw


def save_photo(out, seed, kind, number, *, hatched, masks):
    """Draw and write one photo; return its row and those of its objects."""
    name, picture, ids, row, objects, camera = draw(seed, kind, number, hatched)
    file = out / "photos" / f"{name}.jpg"
    Image.fromarray(picture).save(file, quality=camera["quality"], subsampling=camera["chroma"])
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
    pd.DataFrame([row for _, rows in drawn for row in rows]).to_csv(args.out / "truth.csv", index=False)


if __name__ == "__main__":
    main()
