"""Which of two lots hatches faster, in one model: one shape, each lot its own ceiling and its own place in time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import normal_quantile, student_quantile
from qckit.hatch.rate.average import OPEN
from qckit.hatch.rate.fit import intervals_from_counts
from qckit.hatch.rate.models import (
    MODELS,
    Fit,
    counts_dispersion,
    covariance_at,
    likelihood_of,
    minimise,
    place_of_cone,
)
from qckit.log_odds import expit
from qckit.showing import InWords

__all__ = ["SpeedComparison", "compare_rates"]


@dataclass(frozen=True, repr=False)
class SpeedComparison(InWords):
    """Hours of one lot over hours of another, at every share hatched.

    Examples
    --------
    >>> new = hatch.time_course(tables.samples, tables.hatches, "K-124")
    >>> old = hatch.time_course(tables.samples, tables.hatches, "K-118")
    >>> hatch.compare_rates(new, old, lot="K-124", other="K-118").lot
    'K-124'
    """

    lot: str
    other: str
    ratio: float  # below 1: the lot is faster
    low: float
    high: float
    confidence: float
    verdict: str  # faster, slower, cannot tell
    smallest_pct: float  # difference that would have been seen in four of five such tests
    weights: dict  # shape -> Akaike weight

    def _in_words(self) -> dict:
        span = f"{100 * self.confidence:g} % interval"
        rows = [("ratio of hours", f"{self.ratio:.3g}", f"{self.low:.3g} to {self.high:.3g}")]
        return {"title": self.sentence, "heads": ("", "value", span), "rows": rows}

    @property
    def sentence(self) -> str:
        """Which is faster, by how much, and what could have been missed."""
        apart = f"{100 * abs(self.ratio - 1):.0f} %"
        bounds = f"{100 * self.low:.0f} to {100 * self.high:.0f} % of its hours"
        if self.verdict == "cannot tell":
            return (
                f"Lot {self.lot} is not shown to be faster or slower than {self.other} ({bounds}); a difference of "
                f"{self.smallest_pct:.0f} % would have shown in four of five such tests."
            )
        return f"Lot {self.lot} is {apart} {self.verdict} than {self.other} ({bounds})."


def compare_rates(course, other_course, *, lot, other, confidence=0.95):
    """Compare two lots' hatching speeds in one accelerated-time model.

    Parameters
    ----------
    course, other_course : DataFrame
        From :func:`hatch.time_course`, each of one lot; four hours or more.
    lot, other : str
        Names.
    confidence : float

    Returns
    -------
    SpeedComparison

    Raises
    ------
    InputError
        A lot has fewer than four hours, nothing hatched, or the counts leave open when.

    Notes
    -----
    F(t / e) with one slope for both, e and the ceiling each its own: e / e_other is the ratio of their times at every
    share (accelerated failure times; Collett 2015, Modelling Survival Data in Medical Research, 3rd ed., chapter 6,
    from memory), averaged over six shapes. Cones that are early or late widen it (:func:`joined_reach2`).

    Examples
    --------
    >>> new = hatch.time_course(tables.samples, tables.hatches, "K-124")
    >>> old = hatch.time_course(tables.samples, tables.hatches, "K-118")
    >>> bool(hatch.compare_rates(new, old, lot="K-124", other="K-118").ratio > 0)
    True
    """
    both = [_of_lot(c, name) for c, name in ((course, lot), (other_course, other))]
    fits = [_fit(model, [b["all"] for b in both]) for model in MODELS]
    fits = [f for f in fits if math.isfinite(f["var"])]
    if not fits:
        raise _open(lot, other)
    best = max(fits, key=lambda f: f["loglik"])
    places = [_places(best, i, b["timed"]) for i, b in enumerate(both)]
    factor = float(
        np.average(
            [counts_dispersion(_as_fit(best, i), b["courses"], places[i]) for i, b in enumerate(both)],
            weights=[len(b["course"]) for b in both],
        )
    )
    loglik = np.array([f["loglik"] for f in fits]) / factor
    weight = np.exp(loglik - loglik.max())
    weight = weight / weight.sum()
    ratio = np.array([f["log_ratio"] for f in fits])
    middle = float(weight @ ratio)
    counting = float(weight @ [f["var"] * factor for f in fits])
    variance = counting + float(weight @ (ratio - middle) ** 2)
    reach2 = normal_quantile(confidence) ** 2 * variance
    shifts = [[place[1] for place in mine if place is not None] for mine in places]
    if all(len(mine) > 1 for mine in shifts):
        squares = [np.var(mine, ddof=1) for mine in shifts]
        df = [len(mine) - 1 for mine in shifts]
        pooled = float(np.average(squares, weights=df)) * sum(1 / len(mine) for mine in shifts)
        reach2 = joined_reach2(reach2, pooled, counting, sum(df), confidence)
    reach = math.sqrt(reach2)
    if reach > OPEN:  # the lots' curves rise between two readings
        raise _open(lot, other)
    low, high = math.exp(middle - reach), math.exp(middle + reach)
    verdict = "faster" if high < 1 else "slower" if low > 1 else "cannot tell"
    se = reach / normal_quantile(confidence)
    smallest = 100 * math.expm1(reach + 0.8416 * se)  # 0.8416: normal quantile of 80 % power
    weights = {f["model"]: float(w) for f, w in zip(fits, weight, strict=True)}
    return SpeedComparison(
        lot=lot,
        other=other,
        ratio=math.exp(middle),
        low=low,
        high=high,
        confidence=confidence,
        verdict=verdict,
        smallest_pct=smallest,
        weights=weights,
    )


def joined_reach2(counted, pooled, counting, df, confidence=0.95):
    """Squared reach that joins what counting gives with what cones were seen to differ by.

    Parameters
    ----------
    counted : float
        Squared reach of counting and shape alone.
    pooled : float
        Variance of the difference by how early or late the cones of each lot were; counting is in it too.
    counting : float
        Variance that counting alone gives it, the least that it can be.
    df : int
        Degrees of freedom of ``pooled``: cones less two.
    confidence : float

    Notes
    -----
    ``0.3 counted + t^2 max(pooled - s counting, 0)``, s = 0.15 and 0.1 with two degrees of freedom. Worked out, not
    fitted to any course: with a normal difference and a chi-square ``pooled`` it holds 94.7 to 96.2 % at every true
    variance from that of counting alone upwards, with 2 to 14 degrees of freedom (``tests/hatch/test_rate.py``).
    """
    beyond = max(pooled - min(0.15, 0.05 * df) * counting, 0.0)
    return _COUNTED_PART * counted + student_quantile(confidence, df) ** 2 * beyond


_COUNTED_PART = 0.3


def _open(lot, other):
    return InputError(
        f"The counts of lots {lot} and {other} leave open when they hatch, so which is faster cannot be told. Count "
        "more hours around the rise."
    )


def _of_lot(course, name):
    course = course.dropna(subset=["nauplii", "full_cysts"])
    hours = course["hours"].nunique()
    if hours < 4 or not course["nauplii"].sum() > 0:
        raise InputError(
            f"Lot {name} has counts at {hours} hours; comparing speeds needs four or more of each lot, before and "
            "after half have hatched."
        )
    courses = [g for _, g in course.groupby("hatch")]
    timed = [
        intervals_from_counts(g["hours"], g["nauplii"], g["full_cysts"]) if g["hours"].nunique() >= 4 else None
        for g in courses
    ]
    whole = intervals_from_counts(course["hours"], course["nauplii"], course["full_cysts"])
    return {"course": course, "courses": courses, "timed": timed, "all": whole}


def _fit(model, intervals):
    """Both lots in one model: logit ceilings, ln scale of the second, ln slope, and the log ratio of scales."""
    costs = [likelihood_of(model, *piece) for piece in intervals]
    centre = float(
        np.median([np.average(e[np.isfinite(e)], weights=n[np.isfinite(e)] + 1e-9) for _, e, n in intervals])
    )

    def cost(theta):
        first, second, scale, slope, ratio = theta
        return costs[0]((first, scale + ratio, slope)) + costs[1]((second, scale, slope))

    begins = [
        np.array([1.5, 1.5, math.log(centre * f), math.log(s), 0.0]) for s in (5.0, 10.0, 20.0) for f in (0.75, 0.9, 1)
    ]
    x, value, _ = minimise(cost, min(begins, key=cost))
    covariance = covariance_at(cost, x)
    return {"model": model, "theta": x, "loglik": -value, "log_ratio": float(x[4]), "var": float(covariance[4, 4])}


def _as_fit(found, i):
    """One lot's curve out of the joint fit."""
    ceiling = expit(found["theta"][i])
    scale = math.exp(found["theta"][2] + (found["theta"][4] if i == 0 else 0.0))
    return Fit(
        model=found["model"],
        ceiling=ceiling,
        scale_h=scale,
        slope=math.exp(found["theta"][3]),
        covariance=np.eye(3),
        loglik=found["loglik"],
        is_converged=True,
    )


def _places(found, i, timed):
    fit = _as_fit(found, i)
    return [piece and place_of_cone(fit, *piece) for piece in timed]
