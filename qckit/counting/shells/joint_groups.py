"""Cysts and empty shells told apart by all that a photo shows of them at once: colours, a likeness and the reading.

The cysts of one lot are filled with the same yolk, so that in one photo, whatever its light, their colours lie in a
small cloud that is narrowest across the hue; a shell is as thin as it is and shows what lies behind it. Where the two
clouds lie differs from light to light, so the photo's own bodies are parted into two normal groups in the logarithms of
the three colours. What else tells the two, the likeness to the floor behind them or to the other bodies
(:mod:`qckit.counting.shells.see_through`), parts the same two groups about means of its own. The reading says which
bodies are likelier cysts, but where it errs, it errs for whole groups of bodies: it may read too readily as the one or
the other, or say less than it claims.

Each such reading, and some cuts through the colours, are tried as a first guess (expectation and maximisation:
Dempster, Laird and Rubin 1977, Journal of the Royal Statistical Society B 39:1; covariances midway between a group's
and that of both: Friedman 1989, Journal of the American Statistical Association 84:165), each is weighed by how likely
it makes colours and likenesses, and the answers are averaged by these weights (Hoeting, Madigan, Raftery and Volinsky
1999, Statistical Science 14:382; all from memory). They are believed only where two groups of colours are very much
likelier than one, by Schwarz's criterion, and where the reading does not rank the bodies the other way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from qckit.counting.shells.mixture import PAIR
from qckit.counting.shells.see_through import (
    LINE_WIDTH,
    MISLED,
    MOST,
    Groups,
    log_likely_likeness,
    means_of_likeness,
    weigh_readings,
)
from qckit.counting.shells.two_groups import FEWEST_BODIES, LEAST_EACH
from qckit.robust import median_of

__all__ = ["settle_by_groups"]

# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Counter 1.23"
SLOPES = (1.0, 0.5, 0.25, 0.1)  # a reading's say, of what it claims
LINES = np.arange(-4.0, 4.1, 2.0)  # logits at which it draws the line
ODDS = (-2.0, 0.0, 2.0)  # of a photo's cysts, where the reading says nothing
CUTS = (1 / 3, 2 / 3)  # of the bodies, along the direction in which colours vary most
LEAST_SPREAD = 0.02  # of a group, in the logarithms of colours
SPREAD_BODIES = 4.0  # bodies that this is worth
BETWEEN = 0.7  # share of the common covariance in a group's own
ASTRAY = 0.02  # share of bodies whose colours may lie anywhere among the photo's
MOST_READ = 8.0  # logit of a reading at most
ALL_ROUNDS, KEPT, ROUNDS, CLOSE = 3, 8, 40, 1e-3  # all first guesses go on for so many rounds, the best to the end
DECISIVE = 20.0  # twice the logarithm of how much likelier two groups are
LEAST_RANKED = 0.55  # of all pairs from both groups, those that the reading has in this order: 0.5 by chance
FEWEST_LIKENESSES, BEYOND_CHANCE = 8, 2.33  # where fewer are known: standard deviations above what chance would rank
_FIRST, _SECOND = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]


def settle_by_groups(p: np.ndarray, colours: np.ndarray, likeness: np.ndarray, groups: Groups) -> np.ndarray | None:
    """Settle cysts and shells by the two groups that their colours and likenesses fall into.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    colours : (n, 3) ndarray
        From :func:`qckit.counting.shells.body_colours.colours_of`; rows of NaN say nothing.
    likeness : (n,) ndarray
        To the floor or to other bodies; NaN where it is not known, of all of them, too.
    groups : Groups
        What is known of that likeness.

    Returns
    -------
    (n, 5) ndarray or None
        Rows add up to 1; only the shares of cyst and shell change, and only of bodies likelier one of the two than
        something else. None where bodies are few or their colours fall into no two groups.
    """
    either = p[:, PAIR].sum(axis=1)
    rows = np.flatnonzero(either > 0.5)
    coloured = np.isfinite(colours[rows]).all(axis=1)
    if coloured.sum() < FEWEST_BODIES:
        return None
    cyst, shell = p[rows][:, PAIR].T
    read = np.clip(np.log((cyst + 1e-4) / (shell + 1e-4)), -MOST, MOST)
    looks = _Looks.of(colours[rows], coloured, likeness[rows], groups)
    guess = _fitted(_first_guesses(read, looks), looks)
    if guess is None or 2 * (guess.log_likely.max() - _of_one_group(read, looks)) < DECISIVE:
        return None
    weight = np.exp(guess.log_likely - guess.log_likely.max())
    chance = weight @ guess.chance / weight.sum()
    alone = np.isfinite(likeness[rows]).sum() < FEWEST_LIKENESSES
    if not _agree(read, chance > 0.5, alone=alone):
        return None
    least = 1 / (1 + np.exp(MOST))
    out, chance = p.copy(), np.clip(chance, least, 1 - least)
    out[rows, PAIR[0]], out[rows, PAIR[1]] = either[rows] * chance, either[rows] * (1 - chance)
    return out


@dataclass(frozen=True)
class _Looks:
    """What is known of each body but for the reading: colours about their median, their products, a likeness."""

    colours: np.ndarray  # (n, 3), 0 where not known
    products: np.ndarray  # (n, 6), of _FIRST with _SECOND
    coloured: np.ndarray  # (n,) 1 or 0
    log_range: float  # of the room that the photo's colours take
    likeness: np.ndarray  # (n,), NaN where not known
    groups: Groups

    @classmethod
    def of(cls, colours, coloured, likeness, groups) -> _Looks:
        about = np.where(coloured[:, None], colours - median_of(colours[coloured]), 0.0)
        room = np.log(np.maximum(np.ptp(about[coloured], axis=0), 0.1)).sum()
        products = about[:, _FIRST] * about[:, _SECOND]
        return cls(about, products, coloured.astype(float), log_range=float(room), likeness=likeness, groups=groups)

    def scatter(self, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Sum of weights (k,), means (k, 3) and scatter about them (k, 3, 3) of bodies by their weights (k, n)."""
        weight = weight * self.coloured
        size = np.maximum(weight.sum(axis=1), 1e-6)
        mean = weight @ self.colours / size[:, None]
        about = np.empty((len(weight), 3, 3))
        about[:, _FIRST, _SECOND] = about[:, _SECOND, _FIRST] = weight @ self.products
        return size, mean, about - size[:, None, None] * mean[:, :, None] * mean[:, None]

    def log_density(self, mean: np.ndarray, covariance: np.ndarray) -> np.ndarray:
        """Of each body's colours in normal groups (k, n); 0 where they are not known."""
        inverse = np.linalg.inv(covariance)
        along = (inverse @ mean[:, :, None])[..., 0]
        six = inverse[:, _FIRST, _SECOND] * [1, 1, 1, 2, 2, 2]
        distance = six @ self.products.T - 2 * along @ self.colours.T + (mean * along).sum(axis=1)[:, None]
        log_size = np.linalg.slogdet(covariance)[1][:, None] + 3 * np.log(2 * np.pi)
        anywhere = np.log(ASTRAY) - self.log_range
        return np.logaddexp(np.log(1 - ASTRAY) - 0.5 * (distance + log_size), anywhere) * self.coloured


@dataclass(frozen=True)
class _Guesses:
    """First guesses (k, n) with what each reading makes of the bodies, and how far they have come."""

    chance: np.ndarray  # to be a cyst
    meant: np.ndarray  # logit, as the reading means it
    log_prior: np.ndarray  # (k,), of such a reading
    means: np.ndarray  # (k, 2), likeness of cysts and of shells
    log_likely: np.ndarray  # (k,)

    def take(self, which: np.ndarray) -> _Guesses:
        return _Guesses(*(part[which] for part in vars(self).values()))


def _first_guesses(read: np.ndarray, looks: _Looks) -> _Guesses:
    slope, line = (a.ravel() for a in np.meshgrid(SLOPES, LINES, indexing="ij"))
    at = np.concatenate([line, ODDS])
    less = np.concatenate([slope < 1, np.ones(len(ODDS), bool)])
    meant = np.concatenate([slope[:, None] * (read - line[:, None]), np.repeat(np.array(ODDS)[:, None], len(read), 1)])
    log_prior = -((at / LINE_WIDTH) ** 2) / 2 - MISLED * less
    chance = 1 / (1 + np.exp(-np.clip(meant, -4, 4)))
    # cuts through the colours, either side as cysts, by a reading that says little and by one that says nothing
    along = looks.colours @ np.linalg.svd(looks.colours, full_matrices=False)[2][0]
    above = [along > np.quantile(along[looks.coloured > 0], cut) for cut in CUTS]
    cut = [np.where(looks.coloured > 0, np.where(side, 0.9, 0.1), 0.5) for side in (*above, *(~a for a in above))]
    by = np.flatnonzero((at == 0) & np.concatenate([slope == SLOPES[2], np.ones(len(ODDS), bool)]))
    every = np.concatenate([np.arange(len(at)), np.repeat(by, len(cut))])
    chance = np.concatenate([chance, *[cut] * len(by)])
    means = np.repeat(looks.groups.means[None], len(every), axis=0)
    meant = np.clip(meant, -MOST_READ, MOST_READ)
    return _Guesses(chance, meant[every], log_prior[every], means, np.zeros(len(every)))


def _fitted(guess: _Guesses, looks: _Looks) -> _Guesses | None:
    """The best guesses after expectation and maximisation; None where in all of them a group dwindles."""
    for k in range(ROUNDS):
        last = guess.chance
        guess = _one_round(guess, looks)
        if k == ALL_ROUNDS:
            guess = guess.take(np.argsort(-guess.log_likely, kind="stable")[:KEPT])
        elif k > ALL_ROUNDS and np.abs(guess.chance - last).max() < CLOSE:
            break
    return guess if np.isfinite(guess.log_likely.max()) else None


def _one_round(guess: _Guesses, looks: _Looks) -> _Guesses:
    """One turn: groups as the guesses have them, and each body's chance by these groups."""
    sizes, means, about = zip(*(looks.scatter(c) for c in (guess.chance, 1 - guess.chance)), strict=True)
    common = about[0] + about[1] + _least_scatter()
    by_likeness, usual = log_likely_likeness(looks.likeness, guess.means, looks.groups)
    each = []
    for k, sign in enumerate((-1, 1)):
        weight = (1 - BETWEEN) * sizes[k] + BETWEEN * (looks.coloured.sum() + SPREAD_BODIES)
        covariance = ((1 - BETWEEN) * about[k] + BETWEEN * common) / weight[:, None, None]
        by_colours = looks.log_density(means[k], covariance)
        each.append(by_colours + by_likeness[:, k] - np.logaddexp(0, sign * guess.meant))
    away = guess.means - looks.groups.means
    against = 0.5 * ((away @ np.linalg.inv(looks.groups.spread)) * away).sum(axis=1)
    log_likely = np.logaddexp(*each).sum(axis=1) + guess.log_prior - against
    log_likely = np.where(np.minimum(*sizes) < LEAST_EACH, -np.inf, log_likely)
    chance = 1 / (1 + np.exp(np.clip(each[1] - each[0], -50, 50)))
    renewed = means_of_likeness(looks.likeness, chance, usual, looks.groups)
    return replace(guess, chance=chance, means=renewed, log_likely=log_likely)


def _of_one_group(read: np.ndarray, looks: _Looks) -> float:
    """Logarithm of how likely the looks are with one group of colours, and what more numbers cost, by Schwarz.

    The likenesses still part by the reading, so that only what colours say is weighed.
    """
    size, mean, about = looks.scatter(np.ones((1, len(read))))
    covariance = (about + _least_scatter()) / (size + SPREAD_BODIES)[:, None, None]
    lines, known = np.arange(LINES[0], LINES[-1] + 0.1), np.isfinite(looks.likeness)
    reading = 1 / (1 + np.exp(lines[:, None] - read[known]))
    by_likeness = weigh_readings(looks.likeness[known], reading, looks.groups)[0] - ((lines / LINE_WIDTH) ** 2) / 2
    more = 4 + (1 - BETWEEN) * 6  # a mean, a share, and as much of a covariance as is a group's own
    return float(
        looks.log_density(mean, covariance).sum() + by_likeness.max() + more / 2 * np.log(looks.coloured.sum())
    )


def _least_scatter() -> np.ndarray:
    return SPREAD_BODIES * LEAST_SPREAD**2 * np.eye(3)


def _agree(read: np.ndarray, cysts: np.ndarray, *, alone: bool) -> bool:
    """Whether the reading ranks the bodies of both groups as they are told; true where all are told alike.

    Shade and lamps part colours, too, and know no stages: where no likeness speaks beside them, the reading must rank
    the groups clearly better than chance does (Mann and Whitney 1947, Annals of Mathematical Statistics 18:50; from
    memory).
    """
    n_cysts, n_shells = cysts.sum(), (~cysts).sum()
    if not n_cysts or not n_shells:
        return True
    others = np.sort(read[~cysts])
    below = [np.searchsorted(others, read[cysts], side) for side in ("left", "right")]
    by_chance = np.sqrt((n_cysts + n_shells + 1) / (12 * n_cysts * n_shells))
    return float(np.mean(below)) / n_shells >= (0.5 + BEYOND_CHANCE * by_chance if alone else LEAST_RANKED)
