"""The one shape of every finding: what the first screen of a report says, as data.

A finding is plain (text, numbers, lists, dicts), so that it goes to ``findings.json`` and into a page alike.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field

__all__ = ["SCHEMA_VERSION", "Evidence", "Figure", "Finding"]

SCHEMA_VERSION = "qckit-finding-1"


@dataclass(frozen=True)
class Figure:
    """One of the few numbers of the first screen, with its interval.

    ``value``, ``low`` and ``high`` are NaN where they cannot be known; ``note`` then says why.
    """

    name: str  # column-like name, such as hatch_pct
    label: str  # in words, such as "hatching percentage"
    value: float
    low: float = math.nan
    high: float = math.nan
    unit: str = ""
    decimals: int = 0
    note: str = ""


@dataclass(frozen=True)
class Evidence:
    """One line of reasoning: what was looked at, what was seen, which way it points."""

    question: str
    answer: str  # a sentence with the numbers in it
    points: str = "neutral"  # for, against, neutral, unknown


@dataclass(frozen=True)
class Finding:
    """A verdict with the numbers behind it, what to do, and what would change it."""

    kind: str  # new-lot, month, poor-hatch
    subject: str  # lot, month or hatch
    verdict: str  # short code out of the kind's own list, such as accept
    headline: str  # the verdict as one sentence
    figures: list[Figure] = field(default_factory=list)
    next_steps: list[str] = field(default_factory=list)
    evidence: list[Evidence] = field(default_factory=list)
    would_change: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # what was not used, and why
    details: dict = field(default_factory=dict)  # kind-specific, JSON-able

    def to_dict(self) -> dict:
        """Return the finding as JSON-able data; NaN and infinities become None."""
        return {"schema": SCHEMA_VERSION, **_plain(asdict(self))}


def _plain(value):
    """Turn numpy scalars and non-finite numbers into what JSON can hold."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
