"""From a demand of nauplii to grams of cysts, cones, and the time to start; and what a million nauplii cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError

__all__ = [
    "INSTAR_I_HOURS",
    "Dose",
    "StartTimes",
    "cost_per_million",
    "dose_for",
    "instar_i_hours",
    "max_density_g_per_l",
    "start_times",
]

INSTAR_I_HOURS = ((20.0, 20.0), (25.0, 8.0), (28.0, 6.0))
"""Temperature [°C] and how long instar I lasts at the least [h]. 8 h: Lavens, Thongrod and Sorgeloos 2000; the other
two are common practice, no source."""


@dataclass(frozen=True)
class Dose:
    """Grams of cysts for one feed, in how many cones, and what is left over.

    Examples
    --------
    >>> hatch.dose_for(1_000_000, 180_000).n_cones
    1
    """

    nauplii_needed: float
    efficiency_low_per_g: float  # what the grams rest on
    efficiency_per_g: float
    recovery_pct: float
    grams: float
    grams_best_guess: float
    n_cones: int
    grams_per_cone: float
    density_g_per_l: float
    left_over: float  # nauplii beyond the demand if the best guess holds
    is_enough_cones: bool
    sentence: str

    def _repr_html_(self) -> str:
        from qckit.showing import shown

        rows = [
            ("cysts", f"{self.grams:,.3g} g"),
            ("per cone", f"{self.n_cones} x {self.grams_per_cone:,.3g} g"),
            ("nauplii per gram, cautious", f"{self.efficiency_low_per_g:,.0f}"),
            ("recovery", f"{self.recovery_pct:.0f} %"),
        ]
        return shown("Dose", [self.sentence], heads=("", "weigh"), rows=rows)

    def plot(self, ax=None):
        """Draw the grams of the cautious figure beside those of the best guess.

        Parameters
        ----------
        ax : Axes, optional

        Returns
        -------
        Axes
        """
        from qckit import draw

        ax = draw.new_axes(ax, figsize=(6, 1.8))
        grams = (self.grams, self.grams_best_guess)
        bars = ax.barh((1, 0), grams, color=draw.SERIES[0], hatch=("", "///"), edgecolor="white", height=0.6)
        ax.bar_label(bars, [f"{g:,.3g} g" for g in grams], padding=4)
        ax.set_yticks((1, 0), ("to weigh (cautious)", "best guess"))
        ax.set(xlabel="cysts [g]", xlim=(0, 1.2 * max(grams)))
        ax.set_title(f"For {self.nauplii_needed:,.0f} nauplii")
        return ax

    def to_frame(self) -> pd.DataFrame:
        """Return one tidy row with the same names."""
        return pd.DataFrame([self.__dict__])


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


def dose_for(
    nauplii_needed,
    efficiency_low_per_g,
    *,
    efficiency_per_g=None,
    recovery_pct=85.0,
    cone_volume_l=20.0,
    n_cones=None,
    max_g_per_l=None,
):
    """Grams of cysts for a demand: nauplii / (lower bound of HE x recovery).

    Parameters
    ----------
    nauplii_needed : float
        Nauplii wanted in the feed, above 0 (or animals x nauplii per animal).
    efficiency_low_per_g : float
        Lower bound of the hatching efficiency. [nauplii/g]
    efficiency_per_g : float, optional
        Best guess, for what is left over; the lower bound when left out. [nauplii/g]
    recovery_pct : float
        Share of the hatched nauplii that the harvest brings in, above 0 to 100. [%]
    cone_volume_l : float
        Water in one cone. [l]
    n_cones : int, optional
        Cones at hand; as many as are needed when left out.
    max_g_per_l : float, optional
        Most cysts per litre; :func:`max_density_g_per_l` when left out. [g/l]

    Returns
    -------
    Dose
        Cones are those needed to stay within the density, even when fewer are at hand: ``is_enough_cones`` says so.

    Raises
    ------
    InputError
        A number is missing, zero or negative.

    Examples
    --------
    >>> dose = hatch.dose_for(1_000_000, 180_000, recovery_pct=85)
    >>> round(dose.grams, 2)
    6.54
    """
    for name, value in (
        ("nauplii_needed", nauplii_needed),
        ("efficiency_low_per_g", efficiency_low_per_g),
        ("recovery_pct", recovery_pct),
        ("cone_volume_l", cone_volume_l),
    ):
        if value is None or not (math.isfinite(value) and value > 0):
            raise InputError(f"{name} is {value!r} and must be a number above 0, or no dose can be worked out.")
    if recovery_pct > 100:
        raise InputError(f"recovery_pct is {recovery_pct:g}; a harvest cannot bring in more than 100 %. Correct it.")
    best = efficiency_per_g if efficiency_per_g and math.isfinite(efficiency_per_g) else efficiency_low_per_g
    share = recovery_pct / 100
    grams, guess = nauplii_needed / (efficiency_low_per_g * share), nauplii_needed / (best * share)
    most = max_g_per_l if max_g_per_l else max_density_g_per_l(cone_volume_l)
    needed = max(1, math.ceil(grams / (most * cone_volume_l) - 1e-9))
    used = needed if n_cones is None else max(needed, 1)
    enough = n_cones is None or needed <= n_cones
    left = grams * best * share - nauplii_needed
    sentence = (
        f"{grams:.1f} g of cysts in {used} cone{'s' if used > 1 else ''} of {cone_volume_l:g} l "
        f"({grams / used:.1f} g each, {grams / used / cone_volume_l:.2g} g/l) for {nauplii_needed:,.0f} nauplii; "
        f"if the best guess of {_round(best):,.0f} per g holds, about {_round(left):,.0f} are left over."
    )
    if not enough:
        sentence += f" Only {n_cones} cones are at hand: hatch the rest in a second batch."
    return Dose(
        float(nauplii_needed),
        float(efficiency_low_per_g),
        float(best),
        float(recovery_pct),
        grams,
        guess,
        used,
        grams / used,
        grams / used / cone_volume_l,
        left,
        enough,
        sentence,
    )


def _round(value):
    """Three significant figures."""
    return round(value, 2 - math.floor(math.log10(abs(value)))) if abs(value) >= 1 else 0.0


def instar_i_hours(temperature_c: float) -> float:
    """Least duration of instar I at a temperature, between the values of ``INSTAR_I_HOURS``. [h]

    Examples
    --------
    >>> hatch.instar_i_hours(28.0)
    6.0
    """
    import numpy as np

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
        start,
        harvest,
        feed,
        float(t90_h),
        oldest,
        lasts,
        inside,
        f"Wet at {start:%d %b %H:%M}, harvest at {harvest:%d %b %H:%M}; {tail}",
    )


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
