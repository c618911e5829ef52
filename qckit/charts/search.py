"""Which hatches moved, since when and by how much: a search over groups and times within the model of levels.

A *change* is a step of a group of hatches over some time, or a level that wanders off evenly from a day on. A
*standing difference* between cones or operators is part of the model and so is never found as a change. Whoever comes
late (an operator, a cone, a way of counting) is compared with what such levels usually differ by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.candidates import SHARES, SHORTEST, best_candidates, ramp_gains, step_gains, with_free_level
from qckit.charts.change import ALL, Change, group_words
from qckit.charts.days import day_numbers
from qckit.charts.late_levels import late_changes, late_levels
from qckit.charts.levels import LevelData, LevelModel, Priors, fit_levels
from qckit.charts.selection import likely_bounds, size_after_selection

__all__ = ["Search", "detectable_size", "find_changes_in_levels"]

FACTORS = ("cone", "operator", "lot", "counted_by")
_FEW = 10  # hatches in a step, or outside it, of which one that failed could make it alone
_MOST = 5  # changes looked for
_UNKNOWN = 1e6  # variance of a hatch that is left out


@dataclass(frozen=True, kw_only=True)
class Search:
    """What was found, and the model with it taken out.

    Examples
    --------
    >>> points = charts.water_points(series, "ph").tail(80)
    >>> search = charts.find_changes_in_levels(points, factors=("cone",), fixed=())
    >>> search.alpha
    0.01
    """

    changes: list
    model: LevelModel
    plain: LevelModel  # without the changes
    tried: dict  # kind of change -> looks that all that was tried of it is worth
    alpha: float
    falls: float  # share of alpha that falls have; rises have the rest
    frame: pd.DataFrame  # the searched hatches
    task: _Task = field(repr=False)  # what was fitted, to be fitted anew

    def without(self, left_out, like: LevelModel) -> LevelModel:
        """Fit the model and its changes anew without some hatches: they are counted too vaguely to tell anything."""
        counting = np.where(left_out, _UNKNOWN, self.task.data.counting)
        task = replace(self.task, data=replace(self.task.data, counting=counting))
        return task.fit(self.changes, like)


def find_changes_in_levels(
    frame, *, alpha=0.01, priors=None, factors=FACTORS, fixed=("lot",), with_ramps=True, late_alpha=None, beside=None
) -> Search:
    """Search hatches for changes.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        In the order of time: label, at, y (working scale), counting (variance that counting gives) and the factors.
    alpha : float
        Chance that a series in which nothing changed gives any change: shared out (``candidates.SHARES``) between
        steps of all hatches that go on, of a group that go on, that ended, and ramps, within each Bonferroni over
        groups and shapes, so that the true chance is smaller. Falls have the share of it that the priors say.
    priors : levels.Priors, optional
    factors : tuple of str
        Columns whose levels are groups.
    fixed : tuple of str
        Factors with free levels.
    with_ramps : bool
        Also look for levels that wander off evenly (all hatches, each lot).
    late_alpha : float, optional
        The same chance for levels that came late; a third of ``alpha`` when left out.
    beside : ndarray, shape (n, k), optional
        Columns with free coefficients that are known to move the hatches: changes told elsewhere.

    Returns
    -------
    Search
        Changes in the order found, the clearest first.

    References
    ----------
    Score test of an added column in a linear mixed model: Rao 1973, Linear Statistical Inference, 6e. Searching by
    binary segmentation with several shapes: Fryzlewicz 2014, Annals of Statistics 42:2243-2281 (from memory). How many
    looks all beginnings of a step that goes on are worth: :func:`qckit.charts.candidates.looks_at_beginnings`.

    Examples
    --------
    >>> points = charts.water_points(series, "ph").tail(80)
    >>> search = charts.find_changes_in_levels(points, factors=("cone",), fixed=())
    >>> isinstance(search.changes, list)
    True
    """
    frame = frame.reset_index(drop=True)
    named = {f: frame[f].fillna("").astype(str).to_numpy() for f in (*fixed, *factors) if f in frame}
    late = late_levels(frame, [f for f in factors if f not in fixed])
    task = _Task(
        data=LevelData(
            y=frame["y"].to_numpy(float),
            counting=frame["counting"].to_numpy(float),
            day=day_numbers(frame["at"]),
            factors=named,
        ),
        how={"priors": priors, "fixed": fixed, "newcomers": late},
        known=() if beside is None else tuple(np.asarray(beside, float).T),
        groups=_groups(named, factors, len(frame)),
        with_ramps=with_ramps,
        alpha=alpha,
        falls=(priors or Priors()).falls,
    )
    plain = model = task.fit([])
    found, tried = [], {}
    for change in late_changes(model, named, late, late_alpha if late_alpha is not None else alpha / 3):
        found.append(change)
        model = task.fit(found, model)
    while len(found) < _MOST and len(frame) >= 2 * SHORTEST:
        candidates, tried = task.candidates(model)
        judged = [j for best in candidates if (j := _judged(task, best, found, model)) is not None]
        if not judged:
            break
        _, p, best, column, model = max(judged, key=lambda j: j[0])
        found.append(_described(task, best, column, model, p))
        found, model = _pruned(task, found, model)
        if len(found) > 1:
            found, model = _refined(task, found, model)
    return Search(
        changes=found, model=model, plain=plain, tried=tried, alpha=alpha, falls=task.falls, frame=frame, task=task
    )


def detectable_size(search: Search, rows, *, group=None, power=0.8) -> float:
    """Size of a step over these hatches, to the end of the record, that would have been told with this chance.

    Parameters
    ----------
    search : Search
    rows : array_like of int
        Hatches touched.
    group : array_like of int, optional
        All hatches of the group that they belong to; none where they are all hatches of their time.
    power : float

    Returns
    -------
    float
        On the working scale; infinite where the record cannot tell such a step from a level of its own.
    """
    from scipy.stats import norm

    members = np.arange(len(search.frame)) if group is None else np.asarray(group)
    precision = search.model.parts.sums(members)
    if group is not None:
        precision, _ = with_free_level(precision, search.model.weighed[members])
    touched = np.isin(members, rows).astype(float)
    information = float(touched @ precision @ touched)
    se = 1 / math.sqrt(information) if information > 1e-9 else math.inf
    family = "all" if group is None else "going"
    looks = search.tried.get(family)
    if not looks or not math.isfinite(se):
        return math.inf
    df = max((search.model.df_all if group is None else search.model.df) - 3, 4.0)
    return (_threshold(search.alpha, looks / SHARES[family], df, search.falls) + float(norm.ppf(power))) * se


@dataclass(frozen=True, kw_only=True)
class _Task:
    """The hatches, the groups and all that stays the same from fit to fit."""

    data: LevelData
    how: dict
    known: tuple  # columns with free coefficients
    groups: list  # (factor, level, rows)
    with_ramps: bool
    alpha: float
    falls: float  # share of the chance that falls have

    def fit(self, columns, like=None, *, best=None, is_searched=True) -> LevelModel:
        """The model with what is known and further columns (or changes), begun from the spreads of a like one.

        Groups that changed, and that of the candidate ``best``, are compared with themselves: their levels are free.
        """
        every = [*self.known, *(getattr(c, "column", c) for c in columns)]
        extra = np.column_stack(every) if every else None
        free = [(c.factor, c.level) for c in columns if getattr(c, "shape", "") == "step"]
        free += [self.groups[best.group][:2]] if best is not None and best.shape == "step" else []
        # a level that is told as a change is free by that column: free twice, rounding would decide the spreads
        levels = {(c.factor, c.level) for c in columns if getattr(c, "shape", "") == "level"}
        how = self.how | {"free": set(free) - levels, "newcomers": set(self.how["newcomers"]) - levels}
        start = None if like is None else like.theta
        return fit_levels(self.data, extra=extra, start=start, is_searched=is_searched, **how)

    def candidates(self, model):
        """What stands out most, and how many were tried."""
        return best_candidates(model, self.groups, self.data.day, self.how["fixed"], self.with_ramps)

    def rows(self, best):
        """Hatches of a candidate."""
        return self.groups[best.group][2][best.i : best.j]

    def column(self, best):
        """Column of the design that a candidate is."""
        rows, day = self.rows(best), self.data.day
        column = np.zeros(len(day))
        column[rows] = day[rows] - day[rows[0]] if best.shape == "ramp" else 1.0
        return column

    def df(self, best, model) -> float:
        """Degrees of freedom: a group is compared within days; all hatches, and a lot, with other days."""
        factor = self.groups[best.group][0]
        is_within_days = factor and factor not in self.how["fixed"] and best.shape == "step"
        return model.df if is_within_days else model.df_all

    def chance(self, best, model) -> float:
        """Chance of a change like the model's last column, all that was tried counted."""
        df = max(self.df(best, model) - 3, 4.0)
        z = _z_of_last(model)
        return min(1.0, best.n_tried * float(_t().sf(abs(z), df)) / (self.falls if z < 0 else 1 - self.falls))


def _t():
    from scipy.stats import t

    return t


def _judged(task, best, found, model):
    """A candidate beside itself: a change swells the very spreads that it is judged by. None where it does not hold."""
    column = task.column(best)
    beside = task.fit([*found, column], model, best=best)
    p = task.chance(best, beside)
    if p >= task.alpha or not _without_one(task, best, beside, [*found, column]):
        return None
    return best.weight + 0.5 * (_z_of_last(beside) ** 2 - best.gain), p, best, column, beside


def _without_one(task, best, beside, columns) -> bool:
    """Whether a step stands out without any one hatch, in it or outside it: one failed hatch is no change.

    Where either part of the group is small, its farthest hatch is left to itself: one that fails first makes a rise of
    all others.
    """
    rows, members = task.rows(best), task.groups[best.group][2]
    if best.shape != "step":
        return True
    side = math.copysign(1.0, float(beside.coefficients[-1]))
    outside = np.setdiff1d(members, rows)
    if len(outside) == 1:
        return False
    for part, sign in ((rows, side), (outside, -side)):
        if not 0 < len(part) <= _FEW:
            continue
        alone = np.zeros(len(task.data.day))
        alone[part[int(np.argmax(sign * beside.left[part]))]] = 1.0
        model = task.fit([*columns[:-1], alone, columns[-1]], beside, best=best, is_searched=False)
        if _z_of_last(model) * side <= 0 or task.chance(best, model) >= 5 * task.alpha:
            return False
    return True


def _z_of_last(model) -> float:
    """The last column's coefficient over its standard error."""
    return float(model.coefficients[-1] / math.sqrt(max(float(model.covariance[-1, -1]), 1e-12)))


def _pruned(task, found, model):
    """Leave out a change that the later ones explain: it no longer stands out beside them."""
    at = [i for i, (factor, _) in enumerate(model.columns) if factor == "change"][len(task.known) :]
    z = np.abs(model.coefficients[at]) / np.sqrt(np.maximum(np.diag(model.covariance)[at], 1e-12))
    kept = [c for c, value in zip(found, z, strict=True) if value > 2.5]
    if len(kept) in (0, len(found)):
        return found, model
    return kept, task.fit(kept, model)


def _refined(task, found, model):
    """Look for each earlier change anew beside the later ones, which it had to make do without."""
    out = list(found)
    for k, old in enumerate(out[:-1]):
        if old.shape == "level":
            continue
        others = [c for i, c in enumerate(out) if i != k]
        candidates, _ = task.candidates(task.fit(others, model, is_searched=False))
        best = max(candidates, key=lambda c: c.weight, default=None)
        column = task.column(best) if best is not None else old.column
        if np.array_equal(column, old.column):
            continue
        beside = task.fit([*others, column], model, best=best, is_searched=False)
        p = task.chance(best, beside)
        if p < task.alpha:
            out[k] = _described(task, best, column, beside, p)
    if all(a is b for a, b in zip(out, found, strict=True)):
        return found, model
    return out, task.fit(out, model)


def _groups(named, factors, n):
    """(factor, level, rows); levels that hold all hatches but a few say nothing that "all" does not.

    Of a factor with one level that is named nothing says what the others are: it makes no group.
    """
    groups = [("", ALL, np.arange(n))]
    for factor in factors:
        levels = sorted(set(named.get(factor, [])) - {""})
        for level in levels if len(levels) > 1 else []:
            rows = np.flatnonzero(named[factor] == level)
            if SHORTEST <= len(rows) <= n - SHORTEST:
                groups.append((factor, level, rows))
    return groups


def _described(task, best, column, beside, p) -> Change:
    """The chosen candidate with its bounds, its size after selection and its rivals, judged beside itself."""
    factor, level, rows = task.groups[best.group]
    i, j = best.i, best.j
    value, se = float(beside.coefficients[-1]), math.sqrt(float(beside.covariance[-1, -1]))
    # the model with the change taken out again, but with the spreads that it leaves
    without = beside.without_last()
    if best.shape == "ramp":
        gain, _ = ramp_gains(without, rows, task.data.day)
        starts = likely_bounds(np.where(gain > 0, np.exp(0.5 * (gain - gain.max())), 0.0), i)
        ends, places = (j, j), 0.0
    else:
        steps = step_gains(without, rows, task.data.day, is_group=bool(factor))
        gain, information = steps.gain, np.maximum(steps.information, 1e-12)
        weight = np.where(gain > 0, np.exp(0.5 * (gain - gain.max())) / np.sqrt(information), 0.0)
        weight = np.where((steps.score > 0) == (value > 0), weight, 0.0)
        of_row = np.zeros((2, len(rows) + 1))
        of_row[:, steps.places] = weight.sum(axis=1), weight.sum(axis=0)
        starts, ends = likely_bounds(of_row[0], i), likely_bounds(of_row[1], j)
        among = [(steps.places >= low) & (steps.places <= high) for low, high in (starts, ends)]
        part = np.ix_(*among)
        places = _spread_over_places(steps.score[part], steps.information[part], weight[part], value)
    df = task.df(best, beside)
    share = task.falls if value < 0 else 1 - task.falls
    threshold = _threshold(task.alpha, best.n_tried, df, share)
    low, high = size_after_selection(value, se, threshold=threshold, df=df)
    # never across zero, where nothing would have been told
    most, least = (0.0, -math.inf) if value < 0 else (math.inf, 0.0)
    low = max(least, value - math.hypot(value - low, 1.96 * places))
    high = min(most, value + math.hypot(high - value, 1.96 * places))
    return Change(
        shape=best.shape,
        factor=factor,
        level=level,
        rows=rows[i:j],
        first=rows[i],
        first_low=rows[starts[0]],
        first_high=rows[min(starts[1], j - 1)],
        last=rows[j - 1],
        last_low=rows[max(ends[0] - 1, 0)],
        last_high=rows[ends[1] - 1],
        is_ongoing=ends[1] == len(rows),
        coefficient=value,
        low=low,
        high=high,
        z=value / se,
        p_value=p,
        column=column,
        rivals=_rivals(best, without, task) if best.shape == "step" else (),
    )


def _spread_over_places(score, information, weight, value) -> float:
    """Spread of a step's size over where it may have begun and ended; the chosen place is one of several."""
    if not weight.sum() > 0:
        return 0.0
    sizes = score / np.where(weight > 0, information, 1.0)
    return math.sqrt(float(np.sum(weight * (sizes - value) ** 2) / weight.sum()))


def _threshold(alpha, tried, df, share):
    """Standard errors from which on a change is told: to one side, which has this share of the chance."""
    return float(_t().isf(min(0.4, alpha * share / max(tried, 1.0)), df))


def _rivals(best, model, task):
    """Groups that explain the same hatches nearly as well (a likelihood ratio below e^3)."""
    groups, day = task.groups, task.data.day
    factor, _, rows = groups[best.group]
    mine, found = set(rows[best.i : best.j]), []
    steps = step_gains(model, rows, day, is_group=bool(factor))
    top = float(steps.gain[tuple(np.searchsorted(steps.places, (best.i, best.j)))])
    for k, (factor, level, rows) in enumerate(groups):
        if k == best.group or not factor:
            continue
        steps = step_gains(model, rows, day, is_group=True)
        a, b = np.unravel_index(int(np.argmax(steps.gain)), steps.gain.shape)
        if top - float(steps.gain[a, b]) < 6.0 and mine & set(rows[steps.places[a] : steps.places[b]]):
            found.append(group_words(factor, level))
    return tuple(found)
