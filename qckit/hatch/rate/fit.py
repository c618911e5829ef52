"""Hatching rate: from counts at several hours to T10, T50, T90 and synchrony, with intervals.

Three ways stand side by side. The standard method: counts as percent of their maximum, linear interpolation. A
non-parametric monotone curve. And fitted curves (log-logistic, log-normal, gamma, Weibull, its mirror with stragglers,
the inverse Weibull, and one between this and the log-normal) of interval-censored times with a share that never
hatches, averaged by their Akaike weights.
T10 to T90 refer to those that hatch, not to all cysts: a poor lot can still have a quick T90 (FAO Fisheries Technical
Paper 361, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.metrics import sample_metrics
from qckit.hatch.rate.average import SHARES as _SHARES
from qckit.hatch.rate.average import akaike_weights, averaged
from qckit.hatch.rate.drawing import draw_rate
from qckit.hatch.rate.models import (
    MODELS,
    Fit,
    counts_dispersion,
    fit_model,
    model_quantile,
    monotone_curve,
    place_of_cone,
)
from qckit.hatch.water.readings import standard_of, water_of_hatches
from qckit.showing import InWords
from qckit.tables import to_utc
from qckit.words import plural

__all__ = [
    "RATE_COLUMNS",
    "HatchRate",
    "fit_rate",
    "interpolated_times",
    "intervals_from_counts",
    "lot_rate",
    "newest_course",
    "time_course",
]

RATE_COLUMNS = ("time", "method", "value_h", "low_h", "high_h", "note")
_NAMES = ("T10", "T50", "T90")
_BEFORE = "before the first count"
_RISEN = 0.75  # share of the highest at the first count above which the rise was not counted (ours)
_SYNCHRONY = (math.log(6.0), 0.7)  # 1.5 to 24 h: strains and rooms lie within (ours; a few readings overrule it)


@dataclass(frozen=True, repr=False)
class HatchRate(InWords):
    """Times of one lot's time course.

    Examples
    --------
    >>> rate = hatch.lot_rate(tables, "K-124")
    >>> rate.n_cones
    3
    """

    course: pd.DataFrame = field(repr=False)  # hours, nauplii, full, hatched_frac per cone and hour
    best: Fit
    fits: tuple[Fit, ...]
    times: pd.DataFrame  # RATE_COLUMNS
    n_cones: int
    confidence: float
    comparison: pd.DataFrame = field(repr=False)  # model, loglik, aic, delta_aic, weight, ceiling_pct
    notes: tuple[str, ...] = ()

    def _in_words(self) -> dict:
        rows = [
            (t.time, t.method, _hours(t), f"{t.low_h:.1f} to {t.high_h:.1f}" if t.low_h == t.low_h else "")
            for t in self.times.itertuples()
        ]
        heads = ("time", "method", "hours", f"{100 * self.confidence:g} % interval")
        title = f"Hatching rate over {plural(self.n_cones, 'cone')}"
        return {"title": title, "lines": self.notes, "heads": heads, "rows": rows}

    def plot(self, ax=None):
        """Draw the time course with its curve; see :func:`hatch.draw_rate`."""
        return draw_rate(self, ax=ax)

    def time(self, name, method="curve"):
        """Return one row of ``times`` as a Series, such as ``time("T90")``."""
        return self.times[(self.times["time"] == name) & (self.times["method"] == method)].iloc[0]


def _hours(row) -> str:
    """Write a time; one that is not known with the reason."""
    return f"{row.value_h:.1f}" if row.value_h == row.value_h else row.note or "not known"


def time_course(samples, hatches, lot=None):
    """Counts per cone and hour.

    Parameters
    ----------
    samples, hatches : DataFrame
        Tables; only subsamples with known hours are used, and only those of these hatches: give the hatches of one
        temperature, say, for the time course of it.
    lot : str, optional
        Only this lot.

    Returns
    -------
    DataFrame, columns hatch, cone, hours, nauplii, full_cysts, hatched_frac
        Subsamples of one cone taken at the same hour (within a quarter of an hour) are added up. Without counts of
        unhatched cysts ``full_cysts`` and ``hatched_frac`` are NaN.

    Examples
    --------
    >>> hatch.time_course(tables.samples, tables.hatches, "K-124").columns.tolist()
    ['hatch', 'cone', 'hours', 'nauplii', 'full_cysts', 'hatched_frac']
    """
    chosen = hatches if lot is None else hatches[hatches["lot"] == lot]
    table = sample_metrics(samples[samples["hatch"].isin(set(chosen["hatch"]))], chosen).dropna(subset=["hours"])
    table = table.assign(at=(table["hours"] * 4).round() / 4)
    names = ["hatch", "cone", "hours", "nauplii", "full_cysts", "hatched_frac"]
    if not len(table):
        return pd.DataFrame(columns=names)
    sums = table.groupby(["hatch", "cone", "at"], as_index=False)[["nauplii", "full_cysts"]].sum(min_count=1)
    sums = sums.rename(columns={"at": "hours"})
    return sums.assign(hatched_frac=sums["nauplii"] / sums["full_cysts"].replace(0, np.nan))[names]


def newest_course(course, hatches, *, days=3, least_hours=4):
    """Keep the time courses of the newest days, so that an ageing lot is not mixed with what it was.

    Parameters
    ----------
    course : DataFrame
        From :func:`time_course`.
    hatches : DataFrame
        hatch, started.
    days : float
        Hatches started within this of the newest one are kept.
    least_hours : int
        Hatches counted at fewer hours are left out.

    Returns
    -------
    DataFrame

    Examples
    --------
    >>> course = hatch.time_course(tables.samples, tables.hatches, "K-124")
    >>> len(hatch.newest_course(course, tables.hatches)) == len(course)
    True
    """
    followed = course[course.groupby("hatch")["hours"].transform("nunique") >= least_hours]
    if not len(followed):
        return followed
    started = followed["hatch"].map(to_utc(hatches.set_index("hatch")["started"]))
    return followed[started >= started.max() - pd.Timedelta(days=days)]


def lot_rate(tables, lot):
    """Fit the newest time course of a lot, of hatches whose temperature is not off the site's standard.

    Parameters
    ----------
    tables : site_tables.SiteTables
    lot : str

    Returns
    -------
    HatchRate

    Raises
    ------
    InputError
        The lot was not followed by the clock.

    Examples
    --------
    >>> hatch.lot_rate(tables, "K-124").times.columns.tolist()
    ['time', 'method', 'value_h', 'low_h', 'high_h', 'note']
    """
    hatches = tables.hatches
    # a course at another temperature says nothing of the one that is set
    water = water_of_hatches(hatches, tables.readings)["temperature_c"]
    is_off = standard_of("temperature", tables.settings.conditions).is_off(water)
    return fit_rate(newest_course(time_course(tables.samples, hatches[~is_off], lot), hatches))


def interpolated_times(hours, counts, shares=_SHARES):
    """The standard method: percent of the highest count, linear interpolation.

    Parameters
    ----------
    hours : array_like of float, shape (m,)
        Rising. [h]
    counts : array_like of float, shape (m,)
        Mean counts, or efficiencies.
    shares : sequence of float

    Returns
    -------
    dict of str to float
        T10, T50, T90 and Ts in hours; NaN where the first count is already above the share. Ties at the maximum
        and dips do not matter: the first crossing counts.

    References
    ----------
    Lavens and Sorgeloos 1996, FAO Fisheries Technical Paper 361 (from memory).

    Examples
    --------
    >>> times = hatch.interpolated_times([12, 15, 18, 21, 24], [5, 40, 75, 92, 100])
    >>> round(float(times["T50"]), 1)
    15.9
    """
    hours, counts = np.asarray(hours, float), np.asarray(counts, float)
    if len(hours) < 2 or not np.nanmax(counts) > 0:
        raise InputError(
            f"{len(hours)} hours with a highest count of {np.nanmax(counts, initial=0):g} were given; the "
            "hatching rate needs at least two hours and a nauplius in one of them."
        )
    percent = np.maximum.accumulate(counts / np.nanmax(counts))
    found = {}
    for share in shares:
        i = int(np.argmax(percent >= share))
        if i == 0:
            found[f"T{100 * share:.0f}"] = float(hours[0]) if percent[0] == share else math.nan
            continue
        part = (share - percent[i - 1]) / (percent[i] - percent[i - 1])
        found[f"T{100 * share:.0f}"] = float(hours[i - 1] + part * (hours[i] - hours[i - 1]))
    if {"T10", "T90"} <= found.keys():
        found["Ts"] = found["T90"] - found["T10"]
    return found


def intervals_from_counts(hours, part, whole):
    """Turn counts at several hours into interval-censored hatching times.

    Parameters
    ----------
    hours, part, whole : array_like of float, shape (m,)
        Each hour is a fresh subsample: its nauplii hatched somewhere in (0, hour], the rest hatch later or never.

    Returns
    -------
    (start_h, end_h, counts) : tuple of ndarray, shape (2 m,)

    Examples
    --------
    >>> after, before, weight = hatch.intervals_from_counts([12, 18, 24], [10, 60, 80], [100, 100, 100])
    >>> weight.tolist()
    [10.0, 60.0, 80.0, 90.0, 40.0, 20.0]
    """
    at, x, n = (np.asarray(v, float) for v in (hours, part, whole))
    return (
        np.concatenate([np.zeros_like(at), at]),
        np.concatenate([at, np.full_like(at, np.inf)]),
        np.concatenate([x, n - x]),
    )


def fit_rate(course, *, confidence=0.95):
    """Fit the time course of a lot and give T10, T50, T90 and Ts.

    Parameters
    ----------
    course : DataFrame
        From :func:`time_course`; needs four hours or more with counts on both sides of half hatched.
    confidence : float

    Returns
    -------
    HatchRate
        ``times`` holds the methods curve (average over six shapes by their Akaike weights; the Pearson dispersion of
        the counts around the curve and, with several cones, how early or late each of them is widen the interval),
        interpolation, and all cysts (times by which that share of *all* full cysts has hatched, "not reached" where
        the ceiling is lower). ``best`` is the likeliest shape, for drawing.

    Raises
    ------
    InputError
        Fewer than four hours, nothing hatched, or most had hatched at the first count already.

    Examples
    --------
    >>> course = hatch.time_course(tables.samples, tables.hatches, "K-124")
    >>> sorted(set(hatch.fit_rate(course).times["time"]))
    ['T10', 'T50', 'T90', 'Ts']
    """
    course = course.dropna(subset=["nauplii", "full_cysts"])
    course = course[course["full_cysts"] > 0]
    n_hours = course["hours"].nunique()
    if n_hours < 4 or not course["nauplii"].sum() > 0:
        has = f"The time course has {plural(n_hours, 'hour')} with {course['nauplii'].sum():.0f} nauplii"
        raise InputError(
            f"{has if n_hours else 'No counts make a time course'}; a hatching "
            "rate needs four hours or more, before and after half have hatched."
        )
    _check_rise(course)
    cones = [g for _, g in course.groupby("hatch")]
    pieces = [intervals_from_counts(g["hours"], g["nauplii"], g["full_cysts"]) for g in cones]
    start, end, counts = (np.concatenate(v) for v in zip(*pieces))
    each = (fit_model(m, start, end, counts, synchrony=_SYNCHRONY) for m in MODELS)
    fits = sorted(each, key=lambda f: -f.loglik)
    # a cone counted once or twice says how much hatched, not when
    timed = [piece if g["hours"].nunique() >= 4 else None for piece, g in zip(pieces, cones)]
    places = [piece and place_of_cone(fits[0], *piece) for piece in timed]
    factor = counts_dispersion(fits[0], cones, places)
    fits = [replace(fit, covariance=fit.covariance * factor) for fit in fits]
    best, weights = fits[0], akaike_weights(fits, factor)
    shifts = [place[1] for place in places if place is not None]
    curve = _curve_times(fits, weights, shifts, confidence)
    rows = _counted(curve, course["hours"])
    mean = course.groupby("hours")["nauplii"].mean()
    plain = interpolated_times(mean.index, mean.to_numpy())
    rows += [(n, "interpolation", plain[n], math.nan, math.nan, _before_counts(plain[n])) for n in (*_NAMES, "Ts")]
    rows += _all_cysts(best)
    aic = [6 - 2 * f.loglik for f in fits]
    table = pd.DataFrame(
        {
            "model": [f.model for f in fits],
            "loglik": [f.loglik for f in fits],
            "aic": aic,
            "delta_aic": np.array(aic) - min(aic),
            "weight": weights,
            "ceiling_pct": [100 * f.ceiling for f in fits],
        }
    )
    return HatchRate(
        course=course,
        best=best,
        fits=tuple(fits),
        times=pd.DataFrame(rows, columns=list(RATE_COLUMNS)),
        n_cones=len(cones),
        confidence=confidence,
        comparison=table,
        notes=_notes(course, curve, len(shifts)),
    )


def _check_rise(course):
    """Refuse counts that do not rise: a curve through them says nothing but how it was drawn."""
    risen = monotone_curve(course["hours"], course["nauplii"], course["full_cysts"])
    if risen["hatched_frac"].iloc[0] > _RISEN * risen["hatched_frac"].iloc[-1]:
        raise InputError(
            f"At the first count, {risen['hours'].iloc[0]:g} h, most of all that hatch had hatched already (or later "
            "counts were lower), so no hatching rate can be worked out. Count earlier hours."
        )


def _curve_times(fits, weights, shifts, confidence):
    """Averaged times; how early or late each cone is as a whole widens them."""
    k = len(shifts)
    between = float(np.var(shifts, ddof=1)) / k if k > 1 else 0.0
    note = f"average of {int((weights > 0.01).sum())} curves"
    if not np.isfinite(weights).all():
        t = [model_quantile(fits[0].model, fits[0].scale_h, fits[0].slope, s) for s in _SHARES]
        return [(n, "curve", v, math.nan, math.nan, "") for n, v in zip((*_NAMES, "Ts"), (*t, t[2] - t[0]))]
    found = averaged(fits, weights, between=between, n_cones=max(k, 1), confidence=confidence)
    return [(name, "curve", *row, note) for name, row in zip((*_NAMES, "Ts"), zip(*(f.tolist() for f in found)))]


def _counted(rows, hours):
    """Leave times outside the counted hours without an interval: there the shape of the curve is all they rest on."""
    where = {}
    for name, _, value, *_ in rows[:3]:
        where[name] = _BEFORE if value < hours.min() else "after the last count" if value > hours.max() else ""
    where["Ts"] = where["T10"] or where["T90"]
    return [(*row[:3], math.nan, math.nan, f"{row[5]}, {where[row[0]]}") if where[row[0]] else row for row in rows]


def _before_counts(hours):
    return "" if hours == hours else _BEFORE


def _all_cysts(fit):
    rows = []
    for share, name in zip(_SHARES, _NAMES):
        if share >= fit.ceiling:
            rows.append(
                (name, "all cysts", math.nan, math.nan, math.nan, f"not reached: {100 * fit.ceiling:.0f} % hatch")
            )
        else:
            hours = model_quantile(fit.model, fit.scale_h, fit.slope, share / fit.ceiling)
            rows.append((name, "all cysts", hours, math.nan, math.nan, ""))
    return rows


def _notes(course, curve, n_timed):
    notes = []
    if n_timed == 1:
        notes.append("One cone's time course: how much cones differ in time is not in the intervals.")
    t10, t90 = curve[0][2], curve[2][2]
    if t90 > course["hours"].max():
        notes.append(
            f"T90 ({t90:.1f} h) lies beyond the last count at {course['hours'].max():.1f} h: it is read off "
            "the curve, not off counts, and has no interval. Count later hours."
        )
    if t10 < course["hours"].min():
        notes.append(
            "T10 lies before the first count: it is read off the curve, not off counts, and has no interval. Count "
            "earlier hours."
        )
    if any(math.isnan(row[3]) for row in curve):
        notes.append(
            "The counts do not pin the curve down, so not all its times have an interval: the rise may lie between two "
            "counts. Count more hours around the rise."
        )
    return tuple(notes)
