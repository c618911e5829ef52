"""How far an interval over cones reaches: floors for few cones and few counts, skewness, a site's known spread.

Each was chosen by simulation (``tests/benchmarks/coverage.py``).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import replace
from functools import lru_cache

import numpy as np

from qckit.hatch.intervals.estimates import Estimate, normal_quantile, student_quantile

__all__ = ["counting_floor", "floor_of_few", "joined_dispersion", "skewness_reach"]


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


def skewness_reach(dispersion, share, n_mean, steepness=0.8):
    """How much further the bound away from the border of a proportion must reach because cones are skewed there.

    Parameters
    ----------
    dispersion : float or ndarray
        Pearson dispersion phi.
    share : float or ndarray
        The smaller of the two shares (hatched or not), 0 to 0.5.
    n_mean : float
        Mean count of a cone.
    steepness : float

    Returns
    -------
    float or ndarray
        ``1 + steepness (1 - 2 q) CV``, with CV the cones' coefficient of variation of q beyond counting,
        ``CV^2 = (phi - 1) (1 - q) / (n q)``. 1 at one half and where cones do not differ. The skewness of a beta's or
        a log-normal's cones is 2 to 3 times CV; 0.8 was chosen by simulation over 2 to 6 cones.

    Examples
    --------
    >>> round(float(hatch.skewness_reach(1.5, 0.9, 300)), 2)
    0.99
    """
    cv2 = np.maximum(0.0, dispersion - 1) * (1 - share) / (n_mean * share)
    return 1 + steepness * (1 - 2 * share) * np.sqrt(cv2)


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


def inward_width(z2, parts, centre, total, k, fewer, confidence):
    """Squared width multiplier of the bound away from the border.

    ``parts`` are (squared width, dispersion, steepness of :func:`skewness_reach`), which add up.
    """
    share = max(min(centre, 1 - centre), 0.5 / total)
    skewed = sum(
        square * float(skewness_reach(dispersion, share, total / k, steepness)) ** 2
        for square, dispersion, steepness in parts
    )
    return max(z2, skewed, float(floor_of_few(fewer, confidence)) ** 2)


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
    The squared reach is ``(A z)^2 site + t_own^2 max(own - b site, 0)``: as much of the own mean square as the
    site's spread would not usually leave over counts as this lot's own, with its own few degrees of freedom. Joining
    both by degrees of freedom lets 146 earlier ones drown two: three cones that differ twice as much as usual were
    covered in 75 to 90 % of tests. A is 0.74, 0.78 and 0.82 and b 0.1, 0.35 and 0.6 for two, three and four cones
    (0.82 and 0.7 from five on): with them cones that differ as usual, twice and three times as much are covered in 94
    to 97, 92 or more and 89 % or more of tests (``tests/benchmarks/coverage.py``). One cone has no second part and
    reaches ``t_site``; with more the second part makes up for what is not known of the site's spread too. Near 0 and
    100 % each part reaches further by the skewness of its own spread: the site's, which is known, little, this lot's
    own the more.

    Examples
    --------
    >>> dispersion, df = hatch.joined_dispersion(1.4, 2, 1.3, 60)
    >>> df
    62
    """
    df = site_df + own_df
    return sum(_joined_squares(pearson, own_df, site, site_df, confidence)) / student_quantile(confidence, df) ** 2, df


def _joined_squares(pearson, own_df, site, site_df, confidence):
    """Squared reach for what is usual here, and for what this test's cones differ by beyond it."""
    if not own_df > 0:
        return student_quantile(confidence, site_df) ** 2 * site, 0.0
    usual = (min(0.82, 0.7 + 0.04 * own_df) * normal_quantile(confidence)) ** 2 * site
    excess = max(pearson / own_df - min(0.7, 0.25 * own_df - 0.15) * site, 0.0)
    return usual, student_quantile(confidence, own_df) ** 2 * excess


def square_width(k, pearson, confidence, site, spread, *, is_edge):
    """Squared width multiplier, its parts for :func:`inward_width`, and the estimate's common fields.

    The width is None and there are no parts when it cannot be known.
    """
    common = Estimate(math.nan, n_cones=k, confidence=confidence)
    own_df = k - 1
    if spread is not None:
        df = spread.df + own_df
        least = normal_quantile(confidence) if is_edge else counting_floor(round(df) + 1, confidence)
        usual, beyond = _joined_squares(pearson, own_df, site, spread.df, confidence)
        parts = [(usual, site, min(0.6, 0.15 * max(own_df, 1))), (beyond, pearson / max(own_df, 1), 1.3)]
        joined = (spread.df * site + pearson) / df
        return (
            float(max(usual + beyond, least**2)),
            parts,
            replace(common, df=df, dispersion=joined, method=f"spread joined with the site's own, {df:.0f} df"),
        )
    if k == 1:
        return None, [], common
    factor = pearson / own_df
    least = normal_quantile(confidence) if is_edge else counting_floor(k, confidence)
    z2 = float(max(student_quantile(confidence, own_df) ** 2 * factor, least**2))
    return z2, [(z2, factor, 0.8)], replace(common, df=own_df, dispersion=factor, method=f"{own_df} df")
