"""What a counted photo is: counts, objects, flags, frame; and the versions that made it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from qckit import draw
from qckit.counting.regions import density_per_ml
from qckit.object_rows import is_counted
from qckit.showing import InWords
from qckit.stages import STAGE_RECORDS, hatched_pct
from qckit.tables import column_dtypes
from qckit.words import spaced

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["COUNTER_VERSION", "PHOTO_COLUMNS", "WITHHELD", "Flag", "PhotoCount", "version_with"]

COUNTER_VERSION = "1.23"
"""Raised whenever the same photo may give another count or flag; counts kept from another version are made again."""

WITHHELD = ("foreign",)
"""Flags with which no hatching percentage is given."""

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
    """Why a count should not be taken on trust: a short code, and a sentence that says what to do.

    Examples
    --------
    >>> counting.Flag("too-few", "Only 12 objects were found.").code
    'too-few'
    """

    code: str
    sentence: str


@dataclass(frozen=True, repr=False)
class PhotoCount(InWords):
    """A counted photo.

    Attributes
    ----------
    photo : str
        File name.
    counts : dict of str to int
        Objects per stage inside the counting frame (two-edge rule).
    columns : dict of str to (n,) ndarray
        Columns of the objects table but the photo's name; text as objects.
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

    Examples
    --------
    >>> counted = qckit.count_photo(picture, um_per_px=6.2)
    >>> counted.photo, len(counted.objects) >= sum(counted.counts.values())
    ('k-121_a_1.jpg', True)
    """

    photo: str
    counts: dict[str, int]
    columns: dict[str, np.ndarray]
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
    def n_objects(self) -> int:
        """Objects found, those outside the frame and debris included."""
        return len(self.columns["object_id"])

    @cached_property
    def objects(self) -> pd.DataFrame:
        """Columns of the objects table, one row per object found, those outside the frame and debris included.

        It is put together when it is first asked for: pandas need not lie in memory beside the photo.
        """
        import pandas as pd

        columns = {"photo": [self.photo] * self.n_objects, **self.columns}
        texts = {name for name, dtype in column_dtypes("objects").items() if dtype == "str"}
        return pd.DataFrame({k: pd.Series(v, dtype="str") if k in texts else v for k, v in columns.items()})

    @property
    def hatch_pct(self) -> float:
        """Nauplii in percent of nauplii, umbrella stages and cysts; NaN where there are none or a flag withholds it."""
        return math.nan if any(f.code in WITHHELD for f in self.flags) else hatched_pct(self.counts)

    @property
    def density_per_mm2(self) -> dict[str, float]:
        """Objects per stage and square millimetre of the frame. [1/mm²]"""
        return {s: n / self.frame_mm2 for s, n in self.counts.items()}

    def density_per_ml(self, chamber_depth_mm: float) -> dict[str, float]:
        """Objects per stage and millilitre of water that stands ``chamber_depth_mm`` deep over the frame. [1/ml]"""
        return {s: density_per_ml(n, self.frame_mm2, chamber_depth_mm) for s, n in self.counts.items()}

    def _in_words(self) -> dict:
        rows = [(stage.column, spaced(self.counts[stage.name])) for stage in STAGE_RECORDS]
        share = f"{self.hatch_pct:.1f} %" if math.isfinite(self.hatch_pct) else "not known: nothing to take it from"
        lines = [f"Hatched {share}; counting frame {self.frame_mm2:.1f} mm² at {self.um_per_px:g} µm per pixel."]
        lines += [f.sentence for f in self.flags]
        return {"title": self.photo, "lines": lines, "heads": ("counted", "objects"), "rows": rows}

    def plot(self, ax=None):
        """Draw where the objects lie, each stage by its own mark.

        Parameters
        ----------
        ax : Axes, optional

        Returns
        -------
        Axes
        """
        ax = draw.new_axes(ax, figsize=(7, 7 * self.height_px / max(self.width_px, 1) + 0.6))
        inside = self.objects[is_counted(self.objects)]
        for stage in STAGE_RECORDS:
            mine, look = inside[inside["stage"] == stage.name], draw.STAGE_STYLE[stage.name]
            label = f"{stage.column} ({len(mine)})"
            marks = {"marker": look["marker"], "color": look["color"], "markerfacecolor": "none", "markersize": 6}
            draw.points(mine["x_px"], mine["y_px"], ax=ax, label=label, **marks)
        ax.set(xlim=(0, self.width_px), ylim=(self.height_px, 0), aspect="equal", xlabel="x [px]", ylabel="y [px]")
        ax.set_title(self.photo, pad=24)
        ax.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=4, fontsize=8, borderaxespad=0.2)
        return ax

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
