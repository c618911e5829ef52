"""The monthly review as its user runs it: page, records in the log, many months, failures that do not stop the rest."""

import json
import re
import shutil
from dataclasses import replace

import pandas as pd
import pytest
from click.testing import CliRunner

from qckit.cli import command
from qckit.errors import InputError, NeedsAttention
from qckit.log import new_site, open_log
from qckit.practice.history import invented_history
from qckit.reports.month_explain import explain_signals
from qckit.reports.month_records import (
    freeze_baselines,
    month_jobs,
    record_signals,
    set_aside,
    take_back,
)
from qckit.reports.month_report import load_month, lots

pytestmark = pytest.mark.usefixtures("warm_kernels")
NOW = "2026-11-10T08:00:00+00:00"


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("month") / "site"
    new_site(folder)
    with open_log(folder) as log:
        log.add_many(invented_history(), by="op1", source="invented")
    return folder


def run(site, *arguments):
    return CliRunner().invoke(command, ["report", *arguments, "--site", str(site)], standalone_mode=False)


@pytest.fixture(scope="module")
def october(demo_site):
    """The demo's report, whose records are those of the invented history; read only, please."""
    return demo_site / "reports" / "month-2026-10"


def test_costs_stand_in_the_currency_that_each_price_was_entered_in(summer, tmp_path):
    """All stood in the currency that the settings name now, also where a lot was paid in another."""
    page = load_month(summer, "2026-08", out_dir=tmp_path, now=NOW)
    names = list(page.study.lots)
    paid = {name: replace(page.study.lots[name], currency="NOK", cost=40.0, cost_per_million=0.7) for name in names}
    shown = lots(replace(page, study=replace(page.study, lots=paid))).html
    assert "NOK per million" in shown and "cost [NOK]" in shown and "EUR" not in shown
    other = replace(paid[names[0]], lot="K-9", currency="SEK")
    shown = lots(replace(page, study=replace(page.study, lots=paid | {"K-9": other}))).html
    assert "price per million" in shown and ">NOK<" in shown and ">SEK<" in shown


@pytest.mark.slow
def test_a_month_out_of_control_leaves_with_1_and_says_how_to_close_it(site, first_screens):
    result = run(site, "month", "2026-10", "--now", NOW)
    assert result.exception is None, result.output
    assert result.return_value == 1
    assert result.output.rstrip().splitlines()[-1] == (
        "Needs attention: the month is out of control; qckit report explain HATCH closes a signal once its cause is "
        "known."
    )
    with open_log(site) as log:
        assert len(log.changes(month="2026-10")) == 1


def test_page_answers_in_its_first_screen_and_names_what_goes_with_it(october):
    page = (october / "report.html").read_text(encoding="utf-8")
    first = page[: page.index(">Evidence<")]
    assert (
        "Out of control" in first
        and "cone C" in first
        and "oxygen" in first
        and "Clean or change the air stone" in first
    )
    headings = re.findall(r"<h2[^>]*>(.*?)<", page)
    assert [h for h in headings if h in ("Evidence", "Method", "Raw table", "Cautions")] == [
        "Evidence",
        "Method",
        "Raw table",
        "Cautions",
    ]


def test_every_figure_has_words_and_nothing_is_fetched(october):
    page = (october / "report.html").read_text(encoding="utf-8")
    alts = re.findall(r'<img[^>]*alt="([^"]*)"', page)
    assert len(alts) >= 15 and all(len(alt) > 40 for alt in alts)
    assert not re.search(r'(?:src|href)="https?://', page)
    assert "Traceback" not in page


def test_every_kind_of_chart_is_on_the_page(october):
    page = (october / "report.html").read_text(encoding="utf-8")
    alts = " ".join(re.findall(r'<img[^>]*alt="([^"]*)"', page))
    for words in (
        "Control chart: Hatching percentage, lot K-118",
        "Further charts of hatching percentage, lot K-118: outside plain binomial limits",
        "CUSUM points beyond the decision height",
        "Control chart: T90, lot K-121",
        "umbrella share, opened fraction, shells in harvests, temperature, salinity, pH, oxygen, light by cone",
        "Hatching percentage by operator",
    ):
        assert words in alts, words
    for condition in ("Temperature", "Salinity", "pH", "Oxygen"):
        assert f"Control chart: {condition}, all lots." in alts
    assert re.search(r"K-121: chance alone signals about once in 1[67]\d hatches", page)
    assert "days of feed at risk in the next 30 days if it goes on" in page


def test_calendar_marks_every_day_with_a_signal_of_the_table(october):
    found = json.loads((october / "findings.json").read_text(encoding="utf-8"))
    told = [s for s in found["details"]["signals"] if s["state"] != "mark" or s["in_shift"]]
    days = {s["at"][:10] for s in told}
    assert len(days) < len({s["at"][:10] for s in found["details"]["signals"]})
    assert f", {len(days)} days with a signal or a change," in (october / "report.html").read_text(encoding="utf-8")


def test_findings_hold_the_change_as_data(october):
    findings = json.loads((october / "findings.json").read_text(encoding="utf-8"))
    text = json.dumps(findings)
    assert '"factor": "cone"' in text and '"level": "C"' in text and "oxygen_mg_l" in text


def test_all_months_and_each_lot_are_listed(site):
    jobs = month_jobs(site, "all")
    assert [job[1]["month"] for job in jobs][:2] == ["2025-09", "2025-10"] and len(jobs) == 15
    both = [job[1]["lot"] for job in month_jobs(site, "2026-10", each_lot=True)]
    assert both == ["", "K-118", "K-121"]
    with pytest.raises(InputError, match=r"the site's log: unknown lot 'K-12'\. Did you mean 'K-121'\?"):
        month_jobs(site, "all", lot="K-12")


def test_a_month_without_hatches_is_refused_before_any_notebook_runs(site, monkeypatch):
    def execute(*_args, **_options):
        raise AssertionError("a notebook was run")

    monkeypatch.setattr("qckit.reports.run.execute", execute)
    for words in (("2027-01",), ("2025-01",), ("2025-12", "--lot", "K-121")):
        error = run(site, "month", *words).exception
        assert isinstance(error, InputError) and "was started in that month. The log holds those of" in str(error)


@pytest.mark.slow
def test_a_failing_report_does_not_stop_the_others(site, monkeypatch):
    from qckit.reports import month_records

    jobs = [("month", {"month": "2025-09", "lot": ""}), ("month", {"month": "2027-01", "lot": ""})]
    monkeypatch.setattr(month_records, "month_jobs", lambda *a, **k: jobs)
    result = run(site, "month", "all", "--now", NOW)
    assert isinstance(result.exception, NeedsAttention) and result.exception.exit_code == 1
    assert (site / "reports" / "month-2025-09" / "report.html").is_file()
    assert "month-2025-09" in (site / "reports" / "index.html").read_text(encoding="utf-8")
    assert "2027-01: no production hatch was started in that month." in result.output


def test_limits_are_frozen_with_who_and_when_and_then_used(own_site):
    told = freeze_baselines(own_site, "2026-07", by="op1", at="2026-08-01T08:00:00+00:00")
    assert re.fullmatch(r"2026-07: \d+ baselines frozen by op1\.", told)
    with open_log(own_site) as log:
        rows = log.baselines()
    assert set(rows["set_by"]) == {"op1"} and set(rows["set_at"]) == {"2026-08-01T08:00:00+00:00"}
    again = freeze_baselines(own_site, "2026-08", by="op1", at=NOW)
    assert again == (
        "2026-08: no proposed limits to freeze; those in force are frozen already, or hatches are too few."
    )


def test_the_report_puts_the_change_into_the_log_and_its_explanation_closes_the_month(autumn, tmp_path):
    load_month(autumn, "2026-10", out_dir=tmp_path, now=NOW)  # what the report's notebook does first
    with open_log(autumn) as log:
        (row,) = log.changes(month="2026-10").to_dict("records")
    assert (row["factor"], row["level"], row["state"]) == ("cone", "C", "open")
    assert row["first_low"] <= "2026-10-12" <= row["first_high"] and row["effect"] < 0
    first = record_signals(autumn, "2026-10", by="op1", at=NOW)
    assert re.fullmatch(r"2026-10: (1 new signal|[2-9]\d* new signals) recorded, 0 were there already\.", first)
    assert record_signals(autumn, "2026-10", by="op1", at=NOW).startswith("2026-10: 0 new signals recorded, ")
    with open_log(autumn) as log:
        rows = log.signals()
    (change,) = rows.loc[rows["rule"] == "change", "hatch"]
    for hatch in rows["hatch"].unique():
        told = explain_signals(autumn, hatch, by="op2", note="air stone blocked")
        assert re.fullmatch(rf"{hatch}: [1-9] signals? explained by op2\.", told)
    with open_log(autumn) as log:
        steps = log.last_step()
    again = explain_signals(autumn, hatch, by="op3", note="once more")
    told = rf"{hatch}: already explained by op2 on \d{{4}}-\d\d-\d\d: air stone blocked\. Nothing changed\. "
    assert re.match(told + "To say it otherwise:  qckit log correct signals .+ note TEXT --reason TEXT$", again)
    with open_log(autumn) as log:
        assert log.last_step() == steps
        assert (log.signals()["state"] == "explained").all()
        (row,) = log.changes(month="2026-10").to_dict("records")
    assert change in set(rows["hatch"]) and (row["state"], row["note"]) == ("explained", "air stone blocked")


def site_of(folder, first, last):
    """A site with the invented history of some months."""
    history = invented_history()
    hatches = history["hatches"]
    hatches = hatches[(hatches["started"] > first) & (hatches["started"] < last)]
    cut = {"lots": history["lots"], "hatches": hatches} | {
        name: history[name][history[name]["hatch"].isin(hatches["hatch"])] for name in ("samples", "readings")
    }
    with open_log(new_site(folder)) as log:
        log.add_many(cut, by="op1", source="invented")
    return folder


@pytest.fixture(scope="module")
def autumn(tmp_path_factory):
    """A site of March to October with the change of October in it."""
    return site_of(tmp_path_factory.mktemp("autumn") / "own", "2026-03-01", "2026-11-01")


@pytest.fixture(scope="module")
def summer(tmp_path_factory):
    """A site of March to August, no change planted in July and August; read only, please."""
    return site_of(tmp_path_factory.mktemp("summer") / "own", "2026-03-01", "2026-09-01")


@pytest.fixture
def own_site(summer, tmp_path):
    """A copy of that site for what changes the log."""
    return shutil.copytree(summer, tmp_path / "own")


@pytest.fixture(scope="module")
def august(summer):
    """August before anybody set anything aside."""
    return study_of(summer, "2026-08")


def study_of(site, month):
    return load_month(site, month).study


def test_a_hatch_is_set_aside_with_a_reason_shown_and_taken_back(own_site, august):
    before = august.charts[("K-121", "hatch_pct")]
    hatch = before.frame.loc[before.frame["phase"] == "baseline", "label"].iloc[5]
    told = run(
        own_site, "set-aside", hatch, "--reason", "drain left open", "--by", "op2", "--chart", "hatch_pct", "--now", NOW
    )
    assert told.output == f"{hatch} is set aside in 1 chart by op2: drain left open.\n"
    study = study_of(own_site, "2026-08")
    after = study.charts[("K-121", "hatch_pct")]
    own = after.frame.set_index("label").loc[hatch]
    assert own["phase"] == "set aside"
    # 40 hatches are in the baseline as before, with the next one in its place
    assert after.limits.n_points == before.limits.n_points and after.limits != before.limits
    assert {p["label"]: p["reason"] for p in after.set_aside}[hatch] == "drain left open (op2, 2026-11-10)"
    assert study.charts[("K-121", "umbrella_pct")].frame.set_index("label").loc[hatch, "phase"] != "set aside"
    assert study.aside.to_dict("records") == [
        {
            "chart": "hatch_pct",
            "lot": "K-121",
            "hatch": hatch,
            "reason": "drain left open",
            "by": "op2",
            "day": "2026-11-10",
        }
    ]
    back = run(own_site, "set-aside", hatch, "--reason", "was another cone", "--by", "op1", "--undo")
    assert back.output == f"{hatch} counts again in 1 chart, says op1: was another cone.\n"
    assert study_of(own_site, "2026-08").charts[("K-121", "hatch_pct")].limits == before.limits
    told = run(own_site, "set-aside", hatch, "--reason", "drain after all", "--by", "op2", "--now", NOW)
    assert re.fullmatch(rf"{hatch} is set aside in \d+ charts by op2: drain after all\.\n", told.output)
    assert len(study_of(own_site, "2026-08").aside) > 5
    with open_log(own_site) as log:
        reasons = list(log.corrections()["reason"])
    assert {"was another cone", "drain after all"} <= set(reasons)


@pytest.mark.slow
def test_a_point_set_aside_late_is_told_and_a_baseline_frozen_anew_leaves_it_out(own_site):
    freeze_baselines(own_site, "2026-08", by="op1", at="2026-09-01T08:00:00+00:00")
    chart = study_of(own_site, "2026-08").charts[("K-121", "hatch_pct")]
    hatch = chart.frame.loc[chart.frame["phase"] == "baseline", "label"].iloc[3]
    set_aside(own_site, hatch, reason="wrong lot weighed", by="op2")
    chart = study_of(own_site, "2026-08").charts[("K-121", "hatch_pct")]
    assert chart.is_frozen and chart.limits.n_points == 40
    assert any(note.startswith(f"Set aside after the baseline was frozen: {hatch}. Its limits") for note in chart.notes)
    told = freeze_baselines(own_site, "2026-08", by="op2", at="2026-09-01T09:00:00+00:00", anew=True)
    assert re.fullmatch(r"2026-08: \d+ baselines frozen by op2\.", told)
    again = study_of(own_site, "2026-08").charts[("K-121", "hatch_pct")]
    assert "frozen by op2" in again.baseline_words and again.limits != chart.limits
    assert hatch in {p["label"] for p in again.set_aside}
    assert not any(note.startswith("Set aside after") for note in again.notes)


@pytest.mark.slow
def test_a_signal_is_explained_without_being_recorded_first_and_the_month_then_needs_nothing(own_site):
    study = study_of(own_site, "2026-06")
    open_hatches = list(dict.fromkeys(study.signals.loc[study.signals["state"] == "open", "hatch"]))
    assert open_hatches
    for hatch in open_hatches:
        told = run(own_site, "explain", hatch, "--by", "op2", "--note", "salt of another tank")
        assert re.fullmatch(rf"{hatch}: [1-9] signals? explained by op2\.\n", told.output)
    result = run(own_site, "month", "2026-06", "--now", NOW)
    assert result.exception is None and not result.return_value, result.output
    assert "In control, " in result.output and " explained" in result.output


@pytest.mark.slow
def test_a_change_that_began_in_an_earlier_month_is_explained_by_its_first_hatch_without_a_report(own_site):
    with open_log(own_site) as log:
        hatches, samples = log.hatches(), log.samples()
        late = hatches[(hatches["started"] > "2026-07-28") & (hatches["cone"] == "B")]
        for row in samples[samples["hatch"].isin(late["hatch"]) & samples["nauplii"].notna()].itertuples():
            lost = round(0.35 * row.nauplii)
            rest = "cysts" if pd.isna(row.embryos) else "embryos"
            for column, value in (("nauplii", row.nauplii - lost), (rest, getattr(row, rest) + lost)):
                log.correct("samples", (row.sample, row.revision), column, str(int(value)), by="op1", reason="invented")
    assert not [s for s in study_of(own_site, "2026-07").shifts if s.counts]
    (shift,) = [s for s in study_of(own_site, "2026-08").shifts if s.counts and s.level == "B"]
    first = shift.labels[0]
    assert f"{shift.first:%Y-%m}" == "2026-07"
    told = run(own_site, "explain", first, "--by", "op2", "--note", "air stone blocked")
    assert re.fullmatch(rf"{first}: [1-9] signals? explained by op2\.\n", told.output)
    with open_log(own_site) as log:
        assert log.changes()[["state", "note"]].to_numpy().tolist() == [["explained", "air stone blocked"]]
    (again,) = [s for s in study_of(own_site, "2026-08").shifts if s.counts and s.level == "B"]
    assert (again.state, again.by, again.note) == ("explained", "op2", "air stone blocked")


@pytest.mark.slow
def test_a_quiet_month_leaves_with_0(own_site):
    result = run(own_site, "month", "2026-08", "--now", NOW)
    assert result.exception is None and not result.return_value, result.output


def test_messages_of_setting_aside(own_site, august):
    hatch = august.series["hatch"].iloc[0]

    def raised(text, call):
        with pytest.raises(InputError) as error:
            call()
        assert str(error.value) == text

    raised(
        f"setting aside: hatch {hatch} is given no reason. Say why in a few words:  --reason TEXT",
        lambda: set_aside(own_site, hatch, reason=" ", by="op1"),
    )
    raised(
        "setting aside: nobody is named. Say who does it with  --by NAME",
        lambda: set_aside(own_site, hatch, reason="x", by=""),
    )
    raised(
        f"setting aside: hatch {hatch} has no value for t90_h, so there is nothing to set aside. Check the hatch's "
        "name.",
        lambda: set_aside(own_site, hatch, reason="x", by="op1", chart="t90_h"),
    )
    with pytest.raises(InputError, match=r"setting aside: unknown chart 'hatchpct'\. Did you mean 'hatch_pct'\?"):
        set_aside(own_site, hatch, reason="x", by="op1", chart="hatchpct")
    raised(
        f"the site's log: unknown hatch '{hatch}x'. Did you mean '{hatch}'? qckit log show hatches lists them.",
        lambda: set_aside(own_site, f"{hatch}x", reason="x", by="op1"),
    )
    with pytest.raises(
        InputError, match=f"hatch {hatch} is neither set aside nor left out for standing out, so it counts already"
    ):
        take_back(own_site, hatch, reason="x", by="op1")
    result = run(own_site, "month", "2026-08", "--anew")
    assert str(result.exception) == (
        "--anew belongs to --freeze-baselines: it says that frozen limits may be replaced. Give both."
    )


def test_messages(site):
    with pytest.raises(InputError) as error:
        freeze_baselines(site, "2026-10", by=" ")
    assert str(error.value) == "freezing baselines: nobody is named. Say who does it with  --by NAME"
    with pytest.raises(InputError) as error:
        explain_signals(site, "H261023-C", by="op1", note="")
    assert str(error.value) == (
        "explaining signals: hatch H261023-C is given no explanation. Say what was found in  --note TEXT"
    )


def test_the_page_says_its_rules_and_its_rate_and_stays_light(october):
    page = (october / "report.html").read_text(encoding="utf-8")
    assert "anything but in control in at most 5 of 100 months" in page
    assert "Standing differences" in page or "No cone, person or way of counting differs for good" in page
    assert len(page.encode()) < 2_500_000
    # priors, method and limits lie in folds; what is seen at once has no words of statistics
    seen = re.sub(r"<(script|style|svg)\b.*?</\1>|<details\b.*?</details>", " ", page, flags=re.DOTALL)
    folds = re.findall(r"<summary>(.*?)</summary>", page)
    assert {"What was assumed before looking", "How the figures came about"} <= set(folds)
    assert "Assumed before looking" in page and "Assumed before looking" not in seen
    assert not re.search(r"sigma|degrees of freedom|standard error|Bonferroni|\bp (below|=|<)|\d df\b", seen)
