"""How many cones and subsamples: for a wanted precision, or for a small risk of accepting a bad lot."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import Spread, check_confidence, student_quantile
from qckit.hatch.intervals.width import joined_dispersion

__all__ = ["Plan", "plan_for_precision", "subsample_dispersion"]


USUAL = Spread(rho=0.004, cv=0.08, df=1e6)
"""Stand-in where a site has no records yet: about 2.5 points between cones at 80 %. Common practice, no source."""

USUAL_CYSTS = 140.0
"""Full cysts in a subsample of the standard test, where none is counted yet. Common practice, no source."""


@dataclass(frozen=True)
class Plan:
    """Cones and subsamples, and what they reach.

    Examples
    --------
    >>> plan = hatch.plan_for_precision(5.0, spread=hatch.site_spread(cones))
    >>> plan.n_cones >= 2, plan.half_width_pct <= 5.0
    (True, True)
    """

    n_cones: int
    n_subsamples: int
    half_width_pct: float  # expected half width of the interval of H%, points
    choices: pd.DataFrame = field(repr=False)  # n_cones, n_subsamples, half_width_pct, counted
    sentence: str = ""


def subsample_dispersion(samples):
    """How much more than chance the subsamples of one cone differ (poor mixing, a light gradient).

    Parameters
    ----------
    samples : DataFrame
        Rows of ``sample_metrics``, of as many cones as there are. Subsamples of one cone at one hour are compared.

    Returns
    -------
    float
        Pooled Pearson chi2 / df of hatched among full cysts within cones, never below 1; 1 when nothing is known.

    Examples
    --------
    >>> subsamples = hatch.sample_metrics(tables.samples, tables.hatches, tables.lots)
    >>> bool(hatch.subsample_dispersion(subsamples) >= 1)
    True
    """
    table = samples.dropna(subset=["nauplii", "full_cysts"])
    table = table[table["full_cysts"] > 0]
    hours = table["hours"].astype("float64").round().fillna(-1) if "hours" in table else 0.0
    table = table.assign(at=hours)[["hatch", "at", "nauplii", "full_cysts"]].astype({"nauplii": "float64"})
    sums = table.groupby(["hatch", "at"])[["nauplii", "full_cysts"]].transform("sum")
    share = sums["nauplii"] / sums["full_cysts"]
    size = table.groupby(["hatch", "at"])["nauplii"].transform("size")
    good = (size > 1) & (share > 0) & (share < 1)
    x, n, p = table.loc[good, "nauplii"], table.loc[good, "full_cysts"], share[good]
    df = float((1 - 1 / size[good]).sum())
    return max(1.0, float(((x - n * p) ** 2 / (n * p * (1 - p))).sum()) / df) if df else 1.0


def half_width_pct(
    n_cones,
    n_subsamples,
    *,
    hatch_pct=80.0,
    cysts_per_subsample=USUAL_CYSTS,
    spread=None,
    confidence=0.95,
    dispersion=1.0,
):
    """Expected half width of the interval of the hatching percentage. [points]

    Parameters
    ----------
    n_cones, n_subsamples : int
        Cones (2 or more without a site spread), subsamples in each.
    hatch_pct : float
        Expected. [%]
    cysts_per_subsample : float
        Full cysts counted in one subsample.
    spread : Spread, optional
        The site's own; a stand-in when left out, and then Student's t on the cones alone.
    confidence : float
    dispersion : float
        Of subsamples within a cone, from :func:`subsample_dispersion`; 1: chance alone.
    """
    known = spread is not None
    rho = (spread if known else USUAL).rho
    counted = n_subsamples * cysts_per_subsample
    share = hatch_pct / 100
    variance = share * (1 - share) * (dispersion + (counted - 1) * rho) / (n_cones * counted)
    if not known and n_cones < 2:
        return math.inf
    reach = (reaches(n_cones, spread, confidence) + inward_reaches(n_cones, spread, confidence)) / 2
    return 100 * float(np.mean(reach)) * math.sqrt(variance)


def reaches(n_cones, spread, confidence):
    """Multiples of the standard error that the interval of such a test reaches, over the luck of its cones."""
    from scipy import stats

    df = n_cones - 1
    if df < 1:
        return np.array([student_quantile(confidence, spread.df)])
    ratio = stats.chi2.ppf((np.arange(500) + 0.5) / 500, df) / df  # own mean square over its expectation
    if spread is None:
        return student_quantile(confidence, df) * np.sqrt(ratio)
    square = [joined_dispersion(df * r, df, 1.0, spread.df, confidence) for r in ratio]
    return np.array([student_quantile(confidence, d) * math.sqrt(f) for f, d in square])


def inward_reaches(n_cones, spread, confidence):
    """The same of the bound away from the border, the lower one of a good lot: a known spread is its least."""
    reach = reaches(n_cones, spread, confidence)
    return reach if spread is None else np.maximum(reach, student_quantile(confidence, spread.df + n_cones - 1))


def plan_for_precision(
    half_width,
    *,
    hatch_pct=80.0,
    cysts_per_subsample=USUAL_CYSTS,
    spread=None,
    confidence=0.95,
    dispersion=1.0,
    max_cones=12,
    max_subsamples=12,
):
    """Fewest cones, then fewest subsamples, whose expected interval is narrow enough.

    Parameters
    ----------
    half_width : float
        Wanted half width of the interval of the hatching percentage. [points]
    hatch_pct, cysts_per_subsample, spread, confidence, dispersion
        As for ``half_width_pct``.
    max_cones, max_subsamples : int

    Returns
    -------
    Plan
        ``choices`` lists, for each number of cones, the fewest subsamples that do.

    Raises
    ------
    InputError
        No plan up to the limits is precise enough.

    Examples
    --------
    >>> hatch.plan_for_precision(5.0, hatch_pct=80.0).half_width_pct <= 5.0
    True
    """
    check_confidence(confidence)
    if not half_width > 0:
        raise InputError(f"half_width is {half_width:g} points and must be above 0.")
    options = {
        "hatch_pct": hatch_pct,
        "cysts_per_subsample": cysts_per_subsample,
        "spread": spread,
        "confidence": confidence,
        "dispersion": dispersion,
    }
    rows = []
    for cones in range(1, max_cones + 1):
        for subsamples in range(1, max_subsamples + 1):
            width = half_width_pct(cones, subsamples, **options)
            if width <= half_width:
                rows.append((cones, subsamples, width, cones * subsamples))
                break
    choices = pd.DataFrame(rows, columns=["n_cones", "n_subsamples", "half_width_pct", "counted"])
    if not len(choices):
        best = half_width_pct(max_cones, max_subsamples, **options)
        raise InputError(
            f"No plan up to {max_cones} cones of {max_subsamples} subsamples reaches ± {half_width:g} points; the "
            f"largest gives ± {best:.1f}. Ask for less, or make the cones more alike."
        )
    first = choices.iloc[0]
    whose = "this room's own" if spread is not None else "a usual"
    sentence = (
        f"{first['n_cones']:.0f} cones with {first['n_subsamples']:.0f} subsamples each give "
        f"± {first['half_width_pct']:.1f} points at {hatch_pct:g} %, with {whose} spread between cones."
    )
    return Plan(int(first["n_cones"]), int(first["n_subsamples"]), float(first["half_width_pct"]), choices, sentence)
