"""A lot against another lot, a claim, an earlier test: how much better or worse, and whether that is near enough.

"Not significantly different" is never the answer: two lots count as equal only when the interval of their ratio lies
within the site's own margin (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657-680; two one-sided tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from qckit.hatch.intervals.estimates import Estimate, normal_quantile, student_quantile
from qckit.hatch.intervals.plain import score_bounds
from qckit.hatch.intervals.width import joined_dispersion
from qckit.showing import InWords
from qckit.words import capital

__all__ = ["Comparison", "compare_hatch_pct", "compare_per_g", "compare_with_claim"]


@dataclass(frozen=True, repr=False)
class Comparison(InWords):
    """One figure of a lot over the same figure of something else.

    ``ratio`` is lot / other. ``low`` and ``high`` bound it at ``confidence``; ``tost_low`` and ``tost_high`` at
    ``2 confidence - 1``, the interval that goes with the two one-sided tests.

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> bool(hatch.compare_hatch_pct(a, b).ratio > 1)
    True
    """

    what: str
    other: str
    ratio: float
    low: float = math.nan
    high: float = math.nan
    tost_low: float = math.nan
    tost_high: float = math.nan
    se_log: float = math.nan
    df: float = math.nan
    difference: float = math.nan
    difference_low: float = math.nan
    difference_high: float = math.nan
    against: float = math.nan  # the fixed number compared with, for a claim
    margin_pct: float = 10.0
    verdict: str = "cannot tell"  # at least as good, equivalent, better, worse, cannot tell
    sentence: str = ""
    is_open: bool = False  # the figures are known, and more cones could settle it
    lead: str = ""  # the sentence's beginning, before the verdict

    def _in_words(self) -> dict:
        rows = [("ratio", f"{self.ratio:.3g}", _between(self.low, self.high, ".3g"))]
        if self.difference == self.difference:
            span = _between(self.difference_low, self.difference_high, ".1f")
            rows.append(("difference in points", f"{self.difference:.1f}", span))
        heads = ("", "value", "interval")
        return {"title": self.sentence or self.what, "heads": heads, "rows": rows}

    @property
    def smallest_pct(self) -> float:
        """How much worse a lot is that four of five such tests show to be worse. [%]"""
        reach = math.log(self.high / self.ratio)
        return 100 * (1 - math.exp(-(reach + 0.8416 * self.se_log)))  # 0.8416: normal quantile of 80 % power


def _between(low: float, high: float, digits: str) -> str:
    return f"{low:{digits}} to {high:{digits}}" if low == low else "not known"


def compare_hatch_pct(a, b, *, margin_pct=10.0, confidence=0.95, spread=None, other="the reference lot"):
    """Compare the hatching percentage of two lots, cones as replicates.

    Parameters
    ----------
    a, b : DataFrame
        Rows of ``cone_metrics`` of the lot and of the other; cones without the counts for the figure are left out.
    margin_pct : float
        A lot within this much of the other is as good. [% of the other]
    confidence : float
    spread : Spread, optional
        The site's own between-cone spread.
    other : str
        Its name in the sentence.

    Returns
    -------
    Comparison
        The difference is in points. Bounds are NaN when neither lot has two cones and there is no ``spread``.

    Notes
    -----
    Quasi-binomial, each lot with its own dispersion and both joined with the degrees of freedom of Welch 1947
    (Biometrika 34:28-35, from memory; two cones against more as Cochran and Cox do), never narrower than counting
    alone; a log-ratio standard error by the delta method; the difference joins two score intervals as Newcombe 1998
    does, with the same reach.

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> result = hatch.compare_hatch_pct(a, b, margin_pct=10.0, other="K-118")
    >>> bool(result.low < result.ratio < result.high)
    True
    """
    (xa, na), (xb, nb) = (_counted(t["nauplii"], t["full_cysts"]) for t in (a, b))
    p, q = _share(xa, na), _share(xb, nb)
    if not (math.isfinite(p) and math.isfinite(q) and q > 0):
        return Comparison(
            "hatching percentage",
            other,
            math.nan,
            margin_pct=margin_pct,
            sentence=f"Hatching percentage against {other}: nothing to compare.",
        )
    lots = (_scatter_of_shares(xa, na, p, spread), _scatter_of_shares(xb, nb, q, spread))
    counting = ((1 - p) / max(xa.sum(), 0.5), (1 - q) / max(xb.sum(), 0.5))
    result = _ratio(
        "hatching percentage",
        other,
        ratio=p / q,
        counting=counting,
        lots=lots,
        spread=spread,
        margin_pct=margin_pct,
        confidence=confidence,
    )
    in_points = tuple(max(r * (1 - r), 0.5 / n.sum()) / n.sum() for r, n in ((p, na), (q, nb)))
    reach, _ = _reach(lots, in_points, spread, confidence)
    low, high = _difference(p, na.sum(), q, nb.sum(), reach)
    return replace(result, difference=100 * (p - q), difference_low=100 * low, difference_high=100 * high)


def compare_per_g(a, b, *, margin_pct=10.0, confidence=0.95, spread=None, other="the reference lot"):
    """Compare nauplii per gram of two lots; arguments and result as :func:`compare_hatch_pct`.

    Uncertainty of volumes and balance that both lots share cancels in the ratio and is not added.

    Examples
    --------
    >>> a = cones[cones["hatch"].str.startswith("RT-121-2609")]
    >>> b = cones[cones["hatch"].str.startswith("RT-118-2609")]
    >>> bool(hatch.compare_per_g(a, b, other="K-118").ratio > 1)
    True
    """
    (xa, ea), (xb, eb) = (_counted(t["nauplii"], 1 / t["factor_per_g"]) for t in (a, b))
    if not (xa.sum() > 0 and xb.sum() > 0):
        return Comparison(
            "hatching efficiency",
            other,
            math.nan,
            margin_pct=margin_pct,
            sentence=f"Hatching efficiency against {other}: nothing to compare.",
        )
    ra, rb = xa.sum() / ea.sum(), xb.sum() / eb.sum()
    return _ratio(
        "hatching efficiency",
        other,
        ratio=ra / rb,
        counting=(1 / xa.sum(), 1 / xb.sum()),
        lots=(_scatter_of_rates(xa, ea, ra, spread), _scatter_of_rates(xb, eb, rb, spread)),
        spread=spread,
        margin_pct=margin_pct,
        confidence=confidence,
    )


def compare_with_claim(estimate: Estimate, claim: float, what: str, *, margin_pct=10.0, other="the claim"):
    """Compare an estimate with a fixed number.

    Parameters
    ----------
    estimate : Estimate
        In the claim's unit.
    claim : float
        Above zero; NaN gives "cannot tell".
    what, other : str
        Names in the sentence.
    margin_pct : float

    Returns
    -------
    Comparison
        On the safe bounds (never narrower than counting alone). The bounds at ``2 confidence - 1`` are not known
        here; the full interval is used instead, which is the cautious side.

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([240, 251, 246], [300, 305, 301])
    >>> round(float(hatch.compare_with_claim(figure, 0.85, "hatching percentage").ratio), 2)
    0.96
    """
    if claim is None or not claim > 0 or not math.isfinite(estimate.value):
        return Comparison(what, other, math.nan, margin_pct=margin_pct, sentence=f"{what}: there is no claim to hold.")
    low, high = estimate.safe_low / claim, estimate.safe_high / claim
    base = Comparison(
        what=what,
        other=other,
        ratio=estimate.value / claim,
        low=low,
        high=high,
        tost_low=low,
        tost_high=high,
        df=estimate.df,
        margin_pct=margin_pct,
        se_log=_se_log(estimate),
        against=claim,
        difference=estimate.value - claim,
        difference_low=estimate.safe_low - claim,
        difference_high=estimate.safe_high - claim,
    )
    return _judged(base)


def _se_log(estimate):
    """Standard error of the log behind an estimate's lower half, where the claim's line lies."""
    if not (estimate.safe_low > 0 and estimate.df > 0):
        return math.nan
    return math.log(estimate.value / estimate.safe_low) / student_quantile(estimate.confidence, estimate.df)


def _counted(part, whole):
    """The cones that have both, as :func:`qckit.hatch.proportion_over_cones` and ``rate_over_cones`` choose them."""
    part, whole = np.asarray(part, float), np.asarray(whole, float)
    good = np.isfinite(part) & np.isfinite(whole) & (whole > 0)
    return part[good], whole[good]


def _share(x, n):
    return float(x.sum() / n.sum()) if len(n) and n.sum() > 0 else math.nan


@dataclass(frozen=True)
class _Scatter:
    """Mean square of a lot's own cones over counting, its degrees of freedom, and what the site's spread would give."""

    square: float
    df: int
    site: float


def _scatter_of_shares(x, n, share, spread):
    pearson = float(np.sum((x - n * share) ** 2 / n) / max(share * (1 - share), 0.5 / n.sum()))
    site = math.nan if spread is None else 1 + (np.sum(n**2) / n.sum() - 1) * spread.rho
    return _Scatter(pearson / max(len(x) - 1, 1), len(x) - 1, site)


def _scatter_of_rates(x, exposure, rate, spread):
    expected = rate * exposure
    pearson = float(np.sum((x - expected) ** 2 / expected))
    site = math.nan if spread is None else 1 + spread.cv**2 * np.sum(expected**2) / expected.sum()
    return _Scatter(pearson / max(len(x) - 1, 1), len(x) - 1, site)


def _joined(lots, counting):
    """Mean square of both lots together and its degrees of freedom: each lot keeps its own spread.

    One spread for both would let twenty quiet cones of one lot speak for three uneven ones of the other, or a lot near
    100 % for one near 70: 57 to 90 % of such intervals held. A lot of one cone is taken to be as uneven as the other.
    """
    known = [(lot, c) for lot, c in zip(lots, counting, strict=True) if lot.df > 0]
    if len(known) < 2:
        return (known[0][0].square, float(known[0][0].df)) if known else (0.0, 0.0)
    parts = [lot.square * c for lot, c in known]
    if not sum(parts) > 0:
        return 0.0, float(sum(lot.df for lot in lots))
    df = sum(parts) ** 2 / sum(part**2 / lot.df for part, (lot, _) in zip(parts, known, strict=True))
    return sum(parts) / sum(counting), df


def _reach(lots, counting, spread, confidence):
    """Multiple of the counting standard error, and its degrees of freedom; NaN and 0 where it cannot be known.

    Never below what counting alone asks for: decisions rest on it.
    """
    square, df = _joined(lots, counting)
    if spread is not None:
        site = sum(lot.site * c for lot, c in zip(lots, counting, strict=True)) / sum(counting)
        square, df = joined_dispersion(square * df, df, site, spread.df, confidence)
        square, quantile = max(1.0, square), student_quantile(confidence, df)
    elif not df > 0:
        return math.nan, 0.0
    else:
        quantile = _quantile(lots, counting, df=df, confidence=confidence)
    return max(quantile * math.sqrt(square), normal_quantile(confidence)), df


def _quantile(lots, counting, df, confidence):
    """Student's quantile; where one lot has two cones and the other more, both lots' weighed by their variances.

    Two cones that agree by luck make Welch's degrees of freedom those of the other lot: 89 to 92 % of such intervals
    held (Cochran and Cox 1950, Experimental Designs, section 4.14, from memory).
    """
    parts = np.array([lot.square * c for lot, c in zip(lots, counting, strict=True)])
    fewest, most = sorted(lot.df for lot in lots)
    if not (fewest == 1 < most and parts.sum() > 0):
        return student_quantile(confidence, df)
    return float(parts @ [student_quantile(confidence, lot.df) for lot in lots] / parts.sum())


def _ratio(what, other, ratio, counting, lots, spread, margin_pct, confidence):
    reach, df = _reach(lots, counting, spread, confidence)
    base = Comparison(what, other, ratio, df=df, margin_pct=margin_pct)
    error = math.sqrt(sum(counting))
    if not (df > 0 and math.isfinite(error)):
        return replace(
            base,
            sentence=f"{capital(what)} is {_pct(ratio)} of {other}; with one cone each, how much that "
            "is chance cannot be known.",
        )
    wide = math.exp(reach * error)
    narrow = math.exp(_reach(lots, counting, spread, 2 * confidence - 1)[0] * error)
    se = reach * error / student_quantile(confidence, df)
    return _judged(
        replace(base, se_log=se, low=ratio / wide, high=ratio * wide, tost_low=ratio / narrow, tost_high=ratio * narrow)
    )


def _judged(c):
    """Add verdict and sentence to a comparison that has its bounds."""
    line = 1 - c.margin_pct / 100
    statement = f"{capital(c.what)} is {_pct(c.ratio)} of {c.other}"
    if not (math.isfinite(c.low) and math.isfinite(c.high)):
        return replace(c, sentence=f"{statement}; its interval is not known.")
    statement += f" ({_span(c.low, c.high)})"
    if c.low > 1:
        return replace(c, verdict="better", sentence=f"{statement}: better by {_by(c.low - 1, c.high - 1)}.")
    inside = f"at least {100 * line:.0f} % as good"
    if c.tost_low >= line:
        code = "equivalent" if c.tost_high <= 1 / line else "at least as good"
        worse = f", though worse by {_by(1 - c.high, 1 - c.low)}" if c.high < 1 else ""
        return replace(c, verdict=code, sentence=f"{statement}: {inside}{worse}.")
    if c.high < 1:
        return replace(c, verdict="worse", sentence=f"{statement}: worse by {_by(1 - c.high, 1 - c.low)}.")
    return replace(c, verdict="cannot tell", sentence=f"{statement}: cannot tell yet.", is_open=True, lead=statement)


def _difference(p, n, q, m, reach):
    """Newcombe's hybrid of two score intervals, each with the same multiple of the counting error."""
    if not math.isfinite(reach):
        return math.nan, math.nan
    (l1, u1), (l2, u2) = score_bounds(p, n, reach**2), score_bounds(q, m, reach**2)
    return p - q - math.hypot(p - l1, u2 - q), p - q + math.hypot(u1 - p, q - l2)


def _pct(ratio):
    return f"{100 * ratio:.0f} %"


def _span(low, high):
    """Bounds in percent, with a decimal where rounding would hide on which side of 100 they lie."""
    near = any(0 < abs(bound - 1) < 0.005 for bound in (low, high))
    return f"{100 * low:.1f} to {100 * high:.1f} %" if near else f"{100 * low:.0f} to {100 * high:.0f} %"


def _by(low, high):
    low, high = 100 * max(0.0, low), 100 * high
    return f"{low:.1f} to {high:.0f} %" if low < 1 else f"{low:.0f} to {high:.0f} %"
