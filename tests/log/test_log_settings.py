"""The log keeps the settings as last used: which minimum, volume or standard held when, and who met the change."""

# ruff: noqa: E501  whole messages

import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, NOW, SAMPLES

from qckit.errors import InputError
from qckit.log import export_zip, new_site, open_log, restore, seal_of
from qckit.log.packing import digest
from qckit.log.steps import notice_settings
from qckit.setting_changes import change_sentences, changes_between, in_force, setting_texts
from qckit.settings import SiteSettings

LATER = "2026-11-27T08:00:00+00:00"


def change(site, old="min_hatch_pct = 75.0", new="min_hatch_pct = 80.0"):
    """Change the settings file as an editor does."""
    text = (site / "qckit.toml").read_text(encoding="utf-8")
    assert old in text
    (site / "qckit.toml").write_text(text.replace(old, new), encoding="utf-8")


def add_page(log):
    """Note a page about H-1, made after the change."""
    row = {"report": "p", "kind": "new-lot", "subject": "L-1", "made_at": LATER, "figures": "[]"}
    log.add("reports", pd.DataFrame([row | {"hatches": '["H-1"]', "software": "qckit", "path": "p"}]), by="qckit")


@pytest.fixture
def changed(site):
    """Give a site with records whose minimum was then changed in its file, and met by a correction of op2."""
    with open_log(site, now=lambda: NOW) as log:
        log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")
    change(site)
    with open_log(site, now=lambda: LATER) as log:
        log.correct("samples", "S-1", "nauplii", 101, by="op2", reason="misread")
        yield log


def test_the_first_record_comes_quietly_with_the_first_step(filled):
    frame = filled.setting_changes()
    assert dict(zip(frame["setting"], frame["after"], strict=True)) == setting_texts(filled.settings)
    assert frame["before"].isna().all() and frame["since"].isna().all() and set(frame["by"]) == {"op1"}
    assert not frame["setting"].str.startswith("log.").any()  # an address may hold a secret
    assert len(filled.steps()) == 1 and filled.check(photos=False).query("severity == 'wrong'").empty
    filled.correct("samples", "S-1", "nauplii", 101, by="op2", reason="misread")
    assert len(filled.setting_changes()) == len(frame)


def test_a_step_notes_what_differs_with_both_values_and_the_time_between(changed):
    (row,) = changed.setting_changes().query("before.notna()").to_dict("records")
    assert row == {
        "setting_change": "2 limits.min_hatch_pct",
        "setting": "limits.min_hatch_pct",
        "before": "75",
        "after": "80",
        "noticed_at": LATER,
        "since": NOW,
        "by": "op2",
    }


def test_a_value_written_otherwise_is_no_change(changed, site):
    change(site, "min_hatch_pct = 80.0", "min_hatch_pct = 80")
    with open_log(site) as log:
        log.correct("samples", "S-1", "nauplii", 102, by="op2", reason="misread")
        assert len(log.setting_changes().query("before.notna()")) == 1


def test_a_report_notes_it_before_its_seal_and_once_only(changed, site, monkeypatch):
    monkeypatch.setenv("QCKIT_BY", "op3")
    change(site, "n_cones = 4", "n_cones = 5")
    with open_log(site, now=lambda: LATER) as log:
        before = seal_of(log)
        notice_settings(log)
        notice_settings(log)
        step = log.steps().iloc[-1]
        assert (step["action"], step["by"], step["source"], step["n_rows"]) == ("settings", "op3", "qckit.toml", 1)
        assert seal_of(log).step == before.step + 1
        assert log.setting_history("n_cones")["after"].tolist() == ["4", "5"]
        assert log.check(photos=False).query("severity == 'wrong'").empty


def test_history_shows_a_setting_and_all_of_them(changed, site, run):
    words = (
        "setting limits.min_hatch_pct: 75 -> 80  [found so in qckit.toml, changed after 2026-11-25T12:00:00+00:00; "
        "noticed 2026-11-27T08:00:00+00:00, with what op2 did]"
    )
    code, out, _ = run("log", "history", "min_hatch_pct", "--site", str(site))
    assert (code, out.splitlines()) == (
        0,
        [
            "setting limits.min_hatch_pct: 75  [first record; noticed 2026-11-25T12:00:00+00:00, with what op1 did]",
            words,
        ],
    )
    assert run("log", "history", "settings", "--site", str(site))[1].splitlines() == [words]
    assert run("log", "history", "n_cones", "--csv", "--site", str(site))[1].count("\n") == 2
    assert changed.history("H-1").setting_changes.empty  # it was counted before
    add_page(changed)
    lines = [line.strip() for line in changed.history("H-1").text.splitlines()]
    assert (
        "setting limits.min_hatch_pct: 75 -> 80 (changed after 2026-11-25T12:00:00+00:00)  "
        "[2026-11-27T08:00:00+00:00, by op2, qckit.toml]"
    ) in lines


def test_nothing_changed_is_said(site, run):
    assert run("log", "history", "settings", "--site", str(site))[1] == (
        "The log has no record of it yet: the next step or report makes one.\n"
    )
    with open_log(site) as log:
        log.add("lots", LOTS, by="op1")
    assert run("log", "history", "settings", "--site", str(site))[1] == "No setting changed since the log keeps them.\n"


def test_backup_and_export_hold_it(changed, tmp_path):
    kept = digest(changed)
    for file in (changed.backup(), export_zip(changed, tmp_path / "all.zip")):
        restore(file, tmp_path / file.suffix[1:])
        with open_log(tmp_path / file.suffix[1:]) as log:
            assert digest(log) == kept


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE setting_changes SET after = '70' WHERE setting = 'limits.min_hatch_pct' AND step = 1",
            "says that limits.min_hatch_pct was 75 before, and the log has 70 of it",
        ),
        (
            "DELETE FROM setting_changes WHERE setting = 'limits.min_hatch_pct' AND step = 1",
            "says that limits.min_hatch_pct was 75 before, and the log has nothing of it",
        ),
    ],
)
def test_a_record_that_was_changed_is_found_by_check_and_seal(changed, statement, words):
    from test_log_proof import tamper

    seal = seal_of(changed)
    tamper(changed, statement)
    assert seal_of(changed) != seal
    found = changed.check(photos=False).query("code == 'step not whole'")
    assert found[["key", "what"]].values.tolist() == [["2", words]]


def test_nobody_enters_corrects_or_withdraws_it(changed):
    own = "setting_changes: is written by the log itself, and is neither corrected nor withdrawn. To change a setting, write it into qckit.toml."
    with pytest.raises(InputError) as caught:
        changed.correct("setting_changes", "2 limits.min_hatch_pct", "after", "70", by="op1", reason="x")
    assert str(caught.value) == own
    with pytest.raises(InputError) as caught:
        changed.withdraw("setting_changes", "2 limits.min_hatch_pct", by="op1", reason="x")
    assert str(caught.value) == own
    with pytest.raises(InputError, match="unknown table 'setting_changes'"):
        changed.add("setting_changes", changed.setting_changes(), by="op1")
    changed.withdraw_step(1, by="op1", reason="x")  # what the step met is no part of what it brought
    assert len(changed.setting_changes()) > 1


def test_a_log_that_cannot_be_written_is_read_all_the_same(changed, monkeypatch, site):
    from qckit.log import engine

    change(site, "n_cones = 4", "n_cones = 5")

    def refused(_):
        raise InputError("the folder or the file may not be written")

    with open_log(site) as log:
        n = len(log.steps())
        monkeypatch.setattr(engine, "writing", refused)
        notice_settings(log)
        assert len(log.steps()) == n


def test_a_log_by_its_address_has_no_settings(tmp_path):
    with open_log(f"sqlite:///{new_site(tmp_path / 'x')}/log.sqlite") as log:
        log.add("lots", LOTS, by="op1")
        assert log.setting_changes().empty


def test_what_falls_in_a_time(changed):
    frame = changed.setting_changes()
    at = pd.Timestamp

    def names(first, last, f=changes_between):
        return f(frame, at(first, tz="UTC"), at(last, tz="UTC")).query("setting == 'limits.min_hatch_pct'")["after"]

    assert names("2026-11-26", "2026-11-28").tolist() == ["80"]
    assert names("2026-11-26", "2026-11-26").tolist() == ["80"]  # it may have been that day
    assert names("2026-11-20", "2026-11-24").empty and names("2026-11-28", "2026-11-30").empty
    assert names("2026-11-28", "2026-11-30", in_force).tolist() == ["80"]
    assert names("2026-11-26", "2026-11-28", in_force).tolist() == ["75", "80"]


def test_a_page_says_it_in_a_line(changed):
    frame = changed.setting_changes().query("before.notna()")
    assert change_sentences(frame, SiteSettings(timezone="Europe/Lisbon", date_order="dmy")) == [
        "Settings changed in this time: min_hatch_pct from 75 to 80 between 25 Nov 2026 and 27 Nov 2026, "
        "noticed by op2. This page goes by the settings as they were when it was made."
    ]
    assert change_sentences(frame.iloc[:0], SiteSettings()) == change_sentences(None, SiteSettings()) == []


def test_evidence_of_a_lot_has_what_was_set_in_its_time(changed, site, run, tmp_path):
    add_page(changed)
    code, out, err = run("log", "evidence", "L-1", str(tmp_path / "for"), "--site", str(site))
    assert code in (0, 1), out + err
    table = pd.read_csv(tmp_path / "for" / "tables" / "setting_changes.csv")
    assert table.loc[table["setting"] == "limits.min_hatch_pct", "after"].astype(str).tolist() == ["75", "80"]
