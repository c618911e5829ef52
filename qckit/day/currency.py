"""The currency of prices: what a site is offered by its time zone, and how an answer is read."""

from __future__ import annotations

from qckit.errors import InputError
from qckit.settings import SiteSettings

__all__ = ["currency_of_zone", "read_currency"]


def currency_of_zone(timezone: str) -> str:
    """Return the currency paid where a time zone is, by Unicode's tables (babel); the settings' default elsewhere.

    Examples
    --------
    >>> from qckit.day.currency import currency_of_zone
    >>> currency_of_zone("Europe/Oslo"), currency_of_zone("US/Eastern"), currency_of_zone("UTC")
    ('NOK', 'USD', 'EUR')
    """
    from babel.core import get_global
    from babel.numbers import get_territory_currencies

    territories, names = get_global("zone_territories"), get_global("zone_aliases")
    territory = territories.get(timezone) or territories.get(names.get(timezone, ""), "")  # older names of a zone
    paid = get_territory_currencies(territory) if territory and territory != "001" else []
    return paid[0] if paid else SiteSettings().currency


def read_currency(text: str, where: str) -> str:
    """Read a currency as its three letters of ISO 4217; a sign that one of them has, such as €, stands for it.

    Raises
    ------
    InputError
        It is none.

    Examples
    --------
    >>> from qckit.day.currency import read_currency
    >>> read_currency("chf", "your answer"), read_currency("€", "your answer")
    ('CHF', 'EUR')
    """
    from babel.numbers import get_currency_symbol, list_currencies

    known, code = list_currencies(), text.strip().upper()
    if code in known:
        return code
    signs = {get_currency_symbol(one, locale="en"): one for one in known}
    if code in signs:
        return signs[code]
    raise InputError(f"{where}: {text.strip()!r} is no currency. Write its three letters, such as EUR, GBP or USD.")
