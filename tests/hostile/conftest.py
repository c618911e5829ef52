"""What the hostile tests share: a small sound photo, and the command line run in this process."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from qckit.cli import main

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


@pytest.fixture
def run(capsys):
    """Run qckit; return exit code, what it printed and what it complained of. A traceback fails the test."""

    def go(*arguments):
        with pytest.raises(SystemExit) as left:
            main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        assert "fault of the kit" not in out + err, err
        return left.value.code, out, err

    return go
