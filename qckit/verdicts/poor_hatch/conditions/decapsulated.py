"""Whether a hatch was decapsulated, where its sheet does not say so, and what that says about bleach."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

__all__ = ["Decapsulated", "bleach_factor", "whether_decapsulated"]

_NO_BLEACH, _FOR_ONCE, _SELDOM = 0.1, 8.0, 0.25  # decapsulation neither ticked nor noted; ticked where few are (ours)


@dataclass(frozen=True)
class Decapsulated:
    """Whether the shells of a hatch were taken off, and by what it is known.

    ``source`` is ``sheet``, ``lot`` (the others of its lot say so) or ``protocol`` (nothing does: the site's settings).
    """

    is_done: bool
    source: str

    @property
    def sentence(self) -> str:
        """What was taken for true where the sheet does not say; empty where it does."""
        if self.source == "sheet":
            return ""
        done = "taken off" if self.is_done else "left on"
        by = "as in this lot's other hatches" if self.source == "lot" else "as the protocol in qckit.toml has it"
        return f"The sheet does not say whether it was decapsulated: the shells were taken to be {done}, {by}."


def whether_decapsulated(hatches: pd.DataFrame, hatch: dict, protocol: str) -> Decapsulated:
    """Tell whether a hatch was decapsulated: by its row, else by most of its lot's others, else by the protocol.

    Parameters
    ----------
    hatches : DataFrame, shape (n, any)
        Columns hatch, lot, decapsulated.
    hatch : mapping
        Its row.
    protocol : {"yes", "no"}
        The site's setting.
    """
    written = hatch.get("decapsulated")
    if written is not None and not pd.isna(written):
        return Decapsulated(bool(written), "sheet")
    of_lot = (hatches["lot"] == hatch["lot"]) & (hatches["hatch"] != hatch["hatch"])
    known = hatches.loc[of_lot, "decapsulated"].dropna().astype(bool)
    if len(known) and known.mean() != 0.5:
        return Decapsulated(bool(known.mean() > 0.5), "lot")
    return Decapsulated(protocol == "yes", "protocol")


def bleach_factor(hatches: pd.DataFrame, hatch: dict, protocol: str, *, is_noted: bool) -> float:
    """Weigh what the sheet says of decapsulation for bleach: none was near, as always, or for once.

    Parameters
    ----------
    hatches, hatch, protocol
        As for :func:`whether_decapsulated`.
    is_noted : bool
        Words on the sheet speak of bleach.
    """
    if not whether_decapsulated(hatches, hatch, protocol).is_done:
        return 1.0 if is_noted else _NO_BLEACH
    others = hatches.loc[hatches["hatch"] != hatch["hatch"], "decapsulated"].fillna(protocol == "yes").astype(bool)
    return _FOR_ONCE if others.mean() < _SELDOM else 1.0
