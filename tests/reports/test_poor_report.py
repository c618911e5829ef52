"""``qckit report poor-hatch`` as typed: the report, the check that is logged, and the report that counts it."""

import json

import pytest

from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.practice import POOR_HATCH, SITE_NAME, invented_history
from qckit.reports import nauplius_objects, record_check, record_plans
from qckit.site_tables import SiteTables
from qckit.verdicts.poor_hatch.verdict import explain_hatch

pytestmark = pytest.mark.usefixtures("warm_kernels")
NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture
def site(tmp_path):
    """The invented site, its last sixty hatches only: quick, and enough to know what is usual."""
    history = invented_history()
    last = history["hatches"].sort_values("started").tail(60)["hatch"]
    history |= {t: history[t][history[t]["hatch"].isin(last)] for t in ("hatches", "samples", "readings")}
    folder = tmp_path / "site"
    new_site(folder, name=SITE_NAME)
    with open_log(folder, now=lambda: NOW) as log:
        log.add_many(history, by="op1", source="history")
    return folder


def explained(site):
    with open_log(site) as log:
        return explain_hatch(SiteTables.load(log), hatch=POOR_HATCH, now=NOW)


@pytest.mark.slow
def test_a_check_is_planned_made_and_counted(site, run):
    common = ("--site", str(site), "--now", NOW, "--no-count")
    code, out, err = run("report", "poor-hatch", POOR_HATCH, *common, "--record-checks", "--by", "op1")
    assert code == 0
    # a busy machine says that it is still at it, and nothing else
    assert all(line.startswith("Writing the report: ") for line in err.splitlines()), err
    assert "pH too low (above 95 % sure)." in out
    assert out.endswith(f"{POOR_HATCH}: planned ph meter.\n")
    folder = site / "reports" / f"poor-hatch-{POOR_HATCH}"
    before = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
    outcome = "no: the meter was off, 8.2 everywhere"
    made = ("--checked", "ph meter", "--outcome", outcome, "--by", "op2")
    code, out, _ = run("report", "poor-hatch", POOR_HATCH, *common, *made)
    assert code == 0
    assert out.startswith(f"{POOR_HATCH}: ph meter is in the log: {outcome}. It means: the pH is right.\n")
    after = json.loads((folder / "findings.json").read_text(encoding="utf-8"))
    chance = [{c["code"]: c["probability"] for c in f["details"]["causes"]}["ph"] for f in (before, after)]
    assert chance[1] < chance[0] - 0.1  # 17 h of low readings and the stages still speak for it
    assert (before["verdict"], after["verdict"]) == ("cause-found", "cause-likely")
    page = (folder / "report.html").read_text(encoding="utf-8")
    shown = (
        "Next feed:",
        "Could it be",
        "light gradient",
        "should change hatching by",
        "hours off standard",
        "What changed shortly before?",
        "new bag of salt",
        "Then: the pH was too low",
        "veterinarian",
    )
    for text in shown:
        assert text.casefold() in page.casefold(), text
    assert f"Measure the pH now: {outcome} (which means: the pH is right)." in page
    with open_log(site) as log:
        (row,) = log.checks(hatch=POOR_HATCH).to_dict("records")
    assert (row["outcome"], row["done_at"], row["by"]) == (outcome, NOW, "op1")  # the plan's row, completed
    assert row["notes"].startswith("Calibrate the pH meter at 7 and 10; measure cone B")


def test_a_check_that_was_not_planned_is_entered_and_one_made_again_is_corrected(site):
    said = record_check(site, POOR_HATCH, "air", "no, brisk bubbles", by="op2", at=NOW)
    assert said == (f"{POOR_HATCH}: air is in the log: no, brisk bubbles. It means: the air was right.")
    first = explained(site)
    record_check(site, POOR_HATCH, "air", "no, brisk bubbles", by="op2", at=NOW)  # said twice, entered once
    assert record_check(site, POOR_HATCH, "air", "unclear", by="op2", at=NOW).endswith("It means: it changes nothing.")
    with open_log(site) as log:
        (row,) = log.checks(hatch=POOR_HATCH).to_dict("records")
        (kept,) = log.corrections(table="checks").to_dict("records")
    assert row["outcome"] == "unclear" and kept["before"] == "no, brisk bubbles"
    assert first.details["named"] == explained(site).details["named"] == ["ph"]


def test_a_confirmed_cause_asks_for_no_further_check(site):
    record_check(site, POOR_HATCH, "ph meter", "yes: 7.4 in B, 8.2 in D", by="op2", at=NOW)
    finding = explained(site)
    assert finding.verdict == "cause-found" and finding.details["checks"] == []
    assert record_plans(site, finding.to_dict(), by="op1", at=NOW) == (
        f"{POOR_HATCH}: no check to plan that is not planned already."
    )


def test_what_cannot_be_entered_is_refused_in_one_line(site, run):
    with pytest.raises(InputError) as caught:
        record_check(site, POOR_HATCH, "ph metre", "no", by="op2")
    assert str(caught.value).startswith("unknown check 'ph metre'. Did you mean 'ph meter'? Known: recount, ")
    with pytest.raises(InputError) as caught:
        record_check(site, POOR_HATCH, "air", "not sure", by="op2")
    assert str(caught.value) == (
        "check 'air': the outcome 'not sure' must begin with yes, no or unclear. The question is: With the "
        "valve as it stood over night, are the bubbles weak, is stone or tube blocked, or did the pump stand still? "
        "Yes means: the air was too weak. No means: the air was right."
    )
    with pytest.raises(InputError) as caught:
        record_check(site, POOR_HATCH, "air", "no", by=" ")
    assert str(caught.value) == "Nobody is named as the one who made the check. Give a name or initials (--by NAME)."
    with pytest.raises(InputError) as caught:
        record_check(site, "H261105-Q", "air", "no", by="op2")
    assert str(caught.value).startswith("the site's log: unknown hatch 'H261105-Q'. Did you mean 'H261105-")
    code, _, err = run("report", "poor-hatch", POOR_HATCH, "--site", str(site), "--checked", "air")
    assert (code, err) == (
        2,
        "qckit: --checked and --outcome go together: which check was made, and what it showed. Give both.\n",
    )


def test_objects_are_read_for_the_hatch_and_its_lots_latest_hatches(site):
    with open_log(site) as log:
        assert nauplius_objects(log, POOR_HATCH).empty
        assert nauplius_objects(log, "no such hatch").empty


def test_without_a_time_the_door_asks_at_the_clock_of_the_site(site, monkeypatch):
    """The day of the dose and the hour at which it is ready; as the notebook's page does, and the other doors."""
    from qckit import load_site
    from qckit.log import typed
    from qckit.reports.poor_page import load_poor_hatch

    at = typed.site_time(load_site(site).settings, "2026-11-06T15:00")
    asked_at = typed.site_time
    monkeypatch.setattr(typed, "site_time", lambda settings, now="": asked_at(settings, now) if now else at)
    room = load_site(site)
    found = room.poor_hatch(POOR_HATCH)
    assert found.details["feed"]["ready"] == "2026-11-07 15:00"
    assert found.to_dict() == room.poor_hatch(POOR_HATCH, now="2026-11-06T15:00").to_dict()
    assert found.to_dict() == load_poor_hatch(site, POOR_HATCH).finding.to_dict()
    dose = room.dose(found.details["feed"]["lot"], nauplii=found.details["feed"]["missing_day"])
    assert found.details["feed"]["grams"] == pytest.approx(dose.grams_weighed)


def test_a_hatch_too_old_to_feed_is_not_dosed_for(site):
    """Nothing is counted as there or missing, nobody is told to leave the cone running; the cause stays."""
    from qckit import load_site

    room = load_site(site)
    fresh, past = (room.poor_hatch(POOR_HATCH, now=now) for now in ("2026-11-07T08:00", "2026-11-09T08:00"))
    assert fresh.details["feed"]["past_since"] == "" and past.details["feed"]["past_since"] == "2026-11-07"
    assert fresh.headline == past.headline and fresh.figures[3].value > 0
    assert past.to_dict()["figures"][3]["value"] is None
    assert past.next_steps[0] == f"When it shows again: {fresh.next_steps[0]}"
    assert any(
        step
        == "Next feed: nothing of this hatch, whose nauplii are past your limit of 24 h since 2026-11-07. What today "
        "needs says  qckit today."
        for step in past.next_steps
    )
    assert not any(step.startswith("At harvest") for step in past.next_steps)


@pytest.mark.parametrize("load", ["month", "new lot", "poor hatch"])
def test_a_time_that_is_none_is_said_of_now_wherever_a_notebook_is_run(site, load):
    """By hand the month spoke of a day, a poor hatch stopped within pandas, and a new lot took it."""
    from qckit.reports.lot_test import load_lot_test
    from qckit.reports.month_report import load_month
    from qckit.reports.poor_page import load_poor_hatch

    with pytest.raises(InputError) as caught:
        {"month": load_month, "new lot": load_lot_test, "poor hatch": load_poor_hatch}[load](site, now="tomorrow")
    assert str(caught.value) == "now: 'tomorrow' is not a time with its date. Write it like 2026-11-04 09:00."
