"""A camera checked by eye is no longer called unlike; one not checked, unfit, or of another counter stays so."""

import sys
from pathlib import Path

import pandas as pd
import pytest

from qckit.counting.flags import UNLIKE_SENTENCE
from qckit.review import settle_unlike

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "agreement"))
from test_latest_certificate import certificate

OTHER = "Only 3 nauplii, umbrella stages and cysts were found."


class Site:
    def __init__(self, certificates):
        self._certificates = certificates

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


def test_a_checked_camera_is_not_unlike():
    made = certificate()
    assert '"fitness": "fit"' in made["details"].iloc[0]
    out = settle_unlike(Site(made), counts())
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
def test_otherwise_it_stays(made, um_per_px):
    pd.testing.assert_frame_equal(settle_unlike(Site(made), counts(um_per_px)), counts(um_per_px))
