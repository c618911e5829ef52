"""Reading what people write in cells: decimal commas, units, °F, dates in the site's order.

A cell that could mean two things is never guessed at: it comes back with the rule it breaks and what to write.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal
from zoneinfo import ZoneInfo

from qckit.quantities import fold_unit

__all__ = ["UNITS", "CellRules", "Read", "column_unit", "decimal_sign", "read_date", "read_number", "read_time"]

UNITS: dict[str, dict[str, Decimal]] = {
    "g": {"g": Decimal(1), "mg": Decimal("0.001"), "kg": Decimal(1000)},
    "ml": {"ml": Decimal(1), "l": Decimal(1000), "cl": Decimal(10), "µl": Decimal("0.001")},
    "l": {"l": Decimal(1), "ml": Decimal("0.001")},
    "µl": {"µl": Decimal(1), "ml": Decimal(1000)},
    "mm": {"mm": Decimal(1), "cm": Decimal(10), "µm": Decimal("0.001")},
    "µg": {"µg": Decimal(1), "mg": Decimal(1000)},
    "h": {"h": Decimal(1), "min": Decimal(1) / Decimal(60), "d": Decimal(24)},
    "ppt": {"ppt": Decimal(1), "psu": Decimal(1)},
    "lux": {"lux": Decimal(1), "klux": Decimal(1000)},
    "mg/l": {"mg/l": Decimal(1)},
    "%": {"%": Decimal(1)},
    "1/g": {"1/g": Decimal(1), "/g": Decimal(1)},
    "µm/px": {"µm/px": Decimal(1)},
    "mm²": {"mm²": Decimal(1)},
    "px": {"px": Decimal(1)},
    "°C": {"°c": Decimal(1), "°f": Decimal(0), "k": Decimal(0)},
}
"""Unit of a column -> units a cell or heading may use instead, with the factor. Temperatures are not a factor."""

_MOST_DIGITS = 30  # before or after the point: nothing that is measured here has more

_UNKNOWN = {"-", "–", "—", "?", "n/a", "na", "nd", "n.d.", "none", "unknown", "not measured"}
_NUMBER = re.compile(r"([-+−]?[\d.,\s'’\u00a0\u202f]*\d(?:[.,]\d*)?(?:[eE][-+]?\d+)?)\s*(.*)", re.DOTALL)
_MONTH_NAMES = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_MONTHS = {name[:n]: i for i, name in enumerate(_MONTH_NAMES, 1) for n in (3, 4, len(name)) if n != 4 or i == 9}


@dataclass(frozen=True)
class CellRules:
    """How this site writes: decimal sign of the sheet, order of dates, time zone."""

    decimal: str = "point"  # point, comma, or unknown: then 1,602 is a problem
    date_order: str = "ymd"
    timezone: str = "UTC"


@dataclass(frozen=True)
class Read:
    """What a cell was read as: a value, or a problem; and a note where it was not read as it stands.

    Notes of one kind, such as a unit or ``"date"``, are each about another value, and are summed up in one line.
    """

    value: object = None
    rule: str = ""
    remedy: str = ""
    note: str = ""
    kind: str = ""


def column_unit(unit: str) -> dict[str, Decimal]:
    """Return the units that may stand for a column's own."""
    return UNITS.get(unit, {})


def decimal_sign(texts, *, semicolons: bool, site: str) -> str:
    """Find out which sign a sheet uses for decimals.

    Parameters
    ----------
    texts : iterable of str
        All number cells of the sheet.
    semicolons : bool
        Cells are separated by semicolons, as spreadsheets do where the comma is the decimal sign.
    site : {"point", "comma"}
        What the settings say, for sheets that do not tell by themselves.

    Returns
    -------
    {"point", "comma", "unknown"}
        ``unknown`` where cells contradict each other; then a cell like 1,602 is a problem.
    """
    comma = point = False
    for text in texts:
        core = re.sub(r"[^\d.,]", "", str(text))
        commas, points = core.count(","), core.count(".")
        if commas and points:
            comma |= core.rfind(",") > core.rfind(".")
            point |= core.rfind(".") > core.rfind(",")
        elif commas == 1 and (not re.fullmatch(r"[1-9]\d{0,2},\d{3}", core)):
            comma = True
        elif (points == 1 and (not re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", core))) or commas > 1:
            point = True
        elif points > 1:
            comma = True
    if comma != point:
        return "comma" if comma else "point"
    if comma and point:
        return "unknown"
    return "comma" if semicolons or site == "comma" else "point"


def read_number(cell, unit: str, rules: CellRules, *, heading_unit: str = "") -> Read:
    """Read a number with or without its unit.

    Parameters
    ----------
    cell : object
        Text or number, not empty.
    unit : str
        The column's unit; empty where it has none.
    rules : CellRules
    heading_unit : str
        Unit given in the heading, where it is not the column's own.
    """
    if isinstance(cell, bool):
        return Read(rule="is yes or no, not a number", remedy="Write a number, or leave the cell empty.")
    if isinstance(cell, (int, float)):
        return _in_unit(Decimal(repr(cell)), heading_unit, unit, str(cell))
    text = str(cell).strip()
    if text.casefold() in _UNKNOWN:
        return Read(None, note=f"{text!r} taken as empty")
    match = _NUMBER.fullmatch(text)
    if not match:
        return Read(rule="is not a number", remedy="Write a number, or leave it empty if it is not known.")
    digits, tail = match.groups()
    number, wrong = _digits(digits, rules)
    if wrong:
        return Read(rule=wrong[0], remedy=wrong[1])
    cell_unit = fold_unit(tail) if tail else heading_unit
    return _in_unit(number, cell_unit, unit, text)


def _digits(digits: str, rules: CellRules):
    """Turn digits with signs and separators into a Decimal, or say what is doubtful."""
    core = re.sub(r"[\s'’\u00a0\u202f]", "", digits).replace("−", "-")
    if re.search(r"\d[\s'’\u00a0\u202f]+\d", digits.strip()) and not re.fullmatch(
        r"[-+−]?\d{1,3}([\s'’\u00a0\u202f]\d{3})+([.,]\d+)?", digits.strip()
    ):
        return None, ("is two numbers", "Write one number in the cell.")
    commas, points = core.count(","), core.count(".")
    if commas + points == 0:
        return Decimal(core), None
    if commas and points:
        decimal = "," if core.rfind(",") > core.rfind(".") else "."
        whole, _, part = core.rpartition(decimal)
        if decimal in whole or not _grouped(whole, "." if decimal == "," else ","):
            return None, ("is not a number", "Write it without thousands signs.")
        return Decimal(re.sub(r"[.,]", "", whole) + "." + part), None
    sign = "," if commas else "."
    if commas + points > 1:
        if not _grouped(core, sign):
            return None, ("is not a number", "Write it without thousands signs.")
        return Decimal(core.replace(sign, "")), None
    looks_grouped = re.fullmatch(r"[-+]?[1-9]\d{0,2}[.,]\d{3}", core)
    style = "comma" if sign == "," else "point"
    if looks_grouped and rules.decimal != style:
        plain, grouped = core.replace(",", "."), core.replace(sign, "")
        remedy = "Write it so that it can mean one only, or set decimal in qckit.toml."
        if rules.decimal == "comma":  # a key beside the figures often writes a point here, too
            remedy = f"Write {grouped} or {f'{float(plain):.10g}'.replace('.', ',')}."
        elif rules.decimal == "point":
            remedy = (
                f"Write {grouped} or {float(plain):.10g}; where you write a decimal comma, set decimal in qckit.toml."
            )
        return None, (f"could be {plain} or {grouped}", remedy)
    return Decimal(core.replace(",", ".")), None


def _grouped(text: str, sign: str) -> bool:
    return re.fullmatch(rf"[-+]?\d{{1,3}}({re.escape(sign)}\d{{3}})*", text) is not None


def _in_unit(number: Decimal, given: str, unit: str, text: str) -> Read:
    if not number.is_finite():
        return Read(rule="is not a finite number", remedy="Write a number, or leave the cell empty.")
    if number and abs(number.adjusted()) > _MOST_DIGITS:
        size = "large" if number.adjusted() > 0 else "small"
        return Read(rule=f"is far too {size} a number", remedy="Correct the cell, or leave it empty.")
    known = column_unit(unit)
    unit_code = fold_unit(unit)
    if not given or given == unit_code:
        return Read(float(number))
    if given not in known and re.fullmatch(r":[0-5]\d", given):
        return Read(rule="is a time of day", remedy="Write a number here.")
    if given not in known:
        can = ", ".join(known) or "no unit"
        return Read(
            rule=f"has the unit {given!r}, which this column does not know",
            remedy=f"Write the number in {unit or 'plain digits'} (known: {can}).",
        )
    if unit == "°C":
        value = {"°f": (number - 32) * 5 / 9, "k": number - Decimal("273.15")}.get(given, number)
        value = round(float(value), 2)
    else:
        value = float(number * known[given])
        value = float(f"{value:.10g}")
    return Read(value) if given == unit_code else Read(value, note=f"{text!r} read as {value:g} {unit}", kind=given)


_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})$")
_TRIPLE = re.compile(r"(\d{1,4})[./\s-]+(\d{1,2}|[A-Za-z]{3,9})\.?,?[./\s-]+(\d{1,4})$")
_NAMED = re.compile(r"([A-Za-z]{3,9})\.?\s+(\d{1,2}),?\s+(\d{4})$")
_CLOCK = re.compile(
    r"(?:[T\s]+|^)(\d{1,2})(?::|h|(?:(?<=\d{4}\s\d)|(?<=\d{4}\s\d\d)|(?<=-\d\d\s\d)|(?<=-\d\d\s\d\d))\.)(\d{2})?(?::(\d{2})(\.\d+)?)?\s*([ap]\.?m\.?)?\s*(Z|UTC|[+-]\d{2}:?\d{2})?$",
    re.I,
)
_FORMS = {"ymd": "2026-11-04", "dmy": "04/11/2026", "mdy": "11/04/2026"}


def _day(text: str, order: str):
    """Return a date, or the rule broken and its remedy."""
    text = text.strip().rstrip(",")
    form = _FORMS[order]
    match = _ISO.fullmatch(text)
    if match:
        return _calendar(*map(int, match.groups()))
    match = _NAMED.fullmatch(text)
    if match and match[1].casefold() in _MONTHS:
        return _calendar(int(match[3]), _MONTHS[match[1].casefold()], int(match[2]))
    if shown := _spreadsheet_day(text):
        return f"is a spreadsheet's number for {shown}", "Show the column as dates there, and save the sheet again."
    match = _TRIPLE.fullmatch(text)
    if not match:
        return "is not a date", f"Write it like {' or '.join(dict.fromkeys((form, _FORMS['ymd'])))}."
    first, second, third = match.groups()
    if second[0].isalpha():
        if second.casefold() not in _MONTHS:
            return "names no month that is known", f"Write it like {form}."
        return _calendar(_year(third), _MONTHS[second.casefold()], int(first))
    if len(first) == 4:
        return _calendar(int(first), int(second), int(third))
    if order == "ymd":
        return (
            "could be day first or month first",
            "Write it like 2026-11-04, or set date_order in qckit.toml to dmy or mdy.",
        )
    day, month = (int(first), int(second)) if order == "dmy" else (int(second), int(first))
    return _calendar(_year(third), month, day, order)


def _spreadsheet_day(text: str) -> str:
    """Write the day, and the time, that a number means where a spreadsheet counts days from 1900; else nothing.

    It is not taken for it: some count from 1904.
    """
    if not re.fullmatch(r"\d{5}([.,]\d+)?", text) or not 36526 <= int(text[:5]) < 73051:  # of the years 2000 to 2099
        return ""
    minutes = round(float(text.replace(",", ".")) * 1440)
    return (dt.datetime(1899, 12, 30) + dt.timedelta(minutes=minutes)).isoformat(" ", "minutes").removesuffix(" 00:00")


def _year(digits: str) -> int:
    """Year of four digits, or of two in this century; 0, which no calendar has, where it is of one or three."""
    return int(digits) if len(digits) == 4 else 2000 + int(digits) if len(digits) == 2 else 0


def _calendar(year: int, month: int, day: int, order: str = ""):
    try:
        return dt.date(year, month, day)
    except ValueError:
        if order and month > 12 and day <= 12:
            other = "mdy" if order == "dmy" else "dmy"
            return (
                f"has no month {month} in this site's order of dates ({order})",
                f"Write it like {_FORMS[order]}; if all dates read {other}, set date_order in qckit.toml.",
            )
        return "is not a day of the calendar", "Correct the date."


def read_date(cell, rules: CellRules) -> Read:
    """Read a date as ISO text; a month (2026-09, 09/2026) or a year (2026) may stand alone."""
    if isinstance(cell, dt.datetime):
        return Read(cell.date().isoformat())
    if isinstance(cell, dt.date):
        return Read(cell.isoformat())
    text = str(cell).strip()
    if isinstance(cell, float) and cell.is_integer():
        text = str(int(cell))
    if text.casefold() in _UNKNOWN:
        return Read(None, note=f"{text!r} taken as empty")
    if re.fullmatch(r"(19|20)\d\d(-(0[1-9]|1[0-2]))?", text):
        return Read(text)
    if month := re.fullmatch(r"(0?[1-9]|1[0-2])\s*[./-]\s*((?:19|20)\d\d)", text):  # as packs have it
        value = f"{month[2]}-{int(month[1]):02d}"
        return Read(value, note=f"{text!r} read as {value}")
    day = _day(re.sub(r"[T\s]0?0:00(:00)?$", "", text), rules.date_order)
    if isinstance(day, tuple):
        return Read(rule=day[0], remedy=day[1])
    value = day.isoformat()
    return Read(value) if _ISO.fullmatch(text) else _date_note(text, value)


def _date_note(text: str, value: str) -> Read:
    return Read(value, note=f"{text!r} read as {value}", kind="date")


def read_time(cell, rules: CellRules) -> Read:
    """Read a time as ISO text with offset; the site's own zone stands in where none is given."""
    if isinstance(cell, dt.datetime):
        return _zoned(cell.replace(microsecond=0), rules, "")
    if isinstance(cell, dt.date):
        return Read(rule="has a date but no time of day", remedy=f"Write it like {_FORMS[rules.date_order]} 09:00.")
    text = str(cell).strip()
    clock = _CLOCK.search(text)
    if not clock or not text[: clock.start()].strip():
        day = _day(text, rules.date_order)
        if _spreadsheet_day(text):
            return Read(rule=day[0], remedy=day[1])
        if isinstance(day, tuple):
            return Read(rule="is not a time with its date", remedy=f"Write it like {_FORMS[rules.date_order]} 09:00.")
        return Read(rule="has a date but no time of day", remedy=f"Write it like {_FORMS[rules.date_order]} 09:00.")
    day = _day(text[: clock.start()], rules.date_order)
    if isinstance(day, tuple):
        return Read(rule=day[0], remedy=day[1].replace("2026-11-04", "2026-11-04 09:00", 1))
    hour, minute, second, fraction, half, offset = clock.groups()
    hour = int(hour)
    if half:
        if not 1 <= hour <= 12:
            return Read(rule="is not a time of day", remedy="Write it like 21:00 or 9:00 pm.")
        hour = hour % 12 + (12 if half[0].casefold() == "p" else 0)
    try:
        moment = dt.datetime.combine(day, dt.time(hour, int(minute or 0), int(second or 0)))
    except ValueError:
        return Read(rule="is not a time of day", remedy="Write it between 00:00 and 23:59.")
    if fraction:
        moment = moment.replace(microsecond=int(float(fraction) * 1e6))
    if offset:
        offset = "+00:00" if offset.upper() in ("Z", "UTC") else offset
        try:
            return Read(dt.datetime.fromisoformat(f"{moment.isoformat()}{offset}").isoformat())
        except ValueError:
            return Read(
                rule="has an offset from UTC that no place has", remedy="Write one between -12:00 and +14:00, or none."
            )
    return _zoned(moment, rules, "" if re.match(r"\d{4}-\d\d-\d\d", text) else text)


def _zoned(moment: dt.datetime, rules: CellRules, text: str) -> Read:
    if moment.tzinfo is not None:
        return Read(moment.isoformat())
    if not 1950 <= moment.year <= 2100:
        return Read(rule="is not of the years 1950 to 2100", remedy="Correct the year.")
    zone = ZoneInfo(rules.timezone)
    early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() != late.utcoffset():
        exists = early.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) == moment
        rule = "happens twice" if exists else "does not happen"
        return Read(
            rule=f"{rule} at this site, where the clocks change that night",
            remedy=f"Write the offset from UTC as well, like {early.isoformat()}.",
        )
    value = early.isoformat()
    return _date_note(text, value) if text else Read(value)
