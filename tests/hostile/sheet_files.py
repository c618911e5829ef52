"""Hostile sheets, the files: what is no sheet, sheets of an odd form, workbooks, what is no file at all."""

from __future__ import annotations

import datetime as dt
import io
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
from sheet_cases import HATCH, LOT, Case, as_csv


def shapes() -> list[Case]:
    """Files that are no sheets, or sheets of an odd form."""
    hatch = as_csv([HATCH])
    text = hatch.decode()
    head, row = text.split("\r\n")[:2]
    lacking = {k: v for k, v in HATCH.items() if k != "cysts_g"}
    other = HATCH | {"hatch": "H-2"}
    ok = {("hatches", "H-1", "cysts_g"): 1.6}
    f = "hatches.csv"
    return [
        Case("sound", {f: hatch}, 0, stored=ok),
        Case("mark of UTF-8", {f: b"\xef\xbb\xbf" + hatch}, 0, stored=ok),
        Case("UTF-16", {f: text.encode("utf-16")}, 0, stored=ok),
        Case(
            "Windows-1252",
            {f: as_csv([HATCH | {"notes": "é°"}]).decode().encode("cp1252")},
            0,
            "read as Windows-1252",
            stored=ok,
        ),
        Case("half a UTF-16", {f: text.encode("utf-16") + b"\xd8"}, 2, "row 3: "),
        Case("semicolons", {f: as_csv([HATCH], ";")}, 0, stored=ok),
        Case("semicolons and commas", {f: as_csv([HATCH | {"cysts_g": "1,6"}], ";")}, 0, stored=ok),
        Case("tabs", {"hatches.tsv": as_csv([HATCH], "\t")}, 0, stored=ok),
        Case("bars", {f: as_csv([HATCH], "|")}, 0, stored=ok),
        Case("sep line", {f: b"sep=;\r\n" + as_csv([HATCH], ";")}, 0, stored=ok),
        Case("line ends of old", {f: text.replace("\r\n", "\r").encode()}, 0, stored=ok),
        Case("mixed line ends", {f: f"{head}\n{row}\r\n\r{row.replace('H-1', 'H-2')}\n".encode()}, 0, stored=ok),
        Case("title above", {f: f"Room 3,,,\r\n\r\n{text}".encode()}, 0, stored=ok),
        Case("units below", {f: f"{head}\r\n,,,,,g,ml\r\n{row}\r\n".encode()}, 0, "read as units", stored=ok),
        Case("empty rows", {f: f"{head}\r\n,,,,,,\r\n\r\n{row}\r\n,,,,,,\r\n".encode()}, 0, stored=ok),
        Case("capitals", {f: f"{head.upper()}\r\n{row}\r\n".encode()}, 0, stored=ok),
        Case("spaced headings", {f: f"{head.replace('cysts_g', ' Cysts (g) ')}\r\n{row}\r\n".encode()}, 0, stored=ok),
        Case(
            "unit in heading",
            {f: f"{head.replace('cysts_g', 'cysts (mg)')}\r\n{row.replace(',1.6,', ',1600,')}\r\n".encode()},
            0,
            stored=ok,
        ),
        Case("no heading", {f: f"{row}\r\n{row}\r\n".encode()}, 2, "no heading row was found"),
        Case("heading alone", {f: f"{head}\r\n".encode()}, 0),
        Case("heading twice", {f: f"{head},cysts_g\r\n{row},1.7\r\n".encode()}, 2, "stands twice"),
        Case("heading within", {f: f"{head}\r\n{row}\r\n{head}\r\n".encode()}, 0, "row 3 repeats", stored=ok),
        Case("unknown heading", {f: as_csv([HATCH | {"colour": "red"}])}, 2, "is not a column of this table"),
        Case(
            "unknown heading left out",
            {f: as_csv([HATCH | {"colour": "red"}])},
            0,
            options=("--ignore", "colour"),
            stored=ok,
        ),
        Case("column lacking", {f: as_csv([lacking])}, 2, "cysts_g"),
        Case(
            "cells to the right", {f: f"{head}\r\n{row},5,6\r\n".encode()}, 2, "stands to the right of the last heading"
        ),
        Case("short row", {f: f"{head}\r\nH-1,L-1\r\n".encode()}, 2, "row 2: "),
        Case("open quote", {f: f'{head}\r\n"{row}\r\n'.encode()}, 2, "a quote mark is open or misplaced"),
        Case("misplaced quote", {f: f'{head}\r\n"H-1"x{row[3:]}\r\n'.encode()}, 2, "a quote mark is open or misplaced"),
        Case("line break in a name", {f: as_csv([HATCH | {"notes": "one\r\ntwo"}])}, 0, stored=ok),
        Case("same row twice", {f: as_csv([HATCH, HATCH])}, 0, stored=ok),
        Case("same name twice", {f: as_csv([HATCH, HATCH | {"cysts_g": "1.7"}])}, 2, "with other values"),
        Case("good and bad", {f: as_csv([HATCH, other | {"cysts_g": "-5"}])}, 2, "row 3: cysts_g"),
        Case(
            "good rows of bad",
            {f: as_csv([HATCH, other | {"cysts_g": "-5"}])},
            1,
            "row 3: cysts_g",
            ("--accept-good-rows",),
            ok,
        ),
        Case(
            "differs from the log",
            {f: as_csv([HATCH | {"hatch": "H-0", "started": "2026-11-02 09:00", "cysts_g": "1.7"}])},
            2,
            "differs from the log",
        ),
        Case("total below", {f: f"{head}\r\n{row}\r\ntotal,,,,,1.6,800\r\n".encode()}, 2, "row 3: "),
        Case("table of another name", {"stuff.csv": hatch}, 0, stored=ok),
        Case("table by option", {"stuff.csv": hatch}, 0, options=("--table", "hatches"), stored=ok),
        Case("wrong table by option", {f: hatch}, 2, "is not a column of this table", ("--table", "lots")),
        Case("unknown table by option", {f: hatch}, 2, "unknown table 'fish'", ("--table", "fish")),
        Case(
            "corrections",
            {"corrections.csv": b"table,key,column\r\nlots,L-1,origin\r\n"},
            2,
            "are not entered from a sheet",
        ),
        Case("no table", {"stuff.csv": b"a,b\r\n1,2\r\n"}, 2, "cannot tell which table it is"),
        Case("empty", {f: b""}, 2, "is empty"),
        Case("blanks", {f: b" \r\n \r\n"}, 2, "is empty"),
        Case("zeros", {f: b"\0" * 3000}, 2, "is not a text file"),
        Case("bytes", {f: bytes(range(256)) * 20}, 2),
        Case("words", {f: b"Lorem ipsum dolor sit amet.\r\n" * 50}, 2),
        Case("web page", {f: b"<html><body><table><tr><td>hatch</td></tr></table></body></html>"}, 2),
        Case("PDF", {f: b"%PDF-1.7\n1 0 obj\nendobj\n"}, 2),
        Case("JSON", {f: b'[{"hatch": "H-1"}]'}, 2),
        Case(
            "old Excel",
            {"hatches.xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000},
            2,
            "is neither CSV nor .xlsx",
        ),
        Case(
            "old Excel misnamed",
            {"hatches.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000},
            2,
            "is neither CSV nor .xlsx",
        ),
        Case("CSV as Excel", {"hatches.xlsx": hatch}, 2, "cannot be read as an Excel workbook"),
        Case("zip", {"hatches.zip": zipped({"hatches.csv": hatch})}, 2),
        Case(
            "cut workbook",
            {"hatches.xlsx": workbook({"hatches": [list(HATCH), list(HATCH.values())]})[:1500]},
            2,
            "cannot be read as an Excel workbook",
        ),
        Case("zip as Excel", {"hatches.xlsx": zipped({"a.txt": b"a"})}, 2, "cannot be read as an Excel workbook"),
        Case("name that steers", {"x\x1b[31m\u202eg.csv": b"a,b\r\n1,2\r\n"}, 2, "\\x1b[31m\\u202eg.csv"),
        Case("name not UTF-8", {os.fsdecode(b"hatches caf\xe9.csv"): hatch}, 0, stored=ok),
        Case("name of two lines", {"hatches\n.csv": hatch}, 0, stored=ok),
        Case("stray half pair", {f: text.replace("production", "production").encode() + b"\xed\xa0\x80,L-1\r\n"}, 2),
        Case("many columns", {f: b"hatch" + b",x" * 5000 + b"\r\n"}, 2, "more than 500"),
        Case("many rows", {"lots.csv": b"lot\n" + b"L-8\n" * 400_100}, 2, "more than 400\u00a0000 rows"),
        Case("many empty rows", {"lots.csv": b"lot\n" + b"\n" * 3_000_000 + b"L-8\n"}, 0),
        Case("wide cell", {"lots.csv": b'lot,notes\nL-8,"' + b"a" * 200_000 + b'"\n'}, 2, "field limit"),
        Case("wide line", {"lots.csv": b"lot" + b"a" * 3_000_000}, 2),
        Case("lots and hatches", {"lots.csv": as_csv([LOT]), f: as_csv([HATCH | {"lot": "L-9"}])}, 0, stored=ok),
        Case(
            "sheet hangs on bad",
            {"lots.csv": as_csv([LOT | {"pack_g": "x"}]), f: as_csv([HATCH | {"lot": "L-9"}])},
            2,
            "whose own row has a problem",
        ),
    ]


def zipped(members: dict[str, bytes]) -> bytes:
    """Return a zip of some members."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in members.items():
            file.writestr(name, content)
    return target.getvalue()


def workbook(sheets: dict[str, list[list]], change: Callable | None = None) -> bytes:
    """Return a workbook of some sheets, after a change of it."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    if change:
        change(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def repacked(content: bytes, member: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook with one of its members changed."""
    with zipfile.ZipFile(io.BytesIO(content)) as old:
        members = {n: old.read(n) for n in old.namelist()}
    members[member] = change(members.get(member, b""))
    return zipped(members)


ENTITIES = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "'
    + b"a" * 1000
    + b'">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 20) for i in range(8))
    + b']><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" '
    b't="inlineStr"><is><t>&i;</t></is></c></row></sheetData></worksheet>'
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><worksheet xmlns="http://schemas.'
    b'openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>lot</t></is></c>'
    b'</row><row r="2"><c r="A2" t="inlineStr"><is><t>&e;</t></is></c></row></sheetData></worksheet>'
)


def workbooks() -> list[Case]:
    """Workbooks as people and programs make them, and as nobody should."""
    head, row = list(HATCH), [*list(HATCH.values())[:4], dt.datetime(2026, 11, 3, 9), 1.6, 800]
    sound = workbook({"hatches": [head, row]})
    ok = {("hatches", "H-1", "cysts_g"): 1.6}

    def book(change: Callable | None = None, rows: list[list] | None = None) -> dict[str, bytes]:
        return {"w.xlsx": workbook({"hatches": rows or [head, row]}, change)}

    def put(cell: str, value, **kind):
        def change(book):
            place = book["hatches"][cell]
            place.value = value
            for name, what in kind.items():
                setattr(place, name, what)

        return change

    sheet1 = "xl/worksheets/sheet1.xml"
    return [
        Case("workbook", book(), 0, stored=ok),
        Case("formula without result", book(put("F2", "=1+0.6")), 2, "is a formula without its result"),
        Case("formula of a program", book(put("A2", "=cmd|' /c calc'!A0")), 2, "is a formula without its result"),
        Case("error in a cell", book(put("F2", "#DIV/0!", data_type="e")), 2, "is a spreadsheet error"),
        Case("date for a name", book(put("A2", dt.datetime(2026, 11, 3))), 2, "is a date, not a name"),
        Case("time for a name", book(put("D2", dt.time(9))), 2, "is a date, not a name"),
        Case("number for a name", book(put("A2", 7.0)), 0, stored={("hatches", "7", "cysts_g"): 1.6}),
        Case(
            "name shown as 007", book(put("A2", 7, number_format="000")), 0, stored={("hatches", "007", "cysts_g"): 1.6}
        ),
        Case("yes for a number", book(put("F2", True)), 2, "is yes or no, not a number"),
        Case("date for a number", book(put("F2", dt.datetime(2026, 6, 1))), 2, "row 2: cysts_g"),
        Case(
            "date without time", book(put("E2", dt.date(2026, 11, 3), number_format="dd/mm/yyyy")), 2, "row 2: started"
        ),
        Case("serial for a time", book(put("E2", 46329.375, number_format="General")), 2, "row 2: started"),
        Case("duration for a time", book(put("E2", dt.timedelta(hours=9))), 2, "row 2: started"),
        Case("year 1900", book(put("E2", dt.datetime(1900, 1, 1, 9))), 2, "is not of the years"),
        Case("huge number", book(put("F2", 1e300)), 2, "is far too large a number"),
        Case("password", {"w.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 6000}, 2, "is neither CSV nor .xlsx"),
        Case("no sheets of ours", {"w.xlsx": workbook({"Sheet1": [["a", "b"], [1, 2]]})}, 2, "cannot tell which table"),
        Case("empty workbook", {"w.xlsx": workbook({"hatches": []})}, 2),
        Case(
            "sheet of notes beside",
            {"w.xlsx": workbook({"hatches": [head, row], "my notes": [["call", "feed"]]})},
            0,
            stored=ok,
        ),
        Case(
            "merged over rows",
            book(lambda b: b["hatches"].merge_cells("B2:B3"), [head, row, ["H-2", None, *row[2:]]]),
            0,
            "read as",
            stored=ok,
        ),
        Case(
            "percent format",
            {
                "w.xlsx": workbook(
                    {"lots": [["lot", "claimed_hatch_pct"], ["L-9", 0.85]]},
                    lambda b: setattr(b["lots"]["B2"], "number_format", "0%"),
                )
            },
            0,
            stored={("lots", "L-9", "claimed_hatch_pct"): 85.0},
        ),
        Case(
            "blank in the last cell",
            book(lambda b: setattr(b["hatches"].cell(1_048_576, 16_384), "value", " ")),
            0,
            stored=ok,
        ),
        Case(
            "word in the last cell",
            book(lambda b: setattr(b["hatches"].cell(1_048_576, 16_384), "value", "x")),
            2,
            "has a cell in column 16384",
        ),
        Case("entities", {"w.xlsx": repacked(sound, sheet1, lambda old: ENTITIES)}, 2),
        Case(
            "entity from outside",
            {"lots.xlsx": repacked(workbook({"lots": [["lot"]]}), sheet1, lambda old: OUTSIDE)},
            2,
        ),
        Case(
            "no workbook part", {"w.xlsx": zipped({sheet1: b"<worksheet/>"})}, 2, "cannot be read as an Excel workbook"
        ),
        Case(
            "broken XML",
            {"w.xlsx": repacked(sound, sheet1, lambda old: old[:-40])},
            2,
            "cannot be read as an Excel workbook",
        ),
        Case(
            "deep XML",
            {"w.xlsx": repacked(sound, sheet1, lambda old: b"<a>" * 200_000)},
            2,
            "cannot be read as an Excel workbook",
        ),
        Case(
            "cell of nowhere",
            {"w.xlsx": repacked(sound, sheet1, lambda old: old.replace(b'r="F2"', b'r="F99999999999"'))},
            2,
        ),
        Case(
            "number in words",
            {"w.xlsx": repacked(sound, sheet1, lambda old: old.replace(b"<v>1.6</v>", b"<v>lots</v>"))},
            2,
        ),
        Case("styles of nowhere", {"w.xlsx": repacked(sound, "xl/styles.xml", lambda old: b"<styleSheet/>")}, 2),
        Case(
            "bomb of zeros",
            {"w.xlsx": repacked(sound, "xl/media/a.png", lambda old: b"\0" * 160_000_000)},
            2,
            "unpacks to more than 150 MB",
        ),
        Case(
            "bomb of rows",
            {"w.xlsx": repacked(sound, sheet1, lambda old: b"<worksheet><sheetData>" + b"<row/>" * 600_000)},
            2,
            "400\u00a0000 rows",
        ),
        Case(
            "bomb of cells",
            {"w.xlsx": repacked(sound, sheet1, lambda old: b"<worksheet><sheetData><row>" + b"<c/>" * 3_100_000)},
            2,
            "3\u00a0000\u00a0000 cells",
        ),
    ]


def no_files() -> list[Case]:
    """What is given for a sheet and is no file."""

    def folder(*files: str):
        def make(place: Path):
            (place / "given.csv").mkdir()
            for name in files:
                (place / "given.csv" / name).write_bytes(as_csv([HATCH]))

        return make

    def sparse(place: Path):
        with (place / "given.csv").open("wb") as file:
            file.truncate(10**9)

    def lock(place: Path):
        folder("hatches.csv")(place)
        (place / "given.csv" / "~$hatches.xlsx").write_bytes(b"lock")
        (place / "given.csv" / ".hidden.csv").write_bytes(b"lock")

    return [
        Case("pipe", lambda p: os.mkfifo(p / "given.csv"), 2, "given.csv"),
        Case("device", lambda p: (p / "given.csv").symlink_to("/dev/zero"), 2, "given.csv"),
        Case("link to nothing", lambda p: (p / "given.csv").symlink_to(p / "gone"), 2, "given.csv"),
        Case("link to itself", lambda p: (p / "given.csv").symlink_to(p / "given.csv"), 2, "given.csv"),
        Case("nothing", lambda p: None, 2, "given.csv"),
        Case("large", sparse, 2, "is larger than 60 MB"),
        Case("folder", folder("hatches.csv"), 0, stored={("hatches", "H-1", "cysts_g"): 1.6}),
        Case("folder with locks", lock, 0, stored={("hatches", "H-1", "cysts_g"): 1.6}),
        Case("empty folder", folder(), 2, "no sheet in this folder"),
    ]
