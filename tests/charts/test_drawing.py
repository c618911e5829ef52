"""What the drawings show: points, limits, marks, labels; not pixels."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts, draw
from qckit.charts.calendar import calendar_days

mpl = pytest.importorskip("matplotlib")
mpl.use("Agg")


@pytest.fixture(autouse=True)
def closed():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


def chart(n=30, group="K-121", seed=1):
    rng = np.random.default_rng(seed)
    size = rng.integers(200, 500, n)
    points = pd.DataFrame(
        {
            "label": [f"h{i}" for i in range(n)],
            "at": pd.date_range("2026-01-01", periods=n, tz="UTC"),
            "group": group,
            "count": rng.binomial(size, 0.85),
            "size": size,
        }
    )
    points.loc[n - 1, "count"] = int(0.5 * size[-1])
    limits = charts.widen(charts.fit_limits(points.head(25), "p prime", per=100))
    return charts.apply_limits(limits, points, phase=["baseline"] * 25 + ["monitored"] * (n - 25)), limits


def texts(ax):
    return [t.get_text() for t in ax.texts]


def test_control_chart_carries_limits_n_and_signals():
    frame, limits = chart()
    signals = charts.find_signals(frame, reach=limits.reach)
    with draw.style():
        ax = charts.draw_control_chart(frame, signals=signals, title="H%", ylabel="hatching percentage [%]", target=75)
    assert ax.get_xlabel() == "start of the hatch, 2025 to 2026   (n = 30)"
    assert ax.get_ylabel() == "hatching percentage [%]"
    end = frame.iloc[-1]
    for word, column in (("upper", "high"), ("mean", "centre"), ("lower", "low")):
        assert f"{word} {end[column]:.1f}" in texts(ax)
    assert "site's minimum 75" in texts(ax)
    diamonds = [line for line in ax.lines if line.get_marker() == "D"]
    assert len(diamonds) == signals["point"].nunique() == 1
    assert "1" in texts(ax)
    labels = [t.get_text() for t in ax.get_legend().get_texts()]
    assert labels == ["baseline", "hatch", "signal (test 1)", "limits"]
    steps = [line for line in ax.lines if line.get_drawstyle() == "steps-mid"]
    assert len(np.unique(steps[1].get_ydata())) > 5  # limits step with the sizes


def test_lot_changes_are_named_and_lines_do_not_cross_them():
    frame, _ = chart()
    frame["group"] = ["K-118"] * 15 + ["K-121"] * 15
    ax = charts.draw_control_chart(frame)
    assert {"K-118", "K-121"} <= set(texts(ax))


def test_small_charts_by_cone_share_their_scale_and_limits_and_give_n():
    frame, _ = chart()
    frame = frame.assign(
        cone=np.resize(list("ABC"), len(frame)),
        chart="hatch_pct",
        score=frame["z"],
        fired=False,
        at=pd.date_range("2026-01-01", periods=len(frame), tz="UTC"),
    )
    frame.loc[29, "score"] = 0.0
    frame.loc[4, ["score", "fired"]] = [-4.5, True]
    fig = charts.draw_grid(frame, "cone", {"hatch_pct": "H%"}, first=frame["at"][20])
    assert [ax.get_title(loc="left") or ax.get_title() for ax in fig.axes] == [
        "cone A   (n = 10)",
        "cone B   (n = 10)",
        "cone C   (n = 10)",
    ]
    assert len({ax.get_ylim() for ax in fig.axes}) == 1
    assert fig.axes[0].get_ylim()[0] == -5.5  # the lowest diamond, in the middle chart, is whole
    for ax in fig.axes:
        levels = {line.get_ydata()[0] for line in ax.lines if line.get_linestyle() == "--"}
        assert levels == {-3, 3}
    marked = [line for line in fig.axes[1].lines if line.get_marker() == "D"]
    assert marked[0].get_ydata().tolist() == [-4.5]
    two = charts.draw_grid(pd.concat([frame, frame.assign(chart="ph")]), "cone", {"hatch_pct": "H%", "ph": "pH"})
    assert len(two.axes) == 6 and two.axes[3].get_ylabel() == "pH"


def test_small_charts_have_one_axis_of_days_named_at_the_edges_alone():
    at = pd.date_range("2026-10-01", periods=60, tz="UTC")
    frame = pd.DataFrame({"chart": "hatch_pct", "at": at, "score": 0.5, "fired": False, "cone": ["A", "B"] * 30})
    ph = frame[frame["cone"] == "A"].assign(chart="ph")  # the other cone has no reading of it
    fig = charts.draw_grid(pd.concat([frame, ph]), "cone", {"hatch_pct": "H%", "ph": "pH"}, first=at[31])
    low, high = (v + edge for v, edge in zip(mpl.dates.date2num(at[[0, -1]]), (-2.95, 2.95), strict=True))
    for ax in fig.axes:
        assert ax.get_xlim() == pytest.approx((low, high))
        assert [ax.get_xticks()[0], ax.get_xticks()[-1]] == [fig.axes[0].get_xticks()[0], fig.axes[0].get_xticks()[-1]]
    fig.draw_without_rendering()
    named = [
        [bool(tick.label1.get_visible()) for tick in (ax.xaxis.majorTicks[0], ax.yaxis.majorTicks[0])]
        for ax in fig.axes
    ]
    assert named == [[False, True], [False, False], [True, True], [True, False]]


def test_lots_in_one_chart_differ_by_their_marks():
    frame, _ = chart()
    frame = frame.assign(group=np.resize(["K-118", "K-121"], len(frame)), phase="monitored")
    ax = charts.draw_control_chart(frame)
    assert {"o", "s"} <= {line.get_marker() for line in ax.lines}
    assert sum(text in ("K-118", "K-121") for text in texts(ax)) == 2  # named once each, where it begins
    legend = ax.get_legend()
    shapes = {t.get_text(): h.get_marker() for t, h in zip(legend.get_texts(), legend.legend_handles, strict=True)}
    assert (shapes["K-118"], shapes["K-121"]) == ("o", "s") and "hatch" not in shapes
    # the limits at the end are those of one lot only
    assert f"K-121 mean {frame['centre'].iloc[-1]:.1f}" in texts(ax)


def boxes(ax, names):
    """The places of some names, in pixels."""
    ax.figure.canvas.draw()
    return [t.get_window_extent() for t in ax.texts if t.get_text() in names]


def test_names_of_lines_and_of_signals_do_not_lie_over_each_other():
    frame, _ = chart(n=120)
    frame.loc[[117, 118, 119], "value"] = [54.0, 54.5, 54.0]
    rules = ["beyond_3", "beyond_3", "beyond_3", "two_of_three_beyond_2"]
    signals = pd.DataFrame({"point": frame["point"].iloc[[117, 118, 119, 119]], "rule": rules})
    high = frame["high"].iloc[-1]
    with draw.style():
        ax = charts.draw_control_chart(frame, signals=signals, target=(high - 0.2, "minimum"))
    assert {"1", "1,5"} <= set(texts(ax))
    for names in (("1", "1,5"), (f"upper {high:.1f}", "minimum")):
        found = boxes(ax, names)
        assert len(found) == (3 if "1" in names else 2)
        assert not any(a.overlaps(b) for i, a in enumerate(found) for b in found[i + 1 :])
    inside = ax.get_window_extent()
    assert all(inside.y0 < box.y0 for box in boxes(ax, ("1", "1,5")))


def test_ewma_and_cusum_mark_their_signals():
    x = np.r_[np.zeros(10), np.full(10, 2.0)]
    ewma = charts.ewma_chart(x, centre=0, sigma=1)
    ax = charts.draw_ewma(ewma)
    marked = [line for line in ax.lines if line.get_marker() == "D"]
    assert len(marked[0].get_xdata()) == (ewma["signal"] != 0).sum() > 0
    border = f"{ewma['high'].iloc[-1]:.2g}"  # two figures: more would pretend to know the border better than the data
    assert boxes(ax, (border,))[0].x0 > ax.get_window_extent().x1  # not under the diamonds
    cusum = charts.cusum_chart(x, target=0, slack=0.5, decision=4)
    ax = charts.draw_cusum(cusum)
    assert boxes(ax, ("signal 4.0",)) and boxes(ax, ("signal \u22124.0",))
    marked = [line for line in ax.lines if line.get_marker() == "D"]
    assert len(marked[0].get_xdata()) == (cusum["signal"] != 0).sum() > 0


def test_calendar_has_a_square_for_every_day():
    first, last = pd.Timestamp("2026-02-01", tz="UTC"), pd.Timestamp("2026-03-01", tz="UTC")
    series = pd.DataFrame(
        {
            "hatch": ["a", "b"],
            "at": pd.to_datetime(["2026-02-03T09:00Z", "2026-02-03T10:00Z"]),
            "nauplii": [80.0, 70.0],
            "full_cysts": [100.0, 100.0],
            "off_standard": ["", "pH 7.2, below 7.9"],
        }
    )
    days = calendar_days(series, pd.DataFrame({"hatch": ["b"]}), first, last)
    assert len(days) == 28
    assert days.loc[2, ["n_hatches", "hatch_pct", "n_signals", "off_standard"]].tolist() == [2, 75.0, 1, 1]
    ax = charts.draw_calendar(days, minimum=80)
    assert len(ax.patches) == 28
    assert sum(patch.get_hatch() == "///" for patch in ax.patches) == 1
    assert "75 %" in texts(ax)
