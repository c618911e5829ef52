"""Draw invented photos of hatching brine shrimp from triangle meshes, with exact truth.

Every body is a surface of triangles in micrometres, rasterised with all its depth layers and lit by simple optics.
No photograph and no real animal was used; the pictures are invented and CC0.

    python tests/photos_meshed_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``
"""

import sys
import zlib
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
import pandas as pd
from camera import expose
from drawn_make import STAGES, DrawnPhoto, main
from materials import dyed
from meshes import Lattice
from placing import Ground
from population import make, stages
from scenes import KINDS, scene

LEAST_PX = 12


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
    """Draw one photo; those of one bench have light, floor, camera, strain and share of stages in common."""
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
    quality = int(np.random.default_rng([seed, number, zlib.crc32(kind.encode())]).integers(80, 96))
    return DrawnPhoto(name, picture, ground.mask, row, rows, {"quality": quality})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
