"""Around the dose: density in a cone, when to start so that the feed is met, what a million nauplii cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.rate.fit import lot_rate
from qckit.words import day

__all__ = [
    "INSTAR_I_HOURS",
    "StartTimes",
    "TimesOfLot",
    "cost_per_million",
    "instar_i_hours",
    "lot_currency",
    "max_density_g_per_l",
    "start_times",
    "times_of_lot",
]

INSTAR_I_HOURS = ((20.0, 20.0), (25.0, 8.0), (28.0, 6.0))
"""Temperature [°C] and how long instar I lasts at the least [h]. 8 h: Lavens, Thongrod and Sorgeloos 2000; the other
two are common practice, no source."""


@dataclass(frozen=True)
class StartTimes:
    """When to wet the cysts so that the harvest meets the feed.

    Examples
    --------
    >>> times = hatch.start_times("2026-11-07T09:00:00+00:00", t10_h=16, t90_h=23)
    >>> times.start < times.harvest < times.feed
    True
    """

    start: pd.Timestamp
    harvest: pd.Timestamp
    feed: pd.Timestamp
    incubation_h: float
    oldest_at_feed_h: float  # age of the first tenth at the feed
    instar_i_h: float
    is_in_window: bool
    sentence: str


def max_density_g_per_l(cone_volume_l: float) -> float:
    """Most cysts per litre: 5 under 20 litres, 2 in larger vessels.

    References
    ----------
    Lavens, Thongrod and Sorgeloos 2000, chapter 6 in New and Valenti (eds), Freshwater Prawn Culture.

    Examples
    --------
    >>> hatch.max_density_g_per_l(2.0), hatch.max_density_g_per_l(20.0)
    (5.0, 2.0)
    """
    return 5.0 if cone_volume_l < 20 else 2.0


def instar_i_hours(temperature_c: float) -> float:
    """Least duration of instar I at a temperature, between the values of ``INSTAR_I_HOURS``. [h]

    Examples
    --------
    >>> hatch.instar_i_hours(28.0)
    6.0
    """
    return float(np.interp(temperature_c, *zip(*INSTAR_I_HOURS)))


def start_times(feed, *, t10_h, t90_h, temperature_c=28.0, handling_h=0.5):
    """When to wet the cysts for a feed, so that harvest falls at T90 and the nauplii are still instar I.

    Parameters
    ----------
    feed : str or Timestamp
        Time of the feed, with offset.
    t10_h, t90_h : float
        Hours from wetting at which a tenth and nine tenths have hatched. [h]
    temperature_c : float
        Of the cone and, until the feed, of the harvest. [°C]
    handling_h : float
        From harvest to feed. [h]

    Returns
    -------
    StartTimes
        ``is_in_window`` says whether even the first tenth is still instar I at the feed.

    Examples
    --------
    >>> hatch.start_times("2026-11-07T09:00:00+00:00", t10_h=16, t90_h=23).start.isoformat()
    '2026-11-06T09:30:00+00:00'
    """
    if not 0 < t10_h <= t90_h:
        raise InputError(f"T10 is {t10_h:g} h and T90 {t90_h:g} h; T10 must be above 0 and not after T90.")
    feed = pd.Timestamp(feed)
    harvest = feed - pd.Timedelta(hours=handling_h)
    start = (harvest - pd.Timedelta(hours=t90_h)).floor("5min")  # nobody wets cysts to the minute
    oldest, lasts = t90_h - t10_h + handling_h, instar_i_hours(temperature_c)
    inside = oldest <= lasts
    tail = (
        f"the first hatched are {oldest:.1f} h old at the feed, within the {lasts:.0f} h of instar I."
        if inside
        else f"the first hatched are {oldest:.1f} h old at the feed, past the {lasts:.0f} h of instar I: some will "
        "have moulted and begun to use up their yolk; harvest in two portions or hold the first one cold."
    )
    return StartTimes(
        start=start,
        harvest=harvest,
        feed=feed,
        incubation_h=float(t90_h),
        oldest_at_feed_h=oldest,
        instar_i_h=lasts,
        is_in_window=inside,
        sentence=f"Wet at {start:%Y-%m-%d %H:%M}, harvest at {harvest:%Y-%m-%d %H:%M}; {tail}",
    )


@dataclass(frozen=True)
class TimesOfLot:
    """Hours from wetting at which a tenth and nine tenths of a lot have hatched, and what they rest on.

    ``is_assumed``: nothing is known of the lot, and the site's reading time stands in.

    Examples
    --------
    >>> known = hatch.times_of_lot(tables, "K-124")
    >>> known.t10_h < known.t90_h
    True
    """

    t10_h: float
    t90_h: float
    is_assumed: bool
    sentence: str


def times_of_lot(tables, lot: str) -> TimesOfLot:
    """T10 and T90 of a lot from its newest time course, else from the reading time.

    Parameters
    ----------
    tables : SiteTables
    lot : str

    Returns
    -------
    TimesOfLot

    Examples
    --------
    >>> hatch.times_of_lot(tables, "K-124").is_assumed
    False
    """
    try:
        rate = lot_rate(tables, lot)
    except InputError as error:
        hours = tables.settings.conditions.reading_h
        assumed = f"T90 is taken as the reading time of {hours:g} h and T10 as {hours - 7:g} h"
        return TimesOfLot(hours - 7, hours, True, f"{error} {assumed} (common practice, no source).")
    t10, t90 = (float(rate.time(name)["value_h"]) for name in ("T10", "T90"))
    newest = tables.hatches.set_index("hatch")["started"].reindex(rate.course["hatch"]).max()
    on = day(str(newest), tables.settings.site.date_order)
    return TimesOfLot(t10, t90, False, f"Times: T10 {t10:.1f} h and T90 {t90:.1f} h, from the time course of {on}.")


def lot_currency(lot, settings) -> str:
    """Return the currency of a lot's price: that entered with it, else the site's of now.

    Parameters
    ----------
    lot : mapping
        A row of the lots table; may be empty.
    settings : Settings

    Examples
    --------
    >>> hatch.lot_currency({"price": 420.0, "currency": "NOK"}, site.settings), hatch.lot_currency({}, site.settings)
    ('NOK', 'EUR')
    """
    written = lot.get("currency") if len(lot) else None
    return written if isinstance(written, str) and written else settings.site.currency


def cost_per_million(price, pack_g, efficiency_per_g, *, recovery_pct=100.0):
    """Price of a million nauplii.

    Parameters
    ----------
    price, pack_g : float
        Of one pack. [currency], [g]
    efficiency_per_g : float
        [nauplii/g]
    recovery_pct : float
        Share harvested; 100 gives the price of hatched nauplii. [%]

    Returns
    -------
    float
        In the price's currency; NaN when something is missing.

    Examples
    --------
    >>> round(hatch.cost_per_million(64.0, 500.0, 190_000), 2)
    0.67
    """
    values = (price, pack_g, efficiency_per_g, recovery_pct)
    if any(v is None or not math.isfinite(float(v)) or float(v) <= 0 for v in values):
        return math.nan
    return float(price) / float(pack_g) * 1e6 / (float(efficiency_per_g) * float(recovery_pct) / 100)
