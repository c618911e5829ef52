"""A grid of small control charts: a row a quantity, a column a cone or operator."""

from __future__ import annotations

import textwrap

import numpy as np

from qckit import draw

__all__ = ["draw_grid"]


def draw_grid(frame, by, names, *, first=None, height=1.2):
    """Draw small charts: a row for each quantity, a column for each cone or operator, all in sigma.

    Parameters
    ----------
    frame : DataFrame
        Columns chart, at, score (sigma from the centre line, limits at 3), fired, and ``by``.
    by : str
        Column whose values get a column of charts each.
    names : dict
        Quantity -> its words, in the order of rows.
    first : Timestamp, optional
        What lies from here on is shaded: the period reviewed.
    height : float
        Of a row. [inch]

    Returns
    -------
    Figure

    Examples
    --------
    >>> frame = pd.DataFrame({"chart": "hatch_pct", "cone": list("AABB"), "score": [0.1, -1.0, 0.5, -3.2]})
    >>> frame = frame.assign(at=pd.date_range("2026-10-01", periods=4, tz="UTC"), fired=[False, False, False, True])
    >>> figure = charts.draw_grid(frame, "cone", {"hatch_pct": "hatching percentage"})
    >>> len(figure.axes)
    2
    """
    import matplotlib.pyplot as plt

    levels = sorted(v for v in frame[by].dropna().unique() if v != "")
    fig, axes = plt.subplots(
        len(names),
        max(1, len(levels)),
        figsize=(9.4, height * len(names) + 0.7),
        squeeze=False,
        layout="constrained",
    )
    for row, (name, words) in zip(axes, names.items(), strict=True):
        points = frame[frame["chart"] == name]
        for ax, level in zip(row, levels, strict=False):
            _small(ax, points[points[by].astype(str) == str(level)], first, frame["at"].max())
        score = _shown_score(points)
        for ax in row:  # one scale for the row
            ax.set_ylim(min(-4, score.min(initial=0) - 1), max(4, score.max(initial=0) + 1))
        if len(names) > 1:
            row[0].set_ylabel(_wrapped(words), fontsize=8, rotation=0, ha="right", va="center")
    for ax, level in zip(axes[0], levels, strict=False):
        n = int((frame.loc[frame["chart"] == next(iter(names)), by].astype(str) == str(level)).sum())
        ax.set_title(f"{by} {level}" + (f"   (n = {n})" if len(names) == 1 else ""), fontsize=9)
    _share_days(axes)
    fig.supylabel("distance from the centre line (limits at 3)", fontsize=8.5)
    return fig


def _share_days(axes):
    """Give all charts one axis of days, and names to those at the edges alone.

    Axes that matplotlib shares look at one another, and seek their ticks anew, whenever one of them is measured: of a
    grid that is a third of its time.
    """
    import matplotlib.dates as mdates
    from matplotlib import ticker as mticker

    spans = [ax.dataLim.intervalx for ax in axes.flat if np.isfinite(ax.dataLim.intervalx).all()]
    low, high = (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else (0.0, 1.0)
    edge = 0.05 * (high - low) or 0.5
    locator = mdates.AutoDateLocator(minticks=2, maxticks=4)
    ticks = locator.tick_values(*mdates.num2date([low - edge, high + edge]))
    for ax in axes.flat:
        ax.set_xlim(low - edge, high + edge)
        ax.xaxis.set_major_locator(mticker.FixedLocator(ticks))
        ax.xaxis.set_major_formatter(mdates.DateFormatter("%d %b"))
        ax.label_outer()


def _wrapped(words, width=13):
    return "\n".join(textwrap.wrap(words, width))


def _shown_score(part):
    return np.clip(part["score"].to_numpy(dtype=float), -8, 8)


def _small(ax, part, first, last):
    x = part["at"].dt.tz_convert(None).to_numpy()
    y, fired = _shown_score(part), part["fired"].to_numpy(dtype=bool)
    if first is not None:
        ax.axvspan(
            first.tz_convert("UTC").tz_localize(None),
            x.max() if len(x) else last.tz_convert(None),
            color="#999999",
            alpha=0.13,
            linewidth=0,
        )
    ax.axhline(0, color=draw.INK, linewidth=0.8)
    for side in (-3, 3):
        ax.axhline(side, color=draw.INK, linestyle="--", linewidth=0.7)
    ax.plot(x, y, color=draw.SERIES[0], linewidth=0.5, marker="o", markersize=3)
    ax.plot(
        x[fired],
        y[fired],
        linestyle="none",
        marker="D",
        markersize=6.5,
        markerfacecolor="none",
        markeredgecolor=draw.SERIES[1],
        markeredgewidth=1.2,
    )
    ax.set_yticks([-3, 0, 3])
    ax.tick_params(labelsize=7)
    ax.grid(visible=False)
