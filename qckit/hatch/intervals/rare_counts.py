"""Counts so rare that their spread is that of chance: exact intervals, and when a rate changed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import check_confidence

__all__ = ["RateChange", "poisson_change", "poisson_interval"]


@dataclass(frozen=True)
class RateChange:
    """One change of a rate of rare counts.

    Examples
    --------
    >>> change = hatch.poisson_change([1, 0, 2, 1, 1, 0, 6, 7, 5, 8], rng=np.random.default_rng(1))
    >>> change.rate_before < change.rate_after
    True
    """

    last_before: int  # place of the last count before the change, from 1
    rate_before: float
    rate_after: float
    first: int  # interval of ``last_before``
    last: int
    p_value: float  # of no change, by permutation
    confidence: float


def poisson_interval(count, exposure=1.0, *, confidence=0.95):
    """Exact interval of a rate from one count.

    Parameters
    ----------
    count : int
        Events seen, 0 or more.
    exposure : float
        What they were seen in (ml, grams, days).
    confidence : float

    Returns
    -------
    (low, high) : tuple of float
        Per unit of exposure; ``low`` is 0 where nothing was seen.

    References
    ----------
    Garwood 1936, Biometrika 28:437-442.

    Examples
    --------
    >>> low, high = hatch.poisson_interval(10)
    >>> round(float(low), 2), round(float(high), 2)
    (4.8, 18.39)
    """
    from scipy import special

    check_confidence(confidence)
    if not (count >= 0 and exposure > 0):
        raise InputError(
            f"count is {count!r} and exposure {exposure!r}; the first must be 0 or more, the second above 0."
        )
    tail = (1 - confidence) / 2
    low = float(special.gammaincinv(count, tail)) if count > 0 else 0.0
    return low / exposure, float(special.gammainccinv(count + 1, tail)) / exposure


def poisson_change(counts, exposure=None, *, confidence=0.95, permutations=999, rng=None):
    """Find the most likely place where a rate of rare counts changed once.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        In order of time, n at least 4.
    exposure : array_like of float, shape (n,), optional
        1 each when left out.
    confidence : float
        Of the interval of the place: the likeliest places that together hold it, each place equally likely before.
    permutations : int
        Orders drawn to judge whether there is a change at all.
    rng : Generator, optional
        Seed 0 when left out.

    Returns
    -------
    RateChange

    Notes
    -----
    Log likelihood ratio of two Poisson rates against one, profiled over the place (Worsley 1986, Biometrika 73:91-104,
    for exponential families; from memory). Its p value holds whatever the rate, because given the total the counts are
    exchangeable.

    Examples
    --------
    >>> hatch.poisson_change([1, 0, 2, 1, 1, 0, 6, 7, 5, 8], rng=np.random.default_rng(1)).last_before
    6
    """
    x = np.asarray(counts, float)
    e = np.ones_like(x) if exposure is None else np.asarray(exposure, float)
    if len(x) < 4 or len(x) != len(e) or (x < 0).any() or not (e > 0).all() or not x.sum() > 0:
        raise InputError(
            f"{len(x)} counts with a total of {x.sum():g} were given; a change needs four or more, none negative, one "
            "above 0, and an exposure above 0 for each."
        )
    rng = rng if rng is not None else np.random.default_rng(0)
    gain = _gains(x, e)
    place = int(np.argmax(gain))
    drawn = 0
    for _ in range(permutations):
        order = rng.permutation(len(x))
        drawn += _gains(x[order], e[order]).max() >= gain[place] - 1e-9
    weight = np.exp(gain - gain.max())
    best_first = np.argsort(-weight)
    kept = best_first[: int(np.searchsorted(np.cumsum(weight[best_first]) / weight.sum(), confidence)) + 1]
    k = place + 1
    return RateChange(
        last_before=k,
        rate_before=float(x[:k].sum() / e[:k].sum()),
        rate_after=float(x[k:].sum() / e[k:].sum()),
        first=int(kept.min()) + 1,
        last=int(kept.max()) + 1,
        p_value=(drawn + 1) / (permutations + 1),
        confidence=confidence,
    )


def _gains(x, e):
    """Log likelihood ratio of a change after each place but the last."""
    part, total = np.cumsum(x)[:-1], x.sum()
    share, whole = np.cumsum(e)[:-1], e.sum()

    def term(count, size):
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(count > 0, count * np.log(count / size), 0.0)

    return term(part, share) + term(total - part, whole - share) - total * math.log(total / whole)
