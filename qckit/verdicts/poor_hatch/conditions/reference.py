"""What a hatch's condition is compared with: other hatches, or a standard of the site or the literature's range."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from qckit.hatch.water.readings import standard_of
from qckit.robust import robust_sd
from qckit.words import plural

__all__ = ["USUAL", "Reference", "chance_words", "far_words", "reference_of", "usually"]

USUAL = "usual"
"""The reference where other hatches stand for what is usual; the others are ends or standards without a spread."""

_LEAST = 3  # hatches that make a usual value and a spread
_STANDARD = {"temperature": "temperature_c", "salinity": "salinity_ppt", "hours": "reading_h"}


def usually(n_hatches: int, word: str = "usually") -> str:
    """Return ``word``, or of how few other hatches a figure is: one or two make nothing usual."""
    return word if n_hatches >= _LEAST else f"in {plural(n_hatches, 'other hatch')}"


def far_words(unusual: float) -> str:
    """Say how far from usual a value lies that is so many standard deviations away."""
    side = "below" if unusual < 0 else "above"
    if abs(unusual) < 1:
        return "as in other hatches"
    if abs(unusual) < 2:
        return f"a little {side}"
    return f"{'' if abs(unusual) < 3 else 'far '}{side} what is usual"


def chance_words(z: float) -> str:
    """Say whether chance may have made an effect that lies so many standard errors from none."""
    return "no more than chance makes" if abs(z) < 1 else "chance may make it" if abs(z) < 2.5 else "hardly chance"


class Reference(NamedTuple):
    """One quantity's reference: ``words`` say what ``value`` is; ``unusual`` is how far off a hatch is, in ``sd``."""

    value: float
    sd: float
    words: str
    centre: float  # losses are reckoned from here
    unusual: float


def reference_of(c, value: float, others, *, floor: float, conditions=None, max_g_per_l=None) -> Reference:
    """Find what a hatch's condition is to be compared with.

    Parameters
    ----------
    c : Cause
    value : float
        The hatch's own.
    others : ndarray of float, shape (n,)
        Those of other hatches.
    floor : float
        Least standard deviation, and half of that assumed where there are fewer than three other hatches.
    conditions : ConditionSettings, optional
        The site's standards.
    max_g_per_l : float, optional
        The site's most cysts per litre. [g/l]

    Returns
    -------
    Reference
        Median and robust spread of three hatches or more. With fewer, the site's standard; of what has no standard
        but an end (pH, oxygen, light, cysts per litre) the site's own, or else the good end of the literature's range:
        a value on its good side is not off at all.
    """
    if len(others) >= _LEAST:
        median = float(np.median(others))
        sd = max(floor, robust_sd(others, median))
        return Reference(median, sd, USUAL, median, (value - median) / sd)
    sd = 2 * floor
    if c.quantity in _STANDARD and conditions is not None:
        standard = getattr(conditions, _STANDARD[c.quantity])
        return Reference(standard, sd, "this site's standard", standard, (value - standard) / sd)
    good = c.table[-1][0] if c.side == "low" else c.table[0][0]
    off = min(value - good, 0.0) if c.side == "low" else max(value - good, 0.0)
    site_standard = max_g_per_l
    if c.quantity != "density":
        site_standard = None if conditions is None else standard_of(c.quantity, conditions).low
    if site_standard is not None:
        return Reference(site_standard, sd, f"this site's {'least' if c.side == 'low' else 'most'}", good, off / sd)
    return Reference(good, sd, f"literature's range {'from' if c.side == 'low' else 'up to'}", good, off / sd)
