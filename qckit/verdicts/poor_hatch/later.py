"""A second reading of the same hatch, a day or so later: were the unhatched late, or dead?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

__all__ = ["LATE_CAUSES", "joined", "later_reading"]

LATE_CAUSES = ("cold", "early", "dark")
_AT_LEAST_H = 12.0
_GAIN, _LATE, _DEAD = 8.0, 8.0, 0.15  # points that count as hatching on; factors on the late causes (ours)


def later_reading(samples: pd.DataFrame, row) -> tuple[dict, str]:
    """Compare a hatch's reading with one made at least twelve hours later.

    Parameters
    ----------
    samples : DataFrame
        The samples table.
    row : mapping
        The hatch's row of ``counted_hatches``.

    Returns
    -------
    (dict of str to float, str)
        Factors on the causes and a sentence; both empty where there is no later reading.
    """
    own = samples[(samples["hatch"] == row["hatch"]) & (samples["kind"] == "subsample") & samples["nauplii"].notna()]
    own = own[own["hours"].astype(float) >= row["hours"] + _AT_LEAST_H]
    if own.empty:
        return {}, ""
    last = own["hours"].astype(float).max()
    own = own[own["hours"].astype(float) > last - 1.5]
    counts = own[["nauplii", "umbrella", "embryos", "cysts"]].astype(float)
    left = counts["embryos"].where(counts["embryos"].notna(), counts["cysts"])
    full = counts["nauplii"].sum() + counts["umbrella"].fillna(0).sum() + left.sum()
    before = row["nauplii"] + row["umbrella"] + row["unhatched"]
    if min(full, before) < 30:
        return {}, ""
    p, q = row["nauplii"] / before, counts["nauplii"].sum() / full
    gain = 100 * (q - p)
    se = 100 * math.sqrt(max(p * (1 - p), 0.01) / before + max(q * (1 - q), 0.01) / full)
    seen = f"{100 * q:.0f} % at {last:.0f} h, {100 * p:.0f} % at {row['hours']:.0f} h"
    if gain > max(_GAIN, 2 * se):
        return dict.fromkeys(LATE_CAUSES, _LATE), f"{seen}: it hatched on, so the unhatched were late, not dead."
    if gain + 2 * se < 2 * _GAIN:
        return dict.fromkeys(LATE_CAUSES, _DEAD), f"{seen}: hardly any hatched on, so the unhatched are not just late."
    return {}, f"{seen}: not clear whether it hatched on."


def joined(first: dict, second: dict) -> dict:
    """Multiply two sets of factors."""
    return {k: float(np.prod([f.get(k, 1.0) for f in (first, second)])) for k in {*first, *second}}
