"""Cysts and empty shells told apart by the two groups that the round bodies of this very photo fall into.

What an opaque cyst and a see-through shell look like differs from light to light, and within one photo hardly at all.
So the photo's own round bodies are parted along the direction of their looks that parts best what they were read as
(linear discriminant, Fisher 1936, Annals of Eugenics 7:179), into two normal groups of one width (expectation and
maximisation: Dempster, Laird and Rubin 1977, Journal of the Royal Statistical Society B 39:1); direction and groups by
turns (sources from memory). The reading only says which group is which: a light in which most cysts were read as shells
is put right as long as the others were read as shells still more surely. Where the two groups do not part by more than
chance would let them, each body stays as it was read.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.measuring import FEATURES
from qckit.counting.pieces import CONTRAST_BINS
from qckit.stages import STAGES

__all__ = ["settle_by_groups"]

LOOKS = (
    *("contrast", "contrast_sd", "signal", "signal_sd", "gradient", "rim_gradient", "rim_contrast", "rel_contrast"),
    *("ring", "hue_rg", "hue_gb", "chroma", "rim_hue_rg", "rim_hue_gb", "hue_rg_sd", "hue_gb_sd"),
    *(f"share_{i}" for i in range(len(CONTRAST_BINS) + 1)),
    *("log_area", "fill", "roundness", "depth_fill", "log_elongation"),
)
COLUMNS = [FEATURES.index(name) for name in LOOKS]
PAIR = [STAGES.index("cyst"), STAGES.index("shell")]
# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Two groups of round bodies"
LEAST_BODIES, LEAST_EACH = 25, 3.0  # round bodies in a photo, and in each group
RIDGE = 0.1  # of the mean variance within groups, added to every look's
TURNS, ROUNDS, CLOSE = 5, 60, 1e-4
PARTED, BY_CHANCE = 5.0, 40.0
"""Least distance of the groups, in their common width; and what, over the root of the number of bodies, those of a
single kind keep below by chance in three photos of four, even were they read at random."""

READING_WEIGHT, GROUP_WEIGHT, MOST = 0.5, 0.75, 4.0  # weights of the two logits; most that a group says


def settle_by_groups(p: np.ndarray, features: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by the photo's own two groups.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    features : (n, len(FEATURES)) ndarray
        As measured; rows of NaN are left as they are.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change. The same as ``p`` where round bodies are few or do
        not part.
    """
    from scipy.special import expit, logit

    either = p[:, PAIR].sum(axis=1)
    used = np.flatnonzero((either > 0.5) & np.isfinite(features).all(axis=1))
    if len(used) < LEAST_BODIES:
        return p
    weight = either[used]
    reading = np.clip(p[used, PAIR[0]] / weight, 1e-3, 1 - 1e-3)
    group, says, apart = _parted(_standardised(features[used][:, COLUMNS].astype(float)), reading, weight)
    if apart < max(PARTED, BY_CHANCE / len(used) ** 0.5):
        return p
    read = logit(reading)
    if np.average(read, weights=group) <= np.average(read, weights=1 - group):
        return p
    cyst = expit(READING_WEIGHT * read + GROUP_WEIGHT * np.clip(says, -MOST, MOST))
    out = p.copy()
    out[used, PAIR[0]], out[used, PAIR[1]] = weight * cyst, weight * (1 - cyst)
    return out


def _standardised(looks: np.ndarray) -> np.ndarray:
    """Looks about their median in this photo, in robust spreads, at most 4."""
    away = looks - np.median(looks, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(away), axis=0), 0.3 * looks.std(axis=0) + 1e-6)
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
        within = ((z - first).T * in_first) @ (z - first) + ((z - second).T * in_second) @ (z - second)
        within /= weight.sum()
        within += RIDGE * np.trace(within) / len(within) * np.eye(len(within)) + 1e-9 * np.eye(len(within))
        along = z @ np.linalg.solve(within, first - second)
        group, says, apart = _two_normal(along / max(along.std(), 1e-9), group)
        if not apart:
            break
    return group, says, apart


def _two_normal(along: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Two normal groups of one width along a line, from the chances of belonging to the first."""
    from scipy.special import expit

    says, apart = np.zeros(len(along)), 0.0
    for _ in range(ROUNDS):
        n_first, n_second = group.sum(), (1 - group).sum()
        if min(n_first, n_second) < LEAST_EACH:
            return group, says, 0.0
        first, second = np.average(along, weights=group), np.average(along, weights=1 - group)
        from_first, from_second = (along - first) ** 2, (along - second) ** 2
        variance = max(float(group @ from_first + (1 - group) @ from_second) / len(along), 1e-4)
        says = np.log(n_first / n_second) - 0.5 * (from_first - from_second) / variance
        apart = float(first - second) / variance**0.5
        last, group = group, expit(says)
        if np.abs(group - last).max() < CLOSE:
            break
    return group, says, max(apart, 0.0)
