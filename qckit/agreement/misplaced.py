"""Rows of a check that stand at each other's photos: counts by eye of one photo entered for another."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from qckit.stages import STAGE_COLUMNS
from qckit.words import joined

__all__ = ["find_misplaced", "say_misplaced"]

_ODDS = 300.0  # how many times likelier the counts must be, for each way in which so many rows could be exchanged
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
    By stage, counts by eye are expected at one multiple of the kit's, with the counting error of both, enlarged by what
    these photos show (a scale per stage, never below 1). The likelihood with rows exchanged is laid over that of the
    rows as they stand, each with the scales that suit it best; it must be ``300`` times as high for each way of
    exchanging so many of the rows (a Bonferroni correction). Rows are put to photos by the assignment of least cost
    (Kuhn 1955, Naval Research Logistics Quarterly 2:83). Photos that look alike cannot be told so.
    """
    columns = list(STAGE_COLUMNS.values())
    kit, eye = (frame[columns].to_numpy(float) for frame in (by_kit, by_eye))
    n = len(kit)
    if n < 3:
        return []
    apart, spread = _distances(kit, eye)
    rounds = []
    for order in (_assigned(apart, spread), _best_pair(apart, spread)):
        for one in _rounds_of(order):
            if set(one) & {i for other in rounds for i in other}:
                continue
            gain = _likelihood(apart, spread, order) - _likelihood(apart, spread, _without(order, one))
            if gain > np.log(_ODDS) + len(one) * np.log(n) - np.log(len(one)) and _each_fits(apart, order, one):
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


def _distances(kit, eye):
    """Squared distances of each row by eye from each by the kit, in counting errors, and the logs of those variances.

    Shapes (n by eye, n by the kit, 4) and (n by the kit, 4).
    """
    times = (eye.sum(axis=0) + 0.5) / (kit.sum(axis=0) + 0.5)  # the same whichever rows are exchanged
    expected = times * (kit + 0.5) - 0.5
    variance = np.maximum(expected, 0) + times**2 * kit + 1
    return (eye[:, None] - expected) ** 2 / variance, np.log(variance)


def _scales(apart, order):
    return np.maximum(apart[np.arange(len(order)), order].mean(axis=0), 1.0)


def _likelihood(apart, spread, order) -> float:
    """Log likelihood with rows put to photos in some order, by normal counting errors of the scales that suit it."""
    here, scales = apart[np.arange(len(order)), order], _scales(apart, order)
    return float(-0.5 * (len(order) * np.log(scales).sum() + (here / scales).sum() + spread[order].sum()))


def _assigned(apart, spread):
    """Photos that rows fit best, all together; staying costs less than moving by what chance alone would gain."""
    from scipy.optimize import linear_sum_assignment

    n = len(apart)
    order, scales = None, np.ones(apart.shape[2])
    for _ in range(_ROUNDS):
        moving = 2 * np.log(n) * (1 - np.eye(n))
        last, order = order, linear_sum_assignment((apart / scales + spread).sum(axis=2) + moving)[1]
        scales = _scales(apart, order)
        if last is not None and (last == order).all():
            break
    return order


def _best_pair(apart, spread):
    """The order with the one pair exchanged that makes the counts likeliest."""
    tried = []
    for a, b in combinations(range(len(apart)), 2):
        order = np.arange(len(apart))
        order[[a, b]] = b, a
        tried.append((_likelihood(apart, spread, order), order))
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


def _each_fits(apart, order, one) -> bool:
    """Whether every row of a round lies nearer to its new photo than to its own, in the scales of the new order."""
    rows = list(one)
    scaled = (apart / _scales(apart, order)).sum(axis=2)
    return bool((scaled[rows, order[rows]] < scaled[rows, rows]).all())
