"""What one hatch of a lot gives per gram, and how much one hatch differs from the next.

All on the log scale of nauplii per gram. A day, not a hatch, is the replicate of a level, because hatches of one day
share room, water and hand; the spread that a single hatch will show is that of hatches as this room counts them, the
chance of its counts included. Production hatches and standard tests are two instruments for the same lot: the site's
own lots tell how far the first lies from the second, and the two are joined by their precision. What a lot's few
hatches cannot tell (spread, trend, distance from test to production) comes from the site's other lots, or from a
stated stand-in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.hatch.lots.standard_tests import test_groups
from qckit.hatch.photo_counts import PhotoCounts, photo_counts_of
from qckit.hatch.water.readings import hatches_off_standard
from qckit.robust import robust_sd
from qckit.tables import to_utc

__all__ = ["USUAL_SPREAD", "LotLevel", "lag_one", "lot_level", "ordinary_hatches"]

USUAL_SPREAD = 0.12
"""Relative spread of nauplii per gram between hatches where a site has no record of it. Common practice, no source."""

_TEST_TO_PRODUCTION = 0.07  # relative spread over lots of production over test. Common practice, no source
_FIRST_GUESS = 0.10  # relative uncertainty of that distance where a site has no lot with both. No source either
_USUAL_SLOPE = 0.05  # relative change a month that a site's lots may well show: prior standard deviation. No source
_SLOPE_APART = 0.03  # by which the lots of a site differ from that. No source
_BEND = 0.02  # standard deviation of what a lot's change a month itself changes by in a month. No source
_WINDOW_DAYS = 60.0
_TREND_DAYS = 365.0
_LEAST_DAYS = 8
_MOST_PRIOR_DF = 10.0  # the site's spread weighs at most as much as this many degrees of freedom
_FAR = 3.5  # robust standard deviations beyond which a hatch is not an ordinary one
MONTH_DAYS = 30.4375  # mean of a year's months


@dataclass(frozen=True)
class LotLevel:
    """Nauplii per gram of a lot on a day, log scale, with what they rest on.

    Examples
    --------
    >>> ordinary = hatch.ordinary_hatches(cones, tables.hatches, tables.settings)
    >>> level = hatch.lot_level(cones, ordinary, "K-121", pd.Timestamp("2026-11-06T09:00:00+00:00"))
    >>> level.basis, level.n_hatches > 5
    ('both', True)
    """

    lot: str
    day: pd.Timestamp
    basis: str  # test, production, both
    log_mean: float
    se: float  # of log_mean
    spread: float  # between single hatches as they are counted
    df: float  # behind the spread
    slope_per_month: float  # relative
    n_hatches: int  # production hatches that went in
    n_cones: int  # cones of the test that went in
    n_left_out: int  # production hatches of the window that were not ordinary
    newest: pd.Timestamp  # of what went in
    photos: PhotoCounts = field(default_factory=PhotoCounts)  # what it owes to counts from photos

    @property
    def efficiency_per_g(self) -> float:
        """Best guess. [nauplii/g]"""
        return math.exp(self.log_mean)


@dataclass(frozen=True)
class _Site:
    """What the site's other lots tell."""

    spread2: float
    df: float
    offset: float  # log(production) - log(test)
    offset_se2: float  # for a lot not yet known, its own deviation included
    slope: float  # relative change a month
    slope_se2: float  # likewise


def ordinary_hatches(cones, hatches, settings, readings=None):
    """Production hatches that show what a lot gives when nothing is wrong.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``.
    hatches, readings : DataFrame
    settings : settings.Settings

    Returns
    -------
    DataFrame
        Rows of ``cones`` with ``at`` (UTC), ``log_he`` and ``is_ordinary``: run under the standard conditions. Where
        fewer than half of a lot's were, the room does not work at the standard and all count as ordinary.

    Examples
    --------
    >>> ordinary = hatch.ordinary_hatches(cones, tables.hatches, tables.settings, tables.readings)
    >>> 0 < len(ordinary) < len(cones)
    True
    """
    good = cones[(cones["purpose"] == "production") & (cones["nauplii"] > 0) & (cones["factor_per_g"] > 0)].copy()
    rows = hatches[hatches["hatch"].isin(set(good["hatch"]))]
    off = good["hatch"].isin(hatches_off_standard(rows, readings, settings.conditions))
    share_off = off.groupby(good["lot"]).transform("mean")
    good["at"] = to_utc(good["started"])
    good["log_he"] = np.log(good["hatching_efficiency_per_g"].astype(float))
    good["is_ordinary"] = ~off | (share_off > 0.5)
    return good.sort_values("at", kind="stable", ignore_index=True)


def lot_level(cones, ordinary, lot, day):
    """Level and spread of a lot on a day.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics`` of the whole site.
    ordinary : DataFrame
        From :func:`ordinary_hatches`.
    lot : str
    day : Timestamp, UTC
        Later hatches are not looked at.

    Returns
    -------
    LotLevel or None
        None where neither a test nor a production hatch of the lot has known nauplii per gram.

    Notes
    -----
    Spread: own mean square pooled with the site's, which weighs at most ten degrees of freedom. A lot ages, and not
    along a line: its level on the day is foretold by generalised least squares from day means about a line that bends,
    an integrated random walk (Wahba 1978, Journal of the Royal Statistical Society B 40:364-372; Harvey 1989,
    Forecasting, structural time series models, section 2.3; both from memory), with the slopes of the site's other lots
    as a normal prior. Joined by inverse variance.

    Examples
    --------
    >>> ordinary = hatch.ordinary_hatches(cones, tables.hatches, tables.settings)
    >>> level = hatch.lot_level(cones, ordinary, "K-121", pd.Timestamp("2026-11-06T09:00:00+00:00"))
    >>> bool(150_000 < np.exp(level.log_mean) < 250_000)
    True
    """
    cones = cones[(cones["nauplii"] > 0) & (cones["factor_per_g"] > 0) & (to_utc(cones["started"]) <= day)]
    ordinary = ordinary[ordinary["at"] <= day]
    site = _site(cones, ordinary, lot)
    production = _from_production(ordinary[ordinary["lot"] == lot], day, site)
    tests = test_groups(cones[cones["lot"] == lot])
    slope, slope_se2 = (production["slope"], production["slope_se2"]) if production else (site.slope, site.slope_se2)
    tested = _from_test(tests[-1], day, site, slope, slope_se2) if tests else None
    if production is None and tested is None:
        return None
    parts = [p for p in (production, tested) if p is not None]
    weights = np.array([1.0 / p["se2"] for p in parts])
    mean = float(np.sum(weights * [p["mean"] for p in parts]) / weights.sum())
    basis = "both" if len(parts) == 2 else "production" if production else "test"
    spread2, df = (production["spread2"], production["df"]) if production else (site.spread2, site.df)
    return LotLevel(
        lot=lot,
        day=day,
        basis=basis,
        log_mean=mean,
        se=float(1 / math.sqrt(weights.sum())),
        spread=math.sqrt(spread2),
        df=df,
        slope_per_month=slope,
        n_hatches=production["n"] if production else 0,
        n_cones=tested["n"] if tested else 0,
        n_left_out=production["n_left_out"] if production else 0,
        newest=max(p["newest"] for p in parts),
        photos=photo_counts_of(
            pd.concat([p["rows"] for p in parts]),
            np.concatenate([np.full(len(p["rows"]), w / len(p["rows"])) for p, w in zip(parts, weights, strict=True)]),
        ),
    )


def _from_production(table, day, site):
    """Level of the lot's production hatches carried to the day; None without any."""
    mine = table[table["is_ordinary"]]
    mine = mine[_near(mine["log_he"], (mine["at"] - day).dt.total_seconds().to_numpy() / 86400 / MONTH_DAYS)]
    if not len(mine):
        return None
    days = mine["at"].dt.floor("D")
    oldest = days.drop_duplicates().iloc[-_LEAST_DAYS:].iloc[0]
    first = min(oldest, day - pd.Timedelta(days=_WINDOW_DAYS))
    recent = mine[mine["at"] >= first]
    of_trend = mine[mine["at"] >= min(first, day - pd.Timedelta(days=_TREND_DAYS))]
    slope = _slope_near(_slope(of_trend), site)
    months = ((recent["at"] - day).dt.total_seconds() / 86400 / MONTH_DAYS).to_numpy()
    carried = (recent["log_he"] - slope * months).to_numpy()
    var, r = _scatter_of_days(carried, recent["at"].dt.floor("D").to_numpy(), site)
    spread2, df = _pooled(carried, site)
    in_window = table[table["at"] >= first]
    (mean, slope), (se2, slope_se2) = _foretold(of_trend, day, variance=var, r=r, site=site)
    return {
        "mean": mean,
        "se2": se2,
        "spread2": spread2,
        "df": df,
        "slope": slope,
        "slope_se2": slope_se2,
        "n": len(recent),
        "n_left_out": len(in_window) - len(recent),
        "newest": recent["at"].max(),
        "rows": recent,
    }


def _from_test(cones, day, site, slope, slope_se2):
    """Level that the latest test foretells for production, carried to the day."""
    log_he = np.log(cones["hatching_efficiency_per_g"].to_numpy(float))
    k, newest = len(cones), to_utc(cones["started"]).max()
    months = (day - newest).total_seconds() / 86400 / MONTH_DAYS
    se2 = _pooled(log_he, site)[0] / k + site.offset_se2 + months**2 * slope_se2 + _bent(np.array([months]))[0, 0]
    return {
        "mean": float(log_he.mean()) + site.offset + slope * months,
        "se2": se2,
        "n": k,
        "newest": newest,
        "rows": cones,
    }


def _near(values, months):
    """Which values lie near the robust line of their lot: the others tell of an accident, not of the lot."""
    values = values.to_numpy()
    if len(values) < 6:
        return np.ones(len(values), bool)
    slope = _median_slope(months[-200:], values[-200:]) if np.ptp(months) > 1 else 0.0
    rest = values - slope * months
    rest = rest - np.median(rest)
    scale = max(robust_sd(rest), 0.02)
    near = np.abs(rest) <= _FAR * scale
    return near if near.mean() >= 0.8 else np.ones(len(values), bool)


def _median_slope(x, y):
    """Median of the slopes between all pairs (Sen 1968, J. Am. Stat. Assoc. 63:1379-1389)."""
    i, j = np.triu_indices(len(x), 1)
    apart = np.abs(x[j] - x[i]) > 0.1
    return float(np.median((y[j] - y[i])[apart] / (x[j] - x[i])[apart])) if apart.any() else 0.0


def _day_means(mine):
    """Means of the days, and their times in months."""
    daily = mine.groupby(mine["at"].dt.floor("D"))["log_he"].mean()
    return daily.to_numpy(), (daily.index - daily.index[0]).total_seconds().to_numpy() / 86400 / MONTH_DAYS


def _slope(mine):
    """Relative change a month by least squares on day means, with its variance; None of fewer than four days."""
    y, x = _day_means(mine)
    if len(y) < 4 or not np.ptp(x) > 0:
        return None
    x, y = x - x.mean(), y - y.mean()
    slope = float(x @ y / (x @ x))
    rest = y - slope * x
    r = lag_one(rest)
    return slope, max(float(rest @ rest) / (len(y) - 2), 1e-6) / float(x @ x) * (1 + r) / (1 - r)


def _slope_near(fitted, site):
    """Change a month of a lot, drawn towards those of the site's other lots."""
    parts = [(site.slope, 1 / site.slope_se2), *([(fitted[0], 1 / fitted[1])] if fitted else [])]
    return sum(value * weight for value, weight in parts) / sum(weight for _, weight in parts)


def _foretold(mine, day, variance, r, site):
    """Level on the day and change a month there, and the variances of both, from day means about a line that bends."""
    y, x = _day_means(mine)
    before = (day - mine["at"].iloc[0].floor("D")).total_seconds() / 86400 / MONTH_DAYS - x
    order = np.arange(len(y))
    cov = variance * r ** np.abs(order[:, None] - order[None, :]) + _bent(before)
    design = np.column_stack([np.ones(len(y)), -before])
    weighed = np.linalg.solve(cov, design)
    precision = design.T @ weighed + np.diag([0.0, 1 / site.slope_se2])
    found = np.linalg.inv(precision)
    return found @ (weighed.T @ y + [0.0, site.slope / site.slope_se2]), np.diag(found)


def _bent(before):
    """Covariance of what a course lies off its line on the day, so many months before it: an integrated random walk."""
    near, far = np.minimum.outer(before, before), np.maximum.outer(before, before)
    return _BEND**2 * near**2 * (3 * far - near) / 6


def lag_one(rest):
    """Lag-one correlation of values in order of time, 0 to 0.9 (its downward bias put right); 0 under eight of them."""
    square = float(rest @ rest)
    if not square > 0 or len(rest) < 8:
        return 0.0
    r = float(rest[1:] @ rest[:-1]) / square
    return float(np.clip(r + (1 + 4 * r) / len(rest), 0.0, 0.9))


def _scatter_of_days(values, days, site):
    """Variance of the day means, and how much of it a day hands on to the next."""
    daily = pd.Series(values).groupby(days).mean().to_numpy()
    n = len(daily)
    variance = float(np.var(daily, ddof=1)) if n > 1 else 0.0
    prior_df = min(site.df, _MOST_PRIOR_DF)
    var = (variance * (n - 1) + site.spread2 * prior_df) / (n - 1 + prior_df)
    return var, lag_one(daily - daily.mean())


def _pooled(values, site):
    """Variance between single hatches, own and the site's joined, and its degrees of freedom."""
    n = len(values)
    variance = float(np.var(values, ddof=1)) if n > 1 else 0.0
    prior_df = min(site.df, _MOST_PRIOR_DF)
    return (variance * (n - 1) + site.spread2 * prior_df) / (n - 1 + prior_df), n - 1 + prior_df


def _site(cones, ordinary, lot):
    """Spread between hatches, production over test, and change a month, of the site's other lots."""
    squares, df, offsets, slopes = 0.0, 0.0, [], []
    for name, table in ordinary[ordinary["is_ordinary"] & (ordinary["lot"] != lot)].groupby("lot"):
        x = (table["at"] - table["at"].iloc[0]).dt.total_seconds().to_numpy() / 86400 / MONTH_DAYS
        table, x = (lambda near, t=table, x=x: (t[near], x[near]))(_near(table["log_he"], x))
        if len(table) >= 6:
            y = table["log_he"].to_numpy()
            design = np.column_stack([np.ones_like(x), x]) if np.ptp(x) > 1 else np.ones((len(x), 1))
            rest = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
            free = len(y) - design.shape[1]
            squares += float(rest @ rest)
            df += free
            slopes += [found for found in [_slope(table)] if found and np.ptp(x) > 1]
        offsets += _offsets(cones[cones["lot"] == name], table)
    spread2 = squares / df if df >= 6 else USUAL_SPREAD**2
    offset = _of_a_next_lot(offsets, _TEST_TO_PRODUCTION, _FIRST_GUESS)
    slope = _of_a_next_lot(slopes, _SLOPE_APART, _USUAL_SLOPE)
    return _Site(spread2, df if df >= 6 else 4.0, *offset, *slope)


def _offsets(cones, production):
    """Log distance from each test of a lot to the production around it, with its variance."""
    found = []
    for test in test_groups(cones):
        at = to_utc(test["started"]).mean()
        around = production[(production["at"] - at).abs() <= pd.Timedelta(days=45)]
        if len(around) < 4:
            continue
        log_he = np.log(test["hatching_efficiency_per_g"].to_numpy(float))
        daily = around.groupby(around["at"].dt.floor("D"))["log_he"].mean()
        var = (float(np.var(daily, ddof=1)) if len(daily) > 1 else USUAL_SPREAD**2) / len(daily)
        found.append((float(daily.mean() - log_he.mean()), var + USUAL_SPREAD**2 / len(log_he)))
    if not found:
        return []
    # the tests of one lot are one witness: their mean
    values, variances = np.array(found).T
    return [(float(values.mean()), float(variances.mean() / len(values)))]


def _of_a_next_lot(lots, apart, usual):
    """What lots' (value, variance) foretell for the next lot, with its variance: they differ by ``apart``."""
    precision, weighted = 1 / usual**2, 0.0
    for value, variance in lots:
        each = 1 / (variance + apart**2)
        precision, weighted = precision + each, weighted + each * value
    return weighted / precision, 1 / precision + apart**2
