"""Empty field sheets to fill in: CSV, and an Excel workbook with drop-downs, units, examples and an explanation."""

from __future__ import annotations

import csv
import io
from functools import cache
from math import ceil
from pathlib import Path

from qckit.files import write_whole
from qckit.tables import TABLES, Column
from qckit.words import spaced

__all__ = ["SHEETS", "cell_separator", "write_csv_templates", "write_excel_template"]

SHEETS = ("lots", "hatches", "readings", "samples")
"""Tables people fill by hand."""

_ROWS = 1000  # rows that get drop-downs and limits

_LEFT_OUT = {"samples": ("revision",)}

EXAMPLES: dict[str, list[dict]] = {
    "lots": [
        {
            "lot": "L-07",
            "origin": "salt lake strain",
            "harvested": "2026-08",
            "received": "2026-11-02",
            "opened": "2026-11-03",
            "best_before": "2028-11",
            "claimed_hatch_pct": 85,
            "claimed_nauplii_per_g": 250000,
            "pack_g": 500,
            "price": 70,
            "currency": "EUR",
            "storage_c": 4,
        },
    ],
    "hatches": [
        {
            "hatch": "L-07-A-1103",
            "lot": "L-07",
            "purpose": "standard test",
            "cone": "A",
            "started": "2026-11-03 09:00",
            "cysts_g": 1.602,
            "volume_ml": 800,
            "temperature_c": 28.1,
            "salinity_ppt": 33,
            "ph": 8.2,
            "oxygen_mg_l": 6.3,
            "light_lux": 2100,
            "aeration": "strong",
            "decapsulated": "no",
            "operator": "op1",
        },
    ],
    "readings": [
        {"hatch": "L-07-A-1103", "taken": "2026-11-03 18:00", "quantity": "temperature", "value": 27.8, "unit": "°C"},
        {"hatch": "L-07-A-1103", "taken": "2026-11-03 18:00", "quantity": "oxygen", "value": 6.1, "unit": "mg/l"},
    ],
    "samples": [
        {
            "sample": "L-07-A-1",
            "hatch": "L-07-A-1103",
            "taken": "2026-11-04 09:00",
            "hours": 24,
            "kind": "subsample",
            "volume_ul": 250,
            "dilution": 1,
            "nauplii": 102,
            "umbrella": 4,
            "cysts": 18,
            "shells": 95,
            "counted_by": "person",
            "counter": "op2",
        },
        {
            "sample": "L-07-A-2",
            "hatch": "L-07-A-1103",
            "taken": "2026-11-04 09:02",
            "hours": 24,
            "kind": "subsample",
            "chamber_depth_mm": 1,
            "dilution": 1,
            "counted_by": "photo",
            "photos": "a_2.jpg",
            "um_per_px": 6.2,
        },
    ],
}
"""Invented rows that show how a sheet is filled."""

_WIDTHS = (11, 23, 15, 9, 44, 50, 22)
"""Columns of the explanation."""

_MORE = {
    ("samples", "nauplii"): "leave all counts empty where the photos are to be counted",
    (
        "samples",
        "counted_by",
    ): "may stay empty: counts without photos are a person's, photos without counts are counted",
    ("samples", "counter"): "may stay empty where one person works: people in qckit.toml",
    ("hatches", "decapsulated"): "empty: as in most hatches of its lot, or as the protocol in qckit.toml has it",
    ("samples", "volume_ul"): "one of volume_ul, mass_g, chamber_depth_mm",
    ("hatches", "started"): "site's own clock; or with offset",
    ("readings", "unit"): "one that the quantity knows; another is refused",
}


def columns_of(table: str) -> list[Column]:
    """Return the columns people fill."""
    return [c for c in TABLES[table] if c.name not in _LEFT_OUT.get(table, ())]


def cell_separator(decimal: str) -> str:
    """Return what stands between the cells of a sheet that people fill: where the comma is the decimal sign, 1,5 would
    be two cells, and spreadsheet programs there part cells by semicolons."""
    return ";" if decimal == "comma" else ","


def write_csv_templates(folder: str | Path, *, decimal: str = "point") -> list[Path]:
    """Write a CSV with only its heading row for each table people fill.

    Parameters
    ----------
    folder : path
        Is made; files that are there stay as they are.
    decimal : {"point", "comma"}
        The site's decimal sign.

    Returns
    -------
    list of Path
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for table in SHEETS:
        path = folder / f"{table}.csv"
        if not path.exists():
            with path.open("w", encoding="utf-8-sig", newline="") as handle:
                csv.writer(handle, delimiter=cell_separator(decimal)).writerow([c.name for c in columns_of(table)])
        paths.append(path)
    return paths


def write_excel_template(path: str | Path) -> Path:
    """Write the workbook to fill in.

    Parameters
    ----------
    path : path
        Ends in ``.xlsx``; a file that is there stays as it is.

    Returns
    -------
    Path
    """
    path = Path(path)
    if not path.exists():
        write_whole(path, _workbook())
    return path


@cache
def _workbook() -> bytes:
    """The workbook as a file's bytes, the same for every site."""
    import openpyxl

    book = openpyxl.Workbook()
    _explain(book.active)
    for table in SHEETS:
        _entry_sheet(book.create_sheet(table), table)
    _examples(book.create_sheet("examples"))
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def _head(cell, *, must: bool = False):
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

    cell.font = Font(name="Calibri", bold=True, color="FFFFFF" if must else "222222")
    cell.fill = PatternFill("solid", fgColor="33566B" if must else "D6E0E6")
    cell.alignment = Alignment(wrap_text=True, vertical="center")
    cell.border = Border(bottom=Side(style="medium", color="222222"))


def _entry_sheet(sheet, table: str) -> None:
    from openpyxl.comments import Comment
    from openpyxl.utils import get_column_letter

    for i, column in enumerate(columns_of(table), 1):
        cell = sheet.cell(1, i, column.name + (" *" if _must(table, column) else ""))
        _head(cell, must=_must(table, column))
        cell.comment = Comment(_explained(table, column), "qckit", width=280, height=120)
        letter = get_column_letter(i)
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 4)
        check = _validation(column)
        if check is not None:
            sheet.add_data_validation(check)
            check.add(f"{letter}2:{letter}{_ROWS}")
        if column.kind in ("text", "choice", "time", "date"):  # as text, so that 007 and 2026-09 stay what they are
            sheet.column_dimensions[letter].number_format = "@"
    sheet.freeze_panes = "B2"
    sheet.row_dimensions[1].height = 32
    _print_landscape(sheet)


def _must(table: str, column: Column) -> bool:
    return column.required and (table, column.name) not in (("samples", "nauplii"), ("samples", "counted_by"))


def _explained(table: str, column: Column) -> str:
    parts = [
        column.meaning,
        f"unit: {column.unit}" if column.unit else "",
        _allowed(column),
        _MORE.get((table, column.name), ""),
    ]
    return "\n".join(p for p in parts if p) or "free text"


def _allowed(column: Column) -> str:
    if column.choices:
        return "one of: " + ", ".join(column.choices)
    if column.kind == "yesno":
        return "yes or no"
    if column.kind == "time":
        return "date and time of day, such as 2026-11-04 09:00"
    if column.kind == "date":
        return "date such as 2026-11-04; 2026-09 or 2026 if no more is known"
    if column.low is not None and column.high is not None:
        return f"{spaced(column.low, 'g')} to {spaced(column.high, '.10g')}"
    return ""


def _validation(column: Column):
    from openpyxl.worksheet.datavalidation import DataValidation

    if column.choices or column.kind == "yesno":
        words = column.choices or ("yes", "no")
        check = DataValidation(type="list", formula1=f'"{",".join(words)}"', allow_blank=True)
        check.error = f"Choose one of: {', '.join(words)}."
    elif column.kind in ("float", "int") and column.low is not None and column.high is not None:
        check = DataValidation(
            type="decimal" if column.kind == "float" else "whole",
            operator="between",
            formula1=repr(column.low),
            formula2=repr(column.high),
            allow_blank=True,
        )
        limits = f"A number from {spaced(column.low, 'g')} to {spaced(column.high, '.10g')} {column.unit}".rstrip()
        check.error = f"{limits}. Keep it only if it is written with another unit."
        check.errorStyle = "warning"  # 82 °F may be typed
    else:
        return None
    check.errorTitle = column.name
    check.showErrorMessage = True
    return check


def _explain(sheet) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.title = "explain"
    lines = (
        "How to fill in these sheets",
        "One row is one thing: a lot, a hatch (one cone, once), a water reading, a counted sample.",
        "Dark headings with a star must be filled. Leave a cell empty if the value is not known: never write 0 for it.",
        "Names (lot, hatch, sample) are yours to choose; write them the same way everywhere.",
        "The unit ends each heading: cysts_g is in grams. Another may be written in the cell: 82 °F, 1.5 l, 1602 mg.",
        "Dates as 2026-11-04, or in the order that date_order in qckit.toml names.",
        "Then run:  qckit log import THIS_FILE.  Importing the same sheet again adds nothing.",
    )
    for i, line in enumerate(lines, 1):
        sheet.cell(i, 1, line).font = Font(name="Calibri", bold=i == 1, size=14 if i == 1 else 11)
    row = len(lines) + 2
    for i, title in enumerate(("sheet", "column", "must be filled", "unit", "allowed", "meaning", "example"), 1):
        _head(sheet.cell(row, i, title))
    for table in SHEETS:
        example = EXAMPLES[table][0] | EXAMPLES[table][-1]
        for column in columns_of(table):
            row += 1
            meaning = "; ".join(p for p in (column.meaning, _MORE.get((table, column.name), "")) if p)
            values = (
                table,
                column.name,
                "yes" if _must(table, column) else "",
                column.unit,
                _allowed(column),
                meaning,
                example.get(column.name, ""),
            )
            for i, value in enumerate(values, 1):
                cell = sheet.cell(row, i, value)
                cell.alignment = Alignment(wrap_text=True, vertical="top", horizontal="left")
            n_lines = max(ceil(1.1 * len(str(value)) / width) for value, width in zip(values, _WIDTHS, strict=True))
            sheet.row_dimensions[row].height = 15 * max(n_lines, 1)  # spreadsheet programs do not all fit it themselves
    for letter, width in zip("ABCDEFG", _WIDTHS, strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.freeze_panes = f"A{len(lines) + 3}"
    sheet.sheet_view.showGridLines = False
    _print_landscape(sheet)


def _print_landscape(sheet) -> None:
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _examples(sheet) -> None:
    from openpyxl.styles import Alignment, Font

    sheet.cell(1, 1, "Invented examples; this sheet is not imported.").font = Font(name="Calibri", bold=True)
    row = 3
    for table in SHEETS:
        sheet.cell(row, 1, table).font = Font(name="Calibri", bold=True, size=12)
        for i, column in enumerate(columns_of(table), 1):
            _head(sheet.cell(row + 1, i, column.name), must=_must(table, column))
            for n, example in enumerate(EXAMPLES[table]):
                cell = sheet.cell(row + 2 + n, i, example.get(column.name))
                cell.alignment = Alignment(horizontal="left")
        row += len(EXAMPLES[table]) + 4
    for i in range(1, 20):
        sheet.column_dimensions[sheet.cell(1, i).column_letter].width = 20
    _print_landscape(sheet)
