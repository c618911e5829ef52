"""What the field sheet says in words, weighed: a vocabulary per cause, without what is denied, mended or long past.

The patterns stand in the causes' own records. Other tongues are put into English (``tongues.py``) and short forms
written out before they are tried; in a phrase that says nothing then, a word one letter off a word of the vocabulary is
read as that word. A phrase that is denied ("no crust on the wall", "heater fine", "air stone replaced") or tells of
another time ("power cut last month") does not speak; a phrase that no pattern knows says nothing at all.

How much a phrase counts is ours (common practice, no source): up to thirty to one. In the sheets of five makers of
invented hatches a phrase that is heard stands beside its cause forty times as often as beside others, or more
(tests/benchmarks/POOR_HATCH.md); real sheets may be worse.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from qckit.columns import is_missing
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.likelihood.tongues import in_english, one_letter_off

__all__ = ["Phrase", "factors_of", "read_sheet"]

_POWER = 1.3  # on how plainly a phrase names its cause: what it counts
_SILENT = 0.9  # a cause that words could have told of and did not
_PIECES = re.compile(r"[;\n]|[,.](?!\d)| but | and (?=no |not |the )", re.IGNORECASE)
_DENIED = re.compile(r"\b(?:no|not|never|none|nothing|nobody|without|hardly any|free of)\s+(?:\w+\s+){0,2}$")
_MENDED = re.compile(
    r"\b(?<!not )(?:ok|okay|fine|normal|as (?:usual|always)|good(?! (?:part|deal|many|bit|while|half|hour))|"
    r"repaired|replaced|changed|fixed|cleaned|checked|"
    r"removed|mended|works?|working again|solved|on time)\b",
    re.IGNORECASE,
)
_STILL_WARM = re.compile(
    r"\b(?:water|cones?|it) (?:was |felt |is |stayed |seemed )?(?:still )?warm\b(?! enough)", re.IGNORECASE
)
_DONE_AWAY = re.compile(
    r"\b(?<!not )(?<!never )(?:rinsed|washed|wiped|cleaned|removed|repaired|replaced|fixed|mended)\b"
)
_ANOTHER_TIME = re.compile(
    r"\b(?:last|previous|other) (?:weeks?|months?|years?|time|hatch|batch|run)\b|\bearlier this\b"
)
_SHORT = (  # short forms -> words
    (r"\b(can|could|would|did|does|do|was|were|is|are|had|has|have|will)n['\u2019]?t\b", r"\1 not"),
    (r"\bwon['\u2019]?t\b", "will not"),
    (r"\bw/o\b", "without"),
    (r"\bo/n\b", "overnight"),
    (r"\bhtr\b", "heater"),
    (r"\btemps?\.", "temperature"),
    (r"\bsal\.|\bsal\b", "salinity"),
    (r"\b(?:thermo|stat)\b", "thermostat"),
    (r"\bw/(?= ?[a-z])", "with "),
    (r"\b(?:vol|lvl)\b\.?", "level"),
    (r"\bo/flow\w*", "overflow"),
    (r"\bb/c\b", "because"),
)
# foam of which something is made, or into which it is put, is none on the water; "foam blocks" and "a lid of foam" are
_THING = (
    r"(?:lids?|box(?:es)?|boards?|block|mats?|pad|sheets?|sleeves?|jackets?|bungs?|stoppers?|plug|crates?|coolers?|panels?|"
    r"trays?|cups?|tape|wrap|wrapping|insulation|lining|padding|rubber|plastic|"
    r"sponges?|covers?(?= (?:on|off|over (?:the |all )?(?:cone|tub|tank|vessel)s?)\b))"
)
_WRAPPED = (
    r"\b(?:(?:wrapped|lined|insulated|packed|padded|clad)\b(?:(?! up\b)[^,;]){0,24}?\b(?:in|with|of|from)|"
    r"made (?:out )?(?:of|from|with)) (?:\w+ )?"
)
_MATERIAL = (
    (rf"\bfoam(?= {_THING}\b(?! of (?:bubbles|foam)| on (?:top of )?(?:the )?(?:water|surface)))", "padding"),
    (rf"({_WRAPPED})foam\b", r"\1padding"),
    (rf"\b({_THING} in )foam\b", r"\1padding"),
)
_LEAST_LETTERS = 5  # of a word that may be misspelt
_WEAK_AIR = re.compile(r"weak|blocked|stopped|\boff\b|\blow\b|none|poor|little|clogged", re.IGNORECASE)
_STRONG_AIR = re.compile(r"very strong|too strong|violent|foam", re.IGNORECASE)


@dataclass(frozen=True)
class Phrase:
    """One phrase of a sheet that speaks for a cause."""

    cause: str
    words: str  # the phrase as written
    factor: float
    where: str  # hatch or lot


def read_sheet(hatch_row, lot_row=None, same_text=()) -> list[Phrase]:
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
    list of Phrase
        At most one phrase per cause and place, the strongest.
    """
    found = []
    for place, text in (("hatch", _text(hatch_row, "notes")), ("lot", _text(lot_row or {}, "notes"))):
        for piece in _pieces(text):
            plain = _plain(piece, text)
            factors = _causes_named(plain, place) or _causes_named(_respelt(plain), place)
            often = sum(piece.casefold() in other.casefold() for other in same_text) if factors else 0
            found += [Phrase(code, piece, max(1.0, factor / (1 + often)), place) for code, factor in factors.items()]
    air = _text(hatch_row, "aeration")
    if air and _WEAK_AIR.search(air):
        found.append(Phrase("oxygen", f"air: {air}", 8.0, "hatch"))
    if air and _STRONG_AIR.search(air):
        found.append(Phrase("broken", f"air: {air}", 7.0, "hatch"))
    best = {}
    for phrase in found:
        key = phrase.cause, phrase.where
        if phrase.factor > 1 and (key not in best or phrase.factor > best[key].factor):
            best[key] = phrase
    return list(best.values())


def factors_of(phrases: list[Phrase]) -> dict[str, float]:
    """Turn phrases into a factor on each cause; those that words could have told of and did not count a little less."""
    factors = {c.code: _SILENT if c.notes else 1.0 for c in CAUSES}
    spoken = {s.cause for s in phrases}
    factors.update(dict.fromkeys(spoken, 1.0))
    for s in phrases:
        factors[s.cause] *= s.factor
    return factors


def _pieces(text) -> list[str]:
    """Phrases of a note; a bare "repaired" belongs to the phrase before it."""
    found = []
    for piece in (p.strip() for p in _PIECES.split(text)):
        bare = len(piece.split()) <= 3 and _MENDED.search(piece)
        if found and (bare or _STILL_WARM.search(piece)):
            found[-1] += f" {piece}"
        elif piece:
            found.append(piece)
    return found


def _causes_named(text, place) -> dict[str, float]:
    """Causes that a phrase speaks for, and how much; of the lot's notes only the lot's causes."""
    factors = {item.code: _speaks(item, text) for item in CAUSES if place == "hatch" or item.of_lot}
    spoken = {code: factor for code, factor in factors.items() if factor > 1}
    silenced = {other for code in spoken for other in cause(code).silences}
    return {code: factor for code, factor in spoken.items() if code not in silenced}


def _speaks(item, text) -> float:
    """How much a phrase speaks for a cause; 1 where it does not, or where it is denied, mended or of another time."""
    best = 1.0
    if _ANOTHER_TIME.search(text) and not item.of_lot:
        return best
    for pattern, factor in item.notes:
        for match in re.finditer(pattern, text):
            before, after = text[: match.start()], text[match.end() :]
            if _DENIED.search(before) or _DONE_AWAY.search(before):
                continue
            if _MENDED.search(after) or _MENDED.fullmatch(before.strip()):
                continue
            if item.code == "cold" and _STILL_WARM.search(after):
                continue
            best = max(best, factor**_POWER)
    return best


@cache
def _plain(piece: str, note: str) -> str:
    """A phrase in small English letters, short forms written out; in the tongue of its note where it tells none."""
    text = in_english(piece.casefold(), note.casefold())
    for short, whole in (*_SHORT, *_MATERIAL):
        text = re.sub(short, whole, text)
    return text


def _respelt(text: str) -> str:
    """A phrase with its words one letter off the vocabulary's set right."""
    return re.sub(rf"[a-z]{{{_LEAST_LETTERS},}}", lambda m: _spelt(m[0]), text)


@cache
def _vocabulary() -> tuple[frozenset, tuple[str, ...]]:
    """Whole words of all patterns, and the beginnings of words that they know (also words with one letter optional)."""
    whole, begun = set(), set()
    for pattern, _ in (pair for item in CAUSES for pair in item.notes):
        for word, more in re.findall(rf"(?<![a-z\\])([a-z]{{{_LEAST_LETTERS},}})(\\w|\?|\()?", pattern):
            (begun if more and more != "?" else whole).add(word)
            if more == "?":
                whole.add(word[:-1])
    return frozenset(whole), tuple(begun)


@cache
def _spelt(word: str) -> str:
    """The word of the vocabulary one letter off (put in, left out, changed, or two swapped); else the word itself."""
    whole, begun = _vocabulary()
    if word in whole or word.startswith(begun):
        return word
    near = [w for w in whole if w[0] == word[0] and abs(len(w) - len(word)) < 2 and one_letter_off(w, word)]
    return min(near, default=word)


def _text(row, column) -> str:
    value = row.get(column)
    return "" if is_missing(value) else str(value)
