"""What the separation loses and lets through: nauplii drawn off with the dregs, shells and cysts left in the harvest.

Harvests differ by more than chance of counting, so the harvest is the replicate, as the cone is for a hatch: from three
harvests on the intervals are those of :mod:`qckit.hatch.intervals.over_cones`, before that of counting alone. A change
of the losses is looked for by Poisson rates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.hatch.harvest.recovery import newest_harvests
from qckit.hatch.intervals.over_cones import proportion_over_cones, rate_over_cones
from qckit.hatch.intervals.plain import binomial_interval
from qckit.hatch.intervals.rare_counts import RateChange, poisson_change, poisson_interval
from qckit.stages import STAGE_COLUMNS
from qckit.words import estimated, plural, spaced

__all__ = ["HarvestLosses", "harvest_losses"]

_FEW = 10  # Brown, Cai and DasGupta 2001, Statistical Science 16:101-133: below about ten the exact interval is safer
_ENOUGH = 3  # two harvests show so little of how harvests differ that the interval would say nothing
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
    lost_low: float  # over harvests, of counting alone with one or two
    lost_high: float
    change: RateChange | None  # of the losses, where one is shown
    changed_after: str  # hatch that came before it
    n_counted: int  # objects counted in harvests where shells or cysts were counted too
    n_harvests: int  # those of the objects counted
    waste: int  # those that were no nauplii
    waste_pct: float  # mean over harvests
    waste_low_pct: float  # likewise
    waste_high_pct: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was lost, what was let through, and whether the losses changed."""
        lines = []
        if self.n_drawn_off:
            how = _how(self.n_drawn_off)
            lost = estimated(self.lost_a_harvest, self.lost_low, self.lost_high, what="a harvest", how=how)
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
            how, what = _how(self.n_harvests), "were no nauplii but shells or unhatched cysts"
            waste = estimated(self.waste_pct, self.waste_low_pct, self.waste_high_pct, "%", what=what, how=how)
            of = f"Of {spaced(self.n_counted)} objects counted in {plural(self.n_harvests, 'harvest')}"
            lines.append(f"{of}, {waste}.")
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
        Rows of one harvest are added up first: portions of it do not show how harvests differ. Where fewer than ten
        were seen in all, the interval is never narrower than the exact one of counting (Clopper and Pearson 1934,
        Biometrika 26:404-413; Garwood 1936, Biometrika 28:437-442), as so few cannot show whether they come in clumps.

    Examples
    --------
    >>> seen = pd.DataFrame({"sample": ["V1", "V2"], "hatch": ["H1", "H2"], "kind": "harvest", "lost_nauplii": [2, 4]})
    >>> hatch.harvest_losses(seen).lost_a_harvest
    3.0
    """
    mine = newest_harvests(samples)
    mine = mine.sort_values("taken", kind="stable") if "taken" in mine else mine
    # two rows of one harvest with what was drawn off say the same twice, as in harvest_totals
    lost = _numbers(mine, "lost_nauplii").groupby(mine["hatch"], sort=False).max().dropna()
    nauplii = _numbers(mine, "nauplii")
    others = pd.DataFrame({c: _numbers(mine, c) for c in (*STAGE_COLUMNS.values(), "embryos") if c != "nauplii"})
    both = nauplii.notna() & others.notna().any(axis=1)
    waste_of = others[both].sum(axis=1)
    sums = pd.DataFrame({"waste": waste_of, "all": waste_of + nauplii[both]}).groupby(mine.loc[both, "hatch"]).sum()
    sums = sums[sums["all"] > 0]
    waste = _waste_over_harvests(sums["waste"].to_numpy(), sums["all"].to_numpy(), confidence)
    change = _change(lost, confidence)
    n = len(lost)
    lost_low, lost_high = _lost_over_harvests(lost.to_numpy(), confidence)
    return HarvestLosses(
        n_drawn_off=n,
        lost=int(lost.sum()),
        lost_a_harvest=float(lost.mean()) if n else math.nan,
        lost_low=lost_low,
        lost_high=lost_high,
        change=change,
        changed_after=str(lost.index[change.last_before - 1]) if change is not None else "",
        n_counted=int(sums["all"].sum()),
        n_harvests=len(sums),
        waste=int(sums["waste"].sum()),
        waste_pct=100 * waste[0],
        waste_low_pct=100 * waste[1],
        waste_high_pct=100 * waste[2],
    )


def _how(n_harvests):
    return "" if n_harvests >= _ENOUGH else "counting alone"


def _waste_over_harvests(waste, counted, confidence):
    """Mean share of the harvests, and its interval. [fraction]"""
    if not len(counted):
        return math.nan, math.nan, math.nan
    total, of = float(waste.sum()), float(counted.sum())
    is_few = min(total, of - total) < _FEW
    exact = binomial_interval(total, of, confidence=confidence, method="clopper-pearson" if is_few else "wilson")
    if len(counted) < _ENOUGH:
        return total / of, *exact
    found = proportion_over_cones(waste, counted, confidence=confidence)
    return found.value, *(_wider((found.low, found.high), exact) if is_few else (found.low, found.high))


def _lost_over_harvests(lost, confidence):
    """Interval of the mean loss of a harvest."""
    if not len(lost):
        return math.nan, math.nan
    exact = poisson_interval(float(lost.sum()), len(lost), confidence=confidence)
    if len(lost) < _ENOUGH:
        return exact
    found = rate_over_cones(lost, np.ones(len(lost)), confidence=confidence)
    return _wider((found.low, found.high), exact) if lost.sum() < _FEW else (found.low, found.high)


def _wider(first, second):
    return min(first[0], second[0]), max(first[1], second[1])


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
