"""A change of a group of hatches as a search finds it, and how groups are named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["ALL", "Change", "group_words"]

ALL = "all hatches"
_WORDS = {"counted_by": "counted by"}


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change found.

    ``rows`` are the hatches touched, as rows of the searched frame. ``first`` to ``last_high`` are rows too: when it
    began and ended, with the bounds that hold 95 % of what the data leave likely. ``coefficient`` is on the working
    scale: of a step its height, of a ramp its height per day.
    """

    shape: str  # step, ramp, level
    factor: str  # "", cone, operator, lot, counted_by
    level: str
    rows: np.ndarray
    first: int
    first_low: int
    first_high: int
    last: int
    last_low: int
    last_high: int
    is_ongoing: bool
    coefficient: float
    low: float
    high: float
    z: float
    p_value: float  # of the whole search: every group, time and shape tried is counted
    column: np.ndarray
    rivals: tuple = ()

    @property
    def where(self) -> str:
        """The group in words."""
        return group_words(self.factor, self.level)


def group_words(factor: str, level: str) -> str:
    """Name a group: ``cone C``, ``counted by photo``, ``all hatches``."""
    return f"{_WORDS.get(factor, factor)} {level}" if factor else ALL
