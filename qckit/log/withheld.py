"""Counts from photos that are held back: they would replace a person's own, or were made at another scale."""

from __future__ import annotations

import math

import pandas as pd

from qckit.log.problems import PROBLEMS
from qckit.log.query import fetch

__all__ = ["flagged_note", "held_back"]

_SAME_SCALE = 0.005
"""Scales this near are one scale, rounded differently; the counted volume then differs by 1 % (our own choice)."""
_NAMED = 10


def held_back(connection, entering: pd.DataFrame, *, replace_hand_counts: bool) -> tuple[set[str], pd.DataFrame]:
    """Find the samples whose counts must not change unasked.

    Parameters
    ----------
    connection : Connection
    entering : DataFrame
        Photos to be entered, with their sample.
    replace_hand_counts : bool
        Somebody wants a person's counts replaced.

    Returns
    -------
    tuple
        The samples' names, and what holds each back (columns of ``problems.PROBLEMS``).
    """
    wanted = sorted(set(entering["sample"].dropna()))
    rows, held = [], set()
    for row in fetch(connection, "samples", {"sample": wanted}).itertuples() if wanted else ():
        found = _other_scale(row, entering[entering["sample"] == row.sample])
        if not replace_hand_counts and row.counted_by == "person" and not pd.isna(row.nauplii):
            who = "a person" if pd.isna(row.counter) else row.counter
            found.append(
                (
                    f"was counted by {who}, and the photos' counts would take the place of that",
                    "To replace it, run this again with --replace-hand-counts REASON",
                )
            )
        if found:
            held.add(row.sample)
        rows += [("counts", f"sample {row.sample}", "", "", rule, f"{remedy}.") for rule, remedy in found]
    return held, pd.DataFrame(rows, columns=list(PROBLEMS))


def _other_scale(sample, photos: pd.DataFrame) -> list[tuple[str, str]]:
    """Say which photos were counted at another scale than the field sheet's, and how to mend it."""
    sheet = sample.um_per_px
    if pd.isna(sheet):
        return []
    other = photos[[not pd.isna(x) and abs(math.log(x / sheet)) > _SAME_SCALE for x in photos["um_per_px"]]]
    if other.empty:
        return []
    first = other.iloc[0]
    return [
        (
            f"photo {first.photo!r} was counted at {first.um_per_px:g} µm per pixel, "
            f"and the field sheet says {sheet:g}",
            f"Count it at {sheet:g}; or, if the sheet is wrong, run  "
            f"qckit log correct samples {sample.sample} um_per_px {first.um_per_px:g} "
            "--reason TEXT  and then this again",
        )
    ]


def flagged_note(photos: pd.DataFrame) -> list[str]:
    """Pass on the flags of photos that are entered, in one line; no line where there are none."""
    flagged = photos[photos["flags"].fillna("") != ""]
    if flagged.empty:
        return []
    named = ", ".join(f"{row.photo} ({row.flags})" for row in flagged.head(_NAMED).itertuples())
    more = f" and {len(flagged) - _NAMED} more" if len(flagged) > _NAMED else ""
    verb = "carry flags: look at them" if len(flagged) > 1 else "carries a flag: look at it"
    return [f"{len(flagged)} of {len(photos)} photos {verb} before the counts are used: {named}{more}"]
