"""Tables, charts and surroundings of a poor hatch's report."""

import matplotlib

matplotlib.use("Agg")

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain

from qckit.practice import POOR_HATCH, invented_history
from qckit.verdicts.lots.usual import counted_hatches
from qckit.verdicts.poor_hatch import charts
from qckit.verdicts.poor_hatch.conditions.context import describe_context

NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture(scope="module")
def history():
    return invented_history()


@pytest.fixture(scope="module")
def finding(history):
    return explain(history, POOR_HATCH, now=NOW)


@pytest.fixture(scope="module")
def counts(history):
    return counted_hatches(history["samples"], history["hatches"])


def test_tables_have_their_columns_and_the_cause_on_top(finding):
    causes = charts.causes_table(finding)
    assert list(causes.columns) == ["cause", "probability_pct", "speaks_for", "speaks_against"]
    assert causes["cause"].iloc[0] == "the pH was too low" and causes["probability_pct"].is_monotonic_decreasing
    assert charts.traces_table(finding)["share_pct"].sum() == pytest.approx(100)
    assert charts.differences_table(finding)["quantity"].iloc[0] == "pH"
    assert list(charts.checks_table(finding)["check"]) == ["ph meter"]
    assert charts.mix_frame(finding)[["here_pct", "usual_pct"]].sum().round(6).tolist() == [100, 100]


def test_history_chart_marks_this_hatch_and_is_labelled(finding, counts):
    frame = charts.history_frame(counts, finding)
    assert frame["is_this"].sum() == 1 and frame["hatch"].iloc[-1] == POOR_HATCH
    ax = charts.draw_history(frame, low=75, high=90)
    marked = [line for line in ax.lines if line.get_marker() == "v"]
    assert marked[0].get_ydata()[0] == pytest.approx(29.6, abs=0.1)
    assert ax.get_ylabel() == "hatching percentage [%]"
    assert [t.get_text() for t in ax.texts] == ["this hatch: 30 %"]


@pytest.mark.parametrize(("value", "is_below"), [(30.0, False), (84.0, True), (76.0, True)])
def test_the_label_of_this_hatch_covers_no_other_hatch(finding, counts, value, is_below):
    """Of a hatch that was not poor it was written over the points before it."""
    frame = charts.history_frame(counts, finding)
    frame.loc[frame["is_this"], "hatch_pct"] = value
    ax = charts.draw_history(frame, low=75, high=90)
    ax.figure.canvas.draw()
    box = ax.texts[0].get_window_extent()
    others = [line for line in ax.lines if line.get_marker() != "v"]
    points = [
        p for line in others for p in ax.transData.transform(np.column_stack([line.get_xdata(), line.get_ydata()]))
    ]
    assert len(points) > 20 and not any(box.contains(*p) for p in points)
    assert (ax.texts[0].get_va() == "top") == is_below


def test_mix_causes_and_readings_are_drawn_with_their_numbers(finding, history):
    ax = charts.draw_mix(charts.mix_frame(finding))
    assert "56 %" in [t.get_text() for t in ax.texts] and ax.get_xlabel() == "share of full cysts [%]"
    ax = charts.draw_causes(charts.causes_table(finding))
    assert "above 95 %" in [t.get_text() for t in ax.texts]
    ax = charts.draw_readings(history["readings"], finding, started=finding.details["started"])
    assert ax.get_ylabel() == "pH" and ax.lines[0].get_ydata().max() < 7.6
    none = charts.draw_readings(history["readings"].iloc[:0], finding, started=finding.details["started"])
    assert none.texts[0].get_text() == "no reading was taken during this hatch"


def test_surroundings_name_the_new_salt_and_the_weak_cone(finding, counts, history):
    assert "Only this hatch's field sheet says: fresh water mixed from a new bag of salt." in charts.context_sentences(
        finding
    )
    lot = history["lots"].query("lot == 'K-121'").iloc[0].to_dict()
    weak = describe_context(counts, lot, hatch="H261104-C").set_index("what")
    assert weak.loc["cone", "is_odd"] and weak.loc["cone", "points"] < -3
    fine = describe_context(counts, lot, hatch="H261102-A").set_index("what")
    assert not fine.loc["cone", "is_odd"] and not fine.loc["operator", "is_odd"]


def test_one_other_hatch_of_a_cone_is_counted_in_the_singular(counts, history):
    lot = history["lots"].query("lot == 'K-121'").iloc[0].to_dict()
    one = counts[counts["cone"] == "C"].sort_values("started").iloc[:2]
    few = pd.concat([one, counts[counts["cone"] != "C"]])
    row = describe_context(few, lot, hatch=one["hatch"].iloc[1]).set_index("what").loc["cone"]
    assert ": 1 other hatch in the sixty days before" in row["sentence"]
