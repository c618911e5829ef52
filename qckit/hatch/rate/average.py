"""Times of a hatching curve averaged over the shapes that the counts leave open.

Which shape is right is not known, and the counts around T90 say little of it: the best of several by AIC, then taken as
known, makes T90 far too sure. Here each shape counts with its Akaike weight (Burnham and Anderson 2002, Model Selection
and Multimodel Inference, 2nd ed., section 4.2, from memory), and the interval is that of the mixture.
"""

from __future__ import annotations

import math

import numpy as np

from qckit.hatch.intervals.estimates import student_quantile
from qckit.hatch.rate.models import model_quantile

__all__ = ["OPEN", "SHARES", "akaike_weights", "averaged", "log_times"]

SHARES = (0.1, 0.5, 0.9)

OPEN = math.log(10)
"""Reach beyond which hours, or a ratio of hours, are not known at all."""


def akaike_weights(fits, dispersion=1.0):
    """Weight of each fit; the counts' dispersion divides the log likelihoods (QAIC, Burnham and Anderson, 2.5)."""
    loglik = np.array([fit.loglik for fit in fits]) / dispersion
    weight = np.exp(loglik - loglik.max()) * np.array([np.isfinite(fit.covariance).all() for fit in fits])
    return weight / weight.sum() if weight.sum() > 0 else np.full(len(fits), math.nan)


def log_times(fit):
    """ln of T10, T50, T90 and of T90 - T10 of one fit, with their standard errors and that of its scale.

    Returns
    -------
    (values, se) : tuple of ndarray, shape (4,)
        By the delta method, derivatives by central differences.
    """

    def times(theta):
        t = [math.log(model_quantile(fit.model, math.exp(theta[1]), math.exp(theta[2]), s)) for s in SHARES]
        return np.array([*t, math.log(max(math.exp(t[2]) - math.exp(t[0]), 1e-12))])

    theta, step = fit.parameters, 1e-4
    slopes = [(times(theta + step * e) - times(theta - step * e)) / (2 * step) for e in np.eye(3)]
    gradient = np.column_stack(slopes)
    variance = np.einsum("ti,ij,tj->t", gradient, fit.covariance, gradient)
    return times(theta), np.sqrt(np.maximum(variance, 0.0))


def averaged(fits, weights, *, between=0.0, n_cones=1, confidence=0.95):
    """Averaged times with their intervals.

    Parameters
    ----------
    fits : sequence of Fit
        With covariances that hold the counts' dispersion.
    weights : ndarray, shape (len(fits),)
    between : float
        Variance of the mean over cones of how early or late each was (log scale), as it was seen; 0 for one cone.
    n_cones : int
    confidence : float

    Returns
    -------
    (value, low, high) : ndarray, shape (4,)
        T10, T50, T90, T90 - T10 in hours. The shift between cones moves the times; the synchrony only in proportion.
        Bounds are NaN where the interval would reach a tenth and ten times of the value or more.

    Notes
    -----
    With several cones the squared reach of the times is ``0.62 mixture^2 + t^2 max(between - 0.25 counting, 0)``, t
    with the cones' few degrees of freedom: what they differ by beyond a part of what counting lets them differ by, and
    less of the mixture for it. The synchrony, which cones' shifts touch only in proportion, reaches 1.06 times as far
    in the square. These numbers hold three cones' coverage within 93 to 97 % whether cones differ or not
    (``tests/benchmarks/coverage.py``).
    """
    keep = [(w, fit) for w, fit in zip(weights, fits, strict=True) if w > 1e-4]
    share = np.array([w for w, _ in keep])
    share = share / share.sum()
    each = [log_times(fit) for _, fit in keep]
    values, se = (np.array([e[i] for e in each]) for i in (0, 1))
    middle = share @ values
    reach = np.array([_mixture_reach(share, values[:, t] - middle[t], se[:, t], confidence) for t in range(4)])
    if n_cones > 1:
        counting = float(share @ (se[:, 1] ** 2))  # of T50, which stands for the whole curve's place
        more = _between_reach2(between, counting, n_cones, confidence) * np.array([1, 1, 1, 0])
        reach = np.sqrt(np.array([_COUNTED_PART] * 3 + [_SYNCHRONY_PART]) * reach**2 + more)
    reach = np.where(reach < OPEN, reach, math.nan)
    return np.exp(middle), np.exp(middle - reach), np.exp(middle + reach)


def _between_reach2(between, counting, n_cones, confidence):
    """Squared reach for what the mean over cones varies by beyond counting."""
    return student_quantile(confidence, n_cones - 1) ** 2 * max(between - _COUNTING_SHARE * counting, 0.0)


_COUNTED_PART = 0.62
"""Part of the squared reach of counting and shape that stands beside what cones differ by."""

_SYNCHRONY_PART = 1.06
_COUNTING_SHARE = 0.25


def _mixture_reach(share, offset, se, confidence):
    """Half width of the symmetric interval around the mean of normal components that holds ``confidence`` of them."""
    from scipy import optimize, special

    def excess_coverage(half):
        return float(share @ (special.ndtr((half - offset) / se) - special.ndtr((-half - offset) / se))) - confidence

    if not (np.isfinite(se).all() and (se > 0).all()):
        return math.nan
    most = float(np.max(np.abs(offset) + 10 * se))
    return float(optimize.brentq(excess_coverage, 0.0, most, xtol=1e-9))
