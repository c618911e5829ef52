"""Draw invented photos of hatching brine shrimp as clouds of particles, with their exact truth.

No animal was photographed and nothing here was measured on a real sample. Licence of what it draws: CC0.

    python tests/photos_splatted_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``
"""

import sys
import zlib
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
from drawn_make import STAGES, DrawnPhoto, main
from sample import bodies, strain
from scene import build
from splat import stamp

KINDS = {
    "bright": 6,
    "chamber": 3,
    "wide": 2,
    "black": 4,
    "dark field": 2,
    "grey floor": 2,
    "white floor": 2,
    "dish": 4,
    "sieve": 5,
}
FEWEST_PX = 12  # an object that shows less has no row


def _window(x0, y0, patch, shape):
    """The parts of a picture and of a patch that lie on each other."""
    ya, xa = max(y0, 0), max(x0, 0)
    yb, xb = min(y0 + patch.shape[0], shape[0]), min(x0 + patch.shape[1], shape[1])
    if yb <= ya or xb <= xa:
        return None, None
    return (slice(ya, yb), slice(xa, xb)), (slice(ya - y0, yb - y0), slice(xa - x0, xb - x0))


def _ground_light(stage, stamps):
    """The floor with the bodies' shadows on it."""
    shape = (stage.ground.height, stage.ground.width)
    light = stage.floor * stage.field[..., None]
    if stage.lamp.through:
        return light * stage.exposure
    half = (shape[0] // 2 + 1, shape[1] // 2 + 1)
    reach = [np.ones((*half, 3), np.float32) for _ in range(2)]
    for one in stamps:
        for k, (x0, y0, dark) in enumerate(one.shadows):
            here, there = _window(x0, y0, dark, half)
            if here is not None:
                reach[k][here] *= 1 - dark[there]
    first = float(np.mean(stage.lamp.lamps[0][1]))
    total = sum(float(np.mean(c)) for _, c in stage.lamp.lamps) + float(np.mean(stage.lamp.sky))
    share = first / total
    shade = share * reach[0] + (1 - share) * reach[1]
    shade = shade.repeat(2, 0).repeat(2, 1)[: shape[0], : shape[1]]
    return light * shade * stage.exposure


def _pictured(stage, placed, rng):
    """Linear light of the scene, the mask, and each body's whole outline."""
    stamps = [stamp(one.cloud, stage.lamp, rng, drift=one.drift) for one in placed]
    light = _ground_light(stage, stamps)
    shape = light.shape[:2]
    mask = np.zeros(shape, np.int32)
    for number, one in enumerate(stamps, 1):
        here, there = _window(one.x0, one.y0, one.outline, shape)
        if here is None:
            continue
        glow = one.glow[there] * (stage.field[here][..., None] * np.float32(stage.exposure))
        light[here] = light[here] * np.exp(-one.tau[there]) + glow
        mask[here][one.outline[there]] = number
    return light + stage.veil, mask, stamps


def _truth(name, placed, stamps, mask):
    """Rows of truth.csv; what shows too little is taken out of the mask."""
    rows = []
    height, width = mask.shape
    for number, (body, one) in enumerate(zip(placed, stamps), 1):
        here, there = _window(one.x0, one.y0, one.outline, mask.shape)
        if here is None:
            continue
        seen = mask[here] == number
        if seen.sum() < FEWEST_PX:
            mask[here][seen] = 0
            continue
        y, x = np.nonzero(seen)
        y, x = y + here[0].start, x + here[1].start
        whole_y, whole_x = np.nonzero(one.outline)
        middle_x, middle_y = whole_x.mean() + 0.5 + one.x0, whole_y.mean() + 0.5 + one.y0
        edge = x.min() == 0 or y.min() == 0 or x.max() == width - 1 or y.max() == height - 1
        rows.append(
            {
                "photo": name,
                "object_id": number,
                "stage": body.stage,
                "x_px": round(float(x.mean()) + 0.5, 2),
                "y_px": round(float(y.mean()) + 0.5, 2),
                "x0": int(x.min()),
                "y0": int(y.min()),
                "x1": int(x.max()) + 1,
                "y1": int(y.max()) + 1,
                "visible_area_px": len(x),
                "visible_fraction": round(len(x) / int(one.outline[there].sum()), 4),
                "touches_edge": int(edge),
                "detail": body.detail,
                "in_frame": int(0 <= middle_x < width and 0 <= middle_y < height),
                "length_um": round(body.length_um, 1),
                "whole_area_px": int(one.outline.sum()),
            }
        )
    return rows


def draw(seed, kind, number, hatched=True, bench=False):
    """Draw one photo; those of one bench have light, floor, camera and strain in common."""
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), number])
    common = np.random.default_rng([seed, zlib.crc32(kind.encode())]) if bench else rng
    name = f"{kind.replace(' ', '-')}-s{seed}-{'b' if bench else ''}{number:02d}"
    stage = build(kind, common)
    length, diameter = strain(common)
    lugol = kind in ("bright", "chamber", "wide", "white floor") and common.random() < 0.15
    placed = bodies(
        rng,
        stage.ground,
        stage.inside,
        hatched=hatched,
        lugol=lugol,
        length=length,
        diameter=diameter,
        most=stage.most,
    )
    light, mask, stamps = _pictured(stage, placed, rng)
    rows = _truth(name, placed, stamps, mask)
    picture = stage.camera.take(light.astype(np.float32), rng)
    counts = {f"n_{s}": sum(r["stage"] == s and r["in_frame"] == 1 for r in rows) for s in STAGES}
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": stage.ground.um_per_px,
        "width_px": stage.ground.width,
        "height_px": stage.ground.height,
        "light": stage.light,
        "lugol": int(lugol),
        "strain_length_um": round(float(length), 1),
        "shifted": 0,
        "notes": stage.notes,
        **counts,
    }
    return DrawnPhoto(name, picture, mask, row, rows, {"quality": 80 + zlib.crc32(name.encode()) % 16})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
