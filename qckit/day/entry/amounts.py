"""Amounts of nauplii as they are typed at the bench: in millions, or with a word such as ``200 k``."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from qckit.errors import InputError
from qckit.hatch import harvest_totals
from qckit.log.typed import option_count, typed_number
from qckit.quantities import MOST_PER_G, RECOVERY_PCT
from qckit.words import figures, number, spaced

if TYPE_CHECKING:
    from qckit.day.entry.records import Entry
    from qckit.hatch.dose.supply import HatchState
    from qckit.settings import Settings

__all__ = ["check_feed", "harvest_doubts", "typed_nauplii"]

_SLIP = 10.0  # a decimal slip in the grams typed, which must not keep a true feed out of the log


def typed_nauplii(text: str, settings: Settings, what: str) -> float | None:
    """Read nauplii: a bare number is millions, one with a word is as many as it says.

    Parameters
    ----------
    text : str
        Such as ``0.2``, ``200 k``, ``0.2 million``.
    settings : Settings
        Of the site: its decimal sign.
    what : str
        What was asked for.

    Returns
    -------
    float or None
        Nauplii; None where nothing was typed.

    Raises
    ------
    InputError
        It is no number, could be two, or is negative.
    """
    text = text.strip()
    if not text:
        return None
    if re.search(r"\d\s*[A-Za-z]+\.?$", text):
        nauplii = option_count(text, what, decimal=settings.site.decimal)
    else:
        nauplii = 1e6 * typed_number(text, settings, what)
    if nauplii < 0:
        raise InputError(f"{what} is {text}; type a number that is not negative.")
    return nauplii


def check_feed(hatch: dict, nauplii: float) -> None:
    """Refuse a feed of far more nauplii than the hatch's cysts could hold, as a number typed for millions makes."""
    most = hatch["cysts_g"] * MOST_PER_G
    if nauplii > _SLIP * most:
        raise InputError(
            f"{spaced(nauplii / 1e6, '.10g')} million nauplii are more than {hatch['cysts_g']:g} g of cysts hold "
            f"({number(most)} at the very most). Type millions, such as 0.2, or a word behind it: 200 k."
        )


def harvest_doubts(state: HatchState, harvest: Entry) -> list[str]:
    """Doubt a harvest of a hatch that nobody counted, beside what its lot should give: the log doubts those counted."""
    total = harvest_totals(harvest.frames["samples"])["harvested"].iloc[0]
    if state.basis != "expected" or not 0 < total < RECOVERY_PCT[0] / 100 * state.nauplii:
        return []
    part = f"{100 * total / state.nauplii:.2g} %"
    return [
        f"The harvest holds {figures(total)} nauplii, {part} of the {figures(state.nauplii)} that its lot should give: "
        "look at its volume and at its count."
    ]
