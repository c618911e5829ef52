"""The stages that are told apart: one record each, in the order used everywhere.

A new stage is a record here, its look in the photo desk (``review/desk_marks.js``), a log version with its column
(``log/migrate.py``) and a newly trained model; see "To add something" in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = [
    "CLASSES",
    "COUNT_LETTERS",
    "DEBRIS",
    "FULL_CYST_STAGES",
    "STAGES",
    "STAGE_COLUMNS",
    "STAGE_RECORDS",
    "Stage",
    "hatched_pct",
    "stage_words",
]


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One stage: how it is called, counted and drawn (marker and hatching before colour).

    ``is_full_cyst``: it stands for one cyst that held an embryo, so that it is part of the whole of the hatching
    percentage; ``is_hatched``: it is a part that hatched.
    """

    name: str
    plural: str
    letter: str
    column: str  # its count in the samples table
    photo_column: str  # its count in the table of counted photos
    marker: str
    colour: str
    typical_um: tuple[float, float, float]  # length, width and area of a typical one [µm, µm, µm²]
    singular: str = ""  # in words, where that is not the name
    hatching: str = ""
    is_full_cyst: bool = False
    is_hatched: bool = False
    is_required: bool = False  # a counted sample cannot be without it
    meaning: str = ""


STAGE_RECORDS = (
    Stage(
        name="nauplius",
        plural="nauplii",
        letter="N",
        column="nauplii",
        photo_column="nauplii",
        marker="^",
        colour="#D55E00",
        typical_um=(430, 170, 57_000),
        hatching="///",
        is_full_cyst=True,
        is_hatched=True,
        is_required=True,
        meaning="hatched larvae, swimming or not",
    ),
    Stage(
        name="umbrella",
        singular="umbrella stage",
        plural="umbrella stages",
        letter="U",
        column="umbrella",
        photo_column="umbrella",
        marker="D",
        colour="#CC79A7",
        typical_um=(380, 220, 66_000),
        hatching="xx",
        is_full_cyst=True,
        meaning="larvae that hang from their shell in the hatching membrane",
    ),
    Stage(
        name="cyst",
        plural="cysts",
        letter="C",
        column="cysts",
        photo_column="cyst",
        marker="o",
        colour="#0072B2",
        typical_um=(240, 230, 43_000),
        is_full_cyst=True,
        meaning="unhatched, intact cysts",
    ),
    Stage(
        name="shell",
        plural="shells",
        letter="S",
        column="shells",
        photo_column="shell",
        marker="s",
        colour="#7F7F7F",
        typical_um=(220, 170, 29_000),
        hatching="..",
        meaning="empty shells",
    ),
)

STAGES = tuple(s.name for s in STAGE_RECORDS)
"""The stages that are counted, in the order used everywhere."""

DEBRIS = "debris"
CLASSES = (*STAGES, DEBRIS)
"""What an object can be: a stage, or debris, which is never counted."""

STAGE_COLUMNS = {s.name: s.column for s in STAGE_RECORDS}
"""Stage -> its count column in the samples table."""

COUNT_LETTERS = {
    column: letter
    for s in STAGE_RECORDS
    for column, letter in ((s.column, s.letter), *([("embryos", "E")] if s.name == "cyst" else []))
}
"""What a person counts, by its column of the samples table -> its letter; embryos are cysts without their shell."""

FULL_CYST_STAGES = tuple(s.name for s in STAGE_RECORDS if s.is_full_cyst)
"""Stages that stand for a cyst with an embryo: the whole of the hatching percentage."""


def hatched_pct(counts: Mapping[str, float]) -> float:
    """Share of the full cysts that hatched, 100 N / (N + U + C), from counts by stage; NaN where there are none. [%]"""
    full = sum(counts[s] for s in FULL_CYST_STAGES)
    return 100.0 * sum(counts[s.name] for s in STAGE_RECORDS if s.is_hatched) / full if full else float("nan")


def stage_words(counts: Mapping[str, float]) -> str:
    """Write counts by stage: ``100 nauplii, 1 umbrella stage, 20 cysts, 98 shells``."""
    found = ((s, int(counts.get(s.name, 0))) for s in STAGE_RECORDS)
    return ", ".join(f"{n} {s.plural if n != 1 else s.singular or s.name}" for s, n in found)
