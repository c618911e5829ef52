"""Readings of a hatch so far off the site's standard that they cost nauplii, whatever made this hatch poor."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from qckit.hatch.water.readings import standard_of
from qckit.quantities import QUANTITIES, WATER
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.words import number

__all__ = ["OffStandard", "far_off_standard", "is_costly"]

_COSTLY = 0.05  # share of the nauplii by the literature; less is no matter for the next hatch (ours)


@dataclass(frozen=True)
class OffStandard:
    """One reading far off: ``cause`` is what it would be, ``loss_pct`` what such water costs by the literature. [%]"""

    cause: str
    quantity: str
    value: float
    standard: str
    loss_pct: float

    @property
    def read(self) -> str:
        """What was read, with its unit."""
        quantity = QUANTITIES[self.quantity]
        unit = f" {quantity.unit}" if quantity.unit else ""
        return f"{number(self.value, quantity.decimals)}{unit}"

    @property
    def sentence(self) -> str:
        """What was read and what it should be, without a capital and a full stop."""
        return f"was {self.read} and should be {self.standard}"


def is_costly(quantity: str, value: float, conditions) -> bool:
    """Say whether a reading is so far off the site's standard, on the side that costs nauplii, that it costs many."""
    standard = standard_of(quantity, conditions)
    readings = [c.reading for c in CAUSES if c.reading is not None and c.reading.table]
    return any(_loss(reading, standard, value) for reading in readings if reading.quantity == quantity)


def _loss(reading, standard, value) -> float:
    """What a reading far off costs by the literature, as a share; 0 where it is not, on the bad side, or little."""
    bad = "below" if reading.side == "low" else "above"
    if standard.side(value) != bad or not standard.is_far_off(value):
        return 0.0
    loss = float(reading.published_loss(value))
    return loss if loss >= _COSTLY else 0.0


def far_off_standard(differences: pd.DataFrame, conditions) -> list[OffStandard]:
    """List the readings far off the site's standard on the side that costs nauplii.

    Parameters
    ----------
    differences : DataFrame
        As :func:`qckit.verdicts.poor_hatch.conditions.differences.find_differences` returns it.
    conditions : ConditionSettings
        The site's standards.

    Returns
    -------
    list of OffStandard
        One of each quantity at most, what costs most first. The standard decides and not what is usual here: water
        that is cold in every hatch costs nauplii in every hatch.
    """
    found = {}
    for row in differences[differences["quantity"].isin(WATER)].itertuples():
        standard, reading = standard_of(row.quantity, conditions), cause(row.cause).reading
        loss = _loss(reading, standard, row.value)
        if not loss:
            continue
        if row.quantity not in found or loss > found[row.quantity].loss_pct / 100:
            found[row.quantity] = OffStandard(row.cause, row.quantity, row.value, standard.words, 100 * loss)
    return sorted(found.values(), key=lambda off: -off.loss_pct)
