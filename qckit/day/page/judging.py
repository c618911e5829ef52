"""What a count says: a hatch against what its lot usually gives, one line, and the first suspicion where earned."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from qckit.errors import QcError
from qckit.hatch import too_many
from qckit.verdicts.lots.level import judge_level
from qckit.verdicts.lots.standing import Standing, standing_levels
from qckit.verdicts.lots.usual import usual_of_hatch

__all__ = ["MAY_BE_POOR", "Judged", "judge_hatch"]

POOR, LOW = 0.01, 0.05
"""Rarer than this by chance is poor, or low: the limits of the poor-hatch verdict."""

MAY_BE_POOR = 0.25
"""Rarer than this before cones and operators are allowed for: it may be poor once they are."""

_HIGH = 0.995
_FEW = 3  # earlier hatches that make a usual
_LEAST_PROBABILITY = 0.5  # a suspicion is named from here on


@dataclass(frozen=True)
class Judged:
    """One counted hatch against its lot."""

    hatch: str
    lot: str
    cone: str
    code: str  # usual, low, poor, high, first (too few to compare), impossible (its count cannot be)
    hatch_pct: float
    usual_pct: float = math.nan
    usual_low: float = math.nan
    usual_high: float = math.nan
    nauplii_per_g: float = math.nan
    p_low: float = math.nan
    n_hatches: int = 0
    n_subsamples: int = 0
    suspicion: str = ""  # code of the likeliest cause, where one is earned
    suspicion_p: float = math.nan
    suspicion_words: str = ""
    per_g_usual: float = math.nan  # nauplii per gram that its lot usually gives
    per_g_low: float = math.nan
    per_g_high: float = math.nan
    why: str = ""  # its count cannot be
    first_step: str = ""
    is_low_per_g: bool = False  # it is low or poor by its nauplii per gram, and not by its percentage


def judge_hatch(
    counts: pd.DataFrame, hatch: str, *, suspect: Callable | None = None, standing: Standing | None = None
) -> Judged | None:
    """Judge one hatch.

    Parameters
    ----------
    counts : DataFrame
        As ``verdicts.lots.usual.counted_hatches`` gives them.
    hatch : str
    suspect : callable, optional
        ``hatch -> Suspicion`` of the poor-hatch verdict; asked only of a hatch that is low or poor.
    standing : Standing, optional
        How cones and operators stand apart; estimated from the hatches before this one when left out, which takes most
        of the time.

    Returns
    -------
    Judged or None
        None where the hatch has no counts that give a percentage.
    """
    mine = counts[counts["hatch"] == hatch]
    if mine.empty:
        return None
    row = mine.iloc[0].to_dict()
    head = {
        "hatch": hatch,
        "lot": row["lot"],
        "cone": row["cone"],
        "hatch_pct": float(row["hatch_pct"]),
        "nauplii_per_g": float(row["hatching_efficiency_per_g"]),
        "n_subsamples": int(row["n_subsamples"]),
    }
    if row["is_impossible"]:
        one = too_many(row)
        return Judged(code="impossible", why=one.why, first_step=one.first_step, **head)
    standing = standing or standing_levels(counts, before=row["started"], also=(hatch,))
    usual = usual_of_hatch(counts, row, standing)
    if usual.n_hatches < _FEW:
        return Judged(code="first", n_hatches=usual.n_hatches, **head)
    levels = [
        judge_level(counts, row, usual, name, standing=standing) for name in ("hatch_pct", "hatching_efficiency_per_g")
    ]
    known = [level.p_low for level in levels if math.isfinite(level.p_low)]
    p_low = min(1.0, len(known) * min(known)) if known else math.nan
    code = "poor" if p_low < POOR else "low" if p_low < LOW else "high" if levels[0].p_low > _HIGH else "usual"
    is_low_per_g = code in ("poor", "low") and not len(known) * levels[0].p_low < LOW
    suspicion = _suspicion(hatch, suspect) if code in ("poor", "low") and suspect is not None else {}
    return Judged(
        code=code,
        usual_pct=levels[0].usual,
        usual_low=levels[0].usual_low,
        usual_high=levels[0].usual_high,
        p_low=p_low,
        n_hatches=usual.n_hatches,
        per_g_usual=levels[1].usual,
        per_g_low=levels[1].usual_low,
        per_g_high=levels[1].usual_high,
        is_low_per_g=is_low_per_g,
        **head,
        **suspicion,
    )


def _suspicion(hatch: str, suspect: Callable) -> dict:
    """Name the likeliest cause where the verdict gives it an even chance or better."""
    try:
        first = suspect(hatch)
    except QcError:
        return {}
    if not first.probability >= _LEAST_PROBABILITY:
        return {}
    return {"suspicion": first.code, "suspicion_p": float(first.probability), "suspicion_words": first.words}
