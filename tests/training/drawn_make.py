"""What every drawn make has in common: how a photo of it is written, and its command line.

    python tests/photos_MAKE_make/draw.py OUT [--seed 1 ...] [--kinds KIND ...] [--numbers N ...] [--masks]
        [--without-hatch] [--bench N] [--workers N]

writes ``OUT/photos``, ``photos.csv`` and ``truth.csv`` as in ``tests/photos``, and with ``--masks`` the outlines. The
same seed gives the same photos on the same versions of numpy, scipy and Pillow.

A make's ``draw.py`` has ``KINDS``, how many photos it draws of each kind, and ``draw(seed, kind, number,
hatched=True)``, which gives a :class:`DrawnPhoto`; where ``draw`` also takes ``bench``, the command has ``--bench``:
photos of other objects under the same lamp, floor and camera.
"""

import argparse
import inspect
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from joblib import Parallel, delayed
from PIL import Image

STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")
TRUTH_COLUMNS = (
    *("photo", "object_id", "stage", "x_px", "y_px", "x0", "y0", "x1", "y1"),
    *("visible_area_px", "visible_fraction", "touches_edge", "detail", "in_frame", "length_um", "whole_area_px"),
)


class DrawnPhoto(NamedTuple):
    """One photo: (M, N, 3) uint8 picture, (M, N) mask of object ids, its row of photos.csv, its rows of truth.csv."""

    name: str
    picture: np.ndarray
    mask: np.ndarray
    row: dict
    objects: list[dict]
    jpeg: dict  # what Pillow is to save it with


def save_photo(out: Path, photo: DrawnPhoto, *, masks: bool) -> tuple[dict, list[dict]]:
    """Write one photo, and its mask; return its row and those of its objects."""
    for folder in ("photos", "masks") if masks else ("photos",):
        (out / folder).mkdir(parents=True, exist_ok=True)
    Image.fromarray(photo.picture).save(out / "photos" / f"{photo.name}.jpg", **photo.jpeg)
    if masks:
        Image.fromarray(photo.mask.astype(np.uint16)).save(out / "masks" / f"{photo.name}.png")
    return photo.row, photo.objects


def _draw_and_save(out, draw, wanted, *, masks, **how):
    return save_photo(out, draw(*wanted, **how), masks=masks)


def main(description: str, kinds: dict[str, int], draw) -> None:
    """Read the command line of a make and draw what it asks for."""
    has_benches = "bench" in inspect.signature(draw).parameters
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--kinds", nargs="+", choices=list(kinds), default=list(kinds), help="these only")
    parser.add_argument("--numbers", type=int, nargs="+", help="these photos of each kind only, such as 1 2")
    parser.add_argument("--masks", action="store_true", help="write outlines too, to train on")
    parser.add_argument("--without-hatch", action="store_true", help="bystanders and dirt only")
    if has_benches:
        parser.add_argument("--bench", type=int, default=0, help="so many photos of one bench of each kind")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    n_of_bench = args.bench if has_benches else 0
    wanted = [
        (seed, kind, number)
        for seed in args.seed
        for kind in args.kinds
        for number in args.numbers or range(1, (n_of_bench or kinds[kind]) + 1)
    ]
    how = {"hatched": not args.without_hatch} | ({"bench": n_of_bench > 0} if has_benches else {})
    drawn = Parallel(args.workers)(
        delayed(_draw_and_save)(args.out, draw, one, masks=args.masks, **how) for one in wanted
    )
    args.out.mkdir(parents=True, exist_ok=True)
    pd.DataFrame([row for row, _ in drawn]).to_csv(args.out / "photos.csv", index=False)
    objects = [one for _, rows in drawn for one in rows]
    pd.DataFrame(objects, columns=list(TRUTH_COLUMNS)).to_csv(args.out / "truth.csv", index=False)
