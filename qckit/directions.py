"""Texts on pages: direction marks are shown instead of done, names keep to themselves, a number keeps its unit."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape

from qckit.words import dates_in

__all__ = ["NAME_COLUMNS", "isolate_names", "isolated", "keep_units", "put_dates_in_order"]

NAME_COLUMNS = frozenset(
    ("lot", "hatch", "cone", "sample", "photo", "photos", "feed", "camera", "operator", "by", "found_by", "supplier")
)
"""Columns of any table whose cells are names that people gave."""

# what the Unicode Bidirectional Algorithm (UAX #9) takes for a command, and control characters without a place in HTML
_MARKS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_RIGHT_TO_LEFT = "\u0590-\u05ff\u0600-\u08ff\ufb1d-\ufdff\ufe70-\ufeff\U00010800-\U00010fff\U0001e800-\U0001efff"
_NAME = re.compile(rf"[^\s<>]*[{_RIGHT_TO_LEFT}][^<>]*?(?=\s+[^\s{_RIGHT_TO_LEFT}<>]*(?:[\s<]|$)|[<>]|$)")
_PART = re.compile(
    r"<!--.*?-->|<(script|style|svg|title|textarea|bdi)\b.*?</\1\s*>|<[^>]*>|[^<]+", re.DOTALL | re.IGNORECASE
)
_ALT = re.compile(r'(?<= alt=")[^"]*')
_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|ppt|µm|µl|mm|mg/l|g/l|lux|ml|kg|min|[ghl])(?![\w/]))")
_NEEDED = re.compile(f"{_MARKS.pattern[:-1]}{_RIGHT_TO_LEFT}]")


def isolated(name: object) -> str:
    """Return a name for a page: escaped, in ``<bdi>``, so that it turns nothing beside it, whatever its letters.

    Examples
    --------
    >>> from qckit.directions import isolated
    >>> isolated("K-121 <b>")
    '<bdi>K-121 &lt;b&gt;</bdi>'
    """
    return f"<bdi>{escape(str(name))}</bdi>"


def isolate_names(html: str) -> str:
    """Show direction marks and control characters of a page as text, and isolate what is written right to left.

    Parameters
    ----------
    html : str
        A page or a piece of one, its texts escaped.

    Returns
    -------
    str
        The same where nothing is written right to left, or where it was done before. A name elsewhere that is stands in
        ``<bdi>``, so that digits and signs beside it stay where they are; scripts and styles are left as they are.
    """
    return _PART.sub(_isolated, html) if _NEEDED.search(html) else html


def _isolated(part: re.Match) -> str:
    text = part[0]
    if part[1] and part[1].lower() in ("script", "style"):
        return text
    text = _MARKS.sub(lambda mark: f"\\u{ord(mark[0]):04x}", text)
    return text if text.startswith("<") else _NAME.sub(lambda name: f"<bdi>{name[0]}</bdi>", text)


def put_dates_in_order(html: str, order: str, *, names: Iterable[str] = ()) -> str:
    """Write the ISO dates of a page's texts in the site's order (:func:`qckit.words.dates_in`).

    Parameters
    ----------
    html : str
        A page or a piece of one.
    order : {"ymd", "dmy", "mdy"}
    names : iterable of str
        Names of which a date may be part, and which stay; what stands in ``<bdi>``, a style or a drawing stays too.
    """
    if order == "ymd":
        return html
    names = tuple(name for name in names if dates_in(name, order) != name)

    def in_order(part: re.Match) -> str:
        if not part[0].startswith("<"):
            return dates_in(part[0], order, names=names)
        return _ALT.sub(lambda alt: dates_in(alt[0], order, names=names), part[0])

    return _PART.sub(in_order, html)


def keep_units(html: str) -> str:
    """Put a space that breaks no line between each number of a page's texts and its unit.

    Parameters
    ----------
    html : str
        A page or a piece of one.

    Examples
    --------
    >>> from qckit.directions import keep_units
    >>> keep_units("<p>84 % of 5 g</p>").count(chr(160))
    2
    """
    return _PART.sub(lambda part: part[0] if part[0].startswith("<") else _UNIT.sub("\u00a0", part[0]), html)
