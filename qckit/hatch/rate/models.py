"""Likelihood of interval-censored hatching times with a share that never hatches."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.log_odds import expit, logit

__all__ = [
    "MODELS",
    "Fit",
    "counts_dispersion",
    "covariance_at",
    "fit_model",
    "likelihood_of",
    "minimise",
    "model_curve",
    "model_quantile",
    "monotone_curve",
    "place_of_cone",
]

MODELS = ("log-logistic", "log-normal", "Weibull", "gamma", "inverse Weibull", "log-gamma")
_LEAN = 4.0  # shape of the log-gamma: half way from the log-normal to the inverse Weibull (Prentice's q of -1/2)


@dataclass(frozen=True)
class Fit:
    """One fitted curve d F(t): ceiling, scale, slope, with the covariance of (logit d, ln scale, ln slope)."""

    model: str
    ceiling: float  # d, share that ever hatches
    scale_h: float  # T50 of responders for log-logistic and log-normal
    slope: float
    covariance: np.ndarray
    loglik: float
    is_converged: bool

    @property
    def parameters(self) -> np.ndarray:
        """Logit of the ceiling, ln scale, ln slope."""
        d = min(max(self.ceiling, 1e-9), 1 - 1e-9)
        return np.array([logit(d), math.log(self.scale_h), math.log(self.slope)])

    @property
    def ceiling_se(self) -> float:
        """Standard error of the ceiling."""
        return self.ceiling * (1 - self.ceiling) * math.sqrt(max(self.covariance[0, 0], 0))


def _shape(model, hours, scale, slope):
    """F(t) of responders."""
    from scipy import special

    with np.errstate(divide="ignore", over="ignore"):
        log_ratio = np.where(np.asarray(hours) > 0, np.log(np.maximum(hours, 1e-300) / scale), -np.inf)
        if model == "log-logistic":
            return special.expit(slope * log_ratio)
        if model == "log-normal":
            return special.ndtr(slope * log_ratio)
        if model == "gamma":  # of mean e and coefficient of variation 1 / b
            return special.gammainc(slope**2, slope**2 * np.exp(log_ratio))
        if model == "inverse Weibull":  # a steep beginning and stragglers, the mirror of the Weibull's
            return np.exp(-np.exp(-slope * log_ratio))
        if model == "log-gamma":
            return special.gammaincc(_LEAN, _LEAN * np.exp(-slope * log_ratio / math.sqrt(_LEAN)))
        return -np.expm1(-np.exp(slope * log_ratio))


def model_curve(fit, hours):
    """Share hatched by each hour, d F(t). [fraction]"""
    return fit.ceiling * _shape(fit.model, np.asarray(hours, float), fit.scale_h, fit.slope)


def model_quantile(model, scale, slope, share):
    """Hours by which ``share`` of those that hatch have hatched. [h]"""
    from scipy import special

    if model == "log-logistic":
        return scale * (share / (1 - share)) ** (1 / slope)
    if model == "log-normal":
        return scale * np.exp(special.ndtri(share) / slope)
    if model == "gamma":
        return scale * special.gammaincinv(slope**2, share) / slope**2
    if model == "inverse Weibull":
        return scale * (-np.log(share)) ** (-1 / slope)
    if model == "log-gamma":
        return scale * (special.gammainccinv(_LEAN, share) / _LEAN) ** (-math.sqrt(_LEAN) / slope)
    return scale * (-np.log1p(-share)) ** (1 / slope)


def fit_model(model, start_h, end_h, counts, *, synchrony=None):
    """Fit one curve by maximum likelihood over the intervals (multinomial).

    Parameters
    ----------
    model : {"log-logistic", "log-normal", "Weibull", "gamma", "inverse Weibull", "log-gamma"}
        d / (1 + (t/e)^-b), d Phi(b ln(t/e)), d (1 - exp(-(t/e)^b)), d times the gamma distribution of mean e and
        coefficient of variation 1 / b, d exp(-(t/e)^-b), and between this and the log-normal the generalised gamma
        distribution with q = -1/2 (Prentice 1974, Biometrika 61:539-544, from memory).
    start_h, end_h : array_like of float, shape (m,)
        Interval (start, end] in which the event fell; an infinite end means not yet, or never. [h]
    counts : array_like of float, shape (m,)
        How many.
    synchrony : (float, float), optional
        Middle and standard deviation of ln(T90 - T10) that are likely beforehand: where a curve rises wholly between
        two readings its likelihood only grows with its slope, and no time has a bound. ``loglik`` stays without it.

    Returns
    -------
    Fit

    References
    ----------
    Ritz, Pipper and Streibig 2013, European Journal of Agronomy 45:1-6. Penalised likelihood against estimates that
    run to infinity: Cole, Chu and Greenland 2014, American Journal of Epidemiology 179:252-260 (from memory).
    """
    plain, observed, end, n = _cost(model, start_h, end_h, counts)
    cost = plain if synchrony is None else _with_synchrony(plain, model, *synchrony)
    share = min(max(n[observed].sum() / n.sum(), 0.02), 0.98)
    hours = end[observed] if observed.any() else np.asarray(start_h, float)
    begins = [
        np.array([logit(share), math.log(scale), math.log(slope)])
        for slope in (3.0, 6.0, 12.0, 25.0)
        for scale in np.geomspace(0.7 * hours.min(), 1.2 * hours.max(), 8)
    ]
    x, _, is_good = minimise(cost, min(begins, key=cost))
    x = np.clip(x, -30, 30)  # a likelihood that is flat may send it anywhere
    d, scale, slope = expit(x[0]), math.exp(x[1]), math.exp(x[2])
    return Fit(
        model=model,
        ceiling=d,
        scale_h=scale,
        slope=slope,
        covariance=covariance_at(cost, x),
        loglik=-plain(x),
        is_converged=is_good,
    )


def _with_synchrony(cost, model, middle, sd):
    """Add what is likely of ln(T90 - T10) beforehand."""

    def penalised(theta):
        slope = math.exp(max(min(theta[2], 5), -1))  # flatter ones overflow and are no hatch
        apart = model_quantile(model, 1.0, slope, 0.9) - model_quantile(model, 1.0, slope, 0.1)
        return cost(theta) + ((theta[1] + math.log(apart) - middle) / sd) ** 2 / 2

    return penalised


def _cost(model, start_h, end_h, counts):
    """Minus the log likelihood as a function of (logit d, ln scale, ln slope), and the intervals that count."""
    start, end, n = (np.asarray(v, float) for v in (start_h, end_h, counts))
    start, end, n = start[n > 0], end[n > 0], n[n > 0]
    observed = np.isfinite(end)
    # the same hour ends one interval and starts the next: each is looked up once
    hours, place = np.unique(np.concatenate([start, np.where(observed, end, 0.0)]), return_inverse=True)
    at_start, at_end = place[: len(start)], place[len(start) :]

    def cost(theta):
        d = expit(max(min(theta[0], 30), -30))
        scale, slope = math.exp(max(min(theta[1], 20), -20)), math.exp(max(min(theta[2], 5), -5))
        curve = d * _shape(model, hours, scale, slope)
        share = np.where(observed, curve[at_end], 1.0) - curve[at_start]
        return -float(n @ np.log(np.maximum(share, 1e-300)))

    return cost, observed, end, n


def likelihood_of(model, start_h, end_h, counts):
    """Minus the log likelihood of intervals under a curve, as a function of (logit d, ln scale, ln slope)."""
    return _cost(model, start_h, end_h, counts)[0]


def minimise(cost, begin):
    """Minimum of a smooth cost: quasi-Newton, or a simplex where that does not settle.

    Returns
    -------
    (x, value, is_converged)
    """
    from scipy import optimize

    found = optimize.minimize(cost, begin, method="BFGS", options={"gtol": 1e-3})
    if np.abs(found.jac).max() > 0.05 or not np.isfinite(found.fun):
        options = {"xatol": 1e-8, "fatol": 1e-9, "maxiter": 4000, "maxfev": 4000}
        found = optimize.minimize(cost, begin, method="Nelder-Mead", options=options)
    return found.x, float(found.fun), bool(np.isfinite(found.fun))


def place_of_cone(fit, start_h, end_h, counts):
    """Ceiling and scale of one cone with the slope of the lot's curve.

    Parameters
    ----------
    fit : Fit
        Of all cones together.
    start_h, end_h, counts : ndarray, shape (m,)
        Of one cone.

    Returns
    -------
    (ceiling, shift) : tuple of float
        Share that hatches, and ln(scale of the cone / scale of the lot).
    """
    cost = _cost(fit.model, start_h, end_h, counts)[0]
    log_scale, log_slope = math.log(fit.scale_h), math.log(fit.slope)

    def of_cone(theta):
        return cost((theta[0], log_scale + max(min(theta[1], 5), -5), log_slope))

    at = minimise(of_cone, np.array([fit.parameters[0], 0.0]))[0]
    return expit(max(min(at[0], 30), -30)), float(at[1])


def counts_dispersion(fit, courses, places):
    """Pearson dispersion of counts around their cones' curves, never below 1.

    Parameters
    ----------
    fit : Fit
        Of all cones together.
    courses : sequence of DataFrame
        hours, nauplii, full_cysts of each cone.
    places : sequence of (float, float) or None
        From :func:`place_of_cone`; None for a cone that is held against the lot's own curve.

    Returns
    -------
    float
        What is left when each cone may be early or late as a whole: else that would count as scatter of the counts and
        widen the synchrony, which it hardly touches.
    """
    chi2, df = 0.0, -1
    for course, place in zip(courses, places, strict=True):
        of_cone = fit if place is None else replace(fit, ceiling=place[0], scale_h=fit.scale_h * math.exp(place[1]))
        n, x = course["full_cysts"].to_numpy(float), course["nauplii"].to_numpy(float)
        share = np.clip(model_curve(of_cone, course["hours"]), 1e-6, 1 - 1e-6)
        chi2 += float(np.sum((x - n * share) ** 2 / (n * share * (1 - share))))
        df += len(n) - (0 if place is None else 2)
    df -= 2 if all(place is None for place in places) else 0
    return max(1.0, chi2 / df) if df > 0 else 1.0


def covariance_at(cost, x):
    """Inverse of the observed information by central differences; NaN where it is not positive."""
    size, step = len(x), 1e-4
    hessian = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            a, b = np.eye(size)[i] * step, np.eye(size)[j] * step
            hessian[i, j] = (cost(x + a + b) - cost(x + a - b) - cost(x - a + b) + cost(x - a - b)) / (4 * step**2)
    try:
        inverse = np.linalg.inv(hessian)
    except np.linalg.LinAlgError:
        return np.full((size, size), np.nan)
    return inverse if (np.diag(inverse) > 0).all() else np.full((size, size), np.nan)


def monotone_curve(hours, part, whole):
    """Non-parametric rising curve: isotonic regression of the shares, weighted by what was counted.

    Parameters
    ----------
    hours, part, whole : array_like of float, shape (m,)
        Hours in any order; counts.

    Returns
    -------
    DataFrame, columns hours, hatched_frac
        One row per distinct hour, never falling. For counts at separate times (each cyst seen once) this is the
        maximum-likelihood curve of current-status data (Ayer and others 1955, Annals of Mathematical Statistics
        26:641-647).

    Examples
    --------
    >>> hatch.monotone_curve([12, 16, 20, 24], [10, 50, 45, 80], [100, 100, 100, 100])
       hours  hatched_frac
    0   12.0         0.100
    1   16.0         0.475
    2   20.0         0.475
    3   24.0         0.800
    """
    from scipy.optimize import isotonic_regression

    table = pd.DataFrame({"hours": hours, "part": part, "whole": whole}).astype(float).dropna()
    table = table[table["whole"] > 0].groupby("hours", as_index=False).sum()
    if not len(table):
        return pd.DataFrame({"hours": [], "hatched_frac": []})
    shares = isotonic_regression((table["part"] / table["whole"]).to_numpy(), weights=table["whole"].to_numpy()).x
    return pd.DataFrame({"hours": table["hours"], "hatched_frac": np.clip(shares, 0, 1)})
