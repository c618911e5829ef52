"""How numbers are written, and the words around them: plurals, first letters, lists, dates in the site's order."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import math
import re
from collections.abc import Iterable

__all__ = [
    "DATE_ORDERS",
    "NARROW",
    "capital",
    "cone_name",
    "cone_names",
    "dates_in",
    "day",
    "decimals_known",
    "estimated",
    "figures",
    "first_few",
    "headed",
    "joined",
    "noun",
    "number",
    "plural",
    "rounded",
    "row_words",
    "signed",
    "small",
    "spaced",
    "time_in_words",
    "with_uncertainty",
]

DATE_ORDERS = ("ymd", "dmy", "mdy")
"""Orders a site may write its dates in; months in letters keep the last two apart for any reader."""

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MINUS = "\u2212"
NARROW = "\u202f"
"""Parts thousands: a narrow space that breaks no line, as no comma or point can be read alike by all sites."""

_ISO_DATE = re.compile(  # standing alone: no part of a name, of a row's key, of a file or of a period
    r"(?<![\w./\\|-])(?P<day>\d{4}-\d\d-\d\d)"
    r"(?:[T ](?P<minute>\d\d:\d\d)(?::\d\d(?:\.\d+)?(?P<offset>[+-]\d\d:\d\d|Z)?)?)?"
    r"(?![\w/\\|-]|\.\.|\.\w)"
)


def noun(n: float, one: str, many: str = "") -> str:
    """Choose the form of a word that goes with a number.

    Parameters
    ----------
    n : float
    one : str
        For one thing, such as ``"hatch"`` or ``"is"``.
    many : str
        For any other number; empty: ``one`` with an *s*, or *es* after a hissing sound.
    """
    if n == 1:
        return one
    return many or one + ("es" if one.endswith(("s", "x", "z", "ch", "sh")) else "s")


def cone_name(name: str) -> str:
    """Name a cone so that it reads as one: ``C`` stays, ``3`` is ``cone 3``."""
    return name if any(sign.isalpha() for sign in name) else f"cone {name}"


def cone_names(names: Iterable[str]) -> str:
    """Name several cones: ``A and B``, ``cones 4, 5 and 6``."""
    names = list(names)
    if len(names) > 1 and all(cone_name(name) != name for name in names):
        return f"cones {joined(names)}"
    return joined(map(cone_name, names))


def headed(subject: str, headline: str) -> str:
    """Write what a headline is about before it, unless it begins with that: ``K-124: accept``."""
    return headline if headline.startswith(subject) else f"{subject}: {headline}"


def plural(n: float, one: str, many: str = "") -> str:
    """Write a number with its noun: ``1 hatch``, ``1200 hatches``; :func:`noun` forms the word."""
    return f"{spaced(n)} {noun(n, one, many)}"


def spaced(value: float, form: str = "") -> str:
    """Write a number with a thin space between its thousands, from five digits before the point: ``1200``, ``12 000``.

    The point is the decimal sign, and neither it nor the comma ever stands between thousands: so a site that reads
    ``3,500`` as three and a half and one that reads it as three thousand five hundred read the same number. Groups
    of three by a thin space: ISO 80000-1:2009, 7.3.1; four digits are left together, as the SI Brochure (2019, 5.4.4)
    allows, since a lone digit before a space is what may be read as a number of its own (both from memory).

    Parameters
    ----------
    value : float
    form : str
        How Python is to write it, such as ``".1f"`` or ``".10g"``.

    Examples
    --------
    >>> from qckit.words import spaced
    >>> spaced(223_000), spaced(1234.5, ".1f")
    ('223\\u202f000', '1234.5')
    """
    text = format(value, f",{form}")
    return text.replace(",", NARROW if len(text.partition(".")[0].lstrip("-+")) > len("1,234") else "")


def rounded(value: float, figures: int = 3) -> float:
    """Round to significant figures (counting seldom knows more than three); NaN and infinity stay.

    Parameters
    ----------
    value : float
    figures : int
        At least 1.
    """
    value = float(value)
    if not math.isfinite(value) or value == 0:
        return value
    return round(value, figures - 1 - math.floor(math.log10(abs(value))))


def figures(value: float, figures: int = 3) -> str:
    """Write a number with so many significant figures: ``187 000``, ``0.0125``."""
    value = rounded(value, figures)
    if not math.isfinite(value):
        return number(value)
    decimals = 0 if value == 0 else max(0, figures - 1 - math.floor(math.log10(abs(value))))
    text = spaced(value, f".{decimals}f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def number(value: float | None, decimals: int = 0) -> str:
    """Write a number for a page: thousands spaced, a real minus sign, an en dash where it is not known."""
    if value is None or not math.isfinite(value):
        return "\u2013"
    return spaced(round(value, decimals) + 0.0, f".{decimals}f").replace("-", _MINUS)  # no minus before a rounded 0


def decimals_known(low: float, high: float, most: int = 1, *, beside: Iterable[float] = ()) -> int:
    """Digits after the point that an interval leaves known: those of two significant figures of half its width.

    A bound is known no better than that (JCGM 100:2008, Guide to the expression of uncertainty, 7.2.6).

    Parameters
    ----------
    low, high : float
        Where they are not both known, nothing is taken off.
    most : int
        As many at most.
    beside : iterable of float
        What is written next to one another, such as a value and the minimum it misses: a digit stays where without
        it two that differ would read alike.
    """
    half = (high - low) / 2
    if not (math.isfinite(half) and half > 0):
        return most
    known = min(most, max(0, 1 - math.floor(math.log10(half))))
    values = {round(v, most) for v in beside if math.isfinite(v)}
    return known if len({round(v, known) for v in values}) == len(values) else most


def estimated(
    value: float, low: float, high: float, unit: str = "", most: int = 1, *, what: str = "", how: str = ""
) -> str:
    """Write an estimate with its interval, rounded to what is known: ``60 % (41 to 79 %)``.

    Parameters
    ----------
    value, low, high : float
    unit : str
        Written after a blank.
    most : int
        Digits after the point at most; :func:`decimals_known` says how many of them are.
    what : str
        Words between the value and its interval: ``60 % of hatches (41 to 79 %)``.
    how : str
        How the interval was made, within its brackets: ``60 % (41 to 79 %, exact)``.
    """
    unit, what, how = (f" {unit}" if unit else ""), (f" {what}" if what else ""), (f", {how}" if how else "")
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"{number(value, most)}{unit}{what}"
    n = decimals_known(low, high, most)
    return f"{number(value, n)}{unit}{what} ({number(low, n)} to {number(high, n)}{unit}{how})"


def with_uncertainty(value: float, u: float, unit: str = "") -> str:
    """Write a value and its standard uncertainty to the same digit: ``6.2000 ± 0.0018 µm/px``.

    Two significant figures of the uncertainty (JCGM 100:2008, 7.2.6), six digits after the point at most.

    Parameters
    ----------
    value, u : float
        Without an uncertainty that is known and above 0 the value stands alone, with four significant figures.
    unit : str
        Written after a blank.
    """
    unit = f" {unit}" if unit else ""
    if not (math.isfinite(u) and u > 0):
        return f"{value:.4g}{unit}"
    n = decimals_known(value - u, value + u, 6)
    return f"{number(value, n)} ± {number(u, n)}{unit}"


def signed(value: float | None, decimals: int = 0) -> str:
    """Write a difference: as :func:`number`, with a plus sign where it is not below 0."""
    text = number(value, decimals)
    return text if text[0] in ("\u2013", _MINUS) else f"+{text}"


def capital(text: str) -> str:
    """Begin with a capital letter, as a sentence does; ``pH`` stays."""
    return text if _has_its_case(text) else text[:1].upper() + text[1:]


def small(text: str) -> str:
    """Begin with a small letter, as inside a sentence; names such as ``pH``, ``T90`` and ``CUSUM`` stay."""
    return text if _has_its_case(text) else text[:1].lower() + text[1:]


def _has_its_case(text: str) -> bool:
    """Whether the first word is written in one way wherever it stands."""
    first = text.split(maxsplit=1)[0] if text.strip() else ""
    return any(sign.isupper() or sign in "0123456789%" for sign in first[1:])


def joined(items: Iterable[object], last: str = "and") -> str:
    """Write a list: ``a``, ``a and b``, ``a, b and c``."""
    texts = [str(item) for item in items]
    return f" {last} ".join(filter(None, [", ".join(texts[:-1]), *texts[-1:]]))


def first_few(names: Iterable[object], most: int) -> str:
    """Name some things, at most so many, and say how many more there are: ``a, b, c and 4 more``."""
    texts = [str(name) for name in names]
    more = len(texts) - most
    return ", ".join(texts[:most]) + (f" and {more} more" if more > 0 else "")


def day(when: dt.date | str, order: str = "ymd") -> str:
    """Write a date in the site's order: ``2026-11-04``, ``4 Nov 2026`` or ``Nov 4, 2026``.

    Parameters
    ----------
    when : date, datetime or str
        Text as ISO 8601, with or without a time.
    order : {"ymd", "dmy", "mdy"}
        ``settings.site.date_order``.
    """
    date = dt.date.fromisoformat(when[:10]) if isinstance(when, str) else when
    month = _MONTHS[date.month - 1]
    if order == "dmy":
        return f"{date.day} {month} {date.year}"
    if order == "mdy":
        return f"{month} {date.day}, {date.year}"
    return f"{date.year:04}-{date.month:02}-{date.day:02}"


def row_words(table: str, key: str) -> str:
    """Name a row of the log by its table and its key's text: no brackets and quotes where several columns name it.

    Examples
    --------
    >>> from qckit.words import row_words
    >>> row_words("hatches", "H-1"), row_words("readings", '["H-1", "2026-11-03T18:00:00+00:00", "ph"]')
    ('hatches H-1', 'readings H-1, 2026-11-03T18:00:00+00:00, ph')
    """
    parts = [key]
    if key.startswith('["'):
        with contextlib.suppress(ValueError):
            parts = json.loads(key)
    return f"{'step' if table == 'steps' else table} {', '.join(map(str, parts))}"  # a step has a number, no name


def rows_in_words(n: int, table: str) -> str:
    """Say ``1 hatch``, ``2 hatches``: each table's name is the plural of what a row of it is."""
    return plural(n, "hatch" if table == "hatches" else table.removesuffix("s"), table)


def time_in_words(text: str) -> str:
    """Write a text that is an ISO time to the minute, a blank for its T: ``2026-11-04 09:00 +00:00``; others stay."""
    found = _ISO_DATE.fullmatch(text)
    return " ".join(filter(None, found.group("day", "minute", "offset"))) if found else text


def dates_in(text: str, order: str = "ymd", *, names: Iterable[str] = ()) -> str:
    """Write every ISO date of a text, its hour, minute and offset with it, in the site's order.

    Parameters
    ----------
    text : str
    order : {"ymd", "dmy", "mdy"}
    names : iterable of str
        Of lots, hatches, samples, photos and certificates; a date that is part of one stays.
    """
    if order == "ymd" or not _ISO_DATE.search(text):
        return text
    kept = sorted({name for name in names if name in text and _ISO_DATE.search(name)}, key=len, reverse=True)
    pattern = "|".join([*(rf"(?<!\w){re.escape(name)}(?!\w)" for name in kept), rf"(?P<date>{_ISO_DATE.pattern})"])

    def in_order(found: re.Match) -> str:
        if found["date"] is None:
            return found[0]
        try:
            written = day(found["day"], order)
        except ValueError:  # digits that are no date
            return found[0]
        return " ".join(filter(None, (written, found["minute"], found["offset"])))

    return re.sub(pattern, in_order, text)
