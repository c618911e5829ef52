"""Sheets of rare makes: a fourth bed, of numbers, clocks, letters and workbooks that the other three lack.

Made, not stored. Every case is one import into the site of ``test_sheet_bed``: day first, Europe/Lisbon, lots L-1 and
L-2, hatch H-0, sample S-0.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import warnings
import zipfile

import numpy as np
from openpyxl.worksheet.table import Table
from sheet_cases import HATCH, SAMPLE, Case, as_csv, one
from sheet_files import repacked, workbook, zipped

GRAMS = {("hatches", "H-1", "cysts_g"): 1.6}
STARTED = {("hatches", "H-1", "started"): "2026-11-03T09:00:00+00:00"}
WARM = {("hatches", "H-1", "temperature_c"): 28.0}
F = "hatches.csv"


def numbers() -> list[Case]:
    """Numbers as keyboards, scales and programs write them."""
    grams = (
        "1,6E0",
        "1.6e+00",
        "+1.6",
        "1.60000",
        " 1.6 ",
        "1.6g",
        "0.0016 kg",
        "1600mg",
        "01.6",
    )
    cases = [one(f"grams {g!r}", "hatches", {"cysts_g": g}, 0, stored=GRAMS) for g in grams]
    none = (
        "\u22121.6",
        "-1,6",
        "1·6",
        "1.6.",
        "1..6",
        "1,6,",
        "1'6",
        "1.6 kg kg",
        "1.6 kg/l",
        "$1.6",
        "1.6?",
        "0",
        "-0",
        "1.6\u200b",
        "１．６",
    )
    cases += [one(f"no grams {g!r}", "hatches", {"cysts_g": g}, 2, "row 2: cysts_g") for g in none]
    warm = ("28 C", "28°C", "28 °C", "28,0", "82.4F", "82,4 °F", "301.15K")
    cases += [one(f"degrees {w!r}", "hatches", {"temperature_c": w}, 0, stored=WARM) for w in warm]
    salt = {"35 ‰": 35.0, "35 ppt": 35.0, "35 psu": 35.0, "35psu": 35.0}
    cases += [
        one(f"salt {s}", "hatches", {"salinity_ppt": s}, 0, stored={("hatches", "H-1", "salinity_ppt"): v})
        for s, v in salt.items()
    ]
    return [
        *cases,
        one("count in powers", "samples", {"nauplii": "4e1"}, 0, stored={("samples", "S-1", "nauplii"): 40}),
        one("count with a point", "samples", {"nauplii": "40.0"}, 0, stored={("samples", "S-1", "nauplii"): 40}),
        one("count with a tilde", "samples", {"nauplii": "~40"}, 2, "row 2: nauplii"),
        one("count and remark", "samples", {"nauplii": "40 (few dead)"}, 2, "row 2: nauplii"),
        one("count of a range", "samples", {"nauplii": "40-45"}, 2, "row 2: nauplii"),
        one("tally", "samples", {"nauplii": "IIII II"}, 2, "row 2: nauplii"),
        one("sum of tallies", "samples", {"nauplii": "20+20"}, 2, "row 2: nauplii"),
        one("count as a date", "samples", {"nauplii": "4-Nov"}, 2, "row 2: nauplii"),
        one("dilution of nothing", "samples", {"dilution": "0"}, 2, "row 2: dilution"),
        one("gathered", "samples", {"dilution": "0.5"}, 0),
        one("dilution as a ratio", "samples", {"dilution": "1:10"}, 2, "row 2: dilution"),
        one("volume of nothing", "samples", {"volume_ul": "0"}, 2, "row 2: volume_ul"),
        one("volume in ml", "samples", {"volume_ul": "0.25 ml"}, 0, stored={("samples", "S-1", "volume_ul"): 250.0}),
        one("cone of nothing", "hatches", {"volume_ml": "0"}, 2, "row 2: volume_ml"),
        one("frozen water", "hatches", {"temperature_c": "-20"}, 2, "row 2: temperature_c"),
        one("pH with a comma", "hatches", {"ph": "8,1"}, 0, stored={("hatches", "H-1", "ph"): 8.1}),
        one("pH of a strip", "hatches", {"ph": "8-8.5"}, 2, "row 2: ph"),
        one("nothing counted", "samples", {"nauplii": "0", "cysts": "0"}, 0),
        one("thousands of apostrophes", "feeds", {"nauplii": "1'500'000"}, 0),
    ]


def clocks() -> list[Case]:
    """Times as clocks, telephones and other programs write them."""
    good = (
        *("2026/11/03 09:00", "3-11-2026 9:00", "03.11.2026 09:00", "3/11/2026 09.00", "2026-11-03T09:00:00.123Z"),
        *("2026-11-03T09:00:00+0000", "2026-11-03 09:00:00", "3/11/2026, 9:00"),
    )
    bad = (
        *(
            "29/02/2027 09:00",
            "2026-11-03 09:00:61",
            "3/11 09:00",
            "3rd of November",
            "tomorrow 9",
            "2026-11-03 9:0:0:0",
        ),
        *("9:00 3/11/2026 10:00", "0/11/2026 9:00", "3/0/2026 9:00", "3/11/0 9:00", "1e9", "inf", "3/11/2026 -9:00"),
    )
    cases = [one(f"clock {t!r}", "hatches", {"started": t}, 0, stored=STARTED) for t in good if ".123" not in t]
    cases += [one(f"parts of a second {t!r}", "hatches", {"started": t}, 0) for t in good if ".123" in t]
    return cases + [one(f"no clock {t!r}", "hatches", {"started": t}, 2, "row 2: started") for t in bad]


def names() -> list[Case]:
    """Names that look alike, and that lead elsewhere."""
    e, combined = "L-é", "L-e\u0301"
    both = as_csv([{"lot": e, "origin": "x"}, {"lot": combined, "origin": "y"}])
    photos = (*("a.jpg; ../b.jpg", "photos/../../x.jpg", "file:///etc/passwd", "//host/x.jpg", "\\\\?\\C:\\x.jpg"),)
    cases = [one(f"photo {p!r}", "samples", {"photos": p}, 2, "names a photo outside the site folder") for p in photos]
    return [
        *cases,
        one("photo by home", "samples", {"photos": "~/x.jpg", "nauplii": "", "cysts": "", "counted_by": "photo"}, 1),
        one("a NUL in a photo's name", "samples", {"photos": "x.jpg\x00.png"}, 2, "row 2: photos"),
        Case("two lots in two spellings of a letter", {"lots.csv": both}, 0),
        one("soft hyphen in a lot", "hatches", {"lot": "L\u00ad-1"}, 0, "marks that nobody can see left out"),
        one("joiner in a lot", "hatches", {"lot": "L\u200d-1"}, 2, "row 2: lot"),
        one("Greek letter in a lot", "hatches", {"lot": "L-１"}, 2, "row 2: lot"),
        one("form feed in a name", "lots", {"lot": "L\x0c9"}, 0),
        one("separator in a name", "lots", {"lot": "L\x1c9"}, 0),
        one("family of signs", "lots", {"lot": "👩‍🔬-9"}, 0),
        one("half a sign", "lots", {"lot": "L-9"}, 0),
        one("accents alone", "lots", {"lot": "\u0301\u0302"}, 2, "has nothing in it that can be seen"),
        one("name of blanks of all kinds", "lots", {"lot": "\u2003\u3000\u00a0"}, 2, "is empty"),
    ]


def texts(rng) -> list[Case]:
    """Files in other dresses."""
    hatch = as_csv([HATCH])
    text = hatch.decode()
    head, row = text.split("\r\n")[:2]
    late = as_csv([SAMPLE | {"hatch": "H-1", "taken": "2026-11-04 09:00"}])
    twice = as_csv([HATCH | {"cysts_g": "1.7"}])
    order = [int(k) for k in rng.permutation(40)]
    many = [HATCH | {"hatch": f"M-{k}", "started": f"2026-10-{k % 28 + 1:02} 09:00"} for k in order]
    return [
        Case("gzip", {F: gzip.compress(hatch)}, 2, "hatches.csv"),
        Case("letters of Cyrillic", {F: as_csv([HATCH | {"notes": "цисты"}]).decode().encode("cp1251")}, 0),
        Case("letters of Japan", {F: as_csv([HATCH | {"notes": "卵"}]).decode().encode("shift_jis")}, 0),
        Case("overlong letters", {F: text.replace("H-1", "H-\udcc0\udc80").encode("utf-8", "surrogateescape")}, 0),
        Case("copy of a sheet", {"hatches (2).csv": hatch}, 0, stored=GRAMS),
        Case("copy of a copy", {"Copy of hatches - final FINAL.csv": hatch}, 0, stored=GRAMS),
        Case("no ending", {"hatches": hatch}, 0, stored=GRAMS),
        Case("text file", {"hatches.txt": hatch}, 0, stored=GRAMS),
        Case("later file first", {"samples.csv": late, F: hatch}, 0, stored=GRAMS),
        Case("one hatch in two files", {F: hatch, "hatches-b.csv": twice}, 2, "with other values"),
        Case("the same file twice", {F: hatch, "hatches-b.csv": hatch}, 0, stored=GRAMS),
        Case("rows of any order", {F: as_csv(many)}, 0, stored={("hatches", "M-7", "cysts_g"): 1.6}),
        Case("heading with breaks", {F: (head.replace("cysts_g", '"cysts\n(g)"') + f"\r\n{row}\r\n").encode()}, 0),
        Case("heading of hard blanks", {F: text.replace("cysts_g", "\u00a0cysts_g\u00a0").encode()}, 0, stored=GRAMS),
        Case("headings alone twice", {F: f"{head}\r\n{head}\r\n{row}\r\n".encode()}, 0, "row 2 repeats", stored=GRAMS),
        Case("all in one cell", {F: f'"{head}"\r\n"{row}"\r\n'.encode()}, 2),
        Case("quotes of quotes", {F: text.replace("H-1", '"H""1"').encode()}, 0),
        Case("backslash quotes", {F: text.replace("H-1", '"H\\"1"').encode()}, 2),
        Case("a form in lines", {F: f"hatch: H-1\nlot: L-1\ncysts: 1.6\n{'-' * 40}\n".encode()}, 2),
        Case("Markdown", {F: f"| {head.replace(',', ' | ')} |\n|---|\n| {row.replace(',', ' | ')} |\n".encode()}, 2),
        Case("fixed widths", {F: f"{head.replace(',', '    ')}\n{row.replace(',', '    ')}\n".encode()}, 2),
        Case("blank lines between", {F: f"{head}\r\n\r\n\r\n{row}\r\n\r\n".encode()}, 0, stored=GRAMS),
        Case("tail of commas", {F: f"{head},,,\r\n{row},,,\r\n".encode()}, 0, stored=GRAMS),
    ]


def books() -> list[Case]:
    """Workbooks whose parts lie, and that other programs wrote."""
    head, row = list(HATCH), [*list(HATCH.values())[:4], dt.datetime(2026, 11, 3, 9), 1.6, 800]
    sound = workbook({"hatches": [head, row]})
    part = "xl/worksheets/sheet1.xml"

    def changed(old: bytes, new: bytes, *, count: int = -1) -> dict[str, bytes]:
        return {"w.xlsx": repacked(sound, part, lambda xml: xml.replace(old, new, count))}

    def book(change) -> dict[str, bytes]:
        return {"w.xlsx": workbook({"hatches": [head, row]}, lambda b: change(b["hatches"]))}

    def with_table(sheet):
        sheet.add_table(Table(displayName="T", ref="A1:G2"))

    def protected(sheet):
        sheet.protection.sheet = True
        sheet.protection.password = "x"

    def as_text(sheet):
        sheet["F2"] = "1,6"

    def percent(sheet):
        sheet["F2"].number_format = "0%"

    def seconds(sheet):
        sheet["E2"] = dt.datetime(2026, 11, 3, 8, 59, 59, 999_999)

    stored, twice = io.BytesIO(), io.BytesIO(sound)
    with zipfile.ZipFile(io.BytesIO(sound)) as old, zipfile.ZipFile(stored, "w", zipfile.ZIP_STORED) as new:
        new.comment = b"c" * 60_000
        for name in old.namelist():
            new.writestr(name, old.read(name))
    with zipfile.ZipFile(twice, "a") as new, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that it is there already
        new.writestr(part, b"<worksheet/>")
    ods = zipped({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<x/>"})
    xlsb = zipped({"[Content_Types].xml": b"<Types/>", "xl/workbook.bin": b"\x83\x01\0"})
    with zipfile.ZipFile(io.BytesIO(sound)) as old:
        windows = zipped({n.replace("/", "\\"): old.read(n) for n in old.namelist()})
    locked = bytearray(sound)
    listed = sound.index(b"PK\x01\x02")
    locked[6], locked[listed + 8] = locked[6] | 1, locked[listed + 8] | 1
    return [
        Case("dimension that lies", changed(b'ref="A1:G2"', b'ref="A1:XFD1048576"'), 0, stored=GRAMS),
        Case("dimension too small", changed(b'ref="A1:G2"', b'ref="A1:A1"'), 0, stored=GRAMS),
        Case("row far down", changed(b'r="2"', b'r="1048576"', count=1), 0),
        Case("number of nothing", changed(b"<v>1.6</v>", b"<v></v>"), 2, "row 2: cysts_g"),
        Case("number without end", changed(b"<v>1.6</v>", b"<v>" + b"9" * 5000 + b"</v>"), 2),
        Case("no number", changed(b"<v>1.6</v>", b"<v>NaN</v>"), 2),
        Case("endless number", changed(b"<v>1.6</v>", b"<v>INF</v>"), 2),
        Case("a table of the office's", book(with_table), 0, stored=GRAMS),
        Case("protected", book(protected), 0, stored=GRAMS),
        Case("number as text with a comma", book(as_text), 0, stored=GRAMS),
        Case("grams shown as percent", book(percent), 2, "row 2: cysts_g"),
        Case("a moment before nine", book(seconds), 0),
        Case("stored, with a comment", {"w.xlsx": stored.getvalue()}, 0, stored=GRAMS),
        Case("a part twice", {"w.xlsx": twice.getvalue()}, 2),
        Case("open document", {"w.ods": ods}, 2, "is neither CSV nor .xlsx"),
        Case("open document, misnamed", {"w.xlsx": ods}, 2, "cannot be read as an Excel workbook"),
        Case("binary workbook", {"w.xlsb": xlsb}, 2),
        Case("parts of Windows", {"w.xlsx": windows}, 2),
        Case("locked part", {"w.xlsx": bytes(locked)}, 2, "cannot be read as an Excel workbook"),
        Case("relations twice", {"w.xlsx": repacked(sound, "_rels/.rels", lambda xml: xml * 2)}, 0),
    ]


def rare_sheets(seed: int = 17) -> list[Case]:
    """Return the fourth bed."""
    return [*numbers(), *clocks(), *names(), *texts(np.random.default_rng(seed)), *books()]
