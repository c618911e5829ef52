"""Draw invented photos of hatching brine shrimp with exact truth, by wave optics and thin-layer scattering.

``python draw.py OUT [--seed 1 ...] [--kinds KIND ...] [--masks] [--without-hatch] [--bench N] [--workers N]``

Every scene is invented: no picture shows a real animal. The data drawn is CC0.
"""

import argparse
import zlib
from pathlib import Path

import joblib
import numpy as np
import pandas as pd
import scene
from kinds import KINDS, setting
from PIL import Image


def draw(seed, kind, number, hatched=True, bench=False):
    """One photo: (name, picture uint8 RGB, mask of object ids, row of photos.csv, rows of truth.csv).

    Photos of one bench have light, floor, camera and strain in common.
    """
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), number])
    common = np.random.default_rng([seed, zlib.crc32(kind.encode())]) if bench else rng
    name = f"{kind.replace(' ', '-')}-{seed}-{'b' if bench else ''}{number:02d}"
    um, height, width, allowed, paint, light, note = setting(common, kind)
    look = scene.look_of(common)
    area = height * width * um * um / 1e6 * allowed.mean()
    most = 190 if kind in ("sieve", "dish") else 125
    total = int(np.clip(area * rng.uniform(1.6, 3.8), 36, rng.uniform(0.55, 1) * most))
    counts = scene.numbers(rng, look, total, harvest=kind == "sieve")
    debris = int(rng.integers(2, 13) if rng.random() < 0.85 else rng.integers(12, 24))
    bodies = scene.make_bodies(rng, look, counts if hatched else {}, debris, um)
    bodies = scene.place(rng, bodies, height, width, allowed, rng.uniform(0.08, 0.42), rng.integers(0, 4))
    picture = paint(bodies)
    mask, rows = scene.truth(bodies, name, height, width)
    row = {
        "photo": name, "kind": kind, "um_per_px": um, "width_px": width, "height_px": height, "light": light,
        "lugol": int(look["lugol"]), "strain_length_um": look["strain"], "shifted": 0, "notes": note,
    }  # fmt: skip
    for stage in scene.STAGES:
        row[f"n_{stage}"] = sum(one["stage"] == stage and one["in_frame"] for one in rows)
    return name, picture, mask, row, rows


def save_photo(out, seed, kind, number, *, hatched, masks, bench=False):
    """Write one photo (and its mask) below ``out``; returns its row and its objects' rows."""
    name, picture, mask, row, rows = draw(seed, kind, number, hatched, bench)
    quality = int(np.random.default_rng([seed, number, len(name)]).integers(80, 96))
    Image.fromarray(picture).save(Path(out) / "photos" / f"{name}.jpg", quality=quality)
    if masks:
        Image.fromarray(mask.astype(np.uint16)).save(Path(out) / "masks" / f"{name}.png")
    return row, rows


def main():
    """Read the command line and draw."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--masks", action="store_true", help="also write masks/NAME.png")
    parser.add_argument("--without-hatch", action="store_true", help="debris only")
    parser.add_argument(
        "--bench", type=int, default=0, help="so many photos of one bench (light, floor, camera) of each kind"
    )
    parser.add_argument("--workers", type=int, default=1)
    wanted = parser.parse_args()
    for folder in ("photos", *(("masks",) if wanted.masks else ())):
        (wanted.out / folder).mkdir(parents=True, exist_ok=True)
    jobs = [
        (seed, kind, n)
        for seed in wanted.seed
        for kind in wanted.kinds
        for n in range(1, (wanted.bench or KINDS[kind]) + 1)
    ]
    done = joblib.Parallel(n_jobs=wanted.workers)(
        joblib.delayed(save_photo)(
            wanted.out, *job, hatched=not wanted.without_hatch, masks=wanted.masks, bench=wanted.bench > 0
        )
        for job in jobs
    )
    pd.DataFrame([row for row, _ in done]).to_csv(wanted.out / "photos.csv", index=False)
    pd.DataFrame([one for _, rows in done for one in rows]).to_csv(wanted.out / "truth.csv", index=False)


if __name__ == "__main__":
    main()
