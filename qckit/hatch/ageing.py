"""A lot over its tests: trend of hatching percentage and nauplii per gram, and when it falls under the minimum."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals import check_confidence

__all__ = ["Ageing", "ageing_trend", "draw_ageing"]

_MONTH_DAYS = 30.4375


@dataclass(frozen=True)
class Ageing:
    """Trend of one figure of a lot."""

    metric: str
    tests: pd.DataFrame = field(repr=False)  # day, value, n_cones
    slope_per_month: float  # points, or percent of the value
    slope_low: float
    slope_high: float
    slope_unit: str
    n_tests: int
    minimum: float
    crossing: pd.Timestamp | None  # expected date under the minimum
    crossing_low: pd.Timestamp | None  # earliest
    crossing_high: pd.Timestamp | None  # latest; None: perhaps never
    line: pd.DataFrame = field(repr=False)  # day, value, low, high
    confidence: float = 0.95
    sentence: str = ""


def ageing_trend(cones, *, metric="hatch_pct", minimum=75.0, confidence=0.95, horizon_months=24):
    """Fit a line through a lot's tests, on the scale that fits the figure.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics`` of one lot. Cones started on the same day are one test: the test, not the cone, is
        the replicate of the trend.
    metric : {"hatch_pct", "hatching_efficiency_per_g"}
        Fitted on the logit and the log scale.
    minimum : float
        The site's own, in the metric's unit.
    confidence : float
    horizon_months : float
        Nothing is foretold beyond this after the last test.

    Returns
    -------
    Ageing
        The dates come from the bounds of the fitted line (Fieller's way: where the band, not the slope, meets the
        minimum), so they are as wide as the data are few. None stands for "not within the horizon".

    Raises
    ------
    InputError
        Fewer than three tests, an unknown metric, or several lots.
    """
    check_confidence(confidence)
    forward, back, unit = _scale(metric)
    if cones["lot"].nunique() > 1:
        raise InputError(f"Cones of {cones['lot'].nunique()} lots were given; a trend is of one lot. Choose one.")
    tests = _tests(cones, metric)
    if len(tests) < 3:
        raise InputError(f"The lot has {len(tests)} tests on different days; a trend needs three or more.")
    day0, x = tests["day"].min(), _months(tests["day"], tests["day"].min())
    y = forward(tests["value"].to_numpy())
    if np.ptp(x) == 0:
        raise InputError("All tests of the lot lie on one day; a trend needs three or more days.")
    fit = _line(x, y, confidence)
    slope, half = fit["slope"], fit["t"] * fit["se_slope"]
    grid = np.linspace(0, x.max() + horizon_months, 400)
    middle, reach = fit["at"](grid)
    line = pd.DataFrame({"day": day0 + pd.to_timedelta(grid * _MONTH_DAYS, unit="D"), "value": back(middle),
                         "low": back(middle - reach), "high": back(middle + reach)})  # fmt: skip
    ahead = line[grid >= x.max()]
    dates = [_first_below(ahead, c, minimum) for c in ("value", "low", "high")]
    to_unit = _slope_unit(metric, float(np.mean(y)), back)
    slopes = [to_unit(v) for v in (slope, slope - half, slope + half)]
    return Ageing(metric, tests, *slopes, unit, len(tests), minimum, *dates, line, confidence,
                  _sentence(metric, slopes, unit, dates, minimum, horizon_months, confidence))  # fmt: skip


def _scale(metric):
    from scipy import special

    if metric == "hatch_pct":
        return (lambda v: special.logit(np.clip(v / 100, 0.002, 0.998)), lambda u: 100 * special.expit(u),
                "points per month")  # fmt: skip
    if metric == "hatching_efficiency_per_g":
        return (lambda v: np.log(np.maximum(v, 1.0)), np.exp, "% per month")
    from qckit.errors import unknown_name

    raise unknown_name("metric", metric, ("hatch_pct", "hatching_efficiency_per_g"), where="ageing_trend")


def _slope_unit(metric, centre, back):
    """Turn a slope on the fitted scale into points, or percent, per month at the lot's mean."""
    if metric == "hatch_pct":
        share = back(centre) / 100
        return lambda slope: 100 * slope * share * (1 - share)
    return lambda slope: 100 * math.expm1(slope)


def _tests(cones, metric):
    from qckit.tables import to_utc

    table = cones.dropna(subset=[metric])
    table = table.assign(day=to_utc(table["started"]).dt.floor("D"))
    tests = table.groupby("day", as_index=False).agg(value=(metric, "mean"), n_cones=("hatch", "size"))
    return tests.sort_values("day", ignore_index=True)


def _months(days, start):
    return ((days - start).dt.total_seconds() / 86400 / _MONTH_DAYS).to_numpy()


def _line(x, y, confidence):
    from scipy import stats

    fit = stats.linregress(x, y)
    df, centre, sxx = len(x) - 2, x.mean(), float(np.sum((x - x.mean()) ** 2))
    residual = y - fit.intercept - fit.slope * x
    s = math.sqrt(float(np.sum(residual**2)) / df)
    t = float(stats.t.ppf((1 + confidence) / 2, df))

    def at(points):
        middle = fit.intercept + fit.slope * points
        return middle, t * s * np.sqrt(1 / len(x) + (points - centre) ** 2 / sxx)

    return {"slope": float(fit.slope), "se_slope": s / math.sqrt(sxx), "t": t, "at": at}


def _first_below(line, column, minimum):
    below = line.loc[line[column] < minimum, "day"]
    return below.iloc[0] if len(below) else None


def _sentence(metric, slopes, unit, dates, minimum, horizon, confidence):
    name = "Hatching percentage" if metric == "hatch_pct" else "Hatching efficiency"
    middle, low, high = slopes
    floor = f"{minimum:g} %" if metric == "hatch_pct" else f"{minimum:,.0f} nauplii/g"
    start = f"{name} changes by {middle:+.1f} {unit} ({low:+.1f} to {high:+.1f}). "
    expected, earliest, latest = dates
    if expected is None and earliest is None:
        return start + f"It stays above {floor} for the {horizon:g} months looked ahead."
    first = f"as early as {earliest:%B %Y}" if earliest is not None else "not soon"
    end = f"as late as {latest:%B %Y}" if latest is not None else f"perhaps not within {horizon:g} months"
    if expected is not None and latest is not None and f"{earliest:%B %Y}" == f"{latest:%B %Y}":
        return start + f"It falls under {floor} in {expected:%B %Y} ({100 * confidence:g} % band of the line)."
    best = f"about {expected:%B %Y}" if expected is not None else f"not within {horizon:g} months by best guess"
    return start + f"It falls under {floor} {best}; {first}, {end} ({100 * confidence:g} % band of the line)."


def draw_ageing(trend, *, ax=None):
    """Draw a lot's tests, the trend with its band, and the site's minimum.

    Parameters
    ----------
    trend : Ageing
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    from qckit import draw

    ax = draw.new_axes(ax, figsize=(7, 3.6))
    line = trend.line
    draw.band(line["day"], line["low"], line["high"], ax=ax, label=f"{100 * trend.confidence:g} % band of the line")
    ax.plot(line["day"], line["value"], color=draw.SERIES[0], label="trend")
    draw.points(
        trend.tests["day"], trend.tests["value"], ax=ax, marker="s", color=draw.INK, label="test (mean of cones)"
    )
    is_pct = trend.metric == "hatch_pct"
    label = f"minimum {trend.minimum:g} %" if is_pct else f"minimum {trend.minimum:,.0f}"
    draw.reference_line(trend.minimum, label, ax=ax)
    if trend.crossing is not None:
        ax.axvline(trend.crossing, color=draw.INK, linestyle=":", linewidth=1)
        ax.annotate(f"{trend.crossing:%b %Y}", (trend.crossing, 0.95), xycoords=("data", "axes fraction"),
                    xytext=(3, 0), textcoords="offset points", fontsize=8)  # fmt: skip
    last = max([trend.tests["day"].max(), *[d for d in (trend.crossing, trend.crossing_high) if d is not None]])
    ax.set_xlim(trend.tests["day"].min() - pd.Timedelta(days=15), last + pd.Timedelta(days=120))
    locator = AutoDateLocator(maxticks=8)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    ax.set_ylabel("hatching percentage [%]" if is_pct else "nauplii per gram [1/g]")
    if is_pct:
        ax.set_ylim(max(0, min(trend.tests["value"].min(), trend.minimum) - 15), 100)
    else:
        ax.set_ylim(0, 1.3 * trend.tests["value"].max())
    ax.legend(fontsize=8, loc="lower left")
    return ax
