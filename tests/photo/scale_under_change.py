"""How well the scale is found on photos altered by blur, noise, lamp, dim light and turning; and found by mistake.

    python tests/photo/scale_under_change.py

Ruled and sieve photos of tests/photos must give their scale; photos without pattern must give none. The table stands
in tests/benchmarks/MEASURED.md.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image, ImageFilter

from qckit.errors import InputError
from qckit.photo.scale import scale_from_pattern

HERE = Path(__file__).resolve().parents[1] / "photos"
CHANGES = {
    "as it is": lambda im, rng: im,
    "blur, 2 px": lambda im, rng: im.filter(ImageFilter.GaussianBlur(2)),
    "noise, 5 %": lambda im, rng: as_image(np.asarray(im) + rng.normal(0, 12.75, np.asarray(im).shape)),
    "lamp colour": lambda im, rng: as_image(np.asarray(im) * [0.95, 0.75, 0.5]),
    "dim, gamma 1.5": lambda im, rng: as_image(255 * (np.asarray(im) / 255.0) ** 1.5 * 0.6),
    "turned 7 degrees": lambda im, rng: inside(im.rotate(7, Image.Resampling.BICUBIC)),
    "half size": lambda im, rng: im.resize((im.width // 2, im.height // 2), Image.Resampling.BOX),
}


def as_image(values):
    """Clip to 8 bit."""
    return Image.fromarray(np.clip(np.rint(values), 0, 255).astype(np.uint8))


def inside(image, share=0.8):
    """The middle of a turned picture, without its empty corners."""
    w, h = image.size
    x, y = round(w * (1 - share) / 2), round(h * (1 - share) / 2)
    return image.crop((x, y, w - x, h - y))


def try_one(image, spacing_um, method, about):
    """Scale found, or NaN."""
    try:
        return scale_from_pattern(np.asarray(image), spacing_um, method=method, about_um_per_px=about).um_per_px
    except InputError:
        return np.nan


def main():
    """Print the table."""
    photos = pd.read_csv(HERE / "photos.csv")
    rows = []
    for name, change in CHANGES.items():
        rng = np.random.default_rng(7)
        shrink = 2 if name == "half size" else 1
        for photo in photos.itertuples():
            if photo.kind == "sieve":
                continue  # the meshes of these photos are not known in µm
            image = change(Image.open(HERE / "photos" / f"{photo.photo}.jpg").convert("RGB"), rng)
            got = try_one(image, 1000.0, "ruled chamber", None)
            rows.append((name, photo.kind == "grid", got / (photo.um_per_px * shrink) - 1))
    table = pd.DataFrame(rows, columns=["change", "ruled", "off"])
    print(f"{'change':<18} {'found within 1 %':>16} {'wrong':>6} {'not found':>10} {'found where none is':>20}")
    for name, part in table.groupby("change", sort=False):
        ruled, none = part[part["ruled"]]["off"], part[~part["ruled"]]["off"]
        good = int((ruled.abs() < 0.01).sum())
        wrong, missing = int((ruled.abs() >= 0.01).sum()), int(ruled.isna().sum())
        print(
            f"{name:<18} {good:>13} / {len(ruled)} {wrong:>6} {missing:>10} {int(none.notna().sum()):>15} / {len(none)}"
        )


if __name__ == "__main__":
    main()
