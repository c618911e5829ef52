"""A day put together: what is due, what the counts say, what to start, what else is due."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from qckit.columns import listed_in
from qckit.day.page.chores import Chore, DayRecords, find_chores
from qckit.day.page.judging import Judged, judge_hatch
from qckit.day.page.starting import LotInUse, Start, lots_in_use, plan_start
from qckit.hatch import cone_metrics, recovery_of
from qckit.hatch.dose.feeds import FeedDue, feeds_due, feeds_not_entered
from qckit.hatch.dose.supply import HatchState, PerGram, hatch_states, lot_planner
from qckit.log.typed import site_time
from qckit.review.photo_kinds import ODD
from qckit.tables import to_utc
from qckit.verdicts.finding import json_data
from qckit.verdicts.lots.usual import counted_hatches

if TYPE_CHECKING:
    from qckit.site_tables import SiteTables

__all__ = ["Day", "study_day"]

_OF_A_CONE = ("oxygen", "unwetted", "broken", "ph")
"""Causes that stay with the cone: another one is offered first."""

_ODD_FLAG = {kind: flag.code for kind, flag in ODD.items()}


@dataclass(frozen=True)
class OddKind:
    """A sample counted today whose photos look like another kind's (:mod:`qckit.review.photo_kinds`)."""

    sample: str
    hatch: str
    cone: str
    kind: str
    photos: tuple[str, ...]


@dataclass(frozen=True)
class Day:
    """Everything a day's page says, as data; words are made by :mod:`qckit.day.words`.

    Examples
    --------
    >>> today = day.study_day(tables, now="2026-11-06T10:00:00+00:00")
    >>> today.site
    'Ostrel Cove nursery (invented)'
    """

    site: str
    now: dt.datetime
    date_order: str
    hatches: tuple[HatchState, ...]
    feeds: tuple[FeedDue, ...]
    judged: tuple[Judged, ...]
    start: Start
    lots: tuple[LotInUse, ...]
    chores: tuple[Chore, ...]
    odd_kinds: tuple[OddKind, ...] = ()

    def hatch(self, name: str) -> HatchState:
        """Return one hatch's state."""
        return next(state for state in self.hatches if state.hatch == name)

    @property
    def is_fed(self) -> bool:
        """Whether the site feeds at all."""
        return self.start.code != "no feeds"

    @property
    def to_count(self) -> tuple[HatchState, ...]:
        """Hatches whose count is due."""
        return tuple(state for state in self.hatches if state.state == "to count")

    def to_dict(self) -> dict:
        """Return the page as JSON-able data; NaN becomes None, times ISO text."""
        return json_data(dataclasses.asdict(self))

    def _repr_html_(self) -> str:
        from qckit.day.page.html import day_fragment

        return day_fragment(self)


def study_day(
    tables: SiteTables,
    *,
    now: str = "",
    plan: Callable | None = None,
    suspect: Callable | None = None,
    records: DayRecords | None = None,
) -> Day:
    """Work out what a day holds.

    Parameters
    ----------
    tables : SiteTables
    now : str
        ISO time; without offset the site's clock. Empty: this moment.
    plan : callable, optional
        ``(lot, nauplii) -> DosePlan``; ``hatch.plan_dose`` on these tables when left out.
    suspect : callable, optional
        ``(hatch, tables=, counts=) -> Suspicion`` of the poor-hatch verdict; without it no suspicion is named.
    records : DayRecords, optional
        What else of the log and the folder is looked at for what is due.

    Returns
    -------
    Day

    Examples
    --------
    >>> len(day.study_day(tables, now="2026-11-06T10:00:00+00:00").hatches) > 0
    True
    """
    settings = tables.settings
    moment = site_time(settings, now)
    tables = _until(tables, moment)
    rows = (tables.samples, tables.hatches, tables.lots)
    options = {"photos": tables.photos, "reading_h": settings.conditions.reading_h}
    cones = cone_metrics(*rows, **options)
    counts = counted_hatches(*rows, **options, cones=cones)
    lots = lots_in_use(tables, now=moment, counts=counts)
    plan = plan or lot_planner(tables, moment, cones)
    recovery = recovery_of(tables.samples, cones, settings, day=moment.isoformat()).pct / 100
    states = hatch_states(tables, now=moment, counts=counts, per_g=PerGram(settings, plan), recovery=recovery)
    feeds = feeds_due(settings, states, now=moment, feeds=getattr(tables, "feeds", None))
    ask = partial(suspect, tables=tables, counts=counts) if suspect else None
    judged = [judge_hatch(counts, name, suspect=ask) for name in _counted_today(tables, moment)]
    judged = [one for one in judged if one is not None]
    avoid = tuple(one.cone for one in judged if one.suspicion in _OF_A_CONE)
    start = plan_start(settings, lots, feeds, states, now=moment, plan=plan, avoid=avoid)
    chores = find_chores(
        tables,
        lots,
        now=moment,
        counts=counts,
        records=records or DayRecords(),
        not_counted=tuple(state.hatch for state in states if state.state == "not counted"),
        not_fed=tuple(
            at.isoformat() for at in feeds_not_entered(settings, now=moment, feeds=getattr(tables, "feeds", None))
        ),
    )
    shown = [state for state in states if state.state not in ("over", "not counted")]
    return Day(
        site=settings.site.name,
        now=moment,
        date_order=settings.site.date_order,
        hatches=tuple(shown),
        feeds=tuple(feeds),
        judged=tuple(judged),
        start=start,
        lots=tuple(lots),
        chores=tuple(chores),
        odd_kinds=tuple(_odd_kinds(tables, moment)),
    )


def _until(tables: SiteTables, now: dt.datetime) -> SiteTables:
    """Leave out what was not there yet at the moment asked for."""
    hatches = tables.hatches[to_utc(tables.hatches["started"]) <= now]
    known = set(hatches["hatch"])
    samples = tables.samples
    samples = samples[samples["hatch"].isin(known) & (to_utc(samples["taken"]) <= now)]
    readings = tables.readings
    if readings is not None and len(readings):
        readings = readings[readings["hatch"].isin(known) & (to_utc(readings["taken"]) <= now)]
    feeds = getattr(tables, "feeds", None)
    if feeds is not None and len(feeds):
        feeds = feeds[to_utc(feeds["fed"]) <= now]
    return tables.but(hatches=hatches, samples=samples, readings=readings, feeds=feeds)


def _odd_kinds(tables: SiteTables, now: dt.datetime) -> list[OddKind]:
    """Samples of today whose photos are flagged as those of another kind, in the order of cones."""
    photos = tables.photos
    if photos is None or not len(photos):
        return []
    cones = dict(zip(tables.hatches["hatch"], tables.hatches["cone"], strict=True))
    found = []
    for row in _of_today(tables.samples[tables.samples["kind"].isin(_ODD_FLAG)], now).itertuples():
        mine = photos[photos["sample"] == row.sample]
        odd = mine.loc[[_ODD_FLAG[row.kind] in listed_in(flags) for flags in mine["flags"]], "photo"]
        if len(odd):
            found.append(OddKind(row.sample, row.hatch, cones[row.hatch], row.kind, tuple(odd)))
    return sorted(found, key=lambda one: (one.cone, one.sample))


def _of_today(samples, now: dt.datetime):
    local = to_utc(samples["taken"]).dt.tz_convert(str(now.tzinfo))
    return samples[local.dt.date == now.date()]


def _counted_today(tables: SiteTables, now: dt.datetime) -> list[str]:
    """Hatches with a subsample taken today, in the order of cones."""
    samples = tables.samples[(tables.samples["kind"] == "subsample") & tables.samples["nauplii"].notna()]
    today = set(_of_today(samples, now)["hatch"])
    mine = tables.hatches[tables.hatches["hatch"].isin(today)]
    return mine.sort_values(["cone", "started"])["hatch"].tolist()
