"""Options that several commands share, and what they stand for."""

from __future__ import annotations

import re

import click

from qckit.errors import InputError

__all__ = [
    "BY",
    "DAY",
    "MOMENT",
    "MONTH",
    "REASON",
    "SITE",
    "Commands",
    "Count",
    "Number",
    "SiteText",
    "dates_at",
    "open_site_log",
    "who",
]


class Commands(click.Group):
    """A group whose help says of each command what it does, whole: click cuts what is longer than a line."""

    def format_commands(self, ctx, formatter):
        """List the commands with the first sentence of each."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, each.get_short_help_str(limit=400)) for name, each in self.commands.items()])


class Number(click.ParamType):
    """A number as people write it: with a decimal comma or point, and with its unit.

    Parameters
    ----------
    unit : str
        Other units of the same kind are turned into it.
    whole : bool
        Only whole numbers.
    low, high : float, optional
        Bounds, ends included.
    """

    def __init__(self, unit: str = "", *, whole: bool = False, low: float | None = None, high: float | None = None):
        self.unit, self.whole, self.low, self.high = unit, whole, low, high
        self.name = "whole number" if whole else "number"

    def convert(self, value, param, ctx):
        """Read the text of an option; what could be two numbers is refused."""
        if isinstance(value, (int, float)):
            return value
        from qckit.log.typed import option_number

        number = option_number(value, self.unit, where := _name(param), decimal=_decimal(value, ctx))
        if self.whole and number != int(number):
            raise InputError(f"{where}: {value!r} is no whole number. Write one.")
        if (self.low is not None and number < self.low) or (self.high is not None and number > self.high):
            raise InputError(f"{where}: {value} is not from {self.low:g} to {self.high:g}. Write a number in between.")
        return int(number) if self.whole else number


class Count(click.ParamType):
    """How many, as people write it: 3500000, 3.5 million, 3,5 Mio, 400,000."""

    name = "number"

    def convert(self, value, param, ctx):
        """Read the text of an option."""
        from qckit.log.typed import option_count

        if isinstance(value, (int, float)):
            return value
        return option_count(value, _name(param), decimal=_decimal(value, ctx))


class SiteText(click.ParamType):
    """A time, a day or a month as people at the site write it: its clock, its order of dates."""

    def __init__(self, name: str, reader: str):
        self.name, self.reader = name, reader

    def convert(self, value, param, ctx):
        """Read the text of an option by the settings of the command's site; without a site, by the usual ones."""
        if not value:
            return value
        from qckit.log import typed

        read = getattr(typed, self.reader)(value, _settings(ctx), _name(param))
        if read is None:
            raise InputError(f"{_name(param)}: {value!r} is no {self.name}. Leave the option out, or write one.")
        return read


MOMENT = SiteText("time", "typed_time")
DAY = SiteText("day", "typed_day")
MONTH = SiteText("month", "typed_months")


def _name(param) -> str:
    return param.opts[-1] if isinstance(param, click.Option) else param.human_readable_name


def _decimal(value, ctx) -> str:
    """Return the decimal sign of the command's site, or of the site it makes; looked up only where it matters."""
    if ctx is None or not re.search(r"\d[.,]\d{3}", value):
        return "point"
    return ctx.params.get("decimal") or _settings(ctx).site.decimal


def _settings(ctx):
    from qckit.settings import Settings

    given = ctx.params.get("site") if ctx is not None else None
    return Settings() if given is None else _settings_at(given)  # None: a command without a site


def _settings_at(site):
    from qckit.reports.sites import find_site
    from qckit.settings import Settings, load_settings

    try:
        return load_settings(find_site(site))
    except InputError:  # the command says so itself
        return Settings()


def dates_at(site):
    """Return how dates are written at the site that is named or that we are in; without one as they are kept."""
    from qckit.log.site_dates import SiteDates

    return SiteDates(_settings_at(str(site or "")))


SITE = click.option(
    "--site",
    default="",
    metavar="FOLDER",
    is_eager=True,  # before options that are read as people at that site write
    help="The site folder; the one we are in if left out.",
)
BY = click.option("--by", default="", metavar="NAME", help="Who does this; $QCKIT_BY or the user if left out.")
REASON = click.option("--reason", required=True, metavar="TEXT", help="Why, in words; it is kept.")


def who(given: str) -> str:
    """Return who does this: the option, the environment variable QCKIT_BY, or the user of the machine."""
    from qckit.log.steps import user

    return user(given)


def open_site_log(site: str):
    """Open the log of a site; the one we are in where the option is left out."""
    from qckit.log import open_log
    from qckit.reports import find_site

    return open_log(find_site(site))
