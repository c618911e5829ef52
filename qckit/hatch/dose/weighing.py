"""Grams as they are weighed out: in the finest steps of the site's balance, said with as many decimals."""

from __future__ import annotations

import math
from decimal import Decimal

from qckit.words import number

__all__ = ["decimals_of", "grams_to_weigh", "say_grams"]


def grams_to_weigh(grams: float, step_g: float) -> float:
    """Round grams to what the balance can weigh: the nearest step, and one step at least.

    Parameters
    ----------
    grams : float
    step_g : float
        The setting ``protocol.balance_step_g``. [g]
    """
    if not math.isfinite(grams) or grams <= 0:
        return grams
    return round(max(round(grams / step_g), 1) * step_g, 9)


def say_grams(grams: float, step_g: float) -> str:
    """Write grams with the decimals that the balance shows, without the unit."""
    return number(grams, decimals_of(step_g))


def decimals_of(step_g: float) -> int:
    """Decimals that a step has: 1 for 0.1 or 0.5 g, 2 for 0.05 g, none for 1 g."""
    return max(0, -Decimal(repr(float(step_g))).normalize().as_tuple().exponent)
