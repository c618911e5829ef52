"""Rows of a sheet that are no records: units below the headings, the headings again, sums of the rows above."""

from __future__ import annotations

import datetime as dt

from qckit.log.problems import CellProblem
from qckit.log.sheets import cells
from qckit.log.sheets.grids import fold_heading, is_blank
from qckit.words import first_few, noun

__all__ = ["without_extra_rows"]

_SUMS = {"total", "totals", "grand total", "subtotal", "sum", "sums", "mean", "means", "average", "avg", "σ", "∑"}
_REMEDY = "Delete the row if it is a total; fill these cells if it is a record."
_ROWS_NAMED = 3


def without_extra_rows(body, headings: dict, cells_of_heading: list) -> tuple[list, list[str], list[CellProblem]]:
    """Leave out what is no record.

    Parameters
    ----------
    body : list of (int, list)
        Rows below the headings with their numbers.
    headings : dict of int to (Column, str)
        Columns by place, as :func:`qckit.log.sheets.headings.headings_of` returns them.
    cells_of_heading : list

    Returns
    -------
    rows : list of (int, list)
        The others.
    notes : list of str
        Which rows were taken for units, and which repeat the headings.
    problems : list of CellProblem
        Rows of sums, one problem each. They are not passed over in silence, for a
        count without its name may look like one.
    """
    folded = [fold_heading(c) for c in cells_of_heading if not is_blank(c)]
    records, units, again, problems = [], [], [], []
    below_headings = True
    for number, row in body:
        if _folded(row) == folded:
            again.append(number)
            below_headings = True
            continue
        if below_headings and _is_unit_row(row):
            units.append(number)
        elif sums := _sums(row, headings):
            problems.append(CellProblem(f"row {number}", *sums, _REMEDY))
        else:
            records.append((number, row))
        below_headings = False
    notes = [f"{_rows(units)} read as units"] if units else []
    if again:
        notes.append(f"{_rows(again)} {noun(len(again), 'repeats', 'repeat')} the headings: passed over")
    return records, notes, problems


def _folded(row) -> list[str]:
    return [fold_heading(c) for c in row if not is_blank(c)]


def _rows(numbers: list[int]) -> str:
    return f"{noun(len(numbers), 'row')} {first_few(numbers, _ROWS_NAMED)}"


def _is_unit_row(row) -> bool:
    texts = [cells.fold_unit(c) for c in row if isinstance(c, str) and c.strip()]
    numbers = [c for c in row if isinstance(c, (int, float, dt.date))]
    known = {u for standard, others in cells.UNITS.items() for u in (cells.fold_unit(standard), *others)} | {
        "ph",
        "text",
        "date",
    }
    return bool(texts) and not numbers and all(t in known for t in texts)


def _sums(row, headings: dict) -> tuple[str, str, str] | None:
    """Column, value and rule of a row that holds numbers and, of all that names a record, nothing but ``total``."""
    filled = {i for i, cell in enumerate(row) if not is_blank(cell)}
    is_number = {i for i, (column, _) in headings.items() if column.kind in ("float", "int")}
    needed = [column.name for i, (column, _) in headings.items() if column.required and i not in is_number]
    words = sorted(filled - is_number)
    if not filled & is_number or len(words) > 1:
        return None
    label = str(row[words[0]]).strip() if words else ""
    if label and label.casefold().rstrip(":. ") not in _SUMS:
        return None
    if not label and not needed:  # such as a day sheet's row of counts, which stands below its cone
        return None
    column = headings[words[0]][0].name if words and words[0] in headings else ""
    lacking = [name for name in needed if name != column]
    rule = f"holds numbers and no {', '.join(lacking)}" if lacking else "names sums, not a record"
    return column, label, rule
