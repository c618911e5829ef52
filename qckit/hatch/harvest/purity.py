"""Harvest: purity of a sieve sample, separation between cone and sieve, recovery."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import Estimate, check_confidence, normal_quantile

__all__ = ["PURITY_COLUMNS", "purity_of_samples", "recovery", "separation"]

PURITY_COLUMNS = (
    "sample",
    "hatch",
    "nauplii",
    "umbrella",
    "unhatched",
    "shells",
    "purity_pct",
    "shells_and_cysts_pct",
    "shells_per_1000_nauplii",
)


def purity_of_samples(samples):
    """Purity of each sieve sample: N / (N + U + C + S), and shells per 1000 nauplii.

    Parameters
    ----------
    samples : DataFrame
        Columns of the samples table; rows of the kind "sieve" are used. Stages not counted are taken as none.

    Returns
    -------
    DataFrame, columns ``PURITY_COLUMNS``
        Percentages are NaN where nothing was counted.

    Examples
    --------
    >>> hatch.purity_of_samples(tables.samples[tables.samples["kind"] == "sieve"]).columns[-3:].tolist()
    ['purity_pct', 'shells_and_cysts_pct', 'shells_per_1000_nauplii']
    """
    sieve = samples[samples["kind"] == "sieve"]
    out = pd.DataFrame({"sample": sieve["sample"], "hatch": sieve["hatch"]})
    for name, column in (("nauplii", "nauplii"), ("umbrella", "umbrella"), ("shells", "shells")):
        out[name] = _column(sieve, column).fillna(0)
    out["unhatched"] = _column(sieve, "embryos").fillna(_column(sieve, "cysts")).fillna(0)
    whole = out[["nauplii", "umbrella", "unhatched", "shells"]].sum(axis=1).replace(0, np.nan)
    out["purity_pct"] = 100 * out["nauplii"] / whole
    out["shells_and_cysts_pct"] = 100 * (out["shells"] + out["unhatched"]) / whole
    out["shells_per_1000_nauplii"] = 1000 * out["shells"] / out["nauplii"].replace(0, np.nan)
    return out[list(PURITY_COLUMNS)].reset_index(drop=True)


def separation(cone_counts, sieve_counts, *, confidence=0.95):
    """Share of shells and cysts removed between cone and sieve, with nauplii as the yardstick.

    Parameters
    ----------
    cone_counts, sieve_counts : (float, float)
        Nauplii, and shells plus unhatched cysts, counted in the cone and in the harvest.
    confidence : float

    Returns
    -------
    Estimate
        1 - (waste per nauplius in the harvest) / (waste per nauplius in the cone). [%] Counting alone; below 0 when
        the harvest holds more waste per nauplius than the cone.

    Notes
    -----
    The log of the ratio of ratios has variance 1/a + 1/b + 1/c + 1/d (Woolf 1955, Annals of Human Genetics
    19:251-253), half a count added to each.

    Examples
    --------
    >>> round(float(hatch.separation((310, 368), (610, 96)).value), 1)
    86.7
    """
    check_confidence(confidence)
    (n1, w1), (n2, w2) = cone_counts, sieve_counts
    if not (n1 > 0 and w1 > 0 and n2 > 0):
        return Estimate(math.nan, confidence=confidence, note="Needs nauplii in both counts and waste in the cone.")
    log_ratio = math.log((w2 + 0.5) / (n2 + 0.5)) - math.log((w1 + 0.5) / (n1 + 0.5))
    half = normal_quantile(confidence) * math.sqrt(sum(1 / (v + 0.5) for v in (n1, w1, n2, w2)))
    value = 100 * (1 - (w2 / n2) / (w1 / n1))
    low, high = 100 * (1 - math.exp(log_ratio + half)), 100 * (1 - math.exp(log_ratio - half))
    return Estimate(
        value,
        min(low, value),
        max(high, value),
        n_cones=1,
        confidence=confidence,
        method="log ratio of counts, counting alone",
    )


def recovery(harvested: Estimate, hatched: Estimate):
    """Share of the hatched nauplii that the harvest brought in.

    Parameters
    ----------
    harvested, hatched : Estimate
        Nauplii, both in the same unit (per gram or in all), independent of each other.

    Returns
    -------
    Estimate
        [%] Above 100 points to a wrong volume or count.

    Raises
    ------
    InputError
        No nauplii hatched.

    Examples
    --------
    >>> hatched = hatch.rate_over_cones([98, 105, 101], [0.0005, 0.0005, 0.0005])
    >>> harvested = hatch.rate_over_cones([80, 84, 79], [0.0005, 0.0005, 0.0005])
    >>> round(float(hatch.recovery(harvested, hatched).value), 1)
    79.9
    """
    if not hatched.value > 0:
        raise InputError(f"{hatched.value:g} nauplii hatched, so no recovery can be worked out. Check the counts.")
    value = 100 * harvested.value / hatched.value
    base = Estimate(
        value,
        n_cones=min(harvested.n_cones, hatched.n_cones),
        confidence=harvested.confidence,
        method="ratio, bounds joined on the log scale",
    )
    known = harvested.is_known and hatched.is_known and harvested.low > 0 and hatched.low > 0
    if not known:
        return replace(base, note="An interval of harvest or hatch is not known.")
    down = math.hypot(math.log(harvested.value / harvested.low), math.log(hatched.high / hatched.value))
    up = math.hypot(math.log(harvested.high / harvested.value), math.log(hatched.value / hatched.low))
    return replace(base, low=value * math.exp(-down), high=value * math.exp(up))


def _column(frame, name):
    return frame[name].astype("float64") if name in frame else pd.Series(np.nan, index=frame.index)
