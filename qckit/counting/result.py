"""What a counted photo is: counts, objects, flags, frame; and the versions that made it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import pandas as pd

from qckit.counting.regions import density_per_ml
from qckit.stages import STAGE_RECORDS, hatched_pct

__all__ = ["COUNTER_VERSION", "PHOTO_COLUMNS", "Flag", "PhotoCount", "version_with"]

COUNTER_VERSION = "1.5"
"""Raised whenever the same photo may give another count; counts kept from another version are made again."""

PHOTO_COLUMNS = (
    "photo",
    *(s.photo_column for s in STAGE_RECORDS),
    "hatch_pct",
    "flags",
    "seconds",
    "why",
    "frame_mm2",
    "um_per_px",
    "sha256",
    "taken",
    "width_px",
    "height_px",
    "counter_version",
)


def version_with(model_key: str) -> str:
    """Counter version of a count with a site's own stage model; without one (empty key) the counter's own."""
    return f"{COUNTER_VERSION}+site-{model_key}" if model_key else COUNTER_VERSION


class Flag(NamedTuple):
    """Why a count should not be taken on trust: a short code, and a sentence that says what to do."""

    code: str
    sentence: str


@dataclass(frozen=True)
class PhotoCount:
    """A counted photo.

    Attributes
    ----------
    photo : str
        File name.
    counts : dict of str to int
        Objects per stage inside the counting frame (two-edge rule).
    objects : DataFrame
        Columns of the objects table, one row per object found, those outside the frame and debris included.
    flags : tuple of Flag
    frame_mm2 : float
        Area of the counting frame. [mm²]
    um_per_px : float
        [µm/px]
    sha256 : str
    taken : str or None
    width_px, height_px : int
    seconds : float
        Time the count took.
    counter_version : str
    """

    photo: str
    counts: dict[str, int]
    objects: pd.DataFrame
    flags: tuple[Flag, ...]
    frame_mm2: float
    um_per_px: float
    sha256: str
    taken: str | None
    width_px: int
    height_px: int
    seconds: float
    counter_version: str = COUNTER_VERSION

    @property
    def hatch_pct(self) -> float:
        """Nauplii in percent of nauplii, umbrella stages and cysts; NaN where there are none."""
        return hatched_pct(self.counts)

    @property
    def density_per_mm2(self) -> dict[str, float]:
        """Objects per stage and square millimetre of the frame. [1/mm²]"""
        return {s: n / self.frame_mm2 for s, n in self.counts.items()}

    def density_per_ml(self, chamber_depth_mm: float) -> dict[str, float]:
        """Objects per stage and millilitre of water that stands ``chamber_depth_mm`` deep over the frame. [1/ml]"""
        return {s: density_per_ml(n, self.frame_mm2, chamber_depth_mm) for s, n in self.counts.items()}

    def to_row(self) -> dict:
        """Return the row of the counts table (columns of ``PHOTO_COLUMNS``)."""
        return {
            "photo": self.photo,
            **{s.photo_column: self.counts[s.name] for s in STAGE_RECORDS},
            "hatch_pct": round(self.hatch_pct, 3),
            "flags": ";".join(f.code for f in self.flags),
            "seconds": round(self.seconds, 3),
            "why": " ".join(f.sentence for f in self.flags),
            "frame_mm2": self.frame_mm2,
            "um_per_px": self.um_per_px,
            "sha256": self.sha256,
            "taken": self.taken or "",
            "width_px": self.width_px,
            "height_px": self.height_px,
            "counter_version": self.counter_version,
        }
