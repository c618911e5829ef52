"""Attribute plans: accept when at most so many of so many inspected are bad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError

__all__ = ["OrdinaryPlan", "acceptance_probability", "quality_at_acceptance"]


@dataclass(frozen=True)
class OrdinaryPlan:
    """Attribute plan: accept when at most ``most_bad`` of ``n`` inspected are bad.

    Examples
    --------
    >>> hatch.OrdinaryPlan(n=80, most_bad=2)
    OrdinaryPlan(n=80, most_bad=2)
    """

    n: int
    most_bad: int


def acceptance_probability(bad_frac, plan, *, lot_size=None, family="binomial"):
    """Probability that an attribute plan accepts.

    Parameters
    ----------
    bad_frac : array_like of float
        True fraction bad. [fraction]
    plan : OrdinaryPlan
    lot_size : int, optional
        With it the hypergeometric is used (fraction bad rounded to whole items).
    family : {"binomial", "poisson"}

    Returns
    -------
    ndarray of float
        The operating characteristic.

    References
    ----------
    Montgomery 2009, Introduction to Statistical Quality Control, 6th ed., section 15.2 (from memory).

    Examples
    --------
    >>> round(float(hatch.acceptance_probability(0.02, hatch.OrdinaryPlan(n=80, most_bad=2))), 3)
    0.784
    """
    from scipy import stats

    bad = np.asarray(bad_frac, float)
    if np.any((bad < 0) | (bad > 1)):
        raise InputError("The fraction bad must lie between 0 and 1. Was it given in percent? Divide by 100.")
    if lot_size is not None:
        return stats.hypergeom.cdf(plan.most_bad, lot_size, np.rint(bad * lot_size).astype(int), plan.n)
    if family == "poisson":
        return stats.poisson.cdf(plan.most_bad, plan.n * bad)
    return stats.binom.cdf(plan.most_bad, plan.n, bad)


def quality_at_acceptance(probability, plan, *, family="binomial"):
    """Fraction bad that an attribute plan accepts with a given probability.

    Parameters
    ----------
    probability : array_like of float
    plan : OrdinaryPlan
    family : {"binomial", "poisson"}

    Returns
    -------
    ndarray of float

    Examples
    --------
    >>> bad = hatch.quality_at_acceptance(0.1, hatch.OrdinaryPlan(n=80, most_bad=2))
    >>> round(float(bad), 3)
    0.065
    """
    from scipy import stats

    if family == "poisson":
        return stats.chi2.ppf(1 - np.asarray(probability, float), 2 * (plan.most_bad + 1)) / (2 * plan.n)
    return stats.beta.ppf(1 - np.asarray(probability, float), plan.most_bad + 1, plan.n - plan.most_bad)
