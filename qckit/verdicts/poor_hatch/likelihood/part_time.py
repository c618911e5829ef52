"""Readings of a hatch whose water was off for a part of its hours only, such as a heater that was out for the night.

When it went off, and whether it came back, is averaged over: in half of the cases it stays off to the end, in the
others two moments drawn evenly from the hours are its two ends (ours). Readings within those hours show it and the
others do not. What a part of the hours cost in all, they cost in less time: water off for a quarter of them has to be
off as far as would cost four times as much over all (in proportion; ours, for a want of air or of warmth adds up).
"""

from __future__ import annotations

import numpy as np

__all__ = ["Runs", "off_for_a_part", "runs_of_readings"]

_STAYS = 0.5
_SHARES = (0.06, 0.12, 0.25, 0.5, 0.75, 1.0)  # of the hours; what is off for a share is weighed at the next of these


class Runs:
    """Which readings, in order of time, a stretch of hours may hold: one after another, or none.

    Attributes
    ----------
    first, last : (m,) ndarray of int
        Readings held, ``first`` to ``last`` - 1.
    chance : (m,) ndarray
    share : (m,) ndarray
        Of all hours, in the mean of such stretches.
    chance_of_none : float
    """

    def __init__(self, first, last, chance, share):
        self.first, self.last, self.chance, self.share = first, last, chance, share
        self.chance_of_none = max(0.0, 1.0 - float(chance.sum()))


def runs_of_readings(hours: np.ndarray, start: float, end: float) -> Runs:
    """Chances of the readings that lie within the hours in which the water was off.

    Parameters
    ----------
    hours : (k,) ndarray
        Of the readings, rising. [h]
    start, end : float
        Between which the water may go off. [h]

    Returns
    -------
    Runs
        The two ends of a stretch that comes back are two points drawn evenly, so that it holds readings ``i`` to ``j``
        alone with twice the product of the gaps before ``i`` and after ``j``, over the square of all hours.
    """
    k, whole = len(hours), end - start
    edges = np.concatenate([[start], hours, [end]])
    gap, middle = np.diff(edges), (edges[1:] + edges[:-1]) / 2
    first, last = np.triu_indices(k)
    last = last + 1
    back = (1 - _STAYS) * 2 * gap[first] * gap[last] / whole**2
    stays = np.where(last == k, _STAYS * gap[first] / whole, 0.0)
    back_share, stays_share = (middle[last] - middle[first]) / whole, (end - middle[first]) / whole
    chance = back + stays
    share = (back * back_share + stays * stays_share) / np.where(chance > 0, chance, 1.0)
    possible = chance > 0
    return Runs(first[possible], last[possible], chance[possible], share[possible])


def off_for_a_part(runs: Runs, usually: np.ndarray, density_at) -> np.ndarray:
    """Likelihood of readings, relative to that of none being off.

    Parameters
    ----------
    runs : Runs
    usually : (k,) ndarray
        Density of each reading where the water is as usual.
    density_at : callable
        Share of the hours -> densities of the readings in water that is off for it: (n, points, k), for every strength
        and point of its law.

    Returns
    -------
    (n, points) ndarray
    """
    total = runs.chance_of_none
    at = np.searchsorted(_SHARES, runs.share, side="left").clip(max=len(_SHARES) - 1)
    for i in np.unique(at):
        ratio = np.log(density_at(_SHARES[i])) - np.log(usually)
        up_to = np.concatenate([np.zeros((*ratio.shape[:2], 1)), np.cumsum(ratio, axis=2)], axis=2)
        mine = at == i
        for first, last, chance in zip(runs.first[mine], runs.last[mine], runs.chance[mine], strict=True):
            total = total + chance * np.exp(up_to[..., last] - up_to[..., first])
    return total
