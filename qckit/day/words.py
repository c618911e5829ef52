"""The day in words: one line for each thing, made last, from codes and numbers."""

from __future__ import annotations

import datetime as dt
import shlex
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from qckit.day.clock_words import clock_words, clocks_words
from qckit.day.count_words import judged_words, look_at, percent, verdict_words
from qckit.day.entry.records import millions
from qckit.day.page.chores import Chore
from qckit.day.page.starting import Start
from qckit.hatch.dose.feeds import FeedDue
from qckit.hatch.dose.supply import HatchState
from qckit.kept import say_fault
from qckit.review.photo_kinds import question
from qckit.words import (
    capital,
    cone_name,
    cone_names,
    dates_in,
    day,
    first_few,
    joined,
    noun,
    plural,
)

if TYPE_CHECKING:
    from qckit.day.page.study import Day, OddKind

__all__ = [
    "CAUTIONS",
    "ENTER",
    "Line",
    "answer",
    "day_lines",
    "in_site_order",
    "say_old_page",
    "start_words",
]

ENTER = "qckit today --enter"
"""The command that writes what is done at the bench."""

SECTIONS = ("due", "counts", "start", "also")

CAUTIONS = (
    "Mains power and salt water: heaters and pumps off and unplugged before you drain or reach in; a residual-current "
    "device and drip loops on every lead.",
    "Bleach and lye: goggles, gloves, fresh air; never with acid or ammonia; lye into water, never water onto lye.",
    "Cyst dust can sensitise: mask on, air moving, weigh without draught.",
    "Local rules and licensed practice go first; sick animals are for a veterinarian.",
)
"""Common practice; the cautions of hatching, for the wall page and the site's README."""

_SETTLE = "air off 5 to 10 min, no longer"  # Lavens, Thongrod and Sorgeloos 2000: nauplii suffocate
_NOTICED = dt.timedelta(minutes=15)  # a start later than planned by more is said with the time it will be ready
_MOST_WARNINGS = 2
_LEAST_SHARE = 0.01  # of a feed: a smaller part of it is not named
_FEED_MARGIN = dt.timedelta(minutes=30)


@dataclass(frozen=True)
class Line:
    """One line of the page: its section, whether it is urgent, the text, what to run or press."""

    section: str
    text: str
    is_urgent: bool = False
    do: str = ""


def day_lines(page: Day) -> list[Line]:
    """Return the whole page as lines, the most urgent of each section first.

    Parameters
    ----------
    page : Day

    Returns
    -------
    list of Line
        Sections in the order of :data:`SECTIONS`; each has one line at least.
    """
    lines = _due(page) or [Line("due", "Nothing is due now.")]
    lines += [
        Line("counts", judged_words(one), one.code in ("poor", "impossible"), look_at(one)) for one in page.judged
    ] or [Line("counts", "Nothing was counted today.")]
    lines += [_odd_kind_line(one) for one in page.odd_kinds]
    lines += _start_lines(page)
    lines += [_chore_line(chore, page) for chore in page.chores] or [Line("also", "Nothing else is due.")]
    return [replace(line, text=in_site_order(line.text, page)) for line in lines]


def in_site_order(text: str, page: Day) -> str:
    """Write the dates of a sentence in the site's order; a date in the name of a lot or a hatch stays."""
    names = [page.start.lot, *(lot.lot for lot in page.lots), *(state.hatch for state in page.hatches)]
    return dates_in(text, page.date_order, names=filter(None, names))


def answer(page: Day) -> str:
    """Say the day in one line: ``A 79 %, usual; B 40 %, cold; start 10 g in A by 17:30``."""
    figures = {
        one.hatch: f"{cone_name(one.cone)} {'?' if one.code == 'impossible' else percent(one.hatch_pct)}"
        for one in page.judged
    }
    asked = {one.hatch for one in page.odd_kinds if one.kind == "subsample"}
    figures |= {hatch: f"{text} (the photo of a sieve?)" for hatch, text in figures.items() if hatch in asked}
    known = [one for one in page.judged if one.code != "first"]
    parts = [f"{figures[one.hatch]}, {verdict_words(one, short=True)}" for one in known]
    first = [figures[one.hatch] for one in page.judged if one.code == "first"]
    parts += [f"{joined(first)}, nothing to compare with yet"] if first else []
    short = start_words(page.start, page.now, short=True)
    if not parts and not short:
        words = start_words(page.start, page.now)
        if page.start.code == "covered":  # alone, "nothing" would deny all that is due
            words = words.replace("Nothing:", "Nothing to start:")
        if page.to_count:
            parts, words = [f"count {cone_names(state.cone for state in page.to_count)}"], words[0].lower() + words[1:]
        short = words
    return capital("; ".join([*parts, *([short] if short else [])])).removesuffix(".") + "."


def _odd_kind_line(one: OddKind) -> Line:
    """Ask whether a photo is of what it stands for, and say what to run where it is not."""
    other = {"subsample": "sieve", "sieve": "subsample"}[one.kind]
    mend = f"qckit log correct samples {shlex.quote(one.sample)} kind {other} --reason TEXT"
    return Line("counts", f"{cone_name(one.cone)}: {question(one.kind, one.photos, f' ({one.sample})')}", do=mend)


# ---- due ----------------------------------------------------------------------------------------------------------


def _due(page: Day) -> list[Line]:
    """Lines of what is to be done now."""
    lines = [
        Line("due", f"Count {cone_name(s.cone)} ({s.hatch}), {s.age_h:.0f} h in.", s.age_h > _late_h(s), ENTER)
        for s in page.to_count
    ]
    for state in page.hatches:
        if state.state == "to harvest":
            lines.append(Line("due", _harvest_words(state, page), True, ENTER))
        if state.state == "too old":
            old = f"its nauplii are {round(state.nauplii_age_h(page.now), 1):g} h old"
            which = f"{cone_name(state.cone)} ({state.hatch})"
            text = f"Do not feed {which}: {old}." if page.is_fed else f"{which}: {old}, past your limit."
            lines.append(Line("due", text, True))
    today = [feed for feed in page.feeds if not feed.is_done and feed.at.date() == page.now.date()]
    if page.lots or page.hatches:  # a site that has not begun needs no line for each feed
        lines += [_feed_line(feed, page) for feed in today]
    running = [state for state in page.hatches if state.state == "incubating"]
    if running:
        cones = cone_names(state.cone for state in running)
        ready = sorted({clock_words(state.ready, page.now) for state in running})
        lines.append(Line("due", f"Under way: {cones}, ready {joined(ready)}."))
    return lines


def _late_h(state: HatchState) -> float:
    """Hours of incubation from which a count is late."""
    return (state.ready - state.started).total_seconds() / 3600 + 2


def _harvest_words(state: HatchState, page: Day) -> str:
    feeds = [feed for feed in page.feeds if not feed.is_done and feed.at > page.now]
    by = min([feed.at - _FEED_MARGIN for feed in feeds[:1]] + [state.feed_by])
    when = f"by {clock_words(by, page.now)}" if by > page.now else "now"
    return f"Harvest {cone_name(state.cone)} ({state.hatch}) {when}; {_SETTLE}."


def _feed_line(feed: FeedDue, page: Day) -> Line:
    """Say what a feed needs and what there is."""
    used = {part[0] for one in page.feeds for part in one.parts}
    named = [state.cone for state in page.hatches if state.hatch in used]
    cones = {s.hatch: cone_name(s.cone) for s in page.hatches if named.count(s.cone) == 1}  # two hatches of one cone
    parts = [part for part in feed.parts if part[2] >= _LEAST_SHARE * feed.needed]
    sources = joined(f"{cones.get(hatch, hatch)} {millions(n)} {basis}" for hatch, basis, n in parts)
    there = f"{millions(feed.nauplii)} there ({sources})" if parts else "none there"
    what = f"{millions(feed.needed)} needed"
    if feed.given:
        what = f"{millions(feed.given)} of {millions(feed.needed)} given, {millions(feed.rest)} still to give"
    return Line("due", f"Feed {clock_words(feed.at, page.now)}: {what}, {there}.", feed.is_short)


# ---- start --------------------------------------------------------------------------------------------------------


def start_words(start: Start, now: dt.datetime, *, short: bool = False) -> str:
    """Say what to start, by when, for which feeds.

    Parameters
    ----------
    start : Start
    now : datetime
    short : bool
        Only what the answer of the day needs; empty where nothing is to be started.
    """
    is_tomorrow = all((feed.date() - now.date()).days == 1 for feed in start.feeds)
    if start.code == "covered":
        which = "tomorrow's feeds" if is_tomorrow else f"the feeds up to {clock_words(start.feeds[-1], now)}"
        return "" if short else f"Nothing: {which} are covered."
    if start.code == "no feeds":
        return "" if short else "As much as you need; the grams say  qckit dose LOT --nauplii NUMBER."
    if start.code == "too late":
        sentence = f"{_too_late(start, now)} {millions(start.needed)} are missing. Feed later or something else."
        return "" if short else sentence
    if start.code == "start":
        when = "now" if start.is_late else f"by {clock_words(start.by, now)}"
        cones = f" in {cone_names(start.cones)}" if start.cones else " once a cone is free"
        if not start.cones and start.free_from is not None and start.free_from > start.by:
            when = f"({clock_words(start.free_from, now)})"  # by any other time would be too much asked
        each = f" ({start.say(start.grams_per_cone_weighed)} g each)" if len(start.cones) > 1 and not short else ""
        if short:
            return f"start {start.say(start.grams_weighed)} g{cones} {when}"
        late = start.is_late and now - start.by > _NOTICED
        ready = f", ready {clock_words(start.ready, now)}" if late else ""
        return (
            f"{start.say(start.grams_weighed)} g of {start.lot}{cones}{each} {when}{ready}, "
            f"for {clocks_words(start.feeds, now)} ({millions(start.needed)})."
        )
    if short:
        return "no dose known"
    which = clocks_words(start.feeds, now)
    later = noun(len(start.feeds), f"The feed of {which} lacks", f"The feeds of {which} lack")
    feeds = "Tomorrow's feeds lack" if is_tomorrow else later
    need = f"{feeds} {millions(start.needed)}"
    if start.code == "no lot":
        return f"{need}, and no lot is open: enter one."
    return f"{need}; no dose: {start.why_not}"


def _too_late(start: Start, now: dt.datetime) -> str:
    """Say which feeds a start now misses, and from when it could be fed."""
    soonest = clock_words(start.feeds_from, now)
    return f"Too late for {clocks_words(start.missed, now)}: what is started now can be fed from {soonest}."


def _start_lines(page: Day) -> list[Line]:
    """Lines of what to start, with what speaks against it."""
    start, now = page.start, page.now
    enter = ENTER if start.code == "start" else ""
    urgent = bool(start.missed) or start.code in ("no lot", "no dose")
    lines = [Line("start", start_words(start, now), urgent, enter)]
    if start.missed and start.code != "too late":
        lines.append(Line("start", _too_late(start, now), True))
    for lots, which, but in (
        (start.passed_over, "older and open", ("hatches below your minimum", "hatch below your minimum")),
        (start.without_dose, "open, too", ("has no dose yet", "have no dose yet")),
    ):
        if lots:
            passed = f"{joined(lots)} {noun(len(lots), 'is', 'are')} {which}, but {noun(len(lots), *but)}."
            lines.append(Line("start", passed))
    impossible = [one.hatch for one in page.judged if one.code == "impossible"]  # why, is told with its count
    for hatch, text in start.left_out:
        if hatch in impossible:
            lines.append(Line("start", f"{hatch} is left out of the dose until then."))
        else:
            lines.append(Line("start", text, True))
    lines += [Line("start", text) for text in start.dose_warnings[:_MOST_WARNINGS]]
    if start.code == "start" and len(start.cones) < start.n_cones:
        free = plural(len(start.cones), "cone is", "cones are") if start.cones else "none is"
        until = "" if start.free_from is None else f" before {clock_words(start.free_from, now)}"
        all_of_it = f"{start.say(start.grams_in_all)} g in {plural(start.n_cones, 'cone')}"
        lines.append(Line("start", f"Not enough cones: it takes {all_of_it}, and {free} free{until}.", True))
    return lines


# ---- what else ----------------------------------------------------------------------------------------------------


def _chore_line(chore: Chore, page: Day) -> Line:
    """Say one chore and what to run for it."""
    if chore.code == "not fed":
        whens = [dt.datetime.fromisoformat(at) for at in chore.names]
        times = joined(("today " if at.date() == page.now.date() else "") + clock_words(at, page.now) for at in whens)
        one = (
            noun(chore.n, "The feed of", "The feeds of"),
            noun(chore.n, "was", "were"),
            noun(chore.n, "it was", "they were"),
        )
        return Line("also", f"{one[0]} {times} {one[1]} not entered: enter what was given, if {one[2]}.", True, ENTER)
    text, do = _CHORES[chore.code](chore, f"{page.now:%Y-%m}")
    return Line("also", text, chore.code in ("signals", "not counted"), do)


_CHORES = {
    "not counted": lambda c, month: (f"{first_few(c.names, 3)} ended without a count.", ENTER),
    "signals": lambda c, month: (
        f"{plural(c.n, 'signal')} without explanation.",
        f"qckit report month {c.subject or month}",
    ),
    "missing photos": lambda c, month: (
        f"{plural(c.n, 'photo is', 'photos are')} named and not in photos/: {first_few(c.names, 3)}.",
        "",
    ),
    "photos without scale": lambda c, month: (
        f"{plural(c.n, 'photo cannot', 'photos cannot')} be counted: the camera has no scale.",
        "qckit camera scale PHOTO",
    ),
    "photos to count": lambda c, month: (
        f"{plural(c.n, 'photo waits', 'photos wait')} to be counted.",
        "qckit today --watch",
    ),
    "lot test": lambda c, month: (f"A standard test is due: {_each(c, 'd ago')}.", ENTER),
    "meters": lambda c, month: (f"Calibrate the meters ({_ago(c.days)}).", ENTER),
    "camera check": lambda c, month: (
        f"Check the camera against hand counts ({_ago(c.days)}"
        + (f", before photos were counted with {c.subject}" if c.subject else "")
        + ").",
        "qckit camera check",
    ),
    "baseline": lambda c, month: (
        f"No limits are frozen for {_each(c, 'hatches')}.",
        f"qckit report month {c.subject or month} --freeze-baselines",
    ),
    "month": lambda c, month: (f"The review of {_month(c.subject)} is not written.", f"qckit report month {c.subject}"),
}
"""Code of a chore -> its text and what to run, from the chore and this month."""


def _ago(days: int) -> str:
    return "never done" if days < 0 else f"{plural(days, 'day')} ago"


def _each(chore: Chore, unit: str) -> str:
    """Write names with their numbers: ``K-118 (never), K-121 (31 d ago)``."""
    pairs = zip(chore.names, chore.each, strict=True)
    return joined(f"{name} ({'never' if n < 0 else f'{n} {unit}'})" for name, n in pairs)


def _month(month: str) -> str:
    return dt.date.fromisoformat(f"{month}-01").strftime("%B %Y") if len(month) == 7 else month


def heading(page: Day) -> str:
    """Say whose day it is and when it was asked for."""
    return f"{page.site}, {page.now:%A} {day(page.now.date(), page.date_order)}, {page.now:%H:%M}"


def say_old_page(error: Exception) -> str:
    """Say that the page stayed as it was before an entry, and why."""
    return f"The page was not worked out anew: {say_fault(error)}"
