"""What the separation loses and lets through: nauplii drawn off with the dregs, shells and cysts left in the harvest.

Both are rare counts: their intervals are exact where few were seen, and a change of the losses is looked for by
Poisson rates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.hatch.harvest.recovery import newest_harvests
from qckit.hatch.intervals.plain import binomial_interval
from qckit.hatch.intervals.rare_counts import RateChange, poisson_change, poisson_interval
from qckit.stages import STAGE_COLUMNS
from qckit.words import estimated, plural

__all__ = ["HarvestLosses", "harvest_losses"]

_FEW = 10  # Brown, Cai and DasGupta 2001, Statistical Science 16:101-133: below about ten the exact interval is safer
_CHANGED = 0.05
_LEAST_HARVESTS = 6  # fewer say nothing of a change


@dataclass(frozen=True)
class HarvestLosses:
    """Losses over a site's harvests; NaN where nothing was counted.

    Examples
    --------
    >>> hatch.harvest_losses(tables.samples).n_drawn_off
    0
    """

    n_drawn_off: int  # harvests whose dregs were looked at
    lost: int  # nauplii seen in them
    lost_a_harvest: float
    lost_low: float  # exact interval
    lost_high: float
    change: RateChange | None  # of the losses, where one is shown
    changed_after: str  # hatch that came before it
    n_counted: int  # objects counted in harvests where shells or cysts were counted too
    waste: int  # those that were no nauplii
    waste_pct: float
    waste_low_pct: float
    waste_high_pct: float
    is_waste_exact: bool  # Clopper-Pearson; else Wilson

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was lost, what was let through, and whether the losses changed."""
        lines = []
        if self.n_drawn_off:
            lost = estimated(self.lost_a_harvest, self.lost_low, self.lost_high, what="a harvest", how="exact")
            lines.append(
                f"In what was drawn off at {plural(self.n_drawn_off, 'harvest')} "
                f"{plural(self.lost, 'nauplius was', 'nauplii were')} counted: {lost}."
            )
        if self.change is not None:
            lines.append(
                f"The loss changed after {self.changed_after}: {self.change.rate_before:.1f} a harvest before, "
                f"{self.change.rate_after:.1f} since."
            )
        if self.n_counted:
            kind = "exact" if self.is_waste_exact else "Wilson"
            what = "were no nauplii but shells or unhatched cysts"
            waste = estimated(self.waste_pct, self.waste_low_pct, self.waste_high_pct, "%", what=what, how=kind)
            lines.append(f"Of {self.n_counted:,} objects counted in harvests, {waste}.")
        return tuple(lines)


def harvest_losses(samples, *, confidence=0.95):
    """Add up what the harvests of a site lost and let through.

    Parameters
    ----------
    samples : DataFrame
        Columns of the samples table; rows of the kind "harvest" are used, of each sample the newest revision.
    confidence : float

    Returns
    -------
    HarvestLosses

    Examples
    --------
    >>> seen = pd.DataFrame({"sample": ["V1", "V2"], "hatch": ["H1", "H2"], "kind": "harvest", "lost_nauplii": [2, 4]})
    >>> hatch.harvest_losses(seen).lost_a_harvest
    3.0
    """
    mine = newest_harvests(samples)
    mine = mine.sort_values("taken", kind="stable") if "taken" in mine else mine
    lost = _numbers(mine, "lost_nauplii")
    counted_losses = lost.dropna()
    nauplii = _numbers(mine, "nauplii")
    others = pd.DataFrame({c: _numbers(mine, c) for c in (*STAGE_COLUMNS.values(), "embryos") if c != "nauplii"})
    both = nauplii.notna() & others.notna().any(axis=1)
    waste, counted = int(others[both].sum().sum()), int(nauplii[both].sum() + others[both].sum().sum())
    is_exact = min(waste, counted - waste) < _FEW
    method = "clopper-pearson" if is_exact else "wilson"
    low, high = binomial_interval(waste, counted, confidence=confidence, method=method)
    change = _change(counted_losses, confidence)
    n, total = len(counted_losses), int(counted_losses.sum())
    lost_low, lost_high = poisson_interval(total, n, confidence=confidence) if n else (math.nan, math.nan)
    return HarvestLosses(
        n_drawn_off=n,
        lost=total,
        lost_a_harvest=float(counted_losses.mean()) if n else math.nan,
        lost_low=lost_low,
        lost_high=lost_high,
        change=change,
        changed_after=str(mine.loc[counted_losses.index[change.last_before - 1], "hatch"])
        if change is not None
        else "",
        n_counted=counted,
        waste=waste,
        waste_pct=100 * waste / counted if counted else math.nan,
        waste_low_pct=100 * low,
        waste_high_pct=100 * high,
        is_waste_exact=is_exact,
    )


def _change(lost, confidence):
    """A change of the losses, where chance does not explain it."""
    if len(lost) < _LEAST_HARVESTS or not lost.sum() > 0:
        return None
    found = poisson_change(lost.to_numpy(), confidence=confidence)
    return found if found.p_value < _CHANGED else None


def _numbers(table, name):
    if name not in table:
        return pd.Series(np.nan, index=table.index)
    return pd.to_numeric(table[name], errors="coerce").astype("float64")
