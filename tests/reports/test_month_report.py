"""The monthly review as its user runs it: page, records in the log, many months, failures that do not stop the rest."""

import json
import re

import pytest
from click.testing import CliRunner

from qckit.cli import command
from qckit.errors import InputError, NeedsAttention
from qckit.log import new_site, open_log
from qckit.practice.history import invented_history
from qckit.reports.month_records import explain_signals, freeze_baselines, month_jobs, record_signals

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
def october(site):
    result = run(site, "month", "2026-10", "--now", NOW)
    assert result.exception is None, result.output
    return site / "reports" / "month-2026-10"


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
        "Evidence", "Method", "Raw table", "Cautions",
    ]  # fmt: skip


def test_every_figure_has_words_and_nothing_is_fetched(october):
    page = (october / "report.html").read_text(encoding="utf-8")
    alts = re.findall(r'<img[^>]*alt="([^"]*)"', page)
    assert len(alts) >= 15 and all(len(alt) > 40 for alt in alts)
    assert not re.search(r'(?:src|href)="https?://', page)
    assert "Traceback" not in page


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


def test_a_failing_report_does_not_stop_the_others(site, monkeypatch):
    from qckit.reports import month_records

    jobs = [("month", {"month": "2025-09", "lot": ""}), ("month", {"month": "2027-01", "lot": ""})]
    monkeypatch.setattr(month_records, "month_jobs", lambda *a, **k: jobs)
    result = run(site, "month", "all", "--now", NOW)
    assert isinstance(result.exception, NeedsAttention) and result.exception.exit_code == 1
    assert (site / "reports" / "month-2025-09" / "report.html").is_file()
    assert "month-2025-09" in (site / "reports" / "index.html").read_text(encoding="utf-8")
    assert "2027-01: no production hatch was started in that month." in result.output


def test_limits_are_frozen_with_who_and_when_and_then_used(site):
    told = freeze_baselines(site, "2026-07", by="op1", at="2026-08-01T08:00:00+00:00")
    assert re.fullmatch(r"2026-07: \d+ baselines frozen by op1\.", told)
    with open_log(site) as log:
        rows = log.baselines()
    assert set(rows["set_by"]) == {"op1"} and set(rows["set_at"]) == {"2026-08-01T08:00:00+00:00"}
    again = freeze_baselines(site, "2026-08", by="op1", at=NOW)
    assert again == (
        "2026-08: no proposed limits to freeze; those in force are frozen already, or hatches are too few."
    )


def test_signals_are_recorded_once_and_explained(site):
    first = record_signals(site, "2026-10", by="op1", at=NOW)
    assert re.fullmatch(r"2026-10: [1-9]\d* new signals recorded, 0 were there already\.", first)
    assert record_signals(site, "2026-10", by="op1", at=NOW).startswith("2026-10: 0 new signals recorded, ")
    told = explain_signals(site, "H261023-C", by="op2", note="air stone blocked")
    assert re.fullmatch(r"H261023-C: [1-9] signals explained by op2\.", told)
    with open_log(site) as log:
        rows = log.signals()
    mine = rows[rows["hatch"] == "H261023-C"]
    assert set(mine["state"]) == {"explained"} and set(mine["by"]) == {"op2"}
    assert (rows.loc[rows["hatch"] == "H261027-C", "state"] == "open").all()


def test_messages(site):
    with pytest.raises(InputError) as error:
        freeze_baselines(site, "2026-10", by=" ")
    assert str(error.value) == "freezing baselines: nobody is named. Say who does it with  --by NAME"
    with pytest.raises(InputError) as error:
        explain_signals(site, "H261023-C", by="op1", note="")
    assert str(error.value) == (
        "explaining signals: hatch H261023-C is given no explanation. Say what was found in  --note TEXT"
    )
