"""Print how often a sieve's weave and a chamber's squares are seen, by kind of photo, in folders with a photos.csv.

python tests/photos/see_patterns.py FOLDER...
"""

import sys
from pathlib import Path

import pandas as pd

from qckit.photo import read_photo
from qckit.photo.floor_pattern import AT_UM_PER_PX, shows_pattern


def seen_in(folder: Path) -> pd.DataFrame:
    """Give a row a photo: its kind, and whether each pattern is seen."""
    rows = []
    for row in pd.read_csv(folder / "photos.csv").itertuples():
        (path,) = (folder / "photos").glob(f"{row.photo}.*")
        photo = read_photo(path, um_per_px=row.um_per_px, finest_um_per_px=AT_UM_PER_PX)
        pixels, scale = photo.at_scale(row.um_per_px, AT_UM_PER_PX), max(row.um_per_px, AT_UM_PER_PX)
        rows.append((row.kind, *(shows_pattern(pixels, scale, name) for name in ("weave", "squares"))))
    return pd.DataFrame(rows, columns=["kind", "weave", "squares"])


if __name__ == "__main__":
    seen = pd.concat([seen_in(Path(name)) for name in sys.argv[1:]])
    print(seen.groupby("kind").agg(photos=("weave", "size"), weave=("weave", "sum"), squares=("squares", "sum")))
