"""The interval of the difference of two proportions, counting alone."""

from __future__ import annotations

import math

from qckit.errors import unknown_name
from qckit.hatch.intervals.estimates import check_confidence, normal_quantile

__all__ = ["difference_of_proportions"]


def difference_of_proportions(x1, n1, x2, n2, *, confidence=0.95, method="newcombe"):
    """Interval of p1 - p2, counting alone.

    Parameters
    ----------
    x1, n1, x2, n2 : float
        Counts and totals.
    confidence : float
    method : {"newcombe", "mee", "miettinen-nurminen", "wald"}
        Newcombe's hybrid of two score intervals is the one this kit uses. Mee inverts the score test with the two
        proportions fitted under the difference asked about; Miettinen and Nurminen do the same with the variance times
        N / (N - 1). Wald's is there to compare with only.

    Returns
    -------
    (difference, low, high) : tuple of float

    Raises
    ------
    InputError
        The method is unknown.

    Notes
    -----
    The score tests are inverted here: in statsmodels 0.15 ``method="score"`` gives other bounds than published and
    fails on small tables.

    References
    ----------
    Newcombe 1998, Statistics in Medicine 17:873-890, methods 10, 5 and 6; Miettinen and Nurminen 1985, Statistics in
    Medicine 4:213-226, the restricted fit in closed form.

    Examples
    --------
    >>> [round(float(v), 4) for v in hatch.difference_of_proportions(56, 70, 48, 80)]
    [0.2, 0.0524, 0.3339]
    """
    from statsmodels.stats.proportion import confint_proportions_2indep

    check_confidence(confidence)
    difference = x1 / n1 - x2 / n2
    if method in ("newcombe", "wald"):
        name = {"newcombe": "newcomb", "wald": "wald"}[method]
        low, high = confint_proportions_2indep(x1, n1, x2, n2, method=name, compare="diff", alpha=1 - confidence)
    elif method in ("mee", "miettinen-nurminen"):
        factor = 1.0 if method == "mee" else (n1 + n2) / (n1 + n2 - 1)
        low, high = _inverted_score(x1, n1, x2=x2, n2=n2, factor=factor, z=normal_quantile(confidence))
    else:
        raise unknown_name(
            "method", method, ("newcombe", "mee", "miettinen-nurminen", "wald"), where="difference_of_proportions"
        )
    return difference, float(low), float(high)


def _inverted_score(x1, n1, x2, n2, factor, z):
    """Both differences that a score test just does not reject."""
    from scipy import optimize

    observed = x1 / n1 - x2 / n2

    def statistic(delta):
        p1, p2 = _restricted(x1, n1, x2, n2, delta)
        variance = factor * (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
        return (observed - delta) / math.sqrt(max(variance, 1e-300))

    edge = 1 - 1e-9
    low = -1.0 if statistic(-edge) < z else optimize.brentq(lambda d: statistic(d) - z, -edge, observed)
    high = 1.0 if statistic(edge) > -z else optimize.brentq(lambda d: statistic(d) + z, observed, edge)
    return low, high


def _restricted(x1, n1, x2, n2, delta):
    """The most likely two proportions that differ by ``delta`` (Miettinen and Nurminen 1985, appendix)."""
    total, x = n1 + n2, x1 + x2
    a3, a2 = total, (n1 + 2 * n2) * delta - total - x
    a1, a0 = (n2 * delta - total - 2 * x2) * delta + x, x2 * delta * (1 - delta)
    q = a2**3 / (3 * a3) ** 3 - a1 * a2 / (6 * a3**2) + a0 / (2 * a3)
    p = math.copysign(math.sqrt(max(a2**2 / (3 * a3) ** 2 - a1 / (3 * a3), 0.0)), q)
    turn = (math.pi + math.acos(min(max(q / p**3, -1.0), 1.0))) / 3 if p else math.pi / 2
    second = min(max(2 * p * math.cos(turn) - a2 / (3 * a3), 0.0, -delta), 1.0, 1 - delta)
    return second + delta, second
