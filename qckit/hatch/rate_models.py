"""Likelihood of interval-censored hatching times with a share that never hatches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["MODELS", "Fit", "fit_model", "model_curve", "model_quantile", "shift_of_cone"]

MODELS = ("log-logistic", "log-normal", "Weibull")


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
        return np.array([math.log(d / (1 - d)), math.log(self.scale_h), math.log(self.slope)])

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
    return scale * (-np.log1p(-share)) ** (1 / slope)


def fit_model(model, start_h, end_h, counts):
    """Fit one curve by maximum likelihood over the intervals (multinomial).

    Parameters
    ----------
    model : {"log-logistic", "log-normal", "Weibull"}
        d / (1 + (t/e)^-b), d Phi(b ln(t/e)), d (1 - exp(-(t/e)^b)).
    start_h, end_h : array_like of float, shape (m,)
        Interval (start, end] in which the event fell; an infinite end means not yet, or never. [h]
    counts : array_like of float, shape (m,)
        How many.

    Returns
    -------
    Fit

    References
    ----------
    Ritz, Pipper and Streibig 2013, European Journal of Agronomy 45:1-6.
    """
    from scipy import optimize

    start, end, n = (np.asarray(v, float) for v in (start_h, end_h, counts))
    start, end, n = start[n > 0], end[n > 0], n[n > 0]
    seen = np.isfinite(end)

    def cost(theta):
        d = 1 / (1 + math.exp(-max(min(theta[0], 30), -30)))
        scale, slope = math.exp(max(min(theta[1], 20), -20)), math.exp(max(min(theta[2], 7), -7))
        by_end = np.where(seen, d * _shape(model, np.where(seen, end, 1.0), scale, slope), 1.0)
        share = by_end - d * _shape(model, start, scale, slope)
        return -float(np.sum(n * np.log(np.maximum(share, 1e-300))))

    middle = np.where(seen, (start + end) / 2, start)
    share = min(max(n[seen].sum() / n.sum(), 0.02), 0.98)
    centre = float(np.average(middle[seen], weights=n[seen])) if seen.any() else float(middle.max() + 1)
    best = None
    for slope in (4.0, 10.0, 25.0):
        begin = np.array([math.log(share / (1 - share)), math.log(centre), math.log(slope)])
        options = {"xatol": 1e-3, "fatol": 1e-3, "maxiter": 400}
        found = optimize.minimize(cost, begin, method="Nelder-Mead", options=options)
        if best is None or found.fun < best.fun:
            best = found
    options = {"xatol": 1e-9, "fatol": 1e-10, "maxiter": 4000, "maxfev": 4000}
    best = optimize.minimize(cost, best.x, method="Nelder-Mead", options=options)
    d, scale, slope = 1 / (1 + math.exp(-best.x[0])), math.exp(best.x[1]), math.exp(best.x[2])
    return Fit(model, d, scale, slope, _covariance(cost, best.x), -float(best.fun), bool(best.success))


def shift_of_cone(fit, start_h, end_h, counts):
    """Scale of one cone on the log scale, with the slope of the lot's curve and a ceiling of its own.

    Parameters
    ----------
    fit : Fit
        Of all cones together.
    start_h, end_h, counts : ndarray, shape (m,)
        Of one cone.

    Returns
    -------
    float
        ln(scale of the cone / scale of the lot).
    """
    from scipy import optimize

    start, end, n = (np.asarray(v, float) for v in (start_h, end_h, counts))
    seen = np.isfinite(end)

    def cost(theta):
        d, scale = 1 / (1 + math.exp(-max(min(theta[0], 30), -30))), fit.scale_h * math.exp(max(min(theta[1], 5), -5))
        by_end = np.where(seen, d * _shape(fit.model, np.where(seen, end, 1.0), scale, fit.slope), 1.0)
        share = by_end - d * _shape(fit.model, start, scale, fit.slope)
        return -float(np.sum(n * np.log(np.maximum(share, 1e-300))))

    options = {"xatol": 1e-5, "fatol": 1e-6, "maxiter": 400}
    return float(optimize.minimize(cost, [fit.parameters[0], 0.0], method="Nelder-Mead", options=options).x[1])


def _covariance(cost, x):
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
