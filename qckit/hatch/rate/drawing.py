"""The time course of a lot as a chart."""

from __future__ import annotations

import math

import numpy as np

from qckit import draw
from qckit.hatch.rate.average import SHARES as _SHARES
from qckit.hatch.rate.models import Fit, model_curve, monotone_curve

__all__ = ["draw_rate"]

_NAMES = ("T10", "T50", "T90")


def draw_rate(rate, *, ax=None):
    """Draw points per cone, the curve with its band, and T10, T50, T90.

    Parameters
    ----------
    rate : HatchRate
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> ax = hatch.draw_rate(hatch.lot_rate(tables, "K-124"))
    >>> ax.get_xlabel()
    'hours since wetting [h]'
    """
    ax = draw.new_axes(ax, figsize=(7, 4))
    course, fit = rate.course, rate.best
    hours = np.linspace(max(course["hours"].min() * 0.8, 0.1), course["hours"].max() * 1.05, 200)
    curve = 100 * model_curve(fit, hours)
    low, high = _band(fit, hours, rate.confidence)
    if np.isfinite(low).all():
        draw.band(
            hours, low, high, ax=ax, color=draw.SERIES[0], label=f"{100 * rate.confidence:g} % band of the pooled curve"
        )
    ax.plot(hours, curve, color=draw.SERIES[0], label=f"{fit.model} curve")
    steps = monotone_curve(course["hours"], course["nauplii"], course["full_cysts"])
    ax.plot(
        steps["hours"],
        100 * steps["hatched_frac"],
        color=draw.INK,
        linestyle=":",
        drawstyle="steps-post",
        label="monotone steps",
    )
    for i, (cone, group) in enumerate(course.groupby("cone")):
        draw.points(
            group["hours"],
            100 * group["hatched_frac"],
            ax=ax,
            marker=draw.MARKERS[i % 7],
            color=draw.SERIES[i % 7],
            label=f"cone {cone}",
            markersize=5,
        )
    for name, share in zip(_NAMES, _SHARES):
        row = rate.time(name)
        level = 100 * fit.ceiling * share
        ax.hlines(level, row["low_h"], row["high_h"], color=draw.INK, linewidth=2)
        ax.plot(row["value_h"], level, marker="|", markersize=14, color=draw.INK)
        ax.annotate(
            f"{name} {row['value_h']:.1f} h",
            (row["high_h"], level),
            xytext=(6, -3),
            textcoords="offset points",
            fontsize=9,
        )
    ax.set(xlabel="hours since wetting [h]", ylabel="hatched [% of full cysts]", ylim=(0, 105))
    ax.legend(fontsize=8, loc="upper left")
    return ax


def _band(fit, hours, confidence):
    """Pointwise band of the curve by the delta method on the logit scale. [%]"""
    from scipy import special, stats

    theta, step = fit.parameters, 1e-5
    base = np.clip(model_curve(fit, hours), 1e-12, 1 - 1e-12)
    slopes = []
    for i in range(3):
        moved = theta.copy()
        moved[i] += step
        other = Fit(
            model=fit.model,
            ceiling=special.expit(moved[0]),
            scale_h=math.exp(moved[1]),
            slope=math.exp(moved[2]),
            covariance=fit.covariance,
            loglik=0,
            is_converged=True,
        )
        slopes.append(
            (special.logit(np.clip(model_curve(other, hours), 1e-12, 1 - 1e-12)) - special.logit(base)) / step
        )
    g = np.array(slopes)
    half = stats.norm.ppf((1 + confidence) / 2) * np.sqrt(np.einsum("in,ij,jn->n", g, fit.covariance, g))
    return 100 * special.expit(special.logit(base) - half), 100 * special.expit(special.logit(base) + half)
