"""What the hostile tests share: a small sound photo, and the command line run in this process."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

PHOTOS = Path(__file__).resolve().parents[1] / "photos"


@pytest.fixture(scope="session")
def sound():
    """Give pixels of a sound photo and its scale."""
    table = pd.read_csv(PHOTOS / "photos.csv").set_index("photo")
    pixels = np.asarray(Image.open(PHOTOS / "photos" / "bright-01.jpg").convert("RGB"))[:600, :700]
    return np.ascontiguousarray(pixels), float(table.um_per_px["bright-01"])


@pytest.fixture
def rng():
    return np.random.default_rng(20261126)
