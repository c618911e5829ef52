"""How many cones and subsamples: for a wanted precision, or for a small risk of accepting a bad lot."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals import Spread, check_confidence, joined_dispersion, student_quantile

__all__ = [
    "OrdinaryPlan",
    "Plan",
    "acceptance_probability",
    "draw_operating_curve",
    "operating_curve",
    "plan_for_precision",
    "plan_for_risk",
    "quality_at_acceptance",
    "repeat_chances",
    "subsample_dispersion",
]

_USUAL = Spread(rho=0.004, cv=0.08, df=1e6)
"""Stand-in where a site has no records yet: about 2.5 points between cones at 80 %. Common practice, no source."""


@dataclass(frozen=True)
class OrdinaryPlan:
    """Attribute plan: accept when at most ``most_bad`` of ``n`` inspected are bad.

    Examples
    --------
    >>> hatch.OrdinaryPlan(n=80, most_bad=2)
    OrdinaryPlan(n=80, most_bad=2)
    """

    n: int
    most_bad: int


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


def acceptance_probability(bad_frac, plan, *, lot_size=None, family="binomial"):
    """Probability that an attribute plan accepts.

    Parameters
    ----------
    bad_frac : array_like of float
        True fraction bad. [fraction]
    plan : OrdinaryPlan
    lot_size : int, optional
        With it the hypergeometric is used (fraction bad rounded to whole items).
    family : {"binomial", "poisson"}

    Returns
    -------
    ndarray of float
        The operating characteristic.

    References
    ----------
    Montgomery 2009, Introduction to Statistical Quality Control, 6th ed., section 15.2 (from memory).

    Examples
    --------
    >>> round(float(hatch.acceptance_probability(0.02, hatch.OrdinaryPlan(n=80, most_bad=2))), 3)
    0.784
    """
    from scipy import stats

    bad = np.asarray(bad_frac, float)
    if np.any((bad < 0) | (bad > 1)):
        raise InputError("The fraction bad must lie between 0 and 1. Was it given in percent? Divide by 100.")
    if lot_size is not None:
        return stats.hypergeom.cdf(plan.most_bad, lot_size, np.rint(bad * lot_size).astype(int), plan.n)
    if family == "poisson":
        return stats.poisson.cdf(plan.most_bad, plan.n * bad)
    return stats.binom.cdf(plan.most_bad, plan.n, bad)


def quality_at_acceptance(probability, plan, *, family="binomial"):
    """Fraction bad that an attribute plan accepts with a given probability.

    Parameters
    ----------
    probability : array_like of float
    plan : OrdinaryPlan
    family : {"binomial", "poisson"}

    Returns
    -------
    ndarray of float

    Examples
    --------
    >>> bad = hatch.quality_at_acceptance(0.1, hatch.OrdinaryPlan(n=80, most_bad=2))
    >>> round(float(bad), 3)
    0.065
    """
    from scipy import stats

    if family == "poisson":
        return stats.chi2.ppf(1 - np.asarray(probability, float), 2 * (plan.most_bad + 1)) / (2 * plan.n)
    return stats.beta.ppf(1 - np.asarray(probability, float), plan.most_bad + 1, plan.n - plan.most_bad)


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
    n_cones, n_subsamples, *, hatch_pct=80.0, cysts_per_subsample=140.0, spread=None, confidence=0.95, dispersion=1.0
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
    rho = (spread if known else _USUAL).rho
    counted = n_subsamples * cysts_per_subsample
    share = hatch_pct / 100
    variance = share * (1 - share) * (dispersion + (counted - 1) * rho) / (n_cones * counted)
    if not known and n_cones < 2:
        return math.inf
    reach = (_reaches(n_cones, spread, confidence) + _inward_reaches(n_cones, spread, confidence)) / 2
    return 100 * float(np.mean(reach)) * math.sqrt(variance)


def _reaches(n_cones, spread, confidence):
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


def _inward_reaches(n_cones, spread, confidence):
    """The same of the bound away from the border, the lower one of a good lot: a known spread is its least."""
    reach = _reaches(n_cones, spread, confidence)
    return reach if spread is None else np.maximum(reach, student_quantile(confidence, spread.df + n_cones - 1))


def plan_for_precision(
    half_width,
    *,
    hatch_pct=80.0,
    cysts_per_subsample=140.0,
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


def operating_curve(
    n_cones,
    n_subsamples,
    *,
    min_hatch_pct=75.0,
    hatch_pct=None,
    cysts_per_subsample=140.0,
    spread=None,
    rule="mean",
    confidence=0.95,
    dispersion=1.0,
):
    """Probability that a test accepts a lot, against the lot's true hatching percentage.

    Parameters
    ----------
    n_cones, n_subsamples : int
    min_hatch_pct : float
        The site's minimum. [%]
    hatch_pct : array_like of float, optional
        True values; 21 around the minimum when left out. [%]
    cysts_per_subsample, spread, dispersion
        As for ``half_width_pct``.
    rule : {"mean", "lower bound"}
        Accept when the mean reaches the minimum, or when the lower bound of its interval does.
    confidence : float
        Of that interval.

    Returns
    -------
    DataFrame, columns hatch_pct, accept_prob

    Examples
    --------
    >>> hatch.operating_curve(3, 6, spread=hatch.site_spread(cones)).columns.tolist()
    ['hatch_pct', 'accept_prob']
    """
    from scipy import stats

    if rule not in ("mean", "lower bound"):
        from qckit.errors import unknown_name

        raise unknown_name("rule", rule, ("mean", "lower bound"), where="operating_curve")
    truth = (
        np.linspace(max(1, min_hatch_pct - 12), min(99.5, min_hatch_pct + 12), 49) if hatch_pct is None else hatch_pct
    )
    truth = np.asarray(truth, float)
    known = spread is not None
    counted = n_subsamples * cysts_per_subsample
    share = truth / 100
    rho = (spread if known else _USUAL).rho
    se = np.sqrt(share * (1 - share) * (dispersion + (counted - 1) * rho) / (n_cones * counted))
    shift = (share - min_hatch_pct / 100) / se
    if rule == "mean":
        accept = stats.norm.cdf(shift)
    elif not known and n_cones < 2:
        accept = np.zeros_like(truth)
    else:
        accept = stats.norm.cdf(shift[:, None] - _inward_reaches(n_cones, spread, confidence)).mean(axis=1)
    return pd.DataFrame({"hatch_pct": truth, "accept_prob": accept})


def plan_for_risk(
    bad_hatch_pct,
    good_hatch_pct,
    *,
    min_hatch_pct=75.0,
    buyer_risk=0.10,
    seller_risk=0.10,
    n_subsamples=6,
    max_cones=20,
    **options,
):
    """Fewest cones that seldom accept a bad lot and seldom refuse a good one (accepting on the mean).

    Parameters
    ----------
    bad_hatch_pct, good_hatch_pct : float
        True hatching percentage of a lot that must not, and of one that must be accepted. [%]
    min_hatch_pct : float
        Line that the mean has to reach, between the two. [%]
    buyer_risk, seller_risk : float
        Most allowed probability of accepting the bad, of refusing the good lot.
    n_subsamples, max_cones : int
    **options
        cysts_per_subsample, spread, dispersion.

    Returns
    -------
    dict
        n_cones, accept_bad, accept_good, sentence.

    Raises
    ------
    InputError
        The line does not lie between the two, or ``max_cones`` are not enough.

    Examples
    --------
    >>> plan = hatch.plan_for_risk(65.0, 85.0, spread=hatch.site_spread(cones))
    >>> bool(plan["accept_bad"] <= 0.1)
    True
    """
    if not bad_hatch_pct < min_hatch_pct < good_hatch_pct:
        raise InputError(
            f"The line of {min_hatch_pct:g} % must lie between the bad lot ({bad_hatch_pct:g} %) and the "
            f"good one ({good_hatch_pct:g} %)."
        )
    for cones in range(1, max_cones + 1):
        curve = operating_curve(
            cones, n_subsamples, min_hatch_pct=min_hatch_pct, hatch_pct=[bad_hatch_pct, good_hatch_pct], **options
        )
        bad, good = curve["accept_prob"]
        if bad <= buyer_risk and good >= 1 - seller_risk:
            who = (
                f"{cones} cones of {n_subsamples} subsamples accept"
                if cones > 1
                else (f"One cone of {n_subsamples} subsamples accepts")
            )
            sentence = (
                f"{who} a lot of {bad_hatch_pct:g} % with probability "
                f"{bad:.2f} and one of {good_hatch_pct:g} % with {good:.2f}."
            )
            return {"n_cones": cones, "accept_bad": float(bad), "accept_good": float(good), "sentence": sentence}
    raise InputError(
        f"Even {max_cones} cones do not tell {bad_hatch_pct:g} from {good_hatch_pct:g} % at these risks. "
        "Allow more risk, or make the cones more alike."
    )


def repeat_chances(limits, *, above_pct=8.0, cones=(2, 3, 4), n_subsamples=6, spread=None, dispersion=1.0):
    """How often a test of a good lot ends in "repeat the test", by the number of cones.

    Parameters
    ----------
    limits : settings.LimitSettings
        Minimum, margin and confidence.
    above_pct : float
        How far the lot truly lies above the minimum. [points]
    cones : sequence of int
    n_subsamples, spread, dispersion
        As for :func:`half_width_pct`.

    Returns
    -------
    dict of int to float
        Cones -> probability that the best guess of hatching percentage or nauplii per gram falls below its minimum, or
        the lower bound below it by more than the site's margin; over the luck of the mean and of the cones' agreement.
        The lot stands as far above both minima, and the figure that ends in "repeat" more often is given.

    Examples
    --------
    >>> list(hatch.repeat_chances(tables.settings.limits, cones=(3,), spread=hatch.site_spread(cones)))
    [3]
    """
    share = min(limits.min_hatch_pct + above_pct, 99.0) / 100
    line = limits.min_hatch_pct / 100
    usual = spread if spread is not None else _USUAL
    counted = n_subsamples * 140.0
    room = 1 - limits.equivalence_margin_pct / 100
    found = {}
    for k in cones:
        if k < 2 and spread is None:
            found[k] = 1.0
            continue
        reach = _reaches(k, spread, limits.confidence)
        se = math.sqrt(share * (1 - share) * (dispersion + (counted - 1) * usual.rho) / (k * counted))
        of_share = _normal_below((np.maximum(line, line * room + reach * se) - share) / se).mean()
        se = math.sqrt((usual.cv**2 + dispersion / (counted * share)) / k)  # relative, of nauplii per gram
        above = math.log(share / line)
        of_rate = _normal_below((np.maximum(0.0, math.log(room) + reach * se) - above) / se).mean()
        found[k] = float(max(of_share, of_rate))
    return found


def _normal_below(z):
    from scipy import special

    return special.ndtr(z)


def draw_operating_curve(curves, *, min_hatch_pct=None, ax=None):
    """Draw operating characteristic curves.

    Parameters
    ----------
    curves : dict of str to DataFrame
        Name of the plan -> :func:`operating_curve`.
    min_hatch_pct : float, optional
        The site's minimum, drawn as a line. [%]
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> curve = hatch.operating_curve(3, 6, spread=hatch.site_spread(cones))
    >>> ax = hatch.draw_operating_curve({"3 cones": curve}, min_hatch_pct=75.0)
    >>> ax.get_xlabel()
    'true hatching percentage of the lot [%]'
    """
    from qckit import draw

    ax = draw.new_axes(ax, figsize=(6.5, 4))
    for i, (name, curve) in enumerate(curves.items()):
        marks = {"linestyle": ("-", "--", ":", "-.")[i % 4], "marker": draw.MARKERS[i % 7], "markevery": (2 * i, 6)}
        ax.plot(curve["hatch_pct"], curve["accept_prob"], color=draw.SERIES[i % 7], label=name, **marks)
    if min_hatch_pct is not None:
        draw.reference_line(min_hatch_pct, f"minimum {min_hatch_pct:g} %", ax=ax, horizontal=False)
    ax.set(xlabel="true hatching percentage of the lot [%]", ylabel="probability of accepting", ylim=(-0.02, 1.02))
    ax.legend(fontsize=9)
    return ax
