"""Nothing found, nothing lit: drawn at nothing, marked and named, though the limits are set on a log scale."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts
from qckit.charts.lot_chart import _applied


def series(name, values):
    n = len(values)
    at = pd.date_range("2026-10-01", periods=n, freq="D", tz="UTC")
    table = {"hatch": [f"H{i}" for i in range(n)], "at": at, "lot": "K-1", "cone": "A", "operator": "op1"}
    return pd.DataFrame(table | {name: np.asarray(values, dtype=float)})


@pytest.mark.parametrize(
    ("name", "usual", "least"), [("hatching_efficiency_per_g", 240_000, 1.0), ("light_lux", 1_500, 5.0)]
)
def test_zero_stands_at_zero_with_a_mark_and_its_limits_stay(name, usual, least):
    values = usual * np.exp(np.random.default_rng(2).normal(0, 0.1, 30))
    values[20] = 0
    points = charts.chart_points(series(name, values), name)
    assert points["value"].iloc[20] == least and points["read"].iloc[20] == 0
    limits = charts.fit_limits(points.drop(index=20), "log individuals")
    frame = _applied(limits, points, "monitored")
    assert frame["value"].to_numpy() == pytest.approx(values)
    assert frame["is_zero"].to_numpy().nonzero()[0].tolist() == [20]
    assert np.isfinite(frame["z"]).all() and frame["z"].iloc[20] < -10
    assert (frame["low"] > 0).all()
    ax = charts.draw_control_chart(frame)
    (zero,) = [line for line in ax.lines if line.get_marker() == "v"]
    assert zero.get_ydata().tolist() == [0] and ax.get_ylim()[0] <= 0
    assert "0" in [t.get_text() for t in ax.get_legend().get_texts()]


def test_without_zeros_there_is_no_mark():
    values = 1_500 + 10 * np.arange(30.0)
    points = charts.chart_points(series("light_lux", values), "light_lux")
    ax = charts.draw_control_chart(_applied(charts.fit_limits(points, "log individuals"), points, "monitored"))
    assert [line for line in ax.lines if line.get_marker() == "v"] == []
    assert "0" not in [t.get_text() for t in ax.get_legend().get_texts()]
