"""A lot over its tests: trend of hatching percentage and nauplii per gram, and when it falls under the minimum."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit import draw
from qckit.errors import InputError, unknown_name
from qckit.hatch.intervals.estimates import check_confidence
from qckit.hatch.lots.level import MONTH_DAYS, lag_one
from qckit.tables import to_utc
from qckit.words import decimals_known, number, signed

__all__ = ["Ageing", "ageing_trend", "draw_ageing"]

_ENOUGH_TESTS = 8  # below this neither memory nor unequal scatter of the tests can be judged


@dataclass(frozen=True)
class Ageing:
    """Trend of one figure of a lot.

    Examples
    --------
    >>> trend = hatch.ageing_trend(cones[cones["lot"] == "K-118"])
    >>> trend.n_tests > 5, bool(trend.slope_per_month < 0)
    (True, True)
    """

    metric: str
    tests: pd.DataFrame = field(repr=False)  # day, value, n_cones
    slope_per_month: float  # points, or percent of the value
    slope_low: float
    slope_high: float
    slope_unit: str
    n_tests: int
    minimum: float
    crossing: pd.Timestamp | None  # expected date under the minimum; the first test's where it lay under it then
    crossing_low: pd.Timestamp | None  # earliest
    crossing_high: pd.Timestamp | None  # latest; None: perhaps never
    line: pd.DataFrame = field(repr=False)  # day, value, low, high
    confidence: float = 0.95
    sentence: str = ""
    lot: str = ""
    autocorrelation: float = 0.0  # lag one, of the residuals; 0 where it cannot be judged
    note: str = ""  # how the band allows for memory and unequal scatter


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

    Examples
    --------
    >>> trend = hatch.ageing_trend(cones[cones["lot"] == "K-118"], minimum=75.0)
    >>> bool(trend.slope_low < trend.slope_per_month < trend.slope_high)
    True
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
    line = pd.DataFrame(
        {
            "day": day0 + pd.to_timedelta(grid * MONTH_DAYS, unit="D"),
            "value": back(middle),
            "low": back(middle - reach),
            "high": back(middle + reach),
        }
    )
    dates = [_first_below(line, c, minimum) for c in ("value", "low", "high")]
    crossing, crossing_low, crossing_high = dates
    to_unit = _slope_unit(metric, float(np.mean(y)), back)
    slopes = [to_unit(v) for v in (slope, slope - half, slope + half)]
    slope_per_month, slope_low, slope_high = slopes
    return Ageing(
        metric=metric,
        tests=tests,
        slope_per_month=slope_per_month,
        slope_low=slope_low,
        slope_high=slope_high,
        slope_unit=unit,
        n_tests=len(tests),
        minimum=minimum,
        crossing=crossing,
        crossing_low=crossing_low,
        crossing_high=crossing_high,
        line=line,
        confidence=confidence,
        sentence=_sentence(
            metric,
            slopes,
            unit=unit,
            dates=dates,
            minimum=minimum,
            horizon=horizon_months,
            confidence=confidence,
            tested=(tests["day"].min(), tests["day"].max()),
        ),
        lot=str(cones["lot"].iloc[0]),
        autocorrelation=fit["correlation"],
        note=_note(len(tests), fit["correlation"]),
    )


def _note(n, correlation):
    if n < _ENOUGH_TESTS:
        return (
            f"With {n} tests, whether they scatter unequally or follow each other cannot be judged: the band is "
            "Student's, wide because the tests are few."
        )
    return (
        f"The band allows for days that scatter unequally (HC3) and for what one day tells of the next (lag-one "
        f"correlation {correlation:.2f}: {n} days count as {n * (1 - correlation) / (1 + correlation):.0f})."
    )


def _scale(metric):
    from scipy import special

    if metric == "hatch_pct":
        return (
            lambda v: special.logit(np.clip(v / 100, 0.002, 0.998)),
            lambda u: 100 * special.expit(u),
            "points per month",
        )
    if metric == "hatching_efficiency_per_g":
        return (lambda v: np.log(np.maximum(v, 1.0)), np.exp, "% per month")
    raise unknown_name("metric", metric, ("hatch_pct", "hatching_efficiency_per_g"), where="ageing_trend")


def _slope_unit(metric, centre, back):
    """Turn a slope on the fitted scale into points, or percent, per month at the lot's mean."""
    if metric == "hatch_pct":
        share = back(centre) / 100
        return lambda slope: 100 * slope * share * (1 - share)
    return lambda slope: 100 * math.expm1(slope)


def _tests(cones, metric):
    table = cones.dropna(subset=[metric])
    table = table.assign(day=to_utc(table["started"]).dt.floor("D"))
    tests = table.groupby("day", as_index=False).agg(value=(metric, "mean"), n_cones=("hatch", "size"))
    return tests.sort_values("day", ignore_index=True)


def _months(days, start):
    return ((days - start).dt.total_seconds() / 86400 / MONTH_DAYS).to_numpy()


def _line(x, y, confidence):
    """Least squares with a band that allows for tests that scatter unequally and follow each other.

    Unequal scatter: the larger of the classical variance and HC3 (MacKinnon and White 1985, J. Econometrics
    29:305-325). Memory: with lag-one correlation r of the residuals (tests in order of time, corrected for its bias,
    never below 0), n tests are worth n (1 - r) / (1 + r). Both from memory. With fewer than eight tests neither can be
    judged, and the classical band with its few degrees of freedom is used.
    """
    from scipy import stats

    n, design = len(x), np.column_stack([np.ones_like(x), x])
    bread = np.linalg.inv(design.T @ design)
    coefficients = bread @ design.T @ y
    residual = y - design @ coefficients
    covariance, correlation, n_effective = bread * float(residual @ residual) / (n - 2), 0.0, float(n)
    robust = covariance
    if n >= _ENOUGH_TESTS:
        lever = np.clip(np.sum(design @ bread * design, axis=1), 0, 0.99)
        robust = bread @ (design.T * (residual / (1 - lever)) ** 2) @ design @ bread
        correlation = lag_one(residual)
        n_effective = n * (1 - correlation) / (1 + correlation)
    stretch = n / n_effective
    t = float(stats.t.ppf((1 + confidence) / 2, max(n_effective - 2, 1)))

    def at(points):
        rows = np.column_stack([np.ones_like(points), points])
        variance = np.maximum(*(np.sum(rows @ c * rows, axis=1) for c in (covariance, robust)))
        return rows @ coefficients, t * np.sqrt(stretch * variance)

    se = math.sqrt(stretch * max(covariance[1, 1], robust[1, 1]))
    return {"slope": float(coefficients[1]), "se_slope": se, "t": t, "at": at, "correlation": correlation}


def _first_below(line, column, minimum):
    below = line.loc[line[column] < minimum, "day"]
    return below.iloc[0] if len(below) else None


def _sentence(metric, slopes, unit, dates, minimum, horizon, confidence, tested):
    name = "Hatching percentage" if metric == "hatch_pct" else "Hatching efficiency"
    middle, low, high = slopes
    floor = f"{minimum:g} %" if metric == "hatch_pct" else f"{number(minimum)} nauplii/g"
    n = decimals_known(low, high)
    start = f"{name} changes by {signed(middle, n)} {unit} ({signed(low, n)} to {signed(high, n)}). "
    expected, earliest, latest = dates
    first, last = tested
    if low < 0 < high and earliest is not None and earliest <= last and latest is None:
        return (  # under the minimum by now, or never: no date is known
            f"{name}: the days it was hatched on are too few, or too close together, to tell how it changes "
            f"and when it falls under {floor}."
        )
    if expected is not None and expected <= first:
        return f"{start}By the line it lay under {floor} at the first test already."
    if expected is not None and expected <= last:
        until = f"{latest:%B %Y}" if latest is not None else "after the last test, perhaps"
        return (
            f"{start}By the line it fell under {floor} about {expected:%B %Y} ({earliest:%B %Y} to {until}; "
            f"{100 * confidence:g} % band of the line)."
        )
    if expected is None and earliest is None:
        return start + f"It stays above {floor} for the {horizon:g} months looked ahead."
    if expected is None:
        return (
            f"{start}By best guess it stays above {floor} for the {horizon:g} months looked ahead; the "
            f"{100 * confidence:g} % band of the line lets it fall under as early as {earliest:%B %Y}."
        )
    soonest = f"as early as {earliest:%B %Y}" if earliest is not None else "not soon"
    end = f"as late as {latest:%B %Y}" if latest is not None else f"perhaps not within {horizon:g} months"
    if expected is not None and latest is not None and f"{earliest:%B %Y}" == f"{latest:%B %Y}":
        return start + f"It falls under {floor} in {expected:%B %Y} ({100 * confidence:g} % band of the line)."
    return (
        start
        + f"It falls under {floor} about {expected:%B %Y}; {soonest}, {end} ({100 * confidence:g} % band of the line)."
    )


def draw_ageing(trend, *, ax=None):
    """Draw a lot's tests, the trend with its band, and the site's minimum.

    Parameters
    ----------
    trend : Ageing
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> ax = hatch.draw_ageing(hatch.ageing_trend(cones[cones["lot"] == "K-118"]))
    >>> ax.get_ylabel()
    'hatching percentage [%]'
    """
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    ax = draw.new_axes(ax, figsize=(7, 3.6))
    line = trend.line
    draw.band(line["day"], line["low"], line["high"], ax=ax, label=f"{100 * trend.confidence:g} % band of the line")
    ax.plot(line["day"], line["value"], color=draw.SERIES[0], label="trend")
    draw.points(
        trend.tests["day"], trend.tests["value"], ax=ax, marker="s", color=draw.INK, label="test (mean of cones)"
    )
    is_pct = trend.metric == "hatch_pct"
    label = f"minimum {trend.minimum:g} %" if is_pct else f"minimum {number(trend.minimum)}"
    draw.reference_line(trend.minimum, label, ax=ax)
    if trend.crossing is not None and trend.crossing > trend.tests["day"].min():
        ax.axvline(trend.crossing, color=draw.INK, linestyle=":", linewidth=1)
        ax.annotate(
            f"{trend.crossing:%b %Y}",
            (trend.crossing, 0.95),
            xycoords=("data", "axes fraction"),
            xytext=(3, 0),
            textcoords="offset points",
            fontsize=8,
        )
    last = max([trend.tests["day"].max(), *[d for d in (trend.crossing, trend.crossing_high) if d is not None]])
    ax.set_xlim(trend.tests["day"].min() - pd.Timedelta(days=15), last + pd.Timedelta(days=120))
    locator = AutoDateLocator(maxticks=8)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    ax.set_ylabel("hatching percentage [%]" if is_pct else "nauplii per gram [1/g]")
    if not is_pct:
        draw.spaced_ticks(ax.yaxis)
    if is_pct:
        ax.set_ylim(max(0, min(trend.tests["value"].min(), trend.minimum) - 15), 100)
    else:
        ax.set_ylim(0, 1.3 * trend.tests["value"].max())
    ax.legend(fontsize=8, loc="lower left")
    return ax
