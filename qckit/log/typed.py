"""What people type at a command, read like a cell of a sheet: the site's clock, its order of dates, its commas."""

from __future__ import annotations

from qckit.errors import InputError
from qckit.log.sheets import cells
from qckit.settings import Settings
from qckit.tables import TABLES

__all__ = ["typed_cell", "typed_date", "typed_number", "typed_time"]


def _rules(settings: Settings) -> cells.CellRules:
    return cells.CellRules(settings.site.decimal, settings.site.date_order, settings.site.timezone)


def _value(read: cells.Read, text: object, where: str):
    if read.rule:
        raise InputError(f"{where}: {str(text)!r} {read.rule}. {read.remedy}")
    return read.value


def typed_time(text: str, settings: Settings, where: str) -> str:
    """Read a time as ISO text with offset; without one it is the site's clock.

    Parameters
    ----------
    text : str
    settings : Settings
        Of the site.
    where : str
        Option or column, for the message.

    Raises
    ------
    InputError
        It is no time, or could be two.
    """
    return _value(cells.read_time(text, _rules(settings)), text, where)


def typed_date(text: str, settings: Settings, where: str) -> str:
    """Read a date as ISO text; a month or a year may stand alone. Parameters as of :func:`typed_time`."""
    return _value(cells.read_date(text, _rules(settings)), text, where)


def typed_number(text: str, settings: Settings, where: str, *, unit: str = "") -> float:
    """Read a number, with a decimal comma or point and with or without its unit; else as :func:`typed_time`."""
    sign = cells.decimal_sign([text], semicolons=False, site=settings.site.decimal)
    rules = cells.CellRules(sign, settings.site.date_order, settings.site.timezone)
    return _value(cells.read_number(text, unit, rules), text, where)


def typed_cell(table: str, column: str, text, settings: Settings):
    """Read what is typed for a column; what is no text, or for no column, is returned as it is."""
    found = next((c for c in TABLES.get(table, ()) if c.name == column), None)
    if found is None or not isinstance(text, str) or not text.strip():
        return text
    where = f"{table}: {column}"
    if found.kind == "time":
        return typed_time(text, settings, where)
    if found.kind == "date":
        return typed_date(text, settings, where)
    if found.kind in ("float", "int"):
        try:
            float(text)
            return text
        except ValueError:
            pass
        return typed_number(text, settings, where, unit=found.unit)
    return text
