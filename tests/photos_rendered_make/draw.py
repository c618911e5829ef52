"""Photos of a hatch subsample, drawn by Cycles, the path tracer of Blender, with their truth.

    python draw.py OUT --seed 1 [--only KIND_OR_NAME]

It needs ``bpy`` 4.5 (``pip install bpy==4.5.*`` into an environment of its own, with Python 3.11), numpy, scipy and
pillow; neither the kit nor its tests import it.

Bodies are meshes built from their anatomy (``rendered_bodies``, ``rendered_others``); they settle on the ground and on
one another (``rendered_sample``). All light is Cycles': refraction and absorption inside the bodies, light wandering
below their skins, shadows, glints, depth of field, blur of what swims (``rendered_materials``, ``rendered_stage``,
``rendered_scene``). The camera behind the lens is ours (``rendered_camera``), and so is the truth, from the same
meshes (``rendered_truth``). This make was written without sight of the counter and of the other makes: it is held out.

OUT/photos.csv and OUT/truth.csv have the columns of ``tests/photos``. ``detail`` beside the usual words: nauplii
``instar II``, ``dead``, ``torn``; umbrella stages ``emerging``, ``hanging``, ``free``; cysts ``bare`` (without their
shell); shells ``slit``, ``crumpled``; debris ``crystal``, ``algae``, ``moult``, ``bystander``.
"""

import argparse
import csv
import time
from pathlib import Path

import numpy as np
from PIL import Image
from rendered_camera import developed, eyepiece_field
from rendered_sample import laid_down, setups
from rendered_scene import camera_view, rendered
from rendered_truth import COLUMNS, truth_rows

STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")


def photo_row(setup, rows):
    """Return the row of photos.csv."""
    counts = {f"n_{s}": sum(r["stage"] == s and r["in_frame"] for r in rows) for s in STAGES}
    values = {
        "photo": setup.name,
        "kind": setup.kind,
        "um_per_px": round(setup.um_per_px, 3),
        "width_px": setup.width_px,
        "height_px": setup.height_px,
        "light": "dark field" if setup.kind == "dark field" else "below" if setup.from_below else "above",
        "lugol": 0,
        "strain_length_um": round(setup.lot.nauplius_mm * 1000),
        "shifted": 0,
        "notes": f"cysts {setup.lot.cyst_mm * 1000:.0f} um" + (", eyepiece" if setup.eyepiece else ""),
    }
    return values | counts


def drawn(setup, seed, out, args):
    """Draw one photo; return its rows of photos.csv and truth.csv."""
    rng = np.random.default_rng([seed, 3, *setup.name.encode()])
    bodies = laid_down(setup, rng)
    view = camera_view(setup, rng)
    field = eyepiece_field((setup.height_px, setup.width_px), rng) if setup.eyepiece else None
    rows, ids = truth_rows(setup.name, bodies, view, None if field is None else field > 0.3)
    light = rendered(setup, bodies, view, rng, effort=args.effort, threads=args.threads, scale=args.scale)
    if field is not None and args.scale != 100:
        field = None
    picture = Image.fromarray(developed(light, rng, setup.kind, field))
    picture.save(out / "photos" / f"{setup.name}.jpg", quality=int(rng.integers(78, 97)))
    if args.masks:
        (out / "masks").mkdir(exist_ok=True)
        Image.fromarray(ids.astype(np.uint16)).save(out / "masks" / f"{setup.name}.png")
    return photo_row(setup, rows), rows


def main():
    """Draw."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--only", nargs="*", help="kinds or names of photos")
    parser.add_argument("--effort", type=float, default=1.0, help="times the samples a pixel")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--scale", type=int, default=100, help="per cent of the size, to look at quickly")
    parser.add_argument("--masks", action="store_true", help="also write which pixel belongs to which body")
    args = parser.parse_args()
    (args.out / "photos").mkdir(parents=True, exist_ok=True)
    photos, truth = [], []
    for setup in setups(args.seed):
        if args.only and setup.kind not in args.only and setup.name not in args.only:
            continue
        start = time.process_time()
        photo, rows = drawn(setup, args.seed, args.out, args)
        photos.append(photo)
        truth += rows
        print(f"{setup.name}: {len(rows)} bodies, {time.process_time() - start:.0f} s of processor", flush=True)
        for name, columns, table in (("photos", list(photo), photos), ("truth", COLUMNS, truth)):
            with (args.out / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, columns)
                writer.writeheader()
                writer.writerows(table)


if __name__ == "__main__":
    main()
