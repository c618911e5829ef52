"""A count that cannot be (ten times the nauplii typed) in a month: in no figure, limits, search or signal of it."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from test_month_alone import first_month, with_signal

from qckit.log import new_site, open_log
from qckit.reports import month_report
from qckit.site_tables import SiteTables
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.tables import raw_table
from qckit.verdicts.month.verdict import finding_of_month, review_month

BAD = ("H08", "H40")  # of March and of April


def with_tenfold_counts(tables, *hatches) -> SiteTables:
    """Ten times the nauplii in the second subsample of some hatches."""
    samples = tables.samples.copy()
    samples.loc[samples["sample"].isin([f"{name}-1" for name in hatches]), "nauplii"] *= 10
    return tables.but(samples=samples)


def without(tables, *hatches) -> SiteTables:
    """The same site had those hatches never been counted."""
    return tables.but(samples=tables.samples[~tables.samples["hatch"].isin(hatches)])


@pytest.fixture(scope="module")
def clean():
    return first_month({}, n=52)


@pytest.fixture(scope="module")
def site(clean):
    return with_tenfold_counts(clean, *BAD)


@pytest.mark.parametrize("month", ["2026-03", "2026-04"])
def test_a_count_that_cannot_be_is_in_no_figure_of_the_month(site, clean, month):
    study, other = (study_month(tables, month=month) for tables in (site, without(clean, *BAD)))
    finding, alike = finding_of_month(study), finding_of_month(other)
    assert (finding.verdict, finding.headline) == (alike.verdict, alike.headline) == ("in-control", alike.headline)
    assert [dataclasses.asdict(f) for f in finding.figures] == [dataclasses.asdict(f) for f in alike.figures]
    assert [e.answer for e in finding.evidence] == [e.answer for e in alike.evidence]
    pd.testing.assert_frame_equal(study.comparison, other.comparison)
    assert study.charts.keys() == other.charts.keys() and study.apart == {} and not len(study.signals)
    for key, chart in study.charts.items():
        pd.testing.assert_frame_equal(chart.frame, other.charts[key].frame)
    assert study.charts["L1", "hatching_efficiency_per_g"].frame["value"].max() < 300_000


def test_the_page_names_it_once_with_the_reason_and_the_command(site):
    finding = review_month(site, month="2026-04")
    why = (
        "its counts make 891\u202f000 nauplii per gram, more than a gram of cysts holds (450\u202f000 at the very most)"
    )
    assert finding.next_steps[0] == (
        f"H40: {why}, so no figure of this page rests on it. Look at the sheet:  "
        "qckit log correct samples H40-1 nauplii VALUE --reason TEXT"
    )
    assert sum(why in text for text in (*finding.next_steps, *finding.left_out)) == 1
    assert "H40 is left out of the dose until it is put right." in " ".join(finding.next_steps[1:])
    assert finding.left_out[0] == "1 hatch without a usable count: H40."
    assert finding.left_out[1].startswith("H08 (in 2026-03) is in no limits either: its counts make 894\u202f000 naup")
    assert [one["hatch"] for one in finding.details["impossible"]] == ["H40"]


def test_what_was_typed_stays_in_the_raw_table(site):
    row = raw_table(study_month(site, month="2026-04")).set_index("hatch").loc["H40"]
    assert row["nauplii"] == site.samples.loc[site.samples["hatch"] == "H40", "nauplii"].sum() > 1000
    assert np.isnan(row["hatch_pct"]) and np.isnan(row["hatching_efficiency_per_g"])


def test_one_that_a_person_set_aside_is_asked_about_no_more_and_is_in_no_figure(site):
    study = study_month(with_signal(site, "H40", "explained", rule="set aside"), month="2026-04")
    finding = finding_of_month(study)
    assert not any(step.startswith("H40") for step in finding.next_steps)
    assert finding.left_out[0] == "1 hatch without a usable count: H40."
    assert study.charts["L1", "hatch_pct"].frame["label"].isin(BAD).sum() == 0


def test_a_corrected_count_counts_again(site, clean):
    corrected = with_tenfold_counts(clean, "H08")
    assert "H40" in set(study_month(corrected, month="2026-04").charts["L1", "hatch_pct"].frame["label"])
    finding = review_month(clean, month="2026-04")
    assert finding.details["impossible"] == [] and finding.left_out == []


def test_many_are_named_in_brief(clean):
    bad = [f"H{n}" for n in range(33, 46)]
    finding = review_month(with_tenfold_counts(clean, *bad), month="2026-04")
    assert [step[:3] for step in finding.next_steps[:3]] == bad[:3]
    assert finding.next_steps[3] == ("Left out for the same reason: H36, H37, H38, H39, H40, H41, H42, H43 and 2 more.")


def test_a_time_course_with_such_a_count_gives_no_t90(clean):
    hours = [12.0, 15.0, 18.0, 21.0, 24.0]
    rows = clean.samples[clean.samples["sample"].isin(["H41-0", "H42-0"])]
    part = [
        rows.assign(sample=rows["sample"] + f"-{h:g}", hours=h, nauplii=int(20 * i + 10), cysts=110 - 20 * i)
        for i, h in enumerate(hours)
    ]
    tables = clean.but(samples=pd.concat([clean.samples, *part], ignore_index=True))
    assert set(study_month(tables, month="2026-04").charts["L1", "t90_h"].frame["label"]) == {"H41", "H42"}
    tables.samples.loc[tables.samples["sample"] == "H42-0-18", "nauplii"] = 4000
    assert set(study_month(tables, month="2026-04").charts["L1", "t90_h"].frame["label"]) == {"H41"}


def test_the_page_takes_its_spread_and_charts_without_it(tmp_path, site):
    folder = new_site(tmp_path / "site")
    with open_log(folder) as log:
        log.add_many({n: getattr(site, n) for n in ("lots", "hatches", "samples", "readings")}, by="op1", source="x")
    page = month_report.load_month(folder, "2026-04", "", now="2026-05-01T09:00+00:00")
    assert "H40" not in set(page.subsamples["hatch"]) and "60 subsamples" in month_report.spread(page).text
    assert "891" not in month_report.metric_charts(page).text
