"""Draw a make of invented photos of hatching brine shrimp: bodies carved as implicit surfaces and sphere-traced.

Every picture shows an invented scene, drawn from biology and optics alone; no photograph went into it and no number
was measured on a sample. Licence of what it draws: CC0.

    python tests/photos_carved_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``
"""

import sys
import zlib
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
from camera import camera_of, shoot
from drawn_make import STAGES, DrawnPhoto, main
from scene import compose, truth
from sittings import KINDS, sitting


def draw(seed, kind, number, hatched=True):
    """Draw one photo."""
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
    return DrawnPhoto(name, picture, mask, row, rows, {"quality": 80 + zlib.crc32(name.encode()) % 16})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
