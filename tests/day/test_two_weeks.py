"""What two weeks at a hatch room brought up: sheets after slips, cones started anew, too few cones, short dates."""

import datetime as dt
from dataclasses import replace

import openpyxl
import pandas as pd
import pytest
from invented_day import at

from qckit.day.founding import Answers, found_site
from qckit.day.page.chores import DayRecords, find_chores
from qckit.day.page.counted import newest_moment
from qckit.day.page.loading import load_day
from qckit.day.sheets.reading import import_sheets
from qckit.day.words import day_lines
from qckit.errors import InputError
from qckit.log import open_log
from qckit.site import load_site

COUNT_A = ["", "", "80 3 12 76", "84 2 15 80", "81 3 14 70"]


def sheet_of(tmp_path, *rows, heading="date,cone,nauplii,umbrella,cysts,shells,time,who,notes"):
    path = tmp_path / "day.csv"
    path.write_text("\n".join([heading, *rows]), encoding="utf-8")
    return path


def lines(bench, section):
    return [line.text for line in day_lines(bench.page) if line.section == section]


@pytest.mark.parametrize("nauplii", [80, 62])
def test_a_sheet_enters_what_was_taken_back_at_the_bench(bench, typed, tmp_path, nauplii):
    """The rows taken back counted as 'there already', or refused the sheet by values that nobody sees."""
    typed(*COUNT_A, "-")
    path = sheet_of(tmp_path, f"2026-11-20,A,{nauplii},3,12,76,09:00,op1,", ",,84,2,15,80,,,")
    assert str(import_sheets(bench.log, [path], by="op2")) == "2 samples added."
    rows = bench.log.samples(hatch="H261119-A")
    assert dict(zip(rows["sample"], rows["nauplii"], strict=True)) == {"H261119-A-4": nauplii, "H261119-A-5": 84}
    assert str(import_sheets(bench.log, [path], by="op2")) == "2 samples there already."


def test_a_start_taken_back_does_not_refuse_the_sheet(bench, typed, tmp_path):
    typed("2", "2", "12", "09:05", "-")
    path = sheet_of(tmp_path, "2026-11-20,B,27,09:05", heading="date,cone,grams,time")
    path.write_text(path.read_text().replace("grams,time", "grams,nauplii,time").replace("27,", "27,,"))
    assert str(import_sheets(bench.log, [path], by="op1")) == "1 hatch added."
    assert bench.log.hatches(hatch="H261120-Bb")["cysts_g"].tolist() == [27.0]


def test_a_total_is_none_whatever_its_label(room, tmp_path):
    """With a word in the column of notes it was counted as a subsample of the cone above."""
    rows = ["2026-11-20,A,80,3,12,76,,,", ",,84,2,15,80,,,", ",,164,5,27,156,,,Summe", ",Summe,164,5,27,156,,,"]
    with open_log(room) as log:
        with pytest.raises(InputError) as error:
            import_sheets(log, [sheet_of(tmp_path, *rows)], by="op1")
        assert [p.row for p in error.value.problems.itertuples()] == ["row 4", "row 5"]
        assert str(error.value).count("Delete the row if it is a total") == 2
        noted = sheet_of(tmp_path, *rows[:2], ",,90,5,27,156,,,spilt a little")
        assert str(import_sheets(log, [noted], by="op1")) == "3 samples added, 1 cell corrected."


def test_all_rows_without_a_hatch_are_named_at_once(room, tmp_path):
    rows = ["2027-02-20,A,80,3,12,76,,,", ",Tank,84,2,15,80,,,", ",B,,,,,,,only a note"]
    with open_log(room) as log, pytest.raises(InputError) as error:
        import_sheets(log, [sheet_of(tmp_path, *rows)], by="op1")
    assert str(error.value) == (
        "Nothing was imported. 3 cells or rows must be put right first:\n"
        "day.csv, row 2: no hatch of cone A is in the log for 2027-02-20, and the row has no grams. Write them.\n"
        "day.csv, row 3: no hatch of cone Tank is in the log for 2027-02-20, and the row has no grams. Write them; or "
        "delete the row if it is a total.\n"
        "day.csv, row 4: no hatch stood in cone B at 09:00 on 2027-02-20, so this note is of none. Write the right "
        "time, or the grams of the hatch started then."
    )


def test_a_note_alone_reaches_the_hatch_in_its_cone(room, tmp_path):
    with open_log(room) as log:
        path = sheet_of(tmp_path, "2026-11-20,B,,,,,07:30,,power cut at night; not counted")
        import_sheets(log, [path], by="op1")
        assert log.hatches(hatch="H261119-B")["notes"].tolist() == ["power cut at night; not counted"]


def test_cells_merged_over_empty_rows_leave_them_empty(room, tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["date", "cone", "nauplii", "umbrella", "cysts", "shells"])
    sheet.append([dt.datetime(2026, 11, 20), "A", 80, 3, 12, 76])
    sheet["A2"].number_format = "dd.mm.yyyy hh:mm"
    sheet.append([])
    sheet.append([None, "B", 84, 2, 15, 80])
    sheet.merge_cells("A2:A5")
    book.save(tmp_path / "week.xlsx")
    with open_log(room) as log:
        result = import_sheets(log, [tmp_path / "week.xlsx"], by="op1")
    assert result.added == {"samples": 2}
    assert any("over rows 2 to 5 read as 2026-11-20 in each" in note for note in result.notes)


def test_the_answer_of_a_day_knows_what_was_started_on_it(room, tmp_path):
    """It was that of the time of counting, and told to start what stood in the next row of the sheet."""
    rows = ["2026-11-20,A,,80,3,12,76,", ",A,27,,,,,09:40", ",B,27,,,,,09:45"]
    heading = "date,cone,grams,nauplii,umbrella,cysts,shells,time"
    with open_log(room) as log:
        import_sheets(log, [sheet_of(tmp_path, *rows, heading=heading)], by="op1")
    site = load_site(room)
    moment = newest_moment(site, site.tables.samples).isoformat()
    assert moment == "2026-11-20T09:45:00+00:00"
    assert load_day(room, now=moment).start.code == "covered"


def test_a_cone_that_was_started_anew_is_not_to_be_harvested(bench, typed):
    typed(*COUNT_A, "1", "", "", "80 3 12 76", "84 2 15 80", "81 3 14 70")
    typed("3", "2", "", "", "")
    assert any(text.startswith("Harvest A (H261119-A)") for text in lines(bench, "due"))
    bench.start(lot="L-1", cone="A", grams=27.0, at=at("2026-11-20T09:10"))
    assert not any(text.startswith("Harvest") for text in lines(bench, "due"))
    assert bench.page.hatch("H261119-A").state == "counted"
    of_feeds = " ".join(lines(bench, "due"))
    assert "H261119-A 1.0 M counted" in of_feeds and "(A " not in of_feeds  # two hatches of A feed these days


def test_what_a_harvest_and_a_feed_contradict_is_said(bench, typed):
    typed(*COUNT_A)
    said = typed("3", "1", "9:05", "", "", "3", "1", "9:07", "", "").said
    assert "  look: A harvest of it at 09:05 stands in the log, too: were there two?" in said
    said = typed("4", "1", "4:00", "1").said
    assert "  look: By the log A was harvested only at 09:07: look at both times." in said


def test_a_feed_before_there_were_nauplii_is_doubted(bench):
    written = bench.feed("H261119-A", 1e6, fed=at("2026-11-19T18:00"))
    assert any("was fed 9 h after its hatch was started" in note for note in written.notes)
    assert bench.feed("H261119-A", 1e6, fed=at("2026-11-20T09:00")).notes == []


def test_harvests_and_readings_offer_what_stands_in_its_cone(bench, typed):
    typed(*COUNT_A, "1", "", "", "80 3 12 76", "84 2 15 80", "81 3 14 70")
    typed("3", "1", "9:05", "", "")
    assert [state.cone for state in bench.at_hand()] == ["B", "A"]
    bench.start(lot="L-1", cone="A", grams=27.0, at=at("2026-11-20T09:10"))
    assert [state.hatch for state in bench.readable()] == ["H261120-A", "H261119-A", "H261119-B"]


def test_too_few_cones_are_filled_and_the_rest_is_said(bench):
    settings = replace(bench.settings, feed=replace(bench.settings.feed, cone_volume_l=2.0, max_g_per_l=2.0))
    from qckit.day.page.study import study_day

    page = study_day(load_site(bench.site.folder).tables.but(settings=settings), now="2026-11-20T09:30")
    start = page.start
    assert start.n_cones > len(start.cones) == 2 and start.grams_per_cone == 4.0
    texts = [line.text for line in day_lines(page) if line.section == "start"]
    assert texts[0].startswith("8.0 g of L-1 in A and B (4.0 g each)")
    assert (
        f"Not enough cones: it takes {start.grams_in_all:.1f} g in {start.n_cones} cones, and 2 cones are free."
        in texts
    )


def test_a_poor_lot_with_a_dose_is_better_than_a_new_one_without(bench):
    bench.log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-20"}]), by="op1")
    text = (bench.site.folder / "qckit.toml").read_text("utf-8")
    (bench.site.folder / "qckit.toml").write_text(text.replace("min_hatch_pct = 75.0", "min_hatch_pct = 95.0"), "utf-8")
    page = load_day(bench.site.folder, now="2026-11-20T09:30")
    assert (page.start.code, page.start.lot, page.start.without_dose) == ("start", "L-1", ("L-2",))
    assert "L-2 is open, too, but has no dose yet." in [line.text for line in day_lines(page)]


def test_a_page_of_the_past_does_not_know_later_feeds(bench):
    bench.feed("H261119-A", 1e6, fed=at("2026-11-20T09:05"))
    assert load_day(bench.site.folder, now="2026-11-20T09:00").hatch("H261119-A").fed == 0.0
    assert load_day(bench.site.folder, now="2026-11-20T09:10").hatch("H261119-A").fed == 1e6


@pytest.mark.parametrize("text", ["19.11. 9.05", "19.11.2026 9.05", "19.11. 9:05", "19.11.2026 9:05"])
def test_a_time_of_another_day_as_people_write_it(room, text):
    from qckit.day.entry.bench import Bench

    path = room / "qckit.toml"
    path.write_text(path.read_text("utf-8").replace('date_order = "ymd"', 'date_order = "dmy"'), "utf-8")
    with Bench(room, by="op1", now="2026-11-20T09:10") as bench:
        assert bench.at(text, bench.moment()).isoformat() == "2026-11-19T09:05:00+00:00"
        assert bench.date("20.10.") == "2026-10-20" and bench.date("3.12.") == "2025-12-03"
        with pytest.raises(InputError):
            bench.date("3.12.", is_past=False)  # a best-before date lies ahead


def test_names_with_blanks_alone_between_are_asked_about(tmp_path):
    with pytest.raises(InputError) as error:
        found_site(tmp_path / "site", Answers(cones="A B C"))
    assert str(error.value) == (
        "'A B C' could be one name or 3. Write commas between cones: A, B, C; or 'A B C' with a comma behind it if it "
        "is one."
    )
    site = found_site(tmp_path / "site", Answers(cones="Cone one; Cone two", people="K M,"))
    protocol = load_site(site).settings.protocol
    assert protocol.cone_names == ("Cone one", "Cone two") and protocol.initials == ("K M",)


def test_the_history_of_a_hatch_holds_its_feeds(bench):
    bench.feed("H261119-A", 1e6, fed=at("2026-11-20T09:05"))
    bench.log.withdraw("feeds", bench.log.table("feeds")["feed"].iloc[0], by="op1", reason="of B")
    history = bench.log.history("H261119-A")
    assert history.to_frame()["level"].tolist() == ["hatch", "feed", "correction of feeds"]
    assert "1\u202f000\u202f000 nauplii at 2026-11-20T09:05:00+00:00" in history.text


def test_a_date_in_a_sheet_takes_the_year_of_the_date_above_it(room, tmp_path):
    path = room / "qckit.toml"
    path.write_text(path.read_text("utf-8").replace('date_order = "ymd"', 'date_order = "dmy"'), "utf-8")
    rows = ["31.12.2026,A,27,,,,,", "1.1.,A,,80,3,12,76,", ",A,27,,,,,10:00", "2.1.,A,,80,3,12,76,10:00"]
    sheet = sheet_of(tmp_path, *rows, heading="date,cone,grams,nauplii,umbrella,cysts,shells,time")
    with open_log(room) as log:
        import_sheets(log, [sheet], by="op1")
        assert log.samples(hatch="H261231-A")["taken"].tolist() == ["2027-01-01T09:00:00+00:00"]
        assert log.samples(hatch="H270101-A")["taken"].tolist() == ["2027-01-02T10:00:00+00:00"]
        alone = sheet_of(tmp_path, "3.1.,A,,80,3,12,76,", heading="date,cone,grams,nauplii,umbrella,cysts,shells,time")
        with pytest.raises(InputError, match=r"'3\.1\.' is not a date"):
            import_sheets(log, [alone], by="op1")


def test_photos_of_a_camera_without_a_scale_ask_for_the_scale_and_not_to_be_watched(bench):
    """The page sent to `qckit today --watch`, which sent back."""
    waiting = pd.DataFrame({"hatch": "H1", "photo": ["p1.jpg", "p2.jpg", "p3.jpg"], "um_per_px": [None, None, 4.2]})
    records = DayRecords(uncounted=waiting)
    counts = pd.DataFrame(columns=["hatch", "lot", "purpose", "started"])
    chores = find_chores(bench.site.tables, [], now=bench.moment(), counts=counts, records=records)
    waits = [c for c in chores if c.code.startswith("photos")]
    text = "\n".join(line.text + " " + line.do for line in day_lines(replace(bench.page, chores=waits)))
    assert "2 photos cannot be counted: the camera has no scale. qckit camera scale PHOTO" in text
    assert "1 photo waits to be counted. qckit today --watch" in text
