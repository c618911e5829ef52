"""What has to be said about a hatch's figures: a code with its values; the sentence is made from them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from qckit.words import capital, joined, noun, plural

__all__ = ["GAP_CODES", "Note", "gaps", "has_note"]

NO_PERCENTAGE = "the hatching percentage is not known"


@dataclass(frozen=True)
class Note:
    """One remark on a figure.

    ``code`` says what is the case, ``values`` holds its names and numbers, ``cone`` whom it is about (empty where the
    reader knows). ``str(note)`` is the sentence; nothing reads it back.

    Examples
    --------
    >>> hatch.Note("no-such-note", cone="A").cone
    'A'
    """

    code: str
    values: dict = field(default_factory=dict)
    cone: str = ""

    def __str__(self) -> str:
        sentence = _SENTENCES[self.code](**self.values)
        return f"Cone {self.cone}: {sentence}" if self.cone else sentence


GAP_CODES = frozenset({"no_unhatched", "no_full_cyst", "no_volume"})
"""Codes that leave a cone out of the hatching percentage or of nauplii per gram."""


def gaps(notes: Iterable[Note]) -> list[Note]:
    """Choose the notes that leave a cone out of the hatching percentage or of nauplii per gram.

    Examples
    --------
    >>> hatch.gaps([hatch.Note("no-such-note")])
    []
    """
    return [note for note in notes if note.code in GAP_CODES]


def has_note(notes: Iterable[Note], code: str) -> bool:
    """Tell whether a note of that code is among them.

    Examples
    --------
    >>> hatch.has_note([hatch.Note("no-such-note")], "no-such-note")
    True
    """
    return any(note.code == code for note in notes)


def _counted_again(samples):
    return f"{joined(samples)} {noun(len(samples), 'was', 'were')} counted again by a person, whose count stands."


def _other_kind(kind, samples):
    who = {"photo": "from photos", "person": "by a person"}.get(kind, "otherwise")
    check = noun(len(samples), "checks the figures and is", "check the figures and are")
    return f"{plural(len(samples), 'subsample')} counted {who} ({joined(samples)}) {check} no part of them."


def _repeat(samples):
    check = noun(len(samples), "checks the figures and is", "check the figures and are")
    return f"{plural(len(samples), 'subsample')} drawn again later ({joined(samples)}) {check} no part of them."


def _incomplete(samples):
    return f"Not every stage was counted in {joined(samples)}: the figures rest on the other subsamples."


_SENTENCES = {
    "hours_unknown": lambda: "The hours since wetting are not known.",
    "other_hour": lambda at, standard: f"Read at {at:.1f} h instead of {standard:g} h.",
    "counted_again": _counted_again,
    "other_kind": _other_kind,
    "incomplete": _incomplete,
    "repeat": _repeat,
    "cysts_for_embryos": lambda: (
        "Unhatched cysts stand in for embryos: dead full cysts and empty closed ones weigh in."
    ),
    "mixed_basis": lambda: "Some subsamples count embryos, others unhatched cysts.",
    "no_unhatched": lambda: f"Neither embryos nor unhatched cysts were counted, so {NO_PERCENTAGE}.",
    "no_full_cyst": lambda: f"No full cyst was seen, so {NO_PERCENTAGE}.",
    "no_umbrella": lambda: (
        "Umbrella stages were not counted and are taken as none: the hatching percentage may be too high."
    ),
    "shells_in_part": lambda samples: (
        f"Shells were counted in {joined(samples)} only: the opened fraction rests on that."
    ),
    "doubted": lambda why, first_step: f"Its figures can hardly be: {why}. {first_step}",
    "impossible": lambda why, first_step: f"{capital(why)}. {first_step}",
    "no_volume": lambda: "A counted volume is missing, so nothing per gram is known.",
}
