"""How much memory a count takes: a phone photo in doubt, which is read again in mirror images, needs the most."""

import sys
from pathlib import Path

import pandas as pd
import pytest

TESTS = Path(__file__).parents[1]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the peak is read where Linux says it")
@pytest.mark.parametrize(("photo", "most_mib"), [("bright-04", 170), ("dark-07", 200)])
def test_a_phone_photo_is_counted_within_200_mib(photo, most_mib, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(TESTS / "benchmarks"))
    monkeypatch.setenv("OMP_NUM_THREADS", "1")
    from bench_count import peak_mib, tiled

    scale = pd.read_csv(TESTS / "photos" / "photos.csv").set_index("photo").um_per_px[photo]
    counted, with_table = peak_mib(tiled(photo, (4000, 3000), tmp_path / "photo.jpg"), scale)
    assert 100 < counted < most_mib
    assert with_table < most_mib + 30
