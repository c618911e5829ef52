"""Each lot's level against the world: the lots before it, what was to be expected of it, the minimum.

A lot that is bad from its first day cannot be seen by comparing it with itself. What is to be expected of it comes from
``lots/expected.py``, which the poor-hatch verdict and the new lot's page ask too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from qckit.charts.search import Search
from qckit.log_odds import expit, logit
from qckit.verdicts.lots.expected import Expected

__all__ = ["LotLevel", "judge_lots"]

_LEAST = 8  # hatches of a lot before it is judged
_NEWEST = 0.8  # part of the lots' share that goes to the newest
_LEAST_POINTS = 4.0  # points from which on a lot's difference from the one before is worth a line


@dataclass(frozen=True, kw_only=True)
class LotLevel:
    """One lot's level of the hatching percentage, changes taken out. [%]"""

    lot: str
    n_hatches: int
    level: float
    low: float
    high: float
    now: float  # at its latest hatch, where it ages
    now_low: float
    now_high: float
    before: str  # the lot before it; empty for the first
    drop: float  # points below the lot before; NaN without one
    drop_low: float
    drop_high: float
    least_drop: float  # points below the lot before from which on it is told
    prospect: Expected  # what was to be expected of it
    p_value: float  # chance of a lot as low as this
    is_below_minimum: bool  # surely
    is_worse: bool  # surely below the lot before by a difference worth a line
    is_unusual: bool  # beyond what lots ordinarily do: counts for the verdict


def judge_lots(search: Search, prospects, *, minimum, margin_pct, alpha, of_month) -> list[LotLevel]:
    """Judge the lots of a month.

    Parameters
    ----------
    search : search.Search
        Of the hatching percentage, with the changes found, so that they do not count against a lot.
    prospects : dict of str to Expected
        Lot -> what was to be expected of it.
    minimum, margin_pct : float
        The site's minimum, and the difference within which lots count as alike [% of the better].
    alpha : float
        Share of the page's false-alarm rate.
    of_month : iterable of str
        Lots to judge.

    Returns
    -------
    list of LotLevel
    """
    model, frame = search.model, search.frame
    first, count = frame.groupby("lot")["at"].min().sort_values(), frame["lot"].value_counts()
    order = [lot for lot in first.index if count[lot] >= _LEAST]
    at = {level: i for i, (factor, level) in enumerate(model.columns) if factor == "lot"}
    judged = [lot for lot in order if lot in set(of_month)]
    out = []
    for lot in judged:
        # the newest lot is the one that was not judged before
        share = alpha if len(judged) == 1 else _NEWEST * alpha if lot == judged[-1] else (1 - _NEWEST) * alpha
        share /= 1 if len(judged) == 1 or lot == judged[-1] else len(judged) - 1
        earlier = order[: order.index(lot)]
        aged = _aged(search, lot)
        found = _judge(
            lot,
            earlier[-1] if earlier else "",
            model=model,
            at=at,
            prospect=prospects[lot],
            n_hatches=int(count[lot]),
            margin_pct=margin_pct,
            alpha=share,
        )
        low, level, high = (_pct(logit(v / 100, least=1e-6) + aged) for v in (found.low, found.level, found.high))
        out.append(replace(found, now=level, now_low=low, now_high=high, is_below_minimum=high < minimum))
    return out


def _aged(search, lot):
    """How far a lot has wandered off by its latest hatch, on the working scale."""
    last = np.flatnonzero((search.frame["lot"] == lot).to_numpy())[-1]
    return sum(c.coefficient * float(c.column[last]) for c in search.changes if c.shape == "ramp")


def _pct(x):
    return 100 * expit(x)


def _judge(lot, before, *, model, at, prospect, n_hatches, margin_pct, alpha):
    from scipy.stats import t

    beta, cov = model.coefficients, model.covariance
    i = at[lot]
    se = math.sqrt(max(float(cov[i, i]), 1e-12))
    level = _pct(beta[i])
    slope = level * (100 - level) / 100
    low, high = _pct(beta[i] - 1.96 * se), _pct(beta[i] + 1.96 * se)
    drop = drop_low = drop_high = least_drop = math.nan
    if before:
        gap = beta[at[before]] - beta[i]
        both = math.sqrt(max(float(cov[i, i] + cov[at[before], at[before]] - 2 * cov[i, at[before]]), 1e-12))
        drop = _pct(beta[at[before]]) - level
        scale = drop / gap if abs(gap) > 1e-9 else slope
        drop_low, drop_high = drop - 2.58 * both * abs(scale), drop + 2.58 * both * abs(scale)
    spread = math.hypot(prospect.logit_sd, se)
    p = float(t.cdf((beta[i] - prospect.logit) / spread, prospect.df))
    margin = margin_pct / 100 * (_pct(beta[at[before]]) if before else prospect.pct)
    if before:
        unusual = _pct(prospect.logit + spread * float(t.ppf(alpha, prospect.df)))
        least_drop = min(_LEAST_POINTS + drop - drop_low, max(margin, level + drop - unusual))
    far = drop > margin if before else prospect.pct - level > 2 * margin
    return LotLevel(
        lot=lot,
        n_hatches=n_hatches,
        level=level,
        low=low,
        high=high,
        now=level,
        now_low=low,
        now_high=high,
        before=before,
        drop=drop,
        drop_low=drop_low,
        drop_high=drop_high,
        least_drop=least_drop,
        prospect=prospect,
        p_value=p,
        is_below_minimum=False,  # told from where the lot stands now, by the caller
        is_worse=bool(before) and drop_low > _LEAST_POINTS,
        is_unusual=p < alpha and bool(far),
    )
