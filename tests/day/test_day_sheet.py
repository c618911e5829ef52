"""The day sheet: cone, grams and counts a row; all else from the protocol and the log."""

import csv

import openpyxl
import pandas as pd
import pytest

from qckit.day.founding import Answers, found_site
from qckit.day.sheets.blank import write_day_sheets
from qckit.day.sheets.reading import import_sheets
from qckit.errors import InputError
from qckit.log import open_log

ROWS = """2026-11-21,A,10,79,3,15,75,,
,,,82,2,14,70,,
,,,80,2,16,71,,
,B,10.5,40,30,40,35,,cold
,,,42,28,41,30,,
"""


@pytest.fixture
def sheet(room, tmp_path):
    """The empty CSV day sheet, with rows typed into it."""

    def typed(rows):
        with open_log(room) as log:
            path = write_day_sheets(tmp_path / "fs", log.settings)[0]
        heading = path.read_text(encoding="utf-8-sig").splitlines()[0]
        names = "date,cone,grams,nauplii,umbrella,cysts,shells,lot,notes"
        path.write_text(f"{heading}\n{names}\n{rows}", encoding="utf-8")
        return path

    return typed


def test_rows_become_hatches_and_samples_and_again_nothing(room, sheet):
    path = sheet(ROWS)
    with open_log(room) as log:
        assert str(import_sheets(log, [path], by="op1")) == "2 hatches added, 5 samples added."
        hatch = log.hatches(hatch="H261120-B").iloc[0]
        assert (hatch["lot"], hatch["started"], hatch["cysts_g"], hatch["notes"]) == (
            "L-1",
            "2026-11-20T09:00:00+00:00",
            10.5,
            "cold",
        )
        assert log.samples(hatch="H261120-A")["nauplii"].tolist() == [79, 82, 80]
        assert str(import_sheets(log, [path], by="op2")) == "5 samples there already."


def test_a_row_without_counts_is_a_start_and_the_next_day_finds_it(room, sheet):
    path = sheet("2026-11-20,A,12,,,,,,\n2026-11-21,A,,80,3,12,70,,\n")
    with open_log(room) as log:
        import_sheets(log, [path], by="op1")
        assert log.samples(hatch="H261120-A")["nauplii"].tolist() == [80]


def test_a_sheet_without_grams_counts_what_stands_in_the_cones(room, sheet, tmp_path):
    counts = tmp_path / "monday.csv"
    counts.write_text("date,cone,nauplii,umbrella,cysts,shells\n2026-11-21,A,80,3,12,70\n")
    with open_log(room) as log:
        with pytest.raises(InputError) as error:
            import_sheets(log, [counts], by="op1")
        assert str(error.value) == (
            "Nothing was imported. 1 cell or row must be put right first:\n"
            "monday.csv, row 2: no hatch of cone A is in the log for 2026-11-21, and the row has no grams. Write them."
        )
        import_sheets(log, [sheet("2026-11-20,A,12,,,,,,\n")], by="op1")
        assert str(import_sheets(log, [counts], by="op1")) == "1 sample added."
        assert log.samples(hatch="H261120-A")["nauplii"].tolist() == [80]


def test_a_hatch_that_the_log_has_is_used_and_other_grams_are_asked_about(room, sheet):
    path = sheet("2026-11-19,A,11,80,3,12,70,,\n")
    with open_log(room) as log:
        with pytest.raises(InputError) as error:
            import_sheets(log, [path], by="op1")
        assert "cysts_g '11.0' differs from the log, where hatch 'H261118-A' has 27.0" in str(error.value)


def test_every_problem_is_said_at_once_with_its_row(room, sheet):
    path = sheet(",A,10,x,3,15,75,,\n2026-11-20,,10,79,3,15,75,,\n,B,,,,,,,\n,B,10,,3,1,1,,\n")
    with open_log(room) as log, pytest.raises(InputError) as error:
        import_sheets(log, [path], by="op1")
    told = error.value.problems[["row", "column", "rule"]].to_numpy().tolist()
    assert ["row 3", "nauplii", "is not a number"] in told
    assert ["row 4", "cone", "is empty, here and above"] in told
    assert ["row 5", "nauplii", "is empty, and so are all counts and grams"] in told
    assert ["row 6", "nauplii", "is empty and must be filled"] in told


def test_a_count_with_a_fraction_is_refused_and_never_cut_to_a_whole_number(room, sheet):
    path = sheet("2026-11-21,A,10,79.5,3,15,75,,\n,,,82,2.25,14,70.5,,\n,,,80,2.0,-16,71,,\n")
    with open_log(room) as log:
        with pytest.raises(InputError) as error:
            import_sheets(log, [path], by="op1")
        assert str(error.value) == (
            "Nothing was imported. 4 cells or rows must be put right first:\n"
            "day-sheet.csv, row 3: nauplii '79.5' is not a whole number. Write a whole number.\n"
            "day-sheet.csv, row 4: umbrella '2.25' is not a whole number. Write a whole number.\n"
            "day-sheet.csv, row 4: shells '70.5' is not a whole number. Write a whole number.\n"
            "day-sheet.csv, row 5: cysts '-16' is negative. The least possible is 0. Correct the cell, or "
            "leave it empty if it is not known."
        )
        assert log.samples(hatch="H261120-A").empty


def test_a_row_that_hangs_on_a_wrong_lot_is_named_once_and_no_withdrawn_lot_is_known(room, sheet):
    """It stood once for its hatch, its reading and its sample each; a lot taken back was offered as known."""
    with open_log(room) as log:
        log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-19"}]), by="op1")
        log.withdraw("lots", "L-2", by="op1", reason="typed wrong")
        path = sheet("2026-11-21,A,10,79,3,15,75,L-3,\n")
        path.write_text(path.read_text().replace("lot,notes\n", "lot,notes,ph,temperature_c\n").rstrip() + ",8.1,28\n")
        with pytest.raises(InputError) as error:
            import_sheets(log, [path], by="op1")
        assert str(error.value) == (
            "Nothing was imported. 2 cells or rows must be put right first:\n"
            "day-sheet.csv, row 3: lot 'L-3' is not a lot in the log or in this import. Did you mean 'L-1'? Known: L-1."
            " Correct the name, or enter it first:  qckit today --enter , then 9, or the sheet lots.\n"
            "day-sheet.csv, row 3: hatch 'H261120-A' is a hatch whose own row has a problem. Put that row right first."
        )


def test_the_workbook_is_read_as_the_csv_is(room, tmp_path):
    with open_log(room) as log:
        path = write_day_sheets(tmp_path / "fs", log.settings)[1]
        book = openpyxl.load_workbook(path)
        book["day"].append(["2026-11-21", "A", 10, 79, 3, 15, 75])
        book["day"].append([None, None, None, 82, 2, 14, 70])
        book.save(path)
        assert str(import_sheets(log, [path], by="op1")) == "1 hatch added, 2 samples added."


def test_a_folder_of_sheets_is_read_with_its_day_sheet(room, sheet):
    path = sheet(ROWS)
    (path.parent / "lots.csv").write_text("lot,opened\nL-2,2026-11-18\n")
    with open_log(room) as log:
        assert str(import_sheets(log, [path.parent], by="op1")) == "1 lot added, 2 hatches added, 5 samples added."


def test_other_sheets_go_their_own_way(room, tmp_path):
    lots = tmp_path / "lots.csv"
    lots.write_text("lot,opened\nL-2,2026-11-18\n")
    with open_log(room) as log:
        assert str(import_sheets(log, [lots], by="op1")) == "1 lot added."


def test_a_count_is_never_given_to_a_hatch_of_another_lot(room, sheet):
    with open_log(room) as log:
        with pytest.raises(InputError) as error:
            import_sheets(log, [sheet("2026-11-20,A,,80,3,12,70,L-9,\n")], by="op1")
        assert "lot 'L-9'" in str(error.value) and log.samples(hatch="H261119-A").empty
        import_sheets(log, [sheet("2026-11-20,A,,80,3,12,70,L-1,\n")], by="op1")
        assert log.samples(hatch="H261119-A")["nauplii"].tolist() == [80]


def test_the_answer_after_an_import_takes_any_way_of_writing_the_time_of_counts(room, sheet, capsys):
    from qckit import cli

    settings = room / "qckit.toml"
    settings.write_text(settings.read_text("utf-8").replace('count_at = "09:00"', 'count_at = "9.00"'), "utf-8")
    with pytest.raises(SystemExit):
        cli.main(["log", "import", str(sheet(ROWS.replace("A,10,", "A,27,"))), "--site", str(room), "--by", "op1"])
    said = capsys.readouterr()
    assert ": A 82 % (" in said.out and "note:" not in said.out + said.err


@pytest.mark.parametrize("n_poor", [0, 1, 5])
def test_poor_hatches_of_earlier_days_are_named_after_an_import(room, sheet, capsys, n_poor):
    from qckit import cli

    days = range(20, 27)
    counts = {day: "20,3,75,18" if day < 20 + n_poor else "80,3,12,72" for day in days}
    rows = "".join(f"2026-11-{day},A,27,{counts[day]},,\n" * 3 for day in days)
    with pytest.raises(SystemExit):
        cli.main(["log", "import", str(sheet(rows)), "--site", str(room), "--by", "op1"])
    said = capsys.readouterr().out.splitlines()
    counted = [line for line in said if line.startswith("Counted: ")]
    assert [line.split(": ")[1] for line in counted] == [f"H2611{day - 1}-A" for day in reversed(days)]
    poor = [line for line in counted if ": poor" in line]
    assert [line.split(": ")[1] for line in poor] == [f"H2611{18 + n_poor - i}-A" for i in range(n_poor)]
    assert all("A 20 % (" in line and " nauplii per g: poor" in line and "L-1 usually" in line for line in poor)
    last = "What a poor hatch was, and what to do:  qckit report poor-hatch "
    assert [line for line in said if "report poor-hatch" in line] == [f"{last}H2611{18 + n_poor}-A"] * (n_poor > 0)


def imported(capsys, room, *args):
    from qckit import cli

    with pytest.raises(SystemExit) as done:
        cli.main(["log", *map(str, args), "--site", str(room), "--by", "op1"])
    return done.value.code, capsys.readouterr().out.splitlines()


SAMPLES = "sample,hatch,taken,kind,volume_ul,nauplii,umbrella,cysts,shells,counted_by\n"


def test_a_table_of_samples_is_answered_like_a_day_sheet(room, tmp_path, capsys, sheet):
    """The same counts, once as a day sheet and once as samples, of two sites alike."""
    import shutil

    other = shutil.copytree(room, tmp_path / "other")
    path = tmp_path / "samples.csv"
    rows = [f"S{i},H261119-A,2026-11-20 09:00,subsample,250,20,3,75,18,person\n" for i in range(3)]
    path.write_text(SAMPLES + "".join(rows), encoding="utf-8")
    code, said = imported(capsys, room, "import", path)
    assert code == 0
    _, of_day_sheet = imported(capsys, other, "import", sheet("2026-11-20,A,,20,3,75,18,,\n" * 3))
    answer = [line for line in said if "added" not in line]
    assert answer == [line for line in of_day_sheet if "added" not in line and not line.startswith("note:")]
    from qckit.site import load_site

    row = load_site(room).hatches().set_index("hatch").loc["H261119-A"]
    pct = [f"{row[name]:.0f}" for name in ("hatch_pct", "hatch_pct_low", "hatch_pct_high")]
    assert answer[0].startswith("Counted: H261119-A: A {} % ({} to {} %), ".format(*pct)) and ": poor" in answer[0]
    assert answer[1].endswith("qckit report poor-hatch H261119-A")
    assert imported(capsys, room, "import", path) == (0, ["3 samples there already."])  # nothing new, no answer


def test_a_corrected_count_is_answered_and_a_site_without_a_percentage_too(room, tmp_path, capsys):
    path = tmp_path / "samples.csv"
    row = "S1,H261119-A,2026-11-20 09:00,subsample,250,{},3,{},70,person\n"
    path.write_text(SAMPLES + row.format(80, ""), encoding="utf-8")
    said = imported(capsys, room, "import", path)[1]
    line = next(line for line in said if line.startswith("Counted: "))
    assert line.startswith("Counted: H261119-A: A: no percentage, as unhatched cysts were not counted, ")
    assert line.endswith(" nauplii per g.")
    path.write_text(SAMPLES + row.format(80, 12), encoding="utf-8")
    said = imported(capsys, room, "import", path, "--correct", "the second column was copied late")[1]
    assert any(line.startswith("Counted: H261119-A: A 84 % (") for line in said)


def test_a_lot_that_is_not_in_the_log_is_told_once_for_all_its_rows(room, sheet):
    path = sheet("".join(f"2026-12-{day:02d},A,10,80,3,12,70,L-9,\n" for day in range(1, 11)))
    with open_log(room) as log, pytest.raises(InputError) as error:
        import_sheets(log, [path], by="op1")
    said = [line for line in str(error.value).splitlines() if "lot 'L-9' is not a lot" in line]
    assert len(said) == 1 and "row 3, row 4, row 5 and 7 more: " in said[0]


def test_every_sheet_of_a_workbook_is_read(room, sheet, tmp_path):
    """A sheet for each day, as many keep their month, and a sheet of another table beside them."""
    book = openpyxl.Workbook()
    first, second, lots = book.active, book.create_sheet("22 Nov"), book.create_sheet("lots")
    for page, rows in (
        (first, [["2026-11-21", "A", 10, 79, 3, 15, 70], [None, "B", 12]]),
        (second, [["2026-11-22", "B", None, 60, 1, 9, 50]]),
    ):
        for row in (["date", "cone", "grams", "nauplii", "umbrella", "cysts", "shells"], *rows):
            page.append(row)
    for row in (["lot", "received"], ["L-9", "2026-11-01"]):
        lots.append(row)
    book.save(tmp_path / "month.xlsx")
    with open_log(room) as log:
        result = import_sheets(log, [tmp_path / "month.xlsx"], by="op1")
        assert str(result) == "1 lot added, 2 hatches added, 2 samples added."
        assert log.samples(hatch="H261121-B")["nauplii"].tolist() == [60]


def test_the_problems_of_all_days_are_listed_together(room, tmp_path):
    book = openpyxl.Workbook()
    for page, day, count in ((book.active, "2026-11-21", "x"), (book.create_sheet("22 Nov"), "2026-11-22", "y")):
        page.append(["date", "cone", "grams", "nauplii", "umbrella", "cysts", "shells"])
        page.append([day, "A", 10, count, 3, 15, 70])
    book.save(tmp_path / "month.xlsx")
    with open_log(room) as log, pytest.raises(InputError) as caught:
        import_sheets(log, [tmp_path / "month.xlsx"], by="op1")
    assert caught.value.problems["value"].tolist() == ["x", "y"]
    assert "22 Nov" in str(caught.value)


@pytest.mark.parametrize(
    ("rows", "row"),
    [
        ("2026-11-21,A,10,79,3,15,70,,\n,,,82,2,14,71,,\n,B,10,40,3,40,35,,\n,,,201,8,69,176,,\n", 6),
        ("2026-11-21,A,10,79,3,15,70,,\n,,,82,2,14,71,,\n,,,161,5,29,141,,\n,B,10,40,3,40,35,,\n", 5),
    ],
)
def test_a_row_of_sums_is_no_count(room, sheet, rows, row):
    with open_log(room) as log, pytest.raises(InputError) as error:
        import_sheets(log, [sheet(rows)], by="op1")
    assert str(error.value) == (
        "Nothing was imported. 1 cell or row must be put right first:\n"
        f"day-sheet.csv, row {row}: nauplii is with every other count the sum of the rows above. Delete the row "
        "if it is a total; write the cone in it if it is a count."
    )


def test_a_count_that_happens_to_be_a_sum_is_taken(room, sheet):
    few = "2026-11-21,A,10,1,0,2,0,,\n,,,2,0,1,0,,\n,,,3,0,3,0,,\n"
    with open_log(room) as log:
        import_sheets(log, [sheet(few + ",B,10,40,3,40,35,,\n,B,,43,3,43,35,,\n")], by="op1")
        assert log.samples(hatch="H261120-A")["nauplii"].tolist() == [1, 2, 3]


def test_good_rows_are_taken_and_the_others_named(room, sheet):
    path = sheet(
        "2026-11-21,A,30,60,2,9,55,,\n"
        ",B,thirty,50,2,9,55,,\n"
        ",,,52,1,8,50,,\n"  # its grams are those of the row above, which cannot be read
        ",C,30,61,2,9,55,,\n"
        "Total,,,223,7,35,215,,\n"
    )
    with open_log(room) as log:
        with pytest.raises(InputError):
            import_sheets(log, [path], by="op1")
        result = import_sheets(log, [path], by="op1", accept_good_rows=True)
        assert result.added == {"hatches": 2, "samples": 2}
        assert sorted(log.hatches()["cone"].tail(2)) == ["A", "C"]
    told = result.problems[["row", "column"]].to_numpy().tolist()
    assert sorted(told) == [["row 4", "grams"], ["row 5", "grams"], ["row 7", "date"]]


def test_what_only_hangs_on_a_wrong_row_takes_one_line(room, sheet):
    path = sheet("".join(f"2026-12-{day:02d},A,10,80,3,12,70,L-9,\n" for day in range(1, 11)))
    with open_log(room) as log, pytest.raises(InputError) as error:
        import_sheets(log, [path], by="op1")
    lines = str(error.value).splitlines()
    hanging = [line for line in lines if "whose own row has a problem" in line]
    assert len(hanging) == 1 and "row 3, row 4, row 5 and 7 more: hatch is a hatch" in hanging[0]
    assert sum("qckit today --enter , then 9" in line for line in lines) == 1


def book_of(tmp_path, *rows):
    """A day sheet as a workbook, its rows given as dicts."""
    names = ["date", "cone", "grams", "nauplii", "umbrella", "cysts", "shells", "temperature_c", "ph", "lot", "time"]
    names += ["who", "notes"]
    book = openpyxl.Workbook()
    book.active.append(names)
    for row in rows:
        book.active.append([row.get(name) for name in names])
    book.save(tmp_path / "day.xlsx")
    return tmp_path / "day.xlsx"


COUNT = {"nauplii": 80, "umbrella": 3, "cysts": 12, "shells": 70}


def test_the_water_and_who_counted_stand_in_the_sheet(room, tmp_path):
    path = book_of(
        tmp_path,
        {"date": "2026-11-21", "cone": "A", "grams": 10, "temperature_c": "27,4", "ph": 8.1, "who": "OP2"} | COUNT,
        COUNT | {"nauplii": 82},
        {"cone": "B", "grams": 11, "time": "09:30"} | COUNT,
        {"cone": "B", "grams": 12, "time": "10:00", "temperature_c": "82 °F", "who": "op1"},
    )
    with open_log(room) as log:
        result = import_sheets(log, [path], by="op1")
        assert str(result).splitlines()[0] == "3 hatches added, 3 readings added, 3 samples added."
        assert any("who 'OP2' read as op2" in note for note in result.notes)
        assert log.samples(hatch="H261120-A")["counter"].tolist() == ["op2", "op2"]
        second = log.samples(hatch="H261120-B").iloc[0]
        assert (second["counter"], second["taken"]) == ("op2", "2026-11-21T09:30:00+00:00")
        read = log.table("readings")
        assert read[["hatch", "quantity", "value", "unit"]].to_numpy().tolist() == [
            ["H261120-A", "ph", 8.1, "pH"],
            ["H261120-A", "temperature", 27.4, "°C"],
            ["H261121-B", "temperature", 27.78, "°C"],
        ]
        started = log.hatches(hatch="H261121-B").iloc[0]
        assert (started["operator"], started["started"]) == ("op1", "2026-11-21T10:00:00+00:00")
        assert log.hatches(hatch="H261120-A").isna()["operator"].all()  # who counts it need not have started it
        assert not import_sheets(log, [path], by="op1").added


def test_where_one_person_works_nobody_writes_who_counted(room, sheet):
    settings = room / "qckit.toml"
    settings.write_text(settings.read_text("utf-8").replace('people = "op1, op2"', 'people = "ka"'), "utf-8")
    with open_log(room) as log:
        import_sheets(log, [sheet(ROWS)], by="someone")
        assert set(log.samples(hatch="H261120-A")["counter"]) == {"ka"}
        assert log.hatches(hatch="H261120-A")["operator"].tolist() == ["ka"]


def test_readings_alone_are_of_what_stands_in_the_cone(room, tmp_path):
    path = book_of(tmp_path, {"date": "2026-11-19", "cone": "a", "time": "18:00", "temperature_c": 27})
    with open_log(room) as log:
        result = import_sheets(log, [path], by="op1")
        assert log.table("readings")["hatch"].tolist() == ["H261119-A"]
        assert any("cone 'a' read as A" in note for note in result.notes)
        path = book_of(tmp_path, {"date": "2026-12-19", "cone": "A", "time": "18:00", "temperature_c": 27})
        with pytest.raises(InputError) as error:
            import_sheets(log, [path], by="op1")
        assert "row 2: no hatch stood in cone A at 18:00 on 2026-12-19" in str(error.value)


def test_what_is_noted_of_a_hatch_that_the_log_has_is_kept(room, tmp_path):
    """A note is often why a hatch was poor: it used to be dropped where the hatch had been started on another day."""
    day = {"date": "2026-11-20", "cone": "A", "lot": "L-1"}
    with open_log(room) as log:
        import_sheets(log, [book_of(tmp_path, day | COUNT | {"notes": "foam"}, COUNT)], by="op1")
        assert log.hatches(hatch="H261119-A")["notes"].tolist() == ["foam"]
        kept = log.corrections(table="hatches")
        assert kept[["column", "after", "reason"]].to_numpy().tolist() == [["notes", "foam", "more was noted later"]]
        import_sheets(log, [book_of(tmp_path, day | COUNT | {"notes": "foam"}, COUNT | {"notes": "smell"})], by="op1")
        assert log.hatches(hatch="H261119-A")["notes"].tolist() == ["foam; smell"]
        assert not import_sheets(log, [tmp_path / "day.xlsx"], by="op1").added
        assert len(log.corrections(table="hatches")) == 2


def test_a_count_that_the_protocol_does_not_name_is_kept(room, tmp_path):
    path = tmp_path / "day.csv"
    path.write_text("date,cone,N,U,C,E,S\n2026-11-20,A,80,3,2,9,70\n")
    with open_log(room) as log:
        import_sheets(log, [path], by="op1")
        assert log.samples(hatch="H261119-A")[["cysts", "embryos"]].to_numpy().tolist() == [[2, 9]]


def test_cones_and_people_that_the_site_does_not_know_are_named(room, tmp_path):
    path = book_of(tmp_path, {"date": "2026-11-21", "cone": "D", "grams": 10, "who": "xx"} | COUNT)
    with open_log(room) as log:
        notes = import_sheets(log, [path], by="op1").notes
    assert any("cone 'D': not among cones in qckit.toml (A, B)" in note for note in notes)
    assert any("who 'xx': not among people in qckit.toml (op1, op2)" in note for note in notes)


def test_a_hatch_follows_the_protocol_on_decapsulation(room, sheet, bench):
    settings = room / "qckit.toml"
    text = settings.read_text("utf-8")
    assert 'decapsulated = "no"' in text
    settings.write_text(text.replace('decapsulated = "no"', 'decapsulated = "yes"'), "utf-8")
    with open_log(room) as log:
        import_sheets(log, [sheet(ROWS)], by="op1")
        assert log.hatches(hatch="H261120-A")["decapsulated"].tolist() == [True]


def test_sheets_of_a_site_with_a_decimal_comma_part_their_cells_by_semicolons(tmp_path):
    """A spreadsheet program there opens comma-separated rows in one column, and 1,5 typed into them is two cells."""
    site = found_site(tmp_path / "site", Answers(decimal="comma", cones="A, B", people="op1", date_order="dmy"))
    sheets = site / "field-sheets"
    for path in sheets.glob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as handle:
            rows = list(csv.reader(handle, delimiter=";"))
        assert len(rows[-1]) > 3 and "," not in "".join(rows[-1]), path.name
    with open_log(site) as log:
        log.add("lots", pd.DataFrame([{"lot": "L-1", "opened": "2026-11-01"}]), by="op1")
        with (sheets / "day-sheet.csv").open("a", encoding="utf-8") as handle:
            handle.write("20/11/2026;A;1,5;;;;;28,1;8,15;L-1;09:00;op1;\n")
        import_sheets(log, [sheets / "day-sheet.csv"], by="op1")
        assert log.hatches()["cysts_g"].tolist() == [1.5]
        assert log.readings().set_index("quantity")["value"].to_dict() == {"temperature": 28.1, "ph": 8.15}
        with (sheets / "lots.csv").open("a", encoding="utf-8") as handle:
            names = (sheets / "lots.csv").read_text(encoding="utf-8-sig").strip().split(";")
            handle.write(";".join({"lot": "L-2", "price": "38,50"}.get(name, "") for name in names) + "\n")
        log.import_sheets([sheets / "lots.csv"], by="op1")
        assert log.lots().set_index("lot")["price"]["L-2"] == 38.5
    point = found_site(tmp_path / "point") / "field-sheets"
    assert (point / "lots.csv").read_text(encoding="utf-8-sig").startswith("lot,")
