"""Shared by the counting tests: the labelled photos and a seeded generator."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

PHOTOS = Path(__file__).resolve().parents[1] / "photos"


PIECE = (300, 200, 1260, 920)


@pytest.fixture(scope="session")
def labelled():
    """Folder of the labelled photos, their table and their truth."""
    return PHOTOS, pd.read_csv(PHOTOS / "photos.csv").set_index("photo"), pd.read_csv(PHOTOS / "truth.csv")


@pytest.fixture
def rng():
    return np.random.default_rng(20261104)


@pytest.fixture(scope="session")
def crop(tmp_path_factory):
    """Write a piece of a labelled photo as PNG; returns its path and scale. A fifth of a photo keeps tests quick."""
    table = pd.read_csv(PHOTOS / "photos.csv").set_index("photo")
    folder = tmp_path_factory.mktemp("crops")

    def make(photo="bright-01", box=PIECE):
        path = folder / (f"{photo}.png" if box == PIECE else f"{photo}-{'-'.join(map(str, box))}.png")
        if not path.exists():
            Image.open(PHOTOS / "photos" / f"{photo}.jpg").crop(box).save(path, compress_level=1)
        return path, float(table.um_per_px[photo])

    return make
