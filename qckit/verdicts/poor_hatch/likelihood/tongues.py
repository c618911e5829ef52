"""Notes in German, Spanish, French, Portuguese or Dutch, put into the English words that the causes' vocabulary knows.

Word for word, with a few idioms: grammar is left alone, since a phrase of the vocabulary is a thing and its state, in
either order. A phrase is read in the tongue of which it holds most words, and only if it holds one that is no English
word too; else in the tongue of the note that it stands in. Accents may be missing; a long word one letter off counts
where another word of its tongue stands beside it. The words stand in ``tongue_words.py``.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

from qckit.verdicts.poor_hatch.likelihood.tongue_words import ALSO_ENGLISH, SMALL, TABLE, TONGUES

__all__ = ["in_english", "one_letter_off"]

_LONG = 6  # letters of a word that may be misspelt
_ELIDED = re.compile(r"\b([cdjlmnst]|qu|jusqu)['\u2019](?=[a-z])")  # French: l'eau, d'air
# in the south the word for too stands behind
_TOO_BEHIND = re.compile(r"\b(hot|warm|cold|strong|weak|high|low|salty|fresh|late|early|long|dark|many|little) too\b")


def in_english(text: str, note: str = "") -> str:
    """Return a phrase with the words that one of the tongues knows put into English.

    Parameters
    ----------
    text : str
        In small letters.
    note : str
        The whole note, of which the tongue is taken where the phrase does not tell its own.

    Returns
    -------
    str
        The phrase as it is where neither holds a word of another tongue.
    """
    tongue = _tongue(_bare(text)) or (_tongue(_bare(note)) if note else None)
    return tongue.translate(_bare(text)) if tongue else text


def _tongue(bare):
    """The tongue of which a text holds most words, or None."""
    words = re.findall(r"[^\W\d_]+", bare)
    best, most = None, 0
    for tongue in _glossaries():
        known = [w for w in words if tongue.meaning(w)]
        sure = [w for w in known if tongue.is_telling(w)] + [p for p, _ in tongue.idioms if p.search(bare)]
        if sure and len(known) + len(sure) > most:
            best, most = tongue, len(known) + len(sure)
    return best


def one_letter_off(a: str, b: str) -> bool:
    """Tell whether two words differ by one letter put in, left out or changed, or by two neighbours swapped."""
    start = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    rest, other = a[start:], b[start:]
    swapped = rest[:2] == other[:2][::-1] and rest[2:] == other[2:]
    return swapped or rest[1:] == other[1:] or rest[1:] == other or rest == other[1:]


class _Glossary:
    """The words of one tongue."""

    def __init__(self, entries):
        self.idioms, self.words, self.stems = [], {}, {}
        for word, english in entries:
            if not word.rstrip("*").isalpha():
                end = r"\w*" if word.endswith("*") else r"(?!\w)"
                self.idioms.append((re.compile(rf"(?<!\w){re.escape(word.rstrip('*'))}{end}"), english))
            elif word.endswith("*"):
                self.stems[word[:-1]] = english
            else:
                self.words.setdefault(word, english)
        self.idioms.sort(key=lambda idiom: -len(idiom[0].pattern))
        self.small = {w for w, english in self.words.items() if english in SMALL or len(w) < 3}

    def meaning(self, word):
        """The English of a word, or an empty text."""
        if word in self.words:
            return self.words[word]
        fitting = [stem for stem in self.stems if word.startswith(stem)]
        return self.stems[max(fitting, key=len)] if fitting else ""

    def is_telling(self, word):
        """A word of this tongue that is neither English nor small."""
        return bool(self.meaning(word)) and word not in ALSO_ENGLISH and word not in self.small

    def translate(self, text):
        for pattern, english in self.idioms:
            text = pattern.sub(english.replace(" ", "\0"), text)
        text = re.sub(r"(?<![\0\w])[^\W\d_]+(?![\0\w])", lambda m: self.meaning(m[0]) or self._respelt(m[0]), text)
        return _TOO_BEHIND.sub(r"too \1", text.replace("\0", " "))

    def _respelt(self, word):
        if len(word) >= _LONG:
            for known, english in self.words.items():
                if len(known) >= _LONG - 1 and known[0] == word[0] and one_letter_off(known, word):
                    return english
            for stem, english in self.stems.items():
                if len(stem) >= _LONG and one_letter_off(stem, word[: len(stem)]):
                    return english
        elif len(word) == _LONG - 1:  # a letter left out of a stem
            found = [e for stem, e in self.stems.items() if len(stem) == _LONG and one_letter_off(stem, word)]
            return found[0] if found else word
        return word


@cache
def _glossaries():
    found = {tongue: [] for tongue in TONGUES}
    for line in TABLE.strip().splitlines():
        english, _, cells = line.partition(":")
        for tongue, cell in zip(TONGUES, cells.split("|"), strict=True):
            for word in (_bare(w.strip()) for w in cell.split(",")):
                found[tongue].append((word, english))
    return tuple(_Glossary(entries) for entries in found.values())


def _bare(text):
    """Small letters without accents; ae, oe and ue of a German keyboard stay as typed."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return _ELIDED.sub(r"\1 ", "".join(c for c in spread if not unicodedata.combining(c)))
