"""Uncertainty budgets of what follows from the counts: output, harvest purity, separation, recovery.

As in :mod:`qckit.hatch.budgets.hatching`: first order by JCGM 100:2008, section 5.1.2, and Monte Carlo by JCGM
101:2008, given side by side with how far their bounds lie apart.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.budgets.hatching import (
    BUDGET_COLUMNS,
    SOURCES,
    Budget,
    efficiency_parts,
    largest_source,
    percentage_budget,
)
from qckit.hatch.harvest.purity import purity_of_samples
from qckit.settings import MeasureSettings

__all__ = ["output_budget", "purity_budget", "recovery_budget", "separation_budget"]

_LABELS = {
    **SOURCES,
    "dry_weight": ("dry weight of a nauplius", "Weigh a few hundred of this lot's nauplii, dried, on a fine balance."),
    "cone_nauplii": ("nauplii counted in the cone", "Count more subsamples of the cone."),
    "cone_waste": ("shells and cysts counted in the cone", "Count more subsamples of the cone."),
    "sieve_nauplii": ("nauplii counted on the sieve", "Count a larger sieve sample."),
    "sieve_waste": ("shells and cysts counted on the sieve", "Count a larger sieve sample: few are left to see."),
    "harvests": ("real differences between harvests", "The same settling time, screen and rinsing at each harvest."),
    "harvest": ("subsamples of the harvest", "More subsamples of the harvest, well mixed."),
    "harvest_volume": ("volume of the harvest", "Weigh the harvest instead of reading a mark."),
    "harvest_subsample": ("volume counted of the harvest", "Check pipette or chamber by weighing ten fillings."),
}


_OF_HARVESTS = {
    "cones": _LABELS["harvests"],
    "counting": ("chance of counting", "Count a larger sieve sample."),
}


def output_budget(cones, dry_weight_ug, measure=None, *, confidence=0.95, draws=40_000, rng=None):
    """Budget of the hatching output: nauplii per gram times the dry weight of one.

    Parameters
    ----------
    cones : DataFrame, shape (k, any)
        Rows of ``cone_metrics``, k at least 2.
    dry_weight_ug : float
        Of one nauplius. [µg]
    measure : settings.MeasureSettings, optional
        Its ``dry_weight_u_pct`` is the relative standard uncertainty of the dry weight.
    confidence, draws, rng
        As for :func:`qckit.hatch.efficiency_budget`.

    Returns
    -------
    Budget
        [mg/g]

    Raises
    ------
    InputError
        Fewer than two cones, or no dry weight.

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> budget = hatch.output_budget(test, 2.4, draws=2000, rng=np.random.default_rng(1))
    >>> bool(budget.value > 0)
    True
    """
    measure = measure or MeasureSettings()
    if not (dry_weight_ug is not None and dry_weight_ug > 0):
        raise InputError(f"dry_weight_ug is {dry_weight_ug!r} and must be above 0 µg. Write it into the lot's row.")
    value, parts = efficiency_parts(cones, measure)
    parts["dry_weight"] = (measure.dry_weight_u_pct / 100, math.inf)
    return _product(value * dry_weight_ug / 1000, parts, confidence, draws, rng)


def purity_budget(samples, *, detection=None, confidence=0.95, draws=40_000, rng=None):
    """Budget of harvest purity over harvests.

    Parameters
    ----------
    samples : DataFrame
        Rows of the samples table; those of the kind "sieve" of two harvests or more.
    detection : dict, optional
        (share found, its standard uncertainty) of "nauplius" and of "cyst", which stands for all else.
    confidence, draws, rng
        As for :func:`qckit.hatch.percentage_budget`.

    Returns
    -------
    Budget
        [%] Harvests take the place of cones.

    Raises
    ------
    InputError
        Fewer than two harvests with nauplii and waste.

    Examples
    --------
    >>> sieve = tables.samples[tables.samples["kind"] == "sieve"].head(20)
    >>> bool(0 < hatch.purity_budget(sieve, draws=2000, rng=np.random.default_rng(1)).value <= 100)
    True
    """
    table = purity_of_samples(samples)
    sums = table.groupby("hatch")[["nauplii", "umbrella", "unhatched", "shells"]].sum()
    frame = pd.DataFrame({"nauplii": sums["nauplii"], "full_cysts": sums.sum(axis=1)})
    if len(frame) < 2:
        raise InputError(
            f"{len(frame)} harvests with a sieve sample were given; a budget of purity needs two or more, "
            "because one harvest cannot show how much they differ."
        )
    found = percentage_budget(frame, detection=detection, confidence=confidence, draws=draws, rng=rng)
    table = found.table.copy()
    for source, (label, remedy) in _OF_HARVESTS.items():
        table.loc[table["source"] == source, ["label", "remedy"]] = [label, remedy]
    return replace(found, table=table, sentence=largest_source(table, found.u / found.value))


def separation_budget(cone_counts, sieve_counts, *, confidence=0.95, draws=40_000, rng=None):
    """Budget of the share of shells and cysts removed between cone and sieve.

    Parameters
    ----------
    cone_counts, sieve_counts : array_like of float, shape (2,) or (k, 2)
        Nauplii, and shells plus unhatched cysts, counted in the cone and in the harvest; a row for each harvest, so
        that what harvests differ by beyond counting is in the budget. One harvest cannot show it.
    confidence, draws, rng
        As for :func:`qckit.hatch.efficiency_budget`.

    Returns
    -------
    Budget
        [%] The budget is that of the share left, (w2 / n2) / (w1 / n1); value and bounds are 100 minus it.

    Raises
    ------
    InputError
        Nothing to compare with in the cone, or no nauplii in the harvest.

    Examples
    --------
    >>> round(float(hatch.separation_budget((310, 368), (610, 96), draws=2000).value))
    87
    """
    cone, sieve = (np.asarray(v, float).reshape(-1, 2) for v in (cone_counts, sieve_counts))
    (n1, w1), (n2, w2) = (v.sum(axis=0).tolist() for v in (cone, sieve))
    if not (n1 > 0 and w1 > 0 and n2 > 0):
        raise InputError(
            f"{n1:g} nauplii and {w1:g} shells and cysts in the cone, {n2:g} nauplii on the sieve: a "
            "separation needs all three above 0."
        )
    counts = {"cone_nauplii": n1, "cone_waste": w1, "sieve_nauplii": n2, "sieve_waste": w2}
    parts = {name: (1 / math.sqrt(count + 0.5), math.inf) for name, count in counts.items()}
    if len(cone) > 1:
        parts["harvests"] = _between_harvests(cone + 0.5, sieve + 0.5)
    left = _product(100 * (w2 + 0.5) / (n2 + 0.5) / ((w1 + 0.5) / (n1 + 0.5)), parts, confidence, draws, rng)
    value = 100 * (1 - (w2 / n2) / (w1 / n1))
    return Budget(
        value=value,
        u=left.u,
        df=left.df,
        low=100 - left.high,
        high=100 - left.low,
        mc_low=100 - left.mc_high,
        mc_high=100 - left.mc_low,
        agreement_pct=left.agreement_pct,
        confidence=confidence,
        table=left.table,
        sentence=left.sentence,
    )


def _between_harvests(cone, sieve):
    """Standard uncertainty that differences of harvests beyond counting leave in their mean log share left, and df."""
    left = np.log(sieve[:, 1] / sieve[:, 0] / (cone[:, 1] / cone[:, 0]))
    counting = float((1 / cone + 1 / sieve).sum(axis=1).mean())
    k = len(left)
    return math.sqrt(max(float(np.var(left, ddof=1)) - counting, 0.0) / k), k - 1


def recovery_budget(
    harvest_counts, harvest_factor, cones, cysts_g, measure=None, *, confidence=0.95, draws=40_000, rng=None
):
    """Budget of the share of the hatched nauplii that the harvest brought in.

    Parameters
    ----------
    harvest_counts : array_like of float, shape (m,)
        Nauplii in equal subsamples of the harvest, m at least 2.
    harvest_factor : float
        Volume of the harvest / volume of one subsample.
    cones : DataFrame, shape (k, any)
        Rows of ``cone_metrics`` of the hatches harvested together, k at least 2.
    cysts_g : float
        Grams incubated in all. [g]
    measure : settings.MeasureSettings, optional
    confidence, draws, rng
        As for :func:`qckit.hatch.efficiency_budget`.

    Returns
    -------
    Budget
        [%] Volumes of cone and harvest are measured with the same relative uncertainty, each on its own.

    Raises
    ------
    InputError
        Fewer than two subsamples of the harvest or two cones.

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> grams = float(test["cysts_g"].sum())
    >>> budget = hatch.recovery_budget([160, 158, 162], 8000, test, grams, draws=2000)
    >>> bool(budget.value > 0)
    True
    """
    measure = measure or MeasureSettings()
    counts = np.asarray(harvest_counts, float)
    if len(counts) < 2 or not counts.sum() > 0:
        raise InputError(
            f"{len(counts)} subsamples of the harvest with {counts.sum():g} nauplii were given; a budget "
            "of recovery needs two or more with nauplii, because one cannot show how well it was "
            "mixed."
        )
    value, parts = efficiency_parts(cones, measure)
    u_count = float(np.std(counts, ddof=1)) / math.sqrt(len(counts)) / counts.mean()
    parts["harvest"] = (max(u_count, 1 / math.sqrt(counts.sum())), len(counts) - 1)
    parts["harvest_volume"] = (measure.cone_volume_u_pct / 100, math.inf)
    parts["harvest_subsample"] = (measure.subsample_volume_u_pct / 100, math.inf)
    return _product(100 * counts.mean() * harvest_factor / (value * cysts_g), parts, confidence, draws, rng)


def _product(value, parts, confidence, draws, rng):
    """Budget of a product of factors, each with a relative standard uncertainty and its degrees of freedom."""
    from scipy import stats

    level = (1 + confidence) / 2
    u_rel = math.sqrt(sum(u**2 for u, _ in parts.values()))
    groups = _groups(parts)
    reach = math.sqrt(sum((float(stats.t.ppf(level, df)) * u) ** 2 for u, df in groups))
    finite = sum(u**4 / df for u, df in groups if math.isfinite(df))
    rng = rng if rng is not None else np.random.default_rng(0)
    drawn = np.zeros(draws)
    for u, df in groups:
        drawn += u * (rng.standard_t(df, draws) if math.isfinite(df) else rng.standard_normal(draws))
    low, high = value * math.exp(-reach), value * math.exp(reach)
    tail = 100 * (1 - level)
    mc_low, mc_high = (float(v) for v in np.percentile(value * np.exp(np.clip(drawn, -50, 50)), [tail, 100 - tail]))
    apart = 100 * max(abs(low - mc_low), abs(high - mc_high)) / abs(value)
    rows = [
        (name, _LABELS[name][0], 100 * u, 100 * u**2 / u_rel**2, df, _LABELS[name][1])
        for name, (u, df) in parts.items()
        if u > 0
    ]
    table = pd.DataFrame(rows, columns=list(BUDGET_COLUMNS)).sort_values(
        "share_pct", ascending=False, ignore_index=True
    )
    largest = largest_source(table, u_rel)
    df = u_rel**4 / finite if finite > 0 else math.inf
    return Budget(
        value=value,
        u=value * u_rel,
        df=df,
        low=low,
        high=high,
        mc_low=mc_low,
        mc_high=mc_high,
        agreement_pct=apart,
        confidence=confidence,
        table=table,
        sentence=largest,
    )


def _groups(parts):
    """Join what the spread over cones shows at once (cones and counting), and all that is well known."""
    parts = dict(parts)
    groups = []
    if "cones" in parts:
        cones, counting = parts.pop("cones"), parts.pop("counting")
        groups.append((math.hypot(cones[0], counting[0]), cones[1]))
    groups += [(u, df) for u, df in parts.values() if math.isfinite(df)]
    groups.append((math.sqrt(sum(u**2 for u, df in parts.values() if not math.isfinite(df))), math.inf))
    return groups
