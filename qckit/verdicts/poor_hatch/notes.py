"""What the field sheet says in words, weighed: a small vocabulary per cause, without what is denied or mended.

The patterns stand in the causes' own records. A phrase that is denied ("no crust on the wall", "heater fine", "air
stone replaced") does not speak; a phrase that no pattern knows says nothing at all. How much a phrase counts is ours
(common practice, no source): about ten to one, since words like these are sometimes written beside an ordinary hatch.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from qckit.verdicts.poor_hatch.causes import CAUSES

__all__ = ["Said", "factors_of", "read_sheet"]

_SILENT = 0.9  # a cause that words could have told of and did not
_PIECES = re.compile(r"[;,.\n]| but | and (?=no |not |the )", re.IGNORECASE)
_DENIED = re.compile(
    r"\b(?:no|not|never|without|isn't|wasn't|aren't|hardly any|free of)\s+(?:\w+\s+){0,2}$", re.IGNORECASE
)
_MENDED = re.compile(
    r"\b(?:ok|okay|fine|normal|as usual|good|repaired|replaced|fixed|cleaned|checked|mended|works?|working again)\b",
    re.IGNORECASE,
)
_WEAK_AIR = re.compile(r"weak|blocked|stopped|\boff\b|\blow\b|none|poor|little|clogged", re.IGNORECASE)
_STRONG_AIR = re.compile(r"very strong|too strong|violent|foam", re.IGNORECASE)


@dataclass(frozen=True)
class Said:
    """One phrase of a sheet that speaks for a cause."""

    cause: str
    words: str  # the phrase as written
    factor: float
    where: str  # hatch or lot


def read_sheet(hatch_row, lot_row=None, same_text=()) -> list[Said]:
    """Find what the sheet says of each cause.

    Parameters
    ----------
    hatch_row : mapping
        The hatch's row: ``notes`` and ``aeration``.
    lot_row : mapping, optional
        The lot's row: ``notes`` speak of the lot's causes only.
    same_text : sequence of str
        Notes of other hatches; a phrase that stands on several of them is this site's habit and counts for little.

    Returns
    -------
    list of Said
        At most one phrase per cause and place, the strongest.
    """
    found = []
    for place, text in (("hatch", _text(hatch_row, "notes")), ("lot", _text(lot_row or {}, "notes"))):
        for piece in _pieces(text):
            for item in CAUSES:
                if place == "hatch" or item.of_lot:
                    factor = _speaks(item, piece)
                    if factor > 1:
                        often = sum(piece.casefold() in other.casefold() for other in same_text)
                        found.append(Said(item.code, piece, max(1.0, factor / (1 + often)), place))
    air = _text(hatch_row, "aeration")
    if air and _WEAK_AIR.search(air):
        found.append(Said("oxygen", f"air: {air}", 8.0, "hatch"))
    if air and _STRONG_AIR.search(air):
        found.append(Said("broken", f"air: {air}", 7.0, "hatch"))
    best = {}
    for said in found:
        key = said.cause, said.where
        if said.factor > 1 and (key not in best or said.factor > best[key].factor):
            best[key] = said
    return list(best.values())


def factors_of(said: list[Said]) -> dict[str, float]:
    """Turn phrases into a factor on each cause; those that words could have told of and did not count a little less."""
    factors = {c.code: _SILENT if c.notes else 1.0 for c in CAUSES}
    spoken = {s.cause for s in said}
    factors.update(dict.fromkeys(spoken, 1.0))
    for s in said:
        factors[s.cause] *= s.factor
    return factors


def _pieces(text) -> list[str]:
    """Phrases of a note; a bare "repaired" belongs to the phrase before it."""
    found = []
    for piece in (p.strip() for p in _PIECES.split(text)):
        if found and len(piece.split()) <= 3 and _MENDED.search(piece):
            found[-1] += f" {piece}"
        elif piece:
            found.append(piece)
    return found


def _speaks(item, piece) -> float:
    """How much a phrase speaks for a cause; 1 where it does not, or where it is denied or mended."""
    best = 1.0
    for pattern, factor in item.notes:
        for match in re.finditer(pattern, piece, re.IGNORECASE):
            before, after = piece[: match.start()], piece[match.end() :]
            if _DENIED.search(before) or _MENDED.search(after) or _MENDED.fullmatch(before.strip()):
                continue
            best = max(best, factor)
    return best


def _text(row, column) -> str:
    value = row.get(column)
    return "" if value is None or value is pd.NA or (isinstance(value, float) and value != value) else str(value)
