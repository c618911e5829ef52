"""Draw invented photos of hatching brine shrimp with exact truth, by wave optics and thin-layer scattering.

    python tests/photos_wave_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``

Every scene is invented: no picture shows a real animal. The data drawn is CC0.
"""

import sys
import zlib
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
import scene
from drawn_make import DrawnPhoto, main
from kinds import KINDS, setting


def draw(seed, kind, number, hatched=True, bench=False):
    """Draw one photo; those of one bench have light, floor, camera and strain in common."""
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
    quality = int(np.random.default_rng([seed, number, len(name)]).integers(80, 96))
    return DrawnPhoto(name, picture, mask, row, rows, {"quality": quality})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
