"""How counts scatter about a level when hatches differ: the variance at each size, and the lean of its tails.

The prime charts as published take limits equally far on both sides and let all of the spread shrink with the number
counted. Real hatches near 85 % lean downwards, rare things lean upwards, and what hatches differ by does not shrink
when more is counted. Both make false alarms come more often than stated; this module holds the corrections.
"""

from __future__ import annotations

import numpy as np

__all__ = ["between_share", "lean", "least_sigma", "limit_value", "normal_score", "on_the_line"]

_STRAIGHT = 1e-4  # a smaller lean is none
_FARTHEST = 12.0  # standard deviations; beyond it the tail of the law is not resolved
_FEW = 5.0  # expected of a point: a count of fewer is far from normal


def between_share(sigma_z, sizes):
    """Variance between hatches per thing counted, relative to the plain law's.

    Parameters
    ----------
    sigma_z : float
        Spread of the points over the binomial or Poisson one (Laney's sigma z).
    sizes : array_like of float, shape (n,)
        What was counted at each point.

    Returns
    -------
    float
        b, such that the variance at size m is the plain one times (1 + b m): the part between hatches does not shrink
        with m, as in the beta-binomial and negative binomial laws. 0 without overdispersion.
    """
    return max(0.0, float(sigma_z) ** 2 - 1) / float(np.mean(sizes))


def lean(kind, centre, size, ratio):
    """Skewness of a count whose variance is ``ratio`` times the plain law's.

    Parameters
    ----------
    kind : str
        ``p prime`` or ``u prime``.
    centre, size, ratio : ndarray, shape (n,)
        Level (a share, or a rate per unit), size, and variance ratio of each point.

    Returns
    -------
    ndarray, shape (n,)

    References
    ----------
    Third moments of the beta-binomial law (for large alpha + beta) and of the negative binomial law; Johnson, Kemp
    and Kotz 2005, Univariate Discrete Distributions, 3rd ed. (from memory; checked in the tests).
    """
    factor = np.maximum(2 * ratio - 1, 0)
    if kind == "p prime":
        return (1 - 2 * centre) * factor / np.sqrt(ratio * size * centre * (1 - centre))
    return factor / np.sqrt(ratio * size * centre)


def least_sigma(kind, centre, size) -> float:
    """Least standard deviation, in those of the plain law: 1 where so little is counted that ranges are mostly 0.

    Ranges of neighbours over 1.128 are the spread of a normal law; of mostly 0 they are far too small.

    Parameters
    ----------
    kind : str
        ``p prime`` or ``u prime``.
    centre : float
        Level: a share, or a rate per unit.
    size : ndarray, shape (n,)

    Returns
    -------
    float
        1 where fewer than five are expected of a usual point (Cochran 1954, Biometrics 10:417, from memory), else 0.
    """
    expected = np.median(size) * (min(centre, 1 - centre) if kind == "p prime" else centre)
    return 1.0 if expected < _FEW else 0.0


def normal_score(w, skewness):
    """Standard normal value with the same chance below it as a standardised value of a leaning law.

    Parameters
    ----------
    w : ndarray, shape (n,)
        (value - mean) / standard deviation.
    skewness : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)
        Of a shifted gamma law (Pearson type III) with this skewness; NaN stays NaN.
    """
    from scipy.special import gammainc, gammaincc, ndtri

    w, g = np.broadcast_arrays(np.asarray(w, float), np.asarray(skewness, float))
    z, leaning = w.copy(), np.abs(g) > _STRAIGHT
    shape = 4 / g[leaning] ** 2
    side = np.sign(g[leaning])
    x = shape + side * w[leaning] * np.sqrt(shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        below, above = gammainc(shape, np.maximum(x, 0)), gammaincc(shape, np.maximum(x, 0))
        score = np.where(below < 0.5, ndtri(below), -ndtri(above))
    z[leaning] = np.where(np.isfinite(x), side * score, np.nan)
    return np.clip(z, -_FARTHEST, _FARTHEST)


def on_the_line(w, half, skewness):
    """Normal scores of counts, 0 where the law's middle falls on the count itself.

    Where most hatches have none of something rare, none is below the mean and yet the usual case: runs on one side
    would be its most frequent signal. On a side stands only what fewer than half reach.

    Parameters
    ----------
    w : ndarray, shape (n,)
        (value - mean) / standard deviation.
    half : ndarray, shape (n,)
        Half a count, in standard deviations.
    skewness : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)
    """
    below, above = normal_score(w - half, skewness), normal_score(w + half, skewness)
    return np.where((below <= 0) & (above >= 0), 0.0, normal_score(w, skewness))


def limit_value(k, skewness):
    """Standardised value that a leaning law exceeds as rarely as the normal law exceeds k; inverse of the above.

    Parameters
    ----------
    k : float
    skewness : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)
    """
    from scipy.special import gammainccinv, gammaincinv, ndtr

    g = np.asarray(skewness, float)
    w, leaning = np.full(g.shape, float(k)), np.abs(g) > _STRAIGHT
    shape, side = 4 / g[leaning] ** 2, np.sign(g[leaning])
    at = side * k
    x = np.where(at < 0, gammaincinv(shape, ndtr(at)), gammainccinv(shape, ndtr(-at)))
    w[leaning] = side * (x - shape) / np.sqrt(shape)
    return w
