"""Two ways of counting the same things: bias, limits of agreement, concordance, repeatability of each."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

import numpy as np

from qckit.errors import InputError

__all__ = [
    "BlandAltman",
    "Concordance",
    "Repeatability",
    "bland_altman",
    "concordance",
    "limit_bounds",
    "repeatability",
]


def _pairs(first, second, names=("first", "second")):
    """Return both as float arrays without missing pairs, and how many were left out."""
    a, b = np.asarray(first, dtype=float).ravel(), np.asarray(second, dtype=float).ravel()
    if a.shape != b.shape:
        raise InputError(
            f"{names[0]} has {a.size} values and {names[1]} has {b.size}; each needs its partner. "
            "Give both counts of the same photos, in the same order."
        )
    whole = np.isfinite(a) & np.isfinite(b)
    if whole.sum() < 3:
        raise InputError(
            f"{int(whole.sum())} complete pairs of {names[0]} and {names[1]}; at least 3 are needed to speak of "
            "agreement. Count more photos both ways."
        )
    return a[whole], b[whole], int(a.size - whole.sum())


def _check_confidence(confidence):
    if not 0 < confidence < 1:
        raise InputError(f"confidence is {confidence:g} and must lie between 0 and 1, such as 0.95.")


@dataclass(frozen=True)
class BlandAltman:
    """Bias and limits of agreement of ``first - second``, each with its interval.

    ``unit`` is ``""`` for plain differences (unit of the data) and ``"%"`` where differences were taken in percent
    of the pair's mean. ``slope`` says how much the difference changes per unit of the mean.

    Examples
    --------
    >>> agreement.bland_altman([101, 98, 120, 77], [100, 100, 118, 80]).n
    4
    """

    n: int
    left_out: int
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    limit_low: float
    limit_low_low: float
    limit_low_high: float
    limit_high: float
    limit_high_low: float
    limit_high_high: float
    se_limit: float
    slope: float
    slope_low: float
    slope_high: float
    correlation: float
    multiple: float
    confidence: float
    unit: str
    method: str = "Bland and Altman 1986, Lancet i:307-310"

    def to_frame(self):
        """Return one tidy row."""
        import pandas as pd

        return pd.DataFrame([asdict(self)])

    @property
    def of_a_further_pair(self) -> tuple[float, float]:
        """Between which differences a further pair lies, 95 times in 100 where ``multiple`` is 1.96.

        Student's factor, so that few pairs say less. Differences with a long tail take little from it (92.6 % where
        they follow Student's law with three degrees of freedom), but much from the intervals of the limits themselves,
        which rest on the normal law.
        """
        from scipy import stats

        level = round(float(stats.norm.cdf(self.multiple)), 4)  # 1.96 stands for 97.5 %
        reach = float(stats.t.ppf(level, self.n - 1)) * self.sd * math.sqrt(1 + 1 / self.n)
        return self.bias - reach, self.bias + reach


def limit_bounds(n, *, multiple=1.96, confidence=0.95, interval="exact"):
    """How far from the bias, in standard deviations, the interval of the upper limit of agreement reaches.

    Parameters
    ----------
    n : int
        Pairs, 3 or more.
    multiple : float
        Standard deviations from the bias to the limit.
    confidence : float
    interval : {"exact", "large sample"}
        Exact by the non-central t distribution, which few pairs need; or Bland and Altman's sqrt(3 s^2 / n).

    Returns
    -------
    (low, high) : tuple of float
        Those of the lower limit are the negatives. They hold for normal differences: with Student's law on three to
        five degrees of freedom 65 to 91 %.

    References
    ----------
    Carkeet 2015, Optometry and Vision Science 92:e71-e80; the factors are those of one-sided tolerance limits
    (ISO 16269-6).
    """
    from scipy import stats

    if interval == "large sample":
        half = float(stats.t.ppf(0.5 + confidence / 2, n - 1)) * math.sqrt(3 / n)
        return multiple - half, multiple + half
    if interval != "exact":
        raise InputError(f"unknown interval {interval!r}. Known: exact, large sample.")
    root, tail = math.sqrt(n), (1 - confidence) / 2
    return tuple(float(stats.nct.ppf(q, n - 1, multiple * root)) / root for q in (tail, 1 - tail))


def bland_altman(first, second, *, multiple=1.96, confidence=0.95, relative=False, interval="exact") -> BlandAltman:
    """Bias and limits of agreement between two ways of measuring.

    Parameters
    ----------
    first, second : array_like of float, shape (n,)
        The same photos (or samples) measured both ways. Pairs with a missing value are left out and counted.
    multiple : float
        Standard deviations from the bias to a limit: 1.96 holds 95 % of normal differences; the original paper
        rounds to 2.
    confidence : float
        Of the intervals of bias and limits, between 0 and 1, ends excluded.
    relative : bool
        Take differences in percent of the pair's mean: for counts, whose scatter grows with their size. Pairs whose
        mean is 0 are then left out.
    interval : {"exact", "large sample"}
        Of the limits; see :func:`limit_bounds`. The large-sample one holds 92 to 93 % with 6 to 12 pairs.

    Returns
    -------
    BlandAltman
        Differences are ``first - second``.

    Raises
    ------
    InputError
        Unequal lengths, fewer than 3 complete pairs, or a confidence outside (0, 1).

    Notes
    -----
    Standard error of the bias s/sqrt(n) with Student's t on n - 1 degrees of freedom; of a limit sqrt(3 s^2/n).

    References
    ----------
    Bland JM, Altman DG (1986) Lancet i:307-310; (1999) Stat. Methods Med. Res. 8:135-160 for relative differences
    and the slope.

    Examples
    --------
    >>> agreement.bland_altman([101, 98, 120, 77], [100, 100, 118, 80]).bias
    -0.5
    """
    from scipy import stats

    _check_confidence(confidence)
    a, b, lost = _pairs(first, second)
    mean, difference = (a + b) / 2, a - b
    if relative:
        keep = mean != 0
        lost += int((~keep).sum())
        mean, difference = mean[keep], 100 * difference[keep] / mean[keep]
        if mean.size < 3:
            raise InputError(
                "fewer than 3 pairs have a mean other than 0, so no percent can be taken. Use counts "
                "above 0, or relative=False."
            )
    n = mean.size
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stats.t.ppf(0.5 + confidence / 2, n - 1))
    se_bias, se_limit = sd / math.sqrt(n), sd * math.sqrt(3 / n)
    low, high = bias - multiple * sd, bias + multiple * sd
    near, far = limit_bounds(n, multiple=multiple, confidence=confidence, interval=interval)
    slope = slope_half = math.nan
    if np.ptp(mean) > 1e-9 * np.abs(mean).max():  # a spread that is rounding alone carries no line
        line = stats.linregress(mean, difference)
        slope, slope_half = float(line.slope), float(line.stderr * stats.t.ppf(0.5 + confidence / 2, n - 2))
    correlation = float(np.corrcoef(a, b)[0, 1]) if np.ptp(a) > 0 and np.ptp(b) > 0 else math.nan
    return BlandAltman(
        n=n,
        left_out=lost,
        bias=bias,
        bias_low=bias - t * se_bias,
        bias_high=bias + t * se_bias,
        sd=sd,
        limit_low=low,
        limit_low_low=bias - far * sd,
        limit_low_high=bias - near * sd,
        limit_high=high,
        limit_high_low=bias + near * sd,
        limit_high_high=bias + far * sd,
        se_limit=se_limit,
        slope=slope,
        slope_low=slope - slope_half,
        slope_high=slope + slope_half,
        correlation=correlation,
        multiple=multiple,
        confidence=confidence,
        unit="%" if relative else "",
    )


@dataclass(frozen=True)
class Repeatability:
    """How far repeated measurements of the same thing lie apart.

    ``coefficient`` is the difference that two repeats stay under 95 times in 100.

    Examples
    --------
    >>> agreement.repeatability([101, 98, 120, 77], [100, 100, 118, 80]).n
    4
    """

    n: int
    within_sd: float
    coefficient: float
    method: str


def repeatability(first, second) -> Repeatability:
    """Within-subject standard deviation and repeatability coefficient from counts made twice.

    Parameters
    ----------
    first, second : array_like of float, shape (n,)
        The same counter's first and second count of each photo.

    Returns
    -------
    Repeatability
        ``within_sd = sqrt(mean(d^2) / 2)``, ``coefficient = 2 sqrt(mean(d^2))``, d the differences.

    References
    ----------
    Bland JM, Altman DG (1986) Lancet i:307-310.

    Examples
    --------
    >>> round(float(agreement.repeatability([101, 98, 120, 77], [100, 100, 118, 80]).within_sd), 2)
    1.5
    """
    a, b, _ = _pairs(first, second)
    square = float(np.mean((a - b) ** 2))
    return Repeatability(
        a.size, math.sqrt(square / 2), 2 * math.sqrt(square), "Bland and Altman 1986, Lancet i:307-310"
    )


@dataclass(frozen=True)
class Concordance:
    """Lin's concordance correlation: 1 only when every pair lies on the line of equality.

    Examples
    --------
    >>> agreement.concordance([101, 98, 120, 77], [100, 100, 118, 80]).n
    4
    """

    n: int
    ccc: float
    ccc_low: float
    ccc_high: float
    scale_shift: float
    location_shift: float
    bias_factor: float
    correlation: float
    confidence: float
    method: str = "Lin 1989, Biometrics 45:255-268"

    def to_frame(self):
        """Return one tidy row."""
        import pandas as pd

        return pd.DataFrame([asdict(self)])


def concordance(first, second, *, confidence=0.95) -> Concordance:
    """Concordance correlation coefficient with its z-transform interval.

    Parameters
    ----------
    first, second : array_like of float, shape (n,)
        The same photos measured both ways; pairs with a missing value are left out.
    confidence : float
        Between 0 and 1, ends excluded.

    Returns
    -------
    Concordance
        Bounds are NaN when the correlation is 0 or not defined (a constant column).

    Notes
    -----
    Moments are divided by n, as in the paper. Scale shift is the ratio of the standard deviations (first / second),
    location shift the difference of the means over the root of their product.

    References
    ----------
    Lin LI-K (1989) Biometrics 45:255-268, with the variance corrected in (2000) Biometrics 56:324-325.

    Examples
    --------
    >>> round(float(agreement.concordance([101, 98, 120, 77], [100, 100, 118, 80]).ccc), 3)
    0.989
    """
    _check_confidence(confidence)
    a, b, _ = _pairs(first, second)
    sa, sb, covariance = a.std(), b.std(), float(np.mean((a - a.mean()) * (b - b.mean())))
    spread = sa**2 + sb**2 + (a.mean() - b.mean()) ** 2
    nan, same = math.nan, spread == 0  # both constant and equal: perfect, but nothing to estimate from
    found = Concordance(
        n=a.size,
        ccc=1.0 if same else 0.0,
        ccc_low=nan,
        ccc_high=nan,
        scale_shift=nan,
        location_shift=0.0 if same else nan,
        bias_factor=nan,
        correlation=nan,
        confidence=confidence,
    )
    if sa == 0 or sb == 0:
        return found
    ccc, r = 2 * covariance / spread, covariance / (sa * sb)
    shift = float((a.mean() - b.mean()) / math.sqrt(sa * sb))
    low, high = _concordance_bounds(ccc, r, shift, n=a.size, confidence=confidence)
    return replace(
        found,
        ccc=float(ccc),
        ccc_low=float(low),
        ccc_high=float(high),
        scale_shift=float(sa / sb),
        location_shift=shift,
        bias_factor=float(ccc / r) if abs(r) > 1e-12 else nan,
        correlation=float(r),
    )


def _concordance_bounds(ccc, r, shift, *, n, confidence):
    """Bounds by the z-transform, with the variance as corrected in Lin 2000."""
    from scipy import stats

    if abs(ccc) >= 1 - 1e-15:
        return ccc, ccc
    if abs(r) <= 1e-12 or n <= 2:
        return math.nan, math.nan
    variance = (
        (1 - r**2) * ccc**2 * (1 - ccc**2) / r**2
        + 2 * ccc**3 * (1 - ccc) * shift**2 / r
        - 0.5 * ccc**4 * shift**4 / r**2
    ) / (n - 2)
    half = stats.norm.ppf(0.5 + confidence / 2) * math.sqrt(max(variance, 0.0)) / (1 - ccc**2)
    return math.tanh(math.atanh(ccc) - half), math.tanh(math.atanh(ccc) + half)
