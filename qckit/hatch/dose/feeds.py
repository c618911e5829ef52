"""What each feed gets: what there is, given to the feeds of the day in their order, less what they got already."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from qckit.tables import to_utc

if TYPE_CHECKING:
    from qckit.hatch.dose.supply import HatchState
    from qckit.settings import Settings

__all__ = ["SLACK_H", "FeedDue", "feeds_due", "feeds_not_entered"]

SLACK_H = 1.0
"""A feed may come this much later than planned. [h]

No plan is more exact than the hatching itself: cysts of one lot take some hours from the first nauplius to the last,
so an hour is within what is planned anyway (common practice, no source). ``HatchState.can_feed`` gives a hatch to a
feed by it, and ``day.starting.plan_start`` says by it what can still be started.
"""

_WHOLE = 0.95  # of a feed: nobody counts closer than a twentieth
_OVER_H = 1.0  # so long after its time a feed is over
_NEAR = pd.Timedelta(hours=1.5)  # what is fed so near a feed's time is that feed


@dataclass(frozen=True)
class FeedDue:
    """One feed to come: what it needs and what there is for it."""

    at: dt.datetime
    needed: float
    nauplii: float
    parts: tuple[tuple[str, str, float], ...] = ()  # hatch, basis, nauplii
    given: float = 0.0  # nauplii that it got already

    @property
    def rest(self) -> float:
        """Nauplii that it did not get yet."""
        return max(0.0, self.needed - self.given)

    @property
    def lacking(self) -> float:
        """Nauplii that it did not get, and that nothing is there for."""
        return max(0.0, self.rest - self.nauplii)

    @property
    def is_done(self) -> bool:
        """Whether it was given whole."""
        return self.given >= _WHOLE * self.needed

    @property
    def is_short(self) -> bool:
        """Whether less is there than it still needs."""
        return not self.is_done and self.given + self.nauplii < _WHOLE * self.needed


def feeds_due(settings: Settings, states: list[HatchState], *, now: dt.datetime, feeds=None) -> list[FeedDue]:
    """Give the nauplii there are to the feeds to come, the oldest hatch first.

    These are the feeds of today and tomorrow, and those after that which only a start of today can reach. A feed that
    was given in part needs its rest, all day.

    Parameters
    ----------
    settings : Settings
    states : list of HatchState
    now : datetime
    feeds : DataFrame, optional
        The feeds table.
    """
    protocol, needed = settings.protocol, settings.feed.nauplii_per_feed
    left = {state.hatch: state.left if math.isfinite(state.left) else 0.0 for state in states}
    found, times = [], _feed_times(settings, now)
    given = _given_each(feeds, times, needed)
    for at in times:
        feed = FeedDue(at, needed, 0.0, given=given[at])
        if at < now - dt.timedelta(hours=_OVER_H) and not feed.given:
            continue
        parts, missing, when = [], 0.0 if feed.is_done else feed.rest, max(at, now) if feed.given else at
        for state in states:
            take = min(left[state.hatch], missing)
            if take > 0 and state.can_feed(when, protocol.handling_h if state.harvested is None else 0.0):
                parts.append((state.hatch, state.basis, take))
                left[state.hatch] -= take
                missing -= take
        found.append(replace(feed, nauplii=sum(part[2] for part in parts), parts=tuple(parts)))
    return found


def _feed_times(settings: Settings, now: dt.datetime) -> list[dt.datetime]:
    """Times of the feeds of today, of tomorrow, and of those later ones that tomorrow's starts come too late for.

    Cones are counted, emptied and started again in this order, so a day's starts begin when its counts do.
    """
    protocol, tomorrow = settings.protocol, now.date() + dt.timedelta(days=1)
    takes_h = protocol.incubation_h + protocol.handling_h
    counts_at = dt.datetime.combine(tomorrow, protocol.count_time, tzinfo=now.tzinfo)
    too_late = counts_at + dt.timedelta(hours=takes_h - SLACK_H)
    too_old = now + dt.timedelta(hours=protocol.incubation_h + protocol.max_age_h)
    found = []
    for days in range((too_late.date() - now.date()).days + 1):
        for time in protocol.feed_times:
            at = dt.datetime.combine(now.date() + dt.timedelta(days=days), time, tzinfo=now.tzinfo)
            if days <= 1 or (at < too_late and at <= too_old):
                found.append(at)
    return found


def feeds_not_entered(settings: Settings, *, now: dt.datetime, feeds=None) -> list[dt.datetime]:
    """Times of the feeds of yesterday and today whose time is over and of which nothing was written down.

    Nothing where no feed was written down in the week before: a site that keeps no feeds is not asked for them.
    """
    if feeds is None or feeds.empty:
        return []
    fed = to_utc(feeds["fed"])
    first, last = fed.min(), fed[fed <= now].max()
    found = []
    for days, time in itertools.product((-1, 0), settings.protocol.feed_times):
        at = dt.datetime.combine(now.date() + dt.timedelta(days=days), time, tzinfo=now.tzinfo)
        is_asked = first < at < now - dt.timedelta(hours=_OVER_H) and at - last < dt.timedelta(days=7)
        if is_asked and not _given(feeds, at):
            found.append(at)
    return found


def _given(feeds, at: dt.datetime) -> float:
    """Nauplii that were fed around a feed's time."""
    if feeds is None or feeds.empty:
        return 0.0
    near = (to_utc(feeds["fed"]) - at).abs() <= _NEAR
    return float(feeds.loc[near, "nauplii"].sum())


def _given_each(feeds, times: list[dt.datetime], needed: float) -> dict[dt.datetime, float]:
    """Nauplii that each feed got: those fed around its time, and of one given in part what came between the feeds."""
    given = {at: _given(feeds, at) for at in times}
    partly = [at for at in times if 0 < given[at] < _WHOLE * needed]
    if not partly:
        return given
    fed = to_utc(feeds["fed"])
    later = feeds.assign(fed=fed)[fed > min(partly)].sort_values("fed", kind="stable").dropna(subset="nauplii")
    for when, nauplii in zip(later["fed"], later["nauplii"], strict=True):
        before = [at for at in partly if at < when and at.date() == when.astimezone(at.tzinfo).date()]
        lacking = [at for at in before if given[at] < _WHOLE * needed]
        if lacking and not any(abs(when - at) <= _NEAR for at in times):
            given[lacking[0]] += float(nauplii)
    return given
