"""Everything that was different about a hatch in one ranking: how unusual it was, and how much it should have cost."""

from __future__ import annotations

import math

import pandas as pd

from qckit.quantities import CONDITIONS
from qckit.verdicts.poor_hatch.conditions.reference import USUAL, chance_words
from qckit.words import number

__all__ = ["FACTOR_COLUMNS", "amount", "rank_factors"]

FACTOR_COLUMNS = ("factor", "here", "usual", "unusual", "points", "basis")
_CONTEXT = {"cone": "cone", "operator": "operator", "pack": "days since opening", "change": "changed shortly before"}


def rank_factors(differences: pd.DataFrame, context: pd.DataFrame, *, usual_pct: float) -> pd.DataFrame:
    """Rank conditions, cone, operator, age of the pack and recent changes.

    Parameters
    ----------
    differences : DataFrame
        As ``find_differences`` returns it.
    context : DataFrame
        As ``describe_context`` returns it.
    usual_pct : float
        The lot's usual hatching percentage. [%]

    Returns
    -------
    DataFrame, columns ``FACTOR_COLUMNS``
        ``unusual`` in standard deviations of what is usual, empty where nothing usual stands against it; ``points``
        what the factor should change in the hatching percentage by the site's own hatches or the literature (``basis``
        says which), the most costly first, then the most unusual. A change without a figure (a new pack, words on the
        sheet) comes after those that cost a point or more.
    """
    rows = []
    for r in differences.sort_values("expected_loss_pct", ascending=False, kind="stable").itertuples():
        points = round(-r.expected_loss_pct / 100.0 * usual_pct, 1) + 0.0 if math.isfinite(usual_pct) else math.nan
        share = r.site_share_pct
        basis = (
            "as usual"
            if points > -0.05
            else "literature"
            if share < 0.5
            else "this site"
            if share > 99.5
            else f"site {share:.0f} %, literature"
        )
        is_usual = r.reference == USUAL
        rows.append(
            (
                CONDITIONS[r.quantity].label,
                _with_unit(r.value, r.unit),
                f"{'' if is_usual else r.reference + ' '}{_with_unit(r.usual, r.unit)}",
                r.unusual if is_usual else math.nan,
                points,
                basis,
                r.unusual,
            )
        )
    columns = [*FACTOR_COLUMNS, "z"]
    table = pd.DataFrame(rows, columns=columns).drop_duplicates("factor")
    around = [
        (_CONTEXT[r.what], r.short, "", math.nan, r.points, _basis(r), r.z)
        for r in context.itertuples()
        if r.what in _CONTEXT
    ]
    table = pd.concat(
        [t for t in (table, pd.DataFrame(around, columns=columns)) if len(t)] or [table], ignore_index=True
    )
    cost = (-table["points"].astype(float)).fillna(0.0)
    order = pd.DataFrame(
        {
            "big": -(cost >= 1).astype(int) * cost,
            "told": (table["basis"] == "as usual").astype(int),
            "z": -table["z"].astype(float).abs().fillna(0.0),
        }
    )
    table = table.loc[order.sort_values(["big", "told", "z"], kind="stable").index, list(FACTOR_COLUMNS)]
    return table.reset_index(drop=True)


def _basis(r):
    """Where the points of a row of the context come from, and how sure they are."""
    sure = f", {chance_words(r.z)}" if math.isfinite(r.z) else ""
    return f"this site{sure}" if math.isfinite(r.points) else ""


def amount(value: float, unit: str) -> str:
    """Write a measured value with as many decimals as it is read with; the unit is for the reader to add."""
    digits = 0 if abs(value) >= 200 else 2 if unit in ("", "g/l") else 1
    return number(value, digits)


def _with_unit(value, unit):
    return f"{amount(value, unit)} {unit}".rstrip()
