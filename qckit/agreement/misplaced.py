"""Rows of a check that stand at each other's photos: counts by eye of one photo entered for another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from qckit.stages import STAGE_COLUMNS
from qckit.words import joined

__all__ = ["find_misplaced", "say_misplaced"]

_ODDS = 300.0  # how many times likelier the counts must be, for each way in which so many rows could be exchanged
_SHARES = np.geomspace(0.01, 30.0, 25)  # of both counts, as the variance of what they differ by
_ROUNDS = 5  # of putting rows to photos and seeing by how much they then differ


def find_misplaced(photos, by_kit, by_eye) -> list[tuple[str, ...]]:
    """Find photos whose counts by eye fit each other's counts by the kit clearly better than their own.

    Parameters
    ----------
    photos : sequence of str, length n
    by_kit, by_eye : DataFrame, shape (n, any)
        The counted stages' columns of the log (nauplii, umbrella, cysts, shells), rows as in ``photos``.

    Returns
    -------
    list of tuple of str
        Photos whose rows are exchanged: pairs, or longer rounds where each photo has the counts of the next one. Empty
        with fewer than 3 photos.

    Notes
    -----
    By stage, counts by eye are expected at one multiple of the kit's. What differs is laid to errors whose variance is
    a share of both counts (the share that makes the counts likeliest, a hundredth at least: both counted the same
    objects), and to one object. The likelihood with rows exchanged is laid over that of the rows as they stand, each
    with the shares that suit it best; it must be ``300`` times as high for each way of exchanging so many of the rows
    (a Bonferroni correction). Rows are put to photos by the assignment of least cost (Kuhn 1955, Naval Research
    Logistics Quarterly 2:83). Photos that look alike cannot be told so.
    """
    columns = list(STAGE_COLUMNS.values())
    kit, eye = (frame[columns].to_numpy(float) for frame in (by_kit, by_eye))
    n = len(kit)
    if n < 3:
        return []
    both = _Distances.of(kit, eye)
    rounds = []
    for order in (_assigned(both), _best_pair(both)):
        for one in _rounds_of(order):
            if set(one) & {i for other in rounds for i in other}:
                continue
            gain = both.likelihood(order) - both.likelihood(_without(order, one))
            if gain > np.log(_ODDS) + len(one) * np.log(n) - np.log(len(one)) and _each_fits(both, order, one):
                rounds.append(one)
    names = list(map(str, photos))
    return [tuple(names[i] for i in one) for one in rounds]


def say_misplaced(photos: tuple[str, ...]) -> str:
    """Say which photos' rows are exchanged, and where to look."""
    which = "each other's photo" if len(photos) == 2 else "the next photo of this list"
    return (
        f"The counts by eye of {joined(photos)} fit {which} clearly better than their own. Look whether these rows "
        "stand at the right photos in the table of the counts by eye, before anything is concluded from this check."
    )


@dataclass(frozen=True)
class _Distances:
    """Squared distances of each row by eye from each by the kit (n by eye, n by the kit, 4), and both counts there."""

    squared: np.ndarray
    counts: np.ndarray

    @classmethod
    def of(cls, kit, eye):
        times = (eye.sum(axis=0) + 0.5) / (kit.sum(axis=0) + 0.5)  # the same whichever rows are exchanged
        expected = times * (kit + 0.5) - 0.5
        counts = np.maximum(expected, 0) + times**2 * kit
        return cls((eye[:, None] - expected) ** 2, np.broadcast_to(counts, (len(eye), *counts.shape)))

    def at(self, order):
        """Squared distances and counts of the rows put to photos in some order, (n, 4) each."""
        rows = np.arange(len(order))
        return self.squared[rows, order], self.counts[rows, order]

    def costs(self, shares):
        """Twice the negative log likelihood of each row at each photo, (n, n), by normal errors of such shares."""
        variance = shares * self.counts + 1.0
        return (self.squared / variance + np.log(variance)).sum(axis=2)

    def shares(self, order):
        """The share of each stage that makes an order likeliest, (4,)."""
        return _SHARES[self._by_share(order).argmin(axis=0)]

    def likelihood(self, order) -> float:
        """Log likelihood of an order, by the shares that suit it best."""
        return float(-0.5 * self._by_share(order).min(axis=0).sum())

    def _by_share(self, order):
        squared, counts = self.at(order)
        variance = _SHARES[:, None, None] * counts + 1.0
        return (squared / variance + np.log(variance)).sum(axis=1)


def _assigned(both: _Distances):
    """Photos that rows fit best, all together; staying costs less than moving by what chance alone would gain."""
    from scipy.optimize import linear_sum_assignment

    n = len(both.squared)
    order, shares = None, both.shares(np.arange(n))
    moving = 2 * np.log(n) * (1 - np.eye(n))
    for _ in range(_ROUNDS):
        last, order = order, linear_sum_assignment(both.costs(shares) + moving)[1]
        shares = both.shares(order)
        if last is not None and (last == order).all():
            break
    return order


def _best_pair(both: _Distances):
    """The order with the one pair exchanged that makes the counts likeliest."""
    tried = []
    for a, b in combinations(range(len(both.squared)), 2):
        order = np.arange(len(both.squared))
        order[[a, b]] = b, a
        tried.append((both.likelihood(order), order))
    return max(tried, key=lambda one: one[0])[1]


def _rounds_of(order):
    """Rounds in which rows change places: each row stands for the photo that comes next."""
    left = {i for i in range(len(order)) if order[i] != i}
    while left:
        one = [min(left)]
        while (following := int(order[one[-1]])) != one[0]:
            one.append(following)
        left -= set(one)
        yield tuple(one)


def _without(order, one):
    out = order.copy()
    out[list(one)] = one
    return out


def _each_fits(both: _Distances, order, one) -> bool:
    """Whether every row of a round lies nearer to its new photo than to its own."""
    rows, costs = list(one), both.costs(both.shares(order))
    return bool((costs[rows, order[rows]] < costs[rows, rows]).all())
