"""Field sheets as carelessness and malice write them: what is taken, refused or doubted, and never a traceback."""

import csv
import io
import os
import zipfile

import openpyxl
import pandas as pd
import pytest

from qckit.log import new_site, open_log

HATCH_HEAD = ("hatch", "lot", "purpose", "cone", "started", "cysts_g", "volume_ml")
SAMPLE_HEAD = ("sample", "hatch", "taken", "kind", "volume_ul", "dilution", "nauplii", "cysts", "counted_by")
H = dict(zip(HATCH_HEAD, ("H-1", "L-1", "production", "A", "2026-11-03 09:00", 1.6, 800), strict=True))
S = dict(zip(SAMPLE_HEAD, ("S-1", "H-1", "2026-11-04 09:00", "subsample", 250, 10, 10, 2, "person"), strict=True))


@pytest.fixture
def site(tmp_path):
    folder = new_site(tmp_path / "site", timezone="Europe/Lisbon", date_order="dmy")
    with open_log(folder) as log:
        log.add("lots", pd.DataFrame({"lot": ["L-1", "L-2"]}), by="op1")
    return folder


def sheet(folder, name, rows, head=None):
    """Write rows as CSV; return its path."""
    path = folder / f"{name}.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, head or list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


@pytest.mark.parametrize(
    ("table", "cell", "code", "said"),
    [
        ("hatches", {}, 0, ""),
        ("hatches", {"started": "1926-11-03 09:00"}, 2, "is not of the years 1950 to 2100"),
        ("hatches", {"started": "0001-11-03 09:00"}, 2, "is not of the years"),
        ("hatches", {"started": "0001-11-03T09:00+00:00"}, 2, "is not of the years"),
        ("hatches", {"started": "2062-11-03 09:00"}, 1, "still to come"),
        ("hatches", {"started": "9999-12-31 23:59"}, 2, "is not of the years"),
        ("hatches", {"started": "2026-11-03 09:00 +25:00"}, 2, "has an offset from UTC that no place has"),
        ("hatches", {"started": "2026-11-03 09:00-13:00"}, 2, "has an offset from UTC that no place has"),
        ("hatches", {"started": "2026-11-03T09:00:00+14:00"}, 0, ""),
        ("hatches", {"hatch": "\u200b"}, 2, "has nothing in it that can be seen"),
        ("hatches", {"hatch": "\u202e\u2066"}, 2, "has nothing in it that can be seen"),
        ("hatches", {"hatch": "a\x00b"}, 2, "x00b' holds a character that cannot be stored"),
        ("hatches", {"cysts_g": "9" * 60}, 2, "row 2: cysts_g"),
        ("hatches", {"cysts_g": "1e308"}, 2, "is far too large a number"),
        ("hatches", {"cysts_g": "1e99999999"}, 2, "is far too large a number"),
        ("hatches", {"cysts_g": "-5"}, 2, "cysts_g '-5.0' is below"),
        ("hatches", {"cysts_g": "nan"}, 2, "is not a number"),
        ("hatches", {"ph": 1}, 1, "the pH is 1"),
        ("hatches", {"ph": 15}, 2, "is above 14"),
        ("hatches", {"salinity_ppt": 0.033}, 1, "the salinity is 0.033"),
        ("samples", {}, 0, ""),
        ("samples", {"volume_ul": 900_000}, 2, "is more than the whole cone"),
        ("samples", {"volume_ul": 300_000, "dilution": 1}, 1, "of the cone"),
        ("samples", {"volume_ul": ""}, 1, "has neither volume_ul, mass_g nor chamber_depth_mm"),
        ("samples", {"nauplii": "1e308"}, 2, "is far too large a number"),
        ("samples", {"nauplii": "9" * 20}, 2, "is above"),
        ("samples", {"nauplii": "100.5"}, 2, "is not a whole number"),
        ("samples", {"hours": 300, "taken": "2026-11-15 21:00"}, 1, "300 h after wetting"),
        ("samples", {"photos": "../../x.jpg"}, 2, "names a photo outside the site folder"),
        ("samples", {"photos": "/etc/x.jpg"}, 2, "names a photo outside the site folder"),
        ("samples", {"photos": "C:\\x.jpg"}, 2, "names a photo outside the site folder"),
        ("samples", {"kind": "harvest", "harvest_ml": 0.1}, 2, "is more than the whole harvest"),
        ("samples", {"kind": "harvest"}, 1, "harvest_ml or harvest_g is not given"),
        ("readings", {"quantity": "ph", "value": 15}, 2, "is no pH"),
        ("readings", {"quantity": "ph", "value": 2, "unit": "pH"}, 1, "the pH is 2"),
        ("lots", {"claimed_hatch_pct": "0.85"}, 1, "looks like a fraction"),
        ("lots", {"harvested": "1900"}, 2, "row 2: harvested"),
        ("lots", {"harvested": "1960"}, 1, "harvested is 1960"),
        ("lots", {"received": "2062-01-01"}, 1, "still to come"),
        ("lots", {"received": "2026-02-01", "opened": "2026-01-01"}, 1, "opened is 1 Jan 2026, and received is"),
    ],
)
def test_a_cell(site, run, table, cell, code, said):
    with open_log(site) as log:
        if table in ("samples", "readings"):
            log.import_sheets(sheet(site, "hatches", [H]), by="op1")
    reading = {"hatch": "H-1", "taken": "2026-11-03 10:00", "quantity": "ph", "value": 8, "unit": "pH"}
    row = {"hatches": H, "samples": S, "readings": reading, "lots": {"lot": "L-9"}}[table] | cell
    got, out, err = run("log", "import", sheet(site, table, [row]), "--site", site, "--by", "op1")
    assert (got, said in out + err) == (code, True), out + err
    if code == 1:
        assert said in run("log", "check", "--site", site)[1]  # and it is found again


def test_an_absent_column_leaves_values_alone(site, run):
    rows = [S, S | {"sample": "S-2", "taken": "2026-11-04 09:05"}]
    hatch = H | {"temperature_c": 28, "notes": "first"}
    run("log", "import", sheet(site, "hatches", [hatch]), sheet(site, "samples", rows), "--site", site, "--by", "a")
    short = [{k: v for k, v in row.items() if k != "dilution"} for row in rows]
    again = sheet(site, "samples", short), sheet(site, "hatches", [H])
    code, out, _ = run("log", "import", *again, "--site", site, "--by", "a")
    assert code == 0 and "already" in out
    short[0]["nauplii"] = 9
    sheet(site, "samples", short)
    code, out, _ = run("log", "import", *again, "--correct", "counted again", "--site", site, "--by", "a")
    assert (code, "1 cell" in out) == (0, True)
    with open_log(site) as log:
        assert log.samples()["dilution"].tolist() == [10, 10] and log.samples()["nauplii"].tolist() == [9, 10]
        assert log.hatches()[["temperature_c", "notes"]].values.tolist() == [[28, "first"]]
    code, out, _ = run("log", "import", sheet(site, "samples", rows), "--site", site, "--by", "a")  # the older sheet
    assert code == 0 and "sample S-1 has nauplii 10 here, as once entered, and 9 in the log since" in out


def test_an_emptied_cell_is_asked_about(site, run):
    run("log", "import", sheet(site, "hatches", [H | {"notes": "first"}]), "--site", site, "--by", "a")
    emptied = sheet(site, "hatches", [H | {"notes": "", "cysts_g": 1.7}])
    arguments = ("log", "import", emptied, "--correct", "slip", "--site", site, "--by", "a")
    code, _, err = run(*arguments)
    assert code == 2 and "row 2: notes is empty here, and the log has first. Say with --emptied keep" in err
    assert run(*arguments, "--emptied", "keep")[0] == 0
    with open_log(site) as log:
        assert log.hatches()[["cysts_g", "notes"]].values.tolist() == [[1.7, "first"]]
    assert run(*arguments, "--emptied", "empty")[0] == 0
    with open_log(site) as log:
        assert log.hatches()["notes"].isna().all()


def test_the_older_sheet_says_what_it_would_change(site, run):
    path = sheet(site, "hatches", [H])
    run("log", "import", path, "--site", site, "--by", "a")
    run("log", "correct", "hatches", "H-1", "cysts_g", "1,65", "--reason", "scale", "--site", site, "--by", "a")
    code, out, _ = run("log", "import", path, "--site", site, "--by", "a")
    assert code == 0 and "hatch H-1 has cysts_g 1.6 here, as once entered, and 1.65 in the log since" in out


def test_all_day_month_dates_are_one_line(site, run):
    rows = [H | {"hatch": f"H-{i}", "started": f"{i % 27 + 1}/11/2026 09:0{i % 10}"} for i in range(92)]
    rows = [r for r in rows if int(r["started"].split("/")[0]) < 25]
    _, out, _ = run("log", "import", sheet(site, "hatches", rows), "--site", site, "--by", "a")
    assert [line for line in out.splitlines() if "dates read" in line] == [
        "note: hatches.csv: dates read day first, such as '1/11/2026 09:00' read as 1 Nov 2026 09:00 +00:00"
    ]
    assert "column started" not in out


def test_a_folder_of_sheets(site, run, tmp_path):
    folder = tmp_path / "sheets"
    folder.mkdir()
    sheet(folder, "hatches", [H])
    sheet(folder, "samples", [S])
    (folder / "~$samples.xlsx").write_bytes(b"lock")
    code, _, err = run("log", "import", folder, "--site", site, "--by", "a")
    assert code == 0, err
    (tmp_path / "empty").mkdir()
    assert "no sheet in this folder" in run("log", "import", tmp_path / "empty", "--site", site)[2]


def test_a_date_for_a_name_is_refused(site, run, tmp_path):
    import datetime as dt

    book = openpyxl.Workbook()
    book.active.title = "hatches"
    book.active.append(list(H))
    book.active.append(list((H | {"hatch": dt.datetime(2026, 11, 3)}).values()))
    book.save(tmp_path / "a.xlsx")
    code, _, err = run("log", "import", tmp_path / "a.xlsx", "--site", site, "--by", "a")
    assert code == 2 and "hatch" in err and "is a date, not a name" in err


def test_a_workbook_saved_sheet_by_sheet_brings_no_examples(site, run, tmp_path):
    """A spreadsheet program saves each sheet of the template as NAME-SHEET.csv, its invented examples too."""
    folder = tmp_path / "saved"
    folder.mkdir()
    sheet(folder, "filled-hatches", [H])
    sheet(folder, "filled-examples", [H | {"hatch": "H-77"}])
    code, out, err = run("log", "import", folder, "--table", "hatches", "--site", site, "--by", "a")
    assert (code, out + err) == (0, "1 hatch added.\n")
    code, out, err = run("log", "import", folder / "filled-examples.csv", "--site", site, "--by", "a")
    assert code == 2 and "is the workbook's page of explanations or of invented examples. Leave it out." in err
    (folder / "monday.ods").write_bytes(b"PK")
    code, out, err = run("log", "import", folder, "--table", "hatches", "--site", site, "--by", "a")
    assert code == 2 and "monday.ods: is neither CSV nor .xlsx. Save it as .xlsx or CSV" in err


def test_many_rows_with_the_same_doubt_take_few_lines(site, run):
    """One dilution wrong throughout a sheet: three rows and how many more, not a line for each."""
    run("log", "import", sheet(site, "hatches", [H]), "--site", site, "--by", "a")
    rows = [S | {"sample": f"S-{i}", "nauplii": 5000 + i} for i in range(60)]
    code, out, _ = run("log", "import", sheet(site, "samples", rows), "--site", site, "--by", "a")
    assert code == 1 and sum("more than a gram of cysts holds" in n for n in out.splitlines() if "note:" in n) == 3
    assert "note: 57 more values hardly can be: see  qckit log check." in out


def test_an_unknown_cone_beside_known_ones(site, run):
    rows = [H | {"hatch": f"H-{i}", "cone": "AB"[i % 2], "started": f"2026-10-{i + 1:02} 09:00"} for i in range(14)]
    assert run("log", "import", sheet(site, "hatches", rows), "--site", site, "--by", "a")[0] == 0
    new = sheet(site, "hatches", [H | {"hatch": "H-99", "cone": "Q"}])
    code, out, _ = run("log", "import", new, "--site", site, "--by", "a")
    assert code == 1 and "no other hatch stood in cone 'Q'. Known: A, B." in out
    assert "cone 'Q'" in run("log", "check", "--site", site)[1]
    change = ("log", "correct", "hatches", "H-1", "cone", "R", "--reason", "x", "--site", site, "--by", "a")
    code, out, _ = run(*change)
    assert code == 1 and "no other hatch stood in cone 'R'. Known: A, B." in out


# ---- bombs: stated limits, quickly, in little memory


def last_cell(path):
    """Save a workbook with a blank in its last possible cell."""
    book = openpyxl.Workbook()
    book.active.title = "lots"
    book.active.append(["lot", "notes"])
    book.active.append(["L-7", ""])
    book.active.cell(1_048_576, 16_384).value = " "
    book.save(path)


def with_member(path, name, pieces):
    """Put a large member into a workbook in place of its own."""
    small = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["lot"])
    book.save(small)
    with zipfile.ZipFile(small) as source, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as target:
        for info in source.infolist():
            if info.filename != name:
                target.writestr(info.filename, source.read(info))
        with target.open(name, "w", force_zip64=True) as file:
            for piece in pieces:
                file.write(piece)


HEAD = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("xl/worksheets/sheet1.xml", lambda: [HEAD, *[b"<row/>" * 100_000] * 6]),
        ("xl/worksheets/sheet1.xml", lambda: [HEAD, b"<row>", *[b"<c/>" * 250_000] * 14]),
        ("xl/sharedStrings.xml", lambda: [b"<sst><si><t>", *[b"a" * 10_000_000] * 16]),
        ("xl/media/image1.png", lambda: [b"\0" * 10_000_000] * 16),
    ],
)
def test_workbook_bombs(site, run, tmp_path, name, pieces):
    with_member(tmp_path / "lots.xlsx", name, pieces())
    code, _, err = run("log", "import", tmp_path / "lots.xlsx", "--site", site)
    assert code == 2 and "unpacks to more than 150 MB, 400\u00a0000 rows or 3\u00a0000\u00a0000 cells" in err


def test_a_blank_in_the_last_cell_is_no_table_of_billions(site, run, tmp_path):
    last_cell(tmp_path / "lots.xlsx")
    assert run("log", "import", tmp_path / "lots.xlsx", "--site", site, "--by", "a")[0] == 0


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"lot\n" + b"\n" * 20_000_000 + b"L-8\n", ""),
        (b"lot\n" + b"," * 2_000_000, "more than 500"),
        (b"lot\nL-8\n" * 250_000, "more than 400\u00a0000 rows"),
        (b'lot,notes\nL-8,"' + b"a" * 200_000 + b'"\n', "field larger than field limit"),
        (b"\xff\xfe" + "lot\nL-8\n".encode("utf-16-le") + b"\xd8", ""),
        (bytes(range(256)) * 20, ""),
    ],
)
def test_csv_bombs(site, run, tmp_path, content, said):
    (tmp_path / "lots.csv").write_bytes(content)
    code, out, err = run("log", "import", tmp_path / "lots.csv", "--site", site, "--by", "a")
    assert said in err and code == (2 if said else code), out + err


def test_what_is_no_file(site, run, tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "zero.csv").symlink_to("/dev/zero")
    with (tmp_path / "large.csv").open("wb") as file:
        file.truncate(10**9)
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04" + os.urandom(500))
    for name in ("pipe.csv", "zero.csv", "large.csv", "bad.xlsx", "none.csv"):
        code, _, err = run("log", "import", tmp_path / name, "--site", site)
        assert code == 2 and name in err and len(err.splitlines()) == 1
