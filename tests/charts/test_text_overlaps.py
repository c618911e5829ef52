"""No two pieces of text lie over each other: the boxes drawn, over forty random histories and three sizes of chart."""

from __future__ import annotations

import itertools

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text

from qckit import charts, draw

SIZES = ((8.6, 3.6), (4.9, 3.0), (4.0, 2.6))


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def history(rng):
    """A random history as a chart's frame: its length, span, lots, level and spread all drawn."""
    n = int(rng.integers(4, 240))
    days = np.sort(rng.uniform(0, rng.choice([3, 20, 60, 200, 500]), n))
    at = pd.Timestamp("2025-01-01T08:00Z") + pd.to_timedelta(days, unit="D") + pd.Timedelta(days=int(rng.integers(700)))
    level, spread = 10 ** rng.uniform(-1, 5.5), rng.choice([0.002, 0.02, 0.2])
    values = level * np.exp(rng.normal(0, spread, n))
    frame = charts.individuals_chart(values)
    lots = [f"{rng.choice(['K', 'LOT', 'Batch '])}-{i}" for i in range(int(rng.integers(1, 4)))]
    group = np.repeat(lots, -(-n // len(lots)))[:n]
    return frame.assign(at=at, group=group)


def boxes(texts, renderer):
    shown = [t for t in texts if t.get_visible() and t.get_text().strip()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in shown]


def overlapping(found):
    """Pairs of texts whose boxes share more than a hairline."""
    pairs = []
    for (a, one), (b, two) in itertools.combinations(found, 2):
        wide = min(one.x1, two.x1) - max(one.x0, two.x0)
        high = min(one.y1, two.y1) - max(one.y0, two.y0)
        if wide > 0.5 and high > 0.5:
            pairs.append((a, b))
    return pairs


def axis_texts(ax, renderer):
    """Labels of ticks in view, of the axes and the title, and the names of the limits."""
    x0, x1 = sorted(ax.get_xlim())
    y0, y1 = sorted(ax.get_ylim())
    x = [t for t, v in zip(ax.get_xticklabels(), ax.get_xticks()) if x0 <= v <= x1]
    y = [t for t, v in zip(ax.get_yticklabels(), ax.get_yticks()) if y0 <= v <= y1]
    limits = [t for t in ax.texts if t.get_text().split(" ")[-2:-1] in (["upper"], ["mean"], ["lower"])]
    found = boxes([*x, *y, ax.xaxis.label, ax.yaxis.label, *limits], renderer)
    offset = ax.xaxis.get_offset_text()
    titles = [t for t in ax.get_children() if isinstance(t, Text) and t.get_text() and t not in ax.texts]
    legend = [] if ax.get_legend() is None else [("the legend", ax.get_legend().get_window_extent(renderer))]
    return found + boxes([offset, ax.yaxis.get_offset_text(), *titles], renderer) + legend


@pytest.mark.parametrize("seed", range(40))
def test_labels_of_a_control_chart_never_overlap(seed):
    rng = np.random.default_rng(seed)
    with draw.style():
        ax = draw.new_axes(figsize=SIZES[seed % len(SIZES)])
        title = rng.choice(["", "hatching percentage", "lot K-121, the last 80 hatches of this site"])
        charts.draw_control_chart(history(rng), ax=ax, title=title, ylabel="percentage [%]")
        ax.figure.canvas.draw()
        found = axis_texts(ax, ax.figure.canvas.get_renderer())
    assert len(found) > 5
    assert [t for t, _ in found].count(title) == bool(title)
    assert overlapping(found) == []


LONG = ("Great pond 2026, second sieving, pack 014", "GREAT-POND-2026-SECOND-SIEVING-PACK-0014", "K-121")


@pytest.mark.parametrize("seed", range(40, 52))
def test_labels_do_not_overlap_with_names_of_lots_and_cones_of_forty_letters(seed):
    rng = np.random.default_rng(seed)
    frame = history(rng)
    n_lots = int(rng.integers(1, 4))
    frame["group"] = np.repeat(LONG[:n_lots], -(-len(frame) // n_lots))[: len(frame)]
    with draw.style():
        ax = draw.new_axes(figsize=SIZES[seed % len(SIZES)])
        charts.draw_control_chart(frame, ax=ax, title="the grey cone beside the north window 12", ylabel="H [%]")
        ax.figure.canvas.draw()
        found = axis_texts(ax, ax.figure.canvas.get_renderer())
        lots = boxes([t for t in ax.texts if t.get_fontweight() == "bold"], ax.figure.canvas.get_renderer())
        wide = ax.get_position().width
    assert overlapping(found) == []
    assert len(lots) == (n_lots if n_lots > 1 else 0)
    assert overlapping(lots) == []
    assert wide > 0.3  # names leave the points room


@pytest.mark.parametrize("location", ["left", "center"])
def test_a_long_title_stands_above_the_legend(location):
    with draw.style(), plt.rc_context({"axes.titlelocation": location}):
        ax = draw.new_axes(figsize=(8.6, 3.6))
        charts.draw_control_chart(history(np.random.default_rng(1)), ax=ax, title="Lot K-121, the last 80 hatches")
        ax.figure.canvas.draw()
        found = axis_texts(ax, ax.figure.canvas.get_renderer())
    assert overlapping(found) == []


def test_the_test_sees_an_overlap():
    ax = draw.new_axes(figsize=(3, 2))
    ax.set_xticks([0.50, 0.51], ["first of two", "second of two"])
    ax.figure.canvas.draw()
    assert overlapping(axis_texts(ax, ax.figure.canvas.get_renderer()))
