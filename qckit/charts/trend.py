"""Looked at before limits are believed: do neighbours resemble each other, and does the level drift or step?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.charts.change_point import find_changes
from qckit.charts.day_spread import NOTHING_LEARNED, day_spread
from qckit.words import noun, plural, signed

__all__ = ["Autocorrelation", "Drift", "autocorrelation", "drift_of_points", "judge_drift"]

_LIKELIER = 0.5  # chance of days that share something above which run rules are not read
_LEAST_DAYS = 8  # fewer days, the room's others counted, do not show whether they share something


@dataclass(frozen=True)
class Autocorrelation:
    """Likeness of neighbouring points."""

    lag_1: float
    p_value: float  # Ljung-Box over the first lags
    n_points: int
    lags: int
    is_marked: bool
    sentence: str
    of_days: float = math.nan  # chance that hatches of a day, or of days that follow, share something


@dataclass(frozen=True)
class Drift:
    """What the level of a lot does over time: ``level``, ``slope`` or ``step``."""

    shape: str
    slope_per_30d: float  # in the unit of the chart
    slope_low: float
    slope_high: float
    p_value: float
    bic: dict
    n_points: int
    sentence: str
    step_at: pd.Timestamp | None = None


def autocorrelation(z, *, days=None, sharing=NOTHING_LEARNED, lags=None, alpha=0.01) -> Autocorrelation:
    """Test whether neighbouring points are alike, and those of one day.

    Parameters
    ----------
    z : array_like of float, shape (n,)
        Points in standard deviations from the centre line, in order.
    days : array_like, shape (n,), optional
        Day of each point.
    sharing : day_spread.Sharing
        What the room's other hatches say of days.
    lags : int, optional
        Lags looked at together; the smaller of 10 and n / 5 when left out.
    alpha : float
        Level at which the likeness is called marked; of neighbours the lag-1 value must also exceed 0.2. With days it
        is also marked where it is likelier than not that they have something in common
        (:func:`qckit.charts.day_spread.day_spread`), and where they are too few to show it.

    Returns
    -------
    Autocorrelation
        Not marked when there are fewer than 12 points.

    References
    ----------
    Ljung and Box 1978, Biometrika 65:297-303.

    Examples
    --------
    >>> type(charts.autocorrelation(np.random.default_rng(1).normal(size=60))).__name__
    'Autocorrelation'
    """
    from scipy.stats import chi2

    x = np.asarray(z, float)
    known = np.isfinite(x)
    of_days = math.nan
    if days is not None and known.sum() >= 12 and np.ptp(x[known]) > 0:
        of_days = day_spread(x[known], np.asarray(days)[known], sharing).alike
    x = x[known] - np.nanmean(x) if len(x) else x
    n = len(x)
    if n < 12 or not np.any(x):
        few = f"{plural(n, 'point')} {noun(n, 'is', 'are')} too few to judge likeness."
        return Autocorrelation(
            lag_1=math.nan,
            p_value=math.nan,
            n_points=n,
            lags=0,
            is_marked=False,
            sentence=few if n < 12 else f"All {n} points are the same.",
        )
    lags = min(10, n // 5) if lags is None else int(lags)
    r = np.array([np.sum(x[k:] * x[:-k]) for k in range(1, lags + 1)]) / np.sum(x * x)
    q = n * (n + 2) * float(np.sum(r**2 / (n - np.arange(1, lags + 1))))
    p = float(chi2.sf(q, lags))
    alike, is_of_days = p < alpha and r[0] > 0.2, of_days > _LIKELIER
    n_days = n if days is None else len(np.unique(np.asarray(days)[known])) + sharing.n_days
    marked = alike or is_of_days or n_days < _LEAST_DAYS
    words = "are alike beyond chance" if alike else "are no more alike than chance makes them"
    text = f"Neighbouring hatches {words} (lag-1 correlation {r[0]:.2f}, p {_p(p)}, n = {n})."
    if is_of_days:
        text += f" Hatches of one day, or of days that follow, are alike (chance {_pct(of_days)})."
    elif n_days < _LEAST_DAYS:
        text += f" {plural(n_days, 'day')} are too few to show whether hatches of one day are alike."
    if marked:
        text += " Run rules, which take hatches as independent, are then not read."
    return Autocorrelation(
        lag_1=float(r[0]), p_value=p, n_points=n, lags=lags, is_marked=marked, sentence=text, of_days=of_days
    )


def judge_drift(at, value, *, weights=None, least_points=30, least_days=45, unit="") -> Drift:
    """Decide whether a lot's level stays, drifts or has stepped.

    Parameters
    ----------
    at : Series of timestamps, shape (n,)
    value : array_like of float, shape (n,)
        In the chart's unit.
    weights : array_like of float, shape (n,), optional
        Inverse variances up to a factor.
    least_points, least_days : int
        With less the answer is ``level``: a slope seen over a short time is not to be extended.
    unit : str
        For the sentence.

    Returns
    -------
    Drift
        ``slope`` only when its t test is below 0.001, its BIC is at least 6 better than a level line (strong evidence
        in the reading of Kass and Raftery 1995, J. Am. Stat. Assoc. 90:773-795) and no worse than one step's.

    Examples
    --------
    >>> at = pd.Series(pd.date_range("2026-01-01", periods=80, freq="2D", tz="UTC"))
    >>> drift = charts.judge_drift(at, 80 - 0.1 * np.arange(80) + np.random.default_rng(1).normal(size=80))
    >>> type(drift).__name__
    'Drift'
    """
    y = np.asarray(value, float)
    days = ((at - at.iloc[0]) / pd.Timedelta(days=1)).to_numpy(dtype=float) if len(y) else np.empty(0)
    w = np.ones(len(y)) if weights is None else np.asarray(weights, float)
    n = len(y)
    if n < least_points or np.ptp(days) < least_days:
        span = plural(round(float(np.ptp(days))) if n else 0, "day")
        return _no_drift(n, f"{plural(n, 'hatch')} over {span} {noun(n, 'is', 'are')} too few to tell a drift.")
    if not np.ptp(y) > 0:
        return _no_drift(n, f"All {n} hatches are alike: no drift.")
    w = w / w.mean()
    centre, x_mean = np.average(y, weights=w), np.average(days, weights=w)
    sxx = np.sum(w * (days - x_mean) ** 2)
    slope = float(np.sum(w * (days - x_mean) * (y - centre)) / sxx)
    rss_level = float(np.sum(w * (y - centre) ** 2))
    rss_slope = float(np.sum(w * (y - centre - slope * (days - x_mean)) ** 2))
    step = find_changes(y, weights=w, n_changes=1, shortest=max(5, n // 10))
    bic = {
        "level": _bic(rss_level, n, 2),
        "slope": _bic(rss_slope, n, 3),
        "step": _bic(step.rss, n, 4),
    }
    from scipy.stats import t

    se = math.sqrt(rss_slope / (n - 2) / sxx)
    p = float(2 * t.sf(abs(slope) / se, n - 2)) if se > 0 else 0.0  # all on one line
    half = float(t.isf(0.025, n - 2)) * se
    low, high = (30 * (slope - half), 30 * (slope + half))
    shape, step_at = "level", None
    if p < 0.001 and bic["level"] - bic["slope"] >= 6 and bic["slope"] <= bic["step"]:
        shape = "slope"
    elif bic["level"] - bic["step"] >= 10:
        shape, step_at = "step", at.iloc[step.changes[0].last_before]
    sentence = _sentence(shape, slope=30 * slope, low=low, high=high, step=step, step_at=step_at, unit=unit, n=n)
    return Drift(
        shape=shape,
        slope_per_30d=30 * slope,
        slope_low=low,
        slope_high=high,
        p_value=p,
        bic=bic,
        n_points=n,
        sentence=sentence,
        step_at=step_at,
    )


def drift_of_points(points, charted) -> Drift:
    """Judge the drift of a lot's points in the unit of their chart; by factors where they stand on a log scale.

    Parameters
    ----------
    points : DataFrame
        With at and value.
    charted : series.Charted
    """
    value = points["value"].to_numpy(dtype=float)
    if charted.kind == "log individuals":
        drift = judge_drift(points["at"].reset_index(drop=True), np.log(value))
        if drift.shape != "slope":
            return drift
        pct = 100 * (np.exp(drift.slope_per_30d) - 1)
        low, high = 100 * (np.exp(drift.slope_low) - 1), 100 * (np.exp(drift.slope_high) - 1)
        verb = "falls" if pct < 0 else "rises"
        text = (
            f"The level {verb} by {abs(pct):.1f} % in 30 days ({min(abs(low), abs(high)):.1f} to "
            f"{max(abs(low), abs(high)):.1f} %, n = {drift.n_points}): the centre line is sloped."
        )
        return replace(drift, sentence=text)
    return judge_drift(points["at"].reset_index(drop=True), value, unit=charted.unit)


def _no_drift(n, sentence) -> Drift:
    nan = math.nan
    return Drift(
        shape="level",
        slope_per_30d=0.0,
        slope_low=nan,
        slope_high=nan,
        p_value=nan,
        bic={},
        n_points=n,
        sentence=sentence,
    )


def _sentence(shape, slope, low, high, step, step_at, unit, n):
    space = " points" if unit == "%" else (f" {unit}" if unit else "")
    if shape == "slope":
        verb = "falls" if slope < 0 else "rises"
        return (
            f"The level {verb} by {abs(slope):.2f}{space} in 30 days "
            f"({min(abs(low), abs(high)):.2f} to {max(abs(low), abs(high)):.2f}, n = {n}): the centre line "
            "is sloped."
        )
    if shape == "step":
        move = step.changes[0].step
        return (
            f"The level moved by {signed(move, 1)}{space} at {step_at:%Y-%m-%d} and neither stays nor drifts evenly; "
            "the centre line is kept level."
        )
    return f"No drift that the data ask for (slope {signed(slope, 2)}{space} in 30 days, n = {n})."


def _bic(rss, n, parameters):
    return n * (math.log(max(rss, 1e-300) / n) + 1 + math.log(2 * math.pi)) + parameters * math.log(n)


def _pct(chance):
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def _p(p):
    return "below 0.001" if p < 0.001 else f"{p:.3f}"
