"""Field sheets as people keep them, CSV and Excel."""

# ruff: noqa: E501  whole messages

import csv
import datetime as dt
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, NASTY_NAMES

from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.log.sheets.templates import EXAMPLES, SHEETS


@pytest.fixture
def lisbon(tmp_path):
    """Give a log of a site that writes days first."""
    with open_log(new_site(tmp_path / "site", timezone="Europe/Lisbon", date_order="dmy")) as log:
        yield log


MESSY = (
    "Ostrel Cove;;;;;;;\r\n"
    ";;;;;;;\r\n"
    "Hatch *;LOT;Purpose;cone;Started;Cysts (mg);Volume (l);Temperature (°F)\r\n"
    ";;;;;mg;l;°F\r\n"
    " H-1 ;L-1;Standard Test;A;03/11/2026 09:00;1602;0,8;82,4\r\n"
    ";;;;;;;\r\n"
    "H-2;L-1;production;B;3.11.2026 9h05;1598;0,8;n/a\r\n"
)


def test_a_messy_csv_is_read_and_what_was_read_is_said(lisbon, tmp_path):
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    path = tmp_path / "hatches november.csv"
    path.write_bytes(b"\xef\xbb\xbf" + MESSY.encode())
    result = lisbon.import_sheets(path, by="op1")
    rows = lisbon.hatches()
    assert rows["hatch"].tolist() == ["H-1", "H-2"]
    assert rows["started"].tolist() == ["2026-11-03T09:00:00+00:00", "2026-11-03T09:05:00+00:00"]
    assert rows["cysts_g"].tolist() == [1.602, 1.598]
    assert rows["volume_ml"].tolist() == [800.0, 800.0]
    assert rows["temperature_c"].tolist()[0] == 28.0
    assert rows["temperature_c"].isna().tolist() == [False, True]
    assert rows["purpose"].tolist() == ["standard test", "production"]
    notes = "\n".join(result.notes)
    for said in (
        "headings 'Cysts (mg)' read as cysts_g, 'Volume (l)' read as volume_ml and 'Temperature (°F)' read as "
        "temperature_c",
        "row 4 read as units",
        "column temperature_c: '82,4' read as 28 °C",
        "dates read day first, such as '03/11/2026 09:00' read as 2026-11-03T09:00:00+00:00",
        "column temperature_c: 'n/a' taken as empty",
        "column cysts_g: '1602' read as 1.602 g, and 1 more cell like it",
        "column volume_ml: '0,8' read as 800 ml (2 times)",
    ):
        assert f"hatches november.csv: {said}" in notes
    assert lisbon.import_sheets(path, by="op2").unchanged == {"hatches": 2}
    step = lisbon.steps().iloc[-1]
    assert (step["source"], len(step["source_sha256"]), step["by"]) == ("hatches november.csv", 64, "op1")


@pytest.mark.parametrize(
    ("encoding", "separator"), [("utf-8", ","), ("utf-16", "\t"), ("cp1252", ";"), ("utf-8-sig", "|")]
)
def test_encodings_and_separators(lisbon, tmp_path, encoding, separator):
    path = tmp_path / "lots.csv"
    path.write_bytes(
        separator.join(["lot", "notes"]).encode(encoding)
        + ("\n" + separator.join(["L é", "naïve"])).encode(
            "utf-16-le" if encoding == "utf-16" else encoding.replace("-sig", "")
        )
    )
    result = lisbon.import_sheets(path, by="op1")
    assert lisbon.lots()[["lot", "notes"]].values.tolist() == [["L é", "naïve"]]
    assert bool(result.notes) == (encoding == "cp1252")


TWO_ROWS = (
    "sample;hatch;taken;kind;volume;Counts;;;counted_by;photos\n"
    ";;;;µl;nauplii;Umbrella;cysts;;\n"
    "S-1;H-1;04/11/2026 09:00;subsample;250;102;4;18;person;\n"
)


def hatch_for_samples(log):
    """Enter the hatch that the sheets of samples name."""
    log.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    log.add(
        "hatches",
        pd.DataFrame(
            {
                "hatch": ["H-1"],
                "lot": ["L-1"],
                "purpose": ["production"],
                "cone": ["A"],
                "cysts_g": [40],
                "volume_ml": [20000],
                "started": ["2026-11-03T09:00:00+00:00"],
            }
        ),
        by="op1",
    )


def test_headings_over_two_rows(lisbon, tmp_path):
    hatch_for_samples(lisbon)
    path = tmp_path / "monday.csv"
    path.write_text(TWO_ROWS)
    notes = lisbon.import_sheets(path, by="op1").notes
    row = lisbon.samples().iloc[0]
    assert row[["sample", "nauplii", "umbrella", "cysts", "volume_ul"]].tolist() == ["S-1", 102, 4, 18, 250.0]
    assert "monday.csv: heading 'volume (µl)' read as volume_ul" in notes


@pytest.mark.parametrize("units", [True, False])
def test_merged_headings_in_excel(lisbon, tmp_path, units):
    hatch_for_samples(lisbon)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Monday"
    sheet["A1"] = "Hatch room, counts of the day"
    sheet.merge_cells("A1:I1")
    names = [
        "sample",
        "hatch",
        "taken",
        "kind",
        "Volume" if units else "volume_ul",
        "nauplii",
        "cysts",
        "shells",
        "counted_by",
    ]
    for i, name in enumerate(names, 1):
        counts = name in ("nauplii", "cysts", "shells")
        sheet.cell(3 if counts else 2, i, name)
        if not counts and not (units and i == 5):
            sheet.merge_cells(start_row=2, end_row=3, start_column=i, end_column=i)
    if units:
        sheet["E3"] = "[ml]"
    sheet["F2"] = "Counted"
    sheet.merge_cells("F2:H2")
    for i, value in enumerate(
        ["S-1", "H-1", "04/11/2026 09:00", "subsample", 0.25 if units else 250, 102, 18, 95, "person"], 1
    ):
        sheet.cell(4, i, value)
    book.save(tmp_path / "day.xlsx")
    lisbon.import_sheets(tmp_path / "day.xlsx", by="op1")
    row = lisbon.samples().iloc[0]
    assert row[["sample", "nauplii", "cysts", "shells", "volume_ul"]].tolist() == ["S-1", 102, 18, 95, 250.0]


def test_a_first_row_of_data_is_no_heading(lisbon, tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot,notes,price\nL-1,origin,\nL-2,,70\n")  # a cell that reads like a heading
    lisbon.import_sheets(path, by="op1")
    assert lisbon.lots()["lot"].tolist() == ["L-1", "L-2"]


def test_the_template_as_another_program_saved_it(lisbon):
    """The filled template, opened and saved as .xlsx by another spreadsheet program."""
    path = Path(__file__).with_name("template_saved_elsewhere.xlsx")
    (lisbon.folder / "photos" / "a_2.jpg").write_bytes(b"only its being there is looked at")
    result = lisbon.import_sheets(path, by="op1")
    assert (result.added, result.notes) == ({"lots": 1, "hatches": 1, "readings": 2, "samples": 2}, [])
    book = openpyxl.load_workbook(path)
    kinds = [(v.type, v.errorStyle) for v in book["hatches"].data_validations.dataValidation]
    assert ("list", "stop") in kinds
    assert ("decimal", "warning") in kinds  # so that 82 °F may be typed
    assert {c.comment is not None for c in book["hatches"][1]} == {True}


def test_every_problem_with_its_place(lisbon, tmp_path):
    path = tmp_path / "hatches.csv"
    path.write_text(
        "hatch,lot,purpose,cone,started,cysts_g,volume_ml,temperatur_c,notes,notes\n"
        'H-1,L-9,standard test,A,11/24/2026 09:00,"1,602",800,28,,\n'
        "H-2,L-9,testing,B,03/11/2026 09:00,-1,800,28,,\n"
        ",L-9,production,B,03/11/2026 09:00,1.6,800,28,,,stray\n"
    )
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(path, by="op1")
    problems = caught.value.problems
    assert list(problems.columns) == ["sheet", "row", "column", "value", "rule", "remedy"]
    assert problems[["row", "column", "value", "rule"]].values.tolist() == [
        ["heading", "temperatur_c", "", "is not a column of this table"],
        ["heading", "notes", "notes", "stands twice"],
        ["row 2", "started", "11/24/2026 09:00", "has no month 24 in this site's order of dates (dmy)"],
        ["row 2", "cysts_g", "1,602", "could be 1.602 or 1602"],
        ["row 2", "lot", "L-9", "is not a lot in the log or in this import"],
        ["row 3", "purpose", "testing", "is none of standard test, production, reference, investigation"],
        ["row 3", "cysts_g", "-1.0", "is below 0.0001"],
        ["row 3", "lot", "L-9", "is not a lot in the log or in this import"],
        ["row 4", "", "stray", "stands to the right of the last heading"],
        ["row 4", "hatch", "", "is empty and must be filled"],
        ["row 4", "lot", "L-9", "is not a lot in the log or in this import"],
    ]
    lines = str(caught.value).splitlines()
    assert lines[0] == "Nothing was imported. 11 cells or rows must be put right first:"
    assert lines[1].startswith(
        "hatches.csv, heading: temperatur_c is not a column of this table. Did you mean 'temperature_c'?"
    )
    assert lines[1].endswith("Rename the heading, or leave the column out with --ignore 'temperatur_c'.")
    assert lisbon.lots().empty


def test_good_rows_can_be_taken_and_the_rest_is_listed(lisbon, tmp_path):
    lots, hatches = tmp_path / "lots.csv", tmp_path / "hatches.csv"
    lots.write_text("lot,price\nL-1,70\nL-2,cheap\n")
    hatches.write_text(
        "hatch,lot,purpose,cone,started,cysts_g,volume_ml\nH-1,L-1,production,A,2026-11-03 09:00,40,20000\n"
        "H-2,L-2,production,A,2026-11-03 09:00,40,20000\n"
    )
    result = lisbon.import_sheets([hatches, lots], by="op1", accept_good_rows=True)
    assert result.added == {"lots": 1, "hatches": 1}
    assert result.problems[["row", "rule"]].values.tolist() == [
        ["row 3", "is not a number"],
        ["row 3", "is a lot whose own row has a problem"],
    ]
    lots.write_text("lot,price\nL-1,70\nL-2,64\n")  # put right, the rerun completes it
    assert lisbon.import_sheets([hatches, lots], by="op1").added == {"lots": 1, "hatches": 1}


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_nasty_names_go_out_safe_and_come_back_the_same(lisbon, tmp_path, ending):
    from qckit.log import export_csv, export_excel

    lisbon.add("lots", pd.DataFrame({"lot": list(NASTY_NAMES), "notes": list(NASTY_NAMES)}), by="op1")
    if ending == ".csv":
        (path,) = export_csv(lisbon, tmp_path / "out", tables=["lots"])
        with path.open(encoding="utf-8-sig", newline="") as handle:
            cells = [cell for row in csv.reader(handle) for cell in row]
    else:
        path = export_excel(lisbon, tmp_path / "lots.xlsx", tables=["lots"])
        sheet = openpyxl.load_workbook(path).active
        cells = [c.value for row in sheet.iter_rows() for c in row if c.value]
        assert all(c.data_type == "s" for row in sheet.iter_rows() for c in row if c.value)
    assert not [c for c in cells if str(c).startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert lisbon.import_sheets(path, by="op1").unchanged == {"lots": len(NASTY_NAMES)}
    with open_log(new_site(tmp_path / "other")) as other:
        assert other.import_sheets(path, by="op1").added == {"lots": len(NASTY_NAMES)}
        assert sorted(other.lots()["lot"]) == sorted(NASTY_NAMES)
        assert (other.lots()["notes"] == other.lots()["lot"]).all()


def test_the_template_is_filled_and_imported(lisbon, tmp_path):
    source = lisbon.folder / "field-sheets" / "field-sheets.xlsx"
    book = openpyxl.load_workbook(source)
    assert book.sheetnames == ["explain", *SHEETS, "examples"]
    assert [v.formula1 for v in book["hatches"].data_validations.dataValidation if v.type == "list"] == [
        '"standard test,production,reference,investigation"',
        '"yes,no"',
    ]
    with pytest.raises(InputError, match="holds no table that is known"):
        empty = tmp_path / "empty.xlsx"
        openpyxl.Workbook().save(empty)
        lisbon.import_sheets(empty, by="op1")
    assert not lisbon.import_sheets(source, by="op1").added  # an empty template adds nothing
    for name in SHEETS:
        heads = [str(c.value).rstrip(" *") for c in book[name][1]]
        for row, example in enumerate(EXAMPLES[name], 2):
            for column, value in example.items():
                book[name].cell(row, heads.index(column) + 1, value)
    filled = tmp_path / "filled.xlsx"
    book.save(filled)
    result = lisbon.import_sheets(filled, by="op1")
    assert result.added == {"lots": 1, "hatches": 1, "readings": 2, "samples": 2}
    assert lisbon.awaiting_counts()[["photo", "um_per_px"]].values.tolist() == [["a_2.jpg", 6.2]]


def test_excel_with_titles_merges_dates_and_formulas(lisbon, tmp_path):
    import datetime as dt

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "hatches"
    sheet["A1"] = "November"
    sheet.merge_cells("A1:G1")
    heads = ("hatch", "lot", "purpose", "cone", "started", "cysts_g", "volume_ml")
    for i, head in enumerate(heads, 1):
        sheet.cell(2, i, head)
    for row, cone in ((3, "A"), (4, "B")):
        for i, value in enumerate(
            (row, 7 if row == 3 else None, "production", cone, dt.datetime(2026, 11, 3, 9), 40.5, 20000), 1
        ):
            sheet.cell(row, i, value)
    sheet.merge_cells("B3:B4")
    sheet["B3"].number_format = "000"
    sheet["H9"] = None
    book.create_sheet("thoughts")["A1"] = "nothing to import"
    path = tmp_path / "book.xlsx"
    lisbon.add("lots", pd.DataFrame({"lot": ["007"]}), by="op1")
    book.save(path)
    result = lisbon.import_sheets(path, by="op1")
    assert lisbon.hatches()[["hatch", "lot", "started"]].values.tolist() == [
        ["3", "007", "2026-11-03T09:00:00+00:00"],
        ["4", "007", "2026-11-03T09:00:00+00:00"],
    ]
    assert "book.xlsx, sheet hatches: cells merged over rows 3 to 4 read as '007' in each" in result.notes
    sheet["F3"] = "=1+1"
    book.save(path)
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(path, by="op1")
    assert str(caught.value).splitlines()[1] == (
        "book.xlsx, sheet hatches, row 3: cysts_g '=1+1' is a formula without its result. Open and save the sheet in the "
        "spreadsheet program, or type the value."
    )


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.csv", b"", "a.csv: is empty. Save the sheet again."),
        (
            "a.csv",
            b"x,y\n1,2\n",
            'a.csv: cannot tell which table it is. Columns found: x, y. Say so with --table, or give the file or sheet one of the names lots, hatches, readings, samples. Headings of your own: write in qckit.toml, under [site], what they mean, such as  headings = "Larvae = nauplii, Tin = lot".',
        ),
        (
            "a.csv",
            b"seen today\nHatch,nauplii\nH-1,2\n",
            'a.csv: cannot tell which table it is. Columns found: Hatch, nauplii. Most like samples, which also needs sample, taken, kind. Say so with --table, or give the file or sheet one of the names lots, hatches, readings, samples. Headings of your own: write in qckit.toml, under [site], what they mean, such as  headings = "Larvae = nauplii, Tin = lot".',
        ),
        (
            "lots.csv",
            b"x,y\n1,2\n",
            "lots.csv: no heading row was found for lots. Columns found: x, y. Put the column names in one row: lot.",
        ),
        (
            "lots.ods",
            b"PK\x03\x04 and so on",
            "lots.ods: is neither CSV nor .xlsx. Save it as .xlsx or CSV in the spreadsheet program.",
        ),
        (
            "lots.xls",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
            "lots.xls: is neither CSV nor .xlsx. Save it as .xlsx or CSV in the spreadsheet program.",
        ),
        (
            "lots.csv",
            b"lot\x00\x01\x00\x00\x00\x00,notes\n",
            "lots.csv: is not a text file. Save the sheet as CSV or .xlsx.",
        ),
        (
            "lots.csv",
            b'lot,notes\n"L-1,x\n',
            "lots.csv: a quote mark is open or misplaced (unexpected end of data). Save the sheet again.",
        ),
    ],
)
def test_files_that_are_no_sheets(lisbon, tmp_path, name, content, message):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(path, by="op1")
    assert str(caught.value) == message


def test_a_missing_file_and_a_broken_workbook(lisbon, tmp_path):
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(tmp_path / "none.csv", by="op1")
    assert (
        str(caught.value)
        == f"{tmp_path}/none.csv: cannot be read (No such file or directory). Check the file's name and place."
    )
    (tmp_path / "lots.xlsx").write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(InputError, match=r"lots\.xlsx: cannot be read as an Excel workbook"):
        lisbon.import_sheets(tmp_path / "lots.xlsx", by="op1")


def test_readings_in_fahrenheit_and_missing_columns(lisbon, tmp_path):
    lisbon.import_sheets(_write(tmp_path / "lots.csv", "lot\nL-1\n"), by="op1")
    lisbon.import_sheets(
        _write(
            tmp_path / "hatches.csv",
            "hatch,lot,purpose,cone,started,cysts_g,volume_ml\nH-1,L-1,production,A,2026-11-03 09:00,40,20000\n",
        ),
        by="op1",
    )
    lisbon.import_sheets(
        _write(
            tmp_path / "readings.csv", "hatch,taken,quantity,value,unit\nH-1,2026-11-03 10:00,temperature,82.4,°F\n"
        ),
        by="op1",
    )
    assert lisbon.readings(hatch="H-1")[["value", "unit"]].values.tolist() == [[28.0, "°C"]]
    short = _write(
        tmp_path / "hatches.csv", "hatch,lot,cone,start,cysts_g,volume_ml\nH-1,L-1,A,2026-11-03 09:00,9,800\n"
    )
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(short, by="op1", ignore_columns=["start"])
    assert str(caught.value).splitlines()[1] == (
        "hatches.csv, heading: the columns purpose, started must be there and are missing. Columns found: hatch, lot, "
        "cone, cysts_g, volume_ml. Write purpose, started into the heading row and fill these columns in every row. "
        "purpose is standard test, production, reference or investigation."
    )


def test_unknown_columns_are_left_out_only_when_told(lisbon, tmp_path):
    path = _write(tmp_path / "lots.csv", "lot,weather\nL-1,rain\n")
    with pytest.raises(InputError, match="weather is not a column of this table"):
        lisbon.import_sheets(path, by="op1")
    assert lisbon.import_sheets(path, by="op1", ignore_columns=["Weather"]).added == {"lots": 1}


def _write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("headings", [("date", "time"), ("Started date", "started time"), ("Day", "Clock")])
def test_a_time_in_two_columns(lisbon, tmp_path, headings):
    """Dates and times of day apart, as sheets kept by hand have them, typed or as texts, in files and in workbooks."""
    rows = [
        ["hatch", "lot", "purpose", "cone", *headings, "cysts_g", "volume_l"],
        ["H1", "L-1", "production", "A", "04/11/2026", "9:05", 10, 1],
        ["H2", "L-1", "production", "A", dt.datetime(2026, 11, 5), dt.time(21, 30), 10, 1],
        ["H3", "L-1", "production", "A", dt.date(2026, 11, 6), "9:15 pm", 10, 1],
    ]
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "our cones.xlsx")
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    result = lisbon.import_sheets(tmp_path / "our cones.xlsx", by="op1")
    assert any(
        note.endswith(f"columns '{headings[0]}' and '{headings[1]}' read together as started") for note in result.notes
    )
    assert lisbon.hatches()["started"].tolist() == [
        "2026-11-04T09:05:00+00:00",
        "2026-11-05T21:30:00+00:00",
        "2026-11-06T21:15:00+00:00",
    ]


def test_a_date_without_its_time_beside_others_is_a_problem(lisbon, tmp_path):
    path = tmp_path / "hatches.csv"
    path.write_text(
        "hatch,lot,purpose,cone,date,time,cysts_g,volume_ml\nH1,L-1,production,A,2026-11-04,,10,800\n"
        "H2,L-1,production,A,,09:00,10,800\n",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(path, by="op1")
    assert "row 2: started '2026-11-04' has a date but no time of day" in str(caught.value)
    assert "row 3: started '09:00' is not a time with its date" in str(caught.value)


def test_a_date_with_a_time_of_its_own_beside_another_is_a_problem(lisbon, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["hatch", "lot", "purpose", "cone", "date", "time", "cysts_g", "volume_ml"])
    book.active.append(["H1", "L-1", "production", "A", dt.datetime(2026, 11, 4, 14), "9:05", 10, 800])
    book.save(tmp_path / "hatches.xlsx")
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(tmp_path / "hatches.xlsx", by="op1")
    assert "started" in caught.value.problems["column"].tolist()


HEAD = "hatch,lot,purpose,cone,started,cysts_g,volume_ml"


def test_headings_repeated_amid_a_sheet_are_passed_over_in_one_line(lisbon, tmp_path):
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    rows = [f"H{k},L-1,production,A,2026-11-0{k} 09:00,2,800" for k in range(1, 7)]
    sheet = "\n".join(f"{HEAD}\n,,,,,g,ml\n{row}" for row in rows)
    result = lisbon.import_sheets(_write(tmp_path / "hatches.csv", sheet + "\n"), by="op1")
    assert lisbon.hatches()["hatch"].tolist() == ["H1", "H2", "H3", "H4", "H5", "H6"]
    assert result.notes == [
        "hatches.csv: rows 2, 5, 8 and 3 more read as units",
        "hatches.csv: rows 4, 7, 10 and 2 more repeat the headings: passed over",
    ]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("Total,,,,,4,1600", "hatch 'Total' holds numbers and no lot, purpose, cone, started"),
        (",Sum:,,,,4,1600", "lot 'Sum:' holds numbers and no hatch, purpose, cone, started"),
        (",,,,,4,1600", "holds numbers and no hatch, lot, purpose, cone, started"),
    ],
)
def test_a_row_of_sums_is_one_problem(lisbon, tmp_path, row, words):
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    sheet = f"{HEAD}\nH1,L-1,production,A,2026-11-01 09:00,2,800\n{row}\n"
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(_write(tmp_path / "hatches.csv", sheet), by="op1")
    assert str(caught.value).splitlines()[1:] == [
        f"hatches.csv, row 3: {words}. Delete the row if it is a total; fill these cells if it is a record."
    ]
    result = lisbon.import_sheets(tmp_path / "hatches.csv", by="op1", accept_good_rows=True)
    assert result.added == {"hatches": 1} and len(result.problems) == 1


def test_a_hatch_that_is_called_total_stays_a_hatch(lisbon, tmp_path):
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    sheet = f"{HEAD}\nTotal,L-1,production,A,2026-11-01 09:00,2,800\n"
    lisbon.import_sheets(_write(tmp_path / "hatches.csv", sheet), by="op1")
    assert lisbon.hatches()["hatch"].tolist() == ["Total"]


def test_merged_cells_of_many_days_are_said_in_one_line(lisbon, tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "hatches"
    for row in [HEAD.split(","), *[[f"H{k}", "L-1", "production", "A", "2026-11-01 09:00", 2, 800] for k in range(10)]]:
        book.active.append(row)
    for top in range(2, 12, 2):
        book.active.merge_cells(f"B{top}:B{top + 1}")
    book.save(tmp_path / "book.xlsx")
    lisbon.add("lots", pd.DataFrame({"lot": ["L-1"]}), by="op1")
    notes = lisbon.import_sheets(tmp_path / "book.xlsx", by="op1").notes
    merged = [f"over rows {top} to {top + 1} read as 'L-1' in each" for top in (2, 4, 6)]
    assert notes == [f"book.xlsx, sheet hatches: cells merged {', '.join(merged)} and 2 more"]


def test_who_counted_need_not_stand_in_every_row(lisbon, tmp_path):
    """Counts alone are a person's, photos alone are to be counted; both in one row leave it open."""
    lisbon.add_many({"lots": LOTS, "hatches": HATCHES}, by="op1")
    rows = "S-9,H-1,2026-11-05 09:00,subsample,250,{},{}\n"
    head = "sample,hatch,taken,kind,volume_ul,nauplii,photos,counter\n"
    path = tmp_path / "samples.csv"
    path.write_text(head + rows.format(80, "") + "S-8,H-1,2026-11-05 09:00,subsample,250,,b.jpg,\n")
    result = lisbon.import_sheets(path, by="op1")
    assert lisbon.samples(counted=None).set_index("sample")["counted_by"].to_dict() == {"S-9": "person", "S-8": "photo"}
    assert "samples.csv: row 2: counted_by is empty and was taken for person" in result.notes
    assert "samples.csv: row 3: counted_by is empty and was taken for photo" in result.notes
    path.write_text(head + rows.format(80, "c.jpg"))
    with pytest.raises(InputError) as caught:
        lisbon.import_sheets(path, by="op1")
    assert "row 2: counted_by is empty and must be filled" in str(caught.value)


def test_the_only_person_of_a_site_counted(tmp_path):
    site = new_site(tmp_path / "one", changes={"protocol": {"people": "ka"}})
    path = tmp_path / "samples.csv"
    path.write_text("sample,hatch,taken,kind,volume_ul,nauplii\nS-9,H-1,2026-11-05 09:00,subsample,250,80\n")
    with open_log(site) as log:
        log.add_many({"lots": LOTS, "hatches": HATCHES}, by="ka")
        log.import_sheets(path, by="someone")
        assert log.samples()[["counted_by", "counter"]].to_numpy().tolist() == [["person", "ka"]]
        assert str(log.import_sheets(path, by="someone")) == "1 sample there already."
