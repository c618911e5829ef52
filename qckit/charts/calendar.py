"""A calendar of hatches: a square for each day, with the number in it and a mark for what signalled."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit import draw
from qckit.words import plural

__all__ = ["calendar_days", "draw_calendar"]

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def calendar_days(series, signals, first, last):
    """Sum up each day of a period.

    Parameters
    ----------
    series : DataFrame
        From :func:`qckit.charts.series.hatch_series`.
    signals : DataFrame
        With the columns at and hatch.
    first, last : Timestamp
        ``first <= day < last``.

    Returns
    -------
    DataFrame, one row per day
        day (date at the site's clock), n_hatches, hatch_pct (pooled), n_signals (hatches with a signal), off_standard
        (hatches with a condition off the standard). Days without a hatch are there with zeros.

    Examples
    --------
    >>> first, last = pd.Timestamp("2026-10-01", tz="UTC"), pd.Timestamp("2026-11-01", tz="UTC")
    >>> no_signals = pd.DataFrame({"at": pd.to_datetime([], utc=True), "hatch": []})
    >>> len(charts.calendar_days(series, no_signals, first, last))
    31
    """
    days = pd.date_range(first.normalize(), last.normalize(), freq="D", inclusive="left")
    local = series["at"].dt.tz_convert(first.tz).dt.date if len(series) else pd.Series(dtype=object)
    fired = set(signals["hatch"]) if len(signals) else set()
    rows = []
    for day in days:
        mine = series[local == day.date()]
        counted = mine[mine["full_cysts"] > 0]
        pct = 100 * counted["nauplii"].sum() / counted["full_cysts"].sum() if len(counted) else np.nan
        rows.append(
            (day.date(), len(mine), pct, int(mine["hatch"].isin(fired).sum()), int((mine["off_standard"] != "").sum()))
        )
    return pd.DataFrame(rows, columns=["day", "n_hatches", "hatch_pct", "n_signals", "off_standard"])


def draw_calendar(days, *, ax=None, title="", minimum=None):
    """Draw a calendar of hatches.

    Parameters
    ----------
    days : DataFrame
        From :func:`calendar_days`.
    ax : Axes, optional
    title : str
    minimum : float, optional
        The site's minimum; days below it are hatched. [%]

    Returns
    -------
    Axes

    Examples
    --------
    >>> first, last = pd.Timestamp("2026-10-01", tz="UTC"), pd.Timestamp("2026-11-01", tz="UTC")
    >>> no_signals = pd.DataFrame({"at": pd.to_datetime([], utc=True), "hatch": []})
    >>> ax = charts.draw_calendar(charts.calendar_days(series, no_signals, first, last), title="October")
    >>> ax is not None
    True
    """
    ax = draw.new_axes(ax, figsize=(7.2, 3.9))
    start = pd.Timestamp(days["day"].iloc[0])
    lead = start.weekday()
    for i, row in enumerate(days.itertuples()):
        is_low = minimum is not None and row.hatch_pct == row.hatch_pct and row.hatch_pct < minimum
        _draw_day(ax, row, (lead + i) % 7, -((lead + i) // 7), is_low)
    for k, name in enumerate(_WEEKDAYS):
        ax.text(k + 0.47, 1.0, name, ha="center", va="bottom", fontsize=8.5)
    weeks = (lead + len(days) - 1) // 7
    ax.set_xlim(-0.05, 7.0)
    ax.set_ylim(-weeks - 0.75, 1.25)
    note = "◇ a hatch signals in any chart    ▼ water off the standard"
    if minimum is not None:
        note += f"    striped: below the site's minimum of {minimum:g} %"
    ax.plot([], [])
    ax.annotate(note.replace("◇", "diamond:").replace("▼", "triangle:"), (0, -weeks - 0.2), fontsize=7.5, va="top")
    ax.set_axis_off()
    ax.set_title(title, loc="left")
    return ax


def _draw_day(ax, row, x, y, is_low):
    """One field of the calendar: the day, its percentage, its hatches and signals."""
    from matplotlib.patches import Rectangle

    ax.add_patch(
        Rectangle(
            (x, y),
            0.94,
            0.9,
            facecolor="#E8E8E8" if is_low else "white",
            edgecolor="#999999",
            hatch="///" if is_low else "",
            linewidth=0.8,
        )
    )
    ax.text(x + 0.06, y + 0.84, str(row.day.day), fontsize=7.5, va="top")
    if row.n_hatches:
        text = f"{row.hatch_pct:.0f} %" if row.hatch_pct == row.hatch_pct else "no count"
        ax.text(
            x + 0.47,
            y + 0.42,
            text,
            fontsize=9.5,
            ha="center",
            va="center",
            fontweight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8} if is_low else None,
        )
        ax.text(
            x + 0.06,
            y + 0.06,
            plural(row.n_hatches, "hatch"),
            fontsize=6.5,
            va="bottom",
        )
    if row.n_signals:
        ax.plot(
            x + 0.82,
            y + 0.72,
            marker="D",
            markersize=7,
            markerfacecolor="none",
            markeredgecolor=draw.SERIES[1],
            markeredgewidth=1.5,
        )
    if row.off_standard:
        ax.plot(x + 0.82, y + 0.16, marker="v", markersize=6.5, color=draw.INK)
