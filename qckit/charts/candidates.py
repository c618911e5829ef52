"""Where a step or a drift would stand out most, in a fitted model of levels: every group, beginning and end at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = [
    "SHARES",
    "SHORTEST",
    "Candidate",
    "Steps",
    "best_candidates",
    "looks_at_beginnings",
    "ramp_gains",
    "step_gains",
    "with_free_level",
]

SHORTEST = 3
"""Hatches of a step."""
_RAMP = (10, 14.0)  # hatches and days of a level that wanders off
_RARER_RISES = 50.0
SHARES = {"all": 0.35, "going": 0.35, "step": 0.15, "ramp": 0.15}
"""How a search's chance is shared out: steps of all hatches that go on, of a group that go on, that ended, ramps.

What goes on is still to be mended, so it is to be told soonest.
"""
_ALL_FIRST = 4.0  # prior weight of all hatches over one group


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What stands out most: rows i to j - 1 of a group."""

    shape: str
    group: int
    i: int
    j: int
    gain: float
    n_tried: float  # by how much its own chance is multiplied
    weight: float  # log posterior weight, to choose between shapes


def best_candidates(model, groups, day, fixed, with_ramps):
    """The step and the drift that stand out most, and how many were tried.

    Among shapes and groups the likelier one is taken: a log weight of half the gain less the log of how many of its
    kind there are. Rises count as _RARER_RISES times rarer than falls: what goes wrong in a hatch room lowers the
    hatch, and a rise is nearly always the end of a fall. Of a group and all hatches, all is taken unless the group
    tells clearly more.
    """
    families = {"step": [], "all": [], "going": [], "ramp": []}
    tried = dict.fromkeys(families, 0.0)
    for g, (factor, _, rows) in enumerate(groups):
        steps = step_gains(model, rows, day, is_group=bool(factor))
        gain, m = steps.gain, len(rows)
        prior = math.log(_ALL_FIRST) if not factor else 0.0
        weight = 0.5 * gain + prior
        weight[steps.score > 0] -= math.log(_RARER_RISES)
        weight[gain <= 0] = -np.inf
        first, family = int(np.argmax(weight[:, -1])), "going" if factor else "all"
        tried["step"] += m * m / 2
        tried[family] += looks_at_beginnings(gain[first, -1], m)
        for kind, at in ((family, (first, -1)), ("step", np.unravel_index(int(np.argmax(weight)), gain.shape))):
            i, j = (int(steps.places[k]) for k in at)
            families[kind].append((float(weight[at]), float(gain[at]), "step", g, i, j))
        if with_ramps and (not factor or factor in fixed) and m >= _RAMP[0]:
            gain, _ = ramp_gains(model, rows, day)
            i = int(np.argmax(gain))
            tried["ramp"] += looks_at_beginnings(gain[i], m)  # ramps of near beginnings are still more alike than steps
            # what wanders off is a lot ageing rather than the room
            weight = 0.5 * float(gain[i]) - prior
            families["ramp"].append((weight, float(gain[i]), "ramp", g, i, m))
    best = {}
    of_kind = tried | dict.fromkeys(("all", "going"), tried["all"] + tried["going"])
    for family, members in families.items():
        for weight, gain, shape, g, i, j in members:
            if gain <= 0 or not math.isfinite(weight):
                continue
            weight -= math.log(max(of_kind[family], 1.0))
            if shape not in best or weight > best[shape].weight:
                n = tried[family] / SHARES[family]
                best[shape] = Candidate(shape=shape, group=g, i=i, j=j, gain=gain, n_tried=n, weight=weight)
    return list(best.values()), tried


def looks_at_beginnings(gain, m) -> float:
    """Independent looks that the highest of all steps going on to the end is worth, of m hatches.

    The chance that the largest of |S_k| / sqrt(k), k from m0 to m, passes b is about b phi(b) log(m / m0) (1 - 1 / b^2)
    + 4 phi(b) / b (Siegmund 1985, Sequential Analysis, 4.3; from memory), that is 2 + b^2 log(m / m0) / 2 looks: with
    drawn series it errs to the safe side (tests). So small lasting falls are told as soon as a weighted mean (EWMA) or
    a CUSUM of the same false-alarm rate would tell them.
    """
    return min(float(m), 2 + max(float(gain), 0.0) * math.log(max(m / SHORTEST, 1.0)) / 2)


def _block(matrix):
    """Sums over all leading blocks, shape (m + 1, m + 1)."""
    out = np.zeros((matrix.shape[0] + 1, matrix.shape[1] + 1))
    inner = out[1:, 1:]
    np.cumsum(matrix, axis=0, out=inner)
    np.cumsum(inner, axis=1, out=inner)
    return out


def with_free_level(block, weighed):
    """P and P y of a group's hatches with the level of the group left free, however far it lies from the others.

    A group is compared with itself at other times. Where its level is held to what such levels usually differ by, one
    that always stood far off would be told as a step that began with its first hatches. Adding the group's column to a
    design takes P x x' P / x' P x from P.

    Parameters
    ----------
    block : ndarray, shape (m, m)
        P of the group's hatches.
    weighed : ndarray, shape (m,)
        P y of them.
    """
    px = block.sum(axis=1)
    information = float(px.sum())
    if information < 1e-9 * float(np.trace(block)):  # the design leaves it free already
        return block, weighed
    return block - np.outer(px, px / information), weighed - px * (float(weighed.sum()) / information)


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Steps of a group over rows places[a] to places[b] - 1, arrays of shape (len(places), len(places))."""

    places: np.ndarray  # rows with which a day begins, and the end
    gain: np.ndarray  # squared z; -1 where no step is allowed
    information: np.ndarray
    score: np.ndarray


def step_gains(model, rows, day, *, is_group) -> Steps:
    """Weigh every step of a group.

    A step holds whole days: one that began between two hatches of a day would rest on what these two differ by, and a
    single failed hatch would make it, however the days after it did. ``is_group``: the rows are a group, which is
    compared with its own level (:func:`with_free_level`).
    """
    begins = _day_begins(rows, day)
    inner, weighed = model.parts.sums(rows, begins), np.add.reduceat(model.weighed[rows], begins)
    if is_group:
        inner, weighed = with_free_level(inner, weighed)
    information = _block(inner)
    edge = np.diag(information).copy()
    information *= -2.0  # P is symmetric, and so are its leading blocks
    information += edge[None, :]
    information += edge[:, None]
    total = np.concatenate([[0.0], np.cumsum(weighed)])
    score = total[None, :] - total[:, None]
    places = np.append(begins, len(rows))  # also where the record ends
    length = places[None, :] - places[:, None]
    least = 0.02 / float(np.median(model.variance))
    allowed = (length >= SHORTEST) & (information > least * length)
    gain = np.full(score.shape, -1.0)
    np.divide(score * score, information, out=gain, where=allowed)
    return Steps(places=places, gain=gain, information=information, score=score)


def _day_begins(rows, day):
    """Which of the rows are the first of their day."""
    return np.flatnonzero(np.concatenate([[True], np.diff(day[rows]) != 0]))


def ramp_gains(model, rows, day):
    """Gain and information of a level that wanders off evenly from row i on, to the group's end; shapes (m,).

    Hatches of the day with which it begins have not moved yet, so that the rows of a day begin the same.
    """
    begins = _day_begins(rows, day)
    inner = model.parts.sums(rows, begins)
    d = day[rows[begins]].astype(float)
    d = d - d[-1]
    after = np.triu(inner, 1)
    plain, ahead, diagonal = after.sum(axis=1), after @ d, np.diag(inner)
    # sums over k, l >= i of P_kl, d_k P_kl and d_k P_kl d_l, each from the end
    plain, one, two = (
        np.cumsum(v[::-1])[::-1]
        for v in (diagonal + 2 * plain, d * diagonal + d * plain + ahead, d * d * diagonal + 2 * d * ahead)
    )
    u = np.add.reduceat(model.weighed[rows], begins)
    from_here = np.cumsum(u[::-1])[::-1]
    moved = np.cumsum((d * u)[::-1])[::-1]
    size = np.diff(np.append(begins, len(rows)))
    information = np.repeat(two - 2 * d * one + d**2 * plain, size)
    score = np.repeat(moved - d * from_here, size)
    long = (len(rows) - np.arange(len(rows)) >= _RAMP[0]) & (-np.repeat(d, size) >= _RAMP[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(long & (information > 1e-9), score**2 / information, -1.0)
    return gain, information
