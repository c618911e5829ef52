"""Cysts and empty shells told apart by the two groups that the round bodies of this very photo fall into.

What an opaque cyst and a see-through shell look like differs from light to light, and within one photo hardly at all.
So the photo's own round bodies are parted along the direction of their looks that parts best what they were read as
(linear discriminant, Fisher 1936, Annals of Eugenics 7:179), into two normal groups of one width (expectation and
maximisation: Dempster, Laird and Rubin 1977, Journal of the Royal Statistical Society B 39:1); direction and groups by
turns (sources from memory). The reading only says which group is which: a light in which most cysts were read as shells
is put right as long as the others were read as shells still more surely. Where the two groups do not part by more than
chance would let them, each body stays as it was read, or all are judged as one kind where that describes them better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.counting.products import product
from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.segmentation.pieces import CONTRAST_BINS
from qckit.counting.shells.mixture import PAIR, settle_cysts_and_shells
from qckit.robust import SD_PER_MAD, median_of

__all__ = [
    "RoundBodies",
    "evidence_of_two",
    "part_by_looks",
    "schwarz_of_two",
    "settle_by_groups",
    "settle_round_bodies",
    "two_normal",
]

LOOKS = (
    *("contrast", "contrast_sd", "signal", "signal_sd", "gradient", "rim_gradient", "rim_contrast", "rel_contrast"),
    *("ring", "hue_rg", "hue_gb", "chroma", "rim_hue_rg", "rim_hue_gb", "hue_rg_sd", "hue_gb_sd"),
    *(f"share_{i}" for i in range(len(CONTRAST_BINS) + 1)),
    *("log_area", "fill", "roundness", "depth_fill", "log_elongation"),
)
COLUMNS = [FEATURES.index(name) for name in LOOKS]
# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Two groups of round bodies, or one"
FEWEST_BODIES, LEAST_EACH = 15, 3.0  # round bodies in a photo, and in each group
RIDGE = 0.1  # of the mean variance within groups, added to every look's
TURNS, ROUNDS, CLOSE = 5, 60, 1e-4
PARTED, BY_CHANCE = 5.0, 40.0
"""Least distance of the groups, in their common width; and what, over the root of the number of bodies, those of a
single kind keep below by chance in three photos of four, even were they read at random."""

VERY_STRONG = 10.0  # of evidence_of_two
RIDGE_OTHERS, MOST_LEVERAGE = 1.0, 0.95  # of read_by_others, and a body's leverage there at most
READING_WEIGHT, GROUP_WEIGHT, MOST = 0.5, 0.75, 4.0  # weights of the two logits; most that a group says
ONE_READING_WEIGHT, APART_WEIGHT, ONE_KIND = 0.9, 1.8, 3.0  # where bodies are of one kind: that one is of the other
RIDGE_APART, MOST_APART = 3.0, 2.5
ONE_KIND_WEIGHT = 10.0  # bodies of the usual mixture, for such a photo
FEW_OTHERS = 1 / 3  # of the bodies read as the other kind, at most


def settle_by_groups(p: np.ndarray, features: np.ndarray, evidence: float | None = None) -> np.ndarray:
    """Settle cysts and shells by the photo's own two groups.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    features : (n, len(FEATURES)) ndarray
        As measured; rows of NaN are left as they are.
    evidence : float, optional
        Of :func:`evidence_of_two`, where it is known.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change. The same as ``p`` where round bodies are few or do
        not part.
    """
    bodies = RoundBodies.of(p, features)
    if bodies is None:
        return p
    evidence = evidence_of_two(bodies) if evidence is None else evidence
    return p if evidence < VERY_STRONG else _by_groups(p, bodies)


def settle_round_bodies(p: np.ndarray, features: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by all that the photo's round bodies say together: their groups, and their mixture.

    Where they part into two groups, :func:`settle_by_groups`. Where their looks speak for a single one and most were
    read as one kind, a body is of the other only if its looks stand apart, too: after a good hatch there may be no cyst
    at all, and a shell now and then is still read as one. Else they stay as read.

    Parameters
    ----------
    p : (n, 5) ndarray
    features : (n, len(FEATURES)) ndarray

    Returns
    -------
    (n, 5) ndarray
        As of :func:`settle_by_groups`.
    """
    bodies = RoundBodies.of(p, features)
    if bodies is None:
        return settle_cysts_and_shells(p)
    evidence, cysts = evidence_of_two(bodies), np.average(bodies.reading, weights=bodies.weight)
    if evidence < 0 and min(cysts, 1 - cysts) < FEW_OTHERS:
        return settle_cysts_and_shells(_as_one_kind(p, bodies), usual_weight=ONE_KIND_WEIGHT)
    return settle_cysts_and_shells(settle_by_groups(p, features, evidence))


def part_by_looks(p: np.ndarray, features: np.ndarray) -> bool:
    """Whether a photo's round bodies part into two groups by their looks, beyond doubt.

    Parameters
    ----------
    p : (n, 5) ndarray
    features : (n, len(FEATURES)) ndarray
        As of :func:`settle_round_bodies`.

    Returns
    -------
    bool
        False with too few of them.
    """
    bodies = RoundBodies.of(p, features)
    return bodies is not None and evidence_of_two(bodies) >= VERY_STRONG


@dataclass(frozen=True)
class RoundBodies:
    """A photo's measured cysts and shells.

    Attributes
    ----------
    rows : (m,) ndarray of int
        Which objects they are.
    looks : (m, len(COLUMNS)) ndarray
        About their median in this photo, in robust spreads, at most 4.
    reading : (m,) ndarray
        Chance to be a cyst rather than a shell, as read; 0.001 to 0.999.
    weight : (m,) ndarray
        Chance to be one of the two.
    """

    rows: np.ndarray
    looks: np.ndarray
    reading: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, p: np.ndarray, features: np.ndarray) -> RoundBodies | None:
        """Those of a photo; None where they are too few to say anything together."""
        either = p[:, PAIR].sum(axis=1)
        rows = np.flatnonzero((either > 0.5) & np.isfinite(features).all(axis=1))
        if len(rows) < FEWEST_BODIES:
            return None
        reading = np.clip(p[rows, PAIR[0]] / either[rows], 1e-3, 1 - 1e-3)
        return cls(rows, _standardised(features[rows][:, COLUMNS].astype(float)), reading, either[rows])

    def settled(self, p: np.ndarray, logit: np.ndarray) -> np.ndarray:
        """The same objects with another chance to be a cyst."""
        from scipy.special import expit

        cyst, out = expit(logit), p.copy()
        out[self.rows, PAIR[0]], out[self.rows, PAIR[1]] = self.weight * cyst, self.weight * (1 - cyst)
        return out

    def read_by_others(self, answers: np.ndarray, rule: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """What the others' answers make likely for each body by its looks: a ridge regression that leaves it out.

        Least squares with a ridge, all left-out answers from one fit (Allen 1974, Technometrics 16:125, from memory).
        ``rule`` is what :meth:`rule` returns, the same for all answers; ``answers`` is (m,), or (m, k) for k at once.
        """
        alone = (slice(None), *[None] * (answers.ndim - 1))
        root, mean = np.sqrt(self.weight)[alone], np.average(answers, axis=0, weights=self.weight)
        away = root * (answers - mean)
        z, side = rule
        leverage = np.minimum((z * side.T).sum(axis=1), MOST_LEVERAGE)[alone]
        return mean + (z @ (side @ away) - leverage * away) / (1 - leverage) / root

    def apart(self, ridge: float) -> np.ndarray:
        """How far each body stands apart from the others by its looks: its leverage there, 1 on average."""
        z, side = self.rule(ridge)
        leverage = (z * side.T).sum(axis=1)
        return leverage / max(leverage.mean(), 1e-12)

    def rule(self, ridge: float) -> tuple[np.ndarray, np.ndarray]:
        """Weighted looks, and what answers are multiplied by to give the looks' weights."""
        root = np.sqrt(self.weight)
        z = root[:, None] * (self.looks - np.average(self.looks, axis=0, weights=self.weight)) / len(COLUMNS) ** 0.5
        return z, np.linalg.solve(product(z.T, z) + ridge * np.eye(z.shape[1]), z.T)


def evidence_of_two(bodies: RoundBodies) -> float:
    """How strongly a photo's round bodies speak for two groups rather than one; below 0 for one.

    A direction sought among many looks parts any bodies a little. So each body is put on a line by a rule fitted to all
    others, and what counts is whether two normal groups of one width describe the places on that line better than
    a single one does, by Schwarz's criterion (1978, Annals of Statistics 6:461, from memory): twice the logarithm of
    the odds, of which 10 and above is very strong (Kass and Raftery 1995, Journal of the American Statistical
    Association 90:773, from memory).

    Parameters
    ----------
    bodies : RoundBodies

    Returns
    -------
    float
        Minus infinity where one of two groups dwindles.
    """
    group, rule = bodies.reading, bodies.rule(RIDGE_OTHERS)
    for _ in range(TURNS):
        along = bodies.read_by_others(group, rule)
        along = along / max(along.std(), 1e-9)
        group, _, apart = two_normal(along, group)
        if not apart:
            return -np.inf
    return schwarz_of_two(along, group)


def schwarz_of_two(along: np.ndarray, group: np.ndarray) -> float:
    """How much better two normal groups of one width describe places on a line than one does; below 0 for one.

    Schwarz's criterion, as in :func:`evidence_of_two`.

    Parameters
    ----------
    along : (n,) ndarray
    group : (n,) ndarray
        Chance of each to belong to the first group, from :func:`two_normal`.

    Returns
    -------
    float
    """
    share = group.mean()
    means = [np.average(along, weights=chance) for chance in (group, 1 - group)]
    width = (
        max(float(group @ (along - means[0]) ** 2 + (1 - group) @ (along - means[1]) ** 2) / len(along), 1e-4) ** 0.5
    )
    each = [
        np.log(part) + _log_normal(along, mean, width) for part, mean in zip((share, 1 - share), means, strict=True)
    ]
    gain = np.logaddexp(*each).sum() - _log_normal(along, along.mean(), along.std()).sum()
    return float(2 * gain - 2 * np.log(len(along)))  # one mean and one share more


def _log_normal(x: np.ndarray, mean: float, width: float) -> np.ndarray:
    """Logarithm of a normal density; a library for it takes more time and memory to load than the rest of a count."""
    return -0.5 * ((x - mean) / width) ** 2 - np.log(width) - 0.5 * np.log(2 * np.pi)


def _by_groups(p: np.ndarray, bodies: RoundBodies) -> np.ndarray:
    """Settle by the two groups where they lie far enough apart and are told from each other by the reading."""
    from scipy.special import logit

    group, says, apart = _parted(bodies.looks, bodies.reading, bodies.weight)
    read = logit(bodies.reading)
    if apart < max(PARTED, BY_CHANCE / len(read) ** 0.5):
        return p
    if np.average(read, weights=group) <= np.average(read, weights=1 - group):
        return p
    return bodies.settled(p, READING_WEIGHT * read + GROUP_WEIGHT * np.clip(says, -MOST, MOST))


def _as_one_kind(p: np.ndarray, bodies: RoundBodies) -> np.ndarray:
    """All as the one kind but those that were read as the other and stand apart from the rest by their looks, too."""
    from scipy.special import logit

    kind = 1.0 if np.average(bodies.reading, weights=bodies.weight) > 0.5 else -1.0
    other = -kind * logit(bodies.reading)
    apart = np.minimum(bodies.apart(RIDGE_APART), MOST_APART)
    judged = ONE_READING_WEIGHT * other + APART_WEIGHT * apart - ONE_KIND
    return bodies.settled(p, -kind * np.where(other > 0, judged, np.minimum(other, judged)))


def _standardised(looks: np.ndarray) -> np.ndarray:
    """Looks about their median in this photo, in robust spreads, at most 4."""
    away = looks - median_of(looks)
    spread = np.maximum(SD_PER_MAD * median_of(np.abs(away)), 0.3 * looks.std(axis=0) + 1e-6)
    return np.clip(away / spread, -4, 4)


def _parted(z: np.ndarray, reading: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Part bodies into two groups: chance of the group read as cysts, its logit, and how far apart the groups lie.

    The distance is 0 where a group dwindles.
    """
    group, says, apart = reading, np.zeros(len(reading)), 0.0
    for _ in range(TURNS):
        in_first, in_second = weight * group, weight * (1 - group)
        if min(in_first.sum(), in_second.sum()) < LEAST_EACH:
            return group, says, 0.0
        first, second = np.average(z, axis=0, weights=in_first), np.average(z, axis=0, weights=in_second)
        within = product((z - first).T * in_first, z - first) + product((z - second).T * in_second, z - second)
        within /= weight.sum()
        within += RIDGE * np.trace(within) / len(within) * np.eye(len(within)) + 1e-9 * np.eye(len(within))
        along = z @ np.linalg.solve(within, first - second)
        group, says, apart = two_normal(along / max(along.std(), 1e-9), group)
        if not apart:
            break
    return group, says, apart


def two_normal(along: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Part a line into two normal groups of one width, from first chances of belonging to the first.

    Parameters
    ----------
    along : (n,) ndarray
    group : (n,) ndarray
        0 to 1.

    Returns
    -------
    group, says : (n,) ndarray
        That chance, and its logit.
    apart : float
        Distance of the groups' means, in their width; 0 where one dwindles or the second lies above the first.
    """
    from scipy.special import expit

    n, says, apart = len(along), np.zeros(len(along)), 0.0
    away = along - along.mean()
    squares = float(away @ away)
    for _ in range(ROUNDS):
        n_first = float(group.sum())
        n_second = n - n_first
        if min(n_first, n_second) < LEAST_EACH:
            return group, says, 0.0
        in_first = float(group @ away)  # about the middle, so that the second group's sum is the rest to zero
        first, second = in_first / n_first, -in_first / n_second
        variance = max((squares - n_first * first**2 - n_second * second**2) / n, 1e-4)
        rise = (first - second) / variance
        says = away * rise + (math.log(n_first / n_second) - 0.5 * rise * (first + second))
        apart = (first - second) / variance**0.5
        last, group = group, expit(says)
        if np.abs(group - last).max() < CLOSE:
            break
    return group, says, max(apart, 0.0)
