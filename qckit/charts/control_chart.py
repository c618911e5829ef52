"""Drawing of control charts: marks on an Axes from a chart's frame; no statistics here.

A signal is told by its shape (an open diamond around the point) and the number of its rule, limits by their line
style and by a label, phases by filled and open points; colour only repeats what shape already says.
"""

from __future__ import annotations

import numpy as np

from qckit import draw
from qckit.charts.chart_legend import ZERO, add_legend, lift_title, short_name
from qckit.charts.rules import RULES, find_signals
from qckit.words import figures, number

__all__ = ["draw_control_chart", "draw_cusum", "draw_ewma", "rule_mark"]

_NAMES_BESIDE = 8  # letters of a lot's name that find room beside the next one's
_LETTER = {"eight_one_side": "W4"}


def rule_mark(rule: str) -> str:
    """Return the short mark of a rule: the number of its test.

    Examples
    --------
    >>> charts.rule_mark("beyond_3")
    '1'
    """
    return _LETTER.get(rule) or RULES[rule].test.rsplit(" ", 1)[-1]


def draw_control_chart(
    frame,
    *,
    ax=None,
    signals="find",
    title="",
    ylabel="",
    decimals=None,
    target=None,
    legend=True,
):
    """Draw a control chart.

    Parameters
    ----------
    frame : DataFrame
        Columns of ``charts.CHART_COLUMNS``. With times in ``at`` the points stand at their time, else at their number.
    ax : Axes, optional
    signals : DataFrame or None, optional
        From :func:`qckit.charts.rules.find_signals`; found by the default rules when left out, none marked for None.
    title, ylabel : str
        ``ylabel`` with its unit; left out, what the chart says of itself (``frame.attrs["quantity"]``).
    decimals : int, optional
        In the labels of the limits; left out, as many as keep the limits apart.
    target : float or (float, str), optional
        The site's own limit, drawn as a dotted line, and its label.
    legend : bool
        Explain the marks.

    Returns
    -------
    Axes

    Examples
    --------
    >>> chart = charts.p_chart([80, 82, 79, 85, 81, 78, 83, 80, 55], 100, per=100)
    >>> ax = charts.draw_control_chart(chart, ylabel="hatching percentage [%]")
    >>> ax.get_ylabel()
    'hatching percentage [%]'
    """
    ax = draw.new_axes(ax, figsize=(8.6, 3.6))
    if isinstance(signals, str):
        signals = find_signals(frame)
    ylabel = ylabel or frame.attrs.get("quantity", "")
    decimals = _decimals(frame) if decimals is None else decimals
    timed = "at" in frame and frame["at"].notna().all() and len(frame) > 0
    x = _places(frame, timed)
    for _, part in _parts(frame):
        _draw_limits(ax, x[part], frame[part])
    _draw_points(ax, x, frame)
    _mark_groups(ax, x, frame)
    if signals is not None and len(signals):
        _draw_signals(ax, x, frame, signals)
    target, target_label = target if isinstance(target, tuple) else (target, "")
    if target is not None:
        ax.axhline(target, color=draw.INK, linestyle=":", linewidth=1.4)
    heading = ax.set_title(title, pad=14)
    ax.set_ylabel(ylabel)
    n = int(frame["value"].notna().sum())
    ax.set_xlabel(("start of the hatch" if timed else "hatch, in order") + f"   (n = {n})")
    if timed:
        _date_axis(ax)
    if n and np.nanmax(np.abs(frame["value"].to_numpy(dtype=float))) >= 10_000:
        draw.spaced_ticks(ax.yaxis)
    if legend:
        marks = sorted({rule_mark(r) for r in signals["rule"]}) if signals is not None and len(signals) else []
        lift_title(ax, heading, add_legend(ax, frame, ", ".join(marks)))
    # room for the names of the lowest and the highest diamond
    ax.margins(x=0.02, y=0.12 if signals is not None and len(signals) else 0.05)
    names = _limit_names(frame, decimals)
    if target is not None:
        names.append((target, target_label or f"site's minimum {target:g}"))
    draw.end_labels(names, ax=ax)
    if signals is not None and len(signals):
        _name_signals(ax, x, frame, signals)
    return ax


def _decimals(frame) -> int:
    """Return the digits after the point that keep the limits of a chart apart."""
    spread = (frame["high"] - frame["low"]).astype(float)
    spread = float(np.nanmedian(spread)) if spread.notna().any() else np.nan
    return int(np.clip(2 - np.floor(np.log10(spread)), 0, 6)) if spread > 0 else 1


def _places(frame, timed):
    if timed:
        return frame["at"].dt.tz_convert(None).to_numpy()
    return frame["point"].to_numpy(dtype=float)


def _parts(frame):
    """Stretches between changes of the group, each as a boolean mask over the rows."""
    group = frame["group"].astype(str).to_numpy()
    for name in dict.fromkeys(group):
        yield name, group == name


def _limit_names(frame, decimals):
    """Height and name of the limits at the right end: those of the last group, which is named where it is not alone."""
    known = frame[frame["low"].notna()]
    if not len(known):
        return []
    end, lots = known.iloc[-1], frame["group"].astype(str)
    whose = f"{short_name(str(end['group']), 8)} " if lots.nunique() > 1 else ""
    return [
        (float(end[column]), f"{whose}{word} {_limit_text(float(end[column]), decimals)}")
        for column, word in (("high", "upper"), ("centre", "mean"), ("low", "lower"))
    ]


def _limit_text(value, decimals):
    """A limit in figures; of thousands, three say as much as is known."""
    return figures(value) if abs(value) >= 1000 else number(value, decimals)


def _draw_limits(ax, x, part):
    known = part["low"].notna().to_numpy()
    if not known.any():
        return
    xs, part = x[known], part[known]
    for column, line in (("centre", "-"), ("low", "--"), ("high", "--")):
        ax.step(
            xs,
            part[column].to_numpy(),
            where="mid",
            color=draw.INK,
            linestyle=line,
            linewidth=1.1 if column == "centre" else 0.9,
        )
    ax.fill_between(
        xs, part["low"].to_numpy(), part["high"].to_numpy(), step="mid", color=draw.SERIES[0], alpha=0.07, linewidth=0
    )


def _draw_points(ax, x, frame):
    y, phase = frame["value"].to_numpy(dtype=float), frame["phase"].astype(str).to_numpy()
    size = 4.5 if len(frame) <= 150 else 3
    for i, (_, part) in enumerate(_parts(frame)):
        joined = part & (phase != "set aside") & np.isfinite(y)
        ax.plot(x[joined], y[joined], color=draw.SERIES[0], linewidth=0.5, alpha=0.7)
        shape = draw.MARKERS[i % len(draw.MARKERS)]  # tells lots apart where several share a chart
        for name, style in (
            ("baseline", {"marker": shape, "markerfacecolor": "white", "markeredgecolor": draw.SERIES[0]}),
            ("set aside", {"marker": "x", "color": "#7F7F7F"}),
            ("", {"marker": shape, "color": draw.SERIES[0]}),
        ):
            chosen = part & ((phase == name) if name else ~np.isin(phase, ("baseline", "set aside")))
            if chosen.any():
                ax.plot(x[chosen], y[chosen], linestyle="none", markersize=size, **style)
    if "is_zero" in frame and frame["is_zero"].any():  # limits on a log scale do not reach down to nothing
        zero = frame["is_zero"].to_numpy(dtype=bool)
        ax.plot(x[zero], y[zero], linestyle="none", **ZERO)


def _mark_groups(ax, x, frame):
    """A thin line and the name where a lot begins."""
    group = frame["group"].astype(str).to_numpy()
    if len(set(group)) < 2:
        return
    rows = 3 if max(map(len, group)) > _NAMES_BESIDE else 1  # long names stand below each other
    marked = set()
    for i, name in enumerate(group):
        if name not in marked:
            down = 3 + 12 * (len(marked) % rows)
            marked.add(name)
            if i:
                ax.axvline(x[i], color="#7F7F7F", linewidth=0.8)
            ax.annotate(
                short_name(name),
                (x[i], 1),
                xycoords=("data", "axes fraction"),
                xytext=(3, -down),
                textcoords="offset points",
                fontsize=8.5,
                va="top",
                fontweight="bold",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1, "alpha": 0.85},
            )


def _signal_places(frame, signals):
    """Row of each point that signals, with its signals."""
    place = {p: i for i, p in enumerate(frame["point"])}
    chosen = signals[signals["point"].isin(place)]
    return [(place[point], rows) for point, rows in chosen.groupby("point", sort=True)]


def _draw_signals(ax, x, frame, signals):
    for i, _ in _signal_places(frame, signals):
        ax.plot(
            x[i],
            frame["value"].iloc[i],
            marker="D",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=draw.SERIES[1],
            markeredgewidth=1.4,
            linestyle="none",
        )


def _name_signals(ax, x, frame, signals):
    """Write the tests at each diamond: outwards, or where no other diamond and no other name stands."""
    places = _signal_places(frame, signals)
    few = sum(len(rows) for _, rows in places) <= 40
    ax.get_ylim()  # brings the limits up to date, which the transform does not
    values = frame["value"].to_numpy(dtype=float)
    points = [ax.transData.transform((ax.convert_xunits(x[i]), values[i])) for i, _ in places]
    to_points = 72 / ax.get_figure(root=True).dpi
    points = np.reshape(points, (-1, 2)) * to_points
    inside = ax.get_window_extent().intervaly * to_points
    taken = [(px - 6, py - 6, px + 6, py + 6) for px, py in points]
    for (i, rows), (px, py) in zip(places, points, strict=True):
        if not few and rows["rule"].iloc[0] != "beyond_3":
            continue
        text = ",".join(dict.fromkeys(rule_mark(r) for r in rows["rule"]))
        side = -1 if values[i] < frame["centre"].iloc[i] else 1
        dx, dy, box = _free_place(px, py, width=4.4 * len(text), side=side, taken=taken, inside=inside)
        taken.append(box)
        ax.annotate(
            text,
            (x[i], values[i]),
            xytext=(dx, dy),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=7,
            color=draw.INK,
        )


def _free_place(px, py, width, side, taken, inside):
    """Offset of a name from its diamond, and the box it fills; all in points, ``inside`` from bottom to top."""
    height = 7.0  # of the letters
    out, aside, across = 11 * side, 3 + width / 2, 8 + width / 2
    tried = []  # outwards first: inwards stand the other hatches
    for dx, dy in ((0, out), (aside, out), (-aside, out), (0, 2 * out), (across, 0), (-across, 0), (0, -out)):
        box = (px + dx - width / 2, py + dy - height / 2, px + dx + width / 2, py + dy + height / 2)
        tried.append((dx, dy, box))
        fits = inside[0] < box[1] and box[3] < inside[1]
        if fits and not any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
            return tried[-1]
    return tried[0]


def _date_axis(ax):
    """Set as many dates below the axis as it has room for, never times of day; the year stands in the axis's label."""
    import matplotlib.dates as mdates

    first, last = (mdates.num2date(v) for v in ax.get_xlim())
    figure = ax.get_figure(root=True)
    most = int(np.clip(ax.get_window_extent().width / figure.dpi / 0.75, 2, 8))
    days = (last - first).total_seconds() / 86_400
    if days <= 2 * most:
        locator = mdates.DayLocator(interval=max(1, int(np.ceil(days / most))))
    else:
        locator = mdates.AutoDateLocator(minticks=2, maxticks=most)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(mdates.ConciseDateFormatter(locator, show_offset=False))
    years = f"{first:%Y}" if first.year == last.year else f"{first:%Y} to {last:%Y}"
    if days <= 2 * most or first.year == last.year:
        months = f"{first:%b}" if first.month == last.month else f"{first:%b} to {last:%b}"
        years = f"{months} {years}" if days <= 2 * most else years
    ax.set_xlabel(ax.get_xlabel().replace("   (n", f", {years}   (n"))


def draw_ewma(frame, *, ax=None, title="", ylabel=""):
    """Draw an EWMA chart from :func:`qckit.charts.ewma_cusum.ewma_chart` and return the Axes.

    Examples
    --------
    >>> chart = charts.ewma_chart([80, 82, 79, 78, 76, 75, 74], centre=80, sigma=2)
    >>> ax = charts.draw_ewma(chart, title="EWMA")
    >>> ax.get_title()
    'EWMA'
    """
    ax = draw.new_axes(ax, figsize=(8.6, 3.2))
    x = frame["point"].to_numpy()
    ax.plot(x, frame["value"], linestyle="none", marker=".", color="#999999", label="hatch")
    ax.plot(x, frame["ewma"], color=draw.SERIES[0], linewidth=1.4, label="weighted mean")
    for column, style in (("centre", "-"), ("low", "--"), ("high", "--")):
        ax.step(x, frame[column], where="mid", color=draw.INK, linestyle=style, linewidth=0.9)
    _mark_signals(frame, frame["ewma"].to_numpy(), ax=ax, color=draw.SERIES[1])
    _label(frame, ax=ax, title=title, ylabel=ylabel)
    ends = [float(frame[column].iloc[-1]) for column in ("low", "centre", "high")]
    return draw.end_labels(
        [(end, figures(end, 2).replace("-", "\u2212")) for end in ends], ax=ax, fontsize=8
    )  # clear of the last diamond


def draw_cusum(frame, *, ax=None, title="", ylabel=""):
    """Draw a tabular CUSUM from :func:`qckit.charts.ewma_cusum.cusum_chart` and return the Axes.

    Examples
    --------
    >>> chart = charts.cusum_chart([80, 82, 79, 78, 76, 75, 74], target=80, slack=1, decision=8)
    >>> ax = charts.draw_cusum(chart, title="CUSUM")
    >>> ax.get_title()
    'CUSUM'
    """
    ax = draw.new_axes(ax, figsize=(8.6, 3.2))
    x, height = frame["point"].to_numpy(), float(frame["decision"].iloc[0])
    ax.plot(x, frame["high_sum"], color=draw.SERIES[0], marker="^", markersize=3.5, linewidth=1, label="sum above")
    ax.plot(
        x,
        -frame["low_sum"],
        color=draw.SERIES[1],
        marker="v",
        markersize=3.5,
        linewidth=1,
        linestyle="-.",
        label="sum below",
    )
    for side in (height, -height):
        draw.reference_line(side, f"signal {number(side, 1)}", ax=ax)
    _mark_signals(frame, np.where(frame["signal"] > 0, frame["high_sum"], -frame["low_sum"]), ax=ax, color=draw.INK)
    ax.axhline(0, color=draw.INK, linewidth=0.8)
    _label(frame, ax=ax, title=title, ylabel=ylabel)
    return ax


def _mark_signals(frame, y, *, ax, color):
    """A diamond around each point at which a chart of sums or means signals."""
    out = frame["signal"].to_numpy() != 0
    if out.any():
        diamond = {"marker": "D", "markersize": 8, "markerfacecolor": "none", "markeredgecolor": color}
        ax.plot(frame["point"].to_numpy()[out], y[out], linestyle="none", label="signal", **diamond)


def _label(frame, *, ax, title, ylabel):
    ax.set_title(title)
    ax.set_ylabel(ylabel)
    ax.set_xlabel(f"hatch, in order   (n = {int(frame['value'].notna().sum())})")
    ax.legend(fontsize=7.5, loc="best")
