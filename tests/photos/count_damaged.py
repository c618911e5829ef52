"""Count the sound photos, and variants of them, that are called damaged: none should be.

    python tests/photos/count_damaged.py [--folder DIR ...] [--as-they-are] [--workers 2]

Variants: quality 75 and 50, 0.6 and 1.4 times the size, sharpened twice. Prints each photo that carries the flag, with
its sentence, and how many of how many do.
"""

import argparse
import tempfile
from pathlib import Path

import pandas as pd
from joblib import Parallel, delayed
from PIL import Image, ImageFilter

from qckit._paths import sample_images_dir
from qckit.counting import count_photo

HERE = Path(__file__).resolve().parent
VARIANTS = ("quality 75", "quality 50", "0.6 times", "1.4 times", "sharpened twice")


def write_variant(photo: Path, variant: str, out: Path) -> float:
    """Write a variant of a photo; return how many times larger it is."""
    image, times, quality = Image.open(photo).convert("RGB"), 1.0, 92
    if variant.startswith("quality"):
        quality = int(variant.split()[1])
    elif variant.endswith("times"):
        times = float(variant.split()[0])
        image = image.resize((round(image.width * times), round(image.height * times)), Image.Resampling.LANCZOS)
    else:
        for _ in range(2):
            image = image.filter(ImageFilter.UnsharpMask(2, 150, 0))
    image.save(out, quality=quality)
    return times


def damage(photo: Path, um_per_px: float, variant: str | None) -> str:
    """The flag's sentence for a photo or a variant of it; empty where it carries none."""
    with tempfile.TemporaryDirectory() as top:
        path, times = photo, 1.0
        if variant:
            path = Path(top) / photo.name
            times = write_variant(photo, variant, path)
        flags = count_photo(path, um_per_px=um_per_px / times).flags
    return " ".join(f.sentence for f in flags if f.code == "damaged")


def main():
    """Count and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    usual = [HERE, HERE.parent / "photos_second_make", sample_images_dir()]
    parser.add_argument("--folder", type=Path, nargs="+", default=usual)
    parser.add_argument("--as-they-are", action="store_true")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    jobs = []
    for folder in args.folder:
        photos = pd.read_csv(folder / "photos.csv")
        for name, um_per_px in zip(photos.photo, photos.um_per_px, strict=True):
            path = folder / "photos" / f"{str(name).removesuffix('.jpg')}.jpg"
            jobs += [(path, um_per_px, variant) for variant in ((None,) if args.as_they_are else VARIANTS)]
    found = Parallel(args.workers)(delayed(damage)(*job) for job in jobs)
    for (path, _, variant), sentence in zip(jobs, found, strict=True):
        if sentence:
            print(f"{path.parent.parent.name} {path.name}, {variant or 'as it is'}: {sentence}")
    print(f"{sum(map(bool, found))} of {len(jobs)} are called damaged")


if __name__ == "__main__":
    main()
