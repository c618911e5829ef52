"""Pictures without brine shrimp: named as no hatch sample, the percentage withheld, in a folder's table too."""

import numpy as np
import pandas as pd
import pytest

from qckit._paths import sample_images_dir
from qckit.counting import count_photo

FOLDER = sample_images_dir() / "negatives"
PICTURES = pd.read_csv(FOLDER / "negatives.csv")


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
