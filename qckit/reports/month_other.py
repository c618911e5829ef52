"""Further charts of the monthly review: other kinds of chart, each cone and operator."""

from __future__ import annotations

from dataclasses import replace
from html import escape

import numpy as np
import pandas as pd

from qckit import draw
from qckit.charts.chart_grid import draw_grid
from qckit.charts.control_chart import draw_control_chart, draw_cusum, draw_ewma
from qckit.charts.ewma_cusum import cusum_chart, ewma_chart
from qckit.charts.limits import apply_limits
from qckit.charts.run_lengths import cusum_decision, ewma_width
from qckit.charts.series import CHARTED
from qckit.charts.shewhart import exact_p_chart, exact_u_chart, moving_range_chart
from qckit.reports.blocks import Html, note
from qckit.reports.folds import folded
from qckit.reports.pictures import figure
from qckit.words import capital, plural, signed

__all__ = ["by_cone", "by_operator", "other_charts"]

_DAYS_BEFORE = 60
_SMALL = 10  # counted a hatch on average; below it limits come from the distribution itself
_WEIGHT, _SLACK = 0.2, 0.5  # of the weighted mean and of the CUSUM: both look for a shift of about one sigma


def _scored(page, names):
    """Recent points of some charts with z in widths of a third of their own limits: +-3 is the limit in each."""
    rows = []
    for (lot, name), chart in _all_charts(page):
        if name not in names or chart.limits is None:
            continue
        frame = chart.frame[chart.frame["at"] >= page.study.first - pd.Timedelta(days=30)]
        frame = frame[(frame["phase"] != "set aside") & ~frame["label"].isin(page.study.explained_hatches)]
        fired = frame["label"].isin(chart.signals["label"])
        rows.append(frame.assign(lot=lot, chart=name, fired=fired, score=frame["z"] * 3 / max(3, chart.limits.width)))
    return pd.concat(rows).sort_values("at", kind="stable").reset_index(drop=True) if rows else pd.DataFrame()


def _all_charts(page):
    yield from page.study.charts.items()
    yield from ((("", name), chart) for name, chart in page.study.conditions.items())


def by_cone(page) -> Html:
    """Show each cone: the hatching percentage large, everything else small."""
    return _by(page, "cone")


def by_operator(page) -> Html:
    """Show each operator: the hatching percentage large, everything else small."""
    if not (page.study.series["operator"] != "").any():
        return note("No operator is written down.")
    return _by(page, "operator")


def _by(page, by):
    first, month = page.study.first, page.study.month
    main, rest = _scored(page, ("hatch_pct",)), _scored(page, [n for n in CHARTED if n != "hatch_pct"])
    if not len(main):
        return note("There are no limits for the hatching percentage yet, so levels cannot be compared.")
    points = (main["value"] - main["centre"]).where(main["at"] >= first)
    means = points.groupby(main[by]).agg(["mean", "count"])
    distances = "; ".join(
        f"{by} {k} {signed(r['mean'], 1)}, n = {int(r['count'])}" for k, r in means.iterrows() if r["count"]
    )
    words = (
        f"Distance from each lot's own level, on a scale on which the chart's limits lie at 3; {month} and the 30 "
        "days before; grey: the period reviewed; diamonds: signals."
    )
    with draw.style():
        fig = draw_grid(main, by, {"hatch_pct": "H%"}, first=first, height=2.1)
        parts = [
            figure(
                fig,
                alt=f"Hatching percentage by {by}. Mean distance in {month} in points: {distances}.",
                caption=f"{words} Mean distance of {month} in points: {distances}.",
            )
        ]
        if len(rest):
            names = {n: CHARTED[n].label for n in CHARTED if n in set(rest["chart"])}
            fig = draw_grid(rest, by, names, first=first, height=1.05)
            counts = rest[rest["fired"]].groupby(["chart", by]).size()
            hits = "; ".join(f"{names[c]}, {by} {k}: {n}" for (c, k), n in counts.items()) or "none"
            shown = figure(
                fig, alt=f"{', '.join(names.values())} by {by}. Signals: {hits}.", caption=f"As above. Signals: {hits}."
            )
            fired = "; ".join(f"{names[c]}: {n}" for c, n in counts.groupby(level="chart").sum().items()) or "none"
            parts.append(folded(f"The other quantities by {by}. Signals: {fired}.", shown))
    return Html("".join(p.html for p in parts), distances)


def other_charts(page) -> Html:
    """Show the same hatches on charts of other kinds: plain limits, moving range, weighted mean, CUSUM."""
    parts = []
    for (lot, name), chart in page.study.charts.items():
        if name != "hatch_pct" or chart.limits is None or not len(chart.of_period(page.study.first)):
            continue
        shown = _four(page, chart)
        title = f"Hatching percentage, lot {lot}"
        parts.append(Html(f'<h4 class="qc">{escape(title)}</h4>{shown.html}', shown.text))
    return Html("".join(p.html for p in parts), "charts") if parts else note("No limits yet, so there are none.")


def _four(page, chart):
    """One figure with the other kinds of chart of one quantity; its caption counts the points beyond their limits."""
    q, limits = chart.charted, chart.limits
    frame = chart.frame[
        (chart.frame["at"] >= page.study.first - pd.Timedelta(days=_DAYS_BEFORE))
        & chart.frame["z"].notna()
        & (chart.frame["phase"] != "set aside")
    ]
    ewma, cusum, ranges = _others_of(chart, frame)
    fig, plain = _draw_four(q, limits, frame, ewma=ewma, cusum=cusum, ranges=ranges)
    inside = (frame["at"] >= page.study.first).to_numpy()
    outs = {
        **({plain[0]: int((plain[1] & inside).sum())} if plain else {}),
        "moving ranges above their limit": int((ranges["value"] > ranges["high"])[inside[1:]].sum())
        if ranges is not None
        else 0,
        "weighted means beyond their limits": int((ewma["signal"] != 0).to_numpy()[inside].sum()),
        "CUSUM points beyond the decision height": int((cusum["signal"] != 0).to_numpy()[inside].sum()),
    }
    outside = "; ".join(f"{words}: {n}" for words, n in outs.items())
    n, rest = int(inside.sum()), chart.baseline_words
    caption = (
        f"{page.study.month} and the {_DAYS_BEFORE} days before, in order (n = {len(frame)}); of the "
        f"{plural(n, 'hatch')} of the period, {outside}. {capital(rest)}. Weighted mean and CUSUM see small lasting "
        "shifts; their borders let chance signal about once in 370 hatches, the length of the baseline allowed for."
    )
    if chart.likeness is not None and chart.likeness.is_marked:
        caption += " Neighbours are alike here, so these two signal more often than that."
    alt = f"Further charts of {q.label}{f', lot {chart.lot}' if chart.lot else ''}: {outside}."
    return figure(fig, alt=alt, caption=caption)


def _others_of(chart, frame):
    """EWMA, CUSUM and moving ranges of the standardised points; no ranges of a single point."""
    limits, z = chart.limits, frame["z"].to_numpy(dtype=float)
    base = chart.frame.loc[chart.frame["phase"] == "baseline", "z"].dropna().to_numpy(dtype=float)
    df = round(float(limits.df), 2)
    width, decision = ewma_width(_WEIGHT, limits.n_independent, df), cusum_decision(_SLACK, limits.n_independent, df)
    ewma = ewma_chart(z, centre=0, sigma=1, weight=_WEIGHT, width=width)
    cusum = cusum_chart(z, target=0, slack=_SLACK, decision=decision)
    ranges = moving_range_chart(z, mean=np.abs(np.diff(base)).mean() if len(base) > 2 else None) if len(z) > 1 else None
    return ewma, cusum, ranges


def _draw_four(q, limits, frame, *, ewma, cusum, ranges):
    """Draw them side by side, for counts with the chart of plain limits before; (figure, what :func:`_plain` says)."""
    import matplotlib.pyplot as plt

    with draw.style():
        # fixed margins: working them out for each of some fifteen figures takes longer than drawing them
        if q.count:
            fig, axes = plt.subplots(2, 2, figsize=(9.4, 6.0))
            fig.subplots_adjust(hspace=0.5, wspace=0.42)
        else:
            fig, axes = plt.subplots(1, 3, figsize=(9.4, 2.9))
            fig.subplots_adjust(wspace=0.62)
        axes = list(axes.flat)
        plain = _plain(q, limits, frame, axes.pop(0)) if q.count else None
        if ranges is not None:
            draw_control_chart(
                ranges.drop(columns="at"),
                ax=axes[0],
                signals=None,
                title="Moving range of two",
                legend=False,
                ylabel="range (SD of a hatch)",
                decimals=1,
            )
        draw_ewma(ewma, ax=axes[1], title=f"Weighted mean (EWMA {_WEIGHT:g})", ylabel="mean (SD of a hatch)")
        draw_cusum(cusum, ax=axes[2], title=f"CUSUM (slack {_SLACK:g})", ylabel="sum (SD of a hatch)")
    return fig, plain


def _plain(q, limits, frame, ax):
    """Chart with binomial or Poisson limits (p, u), which take hatches for alike: its words, and what is outside."""
    kind = q.kind.split()[0]
    points = pd.DataFrame(
        {
            "label": frame["label"],
            "at": frame["at"],
            "size": frame["size"],
            "count": np.round(frame["value"] * frame["size"] / q.per),
        }
    )
    counted = frame["centre"] / q.per * frame["size"]
    if float(counted.median()) < _SMALL:
        return _exact(q, kind, limits=limits, frame=frame, points=points, ax=ax)
    plain = apply_limits(replace(limits, kind=kind, sigma=1.0, width=3.0, law="symmetric", between=0.0), points)
    law = "binomial" if kind == "p" else "Poisson"
    draw_control_chart(
        plain,
        ax=ax,
        signals=None,
        title=f"{kind} chart: {law} limits alone",
        legend=False,
        ylabel=f"{q.label} [{q.unit}]",
        decimals=q.decimals + q.finer_limits,
    )
    out = (plain["value"] < plain["low"]) | (plain["value"] > plain["high"])
    return f"outside plain {law} limits, which take hatches for alike", out.to_numpy()


def _exact(q, kind, limits, frame, points, ax):
    """Chart of small counts with exact probability limits of the beta-binomial or negative binomial law."""
    size, centre = points["size"].to_numpy(), float(frame["centre"].median()) / q.per
    ratio = float(limits.sigma) ** 2 * (1 + limits.between * float(np.median(size)))
    if kind == "p":
        rho = max(0.0, (ratio - 1) / max(float(np.median(size)) - 1, 1))
        exact = exact_p_chart(points["count"], size, per=q.per, centre=centre, rho=rho)
    else:
        exact = exact_u_chart(points["count"], size, per=q.per, centre=centre, dispersion=max(ratio, 1.0))
    exact = exact.assign(label=frame["label"].to_numpy(), at=frame["at"].to_numpy())
    exact["at"] = pd.to_datetime(exact["at"], utc=True)
    draw_control_chart(
        exact,
        ax=ax,
        signals=None,
        title="Small counts: exact limits",
        legend=False,
        ylabel=f"{q.label} [{q.unit}]",
        decimals=q.decimals + q.finer_limits,
    )
    out = (exact["value"] < exact["low"] - 1e-9) | (exact["value"] > exact["high"] + 1e-9)
    return "outside exact probability limits (at most 0.27 % by chance, both sides)", out.to_numpy()
