"""Cysts and empty shells told apart by their colours: the cysts of one photo lie close together there.

The cysts of one lot are filled with the same yolk, so that in one photo, whatever its light, their colours lie in a
small cloud that is narrowest across the hue; a shell is as thin as it is and shows what lies behind it. Where the two
clouds lie differs from light to light, so the photo's own bodies are parted into two normal groups in the logarithms of
the three colours and in the reading's logit, each group with a covariance halfway between its own and that of both
(expectation and maximisation: Dempster, Laird and Rubin 1977, Journal of the Royal Statistical Society B 39:1;
covariances: Friedman 1989, Journal of the American Statistical Association 84:165; both from memory). So the reading
says which group is which, and which bodies are likelier cysts than others, but not where the line lies: where it errs,
it errs for whole groups of bodies. The parting is sought from several first guesses and believed only where Schwarz's
criterion finds two groups very much better than one, and, for a guess from the colours alone, than those that were
read; and only where the reading ranks the bodies of both groups much as the parting has them.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.shells.mixture import PAIR
from qckit.counting.shells.two_groups import FEWEST_BODIES, LEAST_EACH, VERY_STRONG
from qckit.counting.working import WorkImage

__all__ = ["colours_of", "settle_by_colours"]

# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Counter 1.22"
REACH_UM = 75.0  # of the disc about a centre whose colour is taken: two thirds of a cyst's radius
SOFTENER_CODES = 8.0  # added to code values before their logarithm is taken, as black floors are noise there
MOST_READ = 7.0  # logit of a reading at most
LEAST_SPREAD = np.array([0.02, 0.02, 0.02, 1.0])  # of a group: logarithms of colours, logit
SPREAD_BODIES = 4.0  # bodies that this is worth
BETWEEN = 0.5  # share of the common covariance in a group's own
SURE_AT_FIRST, FIRST_WEIGHT = 4.0, 0.7  # first guess from the reading: logit at most, and its weight
FIRST_CUTS = (1 / 3, 2 / 3)  # others cut the bodies along the direction in which colours vary most
LEAST_RANKED = 0.75  # of all pairs from both groups, those that the reading has in this order: 0.5 by chance
ROUNDS, CLOSE = 40, 1e-3
MOST = 6.0  # logit that a group says at most


def colours_of(work: WorkImage, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """The colours of bodies: medians over a disc about each centre, which lamps' points and rims hardly move.

    Parameters
    ----------
    work : WorkImage
    rows, cols : (n,) ndarray
        Centres in working pixels, the first pixel's centre at 0.5.

    Returns
    -------
    (n, 3) ndarray
        Logarithms of code values; NaN where the disc is not whole within the photo.
    """
    reach = REACH_UM / work.um_per_px
    far = int(np.ceil(reach))
    down, across = np.mgrid[-far : far + 1, -far : far + 1]
    disc = np.hypot(down, across) <= reach  # an odd number of pixels, so that the median is one of them
    height, width = work.pixels.shape[:2]
    r, c = (np.asarray(at, float).astype(int) for at in (rows, cols))
    whole = (far <= r) & (r < height - far) & (far <= c) & (c < width - far)
    inside = work.pixels[r[whole, None] + down[disc], c[whole, None] + across[disc]]
    out = np.full((len(r), 3), np.nan)
    out[whole] = np.log(np.partition(inside, disc.sum() // 2, axis=1)[:, disc.sum() // 2] + SOFTENER_CODES)
    return out


def settle_by_colours(p: np.ndarray, colours: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by the two groups that their colours fall into.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    colours : (n, 3) ndarray
        From :func:`colours_of`; rows of NaN are left as they are.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change. The same as ``p`` where bodies are few or their
        colours fall into no two groups that the reading tells from each other.
    """
    from scipy.special import expit

    either = p[:, PAIR].sum(axis=1)
    rows = np.flatnonzero((either > 0.5) & np.isfinite(colours).all(axis=1))
    if len(rows) < FEWEST_BODIES:
        return p
    cyst, shell = p[rows][:, PAIR].T
    read = np.clip(np.log((cyst + 1e-4) / (shell + 1e-4)), -MOST_READ, MOST_READ)
    says = _parted(colours[rows], read)
    if says is None:
        return p
    out, chance = p.copy(), expit(np.clip(says, -MOST, MOST))
    out[rows, PAIR[0]], out[rows, PAIR[1]] = either[rows] * chance, either[rows] * (1 - chance)
    return out


def _parted(colours: np.ndarray, read: np.ndarray) -> np.ndarray | None:
    """Logit of each body to be of the group read as cysts, from the first guess that ends best; None if none does."""
    looks, best, needed = np.column_stack([colours, read]), None, VERY_STRONG
    for k, first in enumerate(_first_guesses(colours, read)):
        parted = _two_groups(looks, first)
        if parted is None:
            continue
        group, says, evidence = parted
        if _ranked(read, group > 0.5) < LEAST_RANKED:  # shade and lamps part colours, too, and know no stages
            continue
        if evidence >= needed:
            best, needed = says, evidence
        if k == 0:  # how it was read: another parting must be very much better than this one, too
            needed = max(needed, evidence + VERY_STRONG)
    return best


def _ranked(read: np.ndarray, first: np.ndarray) -> float:
    """Share of all pairs of a body from each group whose first was likelier read as a cyst; equal ones count half."""
    if first.all() or not first.any():
        return 0.0
    others = np.sort(read[~first])
    below = [np.searchsorted(others, read[first], side) for side in ("left", "right")]
    return float(np.mean(below)) / len(others)


def _first_guesses(colours: np.ndarray, read: np.ndarray):
    """Chances of each body to be a cyst: as read, and by cuts along the direction in which the colours vary most."""
    from scipy.special import expit

    yield expit(np.clip(FIRST_WEIGHT * read, -SURE_AT_FIRST, SURE_AT_FIRST))
    away = colours - np.median(colours, axis=0)
    along = away @ np.linalg.svd(away, full_matrices=False)[2][0]
    for cut in FIRST_CUTS:
        group = np.where(along > np.quantile(along, cut), 0.9, 0.1)
        cysts = np.average(read, weights=group) > np.average(read, weights=1 - group)
        yield group if cysts else 1 - group


def _two_groups(looks: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray, float] | None:
    """Part bodies into two normal groups: chance of the first, its logit, and by how much two are better than one.

    None where a group dwindles.
    """
    from scipy.special import expit

    n, k = looks.shape
    at_least = SPREAD_BODIES * np.diag(LEAST_SPREAD**2)
    for _ in range(ROUNDS):
        sizes = group.sum(), n - group.sum()
        if min(sizes) < LEAST_EACH:
            return None
        means = [chance @ looks / size for chance, size in zip((group, 1 - group), sizes, strict=True)]
        about = [
            ((looks - mean).T * chance) @ (looks - mean) for mean, chance in zip(means, (group, 1 - group), strict=True)
        ]
        common = sum(about) + at_least
        each = []
        for mean, scatter, size in zip(means, about, sizes, strict=True):
            weight = (1 - BETWEEN) * size + BETWEEN * (n + SPREAD_BODIES)
            covariance = ((1 - BETWEEN) * scatter + BETWEEN * common) / weight
            each.append(np.log(size / n) + _log_normal(looks, mean, covariance))
        says, last = each[0] - each[1], group
        group = expit(says)
        if np.abs(group - last).max() < CLOSE:
            break
    away = looks - looks.mean(axis=0)
    one = _log_normal(looks, looks.mean(axis=0), (away.T @ away + at_least) / (n + SPREAD_BODIES))
    more = k + 1 + (1 - BETWEEN) * k * (k + 1) / 2  # means, share, and as much of a covariance as is its own
    return group, says, float(2 * (np.logaddexp(*each).sum() - one.sum()) - more * np.log(n))


def _log_normal(x: np.ndarray, mean: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Logarithm of a normal density of several dimensions; a library for it takes longer to load than this to run."""
    root = np.linalg.cholesky(covariance)
    z = np.linalg.solve(root, (x - mean).T)
    return -0.5 * (z**2).sum(axis=0) - np.log(np.diag(root)).sum() - 0.5 * len(mean) * np.log(2 * np.pi)
