"""Tables out as CSV and Excel, safe to open in a spreadsheet."""

from __future__ import annotations

import io
from contextlib import ExitStack, suppress
from pathlib import Path

import pandas as pd

from qckit.columns import is_missing
from qckit.errors import InputError
from qckit.files import safe_frame, spreadsheet_csv, whole
from qckit.log import schema
from qckit.words import spaced

__all__ = ["EXPORTED", "export_csv", "export_excel"]

EXPORTED = (*schema.ORDER, "corrections", "steps")
"""Tables that are exported, parents first."""

_EXCEL_ROWS = 1_048_575


def _tables(log, tables) -> dict[str, pd.DataFrame]:
    chosen = list(tables or EXPORTED)
    frames = {}
    for name in chosen:
        frame = log.samples(counted=None) if name == "samples" else log.table(name)
        frames[name] = frame
    return frames


def export_csv(log, folder: str | Path, *, tables=None) -> list[Path]:
    """Write the log's current rows as CSV files, one a table.

    Parameters
    ----------
    log : SiteLog
    folder : path
        Made if need be; files of an earlier export there are replaced, all of them or, where one cannot be written,
        none.
    tables : sequence of str, optional
        All of ``EXPORTED`` when left out.

    Returns
    -------
    list of Path

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     files = log.export_csv(records, "csv", tables=["lots"])
    >>> [file.name for file in files]
    ['lots.csv']
    """
    folder = Path(folder)
    contents = {folder / f"{name}.csv": spreadsheet_csv(frame) for name, frame in _tables(log, tables).items()}
    is_new = not folder.exists()
    try:
        with ExitStack() as stack:  # all are written before the first is put in place
            for path, content in contents.items():
                stack.enter_context(whole(path)).write_bytes(content)
    except OSError as error:
        if is_new:
            with suppress(OSError):
                folder.rmdir()
        raise InputError(
            f"{folder}: cannot be written ({error.strerror}), and nothing was. Give another folder."
        ) from error
    return list(contents)


def export_excel(log, path: str | Path, *, tables=None) -> Path:
    """Write the log's current rows as an Excel workbook, one sheet a table.

    Parameters
    ----------
    log : SiteLog
    path : path
    tables : sequence of str, optional
        All but objects when left out: they seldom fit a sheet.

    Returns
    -------
    Path

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     file = log.export_excel(records, "lots.xlsx", tables=["lots"])
    >>> file.name
    'lots.xlsx'
    """
    from openpyxl import Workbook
    from openpyxl.styles import Font

    path = Path(path)
    frames = _tables(log, tables or [name for name in EXPORTED if name != "objects"])
    for name, frame in frames.items():
        if len(frame) > _EXCEL_ROWS:
            has = spaced(len(frame))
            raise InputError(f"{name}: has {has} rows, and a sheet holds {spaced(_EXCEL_ROWS)}. Export it as CSV.")
    try:
        # opened before any sheet is begun, and written in one go: a sheet begun and never saved complains at the end
        with whole(path) as passing, passing.open("wb") as target:
            book = Workbook(write_only=True)
            for name, frame in frames.items():
                _sheet(book.create_sheet(name), safe_frame(frame), Font(bold=True))
            data = io.BytesIO()
            book.save(data)
            target.write(data.getbuffer())
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror}). Close it elsewhere, or give another name."
        ) from error
    return path


def _sheet(sheet, frame: pd.DataFrame, bold) -> None:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    sheet.freeze_panes = "B2"
    heads = []
    for column in frame.columns:
        cell = WriteOnlyCell(sheet, value=column)
        cell.font = bold
        heads.append(cell)
    sheet.append(heads)
    for row in frame.astype(object).itertuples(index=False):
        cells = []
        for value in row:
            if is_missing(value):
                cells.append(None)
            elif isinstance(value, str):
                cell = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("\ufffd", value))
                cell.data_type = "s"  # text, whatever it starts with
                cell.number_format = "@"
                cells.append(cell)
            else:
                cells.append(value.item() if hasattr(value, "item") else value)
        sheet.append(cells)
