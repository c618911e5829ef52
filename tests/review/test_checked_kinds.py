"""A kind of photo checked by eye is no longer called unlike; one not checked, unfit, or in other light stays so."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from qckit.counting.flags import UNLIKE_SENTENCE
from qckit.review import settle_unlike

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "agreement"))
from test_latest_certificate import certificate

OTHER = "Only 3 nauplii, umbrella stages and cysts were found."


class Site:
    """A site whose checked photos p0 to p11 and new photos a and b lie in its folder, in given light (code value)."""

    def __init__(self, certificates, folder, checked=200, new=205):
        self._certificates, self.folder = certificates, folder
        (folder / "photos").mkdir()
        for name, floor in [*((f"p{k}.png", checked) for k in range(12)), ("a.jpg", new), ("b.jpg", new)]:
            pixels = np.full((60, 80, 3), floor, np.uint8)
            pixels[20:30, 20:40] = 90
            Image.fromarray(pixels).save(folder / "photos" / name)

    def certificates(self):
        return self._certificates

    def scales(self):
        return pd.DataFrame({"camera": ["stereo"], "magnification": ["2x"], "um_per_px": [5.0]})

    def now(self):
        return "2026-10-01T10:00:00+00:00"


def counts(um_per_px=5.0):
    return pd.DataFrame(
        {
            "photo": ["a.jpg", "b.jpg"],
            "um_per_px": um_per_px,
            "counter_version": "1.0",
            "flags": ["few;unlike", ""],
            "why": [f"{OTHER} {UNLIKE_SENTENCE}", ""],
        }
    )


def test_a_checked_kind_of_photo_is_not_unlike(tmp_path):
    made = certificate()
    assert '"fitness": "fit"' in made["details"].iloc[0]
    out = settle_unlike(Site(made, tmp_path), counts())
    assert out["flags"].tolist() == ["few", ""] and out["why"].tolist() == [OTHER, ""]


@pytest.mark.parametrize(
    ("made", "um_per_px"),
    [
        (certificate(version="0.9"), 5.0),
        (certificate(made_at="2025-01-01T09:00:00+00:00"), 5.0),
        (certificate(camera="macro"), 5.0),
        (certificate().iloc[:0], 5.0),
        (certificate().assign(details=lambda t: t["details"].str.replace('"fit"', '"not fit"')), 5.0),
    ],
)
def test_otherwise_it_stays(made, um_per_px, tmp_path):
    pd.testing.assert_frame_equal(settle_unlike(Site(made, tmp_path), counts(um_per_px)), counts(um_per_px))


def test_another_light_of_the_same_camera_stays_unlike(tmp_path):
    """Bright field was checked, and the new photo has a black floor; or nobody knows what was checked."""
    pd.testing.assert_frame_equal(settle_unlike(Site(certificate(), tmp_path, new=20), counts()), counts())
    for photo in (tmp_path / "photos").glob("p*.png"):
        photo.unlink()
    site = Site.__new__(Site)
    site._certificates, site.folder = certificate(), tmp_path
    pd.testing.assert_frame_equal(settle_unlike(site, counts()), counts())
