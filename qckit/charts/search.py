"""Which hatches moved, since when and by how much: a search over groups and times within the model of levels.

A *change* is a step of a group of hatches over some time, or a level that wanders off evenly from a day on. A
*standing difference* between cones or operators is part of the model and so is never found as a change. Whoever comes
late (an operator, a cone, a way of counting) is compared with what such levels usually differ by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.charts.levels import LevelModel, day_numbers, fit_levels

__all__ = ["ALL", "Change", "Search", "find_changes_in_levels", "group_words", "late_levels", "size_after_selection"]

ALL = "all hatches"
FACTORS = ("cone", "operator", "lot", "counted_by")
_WORDS = {"counted_by": "counted by"}
_SHORTEST = 3  # hatches of a step
_RAMP = (10, 14.0)  # hatches and days of a level that wanders off
_FEW = 10  # hatches of a step that one failed hatch could make alone
_APART = 6  # rows between two places for a beginning that are not one place
_RARER_RISES = 50.0
_ALL_FIRST = 4.0  # prior weight of all hatches over one group
_LATE = (20, 14.0)  # hatches and days of others before a level counts as having come late


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change found.

    ``rows`` are the hatches touched, as rows of the searched frame. ``first`` to ``last_high`` are rows too: when it
    began and ended, with the bounds that hold 95 % of what the data leave likely. ``coefficient`` is on the working
    scale: of a step its height, of a ramp its height per day.
    """

    shape: str  # step, ramp, level
    factor: str  # "", cone, operator, lot, counted_by
    level: str
    rows: np.ndarray
    first: int
    first_low: int
    first_high: int
    last: int
    last_low: int
    last_high: int
    is_ongoing: bool
    coefficient: float
    low: float
    high: float
    z: float
    p_value: float  # of the whole search: every group, time and shape tried is counted
    column: np.ndarray
    rivals: tuple = ()

    @property
    def where(self) -> str:
        """The group in words."""
        return group_words(self.factor, self.level)


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
    tried: float  # stretches, ramps and late levels that were looked at
    alpha: float
    frame: pd.DataFrame  # the searched hatches


def group_words(factor: str, level: str) -> str:
    """Name a group: ``cone C``, ``counted by photo``, ``all hatches``."""
    return f"{_WORDS.get(factor, factor)} {level}" if factor else ALL


def late_levels(frame, factors=("cone", "operator", "counted_by")) -> list[tuple[str, str]]:
    """List the levels that came after the others: (factor, level)."""
    out, begin = [], frame["at"].iloc[0] if len(frame) else None
    for factor in factors:
        if factor not in frame:
            continue
        first = frame.groupby(factor)["at"].min()
        for level, at in first.items():
            before = (frame["at"] < at) & (frame[factor] != "")
            if str(level) and before.sum() >= _LATE[0] and (at - begin) / pd.Timedelta(days=1) >= _LATE[1]:
                out.append((factor, str(level)))
    return out


def find_changes_in_levels(
    frame,
    *,
    alpha=0.01,
    priors=None,
    factors=FACTORS,
    fixed=("lot",),
    most=5,
    with_ramps=True,
    late_alpha=None,
    beside=None,
) -> Search:
    """Search hatches for changes.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        In the order of time: label, at, y (working scale), counting (variance that counting gives) and the factors.
    alpha : float
        Chance that a series in which nothing changed gives any change: Bonferroni over all groups, times and shapes,
        in three equal parts (steps that go on, steps that ended, ramps), so that the true chance is smaller.
    priors : levels.Priors, optional
    factors : tuple of str
        Columns whose levels are groups.
    fixed : tuple of str
        Factors with free levels.
    most : int
        Most changes looked for.
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
    binary segmentation with several shapes: Fryzlewicz 2014, Annals of Statistics 42:2243-2281 (from memory).

    Examples
    --------
    >>> points = charts.water_points(series, "ph").tail(80)
    >>> search = charts.find_changes_in_levels(points, factors=("cone",), fixed=())
    >>> isinstance(search.changes, list)
    True
    """
    frame = frame.reset_index(drop=True)
    day = day_numbers(frame["at"])
    named = {f: frame[f].fillna("").astype(str).to_numpy() for f in (*fixed, *factors) if f in frame}
    late = late_levels(frame, [f for f in factors if f not in fixed])
    how = {"priors": priors, "fixed": fixed, "newcomers": late}
    y, counting = frame["y"].to_numpy(float), frame["counting"].to_numpy(float)
    groups = _groups(named, factors, len(frame))
    known = [] if beside is None else list(np.asarray(beside, float).T)
    plain = model = fit_levels(y, counting, day, named, extra=_columns(known), **how)
    found, tried = [], 0.0
    for change in _late_changes(model, named, late, late_alpha if late_alpha is not None else alpha / 3):
        found.append(change)
        model = fit_levels(y, counting, day, named, extra=_columns([*known, *found]), start=_theta(model), **how)
    while len(found) < most and len(frame) >= 2 * _SHORTEST:
        candidates, tried = _best(model, groups, day, fixed, with_ramps)
        # a change swells the very spreads it is judged by: each is judged again beside itself
        judged = []
        for best in candidates:
            column = _column(best, groups, day)
            extra = _columns([*known, *found, column])
            beside = fit_levels(y, counting, day, named, extra=extra, start=_theta(model), **how)
            z = _z_of_last(beside)
            p = min(1.0, best.n_tried * 2 * float(_t().sf(abs(z), max(beside.df - 3, 4.0))))
            if not _without_one(best, groups, beside, (y, counting, day, named), [*known, *found, column], alpha, how):
                continue
            judged.append((best.weight + 0.5 * (z * z - best.gain), p, best, column, beside))
        judged = [j for j in judged if j[1] < alpha]
        if not judged:
            break
        _, p, best, column, beside = max(judged, key=lambda j: j[0])
        model = beside
        found.append(_described(best, column, model, groups, day, alpha, p))
        found, model = _pruned(found, known, model, y, counting, day, named, how)
        if len(found) > 1:
            found, model = _refined(
                found, known, model, (y, counting, day, named), groups, fixed, with_ramps, alpha, how
            )
    return Search(changes=found, model=model, plain=plain, tried=tried, alpha=alpha, frame=frame)


def _columns(found):
    columns = [getattr(c, "column", c) for c in found]
    return np.column_stack(columns) if columns else None


def _theta(model):
    return model.theta if len(model.theta) else None


def _t():
    from scipy.stats import t

    return t


def _without_one(best, groups, beside, data, columns, alpha, how) -> bool:
    """Whether a short step stands out when its farthest hatch is left to itself: one failed hatch is no change."""
    rows = groups[best.group][2][best.i : best.j]
    if best.shape != "step" or len(rows) > _FEW:
        return True
    y, counting, day, named = data
    side = math.copysign(1.0, float(beside.coefficients[-1]))
    alone = np.zeros(len(day))
    alone[rows[int(np.argmax(side * beside.left[rows]))]] = 1.0
    still = {"start": beside.theta, "is_searched": False, **how}
    model = fit_levels(y, counting, day, named, extra=_columns([*columns[:-1], alone, columns[-1]]), **still)
    z = _z_of_last(model)
    p = best.n_tried * 2 * float(_t().sf(abs(z), max(model.df - 3, 4.0)))
    return z * side > 0 and p < 5 * alpha


def _z_of_last(model) -> float:
    """The last column's coefficient over its standard error."""
    return float(model.coefficients[-1] / math.sqrt(max(float(model.covariance[-1, -1]), 1e-12)))


@dataclass(frozen=True, kw_only=True)
class _Candidate:
    """What stands out most: rows i to j - 1 of a group."""

    shape: str
    group: int
    i: int
    j: int
    gain: float
    n_tried: float  # by how much its own chance is multiplied
    weight: float  # log posterior weight, to choose between shapes


def _column(best, groups, day):
    rows = groups[best.group][2][best.i : best.j]
    column = np.zeros(len(day))
    column[rows] = day[rows] - day[rows[0]] if best.shape == "ramp" else 1.0
    return column


def _pruned(found, known, model, y, counting, day, named, how):
    """Leave out a change that the later ones explain: it no longer stands out beside them."""
    at = [i for i, (factor, _) in enumerate(model.columns) if factor == "change"][len(known) :]
    z = np.abs(model.coefficients[at]) / np.sqrt(np.maximum(np.diag(model.covariance)[at], 1e-12))
    kept = [c for c, value in zip(found, z, strict=True) if value > 2.5]
    if len(kept) in (0, len(found)):
        return found, model
    return kept, fit_levels(y, counting, day, named, extra=_columns([*known, *kept]), start=_theta(model), **how)


def _refined(found, known, model, data, groups, fixed, with_ramps, alpha, how):
    """Look for each earlier change anew beside the later ones, which it had to make do without."""
    y, counting, day, named = data
    out = list(found)
    for k, old in enumerate(out[:-1]):
        if old.shape == "level":
            continue
        others = [c for i, c in enumerate(out) if i != k]
        still = {"start": model.theta, "is_searched": False, **how}
        without = fit_levels(y, counting, day, named, extra=_columns([*known, *others]), **still)
        candidates, _ = _best(without, groups, day, fixed, with_ramps)
        best = max(candidates, key=lambda c: c.weight, default=None)
        column = _column(best, groups, day) if best is not None else old.column
        if np.array_equal(column, old.column):
            continue
        beside = fit_levels(y, counting, day, named, extra=_columns([*known, *others, column]), **still)
        p = min(1.0, best.n_tried * 2 * float(_t().sf(abs(_z_of_last(beside)), max(beside.df - 3, 4.0))))
        if p < alpha:
            out[k] = _described(best, column, beside, groups, day, alpha, p)
    if all(a is b for a, b in zip(out, found, strict=True)):
        return found, model
    return out, fit_levels(y, counting, day, named, extra=_columns([*known, *out]), start=model.theta, **how)


def _groups(named, factors, n):
    """(factor, level, rows); levels that hold all hatches but a few say nothing that "all" does not."""
    groups = [("", ALL, np.arange(n))]
    for factor in factors:
        for level in sorted(set(named.get(factor, [])) - {""}):
            rows = np.flatnonzero(named[factor] == level)
            if _SHORTEST <= len(rows) <= n - _SHORTEST:
                groups.append((factor, level, rows))
    return groups


def _late_changes(model, named, late, alpha):
    """Levels that came late and differ by more than such levels do."""
    out = []
    for factor, level in late:
        column = (named[factor] == level).astype(float)
        rows = np.flatnonzero(column)
        if len(rows) < _SHORTEST:
            continue
        value, se = model.estimate(column)
        p = min(1.0, len(late) * 2 * float(_t().sf(abs(value) / se, min(model.df, 30.0))))
        if p >= alpha:
            continue
        low, high = value - 1.96 * se, value + 1.96 * se
        ends = {"first": rows[0], "first_low": rows[0], "first_high": rows[0]}
        ends |= {"last": rows[-1], "last_low": rows[-1], "last_high": rows[-1]}
        out.append(
            Change(
                shape="level",
                factor=factor,
                level=level,
                rows=rows,
                is_ongoing=True,
                coefficient=value,
                low=low,
                high=high,
                z=value / se,
                p_value=p,
                column=column,
                **ends,
            )
        )
    return sorted(out, key=lambda c: c.p_value)[:1]


def _best(model, groups, day, fixed, with_ramps):
    """The step and the drift that stand out most, and how many were tried.

    Among shapes and groups the likelier one is taken: a log weight of half the gain less the log of how many of its
    kind there are. Rises count as _RARER_RISES times rarer than falls: what goes wrong in a hatch room lowers the
    hatch, and a rise is nearly always the end of a fall. Of a group and all hatches, all is taken unless the group
    tells clearly more.
    """
    families = {"step": [], "going": [], "ramp": []}
    tried = dict.fromkeys(families, 0.0)
    for g, (factor, _, rows) in enumerate(groups):
        gain, _ = _steps(model, rows)
        m = len(rows)
        rises = _rises(model, rows)
        prior = math.log(_ALL_FIRST) if not factor else 0.0
        weight = 0.5 * gain - math.log(_RARER_RISES) * rises + prior
        tried["step"], tried["going"] = tried["step"] + m * m / 2, tried["going"] + m
        i = int(np.argmax(np.where(gain[:, m] > 0, weight[:, m], -np.inf)))
        families["going"].append((float(weight[i, m]), float(gain[i, m]), "step", g, i, m))
        i, j = np.unravel_index(int(np.argmax(np.where(gain > 0, weight, -np.inf))), gain.shape)
        families["step"].append((float(weight[i, j]), float(gain[i, j]), "step", g, int(i), int(j)))
        if with_ramps and (not factor or factor in fixed) and m >= _RAMP[0]:
            gain, _ = _ramps(model, rows, day)
            tried["ramp"] += m
            i = int(np.argmax(gain))
            # what wanders off is a lot ageing rather than the room
            weight = 0.5 * float(gain[i]) - prior
            families["ramp"].append((weight, float(gain[i]), "ramp", g, i, m))
    best = {}
    for family, members in families.items():
        for weight, gain, shape, g, i, j in members:
            if gain <= 0 or not math.isfinite(weight):
                continue
            weight -= math.log(max(tried[family], 1.0))
            if shape not in best or weight > best[shape].weight:
                n = 3 * tried[family]
                best[shape] = _Candidate(shape=shape, group=g, i=i, j=j, gain=gain, n_tried=n, weight=weight)
    return list(best.values()), sum(tried.values())


def _rises(model, rows):
    """Whether a step over rows i to j - 1 goes up, shape (m + 1, m + 1)."""
    total = np.concatenate([[0.0], np.cumsum(model.weighed[rows])])
    return total[None, :] > total[:, None]


def _block(matrix):
    """Sums over all leading blocks, shape (m + 1, m + 1)."""
    out = np.zeros((matrix.shape[0] + 1, matrix.shape[1] + 1))
    np.cumsum(np.cumsum(matrix, axis=0), axis=1, out=out[1:, 1:])
    return out


def _steps(model, rows):
    """Gain (squared z) and information of a step over rows i to j - 1, shapes (m + 1, m + 1)."""
    block = _block(model.precision[np.ix_(rows, rows)])
    total = np.concatenate([[0.0], np.cumsum(model.weighed[rows])])
    edge = np.diag(block)
    information = edge[None, :] + edge[:, None] - block - block.T
    length = np.arange(len(rows) + 1)[None, :] - np.arange(len(rows) + 1)[:, None]
    score = total[None, :] - total[:, None]
    least = 0.02 * length / float(np.median(model.variance))
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where((length >= _SHORTEST) & (information > least), score**2 / information, -1.0)
    return gain, information


def _ramps(model, rows, day):
    """Gain and information of a level that wanders off evenly from row i on, to the group's end; shapes (m,)."""
    inner = model.precision[np.ix_(rows, rows)]
    d = day[rows].astype(float)
    d = d - d[-1]
    plain, one, two = (np.diag(_tail_block(b)) for b in (inner, d[:, None] * inner, d[:, None] * inner * d[None, :]))
    # one is sum d_k P_kl over k, l >= i
    u = model.weighed[rows]
    from_here = np.cumsum(u[::-1])[::-1]
    moved = np.cumsum((d * u)[::-1])[::-1]
    information = two - 2 * d * one + d**2 * plain
    score = moved - d * from_here
    long = (len(rows) - np.arange(len(rows)) >= _RAMP[0]) & (-d >= _RAMP[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(long & (information > 1e-9), score**2 / information, -1.0)
    return gain, information


def _tail_block(matrix):
    """Sums over all trailing blocks, shape (m, m)."""
    return np.cumsum(np.cumsum(matrix[::-1, ::-1], axis=0), axis=1)[::-1, ::-1]


def _likely(weight, at, least=0.95):
    """Bounds of the places around ``at`` that hold this share of the weight; a far second place is none of them."""
    p = weight / weight.sum()
    order = np.argsort(-p, kind="stable")
    kept = np.sort(order[: int(np.searchsorted(np.cumsum(p[order]), least)) + 1])
    part = np.split(kept, np.flatnonzero(np.diff(kept) > _APART) + 1)
    mine = min(part, key=lambda k: 0 if k[0] <= at <= k[-1] else min(abs(k[0] - at), abs(k[-1] - at)))
    return int(min(mine[0], at)), int(max(mine[-1], at))


def _described(best, column, beside, groups, day, alpha, p) -> Change:
    """The chosen candidate with its bounds, its size after selection and its rivals, judged beside itself."""
    factor, level, rows = groups[best.group]
    i, j = best.i, best.j
    value, se = float(beside.coefficients[-1]), math.sqrt(float(beside.covariance[-1, -1]))
    # the model with the change taken out again, but with the spreads that it leaves
    without = _without_last(beside)
    if best.shape == "ramp":
        gain, _ = _ramps(without, rows, day)
        starts = _likely(np.where(gain > 0, np.exp(0.5 * (gain - gain.max())), 0.0), i)
        ends = (j, j)
    else:
        gain, information = _steps(without, rows)
        weight = np.where(gain > 0, np.exp(0.5 * (gain - gain.max())) / np.sqrt(np.maximum(information, 1e-12)), 0.0)
        weight = np.where(_rises(without, rows) == (value > 0), weight, 0.0)
        starts, ends = _likely(weight.sum(axis=1), i), _likely(weight.sum(axis=0), j)
    threshold = _threshold(alpha, best.n_tried, beside.df)
    low, high = size_after_selection(value, se, threshold=threshold, df=beside.df)
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
        rivals=_rivals(best, without, groups) if best.shape == "step" else (),
    )


@dataclass(frozen=True)
class _Weighed:
    """The part of a model that a search reads."""

    weighed: np.ndarray
    precision: np.ndarray
    variance: np.ndarray


def _without_last(model):
    """P and P y of the model without its last column, at the same spreads: undo one elimination step."""
    c = float(model.covariance[-1, -1])
    b = float(model.coefficients[-1])
    v = model.last_column  # V^-1 x - V^-1 X (X' V^-1 X)^-1 X' V^-1 x over the other columns
    return _Weighed(model.weighed + v * b, model.precision + np.outer(v, v) * c, model.variance)


def _threshold(alpha, tried, df):
    return float(_t().isf(min(0.4, alpha / (2 * max(tried, 1.0))), df))


def _rivals(best, model, groups):
    """Groups that explain the same hatches nearly as well (a likelihood ratio below e^3)."""
    mine, found = set(groups[best.group][2][best.i : best.j]), []
    gain, _ = _steps(model, groups[best.group][2])
    top = float(gain[best.i, best.j])
    for k, (factor, level, rows) in enumerate(groups):
        if k == best.group or not factor:
            continue
        gain, _ = _steps(model, rows)
        a, b = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if top - float(gain[a, b]) < 6.0 and mine & set(rows[a:b]):
            found.append(group_words(factor, level))
    return tuple(found)


def size_after_selection(value, se, *, threshold, df=math.inf, confidence=0.95) -> tuple[float, float]:
    """Interval of a size that was told only because it stood out.

    Parameters
    ----------
    value, se : float
        Estimate and its standard error.
    threshold : float
        Standard errors from which on it is told.
    df : float
        Degrees of freedom of the standard error.
    confidence : float

    Returns
    -------
    tuple of float
        Equal-tailed bounds of the size under the law of the estimate given that it passed the threshold; never across
        zero, where nothing would have been told.

    References
    ----------
    Zhong and Prentice 2008, Biostatistics 9:621-634 (conditional likelihood after a threshold); Lee, Sun, Sun and
    Taylor 2016, Annals of Statistics 44:907-927.

    Examples
    --------
    >>> low, high = charts.size_after_selection(4.0, 1.0, threshold=3.5)
    >>> bool(low < high)
    True
    """
    from scipy.stats import norm, t

    side = 1.0 if value >= 0 else -1.0
    seen = abs(value) / se
    stretch = float(t.isf((1 - confidence) / 2, df) / norm.isf((1 - confidence) / 2)) if math.isfinite(df) else 1.0
    border = min(threshold, seen)

    def above(mu):
        return norm.logsf(seen - mu) - norm.logsf(border - mu)

    tail = (1 - confidence) / 2
    low = _root(above, math.log(tail), seen, 0.0)
    high = _root(above, math.log(1 - tail), seen, seen + 1.96)
    low, high = seen - (seen - low) * stretch, seen + max(0.0, high - seen) * stretch
    low = max(0.0, low)
    bounds = (side * low * se, side * high * se)
    return min(bounds), max(bounds)


def _root(above, level, seen, otherwise):
    """Size at which the chance reaches a level; ``otherwise`` where no size does (an estimate at the threshold)."""
    from scipy.optimize import brentq

    ends = (-40.0, seen + 10)
    if (above(ends[0]) - level) * (above(ends[1]) - level) >= 0:
        return otherwise
    return float(brentq(lambda mu: above(mu) - level, *ends))
