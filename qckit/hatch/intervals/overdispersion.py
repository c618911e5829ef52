"""Counts that scatter more than chance: dispersion tests; beta-binomial, logistic-normal and quasi-binomial fits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError

__all__ = [
    "BetaBinomialFit",
    "Dispersion",
    "LogitFit",
    "binomial_dispersion",
    "dose_at_share",
    "fit_beta_binomial",
    "fit_beta_binomial_on",
    "fit_logistic_normal",
    "fit_quasi_binomial",
    "poisson_dispersion",
]


@dataclass(frozen=True)
class Dispersion:
    """A chi-square test of equal means or proportions.

    Examples
    --------
    >>> hatch.poisson_dispersion([98, 105, 131, 80]).df
    3
    """

    chi2: float
    df: int
    p_value: float  # upper tail

    @property
    def ratio(self) -> float:
        """chi2 / df: about 1 when only chance is at work."""
        return self.chi2 / self.df if self.df else math.nan


@dataclass(frozen=True)
class BetaBinomialFit:
    """Common proportion and intra-group correlation by maximum likelihood.

    Examples
    --------
    >>> fit = hatch.fit_beta_binomial([80, 70, 92, 61], [100, 100, 100, 100])
    >>> 0 < fit.rho < 0.2
    True
    """

    share: float
    rho: float
    loglik: float


@dataclass(frozen=True)
class LogitFit:
    """Logit model of proportions on conditions, with groups that differ beyond it.

    Examples
    --------
    >>> design = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    >>> fit = hatch.fit_logistic_normal([80, 84, 79, 60, 66, 58], [100] * 6, design)
    >>> fit.coefficients.shape
    (2,)
    """

    coefficients: np.ndarray  # (m,)
    standard_errors: np.ndarray  # (m,)
    spread: float  # rho of the beta-binomial, or SD on the logit scale of the logistic-normal
    loglik: float


def poisson_dispersion(counts):
    """Test whether counts of equal volumes scatter as chance alone would make them (index of dispersion).

    Parameters
    ----------
    counts : array_like of float, shape (n,)
        Counts of subsamples; n at least 2.

    Returns
    -------
    Dispersion
        A small p says that nauplii clump or the sample was not mixed.

    References
    ----------
    Fisher, Thornton and Mackenzie 1922, Annals of Applied Biology 9:325-359 (from memory).

    Examples
    --------
    >>> round(hatch.poisson_dispersion([98, 105, 131, 80]).chi2, 2)
    12.96
    """
    counts = np.asarray(counts, float)
    if len(counts) < 2 or not counts.sum() > 0:
        return Dispersion(math.nan, max(len(counts) - 1, 0), math.nan)
    return _chi2(float(np.sum((counts - counts.mean()) ** 2) / counts.mean()), len(counts) - 1)


def binomial_dispersion(part, whole):
    """Test whether proportions of several cones scatter as counting alone would make them.

    Parameters
    ----------
    part, whole : array_like of float, shape (k,)

    Returns
    -------
    Dispersion

    Examples
    --------
    >>> hatch.binomial_dispersion([80, 70, 92, 61], [100, 100, 100, 100]).p_value < 0.001
    True
    """
    x, n = np.asarray(part, float), np.asarray(whole, float)
    share = x.sum() / n.sum() if n.sum() > 0 else math.nan
    if len(x) < 2 or not 0 < share < 1:
        return Dispersion(math.nan, max(len(x) - 1, 0), math.nan)
    return _chi2(float(np.sum((x - n * share) ** 2 / (n * share * (1 - share)))), len(x) - 1)


def fit_beta_binomial(part, whole):
    """Fit a beta-binomial to counts of several cones.

    Parameters
    ----------
    part, whole : array_like of int, shape (k,)
        k at least 2.

    Returns
    -------
    BetaBinomialFit
        ``rho`` = 1 / (a + b + 1); 0 when the cones scatter no more than chance.

    Examples
    --------
    >>> round(hatch.fit_beta_binomial([80, 70, 92, 61], [100, 100, 100, 100]).share, 3)
    0.759
    """
    from scipy import optimize, special, stats

    x, n = np.asarray(part, float), np.asarray(whole, float)
    if len(x) < 2 or (x > n).any() or (x < 0).any():
        raise InputError(
            f"{len(x)} cones were given to a beta-binomial fit; it needs two or more, each with a part no "
            "larger than its whole."
        )
    share = float(np.clip(x.sum() / n.sum(), 1e-6, 1 - 1e-6))
    plain = float(np.sum(stats.binom.logpmf(x, n, share)))

    def cost(theta):
        p, rho = special.expit(theta[0]), special.expit(theta[1])
        both = 1 / rho - 1
        return -float(np.sum(stats.betabinom.logpmf(x, n, p * both, (1 - p) * both)))

    bounds = [(-14, 14), (math.log(1e-7), 4)]
    starts = ([special.logit(share), special.logit(r)] for r in (1e-4, 0.01, 0.1))
    best = min((optimize.minimize(cost, s, bounds=bounds, method="L-BFGS-B") for s in starts), key=lambda r: r.fun)
    best = optimize.minimize(cost, best.x, bounds=bounds, method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    if -best.fun <= plain + 1e-6:
        return BetaBinomialFit(share, 0.0, plain)
    return BetaBinomialFit(float(special.expit(best.x[0])), float(special.expit(best.x[1])), -float(best.fun))


def fit_beta_binomial_on(part, whole, design):
    """Fit a beta-binomial whose logit mean depends on conditions, with one intra-group correlation.

    Parameters
    ----------
    part, whole : array_like of int, shape (k,)
    design : array_like of float, shape (k, m)
        Columns of the model, an intercept among them if one is wanted; k above m.

    Returns
    -------
    LogitFit
        ``spread`` is rho = 1 / (a + b + 1).

    References
    ----------
    Williams 1975, Biometrics 31:949-952 (from memory).

    Examples
    --------
    >>> design = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    >>> fit = hatch.fit_beta_binomial_on([80, 84, 79, 60, 66, 58], [100] * 6, design)
    >>> bool(fit.coefficients[1] < 0)
    True
    """
    from scipy import special, stats

    x, n, design = _check_groups(part, whole, design)

    def loglik(theta):
        p, both = special.expit(design @ theta[:-1]), np.exp(-theta[-1])  # rho / (1 - rho) = exp(theta)
        return float(np.sum(stats.betabinom.logpmf(x, n, p * both, (1 - p) * both)))

    theta, errors, best = _maximise(loglik, x, n, design, start=-4.0)
    return LogitFit(theta[:-1], errors[:-1], float(special.expit(theta[-1])), best)


def fit_logistic_normal(part, whole, design, *, groups=None, n_nodes=25):
    """Fit a logit model of proportions on conditions with a normal effect of each group (a mixed model).

    Parameters
    ----------
    part, whole : array_like of int, shape (k,)
    design : array_like of float, shape (k, m)
    groups : array_like, shape (k,), optional
        Which rows share a group's effect, such as the cone of several readings; each row its own group when left out.
    n_nodes : int
        Nodes of the adaptive Gauss-Hermite quadrature.

    Returns
    -------
    LogitFit
        ``spread`` is the standard deviation of the groups on the logit scale.

    References
    ----------
    Breslow and Clayton 1993, J. Am. Stat. Assoc. 88:9-25; quadrature around each group's mode: Pinheiro and Bates 1995,
    J. Comput. Graph. Stat. 4:12-35 (from memory).

    Examples
    --------
    >>> design = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    >>> fit = hatch.fit_logistic_normal([80, 84, 79, 60, 66, 58], [100] * 6, design)
    >>> bool(fit.coefficients[1] < 0)
    True
    """
    from scipy import special, stats

    x, n, design = _check_groups(part, whole, design)
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_nodes)
    names, row = np.unique(np.arange(len(x)) if groups is None else np.asarray(groups), return_inverse=True)
    if len(row) != len(x) or len(names) < 2:
        raise InputError(f"{len(row)} groups were named for {len(x)} rows; name one for each row, two or more in all.")

    def summed(values):
        return np.bincount(row, values, len(names))

    def loglik(theta):
        eta, sd = design @ theta[:-1], math.exp(theta[-1])
        mode = np.zeros(len(names))
        for _ in range(20):
            p = special.expit(eta + sd * mode[row])
            bend = sd**2 * summed(n * p * (1 - p)) + 1
            mode = mode + np.clip((sd * summed(x - n * p) - mode) / bend, -2, 2)
        scale = 1 / np.sqrt(bend)
        u = mode[:, None] + scale[:, None] * nodes
        p = special.expit(eta[:, None] + sd * u[row])
        of_row = stats.binom.logpmf(x[:, None], n[:, None], p)
        of_group = np.column_stack([summed(column) for column in of_row.T])
        part_of = of_group + stats.norm.logpdf(u) + nodes**2 / 2
        return float(np.sum(special.logsumexp(part_of, axis=1, b=weights) + np.log(scale)))

    theta, errors, best = _maximise(loglik, x, n, design, start=-1.5)
    return LogitFit(theta[:-1], errors[:-1], math.exp(theta[-1]), best)


def _check_groups(part, whole, design):
    x, n, design = np.asarray(part, float), np.asarray(whole, float), np.asarray(design, float)
    if design.ndim != 2 or len(design) != len(x) or len(x) <= design.shape[1] or (x > n).any() or (x < 0).any():
        raise InputError(
            f"{len(x)} groups and a design of shape {design.shape} were given; a fit needs one row of the "
            "design for each group, more groups than columns, and parts no larger than their "
            "wholes."
        )
    return x, n, design


def _maximise(loglik, x, n, design, *, start):
    """Maximum likelihood from the plain binomial fit on; standard errors from the curvature."""
    from scipy import optimize
    from statsmodels.tools.numdiff import approx_hess

    first = np.append(fit_quasi_binomial(x, n, design)["coefficients"], start)
    found = optimize.minimize(lambda t: -loglik(t), first, method="BFGS")
    found = optimize.minimize(
        lambda t: -loglik(t), found.x, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000}
    )
    curve = approx_hess(found.x, lambda t: -loglik(t))
    with np.errstate(invalid="ignore"):
        return found.x, np.sqrt(np.diag(np.linalg.pinv(curve))), -float(found.fun)


def fit_quasi_binomial(part, whole, design):
    """Fit a logit model of proportions on conditions, with the Pearson dispersion in the standard errors.

    Parameters
    ----------
    part, whole : array_like of float, shape (k,)
    design : array_like of float, shape (k, m)
        Columns of the model, an intercept among them if one is wanted.

    Returns
    -------
    dict
        coefficients (m,), standard_errors (m,) (quasi), covariance (m, m) (binomial, dispersion 1), dispersion,
        deviance, pearson, df.

    Notes
    -----
    Scoring iterations written out, since importing statsmodels' models takes two seconds that a page at the bench does
    not have; the tests hold them against statsmodels and against published fits.

    References
    ----------
    McCullagh and Nelder 1989, Generalized Linear Models, 2nd ed., sections 2.5 (iterations) and 4.5.

    Examples
    --------
    >>> design = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    >>> fit = hatch.fit_quasi_binomial([80, 84, 79, 60, 66, 58], [100] * 6, design)
    >>> sorted(fit)
    ['coefficients', 'covariance', 'deviance', 'df', 'dispersion', 'pearson', 'standard_errors']
    """
    from scipy.special import expit, logit, xlogy

    x, n, design = np.asarray(part, float), np.asarray(whole, float), np.asarray(design, float)
    share, before = (x + 0.5) / (n + 1.0), math.inf
    for _ in range(100):
        weight = np.sqrt(n * share * (1 - share))
        step = logit(share) + (x / n - share) / (share * (1 - share))
        coefficients = np.linalg.lstsq(design * weight[:, None], step * weight, rcond=None)[0]
        share = np.clip(expit(design @ coefficients), 1e-10, 1 - 1e-10)
        deviance = 2 * float(np.sum(xlogy(x, x / (n * share)) + xlogy(n - x, (n - x) / (n * (1 - share)))))
        if abs(before - deviance) < 1e-12 * (abs(deviance) + 1e-12):
            break
        before = deviance
    variance = n * share * (1 - share)
    covariance = np.linalg.pinv(design.T @ (design * variance[:, None]))
    pearson = float(np.sum((x - n * share) ** 2 / variance))
    df = len(x) - design.shape[1]
    phi = pearson / df if df else math.nan
    return {
        "coefficients": coefficients,
        "standard_errors": np.sqrt(np.diag(covariance) * phi),
        "covariance": covariance,
        "dispersion": phi,
        "deviance": deviance,
        "pearson": pearson,
        "df": df,
    }


def dose_at_share(fit, intercept, slope, shares=(0.25, 0.5, 0.75)):
    """Value of a condition at which a share responds, with its standard error (delta method).

    Parameters
    ----------
    fit : dict
        From :func:`fit_quasi_binomial`.
    intercept, slope : int
        Columns of the design.
    shares : sequence of float

    Returns
    -------
    ndarray, shape (len(shares), 2)
        Value and standard error (at dispersion 1), in the condition's unit.

    References
    ----------
    Venables and Ripley 2002, Modern Applied Statistics with S, 4th ed., section 7.2.

    Examples
    --------
    >>> x = np.array([20.0, 25.0, 30.0, 35.0])
    >>> fit = hatch.fit_quasi_binomial([10, 35, 66, 90], [100] * 4, np.column_stack([np.ones(4), x]))
    >>> half = hatch.dose_at_share(fit, 0, 1, shares=(0.5,))
    >>> half
    array([[27.44434545,  0.44173542]])
    """
    from scipy import special

    a, b = fit["coefficients"][intercept], fit["coefficients"][slope]
    part = fit["covariance"][np.ix_([intercept, slope], [intercept, slope])]
    rows = []
    for share in shares:
        at = (special.logit(share) - a) / b
        gradient = -np.array([1.0, at]) / b
        rows.append((at, math.sqrt(gradient @ part @ gradient)))
    return np.array(rows)


def _chi2(value, df):
    from scipy.special import chdtrc

    return Dispersion(value, df, float(chdtrc(df, value)))
