"""Cysts and empty shells told apart by what of a patterned floor shows through them.

How much shows through differs from light to light (a cyst lit from below lets some light through, a shell bends it), so
a photo's own two groups are asked, each normal about a mean that is known from other makes of pictures within its
spread. A reading that is misled here is misled for whole groups of bodies: it may read too readily as the one or the
other, or say less than it claims. All such readings are tried, each is weighed by how likely it makes what shows
through, and the answers are averaged by these weights (Bayesian model averaging: Hoeting, Madigan, Raftery and
Volinsky 1999, Statistical Science 14:382, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from qckit.counting.shells.mixture import PAIR

__all__ = [
    "Groups",
    "log_likely_likeness",
    "means_of_likeness",
    "settle_by_floor",
    "settle_by_likeness",
    "weigh_readings",
]


class Groups(NamedTuple):
    """What is known of cysts and shells, in this order, before a photo is seen.

    Attributes
    ----------
    means : (2,) ndarray
    spread : (2, 2) ndarray
        Covariance of both means from photo to photo.
    within : float
        Variance within a group.
    astray : float
        Share of cysts that are as shells are.
    """

    means: np.ndarray
    spread: np.ndarray
    within: float
    astray: float = 0.0


FEWEST_BODIES = 8  # with a floor behind them that is known
MOST = 6.0  # logit of a reading at most: nothing is surer than that
SLOPES = (1.0, 0.5, 0.25, 0.1, 0.0)  # a reading's say, of what it claims
LINES = np.arange(-4.0, 4.1)  # logits at which it draws the line; normal about 0, of width LINE_WIDTH
LINE_WIDTH, MISLED = 0.7, 5.0  # and the log odds against a reading that says less than it claims
ODDS = np.linspace(-2.0, 2.0, 5)  # of a photo's cysts, where the reading says nothing
# of cysts and of shells, fitted by tests/photos/fit_see_through.py: tests/photos/MEASURED.md, "Counter 1.19"
GROUPS = Groups(np.array([0.23, 0.65]), np.array([[0.045, 0.028], [0.028, 0.039]]), 0.033)
STRAY, RANGE = 0.03, 3.0  # share of bodies that are like neither, anywhere in that range
TURNS = 25


def settle_by_floor(p: np.ndarray, likeness: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by the likeness of their insides to the floor.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    likeness : (n,) ndarray
        From :func:`qckit.counting.shells.floor_behind.likeness_to_floor`; NaN where it is not known.

    Returns
    -------
    (n, 5) ndarray
        As of :func:`settle_by_likeness`.
    """
    return settle_by_likeness(p, likeness, GROUPS, _readings, FEWEST_BODIES)


def settle_by_likeness(
    p: np.ndarray, likeness: np.ndarray, groups: Groups, readings: Callable, fewest: int
) -> np.ndarray:
    """Settle cysts and shells by a likeness that parts them, averaged over what the reading could mean.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    likeness : (n,) ndarray
        NaN where it is not known.
    groups : Groups
    readings : callable
        Takes the logits (m,) to be a cyst as read; gives the chances (k, m) by each of k readings, and the logarithm of
        what speaks for each before (k,).
    fewest : int
        Bodies whose likeness must be known.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change, and only of bodies likelier one of the two than
        something else. The same as ``p`` where the likeness of too few such bodies is known.
    """
    either = p[:, PAIR].sum(axis=1)
    rows = np.flatnonzero(either > 0.5)
    known = np.isfinite(likeness[rows])
    if known.sum() < fewest:
        return p
    cyst, shell = np.maximum(p[rows][:, PAIR], 1e-9).T
    reading, log_prior = readings(np.clip(np.log(cyst / shell), -MOST, MOST))
    log_likely, by_both = weigh_readings(likeness[rows][known], reading[:, known], groups)
    weight = np.exp(log_likely + log_prior - (log_likely + log_prior).max())
    weight /= weight.sum()
    settled = weight @ reading
    settled[known] = weight @ by_both
    out = p.copy()
    out[rows, PAIR[0]], out[rows, PAIR[1]] = either[rows] * settled, either[rows] * (1 - settled)
    return out


def _readings(read: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What the reading could mean: chances to be a cyst (k, n), and the logarithm of what speaks for each before."""
    slope, line = (a.ravel() for a in np.meshgrid(SLOPES, LINES, indexing="ij"))
    silent = slope == 0
    meant = np.concatenate(
        [slope[~silent, None] * (read - line[~silent, None]), np.repeat(ODDS[:, None], len(read), 1)]
    )
    at = np.concatenate([line[~silent], ODDS])
    less = np.concatenate([slope[~silent] < 1, np.ones(len(ODDS), bool)])
    return 1 / (1 + np.exp(-meant)), -((at / LINE_WIDTH) ** 2) / 2 - MISLED * less


def log_likely_likeness(
    likeness: np.ndarray, means: np.ndarray, groups: Groups
) -> tuple[np.ndarray, np.ndarray | float]:
    """Logarithm of how likely each body's likeness is as a cyst's and as a shell's.

    Parameters
    ----------
    likeness : (n,) ndarray
        NaN where it is not known.
    means : (k, 2) ndarray
        Of cysts and of shells, by each of k guesses.
    groups : Groups

    Returns
    -------
    log_likely : (k, 2, n) ndarray
        0 where the likeness is not known.
    usual : (k, n) ndarray or float
        Of what a cyst's likeness is explained by, the share of cysts that are not as shells are.
    """
    known = np.isfinite(likeness)
    away = np.where(known, likeness, 0.0) - means[..., None]
    each, usual = -0.5 * (away**2 / groups.within + np.log(2 * np.pi * groups.within)), 1.0
    if groups.astray:
        as_cysts = each[:, 0] + np.log(1 - groups.astray)
        each[:, 0] = np.logaddexp(as_cysts, each[:, 1] + np.log(groups.astray))
        usual = np.exp(as_cysts - each[:, 0])
    return np.logaddexp(np.log(1 - STRAY) + each, np.log(STRAY / RANGE)) * known, usual


def means_of_likeness(
    likeness: np.ndarray, chance: np.ndarray, usual: np.ndarray | float, groups: Groups
) -> np.ndarray:
    """Likeliest means of the likenesses of cysts and of shells, held towards those known.

    Parameters
    ----------
    likeness : (n,) ndarray
        NaN where it is not known.
    chance : (k, n) ndarray
        To be a cyst, by each of k guesses.
    usual : (k, n) ndarray or float
        From :func:`log_likely_likeness`.
    groups : Groups

    Returns
    -------
    (k, 2) ndarray
    """
    known, precision = np.isfinite(likeness), np.linalg.inv(groups.spread)
    as_cysts = chance * usual * known
    each = np.stack([as_cysts, known - as_cysts], axis=1)
    sharpness = precision + np.eye(2) * each.sum(axis=2)[:, None] / groups.within
    pull = precision @ groups.means + each @ np.where(known, likeness, 0.0) / groups.within
    return np.linalg.solve(sharpness, pull[..., None])[..., 0]


def weigh_readings(likeness: np.ndarray, reading: np.ndarray, groups: Groups) -> tuple[np.ndarray, np.ndarray]:
    """Two normal groups fitted for every reading: how likely it makes the likenesses, and the chances with both.

    Expectation and maximisation with the groups' means held towards those known; the integral over the means by
    Laplace's method.

    Parameters
    ----------
    likeness : (n,) ndarray
        All known.
    reading : (k, n) ndarray
        Chances to be a cyst by each of k readings.
    groups : Groups

    Returns
    -------
    log_likely : (k,) ndarray
    chance : (k, n) ndarray
    """
    reading = np.clip(reading, 1e-4, 1 - 1e-4)
    chance = np.stack([reading, 1 - reading], axis=1)  # (k, 2, n)
    means, spread, within, astray = groups
    precision = np.linalg.inv(spread)
    mean = np.repeat(means[None], len(reading), axis=0)
    stray, log_chance = np.log(STRAY / RANGE), np.log((1 - STRAY) * chance)
    for _ in range(TURNS):
        each = -0.5 * ((likeness - mean[..., None]) ** 2 / within + np.log(2 * np.pi * within))
        if astray:
            as_cysts = each[:, 0] + np.log(1 - astray)
            each[:, 0] = np.logaddexp(as_cysts, each[:, 1] + np.log(astray))
            as_usual = np.exp(as_cysts - each[:, 0])
        each += log_chance
        both = np.logaddexp(each[:, 0], each[:, 1])
        total = np.logaddexp(both, stray)
        group = np.exp(each - total[:, None])
        if astray:
            group = np.stack([group[:, 0] * as_usual, group[:, 1] + group[:, 0] * (1 - as_usual)], axis=1)
        sharpness = precision + np.eye(2) * group.sum(axis=2)[:, None] / within
        mean = np.linalg.solve(sharpness, (precision @ means + (group @ likeness) / within)[..., None])[..., 0]
    away = mean - means
    likely = total.sum(axis=1) - 0.5 * ((away @ precision) * away).sum(axis=1) - 0.5 * np.linalg.slogdet(sharpness)[1]
    of_groups = np.exp(both - total)
    return likely, np.exp(each[:, 0] - both) * of_groups + reading * (1 - of_groups)
