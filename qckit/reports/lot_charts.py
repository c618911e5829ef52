"""The charts of a new lot's report: cones with their subsamples, the stage mix, nauplii against shells.

Each takes tidy data and draws on one Axes; no statistics are worked out here. The functions ``describe_...`` put the
numbers of a chart into words for those who cannot see it.
"""

from __future__ import annotations

from itertools import cycle

import numpy as np

from qckit import draw
from qckit.stages import STAGE_COLUMNS
from qckit.words import number, plural

__all__ = ["describe_cones", "describe_mix", "describe_witnesses", "draw_cones", "draw_stage_mix", "draw_witnesses"]

_LABELS = {"hatch_pct": ("hatching percentage [%]", 1), "hatching_efficiency_per_g": ("nauplii per gram", 0)}
_COUNTS = {s: "unhatched" if s == "cyst" else column for s, column in STAGE_COLUMNS.items()}
"""Stage -> its column of the cones, which is also its word here."""


def _names(cones) -> list[str]:
    """Name each row: the cone, with its lot where there is more than one."""
    several = cones["lot"].nunique() > 1
    return [f"{lot}, cone {cone}" if several else f"cone {cone}" for lot, cone in zip(cones["lot"], cones["cone"])]


def _together(cones, interval) -> str:
    several = cones["lot"].nunique() > 1
    return (f"{cones['lot'].iloc[0]}, " if several else "") + f"{interval.n_cones} cones together"


def _rows(ax, names) -> np.ndarray:
    """Set one line per name, the first on top, and return their heights."""
    at = np.arange(len(names))[::-1].astype(float)
    ax.set_yticks(at, names)
    ax.set_ylim(-0.7, len(names) - 0.3)
    ax.grid(visible=False, axis="y")
    ax.grid(visible=True, axis="x")
    return at


def draw_cones(subsamples, cones, *, metric="hatch_pct", interval=None, references=(), ax=None):
    """Draw each cone's subsamples and its value, with the lot's interval and the values it is held against.

    Parameters
    ----------
    subsamples : DataFrame, one row per subsample
        Columns hatch and ``metric``, as from ``hatch.sample_metrics``.
    cones : DataFrame, one row per cone
        Columns hatch, lot, cone and ``metric``, as from ``hatch.cone_metrics``.
    metric : str
        hatch_pct or hatching_efficiency_per_g.
    interval : Estimate, optional
        The value and bounds of the first row's lot, drawn as a line of its own.
    references : iterable of (float, str)
        Values to hold against, with their words, such as ``(85, "claim 85 %")``.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    names = _names(cones) + ([_together(cones, interval)] if interval is not None else [])
    with draw.style():
        ax = draw.new_axes(ax, figsize=(7.4, 1.25 + 0.42 * len(names)))
        at = _rows(ax, names)
        for row, (_, cone) in zip(at, cones.iterrows()):
            values = subsamples.loc[subsamples["hatch"] == cone["hatch"], metric].to_numpy(float)
            spread = row + np.linspace(-0.16, 0.16, len(values)) if len(values) > 1 else np.array([row])
            draw.points([cone[metric]], [row], ax=ax, marker="D", color=draw.INK, markersize=8)
            draw.points(values, spread, ax=ax, marker="o", color="#6b757c", markersize=4.5, markerfacecolor="white")
        if interval is not None:
            draw.interval(interval.value, interval.low, interval.high, at=at[-1], ax=ax, marker="s", color="#0072B2")
            ax.axhline(at[-1] + 0.5, color="#c9d0d4", linewidth=0.8)
        _references(ax, references)
        ax.set_xlabel(_LABELS[metric][0])
        if metric != "hatch_pct":
            draw.spaced_ticks(ax.xaxis)
        ax.locator_params(axis="x", nbins=6 if metric == "hatch_pct" else 3)  # long numbers must not touch
        ax.plot([], [], "o", color="#6b757c", markersize=4.5, markerfacecolor="white", label="subsample")
        ax.plot([], [], "D", color=draw.INK, markersize=8, label="cone")
        if interval is not None:
            ax.plot([], [], "s-", color="#0072B2", linewidth=2, markersize=7, label="cones together, with interval")
        ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.62 / ax.figure.get_figheight()), ncols=3, fontsize=8.5)
    return ax


def _references(ax, references) -> None:
    """Draw the lines to hold against; their words stand above the chart, on two heights where they are close."""
    known = sorted((float(value), str(text)) for value, text in references if value is not None and value == value)
    for (value, text), style, lift in zip(known, cycle(("--", "-.", ":")), cycle((3, 14))):
        ax.axvline(value, color=draw.INK, linestyle=style, linewidth=1.1)
        ax.annotate(
            text,
            (value, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, lift),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=8.5,
        )


def draw_stage_mix(cones, *, ax=None):
    """Draw the share of each stage among the objects counted in each cone.

    Parameters
    ----------
    cones : DataFrame, one row per cone
        Columns lot, cone, nauplii, umbrella, unhatched, shells, as from ``hatch.cone_metrics``.
    ax : Axes, optional

    Returns
    -------
    Axes
        Bars from 0 to 100 %, each stage with its own hatching and letter.
    """
    names = _names(cones)
    with draw.style():
        ax = draw.new_axes(ax, figsize=(7.4, 1.15 + 0.42 * len(names)))
        at = _rows(ax, names)
        counts = cones[list(_COUNTS.values())].to_numpy(float)
        shares = 100 * counts / np.where(counts.sum(axis=1, keepdims=True) > 0, counts.sum(axis=1, keepdims=True), 1)
        left = np.zeros(len(cones))
        for i, stage in enumerate(_COUNTS):
            look = draw.STAGE_STYLE[stage]
            ax.barh(
                at,
                shares[:, i],
                left=left,
                height=0.62,
                facecolor="white",
                edgecolor=look["color"],
                hatch=look["hatch"],
                linewidth=1.2,
                label=f"{look['letter']} {_COUNTS[stage]}",
            )
            for y, x, share in zip(at, left, shares[:, i]):
                if share >= 4:
                    ax.text(
                        x + share / 2,
                        y,
                        f"{share:.0f}",
                        ha="center",
                        va="center",
                        fontsize=8.5,
                        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
                    )
            left += shares[:, i]
        ax.set_xlim(0, 100)
        ax.set_xlabel("share of all objects counted [%]")
        ax.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, -0.62 / ax.figure.get_figheight()),
            fontsize=8.5,
            ncols=4 if ax.figure.get_figwidth() > 6 else 2,
        )
    return ax


def draw_witnesses(subsamples, *, ax=None):
    """Draw nauplii against empty shells for each subsample: both count what hatched.

    Parameters
    ----------
    subsamples : DataFrame, one row per subsample
        Columns lot, cone, nauplii, shells, as from ``hatch.sample_metrics``.
    ax : Axes, optional

    Returns
    -------
    Axes
        With the line on which each nauplius has its shell.
    """
    with draw.style():
        ax = draw.new_axes(ax, figsize=(4.6, 4.2))
        frame = subsamples.dropna(subset=["nauplii", "shells"])
        top = 1.08 * max(1.0, *(frame[c].max() if len(frame) else 1.0 for c in ("nauplii", "shells")))
        ax.plot([0, top], [0, top], color=draw.INK, linestyle="--", linewidth=1, label="one shell per nauplius")
        for i, ((lot, cone), part) in enumerate(frame.groupby(["lot", "cone"], sort=False)):
            label = f"{lot}, cone {cone}" if frame["lot"].nunique() > 1 else f"cone {cone}"
            draw.points(
                part["shells"],
                part["nauplii"],
                ax=ax,
                marker=draw.MARKERS[i % len(draw.MARKERS)],
                color=draw.SERIES[i % len(draw.SERIES)],
                label=label,
                fillstyle="none",
                markersize=7,
                markeredgewidth=1.5,
            )
        ax.set_xlim(0, top)
        ax.set_ylim(0, top)
        ax.set_aspect("equal")
        ax.grid(visible=True, axis="both")
        ax.set_xlabel("empty shells per subsample")
        ax.set_ylabel("nauplii per subsample")
        if len(frame):
            ax.legend(loc="center left", bbox_to_anchor=(1.02, 0.5), fontsize=8.5, borderaxespad=0)
    return ax


def describe_cones(cones, *, metric="hatch_pct") -> str:
    """Say the value of each cone, for the alt text of :func:`draw_cones`."""
    words, digits = _LABELS[metric]
    values = ", ".join(f"{name} {_number(value, digits)}" for name, value in zip(_names(cones), cones[metric]))
    return f"{words}: {values}."


def describe_mix(cones) -> str:
    """Say the counts of each cone, for the alt text of :func:`draw_stage_mix`."""
    counts = []
    for name, row in zip(_names(cones), cones[list(_COUNTS.values())].itertuples(index=False)):
        counts.append(f"{name} " + ", ".join(f"{_number(n)} {w}" for n, w in zip(row, _COUNTS.values())))
    return "Counted: " + "; ".join(counts) + "."


def _number(value, digits=0) -> str:
    return number(value, digits) if np.isfinite(value) else "uncounted"


def describe_witnesses(subsamples) -> str:
    """Say the totals, for the alt text of :func:`draw_witnesses`."""
    n, s = subsamples["nauplii"].sum(), subsamples["shells"].sum()
    found = f"{plural(int(n), 'nauplius', 'nauplii')} and {plural(int(s), 'empty shell')}"
    return f"{plural(len(subsamples), 'subsample')}: {found} in all."
