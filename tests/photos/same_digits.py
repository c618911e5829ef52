"""Whether a change of the code changes any digit or flag of a count: checksums of every photo's tables, compared.

    python tests/photos/same_digits.py FILE [--folder DIR ...] [--changed] [--damaged N]

Counts the photos of both labelled makes, of the demo and of ``sample_images/negatives``, and those of each ``--folder``
(photos.csv, photos/); with ``--changed`` also under the lamps and cameras of ``change_photos.py``, with ``--damaged``
that many damaged pieces of ``tests/hostile/fuzz_photos.py``. Where FILE is not there, it is written; where it is, the
photos that differ from it are named (exit code 1). So: run it before a change, and after it.
"""

import argparse
import hashlib
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from change_photos import CHANGES, change_photo
from joblib import Parallel, delayed

from qckit._paths import sample_images_dir
from qckit.counting import count_photo
from qckit.errors import QcError

HERE = Path(__file__).resolve().parent
SEED = 401


def checksum(name: str, path: Path, um_per_px: float) -> tuple[str, str]:
    """A photo's name, and the checksum of its row, its objects and its flags in words."""
    try:
        count = count_photo(path, um_per_px=um_per_px)
    except QcError as error:
        return name, f"refused: {type(error).__name__}"
    row = {k: v for k, v in count.to_row().items() if k not in ("photo", "seconds")}
    told = count.objects.to_csv(index=False) + repr(row) + repr([tuple(f) for f in count.flags])
    return name, hashlib.sha256(told.encode()).hexdigest()[:16]


def photos_of(folder: Path, changed: bool, top: Path):
    """Name, path and scale of the photos of a folder, as they are and changed."""
    listed = folder / ("negatives.csv" if (folder / "negatives.csv").is_file() else "photos.csv")
    photos = pd.read_csv(listed)
    place = folder if listed.name == "negatives.csv" else folder / "photos"
    files = [p if Path(p).suffix else f"{p}.jpg" for p in photos.photo]
    looks = {"": place}
    if changed and listed.name == "photos.csv":
        looks |= {c: change_photo(place, photos.photo, c, top / f"{folder.name}-{c}") for c in CHANGES}
    for look, there in looks.items():
        for file, um_per_px in zip(files, photos.um_per_px, strict=True):
            yield f"{folder.name} {look} {file}", there / file, um_per_px


def damaged(n: int, top: Path):
    """Name, path and scale of damaged pieces of the labelled photos."""
    sys.path.insert(0, str(HERE.parent / "hostile"))
    from fuzz_photos import DAMAGES, pieces

    rng, sound = np.random.default_rng(SEED), list(pieces())
    for i in range(n):
        damage, (name, pixels, scale) = DAMAGES[i % len(DAMAGES)], sound[int(rng.integers(len(sound)))]
        path = top / f"{i:05}.jpg"
        path.write_bytes(damage(pixels, rng))
        yield f"damaged {i} {damage.__name__} {name}", path, scale


def main() -> int:
    """Count, then write or compare."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--folder", nargs="*", type=Path, default=[])
    parser.add_argument("--changed", action="store_true")
    parser.add_argument("--damaged", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    images = sample_images_dir()
    folders = [HERE, HERE.parent / "photos_second_make", images, images / "negatives", *args.folder]
    with tempfile.TemporaryDirectory() as top:
        photos = [one for folder in folders for one in photos_of(folder, args.changed, Path(top))]
        photos += list(damaged(args.damaged, Path(top)))
        found = dict(Parallel(args.workers)(delayed(checksum)(*one) for one in photos))
    if not args.file.exists():
        pd.Series(found, name="checksum").to_csv(args.file, index_label="photo")
        print(f"{args.file}: {len(found)} photos")
        return 0
    before = pd.read_csv(args.file, index_col="photo")["checksum"].to_dict()
    both = [name for name in found if name in before]
    differ = [name for name in both if found[name] != before[name]]
    print(f"{len(both) - len(differ)} of {len(both)} photos the same" + "".join(f"\n  {name}" for name in differ))
    return int(bool(differ) or not both)


if __name__ == "__main__":
    sys.exit(main())
