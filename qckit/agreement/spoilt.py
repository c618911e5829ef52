"""What spoils a check of a camera: columns exchanged, rows at each other's photos, or single counts."""

from __future__ import annotations

from dataclasses import dataclass

from qckit.agreement.certificate_words import spoilt_sentences
from qckit.agreement.misplaced import find_misplaced, say_misplaced
from qckit.agreement.suspects import Suspect, find_exchanged, find_suspects, say_exchanged

__all__ = ["Spoilt"]


@dataclass(frozen=True)
class Spoilt:
    """What spoils a check: the first kind that is found, since each makes the others seem to be there."""

    exchanged: tuple[str, str] | None = None
    misplaced: tuple[tuple[str, ...], ...] = ()
    suspects: tuple[Suspect, ...] = ()

    @classmethod
    def find(cls, photos, counted, true) -> Spoilt:
        """Look at both counts of each photo, rows as in ``photos``."""
        if exchanged := find_exchanged(counted, true):
            return cls(exchanged=exchanged)
        if misplaced := find_misplaced(photos, counted, true):
            return cls(misplaced=tuple(misplaced))
        return cls(suspects=tuple(find_suspects(photos, counted, true)))

    def __bool__(self) -> bool:
        return bool(self.exchanged or self.misplaced or self.suspects)

    def sentences(self, agreement_without) -> list[str]:
        """Say it, and how H% agrees without the photos of single counts (None where nothing is to be said of that)."""
        if self.exchanged:
            return [say_exchanged(self.exchanged)]
        return list(map(say_misplaced, self.misplaced)) or spoilt_sentences(self.suspects, agreement_without)
