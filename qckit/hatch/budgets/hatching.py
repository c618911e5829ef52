"""Uncertainty budgets of nauplii per gram and hatching percentage: what dominates, and what would shrink it.

First order by JCGM 100:2008 (GUM), section 5.1.2; Monte Carlo by JCGM 101:2008. Both are given, because their agreement
is the check that the first order is good enough. The expanded parts (Student's t for the cones, normal for the rest)
are joined in quadrature: effective degrees of freedom (JCGM 100:2008, G.4) make intervals from two or three cones
narrower than the Monte Carlo, so they are given but not used. The counts enter through the spread between cones, which
holds counting, mixing and the cones' real differences at once; it is also taken apart for the budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit import draw
from qckit.errors import InputError
from qckit.settings import MeasureSettings

__all__ = [
    "BUDGET_COLUMNS",
    "Budget",
    "draw_budget",
    "efficiency_budget",
    "efficiency_parts",
    "percentage_budget",
]

BUDGET_COLUMNS = ("source", "label", "relative_u_pct", "share_pct", "df", "remedy")

SOURCES = {
    "cones": ("real differences between cones and mixing", "More cones; the same air, light and water in each."),
    "counting": ("chance of counting", "More or larger subsamples in each cone."),
    "cone_volume": ("volume of water in the cone", "Fill by weight (1 l of 33 ppt water at 28 °C weighs 1.021 kg)."),
    "subsample_volume": ("volume counted", "Check pipette or chamber by weighing ten fillings of water."),
    "dilution": ("dilution", "Count undiluted, or dilute by weight."),
    "mass": ("mass of cysts", "A balance reading to 1 mg, or more grams."),
    "detection_cyst": ("cysts found by the counter", "More hand counts of this camera's photos beside the counter's."),
    "detection": ("nauplii found by the counter", "More hand counts of this camera's photos beside the counter's."),
}


@dataclass(frozen=True)
class Budget:
    """Nauplii per gram with its standard uncertainty taken apart.

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> budget = hatch.efficiency_budget(test, draws=2000, rng=np.random.default_rng(1))
    >>> bool(budget.low < budget.value < budget.high)
    True
    """

    value: float
    u: float  # combined standard uncertainty, first order
    df: float  # effective degrees of freedom, Welch and Satterthwaite
    low: float
    high: float
    mc_low: float
    mc_high: float
    agreement_pct: float  # largest difference between the bounds of the two ways, percent of the value
    confidence: float
    table: pd.DataFrame = field(repr=False)  # BUDGET_COLUMNS, largest first
    sentence: str = ""


def efficiency_budget(cones, measure=None, *, detection=1.0, detection_u=0.0, confidence=0.95, draws=40_000, rng=None):
    """Work out the budget of nauplii per gram.

    Parameters
    ----------
    cones : DataFrame, shape (k, any)
        Rows of ``cone_metrics``, k at least 2.
    measure : settings.MeasureSettings, optional
        Standard uncertainties of the site's measuring; the defaults when left out. They are taken as common to all
        cones, which is the cautious side.
    detection : float
        Share of the nauplii the counter finds; the result is divided by it.
    detection_u : float
        Standard uncertainty of ``detection``.
    confidence : float
    draws : int
        Of the Monte Carlo.
    rng : Generator, optional
        Seed 0 when left out, so that the same data give the same figures.

    Returns
    -------
    Budget
        The model is mean(N_i f_i) / detection with f_i = D V / (v m_i). In ``table`` the sources' shares of the
        variance add up to 100 %.

    Raises
    ------
    InputError
        Fewer than two cones with a count, volume and mass.

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> hatch.efficiency_budget(test, draws=2000, rng=np.random.default_rng(1)).table.columns.tolist()
    ['source', 'label', 'relative_u_pct', 'share_pct', 'df', 'remedy']
    """
    if measure is None:
        measure = MeasureSettings()
    good = _good_cones(cones)
    if not 0 < detection <= 1.5:
        raise InputError(f"detection is {detection:g} and must lie above 0 and not above 1.5. 1 means all are found.")
    parts = _relative_parts(good, measure, detection, detection_u)
    value = float((good["nauplii"] * good["factor_per_g"]).mean()) / detection
    u_rel = math.sqrt(sum(u**2 for u, _ in parts.values()))
    spread = math.hypot(parts["cones"][0], parts["counting"][0])
    df = (len(good) - 1) * (u_rel / spread) ** 4  # JCGM 100:2008, equation G.2b; the rest is taken as well known
    low, high = _expanded(value, spread, len(good) - 1, math.sqrt(max(u_rel**2 - spread**2, 0)), confidence)
    sample = _monte_carlo(good, parts, value, draws, rng if rng is not None else np.random.default_rng(0))
    tail = 100 * (1 - confidence) / 2
    mc_low, mc_high = (float(v) for v in np.percentile(sample, [tail, 100 - tail]))
    table = _table(parts, u_rel)
    apart = 100 * max(abs(low - mc_low), abs(high - mc_high)) / value
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
        sentence=largest_source(table, u_rel),
    )


def efficiency_parts(cones, measure):
    """Nauplii per gram and its relative standard uncertainties, each with its degrees of freedom.

    Parameters
    ----------
    cones : DataFrame, shape (k, any)
        Rows of ``cone_metrics``, k at least 2.
    measure : settings.MeasureSettings

    Returns
    -------
    (value, parts) : tuple of float and dict
    """
    good = _good_cones(cones)
    return float((good["nauplii"] * good["factor_per_g"]).mean()), _relative_parts(good, measure, 1.0, 0.0)


def _good_cones(cones):
    good = cones.dropna(subset=["nauplii", "factor_per_g"])
    if len(good) < 2 or not good["nauplii"].sum() > 0:
        raise InputError(
            f"{len(good)} cones with nauplii, volume and mass were given; a budget needs two or more, "
            "because one cone cannot show how much cones differ."
        )
    return good


def percentage_budget(cones, *, detection=None, confidence=0.95, draws=40_000, rng=None):
    """Work out the budget of the hatching percentage: cones, counting, and how well each stage is found.

    Parameters
    ----------
    cones : DataFrame, shape (k, any)
        Rows of ``cone_metrics``, k at least 2.
    detection : dict, optional
        Of (share found, its standard uncertainty) for "nauplius" and "cyst" (umbrella stages count with the cysts),
        from a check of the counter against hand counts; both found without error when left out. Volumes and mass
        cancel in the percentage.
    confidence, draws, rng
        As for :func:`efficiency_budget`.

    Returns
    -------
    Budget
        In percent; ``relative_u_pct`` of its table is relative to the percentage.

    Notes
    -----
    The model is H = n / (n + c) with n = N / d_N and c = (U + C) / d_C; first order, dH / d ln d_N = -H (1 - H) and
    dH / d ln d_C = +H (1 - H).

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> budget = hatch.percentage_budget(test, draws=2000, rng=np.random.default_rng(1))
    >>> bool(budget.low < budget.value < budget.high)
    True
    """
    from scipy import special, stats

    found = {"nauplius": (1.0, 0.0), "cyst": (1.0, 0.0), **(detection or {})}
    good = cones.dropna(subset=["nauplii", "full_cysts"])
    good = good[good["full_cysts"] > 0]
    if len(good) < 2 or not 0 < good["nauplii"].sum() < good["full_cysts"].sum():
        raise InputError(
            f"{len(good)} cones with hatched and unhatched cysts were given; a budget needs two or more, "
            "because one cone cannot show how much cones differ."
        )
    (d_n, u_n), (d_c, u_c) = found["nauplius"], found["cyst"]
    share, parts = _percentage_parts(good, found)
    k, room = len(good), share * (1 - share)
    u_rel = math.sqrt(sum(u**2 for u, _ in parts.values()))
    spread = math.hypot(parts["cones"][0], parts["counting"][0])
    common = math.hypot(parts["detection"][0], parts["detection_cyst"][0])
    # on the logit scale, where dH = H (1 - H) d logit, so that the bounds stay inside 0 and 100 %
    level = (1 + confidence) / 2
    reach = math.hypot(float(stats.t.ppf(level, k - 1)) * spread, float(stats.norm.ppf(level)) * common) * share / room
    low, high = special.expit(special.logit(share) - reach), special.expit(special.logit(share) + reach)
    rng = rng if rng is not None else np.random.default_rng(0)
    logit = special.logit(share) + rng.standard_t(k - 1, draws) * spread * share / room
    # shares found are above 0, so log-normal: a normal one of a large uncertainty falls below
    off_n, off_c = (math.sqrt(math.log1p(r * r)) * rng.standard_normal(draws) for r in (u_n / d_n, u_c / d_c))
    logit = logit - off_n + off_c
    mc_low, mc_high = np.percentile(special.expit(logit), [100 * (1 - level), 100 * level])
    apart = 100 * max(abs(low - mc_low), abs(high - mc_high)) / share
    table = _table(parts, u_rel)
    df = (k - 1) * (u_rel / spread) ** 4 if spread > 0 else math.inf
    return Budget(
        value=100 * share,
        u=100 * share * u_rel,
        df=df,
        low=100 * float(low),
        high=100 * float(high),
        mc_low=100 * float(mc_low),
        mc_high=100 * float(mc_high),
        agreement_pct=apart,
        confidence=confidence,
        table=table,
        sentence=largest_source(table, u_rel),
    )


def _percentage_parts(good, found):
    """Mean share hatched, and its relative standard uncertainties, each with its degrees of freedom."""
    (d_n, u_n), (d_c, u_c) = found["nauplius"], found["cyst"]
    n, rest = good["nauplii"].to_numpy(float) / d_n, (good["full_cysts"] - good["nauplii"]).to_numpy(float) / d_c
    each = n / (n + rest)
    share, k = float(each.mean()), len(each)
    room = share * (1 - share)
    total = math.sqrt(float(np.var(each, ddof=1)) / k)
    counting = math.sqrt(room / float(good["full_cysts"].sum()))
    return share, {
        "cones": (math.sqrt(max(0.0, total**2 - counting**2)) / share, k - 1),
        "counting": (counting / share, math.inf),
        "detection": (room * u_n / d_n / share, math.inf),
        "detection_cyst": (room * u_c / d_c / share, math.inf),
    }


def largest_source(table, u_rel):
    """Say which source dominates a budget's table, and what would shrink it."""
    first = table.iloc[0]
    return (
        f"Largest source: {first['label']}, {first['share_pct']:.0f} % of the variance; standard uncertainty "
        f"{100 * u_rel:.1f} %. {first['remedy']}"
    )


def _relative_parts(good, measure, detection, detection_u):
    """Relative standard uncertainties of the mean, each with its degrees of freedom."""
    each = (good["nauplii"] * good["factor_per_g"]).to_numpy(float)
    k, total = len(each), float(good["nauplii"].sum())
    spread2 = float(np.var(each, ddof=1)) / k / each.mean() ** 2
    # the spread over cones already holds the chance of counting; it is never taken below it
    counting2 = 1 / total
    cones2 = max(0.0, spread2 - counting2)
    mass = float(good["cysts_g"].mean())
    return {
        "cones": (math.sqrt(cones2), k - 1),
        "counting": (math.sqrt(counting2), math.inf),
        "cone_volume": (measure.cone_volume_u_pct / 100, math.inf),
        "subsample_volume": (measure.subsample_volume_u_pct / 100, math.inf),
        "dilution": (measure.dilution_u_pct / 100, math.inf),
        "mass": (measure.mass_u_g / mass, math.inf),
        "detection": (detection_u / detection, math.inf),
    }


def _expanded(value, spread, df, common, confidence):
    from scipy import stats

    share = (1 + confidence) / 2
    reach = math.hypot(float(stats.t.ppf(share, df)) * spread, float(stats.norm.ppf(share)) * common)
    return value * math.exp(-reach), value * math.exp(reach)


def _monte_carlo(good, parts, value, draws, rng):
    """Draw every input from its distribution and put it through the model (JCGM 101:2008, 6.4 and 7)."""
    k = len(good)
    spread = math.hypot(parts["cones"][0], parts["counting"][0])
    scaled = rng.standard_t(k - 1, draws) * spread  # JCGM 101:2008, 6.4.9: mean of k readings
    sample = value * np.exp(np.clip(scaled, -50, 50))  # with one degree of freedom a draw can overflow
    for name in ("cone_volume", "dilution"):
        sample = sample * (1 + parts[name][0] * rng.standard_normal(draws))
    for name in ("subsample_volume", "mass", "detection"):
        sample = sample / (1 + parts[name][0] * rng.standard_normal(draws))
    return sample


def _table(parts, u_rel):
    rows = [
        (name, SOURCES[name][0], 100 * u, 100 * u**2 / u_rel**2, df, SOURCES[name][1])
        for name, (u, df) in parts.items()
    ]
    return pd.DataFrame(rows, columns=list(BUDGET_COLUMNS)).sort_values("share_pct", ascending=False, ignore_index=True)


def draw_budget(budget, *, ax=None):
    """Draw the shares of the variance as bars, largest on top.

    Parameters
    ----------
    budget : Budget
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> test = cones[cones["hatch"].isin(["ST-118-A", "ST-118-B", "ST-118-C"])]
    >>> ax = hatch.draw_budget(hatch.efficiency_budget(test, draws=2000, rng=np.random.default_rng(1)))
    >>> ax.get_xlabel()
    'share of the variance [%]'
    """
    ax = draw.new_axes(ax, figsize=(7, 3))
    table = budget.table[budget.table["share_pct"] >= 0.05].iloc[::-1]
    ax.barh(table["label"], table["share_pct"], color=draw.SERIES[0])
    for place, row in enumerate(table.itertuples()):
        ax.annotate(
            f"{row.share_pct:.0f} %  (u {row.relative_u_pct:.1f} %)",
            (row.share_pct, place),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    ax.set(xlabel="share of the variance [%]", xlim=(0, max(table["share_pct"]) * 1.3))
    ax.grid(visible=False, axis="y")
    return ax
