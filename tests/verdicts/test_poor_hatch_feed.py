"""The next feed of the poor-hatch page: what the page of the day counts, not yet counted cones and feeds included."""

from dataclasses import replace

import pandas as pd
import pytest
from poor_cases import site_of

from qckit.day import study_day
from qckit.practice import POOR_HATCH, invented_history
from qckit.settings import Settings
from qckit.verdicts.poor_hatch.verdict import explain_hatch

NOW = "2026-11-06T09:30:00+00:00"  # half an hour before the first feed
OTHER = "H261105-D"


@pytest.fixture(scope="module")
def history():
    """The demo's site on the morning on which only the poor hatch is counted."""
    tables = dict(invented_history())
    samples = tables["samples"]
    tables["samples"] = samples[samples["hatch"] != OTHER].reset_index(drop=True)
    return tables


def feed_of(history, now=NOW, **more):
    return explain_hatch(site_of(history, **more), hatch=POOR_HATCH, now=now).details["feed"]


def fed(nauplii, at):
    return pd.DataFrame([{"feed": "F1", "fed": at, "hatch": POOR_HATCH, "nauplii": nauplii, "notes": None}])


def test_a_cone_that_is_not_counted_yet_is_there_as_on_the_page_of_the_day(history):
    feed = feed_of(history)
    day = study_day(site_of(history), now=NOW)
    assert feed["other_cones"] == pytest.approx(day.hatch(OTHER).left) and feed["other_cones"] > 5e6
    assert feed["not_counted"] == feed["other_cones"]
    assert feed["missing"] == 0 and not day.feeds[0].is_short
    today = [f for f in day.feeds if f.at.date() == day.now.date()]
    assert feed["missing_day"] == pytest.approx(sum(f.needed - f.nauplii for f in today), rel=1e-6)
    assert "million expected in cone D, not counted yet: enough for the next feed" in feed["sentence"]


def test_what_was_fed_is_not_there_any_more_and_its_feed_is_over(history):
    whole, later = feed_of(history), "2026-11-06T10:20:00+00:00"
    after = feed_of(history, now=later, feeds=fed(2e6, "2026-11-06T10:10:00+00:00"))
    assert after["available"] == pytest.approx(whole["available"] - 2e6) and after["fed"] == 2e6
    assert after["needed_day"] == whole["needed_day"] / 2  # one of two feeds is left
    assert "besides 2.0 million fed already" in after["sentence"]
    before = feed_of(history, feeds=fed(2e6, "2026-11-06T10:10:00+00:00"))  # asked for a time before it
    assert before["available"] == whole["available"]


def test_cones_are_named_as_the_site_names_them(history):
    names = {"A": "1", "B": "2", "C": "3", "D": "4"}
    hatches = history["hatches"].assign(cone=history["hatches"]["cone"].replace(names))
    protocol = replace(Settings().protocol, cones="1, 2, 3, 4, 5, 6")
    feed = feed_of(history | {"hatches": hatches}, settings=replace(Settings(), protocol=protocol))
    assert feed["cone"].split(", ")[0] in ("1", "3", "5", "6")


def test_a_site_without_feeds_hears_nothing_of_feeds(history):
    fed, unfed = Settings(), replace(Settings(), protocol=replace(Settings().protocol, feed_at=""))
    with_feeds = explain_hatch(site_of(history, settings=fed), hatch=POOR_HATCH, now=NOW)
    for now in (NOW, "2026-11-09T10:00:00+00:00"):  # fresh, and past the age limit
        found = explain_hatch(site_of(history, settings=unfed), hatch=POOR_HATCH, now=now)
        feed = found.details["feed"]
        shown = [found.headline, *found.next_steps, *found.would_change, *found.left_out, *found.cautions]
        shown += [item.answer for item in found.evidence] + [f"{one.label} {one.note}" for one in found.figures]
        said = [text for text in shown if "feed" in text.lower() and "ill or refuse feed" not in text]
        assert not said
        assert pd.isna(feed["missing"]) and pd.isna(feed["missing_day"]) and feed["grams"] == 0
        assert "harvest" in found.details["steps"] and "feed" not in found.details["steps"]
        assert found.figures[-1].value == pytest.approx(feed["available"] / 1e6)
    assert feed["sentence"].startswith("its nauplii are past your limit of 24 h since 2026-11-07")
    fresh = explain_hatch(site_of(history, settings=unfed), hatch=POOR_HATCH, now=NOW)
    there = with_feeds.details["feed"]["sentence"].split(" nauplii here")[0]
    (step,) = [text for text in fresh.next_steps if text.startswith("Harvest: ")]
    assert step.startswith(f"Harvest: {there} nauplii, ") and step.endswith(" fewer than this cone usually gives.")
    assert fresh.verdict == with_feeds.verdict
