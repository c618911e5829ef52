"""Draw invented photos of hatching brine shrimp from triangle meshes, with exact truth.

Every body is a surface of triangles in micrometres, rasterised with all its depth layers and lit by simple optics.
No photograph and no real animal was used; the pictures are invented and CC0.

    python draw.py OUT [--seed 1 2] [--kinds bright sieve] [--masks] [--without-hatch] [--bench N] [--workers 2]
"""

import argparse
import zlib
from pathlib import Path

import numpy as np
import pandas as pd
from camera import expose
from joblib import Parallel, delayed
from materials import dyed
from meshes import Lattice
from PIL import Image
from placing import Ground
from population import make, stages
from scenes import KINDS, scene

LEAST_PX = 12
STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")


def _rows(name, mask, bodies):
    """Rows of the truth; objects of too few visible pixels are wiped from the mask."""
    areas = np.bincount(mask.ravel(), minlength=max(bodies, default=0) + 1)
    for number in list(bodies):
        if areas[number] < LEAST_PX:
            mask[mask == number] = 0
            del bodies[number]
    h, w = mask.shape
    y, x = np.nonzero(mask)
    owner = mask[y, x]
    seen = pd.DataFrame({"n": owner, "y": y, "x": x}).groupby("n").agg(["min", "max", "mean", "size"])
    rows = []
    for number, (body, laid) in bodies.items():
        sx, sy = seen.loc[number, "x"], seen.loc[number, "y"]
        x0, y0, x1, y1 = int(sx["min"]), int(sy["min"]), int(sx["max"]) + 1, int(sy["max"]) + 1
        edge = laid["cut"] or x0 == 0 or y0 == 0 or x1 == w or y1 == h
        rows.append(
            {
                "photo": name,
                "object_id": number,
                "stage": body.stage,
                "x_px": round(float(sx["mean"]) + 0.5, 2),
                "y_px": round(float(sy["mean"]) + 0.5, 2),
                "x0": x0,
                "y0": y0,
                "x1": x1,
                "y1": y1,
                "visible_area_px": int(sx["size"]),
                "visible_fraction": round(float(sx["size"]) / laid["inside_area"], 4),
                "touches_edge": int(bool(edge)),
                "detail": body.detail,
                "in_frame": int(0 <= laid["whole_x"] < w and 0 <= laid["whole_y"] < h),
                "length_um": round(body.length_um, 1),
                "whole_area_px": laid["whole_area_px"],
            }
        )
    return rows


def draw(seed, kind, number, hatched=True, bench=False):
    """Draw one photo: name, picture (h, w, 3) uint8, mask of object ids, row of photos.csv, rows of truth.csv.

    Photos of one bench have light, floor, camera, strain and share of stages in common.
    """
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), number, int(hatched)])
    common = np.random.default_rng([seed, zlib.crc32(kind.encode())]) if bench else rng
    name = f"{kind.replace(' ', '-')}-s{seed}-{'b' if bench else ''}{number:02d}" + ("" if hatched else "-empty")
    stage = scene(common, kind, hatched)
    lattice, materials = Lattice(common), dyed(common, stage.lugol)
    wanted = stages(rng, stage.count, stage.hatch, stage.umbrella_share) if hatched else {}
    names = [s for s, count in wanted.items() for _ in range(count)] + ["debris"] * stage.debris
    favour = str(rng.choice(["fibre", "sand", "bubble", "algae", "grain", "moult"])) if rng.random() < 0.3 else None
    bodies = [make(rng, s, stage.strain, lattice, favour) for s in names]
    # low bodies first; a little chance, for a flat body may lie on a high one
    bodies.sort(key=lambda b: b.height_um + rng.normal(0, 30))
    ground, laid = Ground(stage), {}
    for k, body in enumerate(bodies, 1):
        found = ground.lay(rng, body, materials, lattice, k)
        if found:
            laid[k] = (body, found)
    picture = expose(rng, ground.light, stage.camera)
    rows = _rows(name, ground.mask, laid)
    inside = [r["stage"] for r in rows if r["in_frame"]]
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": stage.um_per_px,
        "width_px": stage.shape[1],
        "height_px": stage.shape[0],
        "light": stage.label,
        "lugol": stage.lugol,
        "strain_length_um": round(stage.strain.length_um, 1),
        "shifted": 0,
        "notes": ", ".join(stage.notes) or "plain",
        **{f"n_{s}": inside.count(s) for s in STAGES},
    }
    return name, picture, ground.mask, row, rows


def save_photo(out, seed, kind, number, *, hatched=True, masks=False, bench=False):
    """Draw and write one photo (and its mask); returns its row and its objects' rows."""
    out = Path(out)
    name, picture, mask, row, rows = draw(seed, kind, number, hatched, bench)
    quality = int(np.random.default_rng([seed, number, zlib.crc32(kind.encode())]).integers(80, 96))
    (out / "photos").mkdir(parents=True, exist_ok=True)
    Image.fromarray(picture).save(out / "photos" / f"{name}.jpg", quality=quality)
    if masks:
        (out / "masks").mkdir(parents=True, exist_ok=True)
        Image.fromarray(mask.astype(np.uint16)).save(out / "masks" / f"{name}.png")
    return row, rows


def main():
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--kinds", nargs="+", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--masks", action="store_true")
    parser.add_argument("--without-hatch", action="store_true")
    parser.add_argument(
        "--bench", type=int, default=0, help="so many photos of one bench (light, floor, camera) of each kind"
    )
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    todo = [(s, k, n) for s in args.seed for k in args.kinds for n in range(1, (args.bench or KINDS[k]) + 1)]
    done = Parallel(args.workers)(
        delayed(save_photo)(args.out, *one, hatched=not args.without_hatch, masks=args.masks, bench=args.bench > 0)
        for one in todo
    )
    pd.DataFrame([row for row, _ in done]).to_csv(args.out / "photos.csv", index=False)
    pd.DataFrame([one for _, rows in done for one in rows]).to_csv(args.out / "truth.csv", index=False)


if __name__ == "__main__":
    main()
