"""Intervals over cones: the cone is the replicate, and the spread between cones is judged from the cones.

The interval is a score interval with a dispersion factor. With p the common proportion, phi the Pearson dispersion
over k cones and t the quantile of Student's distribution with k - 1 degrees of freedom, the bounds are the two p at
which ``(p_hat - p)^2 = t^2 phi p (1 - p) / N``: Wilson's interval (Wilson 1927, J. Am. Stat. Assoc. 22:209-212) with
the quasi-likelihood variance of McCullagh and Nelder (1989, Generalized Linear Models, 2nd ed., section 4.5). Counts
per volume use the same with the Poisson variance.

Three things are added, each checked by simulation (``tests/benchmarks/coverage.py``):

* A few cones can agree by luck, and t^2 phi is then absurdly small. So t^2 phi is not let below a floor that depends
  on the number of cones alone: the highest one with which cones that truly do not differ are still covered no more
  than 96.2 times in 100 (at 95 %); :func:`counting_floor` solves for it.
* Near 0 and 100 % the shares of cones are skewed: a test without a poor cone puts the mean too near the border and the
  spread too low at once. So the bound away from the border reaches further, by a part that grows with the skewness
  (:func:`skewness_reach`), as Johnson's t for skewed parents does (1978, J. Am. Stat. Assoc. 73:536-544, from memory).
* With very few unhatched (or hatched) cysts the test cannot show whether they come in clumps; the same bound then has a
  higher floor (:func:`floor_of_few`).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from qckit.errors import InputError, unknown_name

__all__ = [
    "Estimate",
    "Spread",
    "binomial_interval",
    "counting_floor",
    "floor_of_few",
    "joined_dispersion",
    "mean_interval",
    "positive_mean_interval",
    "proportion_over_cones",
    "rate_over_cones",
    "skewness_reach",
]


@dataclass(frozen=True)
class Estimate:
    """One figure with its interval over cones.

    ``value`` and ``sd`` are the plain mean and standard deviation over cones, as the standard test reports them;
    ``low`` and ``high`` are *the* interval, the one that is shown and whose coverage is checked; NaN where they cannot
    be known, and ``note`` then says why. ``counting_low`` and ``counting_high`` are what counting alone would give. Few
    cones that agree by luck can make the interval narrower than that; a decision then keeps to the wider bounds
    (:attr:`safe_low`, :attr:`safe_high`), and says so (:attr:`is_lucky`).

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([240, 251, 246], [300, 305, 301])
    >>> figure.low < figure.value < figure.high
    True
    """

    value: float
    low: float = math.nan
    high: float = math.nan
    sd: float = math.nan
    counting_low: float = math.nan
    counting_high: float = math.nan
    n_cones: int = 0
    df: float = math.nan
    dispersion: float = math.nan
    confidence: float = 0.95
    method: str = ""
    note: str = ""

    def scaled(self, factor: float) -> Estimate:
        """Return the estimate in another unit (value, bounds and SD times ``factor``)."""
        names = ("value", "low", "high", "sd", "counting_low", "counting_high")
        return replace(self, **{name: getattr(self, name) * factor for name in names})

    @property
    def safe_low(self) -> float:
        """The lower of the two lower bounds; NaN when the interval over cones is not known."""
        return min(self.low, self.counting_low) if self.counting_low < self.low else self.low

    @property
    def safe_high(self) -> float:
        """The higher of the two upper bounds; NaN when the interval over cones is not known."""
        return max(self.high, self.counting_high) if self.counting_high > self.high else self.high

    @property
    def is_lucky(self) -> bool:
        """Whether counting alone would make the interval more than a twentieth wider."""
        return self.high - self.low < 0.95 * (self.safe_high - self.safe_low)

    @property
    def is_known(self) -> bool:
        """Whether both bounds are known."""
        return math.isfinite(self.low) and math.isfinite(self.high)


@dataclass(frozen=True)
class Spread:
    """What a site already knows of the spread between its cones.

    ``rho`` is the intra-cone correlation of the hatching percentage (0: cones differ by chance of counting alone),
    ``cv`` the coefficient of variation between cones of nauplii per gram beyond counting, ``df`` the degrees of
    freedom behind them. ``raw_rho`` and ``raw_cv2`` (cv squared) are the estimates before negative ones are set to 0:
    pooling needs these, because a spread that may only err upwards makes intervals too wide. ``n_cones`` counts the
    earlier cones that it was learned from.

    Examples
    --------
    >>> hatch.site_spread(cones).rho < 0.2
    True
    """

    rho: float
    cv: float
    df: float
    raw_rho: float = math.nan
    raw_cv2: float = math.nan
    n_cones: int = 0

    @property
    def pooled_rho(self) -> float:
        """The correlation to pool with a test's own."""
        return self.raw_rho if math.isfinite(self.raw_rho) else self.rho

    @property
    def pooled_cv2(self) -> float:
        """The squared coefficient of variation to pool with a test's own."""
        return self.raw_cv2 if math.isfinite(self.raw_cv2) else self.cv**2


def check_confidence(confidence: float) -> None:
    """Refuse a confidence outside 0.5 to 0.9999."""
    if not 0.5 <= confidence <= 0.9999:
        raise InputError(f"confidence is {confidence!r} and must lie between 0.5 and 0.9999. 0.95 is usual.")


@lru_cache(maxsize=256)
def counting_floor(n_cones: int, confidence: float = 0.95) -> float:
    """Least multiple of the counting standard deviation that an interval over cones may extend.

    Parameters
    ----------
    n_cones : int
        Two or more.
    confidence : float

    Returns
    -------
    float
        About 0.8 for 2 cones, 1.1 for 3, 1.6 for 6, and never more than the normal quantile. It solves
        ``E[2 Phi(-max(c, t sqrt(X)))] = 0.76 (1 - confidence)`` with X a mean square on k - 1 degrees of freedom.

    Examples
    --------
    >>> hatch.counting_floor(3) >= hatch.counting_floor(6)
    False
    """
    from scipy import special  # scipy.optimize and scipy.stats take a second to import

    df, alpha = n_cones - 1, 1 - confidence
    t, z = student_quantile(confidence, df), normal_quantile(confidence)
    share = (np.arange(4000) + 0.5) / 4000
    root = np.sqrt(special.chdtri(df, 1 - share) / df)

    def missed(c):
        return float(np.mean(2 * special.ndtr(-np.maximum(c, t * root)))) - 0.76 * alpha

    steps = range(int(z * 1e9))
    return float(z) if missed(z) >= 0 else bisect_left(steps, 0.0, key=lambda i: -missed(i * 1e-9)) * 1e-9


def skewness_reach(dispersion, share, n_mean):
    """How much further the bound away from the border of a proportion must reach because cones are skewed there.

    Parameters
    ----------
    dispersion : float or ndarray
        Pearson dispersion phi.
    share : float or ndarray
        The smaller of the two shares (hatched or not), 0 to 0.5.
    n_mean : float
        Mean count of a cone.

    Returns
    -------
    float or ndarray
        ``1 + 0.8 (1 - 2 q) CV``, with CV the cones' coefficient of variation of q beyond counting,
        ``CV^2 = (phi - 1) (1 - q) / (n q)``. 1 at one half and where cones do not differ. The skewness of a beta's or
        a log-normal's cones is 2 to 3 times CV; 0.8 was chosen by simulation over 2 to 6 cones.

    Examples
    --------
    >>> round(float(hatch.skewness_reach(1.5, 0.9, 300)), 2)
    0.99
    """
    cv2 = np.maximum(0.0, dispersion - 1) * (1 - share) / (n_mean * share)
    return 1 + 0.8 * (1 - 2 * share) * np.sqrt(cv2)


def floor_of_few(fewer, confidence=0.95):
    """Least multiple of the counting standard deviation for the bound away from the border when very few were seen.

    Parameters
    ----------
    fewer : float or ndarray
        The smaller of the two totals over the cones (hatched or not).
    confidence : float

    Returns
    -------
    float or ndarray
        5 / fewer^0.8, at most 3.3, at 95 %; falls under :func:`counting_floor` from about ten counts on.
        Chosen by exact enumeration for two cones.

    Examples
    --------
    >>> bool(hatch.floor_of_few(2) > 0)
    True
    """
    return np.minimum(5.0 / np.maximum(fewer, 0.5) ** 0.8, 3.3) * normal_quantile(confidence) / 1.96


def proportion_over_cones(part, whole, *, confidence=0.95, spread=None):
    """Estimate a proportion (hatching percentage, opened fraction, umbrella share, purity) over cones.

    Parameters
    ----------
    part, whole : array_like of float, shape (k,)
        Counts per cone; cones with nothing counted (``whole`` 0 or NaN) are left out.
    confidence : float
        Nearer 1 gives a wider interval.
    spread : Spread, optional
        The site's own between-cone spread; makes one cone enough for an interval.

    Returns
    -------
    Estimate
        As fractions (0 to 1). Bounds are NaN with a single cone and no ``spread``.

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([240, 251, 246], [300, 305, 301])
    >>> round(figure.value, 1), figure.n_cones
    (0.8, 3)
    """
    check_confidence(confidence)
    part, whole = np.asarray(part, float), np.asarray(whole, float)
    good = np.isfinite(part) & (whole > 0)
    x, n = part[good], whole[good]
    k = len(x)
    if k == 0:
        return Estimate(math.nan, confidence=confidence, note="Nothing was counted.")
    total, each = n.sum(), x / n
    weight = _weights(each, n, None if spread is None else spread.rho)
    centre = min(float(np.sum(weight * each) / total), 1.0)
    # half a count away from 0 and 1, so that a whole lot of zeros still has a variance
    variance = max(centre * (1 - centre), 0.5 / total)
    pearson = float(np.sum(weight * (each - centre) ** 2) / variance)
    site = None if spread is None else float(total / np.sum(n / np.maximum(1 + (n - 1) * spread.pooled_rho, 0.05)))
    z2, base = _square_width(k, pearson, confidence, site, spread, is_edge=x.sum() in (0.0, total))
    low, high = binomial_interval(x.sum(), total, confidence=confidence)
    base = replace(
        base,
        value=float(each.mean()),
        sd=float(each.std(ddof=1)) if k > 1 else math.nan,
        counting_low=low,
        counting_high=high,
    )
    if z2 is None:
        return replace(base, note=_one_cone_note(100 * low, 100 * high, " %", 1))
    # cones that overrule the site's spread have widened both bounds already: their skewness is not paid for twice
    plain = z2 if spread is None else student_quantile(confidence, base.df) ** 2 * base.dispersion
    inward = _inward_width(
        z2,
        plain,
        dispersion=base.dispersion,
        centre=centre,
        total=total,
        k=k,
        fewer=min(x.sum(), total - x.sum()),
        confidence=confidence,
    )
    low = score_bounds(centre, total, inward if centre > 0.5 else z2)[0]
    high = score_bounds(centre, total, z2 if centre > 0.5 else inward)[1]
    return replace(
        base,
        low=max(0.0, min(float(low), base.value)),
        high=min(1.0, max(float(high), base.value)),
        method=f"score interval over cones, quasi-binomial, {base.method}",
    )


def rate_over_cones(counts, exposure, *, confidence=0.95, spread=None):
    """Estimate a number per gram (hatching efficiency, full cysts) over cones.

    Parameters
    ----------
    counts : array_like of float, shape (k,)
        Counts per cone.
    exposure : array_like of float, shape (k,)
        Grams of cysts that the counted volume stands for: 1 / conversion factor. [g]
    confidence, spread
        As for :func:`proportion_over_cones`.

    Returns
    -------
    Estimate
        Per gram; bounds are never negative.

    Examples
    --------
    >>> figure = hatch.rate_over_cones([98, 105, 101], [0.0005, 0.0005, 0.0005])
    >>> round(figure.value)
    202667
    """
    check_confidence(confidence)
    counts, exposure = np.asarray(counts, float), np.asarray(exposure, float)
    good = np.isfinite(counts) & np.isfinite(exposure) & (exposure > 0)
    x, e = counts[good], exposure[good]
    k = len(x)
    if k == 0:
        why = "No count with a known volume and mass." if len(counts) else "Nothing was counted."
        return Estimate(math.nan, confidence=confidence, note=why)
    each, weight = x / e, _rate_weights(x, e, None if spread is None else spread.cv)
    centre = float(np.sum(weight * each) / e.sum())
    pearson = float(np.sum(weight * (each - centre) ** 2) / max(centre, 0.5 / e.sum()))
    site = None if spread is None else float(e.sum() / np.sum(e / np.maximum(1 + spread.pooled_cv2 * centre * e, 0.05)))
    z2, base = _square_width(k, pearson, confidence, site, spread, is_edge=centre == 0)
    low, high = _score_rate(x.sum(), e.sum(), normal_quantile(confidence) ** 2)
    base = replace(
        base,
        value=float(each.mean()),
        sd=float(each.std(ddof=1)) if k > 1 else math.nan,
        counting_low=low,
        counting_high=high,
    )
    if z2 is None:
        return replace(base, note=_one_cone_note(low, high, " per g", 0))
    low, high = _score_rate(centre * e.sum(), e.sum(), z2)
    return replace(
        base,
        low=min(low, base.value),
        high=max(high, base.value),
        method=f"score interval over cones, quasi-Poisson, {base.method}",
    )


def score_bounds(centre, total, z2):
    """Both p at which ``(centre - p)^2 = z2 p (1 - p) / total``; arrays or numbers."""
    middle = (centre + z2 / (2 * total)) / (1 + z2 / total)
    half = np.sqrt(z2 * (centre * (1 - centre) / total + z2 / (4 * total**2))) / (1 + z2 / total)
    return middle - half, middle + half


def _inward_width(z2, plain, dispersion, centre, total, k, fewer, confidence):
    """Squared width multiplier of the bound away from the border."""
    share = max(min(centre, 1 - centre), 0.5 / total)
    reach = float(skewness_reach(dispersion, share, total / k))
    return max(z2, plain * reach**2, float(floor_of_few(fewer, confidence)) ** 2)


def _weights(each, n, rho=None):
    """Weights of cones that counted unequally many (Williams 1982, Applied Statistics 31:144-148), summing to sum(n).

    n / (1 + (n - 1) rho): the counts themselves when cones do not differ, equal weights when they differ much. Without
    a known rho, one step of the method of moments gives it. Equal counts get equal weights whatever rho is.
    """
    total, k = n.sum(), len(n)
    if rho is None:
        centre = float(np.sum(n * each) / total)
        chi2 = float(np.sum(n * (each - centre) ** 2) / max(centre * (1 - centre), 0.5 / total))
        room = total - np.sum(n**2) / total - (k - 1)
        rho = min(max((chi2 - (k - 1)) / room, 0.0), 1.0) if k > 1 and room > 0 else 0.0
    weight = n / (1 + (n - 1) * rho)
    return weight * total / weight.sum()


def _rate_weights(x, e, cv=None):
    """The same for counts over exposures: e / (1 + cv^2 rate e), summing to sum(e)."""
    rate, k = x.sum() / e.sum(), len(x)
    if cv is None:
        expected = rate * e
        chi2 = float(np.sum((x - expected) ** 2 / np.maximum(expected, 1e-12)))
        room = expected.sum() - np.sum(expected**2) / max(expected.sum(), 1e-12)
        cv2 = max((chi2 - (k - 1)) / room, 0.0) if k > 1 and room > 0 else 0.0
    else:
        cv2 = cv**2
    weight = e / (1 + cv2 * rate * e)
    return weight * e.sum() / weight.sum()


def mean_interval(values, *, confidence=0.95):
    """Estimate a plain mean over cones with Student's interval (sizes, weights, times).

    Parameters
    ----------
    values : array_like of float, shape (k,)
        One per cone; NaN is left out.
    confidence : float

    Returns
    -------
    Estimate
        Bounds are NaN with fewer than two values.

    Examples
    --------
    >>> mean = hatch.mean_interval([482.0, 475.0, 490.0])
    >>> round(float(mean.low), 1), round(float(mean.high), 1)
    (463.7, 501.0)
    """
    check_confidence(confidence)
    values = np.asarray(values, float)
    values = values[np.isfinite(values)]
    k = len(values)
    if k == 0:
        return Estimate(math.nan, confidence=confidence, note="No value.")
    mean = float(values.mean())
    if k == 1:
        return Estimate(mean, n_cones=1, confidence=confidence, note="One value: its spread cannot be known.")
    sd = float(values.std(ddof=1))
    half = student_quantile(confidence, k - 1) * sd / math.sqrt(k)
    return Estimate(
        mean,
        mean - half,
        mean + half,
        sd,
        n_cones=k,
        df=k - 1,
        confidence=confidence,
        method=f"Student's interval, {k - 1} df",
    )


def positive_mean_interval(values, *, confidence=0.95):
    """Estimate the mean of figures that cannot be negative, over hatches: Student's interval of its logarithm.

    Parameters
    ----------
    values : array_like of float, shape (k,)
        One per hatch, 0 or more; NaN is left out.
    confidence : float

    Returns
    -------
    Estimate
        ``mean x exp(+-t SD / (mean sqrt(k)))``: the quasi-Poisson model with a constant and a log link (McCullagh and
        Nelder 1989, Generalized Linear Models, 2nd ed.). Near Student's interval where hatches differ little, and
        never below 0. Bounds are NaN with fewer than three values (two would give a factor of hundreds) or a mean of 0.

    Examples
    --------
    >>> mean = hatch.positive_mean_interval([210_000, 190_000, 230_000, 205_000])
    >>> bool(0 < mean.low < mean.value < mean.high)
    True
    """
    plain = mean_interval(values, confidence=confidence)
    if plain.n_cones < 3 or not plain.value > 0:
        return replace(plain, low=math.nan, high=math.nan, note=plain.note or "Too few for an interval.")
    reach = math.exp((plain.high - plain.value) / plain.value)
    return replace(
        plain,
        low=plain.value / reach,
        high=plain.value * reach,
        method=f"Student's interval of the logarithm, {plain.n_cones - 1} df",
    )


def binomial_interval(part, whole, *, confidence=0.95, method="wilson"):
    """Interval of one proportion: counting alone, no spread between cones.

    Parameters
    ----------
    part, whole : float
        Counts.
    confidence : float
    method : {"wilson", "clopper-pearson", "jeffreys", "mid-p", "agresti-coull"}
        Wilson's score interval is the one this kit uses; the others are there to compare with.

    Returns
    -------
    (low, high) : tuple of float
        Fractions; NaN when nothing was counted.

    References
    ----------
    Newcombe 1998, Statistics in Medicine 17:857-872; Brown, Cai and DasGupta 2001, Statistical Science 16:101-133 (from
    memory), who take Jeffreys' bound to 0 (1) when none (all) were seen.

    Examples
    --------
    >>> low, high = hatch.binomial_interval(15, 148)
    >>> round(float(low), 4), round(float(high), 4)
    (0.0624, 0.1605)
    """
    if not whole > 0:
        return math.nan, math.nan
    if method == "wilson":
        low, high = score_bounds(part / whole, whole, normal_quantile(confidence) ** 2)
    elif method in _LIBRARY_METHODS:
        from statsmodels.stats.proportion import proportion_confint

        low, high = proportion_confint(part, whole, alpha=1 - confidence, method=_LIBRARY_METHODS[method])
        if method == "jeffreys":
            low, high = (0.0 if part == 0 else low), (1.0 if part == whole else high)
    elif method == "mid-p":
        low, high = _mid_p_interval(part, whole, (1 - confidence) / 2)
    else:
        raise unknown_name("method", method, ("wilson", *_LIBRARY_METHODS, "mid-p"), where="binomial_interval")
    return max(0.0, float(low)), min(1.0, float(high))


_LIBRARY_METHODS = {"clopper-pearson": "beta", "jeffreys": "jeffreys", "agresti-coull": "agresti_coull"}


def _mid_p_interval(part, whole, tail):
    """Both p at which the tail beyond the count, with half of the count's own probability, is ``tail``."""
    from scipy import optimize, stats

    def above(p):
        return stats.binom.sf(part, whole, p) + stats.binom.pmf(part, whole, p) / 2 - tail

    def below(p):
        return stats.binom.cdf(part - 1, whole, p) + stats.binom.pmf(part, whole, p) / 2 - tail

    low = 0.0 if part == 0 else optimize.brentq(above, 0, part / whole, xtol=1e-12)
    high = 1.0 if part == whole else optimize.brentq(below, part / whole, 1, xtol=1e-12)
    return low, high


@lru_cache(maxsize=256)
def normal_quantile(confidence):
    """Two-sided quantile of the normal distribution."""
    from scipy.special import ndtri  # scipy.stats takes a second to import

    return float(ndtri((1 + confidence) / 2))


@lru_cache(maxsize=256)
def student_quantile(confidence, df):
    """Two-sided quantile of Student's distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(df, (1 + confidence) / 2))


def _score_rate(total, exposure, z2):
    """Bounds of a rate at which (total - rate x exposure)^2 = z2 x rate x exposure."""
    middle, half = total + z2 / 2, math.sqrt(z2 * (total + z2 / 4))
    return (middle - half) / exposure, (middle + half) / exposure


def joined_dispersion(pearson, own_df, site, site_df, confidence=0.95):
    """Dispersion of a test's cones when the site's usual one is known: the site's, unless these cones overrule it.

    Parameters
    ----------
    pearson : float
        Pearson statistic of the test's own cones.
    own_df : int
        Its degrees of freedom; 0 for one cone.
    site : float
        Dispersion that the site's spread gives with these counts.
    site_df : float
        Degrees of freedom behind it.
    confidence : float
        Of the interval that it is for.

    Returns
    -------
    (factor, df) : tuple of float
        An interval reaches ``student_quantile(confidence, df) * sqrt(factor)``.

    Notes
    -----
    The squared reach is ``(0.82 t_site)^2 site + t_own^2 max(own - b site, 0)``: as much of the own mean square as the
    site's spread would not usually leave over counts as this lot's own, with its own few degrees of freedom. Joining
    both by degrees of freedom lets 146 earlier ones drown two: three cones that differ twice as much as usual were
    covered in 75 to 90 % of tests. b, 0.4 for two cones, 0.6 for three and 0.9 from five on, is about the largest with
    which cones that differ twice as much as usual are covered in 92 % of tests; 0.82 makes up for what the second part
    adds when they differ as usual (``tests/benchmarks/coverage.py``). One cone has no second part and
    reaches ``t_site``.

    Examples
    --------
    >>> dispersion, df = hatch.joined_dispersion(1.4, 2, 1.3, 60)
    >>> df
    62
    """
    df = site_df + own_df
    square = student_quantile(confidence, site_df) ** 2 * site
    if own_df > 0:
        square *= _USUAL_REACH**2
        excess = max(pearson / own_df - min(0.9, 0.2 + 0.2 * own_df) * site, 0.0)
        square += student_quantile(confidence, own_df) ** 2 * excess
    return square / student_quantile(confidence, df) ** 2, df


_USUAL_REACH = 0.82


def _square_width(k, pearson, confidence, site, spread, *, is_edge):
    """Squared width multiplier and the estimate's common fields; None for the width when it cannot be known."""
    common = Estimate(math.nan, n_cones=k, confidence=confidence)
    if spread is not None:
        factor, df = joined_dispersion(pearson, k - 1, site, spread.df, confidence)
        t = student_quantile(confidence, df)
        least = normal_quantile(confidence) if is_edge else counting_floor(round(df) + 1, confidence)
        joined = (spread.df * site + pearson) / df  # the plain mean of both: what the cones' skewness is read from
        return float(max(t * t * factor, least**2)), replace(
            common, df=df, dispersion=joined, method=f"spread joined with the site's own, {df:.0f} df"
        )
    if k == 1:
        return None, common
    df, factor = k - 1, pearson / (k - 1)
    t = student_quantile(confidence, df)
    least = normal_quantile(confidence) if is_edge else counting_floor(k, confidence)
    return float(max(t * t * factor, least**2)), replace(common, df=df, dispersion=factor, method=f"{df} df")


def _one_cone_note(low, high, unit, decimals):
    return (
        "One cone: how much cones differ cannot be known, so there is no interval. Counting alone would give "
        f"{low:,.{decimals}f} to {high:,.{decimals}f}{unit}; the truth is wider."
    )
