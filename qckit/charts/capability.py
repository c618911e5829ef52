"""How many hatches will fall below the site's own minimum, if things stay as they are."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from qckit.charts.day_spread import day_spread
from qckit.hatch.intervals.plain import binomial_interval
from qckit.log_odds import logit
from qckit.words import estimated, noun, plural

__all__ = ["Capability", "share_below"]

_STRANGE = 0.1  # chance of so strange a set of normal values, under which they are not taken as normal
_NORMAL = "normal on the logit scale, interval by the noncentral t distribution"
_COUNTED = "share counted, Jeffreys' interval: the hatches are not normal on the logit scale"


@dataclass(frozen=True)
class Capability:
    """Expected share of hatches below a minimum, with its interval. [%]

    Examples
    --------
    >>> share = charts.share_below([82, 79, 85, 88, 81, 84, 80, 86, 90, 83], 75)
    >>> share.n_hatches, share.n_below
    (10, 0)
    """

    minimum: float
    share_pct: float
    share_pct_low: float
    share_pct_high: float
    n_below: int
    n_hatches: int
    confidence: float
    method: str
    of: str = ""  # which hatches, in words

    @property
    def sentence(self) -> str:
        """The share in words."""
        if not math.isfinite(self.share_pct):
            few = f"{plural(self.n_hatches, 'hatch')} {noun(self.n_hatches, 'is', 'are')} too few"
            return f"{few} to expect a share below {self.minimum:g} %."
        what = f"of hatches are to be expected below the site's minimum of {self.minimum:g} %"
        share = estimated(self.share_pct, self.share_pct_low, self.share_pct_high, "%", what=what)
        so = noun(self.n_below, "was", "were")
        return f"{share}; {self.n_below} of {self.n_hatches} {so}{self.of and f', of {self.of}'}."


def share_below(hatch_pct, minimum, *, days=None, confidence=0.95, least=8, of="") -> Capability:
    """Estimate the share of hatches below a minimum.

    Parameters
    ----------
    hatch_pct : array_like of float, shape (n,)
        One per hatch; NaN is left out. [%]
    minimum : float
        The site's own minimum. [%]
    days : array_like of int, shape (n,), optional
        Number of the day of each hatch: hatches of one day are alike, and days remember each other, so that
        they count for fewer. Each counts for itself when left out.
    confidence : float
    least : int
        Fewer hatches give NaN.
    of : str
        Which hatches these are, in words, for the sentence.

    Returns
    -------
    Capability

    Notes
    -----
    Hatching percentages are taken as normal on the logit scale; the interval is the exact one for a normal tail
    (noncentral t). It covers the spread between hatches, counting included, because the next hatch is counted too.
    Where they are not normal (Shapiro and Wilk's test below 0.1: a long tail of poor ones), the share is the one
    counted, with Jeffreys' interval. For days the number of hatches is the effective one, Var(hatch) / Var(mean)
    (Korn and Graubard 1998, Survey Methodology 24:193-201, for counted shares; from memory), averaged over what days
    may share and remember (:mod:`qckit.charts.day_spread`).

    References
    ----------
    Owen 1968, Technometrics 10:445-478; the same relation gives one-sided tolerance factors (ISO 16269-6). Shapiro and
    Wilk 1965, Biometrika 52:591-611.

    Examples
    --------
    >>> share = charts.share_below([82, 79, 85, 88, 81, 84, 80, 86, 90, 83], 75)
    >>> bool(share.share_pct_low <= share.share_pct <= share.share_pct_high)
    True
    """
    y = np.asarray(hatch_pct, float)
    known = np.isfinite(y)
    y = y[known]
    n, n_below = len(y), int(np.sum(y < minimum))
    found = Capability(
        minimum=float(minimum),
        share_pct=math.nan,
        share_pct_low=math.nan,
        share_pct_high=math.nan,
        n_below=n_below,
        n_hatches=n,
        confidence=confidence,
        method=_NORMAL,
        of=of,
    )
    if n < least:
        return found
    x = logit(y / 100, least=0.005)
    if not np.ptp(x) > 0:  # the spread of equal numbers may be rounded to more than 0
        return replace(found, share_pct=100.0 if x[0] < logit(minimum / 100) else 0.0)
    from scipy import special, stats

    effective = n
    if days is not None:  # at least three, with which an interval has an end
        effective = min(n, max(3.0, day_spread(x, np.asarray(days)[known]).independent))
    if stats.shapiro(x).pvalue < _STRANGE:
        share = n_below / n
        low, high = binomial_interval(share * effective, effective, confidence=confidence, method="jeffreys")
        found = replace(found, method=_COUNTED)
    else:
        k = (logit(minimum / 100) - float(x.mean())) / float(np.std(x, ddof=1))
        share = float(special.ndtr(k))
        low, high = normal_tail_interval(k, effective, confidence=confidence)
    return replace(found, share_pct=100 * share, share_pct_low=100 * low, share_pct_high=100 * high)


def normal_tail_interval(k, n, *, confidence=0.95):
    """Interval of the share of a normal population below mean + k SD, both estimated from n values.

    Returns
    -------
    tuple of float
        Shares between 0 and 1.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr
    from scipy.stats import nct

    t, root = k * math.sqrt(n), math.sqrt(n)
    reach = 8.0 * math.sqrt(1 + t * t / (2 * (n - 1)))

    def bound(chance):
        def excess(delta):
            value = float(nct.cdf(t, n - 1, delta))
            if math.isnan(value):  # far out in a tail, where the library gives up
                value = 0.0 if delta > t else 1.0
            return value - chance

        return brentq(excess, t - reach, t + reach, xtol=1e-6)

    alpha = 1 - confidence
    return float(ndtr(bound(1 - alpha / 2) / root)), float(ndtr(bound(alpha / 2) / root))
