"""Draw a make of invented photos of hatching brine shrimp: bodies carved as implicit surfaces and sphere-traced.

Every picture shows an invented scene, drawn from biology and optics alone; no photograph went into it and no number
was measured on a sample. Licence of what it draws: CC0.

    python draw.py OUT [--seed 1 ...] [--kinds KIND ...] [--masks] [--without-hatch] [--workers N]
"""

import argparse
import sys
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent))

from camera import camera_of, shoot
from scene import compose, truth
from sittings import KINDS, sitting

STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")


def draw(seed, kind, number, hatched=True):
    """Draw one photo.

    Parameters
    ----------
    seed, kind, number
        Same values, same photo; ``kind`` is one of ``KINDS``.
    hatched : bool
        False leaves dirt only.

    Returns
    -------
    name, picture, mask, row, rows
        File name without ending, uint8 RGB, object numbers, the row of photos.csv and the rows of truth.csv.
    """
    name = f"{kind.replace(' ', '-')}-{seed}-{number:02d}" + ("" if hatched else "-without-hatch")
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), number, int(hatched)])
    sit = sitting(rng, kind, number, hatched)
    camera = camera_of(rng, kind, sit.rough)
    scene, mask, drawn = compose(rng, sit)
    mask, rows = truth(sit, mask, drawn)
    picture = shoot(rng, scene, camera)
    rows = [{"photo": name, **one} for one in rows]
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": sit.um_per_px,
        "width_px": sit.width_px,
        "height_px": sit.height_px,
        "light": sit.words,
        "lugol": sit.lugol,
        "strain_length_um": sit.strain_um,
        "shifted": 0,
        "notes": sit.notes,
    }
    row |= {f"n_{s}": sum(one["stage"] == s and one["in_frame"] == 1 for one in rows) for s in STAGES}
    return name, picture, mask, row, rows


def save_photo(out, seed, kind, number, *, hatched=True, masks=False):
    """Draw one photo into ``out``/photos (and its mask into ``out``/masks); its row and its objects' rows."""
    name, picture, mask, row, rows = draw(seed, kind, number, hatched)
    quality = 80 + zlib.crc32(name.encode()) % 16
    Image.fromarray(picture).save(Path(out) / "photos" / f"{name}.jpg", quality=quality)
    if masks:
        Image.fromarray(mask.astype(np.uint16)).save(Path(out) / "masks" / f"{name}.png")
    return row, rows


def main():
    """Draw all photos that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    parser.add_argument("--masks", action="store_true", help="write masks/NAME.png too")
    parser.add_argument("--without-hatch", action="store_true", help="dirt only")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    for folder in ("photos", "masks") if args.masks else ("photos",):
        (args.out / folder).mkdir(parents=True, exist_ok=True)
    wanted = [(s, kind, n) for s in args.seed for kind in args.kinds for n in range(1, KINDS[kind] + 1)]
    made = Parallel(n_jobs=args.workers)(
        delayed(save_photo)(args.out, *one, hatched=not args.without_hatch, masks=args.masks) for one in wanted
    )
    pd.DataFrame([row for row, _ in made]).to_csv(args.out / "photos.csv", index=False)
    pd.DataFrame([one for _, rows in made for one in rows]).to_csv(args.out / "truth.csv", index=False)


if __name__ == "__main__":
    main()
