"""What there is to feed: where each hatch stands at a moment, and how many nauplii of it are left."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from qckit.errors import QcError
from qckit.hatch.dose.feeds import SLACK_H, feeds_due
from qckit.hatch.dose.plan import plan_dose
from qckit.hatch.dose.records import dose_records
from qckit.hatch.harvest.recovery import harvest_totals
from qckit.tables import to_utc

if TYPE_CHECKING:
    from qckit.settings import Settings
    from qckit.site_tables import SiteTables

__all__ = [
    "HatchState",
    "PerGram",
    "Supply",
    "hatch_states",
    "lot_planner",
    "supply_beside",
]

_EARLY_H = 1.0  # a count this long before the end of incubation is no mistake
_FORGOTTEN_H = 48.0  # a hatch that nobody counted for so long after its time is not asked for every day
_WARN_H = 12.0  # nauplii past their time are warned of for so long
_SOME = 10_000.0
STATES = ("incubating", "to count", "to harvest", "counted", "harvested", "too old", "not counted", "over")


@dataclass(frozen=True)
class HatchState:
    """One hatch at the moment of asking; times in the site's zone, nauplii ready to feed."""

    hatch: str
    lot: str
    cone: str
    grams: float
    started: dt.datetime
    ready: dt.datetime  # the incubation is over
    feed_by: dt.datetime  # beyond it the nauplii are older than the site feeds
    age_h: float  # since wetting [h]
    state: str  # of STATES
    nauplii: float  # NaN where nothing tells
    basis: str  # harvested, counted, expected, or empty
    fed: float
    harvested: dt.datetime | None = None
    separation: str = ""

    @property
    def left(self) -> float:
        """Nauplii that were not fed yet."""
        return max(0.0, self.nauplii - self.fed)

    @property
    def is_used_up(self) -> bool:
        """Whether it is known that hardly any are left."""
        return math.isfinite(self.nauplii) and self.left < _SOME

    def nauplii_age_h(self, at: dt.datetime) -> float:
        """Hours since the hatch, taken as the end of the incubation."""
        return (at - self.ready).total_seconds() / 3600

    def can_feed(self, at: dt.datetime, handling_h: float = 0.0) -> bool:
        """Whether there are nauplii of it at a time, or within an hour of it, and they are young enough."""
        return self.ready + dt.timedelta(hours=handling_h - SLACK_H) <= at <= self.feed_by


def hatch_states(
    tables: SiteTables, *, now: dt.datetime, counts: pd.DataFrame, per_g: dict[str, float], recovery: float
):
    """Say where every hatch of the last days stands.

    Parameters
    ----------
    tables : SiteTables
    now : datetime
        In the site's zone.
    counts : DataFrame
        As ``verdicts.lots.usual.counted_hatches`` gives them.
    per_g : mapping of str to float
        Lot -> nauplii to feed that a gram gives, where nothing was counted yet; NaN where that is not known. [1/g]
    recovery : float
        Share of the counted nauplii that a harvest brings, from the counts as they stand (``hatch.recovery_of``).

    Returns
    -------
    list of HatchState
        In order of their start.
    """
    settings = tables.settings
    reach = settings.protocol.incubation_h + settings.protocol.max_age_h + _FORGOTTEN_H
    started = to_utc(tables.hatches["started"])
    recent = tables.hatches[(started <= now) & (started > now - dt.timedelta(hours=reach))]
    measured = counts[~counts["is_impossible"]].set_index("hatch")["hatching_efficiency_per_g"].to_dict()
    counted = set(tables.samples.loc[tables.samples["kind"] == "subsample", "hatch"])
    impossible = set(counts.loc[counts["is_impossible"], "hatch"])
    harvests = harvest_totals(tables.samples).to_dict("index")
    last = recent.assign(at=started[recent.index]).groupby("cone")["at"].max().to_dict()
    known = _Known(measured, counted, harvests, per_g, recovery, last_start=last, impossible=impossible)
    return [_state(row, now, tables, known) for row in recent.sort_values("started").to_dict("records")]


@dataclass(frozen=True)
class _Known:
    """What the log knows of hatches: nauplii per gram counted, counted at all, harvests, what a gram should give, the
    share of a harvest, the last start in each cone, and whose count cannot be."""

    measured: dict[str, float]
    counted: set[str]
    harvests: dict[str, dict]
    per_g: dict[str, float]
    recovery: float
    last_start: dict[str, pd.Timestamp]
    impossible: set[str]


def _state(row: dict, now, tables, known: _Known) -> HatchState:
    """Place one hatch."""
    settings, name = tables.settings, row["hatch"]
    protocol = settings.protocol
    started = dt.datetime.fromisoformat(row["started"]).astimezone(now.tzinfo)
    ready = started + dt.timedelta(hours=protocol.incubation_h)
    feed_by = ready + dt.timedelta(hours=protocol.max_age_h)
    harvest = known.harvests.get(name)
    fed = _fed(tables, name)
    per_gram, basis = math.nan, ""
    if math.isfinite(known.measured.get(name, math.nan)):
        per_gram, basis = known.measured[name] * known.recovery, "counted"
    elif (
        (name not in known.counted or name in known.impossible)
        and now <= feed_by
        and math.isfinite(known.per_g[row["lot"]])
    ):
        per_gram, basis = known.per_g[row["lot"]], "expected"
    nauplii = per_gram * row["cysts_g"]
    if harvest and math.isfinite(harvest["harvested"]):
        nauplii, basis = float(harvest["harvested"]), "harvested"
    left = nauplii - fed if harvest and math.isfinite(nauplii) else 0.0
    is_emptied = known.last_start[row["cone"]] > pd.Timestamp(started)
    return HatchState(
        hatch=name,
        lot=row["lot"],
        cone=row["cone"],
        grams=float(row["cysts_g"]),
        started=started,
        ready=ready,
        feed_by=feed_by,
        age_h=(now - started).total_seconds() / 3600,
        state=_word(now, ready, feed_by=feed_by, known=known, name=name, left=left, is_emptied=is_emptied),
        nauplii=nauplii,
        basis=basis,
        fed=fed,
        harvested=dt.datetime.fromisoformat(harvest["taken"]).astimezone(now.tzinfo) if harvest else None,
        separation=harvest["separation"] if harvest else "",
    )


def _word(now, ready, feed_by, known: _Known, name: str, left: float, is_emptied: bool) -> str:
    """Choose the state's word; ``left`` are nauplii that were harvested and not fed, ``is_emptied`` says that its cone
    was started anew."""
    is_counted, is_harvested = name in known.counted, name in known.harvests
    if now > feed_by:
        if is_harvested and left > _SOME and now <= feed_by + dt.timedelta(hours=_WARN_H):
            return "too old"
        late = now - ready
        forgotten = not is_counted and late > dt.timedelta(hours=_FORGOTTEN_H)
        return "over" if is_counted or forgotten else "not counted"
    if not is_counted:
        return "to count" if now >= ready - dt.timedelta(hours=_EARLY_H) else "incubating"
    if is_harvested:
        return "harvested"
    # a site that keeps no harvests is not asked for them, nor is anybody sent to a cone that holds the next hatch
    return "to harvest" if known.harvests and not is_emptied else "counted"


def _fed(tables: SiteTables, hatch: str) -> float:
    """Nauplii of a hatch that were fed already."""
    feeds = getattr(tables, "feeds", None)
    if feeds is None or feeds.empty:
        return 0.0
    return float(feeds.loc[feeds["hatch"] == hatch, "nauplii"].sum())


@dataclass(frozen=True)
class Supply:
    """What there is to feed besides one hatch, and what is still to be fed that day."""

    others: tuple[HatchState, ...] = ()  # with nauplii for the next feed
    fed: float = 0.0  # nauplii of the hatch itself that were fed already
    passed: int = 0  # feeds of the day that were given or are over, where feeds are written down

    @property
    def nauplii(self) -> float:
        """Nauplii of the other hatches that were not fed yet."""
        return sum(state.left for state in self.others)


def supply_beside(tables: SiteTables, hatch: str, *, now: dt.datetime, counts: pd.DataFrame, recovery: float) -> Supply:
    """Find what else there is for the next feed beside a hatch, as the page of the day counts it.

    Parameters
    ----------
    tables : SiteTables
    hatch : str
    now : datetime
        In the site's zone.
    counts, recovery
        As for :func:`hatch_states`.
    """
    settings, feeds = tables.settings, getattr(tables, "feeds", None)
    keeps_feeds = feeds is not None and len(feeds) > 0
    if keeps_feeds:
        feeds = feeds[to_utc(feeds["fed"]) <= now]
        tables = tables.but(feeds=feeds)
    per_g = PerGram(settings, lot_planner(tables, now))
    states = hatch_states(tables, now=now, counts=counts, per_g=per_g, recovery=recovery)
    today = [feed for feed in feeds_due(settings, [], now=now, feeds=feeds) if feed.at.date() == now.date()]
    to_come = [feed.at for feed in today if not feed.given]
    at = max(now, to_come[0]) if to_come else now
    handling_h = settings.protocol.handling_h
    others = tuple(
        state
        for state in states
        if state.hatch != hatch
        and math.isfinite(state.left)
        and state.left >= _SOME
        and state.can_feed(at, handling_h if state.harvested is None else 0.0)
    )
    # where feeds are not written down, those whose time is over took of what is counted here: the day stays whole
    passed = len(settings.protocol.feed_times) - len(to_come) if to_come and keeps_feeds else 0
    return Supply(others, _fed(tables, hatch), passed)


def lot_planner(tables: SiteTables, moment: dt.datetime, cones=None) -> Callable:
    """Make ``(lot, nauplii) -> DosePlan``: the one dose of the kit on a day, each lot asked once.

    Parameters
    ----------
    tables : SiteTables
    moment : datetime
    cones : DataFrame, optional
        ``cone_metrics`` of the same tables, where they were worked out already.
    """
    day = moment.isoformat()
    records: list = []
    known: dict = {}

    def plan(lot: str, nauplii: float):
        if not records:
            records.append(dose_records(tables, day=day, cones=cones))
        if lot not in known:
            known[lot] = plan_dose(tables, lot, nauplii=nauplii, day=day, records=records[0])
        return known[lot].for_nauplii(nauplii)

    return plan


class PerGram(dict):
    """Lot -> nauplii to feed that a gram gives, by the same dose; worked out only for lots that are asked for."""

    def __init__(self, settings: Settings, plan: Callable):
        super().__init__()
        self._nauplii = settings.feed.nauplii_per_feed * max(1, len(settings.protocol.feed_times))
        self._plan = plan

    def __missing__(self, lot: str) -> float:
        try:
            self[lot] = self._nauplii / self._plan(lot, self._nauplii).grams
        except QcError:
            self[lot] = math.nan
        return self[lot]
