"""What counts say, in words: each hatch against its lot, and one whose count cannot be."""

from __future__ import annotations

import math
from collections import Counter

from qckit.day.page.counted import ALL_JUDGED, CountedHatch
from qckit.day.page.judging import Judged
from qckit.words import cone_name, estimated, figures, joined, plural, rounded

__all__ = ["counted_words", "judged_words", "look_at", "percent", "verdict_words"]


def judged_words(one: Judged) -> str:
    """Say one count against its lot's usual: ``A 84 %, usual (76 to 91 %)``."""
    if one.code == "impossible":
        return f"{cone_name(one.cone)}: no figure yet: {one.why}. {one.first_step}"
    return f"{cone_name(one.cone)} {percent(one.hatch_pct)}, {_standing(one)}"


def _standing(one: Judged) -> str:
    """Say how a hatch stands to its lot's usual."""
    text = verdict_words(one)
    if one.is_low_per_g:
        usual, low, high = (figures(value) for value in (one.per_g_usual, one.per_g_low, one.per_g_high))
        return f"{text} ({figures(one.nauplii_per_g)} nauplii; {one.lot} usually {usual}, {low} to {high})"
    if math.isfinite(one.usual_pct):
        text += f" ({one.lot} usually {percent(one.usual_pct)}, {one.usual_low:.0f} to {one.usual_high:.0f})"
    return text


def counted_words(counted: list[CountedHatch]) -> list[str]:
    """Say what an import counted: a line a hatch, the newest first; of many those that are poor or low, and how many.

    Parameters
    ----------
    counted : list of CountedHatch
    """
    named = counted
    if len(counted) > ALL_JUDGED:
        bad = [one for one in counted if one.code in ("poor", "low", "impossible")]
        named = bad[:ALL_JUDGED]
    lines = [f"Counted: {_counted_line(one)}" for one in named]
    if len(counted) > ALL_JUDGED:
        n = Counter(one.code for one in counted)
        parts = [f"{n[code]} {words}" for code, words in _CODES.items() if n[code]]
        more = f" (the newest {len(named)} stand above)" if len(bad) > len(named) else ""
        lines.append(f"Counted in all: {plural(len(counted), 'hatch', 'hatches')}: {joined(parts)}{more}.")
    poor = [one.hatch for one in counted if one.code == "poor"]
    if poor:
        lines.append(f"What a poor hatch was, and what to do:  qckit report poor-hatch {poor[0]}")
    tested = dict.fromkeys(one.lot for one in counted if one.is_test)
    lines += [f"Whether the lot that was tested is good:  qckit report new-lot {lot}" for lot in list(tested)[:3]]
    return lines


_CODES = {
    "poor": "poor",
    "low": "low",
    "usual": "usual",
    "high": "high",
    "first": "among the first of their lot, with nothing to compare with",
    "impossible": "with a count that cannot be",
    "": "without a percentage",
}


def _counted_line(one: CountedHatch) -> str:
    """Say a hatch with its figures and intervals, and how it stands to its lot."""
    if one.why:
        return f"{one.hatch}: {cone_name(one.cone)}: no figure yet: {one.why}. {one.first_step}"
    parts = [f"{one.hatch}: {cone_name(one.cone)} {estimated(*one.hatch_pct, unit='%', most=0)}"]
    if not math.isfinite(one.hatch_pct[0]):
        parts = [f"{one.hatch}: {cone_name(one.cone)}: no percentage, as unhatched cysts were not counted"]
    if math.isfinite(one.nauplii_per_g[0]):
        parts.append(f"{estimated(*map(rounded, one.nauplii_per_g))} nauplii per g")
    text = ", ".join(parts)
    return f"{text}: {_standing(one.judged)}." if one.judged is not None else f"{text}."


def verdict_words(one: Judged, *, short: bool = False) -> str:
    """Say the code in words, with the first suspicion where there is one."""
    if one.code == "impossible":
        return "its count cannot be"
    if one.code == "first":
        return f"one of the first of {one.lot}: nothing to compare with"
    cause, code = one.suspicion_words, f"{one.code} per gram" if one.is_low_per_g else one.code
    if not cause:
        return code
    return f"{cause}?" if short else f"{code}: {cause}?"


def look_at(one: Judged) -> str:
    """What to run about a count; empty where nothing is wrong."""
    return f"qckit report poor-hatch {one.hatch}" if one.code in ("low", "poor") else ""


def percent(value: float) -> str:
    """Write a hatching percentage."""
    return f"{value:.0f} %" if math.isfinite(value) else "no percentage"
