"""Counting by eye with four keys: the state of a tally, apart from any screen."""

from __future__ import annotations

from dataclasses import dataclass, field

from qckit.protocol import ProtocolSettings
from qckit.stages import COUNT_LETTERS, FULL_CYST_STAGES, STAGE_COLUMNS, STAGE_RECORDS

__all__ = ["Tally"]

_HATCHED = [s.column for s in STAGE_RECORDS if s.is_hatched]
_FULL = [*(STAGE_COLUMNS[s] for s in FULL_CYST_STAGES), "embryos"]


@dataclass
class Tally:
    """Counts of one cone's subsamples, one press at a time.

    Parameters
    ----------
    protocol : ProtocolSettings
        Its ``keys``, one for each of ``counted_columns``.

    Examples
    --------
    >>> tally = day.Tally(tables.settings.protocol)
    >>> tally.columns
    ('nauplii', 'umbrella', 'cysts', 'shells')
    """

    protocol: ProtocolSettings
    done: list[dict[str, int]] = field(default_factory=list)
    presses: list[str] = field(default_factory=list)  # columns, in the order they were pressed

    @property
    def columns(self) -> tuple[str, ...]:
        """What is counted, in the order of the keys."""
        return self.protocol.counted_columns

    @property
    def counts(self) -> dict[str, int]:
        """Counts of the subsample under the eye."""
        return {column: self.presses.count(column) for column in self.columns}

    def press(self, key: str) -> bool:
        """Count one object; tells whether the key is one of the tally's."""
        keys = dict(zip(self.protocol.keys, self.columns, strict=True))
        if key not in keys:
            return False
        self.presses.append(keys[key])
        return True

    def undo(self) -> str:
        """Take the last press back, into the subsample before where this one is empty; return what was taken back."""
        if self.presses:
            return self.presses.pop()
        if self.done:
            last = self.done.pop()
            self.presses = [column for column in self.columns for _ in range(last[column])]
        return ""

    def next_subsample(self) -> bool:
        """Close the subsample under the eye; an empty one is not closed."""
        if not self.presses:
            return False
        self.done.append(self.counts)
        self.presses = []
        return True

    @property
    def is_full(self) -> bool:
        """Whether as many subsamples are closed as the protocol asks for."""
        return len(self.done) >= self.protocol.subsamples

    def hatch_pct(self) -> float:
        """Hatching percentage of all that was counted so far; NaN before the first full cyst."""
        rows = [*self.done, self.counts]
        hatched, full = (sum(row.get(c, 0) for row in rows for c in columns) for columns in (_HATCHED, _FULL))
        return 100 * hatched / full if full else float("nan")

    def rows(self) -> list[tuple[int, ...]]:
        """Return the closed subsamples as ``Bench.count`` takes them; the open one too, where it has counts."""
        rows = [*self.done, *([self.counts] if self.presses else [])]
        return [tuple(row[column] for column in self.columns) for row in rows]

    def line(self) -> str:
        """Say where the tally stands: ``2/3  N 45  U 2  C 7  S 41   H 83 %``."""
        shown = "  ".join(f"{COUNT_LETTERS[c]} {n}" for c, n in self.counts.items())
        percent = self.hatch_pct()
        share = f"H {percent:.0f} %" if percent == percent else "H -"
        return f"{min(len(self.done) + 1, self.protocol.subsamples)}/{self.protocol.subsamples}  {shown}   {share}"

    def legend(self) -> str:
        """Say which key counts what."""
        return "  ".join(f"{key} {column}" for key, column in zip(self.protocol.keys, self.columns, strict=True))
