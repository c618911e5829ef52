"""What to start for the feeds after today: which lot, how many grams, in which cones, by when."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from qckit.errors import QcError
from qckit.hatch.dose.feeds import SLACK_H, FeedDue
from qckit.hatch.dose.supply import HatchState
from qckit.hatch.dose.warnings import OF_DOUBTED
from qckit.hatch.dose.weighing import grams_to_weigh, say_grams
from qckit.hatch.lots.in_use import IN_USE_DAYS, is_in_use, last_used
from qckit.tables import to_utc

if TYPE_CHECKING:
    from qckit.settings import Settings
    from qckit.site_tables import SiteTables

__all__ = ["LotInUse", "Start", "lots_in_use", "plan_start"]

_POOR_WARNINGS = {"rejected", "poor"}
_RECENT = 5  # newest hatches that say whether a lot is poor


@dataclass(frozen=True)
class LotInUse:
    """An open lot, oldest first."""

    lot: str
    opened: str
    last_started: dt.datetime | None
    recent_pct: float  # median of its newest hatches [%]
    is_poor: bool


@dataclass(frozen=True)
class Start:
    """What to start for the feeds after today that nothing covers yet."""

    code: str  # start, covered, too late, no lot, no dose, no feeds
    needed: float  # nauplii still to come
    lot: str = ""
    grams: float = math.nan  # altogether, in all the cones it takes
    grams_per_cone: float = math.nan
    cones: tuple[str, ...] = ()
    n_cones: int = 0  # that it takes, where more than are free
    free_from: dt.datetime | None = None  # where too few are free: when the next incubation is over
    by: dt.datetime | None = None
    ready: dt.datetime | None = None
    is_late: bool = False
    basis: str = ""
    dose_sentence: str = ""
    dose_warnings: tuple[str, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()  # hatches that no dose rests on, as their figures can hardly be, and why
    passed_over: tuple[str, ...] = ()  # older open lots that are poor
    without_dose: tuple[str, ...] = ()  # other open lots of which too little is known for a dose
    why_not: str = ""
    feeds: tuple[dt.datetime, ...] = ()
    missed: tuple[dt.datetime, ...] = ()  # feeds that nothing started now can reach
    feeds_from: dt.datetime | None = None  # when what is started now can be fed
    balance_step_g: float = 0.1

    @property
    def grams_per_cone_weighed(self) -> float:
        """Grams in each cone, as the balance can weigh them. [g]"""
        return grams_to_weigh(self.grams_per_cone, self.balance_step_g)

    @property
    def grams_in_all(self) -> float:
        """Grams that it takes in all its cones, weighed out cone by cone: the dose as ``qckit dose`` says it. [g]"""
        return grams_to_weigh(self.grams / max(self.n_cones, 1), self.balance_step_g) * self.n_cones

    @property
    def grams_weighed(self) -> float:
        """Grams in the free cones together when each cone's are weighed out as they are said. [g]"""
        return self.grams_per_cone_weighed * max(len(self.cones) or self.n_cones, 1)

    def say(self, grams: float) -> str:
        """Write grams with the decimals of the site's balance."""
        return say_grams(grams, self.balance_step_g)


def lots_in_use(tables: SiteTables, *, now: dt.datetime, counts: pd.DataFrame) -> list[LotInUse]:
    """List the lots that are open: in use, or opened so lately that they are about to be; the oldest first.

    Parameters
    ----------
    tables : SiteTables
    now : datetime
    counts : DataFrame
        As ``verdicts.lots.usual.counted_hatches`` gives them.
    """
    made = tables.hatches[tables.hatches["purpose"] == "production"]
    made = made[to_utc(made["started"]) <= now]
    last = last_used(made, now)
    least = tables.settings.limits.min_hatch_pct
    found = []
    for lot in tables.lots.to_dict("records"):
        name, opened = lot["lot"], "" if pd.isna(lot["opened"]) else str(lot["opened"])
        used = last.get(name)
        is_used = is_in_use(used, now)
        is_new = used is None and opened != "" and _days_since(opened, now) <= IN_USE_DAYS
        if not (is_used or is_new):
            continue
        recent = counts[(counts["lot"] == name) & (counts["purpose"] == "production")].tail(_RECENT)["hatch_pct"]
        middle = float(recent.median()) if len(recent) else math.nan
        first = opened or (str(made.loc[made["lot"] == name, "started"].min())[:10] if is_used else "")
        found.append(LotInUse(name, first, used, middle, len(recent) >= 3 and middle < least))
    return sorted(found, key=lambda lot: (lot.opened, lot.lot))


def _days_since(date: str, now: dt.datetime) -> float:
    """Days since a date that may stop at the month or the year; never negative counts as opened."""
    whole = f"{date}-01-01"[:10] if len(date) == 4 else f"{date}-01"[:10]
    return (now.date() - dt.date.fromisoformat(whole)).days


def plan_start(
    settings: Settings,
    lots: list[LotInUse],
    due: list[FeedDue],
    states: list[HatchState],
    *,
    now: dt.datetime,
    plan: Callable,
    avoid: tuple[str, ...] = (),
) -> Start:
    """Say what to start now for tomorrow's feeds, and for those after that which only a start of today can reach.

    Parameters
    ----------
    settings : Settings
    lots : list of LotInUse
    due : list of FeedDue
    states : list of HatchState
    now : datetime
    plan : callable
        ``(lot, nauplii) -> DosePlan``; raises ``QcError`` where no dose can be known.
    avoid : tuple of str
        Cones under suspicion: taken last.
    """
    protocol = settings.protocol
    if not protocol.is_fed:
        return Start("no feeds", 0.0)
    now = now.replace(second=0, microsecond=0)  # starts are typed and read by the minute
    short = [feed for feed in due if feed.at.date() > now.date() and feed.is_short]
    if not short:
        return Start("covered", 0.0, feeds=tuple(feed.at for feed in due if feed.at.date() > now.date()))
    if not lots:
        return Start("no lot", sum(feed.lacking for feed in short), feeds=tuple(feed.at for feed in short))
    takes = dt.timedelta(hours=protocol.incubation_h + protocol.handling_h)
    reached = [feed for feed in short if now + takes <= feed.at + dt.timedelta(hours=SLACK_H)]
    missed = tuple(feed.at for feed in short if feed not in reached)
    needed = sum(feed.lacking for feed in reached)
    if not reached:
        missing = sum(feed.lacking for feed in short)
        return Start("too late", missing, missed=missed, feeds_from=now + takes)
    times = tuple(feed.at for feed in reached)
    by = times[0] - takes
    ready = max(by, now) + dt.timedelta(hours=protocol.incubation_h)
    good, dose, why_not, unknown = _choose(lots, needed, plan)
    older = [lot.lot for lot in lots[: lots.index(good)]]
    head = {
        "needed": needed,
        "lot": good.lot,
        "by": by,
        "ready": ready,
        "is_late": by < now,
        "feeds": times,
        "missed": missed,
        "feeds_from": now + takes,
        "passed_over": tuple(lot for lot in older if lot not in unknown),
        "without_dose": tuple(lot for lot in unknown if lot != good.lot),
    }
    if dose is None:
        return Start("no dose", why_not=why_not, **head)
    most = settings.feed.max_g_per_l * settings.feed.cone_volume_l
    n_cones = max(1, math.ceil(round(dose.grams / most, 6)))
    cones = _free(protocol.cone_names, states, avoid)[:n_cones]
    return Start(
        "start",
        grams=dose.grams,
        grams_per_cone=dose.grams / n_cones if len(cones) in (0, n_cones) else most,
        cones=cones,
        n_cones=n_cones,
        free_from=_next_free(states) if len(cones) < n_cones else None,
        basis=dose.basis,
        dose_sentence=dose.sentence,
        dose_warnings=tuple(w.sentence for w in dose.warnings if w.code not in ("cones", *OF_DOUBTED)),
        left_out=tuple((w.values.get("hatch", ""), w.sentence) for w in dose.warnings if w.code in OF_DOUBTED),
        balance_step_g=protocol.balance_step_g,
        **head,
    )


def _choose(lots: list[LotInUse], needed: float, plan: Callable):
    """Take the oldest open lot that is not poor, by its hatches or by its dose; where all are, the newest with a dose.

    Returns
    -------
    tuple of (LotInUse, DosePlan or None, str, list of str)
        The lot, its dose, why there is none, and the lots tried that have none.
    """
    poor, why_not, unknown = [], "", []
    for lot in sorted(lots, key=lambda lot: lot.is_poor):  # keeps the order of age within each kind
        try:
            dose = plan(lot.lot, needed)
        except QcError as error:
            why_not = str(error)
            unknown.append(lot.lot)
            continue
        if not lot.is_poor and not {warning.code for warning in dose.warnings} & _POOR_WARNINGS:
            return lot, dose, "", unknown
        poor.append((lot, dose))
    if poor:
        return *max(poor, key=lambda pair: lots.index(pair[0])), "", unknown
    return lots[-1], None, why_not, unknown


def _next_free(states: list[HatchState]) -> dt.datetime | None:
    """Return when the next incubation is over."""
    return min((state.ready for state in states if state.state == "incubating"), default=None)


def _free(cones: tuple[str, ...], states: list[HatchState], avoid: tuple[str, ...]) -> tuple[str, ...]:
    """Cones that nothing incubates in; those longest unused first, those under suspicion last."""
    busy = {state.cone for state in states if state.state == "incubating"}
    last = {state.cone: state.started for state in states}
    free = [cone for cone in cones if cone not in busy]
    order = sorted(free, key=lambda cone: (cone in avoid, last[cone].timestamp() if cone in last else 0.0))
    return tuple(order)
