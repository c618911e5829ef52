"""Pictures without brine shrimp: named as no hatch sample, the percentage withheld, in a folder's table too."""

from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pytest
import skimage

from qckit._paths import sample_images_dir
from qckit.counting import count_photo

FOLDER = sample_images_dir() / "negatives"
PICTURES = pd.read_csv(FOLDER / "negatives.csv")
IN_WHEELS = [
    *sorted(p for p in (Path(skimage.__file__).parent / "data").iterdir() if p.suffix in (".jpg", ".png")),
    *(
        Path(matplotlib.__file__).parent / "mpl-data/sample_data" / name
        for name in ("grace_hopper.jpg", "logo2.png", "Minduka_Present_Blue_Pack.png")
    ),
]


@pytest.mark.parametrize(
    ("photo", "um_per_px"), list(PICTURES[["photo", "um_per_px"]].itertuples(index=False, name=None))
)
def test_no_hatch_sample_and_no_percentage(photo, um_per_px):
    count = count_photo(FOLDER / photo, um_per_px=um_per_px)
    assert "foreign" in [f.code for f in count.flags]
    assert np.isnan(count.hatch_pct) and np.isnan(count.to_row()["hatch_pct"])


def test_each_picture_is_listed_and_small():
    files = {p.name: p.stat().st_size for p in FOLDER.glob("*.jpg")}
    assert set(files) == set(PICTURES["photo"]) and sum(files.values()) < 1_500_000


@pytest.mark.slow
@pytest.mark.parametrize("um_per_px", [5.0, 8.0, 12.0])
@pytest.mark.parametrize("picture", IN_WHEELS, ids=lambda p: p.stem)
def test_no_picture_that_comes_with_a_library_is_a_hatch_sample(picture, um_per_px):
    """Coins, a wall, faces, cells, a starry sky, a logo; at any scale that might be claimed."""
    count = count_photo(picture, um_per_px=um_per_px)
    assert "foreign" in [f.code for f in count.flags] and np.isnan(count.hatch_pct)
