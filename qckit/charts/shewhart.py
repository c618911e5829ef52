"""One function per Shewhart chart: points in, a frame with stepped limits out.

Each function estimates its limits from the points it is given and judges the same points (phase I). For frozen limits
use :mod:`qckit.charts.baseline`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.charts.limits import (
    CHART_COLUMNS,
    D2_TABLE,
    D4_TABLE,
    apply_limits,
    fit_limits,
    moving_range,
)
from qckit.charts.points import check_points
from qckit.errors import InputError

__all__ = [
    "exact_p_chart",
    "exact_u_chart",
    "individuals_chart",
    "laney_p_chart",
    "laney_u_chart",
    "moving_range_chart",
    "p_chart",
    "u_chart",
]


def _points(count, size):
    count, size = _numbers("the counts", count), _numbers("the sizes", size)
    return pd.DataFrame({"count": count, "size": np.broadcast_to(size, np.shape(count))})


def _numbers(what: str, values) -> np.ndarray:
    """Return values as numbers, or say which of them is none."""
    try:
        return np.asarray(values, float)
    except (TypeError, ValueError) as error:
        text = pd.Series(np.ravel(np.asarray(values, object)))
        wrong = text[pd.to_numeric(text, errors="coerce").isna() & text.notna()]
        named = repr(wrong.iloc[0]) if len(wrong) else f"{values!r:.60}"
        raise InputError(f"{what}: {named} is no number. Give numbers; NaN where one is not known.") from error


def individuals_chart(values, *, log=False, d2=D2_TABLE):
    """Chart of individual values, mean and 3 mean moving ranges / d2.

    Parameters
    ----------
    values : array_like of float, shape (n,)
    log : bool
        Work on logarithms: limits are then ratios, right where the spread grows with the level.
    d2 : float
        1.128 (tables) or :data:`qckit.charts.limits.D2_EXACT`.

    Returns
    -------
    DataFrame, shape (n, len(CHART_COLUMNS))

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Examples
    --------
    >>> charts.individuals_chart([33.5, 34.1, 33.8, 34.0, 33.9])["centre"].round(2).tolist()
    [33.86, 33.86, 33.86, 33.86, 33.86]
    """
    points, kind = pd.DataFrame({"value": _numbers("the values", values)}), "log individuals" if log else "individuals"
    return apply_limits(fit_limits(points, kind, d2=d2), points)


def moving_range_chart(values, *, mean=None):
    """Chart of the moving ranges of two that goes with individual values; the first point has none.

    Parameters
    ----------
    values : array_like of float, shape (n,)
    mean : float, optional
        Mean range of a baseline; that of the values when left out.

    Returns
    -------
    DataFrame, shape (n - 1, len(CHART_COLUMNS))
        Limits 0 and 3.267 mean ranges. ``z`` is NaN: ranges are neither normal nor independent, so only the upper
        limit is to be read.

    Examples
    --------
    >>> charts.moving_range_chart([80.0, 82.0, 79.0, 81.0])["value"].tolist()
    [2.0, 3.0, 2.0]
    """
    ranges = moving_range(values)
    if len(ranges) < 1:
        raise InputError("values: a moving range needs two values or more. Wait for more hatches.")
    mean = float(np.mean(ranges)) if mean is None else float(mean)
    frame = pd.DataFrame(index=range(len(ranges)), columns=list(CHART_COLUMNS))
    frame["point"] = np.arange(2, len(ranges) + 2)
    frame["label"] = frame["point"].astype(str)
    frame["value"], frame["centre"], frame["low"], frame["high"] = ranges, mean, 0.0, D4_TABLE * mean
    frame["sigma"] = (D4_TABLE - 1) * mean / 3
    frame[["z", "size"]] = np.nan
    frame["group"], frame["phase"], frame["at"] = "", "", pd.NaT
    return frame


def _of(quantity: str, frame):
    """Let a chart say what its values are, so that a drawing can label its axis."""
    frame.attrs["quantity"] = quantity
    return frame


def _share_words(per: float) -> str:
    return "share [%]" if per == 100 else "share [fraction]" if per == 1 else f"share [per {per:g}]"


def _count_words(size, per: float) -> str:
    if np.ndim(size) == 0 and size == 1 and per == 1:
        return "count [1]"
    return f"count per {per:g} units" if per != 1 else "count per unit"


def p_chart(count, size, *, per=1.0):
    """Chart of proportions with binomial limits that step with the sizes.

    Parameters
    ----------
    count, size : array_like, shape (n,)
        Parts and wholes.
    per : float
        100 for percent.

    Returns
    -------
    DataFrame, shape (n, len(CHART_COLUMNS))

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.3.2.

    Examples
    --------
    >>> chart = charts.p_chart([80, 82, 79, 85], 100, per=100)
    >>> chart["value"].tolist()
    [80.0, 82.0, 79.0, 85.0]
    """
    points = _points(count, size)
    return _of(_share_words(per), apply_limits(fit_limits(points, "p", per=per), points))


def u_chart(count, size=1.0, *, per=1.0):
    """Chart of counts per unit with Poisson limits; with size 1 it is the c chart.

    References
    ----------
    NIST/SEMATECH e-Handbook, 6.3.3.1.

    Examples
    --------
    >>> chart = charts.u_chart([4, 9, 6, 5])
    >>> round(float(chart["high"].iloc[0]), 1)
    13.3
    """
    points = _points(count, size)
    return _of(_count_words(size, per), apply_limits(fit_limits(points, "u", per=per), points))


def laney_p_chart(count, size, *, per=1.0, clip=True):
    """Chart of proportions whose spread between points exceeds the binomial one (p').

    References
    ----------
    Laney 2002, Quality Engineering 14:531-537.

    Examples
    --------
    >>> chart = charts.laney_p_chart([80, 82, 70, 88, 81, 78], [100] * 6, per=100)
    >>> round(float(chart["centre"].iloc[0]), 1)
    79.8
    """
    points = _points(count, size)
    return _of(_share_words(per), apply_limits(fit_limits(points, "p prime", per=per), points, clip=clip))


def laney_u_chart(count, size=1.0, *, per=1.0, clip=True):
    """Chart of counts per unit whose spread between points exceeds the Poisson one (u').

    References
    ----------
    Laney 2002, Quality Engineering 14:531-537.

    Examples
    --------
    >>> chart = charts.laney_u_chart([12, 15, 9, 22, 14, 11])
    >>> round(float(chart["centre"].iloc[0]), 1)
    13.8
    """
    points = _points(count, size)
    return _of(_count_words(size, per), apply_limits(fit_limits(points, "u prime", per=per), points, clip=clip))


def exact_p_chart(count, size, *, per=1.0, alpha=0.0027, centre=None, rho=0.0):
    """Chart of proportions with limits from the distribution itself, for small counts.

    A point signals when it is beyond ``low`` or ``high``; each side then happens by chance in at most ``alpha / 2``.

    Parameters
    ----------
    count, size : array_like, shape (n,)
    alpha : float
        False-alarm rate per point, both sides together; 0.0027 is that of three standard deviations.
    centre : float, optional
        Known proportion; the pooled one of the points when left out.
    rho : float
        Correlation of objects in the same hatch; above 0 the beta-binomial distribution is used.

    Returns
    -------
    DataFrame, shape (n, len(CHART_COLUMNS))
        ``z`` is the normal score of the point's mid-P value, so that the run rules can be used on it.

    Examples
    --------
    >>> charts.exact_p_chart([2, 0, 3, 1], [50, 50, 50, 50], per=100).columns.tolist()
    ['point', 'label', 'at', 'group', 'value', 'size', 'centre', 'sigma', 'low', 'high', 'z', 'phase']
    """
    from scipy import stats

    clean = check_points(_points(count, size), "p")
    p = float(clean["count"].sum() / clean["size"].sum()) if centre is None else float(centre)
    n = clean["size"].round().astype(int).to_numpy()
    if rho > 0:
        total = (1 - rho) / rho
        model = stats.betabinom(n, max(p * total, 1e-12), max((1 - p) * total, 1e-12))
    else:
        model = stats.binom(n, p)
    return _exact(clean, model, centre=p, size=n, alpha=alpha, per=per)


def exact_u_chart(count, size=1.0, *, per=1.0, alpha=0.0027, centre=None, dispersion=1.0):
    """Chart of counts per unit with limits from the Poisson (or negative binomial) distribution itself.

    Parameters
    ----------
    count, size : array_like, shape (n,)
    alpha : float
        False-alarm rate per point, both sides together.
    centre : float, optional
        Known rate per unit; the pooled one when left out.
    dispersion : float
        Variance over mean; above 1 the negative binomial distribution is used.

    Returns
    -------
    DataFrame, shape (n, len(CHART_COLUMNS))
        As for :func:`exact_p_chart`.

    Examples
    --------
    >>> charts.exact_u_chart([2, 0, 3, 1])["low"].tolist()
    [0.0, 0.0, 0.0, 0.0]
    """
    from scipy import stats

    clean = check_points(_points(count, size), "u")
    rate = float(clean["count"].sum() / clean["size"].sum()) if centre is None else float(centre)
    mean = rate * clean["size"].to_numpy()
    if dispersion > 1:
        model = stats.nbinom(np.maximum(mean, 1e-12) / (dispersion - 1), 1 / dispersion)
    else:
        model = stats.poisson(mean)
    return _exact(clean, model, centre=rate, size=clean["size"].to_numpy(), alpha=alpha, per=per)


def _exact(clean, model, centre, size, alpha, per):
    """Limits of a discrete distribution: the outermost counts that chance reaches often enough."""
    from scipy import stats

    if not 0 < alpha < 1:
        raise InputError(f"alpha is {alpha:g} and must lie between 0 and 1, such as 0.0027. Correct it.")
    # smallest k with P(X <= k) > alpha/2 and smallest k with P(X > k) <= alpha/2: beyond them each tail is <= alpha/2
    low, high = model.ppf(alpha / 2), model.isf(alpha / 2)
    low = np.where(model.cdf(low) <= alpha / 2, low + 1, low)
    k = clean["count"].to_numpy()
    mid = model.cdf(k) - 0.5 * model.pmf(np.round(k))
    frame = pd.DataFrame(
        {
            "point": np.arange(1, len(clean) + 1),
            "label": clean["label"],
            "at": clean["at"],
            "group": clean["group"],
            "value": clean["value"] * per,
            "size": clean["size"],
            "centre": centre * per,
            "sigma": model.std() / size * per,
            "low": np.clip(low, 0, None) / size * per,
            "high": high / size * per,
            "z": stats.norm.ppf(np.clip(mid, 1e-15, 1 - 1e-15)),
            "phase": "",
        }
    )
    return frame[list(CHART_COLUMNS)]
