"""Harvests that brought in far less than was counted in their cone, or more than it can have held."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.log.problems import Doubt, doubt
from qckit.quantities import MOST_PER_G, RECOVERY_PCT
from qckit.words import figures

__all__ = ["far_recoveries"]


def far_recoveries(samples: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Find harvests that hardly can be: beside the counts of their cone, or its cysts.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
        Subsamples and harvests of these hatches.
    hatches : DataFrame, shape (n, any)
        Harvests are weighed against those hatches that are there.

    Returns
    -------
    list of Doubt
        By more than chance in counting (three standard deviations).
    """
    harvests = samples[(samples["kind"] == "harvest") & samples["nauplii"].notna()]
    if harvests.empty:
        return []
    rows = hatches.drop_duplicates("hatch").set_index("hatch")
    hatched = _hatched(samples, rows)
    diluted = harvests["dilution"].fillna(1.0)
    share = harvests["volume_ul"] / diluted / 1000.0 / harvests["harvest_ml"]
    share = share.fillna(harvests["mass_g"] / diluted / harvests["harvest_g"])
    sums = pd.DataFrame({"nauplii": harvests["nauplii"].astype(float), "share": share}).dropna()
    sums = sums.groupby(harvests["hatch"]).sum()
    total = sums["nauplii"] / sums["share"]
    off = 3.0 / np.sqrt(sums["nauplii"].clip(lower=1.0))
    last = harvests.drop_duplicates("hatch", keep="last").reset_index().set_index("hatch")["index"]
    low, high = (bound / 100.0 for bound in RECOVERY_PCT)
    found = []
    for hatch in total.index[(total > 0) & total.index.isin(rows.index)]:
        brought, counted = f"the harvest holds {figures(total[hatch])} nauplii", hatched.get(hatch, np.nan)
        part = total[hatch] / counted
        if part * (1 + off[hatch]) < low or part * (1 - off[hatch]) > high:
            of = f"{100 * part:.2g} % of" if part < 1 else f"{part:.2g} times"
            what = f"{brought}, {of} the {figures(counted)} that were counted in its cone"
        elif total[hatch] * (1 - off[hatch]) > rows.at[hatch, "cysts_g"] * MOST_PER_G:
            what = f"{brought}, more than its {rows.at[hatch, 'cysts_g']:g} g of cysts can give"
        else:
            continue
        by_volume = pd.notna(harvests.at[last[hatch], "harvest_ml"])
        size, part_of = ("harvest_ml", "volume_ul") if by_volume else ("harvest_g", "mass_g")
        hint = f"Look at {size}, {part_of}, dilution and nauplii of the harvest, and at the counts of hatch {hatch}."
        found.append(doubt("samples", harvests, index=last[hatch], column=size, what=what, hint=hint))
    return found


def _hatched(samples: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """Nauplii in each cone by the subsamples of one time, the most of several times."""
    mine = samples[(samples["kind"] == "subsample") & (samples["volume_ul"] > 0) & samples["nauplii"].notna()]
    volume_ml = mine["hatch"].map(rows["volume_ml"])
    each = mine["nauplii"].astype(float) * mine["dilution"].fillna(1.0) / mine["volume_ul"] * 1000.0 * volume_ml
    times = each.groupby([mine["hatch"], mine["taken"]]).mean()
    return times.groupby(level=0).max()
