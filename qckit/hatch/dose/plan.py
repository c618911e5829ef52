"""How many grams of a lot to wet for a feed: one answer for every page, with what it rests on and what speaks against.

The grams are such that a single hatch brings in fewer nauplii than wanted only as often as the site allows
(``feed.short_risk``): they rest on the prediction bound of one hatch. It holds what the next hatch will differ by, as
this room counts hatches (between hatches, chance of counting, between harvests), how well the lot's level and the
recovery are known, and the volumes' common error. So the share of hatches that the log shows to fall short is the
stated one; of the nauplii that truly swim, fewer hatches fall short.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from numbers import Real

import pandas as pd

from qckit import draw
from qckit.errors import InputError, need_number
from qckit.hatch.dose.records import dose_records
from qckit.hatch.dose.warnings import DoseWarning, dose_warnings, nothing_known, recent_doubts
from qckit.hatch.dose.weighing import grams_to_weigh, say_grams
from qckit.hatch.harvest.recovery import Recovery, recovery_of
from qckit.hatch.lots.level import MONTH_DAYS, LotLevel, lot_level
from qckit.hatch.metrics import require_lot
from qckit.hatch.photo_counts import photo_counts_of
from qckit.showing import InWords
from qckit.tables import to_clock
from qckit.words import figures, number, plural

__all__ = ["RISKS", "DosePlan", "plan_dose"]

RISKS = (0.05, 0.1, 0.2, 0.5)
"""Risks of falling short whose grams are shown beside the chosen one."""

_RENEW_DAYS = 30.0
_DRIFT = 0.05  # a table is renewed before the lot's own trend has moved the dose by this share


@dataclass(frozen=True, repr=False)
class DosePlan(InWords):
    """Grams of a lot for one feed.

    ``basis`` is ``test`` (the standard test alone), ``production`` or ``both``. ``low`` and ``high`` bound the nauplii
    per gram that one harvest brings in: one in ``1 / risk`` harvests falls below ``low``, as many above ``high``.

    Examples
    --------
    >>> plan = hatch.plan_dose(tables, "K-121", nauplii=5_000_000)
    >>> plan.basis, plan.grams > 0
    ('both', True)
    """

    lot: str
    day: pd.Timestamp
    nauplii: float
    risk: float
    grams: float
    best_grams: float  # with which every second hatch falls short
    basis: str
    level: LotLevel
    recovery: Recovery
    low: float
    harvested_per_g: float
    high: float
    n_cones: int
    cones_at_hand: int
    cone_volume_l: float
    max_g_per_l: float
    savings: tuple[tuple[float, float], ...]  # risk, grams
    renew_by: pd.Timestamp
    warnings: tuple[DoseWarning, ...] = ()
    balance_step_g: float = 0.1

    def _in_words(self) -> dict:
        harvested = f"{figures(self.harvested_per_g)} ({figures(self.low)} to {figures(self.high)})"
        rows = [
            ("cysts", f"{self.say(self.grams_weighed)} g"),
            ("per cone", f"{self.n_cones} x {self.say(self.grams_per_cone_weighed)} g"),
            ("nauplii harvested per gram", harvested),
            ("recovery", f"{self.recovery_pct:.0f} % ({self.recovery_basis})"),
        ]
        title = f"Dose of {self.lot} for {number(self.nauplii)} nauplii"
        return {"title": title, "lines": [self.sentence], "heads": ("", ""), "rows": rows}

    def plot(self, ax=None):
        """Draw what other risks of falling short would weigh, with this dose marked.

        Parameters
        ----------
        ax : Axes, optional

        Returns
        -------
        Axes
        """
        ax = draw.new_axes(ax, figsize=(6, 2.6))
        chosen = {(self.risk, self.grams), (0.5, self.best_grams), *self.savings}
        risks, grams = zip(*sorted(chosen), strict=True)
        ax.plot([100 * r for r in risks], grams, color=draw.SERIES[0], marker="o", markersize=4)
        draw.points([100 * self.risk], [self.grams], ax=ax, marker="D", color=draw.SERIES[1], markersize=9)
        at = (100 * self.risk, self.grams)
        ax.annotate(f"{self.say(self.grams_weighed)} g", at, xytext=(10, 4), textcoords="offset points", va="bottom")
        ax.margins(y=0.25)
        ax.set(xlabel="harvests that fall short [%]", ylabel="cysts [g]")
        ax.set_title(f"{self.lot}: {number(self.nauplii)} nauplii")
        return ax

    @property
    def efficiency_per_g(self) -> float:
        """Best guess of the nauplii that hatch per gram. [nauplii/g]"""
        return self.level.efficiency_per_g

    @property
    def recovery_pct(self) -> float:
        """Recovery used. [%]"""
        return self.recovery.pct

    @property
    def recovery_basis(self) -> str:
        """Either ``measured`` or ``assumed``."""
        return self.recovery.basis

    @property
    def grams_per_cone(self) -> float:
        """Grams in each cone. [g]"""
        return self.grams / self.n_cones

    @property
    def grams_per_cone_weighed(self) -> float:
        """Grams in each cone, as the balance can weigh them. [g]"""
        return grams_to_weigh(self.grams_per_cone, self.balance_step_g)

    @property
    def grams_weighed(self) -> float:
        """Grams altogether when each cone's are weighed out as they are said. [g]"""
        return self.grams_per_cone_weighed * self.n_cones

    def say(self, grams: float) -> str:
        """Write grams with the decimals of the site's balance."""
        return say_grams(grams, self.balance_step_g)

    @property
    def density_g_per_l(self) -> float:
        """Cysts per litre of water. [g/l]"""
        return self.grams_per_cone / self.cone_volume_l

    @property
    def is_enough_cones(self) -> bool:
        """Whether the cones at hand hold the dose at the site's greatest density."""
        return self.n_cones <= self.cones_at_hand

    @property
    def left_over(self) -> float:
        """Nauplii beyond the demand when the best guess holds."""
        return self.grams * self.harvested_per_g - self.nauplii

    @property
    def rests_on(self) -> str:
        """What the dose rests on, in words."""
        hatches = plural(self.level.n_hatches, "production hatch")
        cones = f"the standard test ({plural(self.level.n_cones, 'cone')})"
        counted = {"test": cones, "production": hatches, "both": f"{cones} and {hatches}"}
        return counted[self.basis] + self.level.photos.words

    @property
    def basis_sentence(self) -> str:
        """Which recovery is used, and what the counts from photos owe to a certificate, or to none."""
        return " ".join(filter(None, (self.recovery.sentence, self.level.photos.sentence)))

    @property
    def sentence(self) -> str:
        """Grams and cones, what they are for, and how often they fall short."""
        each = f" ({self.say(self.grams_per_cone_weighed)} g each)" if self.n_cones > 1 else ""
        cones = f"{plural(self.n_cones, 'cone')} of {self.cone_volume_l:g} l{each}"
        text = (
            f"{self.say(self.grams_weighed)} g of {self.lot} in {cones} for {number(self.nauplii)} nauplii: "
            f"{risk_words(self.risk)} would fall short. It rests on {self.rests_on}."
        )
        if not self.is_enough_cones:
            text += f" Only {plural(self.cones_at_hand, 'cone')} at hand: hatch the rest in a second batch."
        return text

    @property
    def saving_sentence(self) -> str:
        """What a larger risk would save."""
        nothing = self.say(0.0)
        more = [(self.say(self.grams - g), r) for r, g in self.savings if r > self.risk]
        parts = [f"{grams} g at {_one_in(r)}" for grams, r in more if grams != nothing]
        if not parts:
            return ""
        return f"A larger risk of falling short would save {', '.join(parts)}."

    def for_nauplii(self, nauplii: float) -> DosePlan:
        """Return the same plan for another demand."""
        factor, grams = nauplii / self.nauplii, self.grams * (nauplii / self.nauplii)
        return replace(
            self,
            nauplii=float(nauplii),
            grams=grams,
            best_grams=self.best_grams * factor,
            n_cones=cones_for(grams, self.max_g_per_l * self.cone_volume_l),
            savings=tuple((r, g * factor) for r, g in self.savings),
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one tidy row."""
        warnings = "; ".join(w.code for w in self.warnings)
        return pd.DataFrame([{name: getattr(self, name) for name in _COLUMNS} | {"warnings": warnings}])


_COLUMNS = (
    "lot",
    "nauplii",
    "grams",
    "n_cones",
    "grams_per_cone",
    "density_g_per_l",
    "left_over",
    "risk",
    "basis",
    "efficiency_per_g",
    "recovery_pct",
    "recovery_basis",
)


def plan_dose(tables, lot, *, nauplii=None, day="", risk=None, records=None):
    """Work out the grams of a lot for one feed.

    Parameters
    ----------
    tables : site_tables.SiteTables
    lot : str
    nauplii : float, optional
        Nauplii wanted in the feed; the site's setting when left out.
    day : str
        Day or time that the dose is for, ISO 8601: records after it are not looked at, and the lot's trend is carried
        to that day. Empty: the day of the newest record; pages and commands give the time at which they are made.
    risk : float, optional
        Share of hatches that may bring in less than wanted; the site's ``feed.short_risk`` when left out.
    records : DoseRecords, optional
        Of the same tables and day, where several lots are asked about.

    Returns
    -------
    DosePlan
        The same lot and day give the same grams, whoever asks.

    Raises
    ------
    InputError
        The lot is unknown or has neither a counted test nor a counted production hatch; a number makes no sense.

    Notes
    -----
    With L the level of log nauplii per gram, s the spread of single hatches as counted, r the log recovery
    with its spread, and v the relative uncertainty of volumes, mass and the camera's certificate, the bound is
    ``exp(L + r - t sqrt(se_L^2 + s^2 + se_r^2 + s_r^2 + v^2))``: the prediction interval of one further observation
    (Hahn and Meeker 1991, Statistical Intervals, section 4.7, from memory), degrees of freedom by Welch and
    Satterthwaite (JCGM 100:2008, G.4.1).

    Examples
    --------
    >>> plan = hatch.plan_dose(tables, "K-121", nauplii=5_000_000)
    >>> plan.best_grams < plan.grams
    True
    """
    settings = tables.settings
    lot_row = require_lot(tables.lots, tables.hatches, lot)
    nauplii = settings.feed.nauplii_per_feed if nauplii is None else nauplii
    risk = settings.feed.short_risk if risk is None else risk
    _check_numbers(nauplii, risk)
    records = records or dose_records(tables, day=day)
    at, cones = records.day, records.cones
    doubted = tuple(one for one in records.doubted if one.lot == lot)
    level = lot_level(cones, records.ordinary, lot, at)
    if level is None:
        raise InputError(nothing_known(lot, records.hatches, cones, doubted, settings.protocol.test_cones))
    recovery = recovery_of(records.samples, cones, settings, day=at)
    common_u = math.hypot(_volume_u(settings.measure), _camera_u(level, recovery, records, tables.photo_corrections))
    per_g = _Prediction(level, recovery, common_u)
    grams = float(nauplii) / per_g.quantile(risk)
    feed = settings.feed
    n_cones = cones_for(grams, feed.max_g_per_l * feed.cone_volume_l)
    return DosePlan(
        lot=lot,
        day=at,
        nauplii=float(nauplii),
        risk=float(risk),
        grams=grams,
        best_grams=float(nauplii) / per_g.quantile(0.5),
        basis=level.basis,
        level=level,
        recovery=recovery,
        low=per_g.quantile(risk),
        harvested_per_g=per_g.quantile(0.5),
        high=per_g.quantile(1 - risk),
        n_cones=n_cones,
        cones_at_hand=feed.n_cones,
        cone_volume_l=feed.cone_volume_l,
        max_g_per_l=feed.max_g_per_l,
        savings=tuple((r, float(nauplii) / per_g.quantile(r)) for r in RISKS),
        renew_by=_renew_by(at, level),
        warnings=dose_warnings(
            cones, level, lot_row, settings, n_cones=n_cones, doubted=recent_doubts(doubted, records)
        ),
        balance_step_g=settings.protocol.balance_step_g,
    )


def cones_for(grams, grams_a_cone):
    """Cones that hold a mass of cysts at the greatest density."""
    return max(1, math.ceil(grams / grams_a_cone - 1e-9))


def risk_words(risk):
    """A risk as a technician says it: ``1 hatch in 20``."""
    return f"{_one_in(risk).replace('1 in', '1 hatch in', 1)}" if risk < 0.5 else "every second hatch"


def _one_in(risk):
    return f"1 in {1 / risk:.0f}" if risk < 0.5 else "1 in 2"


class _Prediction:
    """Nauplii brought in per gram by one further hatch: log scale, Student's distribution."""

    def __init__(self, level, recovery, common_u):
        parts = [
            (level.se**2 + level.spread**2, level.df),  # both from the same hatches
            (recovery.se**2 + recovery.spread**2, recovery.df),
            (common_u**2, math.inf),
        ]
        variance = sum(v for v, _ in parts)
        free = sum(v**2 / df for v, df in parts)
        self.middle = level.log_mean + recovery.log_mean
        self.u = math.sqrt(variance)
        self.df = variance**2 / free if free > 0 else math.inf

    def quantile(self, share):
        """The value that a share of hatches falls below."""
        from scipy import special

        t = special.ndtri(share) if math.isinf(self.df) else special.stdtrit(self.df, share)
        return math.exp(self.middle + float(t) * self.u)


def _volume_u(measure):
    """Relative standard uncertainty that all counts of the site share."""
    return math.hypot(measure.cone_volume_u_pct, measure.subsample_volume_u_pct, measure.dilution_u_pct) / 100


def _camera_u(level, recovery, records, corrections):
    """Relative standard uncertainty that the camera's certificate leaves in the nauplii brought in.

    A measured recovery is harvested over hatched: what the camera does to the hatched nauplii cancels against the
    level, and what it does to harvests counted by photo comes instead.
    """
    if recovery.basis != "measured" or corrections is None:
        return level.photos.u_log
    harvested = records.cones[records.cones["hatch"].isin(set(recovery.by_hatch["hatch"]))]
    hatched = photo_counts_of(harvested)
    is_mine = records.samples["hatch"].isin(set(recovery.by_hatch["hatch"]))
    drawn = records.samples.loc[(records.samples["kind"] == "harvest") & is_mine, "sample"]
    of_harvest = corrections.set_index("sample")["u_log"].reindex(drawn).fillna(0.0).mean() if len(drawn) else 0.0
    if hatched.certificates in ((), level.photos.certificates):
        return abs(level.photos.u_log - hatched.u_log + of_harvest)
    return math.hypot(level.photos.u_log, hatched.u_log, of_harvest)


def _check_numbers(nauplii, risk):
    for name, value in (("nauplii", nauplii), ("risk", risk)):
        if not isinstance(value, Real):
            need_number(name, value)
    if not (math.isfinite(nauplii) and nauplii > 0):
        raise InputError(f"nauplii is {nauplii!r} and must be a number above 0, or no dose can be worked out.")
    if not 0.001 <= risk <= 0.5:
        raise InputError(f"risk is {risk!r} and must lie between 0.001 and 0.5; 0.05 lets 1 hatch in 20 fall short.")


def _renew_by(day, level):
    """When the dose should be worked out anew: after a month, or before the lot's trend has moved it by 5 %."""
    drift = abs(level.slope_per_month) / MONTH_DAYS
    days = min(_RENEW_DAYS, _DRIFT / drift if drift > 0 else _RENEW_DAYS)
    return to_clock((day + pd.Timedelta(days=max(1.0, days))).tz_localize(None).floor("D"), day.tz)
