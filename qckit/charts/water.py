"""Water by the day: limits that rest on days, and changes searched with what days share and remember.

All cones of a day stand in one room with one supply, so their readings are no independent witnesses. Spread is split
into what a day shares (and passes on to the next) and what a hatch has of its own; limits are as wide as both together
and as unsure as the number of days, not of hatches, makes them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import ndtr

from qckit.charts.baseline import widen
from qckit.charts.days import day_numbers, effective_days
from qckit.charts.levels import LevelData, LevelModel, Priors, fit_levels
from qckit.charts.limits import Limits
from qckit.charts.points import working_values
from qckit.charts.search import Search, find_changes_in_levels
from qckit.charts.series import CHARTED, chart_points
from qckit.robust import robust_sd

__all__ = [
    "LEAST_DAYS",
    "LEAST_STEP",
    "METER_ERROR",
    "WaterDays",
    "apart_from_usual",
    "search_water",
    "water_limits",
    "water_points",
    "water_priors",
    "why_no_limits",
]

LEAST_DAYS = 8
"""Days with a reading below which no limits are set."""
_REACH_DAYS = 180  # before the month: older water is another water
_SEASONAL_DAYS = 60  # of a quantity that follows the season
_SEASON = {"temperature_c": 0.5}  # yearly swing expected in a heated room, one standard deviation (ours, no source)
# what a meter reads least; of light a step of its logarithm
_SMALLEST = {
    "temperature_c": 0.05,
    "salinity_ppt": 0.1,
    "ph": 0.01,
    "oxygen_mg_l": 0.05,
    "light_lux": 0.02,
}
METER_ERROR = {"temperature_c": 0.2, "salinity_ppt": 0.5, "ph": 0.1, "oxygen_mg_l": 0.2, "light_lux": 0.05}
"""What a field instrument in good order may be off by from one calibration to the next, of light as a share (common
practice, no source): many readings make a smaller difference sure, but not that it is the water's."""
LEAST_STEP = {"light_lux": 100.0}
"""What a change must come to in its unit beside, to matter to cysts: of light a twentieth of the about 2000 lux that
they need (Lavens and others 2000; the share is ours). In near darkness a few lux are a large share and nothing to
them."""
_APART = 3.5
"""Robust standard deviations from the median beyond which a reading is no sample of the others: Iglewicz and Hoaglin
1993, How to Detect and Handle Outliers, ASQC Basic References in Quality Control 16 (from memory)."""
_MOST_DAY_TO_DAY = 0.96
_DAY_TO_DAY = {0.2: 0.35, 0.5: 0.25, 0.7: 0.19, 0.84: 0.13, 0.93: 0.08}
"""Correlations of a day with the next that limits are averaged over, with weights of an even law up to 0.96."""
# the water remembers longer than hatches do, and a day's share is large
_DAYS = {"day_share": 1.0, "day_log_sd": 0.7, "day_to_day": 0.4, "most_day_to_day": 0.8, "residual_log_sd": 3.0}


@dataclass(frozen=True, kw_only=True)
class WaterDays:
    """What the water was like before the month: the limits, and what they rest on.

    Examples
    --------
    >>> days = charts.water_limits(charts.water_points(series, "ph"), "ph", first=pd.Timestamp("2026-10-01", tz="UTC"))
    >>> days.n_days > 20
    True
    """

    limits: Limits
    model: LevelModel
    n_days: int
    n_hatches: int
    effective_days: float
    tail_df: float
    first: pd.Timestamp
    last: pd.Timestamp
    left_out: frozenset = frozenset()  # hatches of the days before in a change that was over before the month
    far_off: dict = field(default_factory=dict)  # hatch whose reading no limits rest on -> why

    @property
    def shared(self) -> float:
        """Share of the variance that the hatches of a day have in common."""
        s = self.model.spreads
        return s.day**2 / (s.day**2 + s.residual**2)


def water_priors(name: str, *, seasonal=True) -> Priors:
    """Return the weak priors of one quantity of the water."""
    season = _SEASON.get(name, 0.0) if seasonal else 0.0
    return Priors(residual=5 * _SMALLEST.get(name, 0.1), season=season, falls=0.5, **_DAYS)


def water_points(series, name) -> pd.DataFrame:
    """Hatches with a reading: label, at, y, counting and the factors of a search, in the order of time.

    Examples
    --------
    >>> charts.water_points(series, "ph").columns.tolist()
    ['label', 'at', 'cone', 'lot', 'operator', 'y', 'counting', 'value']
    """
    part = chart_points(series, name)
    frame = part[["label", "at", "cone", "operator"]].assign(lot=series.loc[series[name].notna(), "lot"].to_numpy())
    frame = frame[["label", "at", "cone", "lot", "operator"]]
    rounding = _SMALLEST.get(name, 0.0) ** 2 / 3
    y = working_values(part, CHARTED[name].kind)
    frame = frame.assign(y=y, counting=rounding, value=part["value"])
    return frame.sort_values("at", kind="stable").reset_index(drop=True)


def apart_from_usual(points, name) -> np.ndarray:
    """Tell which readings lie apart from what is usual here: by median and median absolute deviation.

    Both stand still while fewer than half of the readings are wild, which mean and standard deviation do not; a spread
    below what a meter may be off by counts as that. Used only of readings far off the standard: a room that scatters
    about its standard keeps all of its readings, and so limits as wide as it scatters.
    """
    y = points["y"].to_numpy(float)
    if not len(y):
        return np.zeros(0, bool)
    usual = float(np.median(y))
    return np.abs(y - usual) > _APART * max(robust_sd(y, usual), METER_ERROR.get(name, 0.0))


def why_no_limits(points, name, *, first) -> str:
    """Say why :func:`water_limits` sets none: days with a reading are too few, or all readings are equal.

    Examples
    --------
    >>> points, first = charts.water_points(series, "ph"), pd.Timestamp("2026-10-01", tz="UTC")
    >>> charts.why_no_limits(points.head(3), "ph", first=first)
    'days with a reading are too few'
    >>> charts.why_no_limits(points.assign(value=8.1), "ph", first=first)
    'all readings are equal and do not tell how far ordinary ones lie apart'
    """
    base, _ = _days_before(points, name, first=first)
    if base["at"].dt.floor("D").nunique() < LEAST_DAYS or np.ptp(base["value"]) > 0:
        return "days with a reading are too few"
    return "all readings are equal and do not tell how far ordinary ones lie apart"


def _days_before(points, name, *, first):
    """Points of the days that limits rest on, and since when; all points where these days are too few."""
    since = first - pd.Timedelta(days=_SEASONAL_DAYS if name in _SEASON else _REACH_DAYS)
    base = points[(points["at"] < first) & (points["at"] >= since)]
    if base["at"].dt.floor("D").nunique() < LEAST_DAYS:
        return points, points["at"].min()
    return base, since


def water_limits(points, name, *, first, last=None, rules=("beyond_3",), over=(), far=None) -> WaterDays | None:
    """Set limits for a month from the days before it.

    Parameters
    ----------
    points : DataFrame
        From :func:`water_points`, without what was set aside.
    name : str
        Quantity.
    first : Timestamp
        Begin of the month.
    last : Timestamp, optional
        Its end; a month of thirty days when left out.
    rules : tuple of str
        Codes of ``charts.RULES``.
    over : collection of str
        Hatches of changes that were over before the month: they tell nothing of the water it is judged by.
    far : dict, optional
        Hatch -> reason, of those whose reading lies far off the standard and apart from the others: left out likewise,
        also those of the month, which limits rest on where days before it are too few.

    Returns
    -------
    WaterDays or None
        None with fewer than :data:`LEAST_DAYS` days, or where all readings are equal. The standard deviation of a
        reading holds day, own and cone; the centre is as unsure as so many days with their memory make it (the
        effective number of days); a quantity that may follow the season takes only the last sixty days, in a model with
        a yearly swing of unknown size and one without, each with the weight that the days give it: its centre is what
        these foretell for the month's middle, and its limits are as unsure as that leaves them.

    Examples
    --------
    >>> days = charts.water_limits(charts.water_points(series, "ph"), "ph", first=pd.Timestamp("2026-10-01", tz="UTC"))
    >>> bool(7.5 < days.limits.centre < 8.6)
    True
    """
    is_over = points["label"].isin(set(over))
    is_far = points["label"].isin(set(far or {})) & ~is_over
    base, since = _days_before(points[~(is_over | is_far)], name, first=first)
    days = day_numbers(base["at"])
    n_days = len(np.unique(days))
    if n_days < LEAST_DAYS or not np.ptp(base["y"]) > 0:
        return None
    factors = {"cone": base["cone"].fillna("").astype(str).to_numpy()}
    data = LevelData(y=base["y"].to_numpy(float), counting=base["counting"], day=days, factors=factors)
    last = first + pd.Timedelta(days=30) if last is None else last
    span = (base["at"].min(), max(first, base["at"].min()), last)
    models, weight = _models(data, name)
    each = [(*_foretold(m, _shares(m, data), *span), _total2(m, _shares(m, data), data)) for m in models]
    level, variance, season, total2 = np.array(each).T
    centre = float(weight @ level)
    total = math.sqrt(weight @ total2)
    unsure = max(float(weight @ (variance + (level - centre) ** 2)), total**2 / n_days)
    model = models[int(np.argmax(weight))]
    each = [effective_days(np.unique(days), m.spreads.day_to_day) for m in models]
    effective = 1 / float(weight @ (1 / np.array(each)))
    limits = Limits(
        kind=CHARTED[name].kind,
        centre=centre,
        sigma=math.hypot(total, math.sqrt(weight @ season**2)),
        n_points=max(3, round(total**2 / unsure)),
        df=max(4.0, effective - 1 + (len(base) - n_days) * (1 - model.spreads.day**2 / total**2)),
        spread="standard deviation",
    )
    return WaterDays(
        limits=widen(limits, rules),
        model=model,
        n_days=n_days,
        n_hatches=len(base),
        effective_days=effective,
        tail_df=model.tail_df,
        first=base["at"].min(),
        last=base["at"].max(),
        left_out=frozenset(points.loc[is_over & (points["at"] >= since), "label"]),
        far_off={label: far[label] for label in points.loc[is_far & (points["at"] >= since), "label"]},
    )


def _models(data, name):
    """Models of the days and their weights: each memory, with a yearly swing and without where the season may matter.

    The likeliest memory taken as known makes limits too narrow: a few weeks of slow water look like a spread of their
    own about another level. So limits are averaged over memories. Half of the rooms are taken to follow the season
    (ours); the days then speak by their restricted likelihoods (Kass and Raftery 1995, Journal of the American
    Statistical Association 90:773-795).
    """
    models, shares = [], []
    for swing in (True, False) if name in _SEASON else (False,):
        priors = water_priors(name, seasonal=swing)
        likeliest = fit_levels(data, priors=priors, fixed=())
        for day_to_day, share in _DAY_TO_DAY.items():
            models.append(_with_day_to_day(data, likeliest, day_to_day, priors))
            shares.append(share)
    deviance = np.array([m.deviance for m in models])
    weight = np.array(shares) * np.exp(-(deviance - deviance.min()) / 2)
    return models, weight / weight.sum()


def _with_day_to_day(data, model, day_to_day, priors):
    """The model with another memory and the same luck from one day to the next, of which the days tell most."""
    before = model.spreads.day_to_day
    theta = model.theta.copy()
    theta[1] += math.log((1 - before**2) / (1 - day_to_day**2)) / 2
    theta[2] = math.log(day_to_day / (_MOST_DAY_TO_DAY - day_to_day))
    priors = replace(priors, day_to_day=day_to_day, most_day_to_day=_MOST_DAY_TO_DAY)
    return fit_levels(data, priors=priors, fixed=(), start=theta, is_searched=False)


def _shares(model, data):
    """Share of the readings of each cone, as a row of the design; shape (n_columns,)."""
    cones = np.asarray(data.factors["cone"])
    return np.array([np.mean(cones == level) if factor == "cone" else 0.0 for factor, level in model.columns])


def _total2(model, shares, data):
    """Variance that gives limits at three standard deviations their stated rate over all cones: day, own and cone.

    Cones stand apart for good, so that their readings together have shorter tails than a normal law of their variance:
    the distance that one reading in 370 passes is solved for, the cones weighed by their readings.
    """
    s = model.spreads
    noise = s.residual**2 + s.day**2 + float(np.mean(data.counting))
    at = np.flatnonzero(shares)
    if not len(at):
        return noise
    contrast = np.eye(len(shares))[at] - shares
    apart = contrast @ model.coefficients
    sd = np.sqrt(noise + np.einsum("ij,jk,ik->i", contrast, model.covariance, contrast))

    def excess(reach):
        return float(shares[at] @ (ndtr((apart - reach) / sd) + ndtr((-apart - reach) / sd))) - 2 * float(ndtr(-3.0))

    farthest = 3.01 * float(sd.max()) + float(np.abs(apart).max())  # beyond what rounding may leave
    return (brentq(excess, 0.0, farthest) / 3) ** 2


def _foretold(model, shares, begin, first, last):
    """Level that the model foretells for a month's middle, its variance, and how far the season moves it in the month.

    It is the level of the cones that are in use, each by its share of the readings.
    """
    days = np.array([(t - begin) / pd.Timedelta(days=1) for t in (first, first + (last - first) / 2, last)])
    turn = 2 * math.pi * days / 365.25
    rows = {("all", ""): np.ones(3), ("season", "cos"): np.cos(turn), ("season", "sin"): np.sin(turn)}
    x = np.column_stack([rows.get(column, np.full(3, shares[i])) for i, column in enumerate(model.columns)])
    level = x @ model.coefficients
    variance = float(x[1] @ model.covariance @ x[1])
    return float(level[1]), variance, float(abs(level[2] - level[0])) / math.sqrt(12)


def search_water(points, name, *, last, alpha, reach_days=240) -> Search | None:
    """Search one quantity for changes of all cones or of one, up to the end of a month.

    Returns
    -------
    Search or None
        None where the days are too few.

    Examples
    --------
    >>> points = charts.water_points(series, "ph")
    >>> search = charts.search_water(points, "ph", last=pd.Timestamp("2026-04-01", tz="UTC"), alpha=0.01, reach_days=60)
    >>> search is None or isinstance(search.changes, list)
    True
    """
    recent = points[(points["at"] < last) & (points["at"] >= last - pd.Timedelta(days=reach_days))].reset_index(
        drop=True
    )
    if recent["at"].dt.floor("D").nunique() < 2 * LEAST_DAYS or not np.ptp(recent["y"]) > 0:
        return None
    return find_changes_in_levels(
        recent, alpha=alpha, priors=water_priors(name), factors=("cone",), fixed=(), late_alpha=0.0
    )
