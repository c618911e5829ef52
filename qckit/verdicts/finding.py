"""The one shape of every finding: what the first screen of a report says, as data.

A finding is plain (text, numbers, lists, dicts), so that it goes to ``findings.json`` and into a page alike.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import asdict, dataclass, field

from qckit import draw
from qckit.showing import InWords
from qckit.words import headed, number

__all__ = ["SCHEMA_VERSION", "Evidence", "Figure", "Finding", "json_data"]

SCHEMA_VERSION = "qckit-finding-1"


@dataclass(frozen=True)
class Figure:
    """One of the few numbers of the first screen, with its interval.

    ``value``, ``low`` and ``high`` are NaN where they cannot be known; ``note`` then says why.

    Examples
    --------
    >>> finding.figures[0].name, finding.figures[0].unit
    ('hatch_pct', '%')
    """

    name: str  # column-like name, such as hatch_pct
    label: str  # in words, such as "hatching percentage"
    value: float
    low: float = math.nan
    high: float = math.nan
    unit: str = ""
    decimals: int = 0  # digits after the point, as the sentences on the figure have them
    note: str = ""


@dataclass(frozen=True)
class Evidence:
    """One line of reasoning: what was looked at, what was seen, which way it points.

    Examples
    --------
    >>> finding.evidence[0].points in ("for", "against", "neutral", "unknown")
    True
    """

    question: str
    answer: str  # a sentence with the numbers in it
    points: str  # for, against, neutral, unknown
    code: str  # what was looked at, out of the kind's own list
    values: dict  # the numbers and names of the sentence, units in their names, JSON-able


@dataclass(frozen=True, repr=False)
class Finding(InWords):
    """A verdict with the numbers behind it, what to do, and what would change it.

    Examples
    --------
    >>> finding.kind, finding.subject
    ('new-lot', 'K-121')
    """

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

    def _in_words(self) -> dict:
        rows = [(f.label, f"{number(f.value, f.decimals)} {f.unit}".strip(), _span(f), f.note) for f in self.figures]
        heads = ("figure", "value", "interval", "") if rows else ()
        steps = [f"{i}. {step}" for i, step in enumerate(self.next_steps, 1)]
        return {"title": headed(self.subject, self.headline), "lines": steps, "heads": heads, "rows": rows}

    def plot(self, ax=None):
        """Draw the figures with their intervals, each as percent of its own value, the values written beside.

        Parameters
        ----------
        ax : Axes, optional

        Returns
        -------
        Axes
        """
        known = [f for f in self.figures if math.isfinite(f.value) and f.value]
        ax = draw.new_axes(ax, figsize=(7, 0.9 + 0.6 * max(len(known), 1)))
        for at, figure in enumerate(reversed(known)):
            low, high = (100 * v / figure.value for v in (figure.low, figure.high))
            draw.interval(100, low, high, at=at, ax=ax, marker=draw.MARKERS[0])
            span = _span(figure)
            words = f"{number(figure.value, figure.decimals)} {figure.unit}".strip() + (f"  ({span})" if span else "")
            ax.annotate(words, (100, at), xytext=(0, 8), textcoords="offset points", ha="center", fontsize=9)
        ax.set_yticks(range(len(known)), [f.label for f in reversed(known)])
        ax.set(ylim=(-0.6, max(len(known), 1) - 0.2), xlabel="interval, as percent of the value [%]")
        ax.set_title(self.subject)
        return ax

    def to_dict(self) -> dict:
        """Return the finding as JSON-able data; NaN and infinities become None."""
        return {"schema": SCHEMA_VERSION, **json_data(asdict(self))}


def _span(figure) -> str:
    if not (math.isfinite(figure.low) and math.isfinite(figure.high)):
        return ""
    return " to ".join(number(v, figure.decimals) for v in (figure.low, figure.high))


def json_data(value):
    """Turn a value into what JSON can hold: numpy scalars plain, moments in ISO form, None for NaN and infinities.

    Parameters
    ----------
    value : dict, list, tuple or one value
        Dictionaries and sequences are gone through; whatever JSON cannot hold besides is left as it is.

    Examples
    --------
    >>> from qckit.verdicts.finding import json_data
    >>> json_data({"low": float("nan"), "points": (1, 2.5)})
    {'low': None, 'points': [1, 2.5]}
    """
    if isinstance(value, dict):
        return {str(k): json_data(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [json_data(v) for v in value]
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    if hasattr(value, "item") and not isinstance(value, (str, bytes)):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
