"""The empty day sheets that a site begins with: a CSV and a workbook with lists and limits for its cells."""

from __future__ import annotations

import csv
from pathlib import Path

from qckit.log.sheets.templates import cell_separator
from qckit.settings import Settings
from qckit.stages import COUNT_LETTERS

__all__ = ["write_day_sheets"]

_HEADING = (
    "One row for each subsample: cone, grams, counts. Date once a day; an empty date, cone, lot, time or who means: as "
    "above. A row with grams and no counts is a hatch started that day; temperature and pH once a cone. No row of "
    "totals. All else comes from qckit.toml."
)
_AFTER_COUNTS = ("temperature_c", "ph", "lot", "time", "who", "notes")
_WIDTHS = {"notes": 28, "temperature_c": 15}


def write_day_sheets(folder: str | Path, settings: Settings) -> list[Path]:
    """Write the empty day sheet as CSV and as a workbook; files that are there stay as they are.

    Parameters
    ----------
    folder : path
    settings : Settings
        Its cones and what it counts.

    Returns
    -------
    list of Path
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    names = ["date", "cone", "grams", *settings.protocol.counted_columns, *_AFTER_COUNTS]
    sheet, book = folder / "day-sheet.csv", folder / "day-sheet.xlsx"
    if not sheet.exists():
        with sheet.open("w", encoding="utf-8-sig", newline="") as handle:
            csv.writer(handle, delimiter=cell_separator(settings.site.decimal)).writerows([[_HEADING], names])
    if not book.exists():
        _write_book(book, names, settings)
    return [sheet, book]


def _write_book(path: Path, names: list[str], settings: Settings) -> None:
    """Write the workbook: the explaining line, the headings, lists and limits for the cells."""
    import openpyxl
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.worksheet.datavalidation import DataValidation

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "day"
    sheet.cell(1, 1, _HEADING).alignment = Alignment(wrap_text=True, vertical="top")
    sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(names))
    sheet.row_dimensions[1].height = 48
    for i, name in enumerate(names, 1):
        cell = sheet.cell(2, i, name)
        cell.font, cell.fill = Font(bold=True), PatternFill("solid", fgColor="D6E0E6")
        letter = cell.column_letter
        sheet.column_dimensions[letter].width = _WIDTHS.get(name, 11)
        if name in ("cone", "lot", "time", "who", "notes"):
            sheet.column_dimensions[letter].number_format = "@"
        check = None
        if name == "cone":
            check = DataValidation(
                type="list", formula1=f'"{",".join(settings.protocol.cone_names)}"', allow_blank=True
            )
        elif name == "who" and settings.protocol.initials:
            check = DataValidation(type="list", formula1=f'"{",".join(settings.protocol.initials)}"', allow_blank=True)
        elif name in COUNT_LETTERS:
            check = DataValidation(
                type="whole", operator="between", formula1="0", formula2="10000000", allow_blank=True
            )
        if check is not None:
            check.showErrorMessage = name != "who"  # a guest may count too
            sheet.add_data_validation(check)
            check.add(f"{letter}3:{letter}2000")
    sheet.freeze_panes = "A3"
    book.save(path)
