"""Draw invented photos of hatching brine shrimp from spectra of tissues and a model of the camera, with exact truth.

Everything shown and counted is invented; licence CC0. Bodies are outlines of splines with layered tissues,
each with its own spectrum of absorption and scattering; light passes or returns at nine wavelengths, a lens
blurs each by its depth and colour, and a camera with its filter array, noise, denoising, tone and sharpening
makes the picture.

    python tests/photos_spectral_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import camera as cameras
import conditions
import floors
import numpy as np
import optics
import stock
from canvas import noise
from conditions import KINDS
from drawn_make import STAGES, DrawnPhoto, main
from scipy import ndimage

FEWEST_PIXELS = 12


def _ground(cond, rng):
    """Floor as a stack of bands, and where bodies may lie."""
    args = cond.shape, cond.um_per_px, rng, cond.lens
    if cond.kind == "dish":
        return floors.dish(*args, cond.floor, rng.random() < 0.6)
    if cond.floor == "mesh":
        return floors.sieve(*args, cond.below), None
    if cond.floor == "ruled":
        return floors.ruled(*args), None
    if cond.floor == "glass":
        return floors.glass(*args), None
    if cond.floor == "dark":
        dark = 0.012 + 0.25 * floors.marks(cond.shape, cond.um_per_px, rng, rng.poisson(1), rng.poisson(20))
        return floors.blurred(np.repeat(dark[None].astype(np.float32), 9, axis=0), cond.lens, -80), None
    return floors.plain(*args, cond.floor), None


def _uneven(cond, rng):
    """How the lamp lights the field, and glare on the water."""
    height, width = cond.shape
    y, x = np.mgrid[:height, :width].astype(np.float32)
    angle, slope = rng.uniform(0, 6.3), rng.uniform(0.02, 0.22)
    field = 1 + slope * ((x / width - 0.5) * np.cos(angle) + (y / height - 0.5) * np.sin(angle))
    cx, cy = width * rng.uniform(0.35, 0.65), height * rng.uniform(0.35, 0.65)
    field *= 1 - rng.uniform(0.0, 0.25) * ((x - cx) ** 2 + (y - cy) ** 2) / (width * width)
    glare = np.zeros(cond.shape, np.float32)
    if not cond.below and cond.floor != "dark" and rng.random() < (0.35 if cond.kind in ("dish", "sieve") else 0.12):
        gx, gy = rng.uniform(0, width), rng.uniform(0, height)
        size = rng.uniform(0.06, 0.3) * width
        spot = np.exp(-((((x - gx) ** 2 + ((y - gy) * rng.uniform(0.7, 1.6)) ** 2) / size**2) ** 1.3))
        ripple = 1 + 0.25 * noise(rng, cond.shape, 120)
        strength = rng.uniform(0.03, 0.14) * (0.35 if cond.floor.startswith("black") else 1)
        glare = (strength * spot * np.clip(ripple, 0, 2)).astype(np.float32)
    return field.astype(np.float32), glare


def _lay(scene, patch, body, cond):
    if cond.below:
        optics.lay_below(scene, patch, cond.lens, body.z_um, cond.phase)
    elif cond.floor == "dark":
        optics.lay_dark_field(scene, patch, cond.lens, body.z_um, 0.42, 0.26)
    else:
        black = cond.floor.startswith("black")
        optics.lay_above(scene, patch, cond.lens, body.z_um, cond.lamp, body.z_um * 0.7, black)


def _register(mask, patch, number, body, cond):
    """Write a body into the mask; returns what is known of its whole outline, or None when it lies outside."""
    solid = patch.outline >= (0.35 if body.stage == "debris" else 0.5)
    rows, columns = np.nonzero(solid)
    if not len(rows):
        return None
    height, width = cond.shape
    rows, columns = rows + patch.y0, columns + patch.x0
    inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    x, y = columns.mean() + 0.5, rows.mean() + 0.5
    mask[rows[inside], columns[inside]] = number
    edge = rows.min() <= 0 or columns.min() <= 0 or rows.max() >= height - 1 or columns.max() >= width - 1
    return {"body": body, "whole": len(rows), "inside": int(inside.sum()), "edge": int(edge),
            "in_frame": int(0 <= x < width and 0 <= y < height)}  # fmt: skip


def _truth(name, mask, known):
    """Rows of truth.csv; what shows too little is taken out of the mask."""
    areas = np.bincount(mask.ravel(), minlength=max(known, default=0) + 1)
    rows = []
    hidden = [k for k in known if areas[k] < FEWEST_PIXELS]
    mask[np.isin(mask, hidden)] = 0
    boxes = ndimage.find_objects(mask)
    for number, one in known.items():
        if number in hidden:
            continue
        box = boxes[number - 1]
        y, x = np.nonzero(mask[box] == number)
        y, x = y + box[0].start, x + box[1].start
        body = one["body"]
        rows.append({
            "photo": name, "object_id": number, "stage": body.stage, "x_px": round(float(x.mean()) + 0.5, 2),
            "y_px": round(float(y.mean()) + 0.5, 2), "x0": int(x.min()), "y0": int(y.min()), "x1": int(x.max()) + 1,
            "y1": int(y.max()) + 1, "visible_area_px": len(x), "visible_fraction": round(len(x) / one["inside"], 4),
            "touches_edge": one["edge"], "detail": body.detail, "in_frame": one["in_frame"],
            "length_um": round(float(body.length_um), 1), "whole_area_px": one["whole"],
        })  # fmt: skip
    return rows


def draw(seed, kind, number, hatched=True):
    """Draw one photo."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number, 90210])
    name = f"{kind}-s{seed}-{number:02d}" + ("" if hatched else "-empty")
    cond = conditions.choose(kind, hatched, rng)
    scene, where = _ground(cond, rng)
    field, glare = _uneven(cond, rng)
    mask = np.zeros(cond.shape, np.int32)
    known = {}
    for k, body in enumerate(stock.make(rng, cond, where), start=1):
        patch = optics.patch_of(stock.draw(body, cond, rng), body.x_px, body.y_px)
        _lay(scene, patch, body, cond)
        one = _register(mask, patch, k, body, cond)
        if one:
            known[k] = one
    bodies = (mask > 0) if cond.floor in ("dark", "black acrylic", "black velvet") else None
    picture = cameras.take(scene, cond.lens, cond.spectrum, cond.camera, field, glare, cond.aim, bodies, rng)
    rows = _truth(name, mask, known)
    row = {
        "photo": name, "kind": kind, "um_per_px": cond.um_per_px, "width_px": cond.shape[1], "height_px": cond.shape[0],
        "light": cond.light, "lugol": cond.lugol, "strain_length_um": cond.strain_length_um, "shifted": 0,
        "notes": ", ".join(cond.notes),
    }  # fmt: skip
    row |= {f"n_{s}": sum(r["stage"] == s and r["in_frame"] == 1 for r in rows) for s in STAGES}
    quality = cond.camera.quality
    return DrawnPhoto(name, picture, mask, row, rows, {"quality": quality, "subsampling": 2 if quality < 90 else 0})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
