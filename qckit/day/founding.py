"""A new site with its protocol: what is asked, the settings made of it, the day sheet and its README."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qckit.day.currency import currency_of_zone, read_currency
from qckit.day.readme import renew_readme
from qckit.day.sheets.blank import write_day_sheets
from qckit.errors import InputError, unknown_name
from qckit.log import new_site
from qckit.log.typed import option_count, option_number
from qckit.protocol import ProtocolSettings, check_protocol, clock_time
from qckit.settings import Settings, load_settings, unknown_zone
from qckit.words import spaced

__all__ = ["QUESTIONS", "Answers", "Question", "default_of", "found_site", "furnish", "read_decimal"]

_DEFAULT = Settings()


@dataclass(frozen=True)
class Question:
    """One question of the dialogue: the option it stands for, its words, what Enter takes, how an answer is read.

    ``reader`` takes the answer, and the decimal sign that was answered before where ``is_number``.
    """

    option: str
    text: str
    default: str
    reader: Callable[..., object]
    is_number: bool = False

    def read(self, text: str, decimal: str = "point") -> object:
        """Read an answer of a site that writes this decimal sign; an InputError says why it cannot be read."""
        return self.reader(text, decimal) if self.is_number else self.reader(text)


def _number(least: float, most: float, unit: str = "", whole: bool = False) -> Callable[[str, str], float]:
    def read(text: str, decimal: str) -> float:
        value = option_number(text.strip(), unit, "your answer", decimal=decimal)
        if value is None:
            raise InputError("This number is needed. Type it, or Enter for what stands in brackets.")
        if not least <= value <= most or (whole and value != int(value)):
            raise InputError(f"{text} must be {'a whole number ' if whole else ''}from {least:g} to {most:g}.")
        return int(value) if whole else value

    return read


_FEW_NAUPLII = 1000
_SHORT = 3  # letters of initials, or of a cone's name
_NONE = ("none", "no", "0", "-")


def _feeds(text: str) -> str:
    """Read the times of feeds; a word for none gives an empty list."""
    return "" if text.strip().casefold() in _NONE else _protocol("feed_at")(text)


def _clocks(text: str) -> str:
    """Write times of day in one way, with commas between: ``08:00, 15:30``."""
    return ", ".join(f"{clock_time(part):%H:%M}" for part in text.split(",") if part.strip())


def _nauplii(text: str, decimal: str) -> float:
    value = option_count(text, "your answer", decimal=decimal)
    if not 1 <= value <= 1e12:
        raise InputError(f"{text} must be from 1 to {spaced(10**12)} nauplii.")
    if value < _FEW_NAUPLII:  # 4 for the 4 million of the question
        raise InputError(
            f"{text.strip()} nauplii would feed nothing. Write '{text.strip()} million' if that is meant; fewer than "
            f"{spaced(_FEW_NAUPLII)} are set as nauplii_per_feed in qckit.toml."
        )
    return value


def read_decimal(text: str) -> str:
    """Read a decimal sign, written as its name or as itself."""
    known = {"point": "point", ".": "point", "1.5": "point", "comma": "comma", ",": "comma", "1,5": "comma"}
    if text.strip().casefold() not in known:
        raise unknown_name("decimal sign", text, ("point", "comma"))
    return known[text.strip().casefold()]


def _protocol(name: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        check_protocol(ProtocolSettings(**{name: text}), "your answer")
        return text.strip()

    return read


def _names(name: str, several: str) -> Callable[[str], str]:
    """Read names between commas; short words with blanks alone between them could be one name or several."""

    def read(text: str) -> str:
        words = text.split()
        if len(words) > 1 and not re.search(r"[,;]", text) and max(map(len, words)) <= _SHORT:
            raise InputError(
                f"{text.strip()!r} could be one name or {len(words)}. Write commas between {several}: "
                f"{', '.join(words)}; or {text.strip()!r} with a comma behind it if it is one."
            )
        return _protocol(name)(", ".join(filter(None, (part.strip() for part in re.split(r"[,;]", text)))))

    return read


def _zone(text: str) -> str:
    if text not in zoneinfo.available_timezones():
        raise unknown_zone(text)
    return text


def _currency(text: str) -> str:
    return read_currency(text, "your answer")


def _order(text: str) -> str:
    if text not in ("ymd", "dmy", "mdy"):
        raise unknown_name("order of dates", text, ("ymd", "dmy", "mdy"))
    return text


_P, _F = _DEFAULT.protocol, _DEFAULT.feed
QUESTIONS = (
    Question("name", "Name of the site", "", str.strip),
    Question("timezone", "Time zone, such as Europe/Lisbon", "UTC", _zone),
    Question("date_order", "Order of dates you write: ymd (2026-12-31), dmy (31/12/2026) or mdy", "ymd", _order),
    Question("decimal", "Decimal sign you write: point (1.5) or comma (1,5)", "point", read_decimal),
    Question("currency", "Currency of your prices, such as EUR", _DEFAULT.site.currency, _currency),
    Question("cones", "Names of the cones, with commas", _P.cones, _names("cones", "cones")),
    Question("cone_litres", "Water in one cone [l]", f"{_F.cone_volume_l:g}", _number(0.001, 1e6, "l"), True),
    Question("hours", "Hours from wetting to harvest", f"{_P.incubation_h:g}", _number(1, 200, "h"), True),
    Question("count_at", "Time of day of the counts", _P.count_at, _protocol("count_at")),
    Question("subsamples", "Subsamples counted per cone", str(_P.subsamples), _number(1, 100, whole=True), True),
    Question("subsample_ul", "Volume of a subsample [µl]", f"{_P.subsample_ul:g}", _number(0.01, 1e8, "µl"), True),
    Question("feeds", "Times of day of the feeds, with commas (none: nothing is fed here)", _P.feed_at, _feeds),
    Question(
        "nauplii", "Nauplii for one feed, such as 4 million", f"{_F.nauplii_per_feed / 1e6:g} million", _nauplii, True
    ),
    Question("people", "Initials of those who count, with commas", "op1", _names("people", "people")),
)


@dataclass(frozen=True)
class Answers:
    """What a new site is asked; every answer has a default.

    ``cones``, ``feeds`` and ``people`` are lists with commas; ``cone_litres`` is the water in a cone [l], ``hours`` are
    those from wetting to harvest [h], ``subsample_ul`` the volume of a subsample [µl], ``nauplii`` those of one feed;
    ``currency`` is that of the time zone when left empty.
    """

    name: str = ""
    timezone: str = "UTC"
    date_order: str = "ymd"
    decimal: str = "point"
    currency: str = ""
    cones: str = _P.cones
    cone_litres: float = _F.cone_volume_l
    hours: float = _P.incubation_h
    count_at: str = _P.count_at
    subsamples: int = _P.subsamples
    subsample_ul: float = _P.subsample_ul
    feeds: str = _P.feed_at
    nauplii: float = _F.nauplii_per_feed
    people: str = ""


def default_of(question: Question, folder: str | Path, timezone: str = "") -> str:
    """Say what Enter takes: the folder's name, this machine's time zone where it is known, the currency that is paid in
    the site's ``timezone``, else the fixed default."""
    if question.option == "currency":
        return currency_of_zone(timezone)
    if question.option == "timezone":
        import tzlocal

        try:
            here = tzlocal.get_localzone_name()
        except (zoneinfo.ZoneInfoNotFoundError, ValueError):
            return question.default
        return here if here in zoneinfo.available_timezones() else question.default
    return question.default or Path(folder).resolve().name


def found_site(folder: str | Path, answers: Answers | None = None, *, url: str = "") -> Path:
    """Make a site folder with its protocol, the day sheet and the README.

    Parameters
    ----------
    folder : path
        As for :func:`qckit.log.new_site`.
    answers : Answers, optional
        All defaults when left out.
    url : str
        Database of the log; empty for a file in the site folder.

    Returns
    -------
    Path
        The folder.
    """
    given = answers or Answers()
    protocol = {
        "cones": _names("cones", "cones")(given.cones),
        "people": _names("people", "people")(given.people),
        "incubation_h": float(given.hours),
        "count_at": _clocks(_protocol("count_at")(given.count_at)),
        "feed_at": _clocks(_feeds(given.feeds)),
        "subsamples": int(given.subsamples),
        "subsample_ul": float(given.subsample_ul),
    }
    checked = ProtocolSettings(**protocol)
    check_protocol(checked, "the protocol")
    feed = {
        "nauplii_per_feed": float(given.nauplii),
        "feeds_per_day": float(max(1, len(checked.feed_times))),
        "cone_volume_l": float(given.cone_litres),
        "n_cones": len(checked.cone_names),
    }
    conditions = {"reading_h": float(given.hours)}
    currency = read_currency(given.currency, "currency") if given.currency else currency_of_zone(given.timezone)
    made = new_site(
        folder,
        name=given.name or None,
        timezone=given.timezone,
        date_order=given.date_order,
        url=url,
        changes={
            "site": {"decimal": read_decimal(given.decimal), "currency": currency},
            "protocol": protocol,
            "feed": feed,
            "conditions": conditions,
        },
    )
    furnish(made)
    return made


def furnish(folder: str | Path) -> None:
    """Write the day sheet and the README of a site as its settings are; sheets that are there stay."""
    settings = load_settings(folder)
    write_day_sheets(Path(folder) / "field-sheets", settings)
    renew_readme(folder, settings)
