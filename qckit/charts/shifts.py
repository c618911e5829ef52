"""Which hatches moved, since when, and what is different about them.

Points come as standard deviations from their own lot's centre line, so that lots can be looked at together. For all
hatches, and for each cone, operator, lot and way of counting, every stretch of time is tried; the one that stands out
most is taken, its mean is taken off, and the search goes on until what is left could be chance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

__all__ = ["ALL", "Shift", "best_stretch", "compare_conditions", "find_shifts", "likeness_inflation"]

ALL = "all hatches"
_BREAK_95 = -2 * math.log(1 - math.sqrt(0.95))
_FARTHEST = 5.0  # standard deviations that a single hatch can count for
_FACTORS = ("cone", "operator", "lot", "counted_by")
_WORDS = {"counted_by": "counted by"}


@dataclass(frozen=True)
class Shift:
    """One change found.

    ``first``, ``first_low``, ``first_high`` say when it began (bounds of its interval are the days of hatches);
    ``last`` is the last hatch touched; ``is_ongoing`` unless later hatches rule it out. ``effect`` is in the chart's
    unit.
    """

    where: str
    factor: str  # "", cone, operator, lot, counted_by
    level: str
    first: pd.Timestamp
    first_low: pd.Timestamp
    first_high: pd.Timestamp
    last: pd.Timestamp
    last_low: pd.Timestamp
    last_high: pd.Timestamp
    is_ongoing: bool
    n_hatches: int
    effect_z: float
    effect: float
    effect_low: float
    effect_high: float
    p_value: float
    labels: tuple = ()
    rivals: tuple = ()
    conditions: list = field(default_factory=list)


def likeness_inflation(frame, *, factors=_FACTORS, lags=4):
    """Say how much more sums of neighbours vary than independence lets them, from hatches in which nothing moved.

    Hatches of one day share its water and its people; without this a few shared days look like a change.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        Earlier hatches in the order of time: ``z`` and the factor columns.
    factors : tuple of str
    lags : int
        Neighbours looked at: a day of four cones reaches three.

    Returns
    -------
    dict of str to float
        Factor -> variance of a sum over what independence gives, at least 1 (1 with fewer than 30 hatches); "" is all
        hatches together. 1 + 2 sum of (1 - k / (lags + 1)) r_k, Bartlett's weights.

    References
    ----------
    Newey and West 1987, Econometrica 55:703-708.
    """
    frame = frame[frame["z"].notna()]
    out = {"": _long_run(frame["z"].to_numpy(dtype=float), lags)}
    for factor in factors:
        if factor in frame:
            own = [_long_run(part["z"].to_numpy(dtype=float), lags) for _, part in frame.groupby(factor)]
            sizes = frame.groupby(factor).size().to_numpy()
            out[factor] = float(np.average(own, weights=sizes)) if len(own) else 1.0
    return out


def _long_run(z, lags):
    n = len(z)
    if n < 30 or not np.ptp(z) > 0:
        return 1.0
    x = z - z.mean()
    r = [float(np.sum(x[k:] * x[:-k]) / np.sum(x * x)) for k in range(1, lags + 1)]
    total = 1 + 2 * sum((1 - k / (lags + 1)) * rk for k, rk in enumerate(r, start=1))
    # chance alone gives a little: only what exceeds its own standard error counts
    return total if total > 1 + 2 * math.sqrt(sum((1 - k / (lags + 1)) ** 2 for k in range(1, lags + 1)) / n) else 1.0


def find_shifts(frame, *, factors=_FACTORS, alpha=0.01, shortest=3, most=6, inflation=None):
    """Find which hatches moved and when.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        In the order of time: ``label``, ``at``, ``z`` (about standard normal when nothing moved), ``value``,
        ``centre`` and the factor columns.
    factors : tuple of str
        Columns whose levels are tried beside all hatches together.
    alpha : float
        Chance that a series in which nothing moved gives a shift, all stretches and groups tried counted
        (Bonferroni, so that the true chance is smaller).
    shortest : int
        Fewest hatches in a shift.
    most : int
        Most shifts looked for.
    inflation : dict, optional
        From :func:`likeness_inflation`, where neighbours are alike.

    Returns
    -------
    list of Shift
        In the order found, the clearest first. ``rivals`` are other groups that would explain the same hatches as
        well.
    """
    frame = frame[frame["z"].notna()].reset_index(drop=True)
    groups = _groups(frame, factors)
    share = inflation or {}
    tried = max(1.0, sum(len(index) ** 2 / 2 for _, _, index in groups))
    # one hatch that failed outright is a signal of its own and must not look like a change that lasted
    left = np.clip(frame["z"].to_numpy(dtype=float), -_FARTHEST, _FARTHEST)
    found = []
    while len(found) < most and len(frame) >= shortest:
        best = None
        for f, g, index in groups:
            gain, i, j = best_stretch(left[index], shortest)
            gain /= share.get(f, 1.0)
            if best is None or gain > best[0]:
                best = (gain, i, j, f, g, index)
        gain, i, j, factor, level, index = best
        p = min(1.0, tried * _tail(gain))
        if p >= alpha:
            break
        rivals = _rivals(left, groups, (factor, level), index[i:j], shortest, tried)
        found.append(_shift(frame, left, factor, level, index, i, j, p, rivals))
        left[index[i:j]] -= left[index[i:j]].mean()
    return found


def _groups(frame, factors):
    """(factor, level, rows) to be tried; levels that hold nearly all hatches say nothing that "all" does not."""
    n = len(frame)
    groups = [("", ALL, np.arange(n))]
    for factor in factors:
        if factor not in frame:
            continue
        names = frame[factor].fillna("").astype(str).to_numpy()
        for level in sorted(set(names) - {""}):
            index = np.flatnonzero(names == level)
            if 3 <= len(index) < 0.95 * n:
                groups.append((factor, level, index))
    return groups


def best_stretch(z, shortest):
    """Find the stretch of z that stands out most.

    Parameters
    ----------
    z : ndarray of float, shape (n,)
    shortest : int
        Fewest points in a stretch.

    Returns
    -------
    tuple of (float, int, int)
        (sum)^2 / length, first row, row after the last; -1 when z is too short.
    """
    n = len(z)
    if n < shortest:
        return (-1.0, 0, 0)
    total = np.concatenate([[0.0], np.cumsum(z)])
    length = np.arange(n + 1)[None, :] - np.arange(n + 1)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(length >= shortest, (total[None, :] - total[:, None]) ** 2 / length, -1.0)
    i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
    return (float(gain[i, j]), int(i), int(j))


def _tail(gain):
    return math.erfc(math.sqrt(max(gain, 0) / 2))


def _rivals(z, groups, chosen, rows, shortest, tried):
    """Groups that explain the same hatches, such that neither can be seen without the other."""
    mine, found = set(rows), []
    for factor, level, index in groups:
        if (factor, level) == chosen or not factor:
            continue
        gain, i, j = best_stretch(z[index], shortest)
        if min(1.0, tried * _tail(gain)) >= 0.01:
            continue
        other = set(index[i:j])
        rest = np.array(sorted(mine - other))
        alike = len(mine & other) / len(mine | other) >= 0.6  # else the rest of them did not move
        if alike and (len(rest) < shortest or z[rest].sum() ** 2 / len(rest) < 6.63):
            found.append(f"{_WORDS.get(factor, factor)} {level}")
    return tuple(found)


def _shift(frame, z, factor, level, index, i, j, p, rivals):
    rows = index[i:j]
    step = float(z[rows].mean())
    variance = max(1.0, float(z[rows].var(ddof=1))) if len(rows) > 2 else 1.0
    starts, ends = _likely_bounds(z[index], i, j, variance)
    at = frame["at"]

    def place(k):
        return at.iloc[index[k]]

    distance = (frame["value"] - frame["centre"]).to_numpy(dtype=float)[rows]
    half = 1.96 * distance.std(ddof=1) / math.sqrt(len(rows)) if len(rows) > 2 else math.nan
    return Shift(
        where=ALL if not factor else f"{_WORDS.get(factor, factor)} {level}",
        factor=factor,
        level=level,
        first=place(i),
        first_low=place(starts[0]),
        first_high=place(starts[1]),
        last=place(j - 1),
        last_low=place(ends[0] - 1),
        last_high=place(ends[1] - 1),
        is_ongoing=ends[1] == len(index),
        n_hatches=len(rows),
        effect_z=step,
        effect=float(distance.mean()),
        effect_low=float(distance.mean() - half),
        effect_high=float(distance.mean() + half),
        p_value=p,
        labels=tuple(frame["label"].iloc[rows]),
        rivals=rivals,
    )


def _likely_bounds(z, i, j, variance):
    """First and last start, and end, that the likelihood ratio does not rule out at 95 %.

    Twice the log likelihood ratio of a break is the larger of two exponential variables times two, whose 95 % point
    is 7.35 (the law behind Bai 1997; used as a set by Eo and Morley 2015, Quantitative Economics 6:463-497, from
    memory).
    """
    total = np.concatenate([[0.0], np.cumsum(z)])
    best = (total[j] - total[i]) ** 2 / (j - i)

    def kept(gains, is_longer):
        # hatches outside the stretch vary with variance 1, those inside with their own
        inside = np.flatnonzero(best - gains <= _BREAK_95 * np.where(is_longer, 1.0, variance))
        return int(inside.min()), int(inside.max())

    k = np.arange(j)
    starts = kept((total[j] - total[:j]) ** 2 / (j - k), k < i)
    k = np.arange(i + 1, len(total))
    ends = kept((total[k] - total[i]) ** 2 / (k - i), k > j)
    return starts, (ends[0] + i + 1, ends[1] + i + 1)


def compare_conditions(series, labels, others, names, *, alpha=0.001):
    """Say which conditions differ between the hatches that moved and the others.

    Parameters
    ----------
    series : DataFrame
        From :func:`qckit.charts.series.hatch_series`.
    labels, others : iterable of str
        Hatches that moved, hatches to compare them with.
    names : iterable of str
        Condition columns.
    alpha : float
        Level of the test, already strict because several conditions are tried.

    Returns
    -------
    DataFrame
        condition, there, elsewhere, difference, sd, n_there, n_elsewhere, p_value, differs; the largest difference in
        standard deviations first. ``differs`` also asks for more than one standard deviation, since a tiny difference
        explains no shift.
    """
    from scipy.stats import ttest_ind

    there, other = series[series["hatch"].isin(set(labels))], series[series["hatch"].isin(set(others))]
    rows = []
    for name in names:
        a, b = there[name].dropna().astype(float), other[name].dropna().astype(float)
        if len(a) < 2 or len(b) < 2:
            continue
        sd = max(float(b.std(ddof=1)), 1e-9)
        p = float(ttest_ind(a, b, equal_var=False).pvalue) if a.std() + b.std() > 0 else 1.0
        gap = float(a.mean() - b.mean())
        rows.append((name, float(a.mean()), float(b.mean()), gap, sd, len(a), len(b), p, p < alpha and abs(gap) > sd))
    columns = ["condition", "there", "elsewhere", "difference", "sd", "n_there", "n_elsewhere", "p_value", "differs"]
    out = pd.DataFrame(rows, columns=columns)
    order = (out["difference"].abs() / out["sd"]).sort_values(ascending=False).index if len(out) else []
    return out.loc[order].reset_index(drop=True)
