"""What a photo's floor shows, on labelled photos of two makes."""

from pathlib import Path

import pandas as pd
import pytest

from qckit._paths import sample_images_dir
from qckit.photo import read_photo
from qckit.photo.floor_pattern import AT_UM_PER_PX, shows_pattern

FOLDERS = [Path(__file__).parents[1] / "photos", Path(__file__).parents[1] / "photos_second_make", sample_images_dir()]
PATTERN = {"grid": ["squares"], "chamber": ["squares"], "sieve": ["weave"]}
IN_A_DISH = {"sieve-02", "sieve-04", "sieve-06", "sieve-08"}  # harvests without a sieve under them


def patterns_of(path, um_per_px):
    photo = read_photo(path, um_per_px=um_per_px, finest_um_per_px=AT_UM_PER_PX)
    pixels = photo.at_scale(um_per_px, AT_UM_PER_PX)
    return [name for name in ("weave", "squares") if shows_pattern(pixels, max(um_per_px, AT_UM_PER_PX), name)]


@pytest.mark.parametrize(("folder", "n_unseen"), list(zip(FOLDERS, (1, 1, 0))), ids=[folder.name for folder in FOLDERS])
def test_weaves_and_squares_are_seen_and_nothing_else_is_taken_for_them(folder, n_unseen):
    unseen = []
    for row in pd.read_csv(folder / "photos.csv").itertuples():
        (path,) = (folder / "photos").glob(f"{row.photo}.*")
        expected = [] if row.photo in IN_A_DISH else PATTERN.get(row.kind, [])
        seen = patterns_of(path, float(row.um_per_px))
        assert set(seen) <= set(expected), row.photo
        unseen += [row.photo] if seen != expected else []
    assert len(unseen) <= n_unseen, unseen
