"""Records in, records out: on SQLite and on PostgreSQL."""

# ruff: noqa: E501  whole messages

import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, NASTY_NAMES, SAMPLES, counted

from qckit.errors import InputError
from qckit.log import create_log, open_log
from qckit.log.history import trace
from qckit.log.intake import Incoming
from qckit.tables import check_table, table_columns


def fill(log):
    """Enter the small invented log."""
    return log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")


def test_rows_come_back_as_they_went_in(any_log):
    result = fill(any_log)
    assert result.added == {"lots": 2, "hatches": 2, "samples": 3}
    assert str(result) == "2 lots added, 2 hatches added, 3 samples added."
    hatches = any_log.hatches()
    assert list(hatches.columns) == table_columns("hatches")
    assert hatches["cysts_g"].tolist() == [1.602, 40.0]
    assert any_log.lots()["claimed_hatch_pct"].tolist()[0] == 85.0
    samples = any_log.samples()
    assert samples["sample"].tolist() == ["S-1", "S-3"]  # S-2 waits for its photos
    assert samples["hours"].tolist() == [24.0, 24.0]  # worked out from the times
    assert check_table(samples, "samples")["nauplii"].tolist() == [100, 90]
    assert any_log.samples(counted=False)["sample"].tolist() == ["S-2"]
    assert any_log.awaiting_counts()["photo"].tolist() == ["a.jpg", "b.jpg"]


def test_the_same_rows_again_add_nothing(any_log):
    fill(any_log)
    again = fill(any_log)
    assert not any(again.added.values())
    assert again.unchanged == {"lots": 2, "hatches": 2, "samples": 3}
    assert len(any_log.steps()) == 1  # a step that changes nothing leaves no trace


def test_queries_by_lot_month_and_span(any_log):
    fill(any_log)
    assert any_log.hatches(lot="L-2")["hatch"].tolist() == ["H-2"]
    assert any_log.hatches(month="2026-10")["hatch"].tolist() == ["H-1"]
    assert any_log.hatches(month="2026-11")["hatch"].tolist() == ["H-2"]
    assert any_log.samples(month="2026-10", counted=None)["sample"].tolist() == ["S-1", "S-2"]
    assert any_log.samples(lot="L-2")["sample"].tolist() == ["S-3"]
    assert any_log.hatches(since="2026-11-03T09:00:00+00:00", until="2026-11-04")["hatch"].tolist() == ["H-2"]
    assert any_log.hatches(until="2026-10-01").empty
    assert list(any_log.hatches(hatch="nobody").columns) == table_columns("hatches")


def test_a_month_is_the_sites_own(tmp_path):
    from qckit.log import new_site

    with open_log(new_site(tmp_path / "s", timezone="Europe/Lisbon")) as log:
        log.add_many({"lots": LOTS, "hatches": HATCHES.assign(started=["2026-06-30T23:30:00+00:00"] * 2)}, by="op1")
        assert len(log.hatches(month="2026-07")) == 2  # half past midnight, summer time, on 1 July


@pytest.mark.parametrize("name", NASTY_NAMES)
def test_any_name_survives(log, name):
    log.add_many(
        {"lots": pd.DataFrame({"lot": [name], "notes": [name]}), "hatches": HATCHES.head(1).assign(lot=name)},
        by=name.strip(),
    )
    assert log.lots(lot=name)["notes"].tolist() == [name]
    assert log.hatches(lot=name)["hatch"].tolist() == ["H-1"]
    log.correct("lots", name, "notes", f"{name}!", by=name, reason=name)
    assert log.lots()["notes"].tolist() == [f"{name}!"]
    assert log.corrections()["reason"].tolist() == [name]


def test_correction_keeps_both_values(any_log):
    fill(any_log)
    any_log.correct("hatches", "H-1", "cysts_g", "1,6".replace(",", "."), by="op2", reason="scale misread")
    assert any_log.hatches(hatch="H-1")["cysts_g"].tolist() == [1.6]
    fix = any_log.corrections().iloc[0]
    assert (fix["table"], fix["key"], fix["column"], fix["before"], fix["after"]) == (
        "hatches",
        "H-1",
        "cysts_g",
        "1.602",
        "1.6",
    )
    assert (fix["by"], fix["reason"]) == ("op2", "scale misread")
    assert not any(fill(any_log).added.values())  # the sheet as it was first entered is still the same sheet


def test_readings_are_put_to_another_hatch_one_by_one_or_all_and_back(any_log):
    fill(any_log)
    at = [f"2026-11-03T{hour:02}:00:00+00:00" for hour in (10, 12, 14)]
    readings = pd.DataFrame({"hatch": "H-1", "taken": at, "quantity": "ph", "value": [8.1, 8.2, 8.3], "unit": "pH"})
    any_log.add("readings", readings, by="op1")
    any_log.correct("readings", ("H-1", at[0], "ph"), "value", 8.0, by="op1", reason="misread")

    def held(hatch):
        return any_log.readings(hatch=hatch)["value"].tolist()

    any_log.correct("readings", ("H-1", at[0], "ph"), "hatch", "H-2", by="op2", reason="wrong cone")
    assert (held("H-1"), held("H-2")) == ([8.2, 8.3], [8.0])
    any_log.correct("readings", "H-1", "hatch", "H-2", by="op2", reason="all of them")
    assert (held("H-1"), held("H-2")) == ([], [8.0, 8.2, 8.3])
    text = any_log.history("H-1").text
    assert "because all of them (now of H-2)" in text and "correct from readings of H-1, by op2" in text
    any_log.correct("readings", "H-2", "hatch", "H-1", by="op2", reason="right after all")
    assert (held("H-1"), held("H-2")) == ([8.0, 8.2, 8.3], [])
    any_log.add("readings", readings.assign(hatch="H-2", quantity="oxygen", unit="mg/l"), by="op1")
    any_log.add("readings", readings.head(1).assign(quantity="oxygen", unit="mg/l"), by="op1")
    before = any_log.last_step()
    with pytest.raises(InputError) as caught:
        any_log.correct("readings", "H-1", "hatch", "H-2", by="op2", reason="again")
    assert str(caught.value).startswith(
        f"readings H-1, {at[0]}, oxygen: readings H-2, {at[0]}, oxygen is there already."
    )
    assert any_log.last_step() == before and len(held("H-1")) == 4
    any_log.correct("readings", ("H-1", at[1], "ph"), "value", 7.0, by="op1", reason="misread")
    with pytest.raises(InputError, match="is there already, withdrawn and with other values"):
        any_log.correct("readings", ("H-1", at[1], "ph"), "hatch", "H-2", by="op2", reason="again")
    assert not len(any_log.check(photos=False).query("code == 'step not whole'"))


def test_corrected_values_are_found_and_left_out_by_queries(any_log):
    fill(any_log)
    any_log.correct("hatches", "H-1", "lot", "L-2", by="op2", reason="wrong bag")
    # the sample first: a hatch that starts after its sample was taken is refused
    any_log.correct("samples", "S-3", "taken", "2026-12-02T09:00:00+00:00", by="op2", reason="wrong month")
    any_log.correct("hatches", "H-2", "started", "2026-12-01T09:00:00+00:00", by="op2", reason="wrong month")
    assert any_log.hatches(lot="L-1").empty
    assert any_log.hatches(lot="L-2")["hatch"].tolist() == ["H-1", "H-2"]
    assert any_log.hatches(month="2026-11").empty
    assert any_log.hatches(month="2026-12")["hatch"].tolist() == ["H-2"]
    any_log.correct("hatches", "H-1", "ph", 8.25, by="op2", reason="was left out")
    any_log.correct("hatches", "H-1", "ph", "", by="op2", reason="not measured after all")
    assert any_log.hatches(hatch="H-1")["ph"].isna().all()
    any_log.correct("hatches", "H-1", "decapsulated", "yes", by="op2", reason="was left out")
    assert any_log.hatches(hatch="H-1")["decapsulated"].tolist() == [True]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("hatches", "H-1", "hatch", "x"),
            "hatches: hatch names the row and cannot be corrected. Add it under its right name; put what hangs on it "
            "to that, row by row (qckit log correct samples SAMPLE hatch NAME --reason TEXT;  qckit log correct feeds "
            "FEED hatch NAME --reason TEXT;  qckit log correct readings HATCH hatch NAME --reason TEXT;  qckit log "
            "correct checks HATCH hatch NAME --reason TEXT) or by its sheet with  qckit log import SHEET --correct "
            "REASON;  last, withdraw the wrong one:  qckit log withdraw hatches NAME",
        ),
        (
            ("lots", "L-1", "lot", "x"),
            "lots: lot names the row and cannot be corrected. Add it under its right name; put what hangs on it to "
            "that, row by row (qckit log correct hatches HATCH lot NAME --reason TEXT) or by its sheet with  qckit log "
            "import SHEET --correct REASON;  last, withdraw the wrong one:  qckit log withdraw lots NAME",
        ),
        (
            ("hatches", "H-1", "cysts_g", "-1"),
            "hatches: cysts_g '-1' is below 0.0001. The least possible is 0.0001 g. Correct the cell.",
        ),
        (
            ("hatches", "H-1", "cysts_g", ""),
            "hatches: cysts_g must be filled and cannot be emptied. Give the right value.",
        ),
        (
            ("hatches", "H-1", "cysts_g", "1.602"),
            "hatches H-1: cysts_g is '1.602' already. There is nothing to correct.",
        ),
        (("hatches", "H-9", "ph", "8"), "hatches: unknown hatch 'H-9'. Did you mean 'H-2'? Known: H-1, H-2."),
        (
            ("readings", "H-1", "value", "8"),
            "readings: the key 'H-1' must name hatch, taken, quantity. Give one value for each, in this order.",
        ),
        (
            ("readings", "H-1", "hatch", "H-9"),
            "readings, column hatch: unknown hatch 'H-9'. Did you mean 'H-2'? Known: H-1, H-2.",
        ),
        (("readings", "H-1", "hatch", "H-2"), "readings: no row is named 'H-1'. There is no hatch yet."),
        (("readings", "H-1", "hatch", "H-1"), "readings: hatch is 'H-1' already. There is nothing to correct."),
        (
            ("readings", "H-1", "hatch", ""),
            "readings: hatch must be filled and cannot be emptied. Give the right value.",
        ),
        (
            ("fish", "H-1", "ph", "8"),
            "unknown table 'fish'. Known: lots, hatches, readings, samples, photos, objects, "
            "baselines, signals, scales, certificates, checks, reports, changes, feeds.",
        ),
    ],
)
def test_a_wrong_correction_is_refused(filled, arguments, message):
    with pytest.raises(InputError) as caught:
        filled.correct(*arguments, by="op1", reason="r")
    assert str(caught.value) == message
    assert filled.corrections().empty
    assert len(filled.steps()) == 1


def test_a_correction_needs_a_name_and_a_reason(filled):
    with pytest.raises(InputError) as caught:
        filled.correct("hatches", "H-1", "ph", 8, by=" ", reason="r")
    assert str(caught.value) == "Nobody is named as the one who corrects. Give a name or initials (--by NAME)."
    with pytest.raises(InputError) as caught:
        filled.correct("hatches", "H-1", "ph", 8, by="op1", reason="")
    assert str(caught.value) == "A correction needs its reason in words (--reason TEXT)."


def test_all_problems_are_said_at_once_and_nothing_is_entered(any_log):
    hatches = HATCHES.assign(cysts_g=["-1", "40"], lot=["L-1", "L-3"])
    with pytest.raises(InputError) as caught:
        any_log.add_many({"lots": LOTS, "hatches": hatches, "samples": SAMPLES}, by="op1", source="monday.xlsx")
    assert str(caught.value) == (
        "Nothing was imported. 5 cells or rows must be put right first:\n"
        "monday.xlsx: hatches, row 2: cysts_g '-1' is below 0.0001. The least possible is 0.0001 g. Correct the cell.\n"
        "monday.xlsx: hatches, row 3: lot 'L-3' is not a lot in the log or in this import. Did you mean 'L-2'? Known: L-1, "
        "L-2. Correct the name, or enter it first:  qckit today --enter , then 9, or the sheet lots.\n"
        "monday.xlsx: samples, row 2: hatch 'H-1' is a hatch whose own row has a problem. Put that row right first.\n"
        "monday.xlsx: samples, row 3: hatch 'H-1' is a hatch whose own row has a problem. Put that row right first.\n"
        "monday.xlsx: samples, row 4: hatch 'H-2' is a hatch whose own row has a problem. Put that row right first."
    )
    assert caught.value.problems["row"].tolist() == ["row 2", "row 3", "row 2", "row 3", "row 4"]
    assert any_log.lots().empty
    assert any_log.steps().empty


def test_a_row_with_other_values_is_refused_or_becomes_a_correction(filled):
    from qckit.log.intake import Incoming

    other = HATCHES.assign(ph=[8.2, None], cysts_g=[1.7, 40.0])
    with pytest.raises(InputError) as caught:
        filled.add("hatches", other, by="op1", source="sheet.csv")
    assert str(caught.value).splitlines()[1] == (
        "sheet.csv: hatches, row 2: cysts_g '1.7' differs from the log, where hatch 'H-1' has 1.602. If the log is right, "
        "correct the sheet; if the sheet is right, import it again with --correct REASON, which keeps both values."
    )
    result = filled.take([Incoming("hatches", other)], by="op1", correct="sheet filled in later")
    assert result.corrected == 2
    assert filled.hatches(hatch="H-1")[["cysts_g", "ph"]].values.tolist() == [[1.7, 8.2]]


def test_one_key_twice_in_a_sheet(log):
    twice = pd.DataFrame({"lot": ["L-1", "L-1", "L-1"], "notes": ["a", "a", "b"]})
    with pytest.raises(InputError) as caught:
        log.add("lots", twice, by="op1", source="sheet")
    assert str(caught.value) == (
        "Nothing was imported. 1 cell or row must be put right first:\n"
        "sheet: lots, row 4: lot 'L-1' stands already in sheet: lots, row 2, with other values. Keep the right one of the "
        "two rows."
    )


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"taken": "2026-10-30T23:30:00+00:00"},
            "row 2: taken '2026-10-30T23:30:00+00:00' is 24.0 h before the hatch was "
            "started. Correct the time, or the hatch.",
        ),
        (
            {"hours": 48.0},
            "row 2: hours '48' does not fit the times: taken is 24.0 h after the hatch was started. Correct "
            "the one that is wrong, or leave hours empty.",
        ),
        (
            {"counted_by": "photo", "nauplii": None, "cysts": None},
            "row 2: nauplii is empty and must be filled. Fill the "
            "cell; or, if the photos are to be counted, write counted_by photo, name the photos, and leave all counts empty.",
        ),
        (
            {"notes": None, "counter": "a\x00b"},
            "row 2: counter 'a\\\\x00b' holds a character that cannot be stored. Type the cell again.",
        ),
    ],
)
def test_what_no_single_cell_shows(filled, changes, line):
    row = SAMPLES.head(1).assign(sample="S-9", **changes)
    with pytest.raises(InputError) as caught:
        filled.add("samples", row, by="op1", source="x")
    assert str(caught.value).splitlines()[1] == f"x: samples, {line}"


def test_withdrawn_rows_are_hidden_with_what_hangs_on_them(any_log):
    fill(any_log)
    assert any_log.withdraw("hatches", "H-1", by="op1", reason="entered twice") == 3
    assert any_log.hatches()["hatch"].tolist() == ["H-2"]
    assert any_log.samples(counted=None)["sample"].tolist() == ["S-3"]
    assert any_log.reinstate("hatches", "H-1", by="op1", reason="was right after all") == 3
    assert len(any_log.samples(counted=None)) == 3
    assert any_log.corrections()["column"].unique().tolist() == ["withdrawn"]


def test_each_correction_of_one_second_is_told_with_its_own_step(any_log):
    """The clock of these tests stands still, as that of two who write at once: the history named the last step."""
    any_log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="x")
    for grams in (1.7, 1.8):
        any_log.correct("hatches", "H-1", "cysts_g", grams, by="op1", reason="weighed again")
    lines = [line.strip() for line in trace(any_log, "H-1").text.splitlines() if "cysts_g" in line]
    assert lines == [
        "correction of hatches H-1: cysts_g: 1.602 -> 1.7  [step 2, because weighed again]",
        "correction of hatches H-1: cysts_g: 1.7 -> 1.8  [step 3, because weighed again]",
    ]


def test_hours_that_a_corrected_time_leaves_behind_are_named_at_once(any_log):
    """Only the check of the log said so: figures went on by the hours as written."""
    any_log.add_many({"samples": SAMPLES.assign(hours=24.0), "hatches": HATCHES, "lots": LOTS}, by="op1", source="x")
    assert any_log.correct("hatches", "H-1", "ph", 8.2, by="op1", reason="left out") == []
    said = any_log.correct("hatches", "H-1", "started", "2026-10-30T23:30:00+00:00", by="op1", reason="wrong day")
    assert said[0] == (
        "samples S-1: hours 24 does not fit the times: taken is 48.0 h after the hatch was started. Correct what is "
        "wrong, such as  qckit log correct samples S-1 hours NUMBER --reason TEXT"
    )
    assert any_log.correct("samples", "S-1", "hours", 48, by="op1", reason="by the times")[0].startswith("samples S-2")
    assert any_log.correct("samples", "S-2", "hours", "", by="op1", reason="by the times") == []


def test_what_hangs_on_a_withdrawn_row_is_what_hangs_on_it_now(any_log):
    """A sample put right to another hatch, a hatch to another lot, stays when the wrong one is withdrawn, or any."""
    more = HATCHES.iloc[[1, 1]].assign(hatch=["H-3", "H-4"], cone=["C", "D"])
    any_log.add_many({"samples": SAMPLES, "hatches": pd.concat([HATCHES, more]), "lots": LOTS}, by="op1", source="x")
    any_log.correct("samples", "S-3", "hatch", "H-3", by="op1", reason="wrong cone")
    any_log.correct("hatches", "H-3", "lot", "L-1", by="op1", reason="wrong tin")
    assert any_log.withdraw("hatches", "H-4", by="op1", reason="never was") == 1
    assert any_log.withdraw("hatches", "H-2", by="op1", reason="never was") == 1
    assert any_log.withdraw("lots", "L-2", by="op1", reason="label misread") == 3  # with H-2 and H-4
    assert any_log.samples()["sample"].tolist() == ["S-1", "S-3"]
    assert any_log.withdraw("lots", "L-1", by="op1", reason="never was") == 6  # with what was put under it
    assert any_log.samples().empty
    assert any_log.reinstate("hatches", "H-3", by="op1", reason="it was") == 2
    assert any_log.samples()["sample"].tolist() == ["S-3"]


def test_what_was_withdrawn_or_moved_before_stays_hidden_when_its_row_is_shown_again(any_log):
    """All that hung on the row came back: readings put to the right hatch stood there twice, a wrong sample counted."""
    fill(any_log)
    at = [f"2026-11-01T{hour:02}:00:00+00:00" for hour in (9, 12)]
    readings = pd.DataFrame({"hatch": "H-1", "taken": at, "quantity": "ph", "value": [8.1, 8.2], "unit": "pH"})
    any_log.add("readings", readings, by="op1")
    any_log.correct("readings", "H-1", "hatch", "H-2", by="op1", reason="wrong name")
    any_log.withdraw("samples", "S-1", by="op1", reason="typed wrong")
    assert any_log.withdraw("hatches", "H-1", by="op1", reason="wrong name") == 5
    assert any_log.reinstate("hatches", "H-1", by="op1", reason="it was") == 2
    assert any_log.readings()["hatch"].tolist() == ["H-2", "H-2"]
    assert any_log.samples(counted=None)["sample"].tolist() == ["S-2", "S-3"]
    step = any_log.steps()["step"].max()
    assert any_log.still_withdrawn("hatches", "H-1") == [
        f"Withdrawn by step {step - 3} (wrong name (now of H-2)), and still so: readings H-1, {at[0]}, ph, "
        f"readings H-1, {at[1]}, ph",
        f"Withdrawn by step {step - 2} (typed wrong), and still so: samples S-1",
    ]
    with pytest.raises(InputError) as caught:
        any_log.reinstate("hatches", "H-1", by="op1", reason="again")
    assert str(caught.value).startswith(
        "hatches H-1: is not withdrawn, so there is nothing to show again. Withdrawn by step "
    )
    assert any_log.reinstate("samples", "S-1", by="op1", reason="it was right") == 1
    assert len(any_log.samples(counted=None)) == 3


def test_what_a_sheet_brings_of_withdrawn_rows_is_named_or_refused(any_log):
    """Such rows counted as there already, or differed from values that nobody sees."""
    fill(any_log)
    any_log.withdraw("samples", "S-3", by="op1", reason="typed wrong")
    again = any_log.add("samples", SAMPLES, by="op2", source="again.csv")
    assert again.unchanged == {"samples": 2} and again.notes == [
        "again.csv: samples: 1 row of samples is withdrawn in the log and stays so: S-3. To show one again:  qckit log "
        "reinstate samples S-3 --reason TEXT"
    ]
    for correct in ("", "recounted"):
        other = Incoming("samples", SAMPLES.tail(1).assign(nauplii=91), "x")
        with pytest.raises(InputError) as caught:
            any_log.take([other], by="op2", source="x", correct=correct)
        assert str(caught.value).splitlines()[1:] == [
            "x, row 2: sample 'S-3' is withdrawn in the log (a sample entered by mistake). Give it another name, or "
            "show that row again first:  qckit log reinstate samples S-3 --reason TEXT"
        ]
    any_log.withdraw("hatches", "H-2", by="op1", reason="never was")
    with pytest.raises(InputError, match="hatch 'H-2' is withdrawn in the log"):
        any_log.add("samples", SAMPLES.tail(1).assign(sample="S-9"), by="op2")
    any_log.reinstate("hatches", "H-2", by="op1", reason="it was")
    assert any_log.add("samples", SAMPLES.tail(1).assign(sample="S-9"), by="op2").added == {"samples": 1}


def test_the_database_itself_refuses_changes(any_log):
    import sqlalchemy as sa

    from qckit.log import engine

    fill(any_log)
    for statement in ("UPDATE hatches SET cysts_g = 1", "DELETE FROM samples", "DELETE FROM steps"):
        with (
            pytest.raises(InputError, match="records are never changed or deleted"),
            engine.writing(any_log.engine) as connection,
        ):
            connection.execute(sa.text(statement))
    assert any_log.hatches()["cysts_g"].tolist() == [1.602, 40.0]


def test_other_tables_keep_their_rows(any_log):
    fill(any_log)
    at = "2026-11-05T10:00:00+00:00"
    any_log.add(
        "signals",
        pd.DataFrame(
            {
                "signal": ["s1"],
                "chart": ["hatch_pct"],
                "lot": ["L-1"],
                "hatch": ["H-1"],
                "at": [at],
                "rule": ["beyond limit"],
                "value": [60.0],
                "state": ["open"],
                "found_at": [at],
            }
        ),
        by="op1",
    )
    any_log.add(
        "baselines",
        pd.DataFrame(
            {"baseline": ["b1"], "chart": ["hatch_pct"], "limits": ['{"low": 70}'], "set_by": ["op1"], "set_at": [at]}
        ),
        by="op1",
    )
    any_log.add(
        "scales",
        pd.DataFrame(
            {
                "camera": ["c"],
                "magnification": ["2x"],
                "set_at": [at],
                "um_per_px": [5.1],
                "method": ["micrometer"],
                "set_by": ["op1"],
            }
        ),
        by="op1",
    )
    any_log.add(
        "certificates",
        pd.DataFrame({"certificate": ["k1"], "camera": ["c"], "made_at": [at], "made_by": ["op1"]}),
        by="op1",
    )
    any_log.add(
        "checks",
        pd.DataFrame({"hatch": ["H-1"], "check": ["weigh again"], "planned_at": [at], "by": ["op1"]}),
        by="op1",
    )
    any_log.correct("signals", "s1", "state", "explained", by="op2", reason="heater stuck")
    any_log.correct("signals", "s1", "note", "heater stuck", by="op2", reason="heater stuck")
    any_log.correct("checks", ("H-1", "weigh again", at), "outcome", "1.6 g", by="op1", reason="done")
    assert any_log.signals(state="open").empty
    assert any_log.signals(chart="hatch_pct")["note"].tolist() == ["heater stuck"]
    assert any_log.checks(hatch="H-1")["outcome"].tolist() == ["1.6 g"]
    assert any_log.scales(camera="c")["um_per_px"].tolist() == [5.1]
    assert any_log.baselines(chart="hatch_pct")["limits"].tolist() == ['{"low": 70}']
    assert len(any_log.certificates(camera="c")) == 1
    assert any_log.check(photos=False).query("severity == 'wrong'").empty


def test_counts_from_photos_on_any_store(any_log):
    fill(any_log)
    photos, objects = counted()
    assert any_log.record_counts(photos, objects=objects, by="op1").added == {"photos": 2, "objects": 114, "samples": 1}
    row = any_log.samples(sample="S-2").iloc[0]
    assert (row["nauplii"], row["umbrella"], row["cysts"], row["shells"]) == (60, 4, 10, 40)
    assert row["volume_ul"] == 200.0  # two frames of 100 mm2, 1 mm deep
    assert (row["revision"], row["counter"]) == (1, "t-1")
    assert len(any_log.objects(hatch="H-1")) == 114


def test_no_log_no_site_bad_address(tmp_path, site):
    with pytest.raises(InputError) as caught:
        open_log(tmp_path)
    assert str(caught.value) == (
        f"{tmp_path}: no qckit.toml there, so this is not a site folder. Make one with  qckit new {tmp_path}"
    )
    (site / "log.sqlite").unlink()
    with pytest.raises(InputError) as caught:
        open_log(site)
    assert str(caught.value) == (
        f"{site}/log.sqlite: there is no log. Make an empty one with  qckit log create  in the "
        "site folder, or restore a backup with  qckit log restore BACKUP FOLDER."
    )
    create_log(site)
    with open_log(site) as log:
        assert log.lots().empty
    with pytest.raises(InputError) as caught:
        open_log("mysql://x/y")
    assert str(caught.value) == (
        "mysql://x/y: mysql is not supported. Use SQLite (leave url empty in qckit.toml) or PostgreSQL."
    )
    with pytest.raises(InputError, match="the server does not answer as asked"):
        open_log("postgresql+psycopg://nobody@127.0.0.1:9/x")


def test_a_query_takes_any_number_of_names(any_log):
    fill(any_log)
    names = ["H-1", *(f"none-{i}" for i in range(70_000))]  # more than a database takes as parameters
    assert any_log.hatches(hatch=names)["hatch"].tolist() == ["H-1"]
    any_log.correct("hatches", "H-2", "lot", "L-1", by="op1", reason="wrong bag")
    assert len(any_log.hatches(lot=["L-1", *names])) == 2


def test_queries_find_rows_by_an_index(filled):
    """No query of daily work reads a whole table of hatches, samples, photos or objects."""
    import sqlalchemy as sa

    plans = []

    @sa.event.listens_for(filled.engine, "before_cursor_execute")
    def explain(connection, _cursor, statement, parameters, _context, _many):
        if statement.startswith("SELECT"):
            rows = connection.connection.cursor().execute("EXPLAIN QUERY PLAN " + statement, parameters).fetchall()
            plans.extend(row[-1] for row in rows)

    filled.hatches(month="2026-10")
    filled.hatches(lot="L-1")
    filled.samples(hatch=["H-1", "H-2"])
    filled.samples(month="2026-10")
    filled.objects(hatch="H-1")
    filled.history("H-1")
    whole = [p for p in plans if any(p.startswith(f"SCAN {t}") for t in ("hatches", "samples", "photos", "objects"))]
    assert not whole
    assert any("ix_hatches_started_utc" in p for p in plans)
