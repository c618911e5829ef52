"""What people type and are offered to type, as in a cell of a sheet: the site's clock, order of dates, and commas."""

from __future__ import annotations

import contextlib
import datetime as dt
import math
import re
import zoneinfo

from qckit.errors import InputError
from qckit.log.sheets import cells
from qckit.settings import Settings
from qckit.tables import TABLES

__all__ = [
    "as_typed",
    "moment_of",
    "option_count",
    "option_number",
    "past_day",
    "site_time",
    "typed_cell",
    "typed_date",
    "typed_day",
    "typed_months",
    "typed_number",
    "typed_time",
    "with_year",
]


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


def site_time(settings: Settings, now: str = "") -> dt.datetime:
    """Return the moment asked for, typed as on a sheet, at the site's clock; empty: this moment."""
    try:
        zone = zoneinfo.ZoneInfo(settings.site.timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError) as error:
        raise InputError(
            f"{settings.folder}: the setting timezone is {settings.site.timezone!r}, which is no known time zone. "
            f"Write one like UTC or Europe/Lisbon."
        ) from error
    if not now:
        return dt.datetime.now(zone).replace(microsecond=0)
    return dt.datetime.fromisoformat(typed_time(str(now), settings, "now")).astimezone(zone)


def moment_of(now: str | None, settings: Settings) -> str:
    """Return the time of a page, typed as on a sheet, as ISO text; empty: this moment."""
    return typed_time(str(now), settings, "now") if now else site_time(settings).isoformat(timespec="seconds")


def typed_date(text: str, settings: Settings, where: str) -> str:
    """Read a date as ISO text; a month or a year may stand alone. Parameters as of :func:`typed_time`."""
    return _value(cells.read_date(text, _rules(settings)), text, where)


def typed_day(text: str, settings: Settings, where: str) -> str:
    """Read a date; a day and month without a year are those nearest to today. Parameters as of :func:`typed_time`."""
    return typed_date(with_year(text, settings, site_time(settings).date(), is_past=False), settings, where)


def with_year(text: str, settings: Settings, today: dt.date, *, is_past: bool = True) -> str:
    """Write the year behind a day and month without one, as in ``4.11. 9:05``, ``4/11`` or, where the month stands
    first, ``11/4``: that of the last such day or, of one that need not be past, of the nearest. Other texts, and those
    of a site whose dates begin with the year, stay.
    """
    order = settings.site.date_order
    found = re.fullmatch(r"\s*(\d{1,2})(?:(\.)\s?(\d{1,2})\.|(/)(\d{1,2}))(\s.*)?", text)
    if not found or order == "ymd" or (order == "mdy" and found[2]):
        return text
    first, second, sign = int(found[1]), int(found[3] or found[5]), found[2] or found[4]
    day, month = (first, second) if order == "dmy" else (second, first)
    days = []
    for year in (today.year, today.year - 1, today.year + 1):
        with contextlib.suppress(ValueError):
            days.append(dt.date(year, month, day))
    days = [when for when in days if when <= today or not is_past]
    if not days:
        return text
    year = min(days, key=lambda when: abs(when - today)).year
    return f"{first}{sign}{second}{sign}{year}{found[6] or ''}"


def past_day(text: str, settings: Settings, today: dt.date) -> str:
    """Write the year behind a day and month of something done; an InputError where the nearest such day lies ahead,
    as tomorrow's would be taken for that of last year. Parameters as of :func:`with_year`."""
    past, nearest = (with_year(text, settings, today, is_past=is_past) for is_past in (True, False))
    if past != nearest:
        raise InputError(f"{nearest} still lies ahead. Type the day it was done, or its year if it was last year's.")
    return past


def typed_number(text: str, settings: Settings, where: str, *, unit: str = "", whole: bool = False) -> float:
    """Read a number, with a decimal comma or point and with or without its unit; else as :func:`typed_time`.

    Of whole things 1,200 can be one number only, where the comma is not the site's decimal sign.
    """
    mark = "." if settings.site.decimal == "comma" else ","
    if whole and _is_grouped(text, mark):
        text = text.replace(mark, "")
    sign = cells.decimal_sign([text], semicolons=False, site=settings.site.decimal)
    rules = cells.CellRules(sign, settings.site.date_order, settings.site.timezone)
    return _value(cells.read_number(text, unit, rules), text, where)


def as_typed(value: float, settings: Settings, form: str = "g") -> str:
    """Write a number that is offered to be taken or changed, by the site's own sign, so that it is read as it stands:
    where that is the comma, 14.125 g would be asked about, as it could be 14125.

    Parameters
    ----------
    value : float
    settings : Settings
        Of the site.
    form : str
        How Python is to write it.
    """
    text = format(value, form)
    return text.replace(".", ",") if settings.site.decimal == "comma" else text


_GROUPED = r"[-+]?[1-9]\d{0,2}(?:%s\d{3})+"
"""Digits in threes behind a sign, such as 1.200: thousands to some, a fraction to others."""


def _is_grouped(text: str, sign: str) -> bool:
    return re.fullmatch(_GROUPED % re.escape(sign), text.strip()) is not None


def option_number(text: str, unit: str, where: str, *, decimal: str = "point") -> float:
    """Read a number: with a point as programs write it, or a comma that can mean one thing only.

    ``decimal`` is the site's sign. Where that is the comma, 400.000 is refused: nobody there means 400 by it.
    """
    try:
        number = math.nan if decimal == "comma" and _is_grouped(text, ".") else float(text)
    except ValueError:
        number = math.nan
    if math.isnan(number):
        rules = cells.CellRules(cells.decimal_sign([text], semicolons=False, site=decimal))
        return _value(cells.read_number(text, unit, rules), text, where)
    return _value(cells.read_number(number, unit, cells.CellRules()), text, where)


_LARGE = {1e6: ("m", "mio", "mill", "mln", "million", "millions"), 1e3: ("k", "thousand", "tsd")}


def option_count(text: str, where: str, *, decimal: str = "point") -> float:
    """Read how many, such as 3500000, 3.5 million, 3,5 Mio, 800 k or 400,000; else as :func:`option_number`.

    What is counted is whole, so digits in threes are thousands; behind the site's own decimal sign they are refused,
    as is a fraction without a word such as million.
    """
    found = re.fullmatch(r"(.*\d)\s*([A-Za-z]+)\.?", text.strip())
    if found:
        for factor, words in _LARGE.items():
            if found[2].casefold() in words:
                number = found[1].strip()
                if re.fullmatch(r"\d{1,3}[.,]\d{3}", number):  # 1,250 Mio is not a thousand millions
                    number = number.replace(",", ".")
                return round(option_number(number, "", where) * factor, 3)
    mark, other = (",", ".") if decimal == "comma" else (".", ",")
    if _is_grouped(text, mark) and text.count(mark) == 1:
        plain = text.strip().replace(mark, "")
        raise InputError(
            f"{where}: {text.strip()!r} could be {text.split(mark)[0].strip()} or {plain}. Write it without {mark!r}."
        )
    if _is_grouped(text, other) or _is_grouped(text, mark):
        return float(re.sub(r"[.,\s]", "", text))
    number = option_number(text, "", where, decimal=decimal)
    if number is not None and not float(number).is_integer():
        bare = text.strip()
        raise InputError(f"{where}: {bare!r} is no whole number. Write '{bare} million' if that is meant.")
    return number


def typed_months(text: str, settings: Settings, where: str) -> str | None:
    """Read a month, two days or months with ``..`` between, or ``all``, as ISO text; else as :func:`typed_time`."""
    text = text.strip()
    if text == "all":
        return text
    parts = [_month(part.strip(), settings, where) for part in text.split("..")]
    return None if None in parts else "..".join(parts)


def _month(text: str, settings: Settings, where: str) -> str:
    """Read a month, or a day, as ISO text: 2026-11, 11/2026, Nov 2026."""
    found = re.fullmatch(r"(\d{1,2}|[A-Za-z]{3,9})\.?[\s./-]+(\d{4})|(\d{4})[\s./-]+(\d{1,2}|[A-Za-z]{3,9})", text)
    if found is None and len(re.split(r"[\s./-]+", text)) < 3:  # no day either
        raise InputError(f"{where}: {text!r} is not a month. Write it like 2026-11.")
    if found is None:
        return typed_date(text, settings, where)
    month, year = (found[1], found[2]) if found[1] else (found[4], found[3])
    if month.isdigit() and not 1 <= int(month) <= 12:
        raise InputError(f"{where}: {text!r}: there is no month {int(month)}. Write it like 2026-11.")
    first = typed_date(f"1 {month} {year}" if month.isalpha() else f"{year}-{int(month):02}-01", settings, where)
    return first[:7]


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
        if settings.site.decimal != "comma" or not _is_grouped(text, "."):
            with contextlib.suppress(ValueError):
                float(text)
                return text
        return typed_number(text, settings, where, unit=found.unit, whole=found.kind == "int")
    return text
