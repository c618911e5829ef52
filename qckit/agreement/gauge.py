"""People against people: how much of the spread of a count comes from who counted, and from counting again."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

import numpy as np

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import student_quantile

__all__ = ["GaugeStudy", "gauge_study", "say_gauge"]

# Factors of the average-and-range method, 1/d2*, by number of trials, appraisers, parts.
# AIAG, Measurement Systems Analysis, 4th ed.
_K1 = {2: 0.8862, 3: 0.5908}
_K2 = {2: 0.7071, 3: 0.5231}
_K3 = {2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 6: 0.3742, 7: 0.3534, 8: 0.3375, 9: 0.3249, 10: 0.3146}


@dataclass(frozen=True)
class GaugeStudy:
    """Standard deviations of a crossed study, in the unit of the value.

    ``repeatability`` one person counting the same photo again; ``reproducibility`` person to person;
    ``interaction`` persons differing by photo (0 when pooled); ``gauge`` all of these together; ``part`` photo to
    photo; ``total`` everything. ``ndc`` is how many classes of photos the counting can tell apart. Low and high
    bound ``gauge`` at ``confidence``. ``df`` are the degrees of freedom of the repeatability.

    Examples
    --------
    >>> frame = pd.DataFrame({"photo": list("aabbccdd") * 2, "counter": ["op1"] * 8 + ["op2"] * 8})
    >>> frame["value"] = [80, 81, 84, 83, 90, 91, 77, 78, 82, 81, 85, 84, 92, 91, 78, 79]
    >>> study = agreement.gauge_study(frame)
    >>> study.n_parts, study.n_appraisers, study.n_trials
    (4, 2, 2)
    """

    n_parts: int
    n_appraisers: int
    n_trials: int
    repeatability: float
    reproducibility: float
    interaction: float
    gauge: float
    gauge_low: float
    gauge_high: float
    part: float
    total: float
    gauge_pct: float
    ndc: int
    ndc_exact: float
    interaction_p: float
    pooled: bool
    confidence: float
    method: str
    df: float

    def to_frame(self):
        """Return one tidy row."""
        import pandas as pd

        return pd.DataFrame([asdict(self)])


def _cube(frame, part, appraiser, value):
    """Return the values as (parts, appraisers, trials), refusing a study that is not balanced."""
    for column in (part, appraiser, value):
        if column not in frame.columns:
            raise InputError(f"the study has no column {column!r}. Found: {', '.join(map(str, frame.columns))}.")
    data = frame[[part, appraiser, value]].dropna()
    counts = data.groupby([part, appraiser], sort=True).size().unstack(fill_value=0)
    if counts.shape[0] < 2 or counts.shape[1] < 2:
        raise InputError(
            f"the study has {counts.shape[0]} photo(s) and {counts.shape[1]} person(s); it needs at least "
            "2 of each. Let another person count the same photos."
        )
    n_trials = int(counts.to_numpy().max())
    if (counts.to_numpy() != n_trials).any():
        where = counts.stack()
        short = where[where < n_trials].index[0]
        raise InputError(
            f"photo {short[0]} was counted {int(where[short])} time(s) by {short[1]} and {n_trials} times elsewhere; "
            "every person must count every photo equally often. Add the missing count or leave that photo out."
        )
    if n_trials < 2:
        raise InputError(
            "every photo was counted once by each person; counting again is what shows repeatability. "
            "Let each person count each photo at least twice."
        )
    ordered = data.sort_values([part, appraiser], kind="stable")
    return ordered[value].to_numpy(float).reshape(*counts.shape, n_trials)


def gauge_study(
    frame, *, part="photo", appraiser="counter", value="value", method="anova", pool_above=0.25, confidence=0.95
) -> GaugeStudy:
    """Repeatability and reproducibility from a crossed study (every person counts every photo again).

    Parameters
    ----------
    frame : DataFrame, shape (parts x appraisers x trials, any)
        One row per count. Rows with a missing value are left out before the check for balance.
    part, appraiser, value : str
        Columns holding the photo, the person, and the figure (a count, or H%).
    method : {"anova", "range"}
        Analysis of variance, or averages and ranges (2 or 3 trials, 2 or 3 persons, 2 to 10 photos).
    pool_above : float
        The interaction is pooled with the error when its p is above this; 0 always pools, 1 never does.
    confidence : float
        Of the gauge's interval (ANOVA only), between 0 and 1.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    InputError
        Missing columns, an unbalanced study, fewer than 2 photos, persons or trials, or a size for which the range
        method has no factor.

    Notes
    -----
    Negative variance estimates are set to 0. ``ndc = 1.41 part / gauge``, truncated. The interval of the gauge is the
    one of a sum of mean squares by Satterthwaite's approximation.

    References
    ----------
    AIAG, Measurement Systems Analysis, 4th ed. (2010). Graybill FA, Wang CM (1980) J. Am. Stat. Assoc.
    75:869-873.

    Examples
    --------
    >>> frame = pd.DataFrame({"photo": list("aabbccdd") * 2, "counter": ["op1"] * 8 + ["op2"] * 8})
    >>> frame["value"] = [80, 81, 84, 83, 90, 91, 77, 78, 82, 81, 85, 84, 92, 91, 78, 79]
    >>> round(float(agreement.gauge_study(frame).repeatability), 2)
    0.6
    """
    x = _cube(frame, part, appraiser, value)
    if method == "range":
        return _by_ranges(x, confidence)
    if method != "anova":
        raise InputError(f"unknown method {method!r}. Known: anova, range.")
    return _by_anova(x, pool_above, confidence)


def anova_table(x) -> dict:
    """Sums of squares and degrees of freedom of a balanced crossed study, shape (parts, appraisers, trials)."""
    p, a, t = x.shape
    grand = x.mean()
    ss_part = a * t * ((x.mean(axis=(1, 2)) - grand) ** 2).sum()
    ss_appraiser = p * t * ((x.mean(axis=(0, 2)) - grand) ** 2).sum()
    ss_cell = t * ((x.mean(axis=2) - grand) ** 2).sum()
    ss_error = ((x - x.mean(axis=2, keepdims=True)) ** 2).sum()
    return {
        "part": (ss_part, p - 1),
        "appraiser": (ss_appraiser, a - 1),
        "interaction": (max(ss_cell - ss_part - ss_appraiser, 0.0), (p - 1) * (a - 1)),
        "error": (ss_error, p * a * (t - 1)),
    }


def _by_anova(x, pool_above, confidence):
    from scipy import stats

    p, a, t = x.shape
    table = anova_table(x)
    ms = {name: ss / df for name, (ss, df) in table.items()}
    ratio = ms["interaction"] / ms["error"] if ms["error"] > 0 else math.nan
    p_value = float(stats.f.sf(ratio, table["interaction"][1], table["error"][1])) if ms["error"] > 0 else math.nan
    pooled = not p_value <= pool_above
    if pooled:
        df_error = table["interaction"][1] + table["error"][1]
        error = (table["interaction"][0] + table["error"][0]) / df_error
        below, interaction = error, 0.0
    else:
        df_error, error, below = table["error"][1], ms["error"], ms["interaction"]
        interaction = max((ms["interaction"] - ms["error"]) / t, 0.0)
    appraiser = max((ms["appraiser"] - below) / (p * t), 0.0)
    parts = max((ms["part"] - below) / (a * t), 0.0)
    # gauge variance as a sum of mean squares: weights of appraiser, interaction (or pooled error), error
    if pooled:
        pieces = [(1 / (p * t), ms["appraiser"], a - 1), (1 - 1 / (p * t), error, df_error)]
    else:
        pieces = [
            (1 / (p * t), ms["appraiser"], a - 1),
            ((1 - 1 / p) / t, ms["interaction"], table["interaction"][1]),
            (1 - 1 / t, error, df_error),
        ]
    low, high = _modified_large_sample(pieces, confidence)
    variances = {"error": error, "appraiser": appraiser, "interaction": interaction, "part": parts}
    return _study(
        x,
        variances,
        bounds=(low, high),
        p_value=p_value,
        pooled=pooled,
        confidence=confidence,
        method="analysis of variance" + (", interaction pooled" if pooled else ""),
        df=df_error,
    )


def _modified_large_sample(pieces, confidence):
    """Bounds of the root of a sum of mean squares with positive weights (Graybill and Wang 1980).

    Satterthwaite's approximation holds only 92 % with three people, whose mean square has two degrees of freedom. For a
    single mean square these bounds are the exact ones of chi square.
    """
    from scipy import stats

    total = sum(w * m for w, m, _ in pieces)
    if total <= 0:
        return math.nan, math.nan
    tail = (1 - confidence) / 2
    down = sum(((1 - df / stats.chi2.isf(tail, df)) * w * m) ** 2 for w, m, df in pieces)
    up = sum(((df / stats.chi2.ppf(tail, df) - 1) * w * m) ** 2 for w, m, df in pieces)
    return math.sqrt(max(total - math.sqrt(down), 0.0)), math.sqrt(total + math.sqrt(up))


def _study(x, variances, bounds, p_value, pooled, confidence, method, df):
    error, appraiser, interaction, parts = (variances[k] for k in ("error", "appraiser", "interaction", "part"))
    gauge = error + appraiser + interaction
    total = gauge + parts
    ndc = 1.41 * math.sqrt(parts / gauge) if gauge > 0 else math.inf
    return GaugeStudy(
        *x.shape,
        repeatability=math.sqrt(error),
        reproducibility=math.sqrt(appraiser),
        interaction=math.sqrt(interaction),
        gauge=math.sqrt(gauge),
        gauge_low=bounds[0],
        gauge_high=bounds[1],
        part=math.sqrt(parts),
        total=math.sqrt(total),
        gauge_pct=100 * math.sqrt(gauge / total) if total > 0 else math.nan,
        ndc=int(min(ndc, 10**6)),
        ndc_exact=ndc,
        interaction_p=p_value,
        pooled=pooled,
        confidence=confidence,
        method=method,
        df=df,
    )


def _by_ranges(x, confidence):
    p, a, t = x.shape
    for n, factors, what in ((t, _K1, "trials"), (a, _K2, "persons"), (p, _K3, "photos")):
        if n not in factors:
            raise InputError(
                f"the range method has no factor for {n} {what} (it has {min(factors)} to "
                f"{max(factors)}). Use method='anova'."
            )
    equipment = float(np.ptp(x, axis=2).mean()) * _K1[t]
    difference = float(np.ptp(x.mean(axis=(0, 2))))
    person = math.sqrt(max((difference * _K2[a]) ** 2 - equipment**2 / (p * t), 0.0))
    parts = float(np.ptp(x.mean(axis=(1, 2)))) * _K3[p]
    return _study(
        x,
        {"error": equipment**2, "appraiser": person**2, "interaction": 0.0, "part": parts**2},
        bounds=(math.nan, math.nan),
        p_value=math.nan,
        pooled=True,
        confidence=confidence,
        method="averages and ranges",
        df=0.9 * p * a * (t - 1),  # of ranges of two or three (Patnaik 1950, Biometrika 37:78-87, from memory)
    )


def say_gauge(study: GaugeStudy, *, unit="points of H%") -> list[str]:
    """Say what a study of people means for the figure they count.

    Parameters
    ----------
    study : GaugeStudy
    unit : str
        Unit of the value, in words.

    Returns
    -------
    list of str
        Sentences with the numbers in them. The bounds of 10 and 30 % are those of AIAG (2010). Distances are those of
        a prediction: Student's quantile on the study's degrees of freedom takes the place of 1.96, as a small study
        knows its standard deviations badly (Hahn and Meeker 1991, Statistical Intervals, chapter 4, from memory). The
        people of the study are taken as they are: two or three tell next to nothing of how far a further one lies off.

    Examples
    --------
    >>> frame = pd.DataFrame({"photo": list("aabbccdd") * 2, "counter": ["op1"] * 8 + ["op2"] * 8})
    >>> frame["value"] = [80, 81, 84, 83, 90, 91, 77, 78, 82, 81, 85, 84, 92, 91, 78, 79]
    >>> len(agreement.say_gauge(agreement.gauge_study(frame))) > 0
    True
    """
    apart = student_quantile(0.95, study.df) * math.sqrt(2)
    lines = [
        f"Two counts of the same photo by the same person lie within {apart * study.repeatability:.1f} {unit} of each "
        "other 95 times in 100.",
        f"Two counts of the same photo by two of these {study.n_appraisers} people lie within "
        f"{apart * study.gauge:.1f} {unit} of each other 95 times in 100; somebody else may lie further off.",
    ]
    if study.reproducibility > study.repeatability:
        lines.append(
            "People differ from each other more than from themselves: agree on what counts as which stage, "
            "with example photos, before counting more."
        )
    if study.gauge_pct > 30:
        lines.append(
            f"Counting makes {study.gauge_pct:.0f} % of the spread seen (over 30 %): differences between "
            "these photos cannot be trusted to one person's single count."
        )
    elif study.gauge_pct > 10:
        lines.append(
            f"Counting makes {study.gauge_pct:.0f} % of the spread seen (10 to 30 %): usable, worth improving."
        )
    else:
        lines.append(f"Counting makes {study.gauge_pct:.0f} % of the spread seen (under 10 %): good.")
    return lines
