"""The laws that figures and spreads follow: multivariate t, and scaled chi-squares of subsamples."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["either", "log_t", "spreads"]

_UNEVEN = (0.15, 0.22, 0.3, 0.4, 0.5)  # spread between subsamples of unmixed water (ours)


def either(a, b, share=0.5):
    """Log of two likelihoods' mean, the second with a ``share`` of the weight."""
    return float(np.logaddexp(math.log(1 - share) + a, math.log(share) + b))


def log_t(away, covariance, df):
    """Log densities of a multivariate t law, (n, d) and (d, d) -> (n,); missing figures are left out."""
    from scipy.special import gammaln

    away = np.atleast_2d(away)
    known = np.isfinite(away).all(axis=0) & np.isfinite(np.diag(covariance))
    d = int(known.sum())
    if d == 0:
        return np.zeros(len(away))
    lower = np.linalg.cholesky(covariance[np.ix_(known, known)])
    distance = np.square(away[:, known] @ np.linalg.inv(lower).T).sum(axis=1)
    return (
        gammaln((df + d) / 2)
        - gammaln(df / 2)
        - d / 2 * math.log(df * math.pi)
        - np.log(np.diag(lower)).sum()
        - (df + d) / 2 * np.log1p(distance / df)
    )


def spreads(chi_square, df, usual_cv, weight):
    """Log densities of the subsamples' chi-square when they are as even as usual, and when they are not."""
    usual = _spread_log(chi_square, df, usual_cv, weight)
    bad = [_spread_log(chi_square, df, cv, weight) for cv in _UNEVEN]
    return usual, float(np.logaddexp.reduce(bad) - math.log(len(bad)))


def _spread_log(chi_square, df, cv, weight):
    """Log density of a chi-square whose excess is ``weight`` times the squared CV, by a scaled chi-square law."""
    from scipy.special import gammaln

    if not df or not np.isfinite(chi_square):
        return 0.0
    scale = 1.0 + cv**2 * weight
    x = max(chi_square, 1e-3) / scale
    log_density = (df / 2 - 1) * math.log(x) - x / 2 - df / 2 * math.log(2) - gammaln(df / 2)
    return float(log_density - math.log(scale))
