"""Single hatches that stand out: each judged by the others, so that none hides in a level and a spread it made itself.

In a first month every hatch is part of what it is judged by: one of 43 % among 22 of 84 % widens the spread until it
lies within it. So the farthest hatch is left out, the model fitted anew, and the hatch placed against that (an
externally studentised, or deleted, residual); then the next one beside it, as long as any is far off. Two bad hatches
hide each other, so that one counts as rare as the rarest found after it.

What stands out is no part of what is usual: not of the search for changes, nor of any limits, in its own month and
after it, until a person says that it belongs. It is judged beside the changes that all hatches show, so that several
bad ones in a row are the change that they are.
"""

from __future__ import annotations

import numpy as np

from qckit.charts.search import Search
from qckit.charts.tails import tail_df
from qckit.log_odds import expit
from qckit.verdicts.month.false_alarms import SHARES, kept_by_fdr

__all__ = ["chances_alone", "hatches_alone"]

_FAR = 2.0  # standard deviations; what lies nearer with itself counted in hides nothing
_FAR_BEFORE = 3.0  # the same in earlier months, where what is told lies beyond it
_MOST = 0.2  # part of the hatches judged that is left out at most


def hatches_alone(search: Search, first) -> dict:
    """Hatches whose percentage stands out with all of their month counted: hatch -> that month, as YYYY-MM.

    Parameters
    ----------
    search : search.Search
        Of the hatching percentage.
    first : Timestamp
        Begin of the period under review, which counts as one month; those before it are the site's months.
    """
    at = search.frame["at"].dt.tz_convert(first.tz)
    month, is_now = at.dt.strftime("%Y-%m"), (at >= first).to_numpy()
    far = np.abs(_distance(search, search.model)) >= _FAR_BEFORE
    looks = [(is_now, _FAR)] if is_now.any() else []
    for before in sorted(set(month[far & ~is_now])):
        looks.append(((month == before).to_numpy() & ~is_now, _FAR_BEFORE))
    out = {}
    for judged, reach in looks:
        kept = kept_by_fdr(chances_alone(search, judged, reach), SHARES["hatches"])
        out |= dict(zip(search.frame.loc[kept, "label"], month[kept], strict=True))
    return out


def chances_alone(search: Search, judged, reach=_FAR) -> np.ndarray:
    """Chance of a hatch as far from the level that its lot, cone and people make expected, one for each hatch.

    Parameters
    ----------
    search : search.Search
        Of the hatching percentage: changes found do not count against a hatch.
    judged : ndarray of bool, shape (n,)
        Hatches that are judged; the others only say what is usual.
    reach : float
        Standard deviations within which a hatch, itself counted in, is not looked at any further.

    Returns
    -------
    ndarray, shape (n,)
        Two-sided, of one hatch; NaN where it is not judged. How many are judged is for the caller to count.

    References
    ----------
    Deleted residuals: Cook and Weisberg 1982, Residuals and Influence in Regression, 2.2. One after the other, each as
    rare as the rarest after it: Rosner 1983, Technometrics 25:165-172 (both from memory). The tails are the heavier of
    those that the other hatches show and those of a spread that so few tell; how often chance alone tells a hatch, and
    how often a bad one is told, is simulated in ``tests/benchmarks/first_months.py``.
    """
    left_out = np.zeros(len(search.frame), bool)
    order, chances, model = [], [], search.model
    while left_out.sum() < max(1, int(_MOST * judged.sum())):
        z = np.where(judged & ~left_out, np.abs(_distance(search, model)), 0.0)
        farthest = int(np.argmax(z))
        if z[farthest] < reach:
            break
        left_out[farthest] = True
        model = search.without(left_out, model)
        order.append(farthest)
        chances.append(_chances(search, model, left_out)[farthest])
    p = _chances(search, model, left_out)
    p[order] = np.minimum.accumulate(chances[::-1])[::-1]
    return np.where(judged, p, np.nan)


def _chances(search, model, left_out):
    """Two-sided chance of each hatch, the spread and the tails being those of the ones that are not left out."""
    from scipy.stats import t

    z = _distance(search, model)
    return 2 * t.sf(np.abs(z), min(tail_df(z[~left_out]), model.df + _lent(model)))


def _distance(search, model):
    """Hatches from their levels in standard deviations.

    Counting is as unsure as it would be at the hatch's level: one of which nothing came is not the vaguer for it.
    """
    share = expit(model.fitted)
    counting = 1 / (search.frame["size"].to_numpy(float) * share * (1 - share))
    variance = model.spreads.residual**2 + model.spreads.day**2
    return model.left / np.sqrt(variance + counting + model.fitted_variance)


def _lent(model) -> float:
    """Degrees of freedom that levels held by a spread do not cost: a free one costs one, one held to nothing none."""
    spread = np.array([getattr(model.spreads, factor, 0.0) for factor, _ in model.columns])
    known = np.diag(model.covariance)[spread > 0] / spread[spread > 0] ** 2
    return float(np.minimum(known, 1.0).sum())
