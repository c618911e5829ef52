"""One sitting at the bench: an open site, who writes, the page as it stands, and each thing that can be entered.

The terminal, the notebook's form and the tally all work through this, so that they write the same rows.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import math
import re
import time
from collections.abc import Sequence
from pathlib import Path

from qckit.day.entry import harvest_records, records
from qckit.day.entry import writing as entries
from qckit.day.entry.amounts import check_feed, harvest_doubts
from qckit.day.entry.records import Entry
from qckit.day.entry.repeats import AGAIN, entered_before
from qckit.day.entry.writing import Written
from qckit.day.page.loading import study_site
from qckit.day.page.study import Day
from qckit.day.words import answer, say_old_page
from qckit.errors import InputError, unknown_name
from qckit.hatch.dose.supply import HatchState
from qckit.hatch.lots.standard_tests import TEST_PURPOSES
from qckit.log import open_log
from qckit.log.row_rules import reading_problem
from qckit.log.typed import as_typed, past_day, site_time, typed_date, typed_number, typed_time, with_year
from qckit.protocol import clock_time
from qckit.site import load_site
from qckit.words import cone_name, day

__all__ = ["Bench"]

_ROUND_H = 3.0  # a count entered up to this long after the incubation was taken at its end, unless a person says other
_ROUND_HARVEST = dt.timedelta(minutes=30)  # a harvest written down after the feed may bear the time of writing
_DENSE = 3.0  # times the site's most grams in a cone
_ROUNDED = 0.05  # what is fed is a round number
_CLOCKS_DIFFER = dt.timedelta(minutes=15)  # a wall clock may be so far ahead of the computer's


class Bench:
    """A site opened for a day's entries.

    Parameters
    ----------
    folder : path
        The site folder.
    by : str
        Initials of who types.
    now : str
        Another moment than now, ISO text; its clock goes on from there.

    Examples
    --------
    >>> bench = day.Bench(site.folder, by="op1", now="2026-11-06T10:00:00+00:00")
    >>> bench.by
    'op1'
    """

    def __init__(self, folder: str | Path, *, by: str = "", now: str = ""):
        self.site = load_site(folder)
        self.by = by
        self._start, self._fixed = time.monotonic(), bool(now)
        self.age = dt.timedelta()  # how long ago what is entered now was typed: its times of day are those of that day
        self._from = self._ahead = site_time(self.site.settings, now)
        self.log = open_log(self.site.folder, now=lambda: self._clock().isoformat())
        self.page: Day = self.study()

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_exc) -> None:
        self.log.close()

    @property
    def settings(self):
        """The site's settings."""
        return self.log.settings

    def moment(self) -> dt.datetime:
        """Return the time of the site's clock, to the second; for an entry that is sent late the time of its typing."""
        return self._clock() - self.age

    def _clock(self) -> dt.datetime:
        if self._fixed:
            return (self._from + dt.timedelta(seconds=time.monotonic() - self._start)).replace(microsecond=0)
        return dt.datetime.now(self._from.tzinfo).replace(microsecond=0)

    def study(self) -> Day:
        """Work the page out anew from the log, with what was entered by a wall clock that is ahead."""
        self.page = study_site(self.site.reload(), now=max(self._clock(), self._ahead).isoformat())
        return self.page

    def answer(self) -> str:
        """Say the day in one line."""
        return answer(self.page)

    # ---- what is offered ------------------------------------------------------------------------------------------

    def people(self) -> tuple[str, ...]:
        """Initials to choose from."""
        return self.settings.protocol.initials

    def countable(self) -> list[HatchState]:
        """Hatches that can be counted, those that wait first, then the others still at hand."""
        return self._first(("to count",), ("counted", "to harvest", "harvested", "incubating"))

    def notable(self) -> list[HatchState]:
        """Hatches of which something can be noted: all at hand, those that stand in their cones first."""
        return self._first(("incubating", "to count"), ("to harvest", "counted", "harvested", "too old"))

    def harvestable(self) -> list[HatchState]:
        """Hatches whose harvest is due."""
        return self._first(("to harvest",))

    def at_hand(self) -> list[HatchState]:
        """Hatches that can be harvested or fed."""
        return self._first(("to harvest",), ("counted", "harvested"), ("to count",))

    def readable(self) -> list[HatchState]:
        """Hatches whose water can be read: those that stand in their cones first."""
        return self._first(("incubating", "to count"), ("to harvest", "counted", "harvested"))

    def feedable(self) -> list[HatchState]:
        """Hatches to feed from: those harvested first, those whose nauplii are used up last."""
        states = [*self.at_hand(), *self._first(("too old",))]  # a feed may be entered the day after
        return sorted(
            states, key=lambda state: (state.is_used_up, state.state == "too old", state.state != "harvested")
        )

    def millions_offered(self, state: HatchState) -> str:
        """Million nauplii to feed of a hatch: what is left of it, at most a feed, or the rest of one given in part."""
        rest = [feed.rest for feed in self.page.feeds if feed.given and not feed.is_done]
        most = rest[0] if rest else self.settings.feed.nauplii_per_feed
        millions = min(state.left, most) / 1e6 if math.isfinite(state.left) else 0.0
        return as_typed(millions, self.settings, ".2f" if millions >= 0.1 else ".2g") if millions > 0 else ""

    def grams_offered(self) -> str:
        """Grams of a cone to start: the plan's, else those of the newest hatch."""
        plan = self.page.start
        if plan.code == "start":
            return as_typed(plan.grams_per_cone_weighed, self.settings)
        most = _DENSE * self.settings.feed.max_g_per_l * self.settings.feed.cone_volume_l  # more is a slip, not offered
        kept = [state for state in self.page.hatches if state.grams <= most]
        newest = max(kept, key=lambda state: state.started, default=None)
        return as_typed(newest.grams, self.settings) if newest else ""

    def has_lots(self) -> bool:
        """Whether any lot is in the log."""
        return len(self.site.tables.lots) > 0

    def lots_to_test(self) -> list[str]:
        """Lots that can be tested: those never tested, those whose test is due, the others; the newest first."""
        due = [
            (days >= 0, -place, lot)
            for chore in self.page.chores
            if chore.code == "lot test"
            for place, (lot, days) in enumerate(zip(chore.names, chore.each, strict=True))
        ]
        due = [lot for *_, lot in sorted(due)]
        return [*due, *(lot for lot in self.site.tables.lots["lot"].tolist()[::-1] if lot not in due)]

    def test_vessels(self) -> list[str]:
        """Cones of the protocol, and vessels that earlier standard tests used."""
        tests = self._tests()
        return list(dict.fromkeys([*self.settings.protocol.cone_names, *tests["cone"].astype(str)]))

    def cones_offered(self) -> list[str]:
        """Cones to test a lot in: three of those that nothing incubates in."""
        busy = {state.cone for state in self.page.hatches if state.state == "incubating"}
        return [cone for cone in self.test_vessels() if cone not in busy][:3]

    def test_sizes(self) -> tuple[float, float]:
        """Grams of cysts and ml of water of each cone of a test: the newest test's, else the densest of a full cone."""
        tests, feed = self._tests(), self.settings.feed
        if len(tests):
            return float(tests["cysts_g"].iloc[-1]), float(tests["volume_ml"].iloc[-1])
        return feed.max_g_per_l * feed.cone_volume_l, 1000.0 * feed.cone_volume_l

    def _tests(self):
        hatches = self.site.tables.hatches
        return hatches[hatches["purpose"].isin(TEST_PURPOSES)]

    def _first(self, *groups) -> list[HatchState]:
        order = self.settings.protocol.cone_names
        rank = {cone: i for i, cone in enumerate(order)}
        found = []
        for group in groups:
            mine = [state for state in self.page.hatches if state.state in group]
            found += sorted(mine, key=lambda state: (rank.get(state.cone, len(rank)), state.started))
        return found

    def count_taken_at(self, state: HatchState) -> dt.datetime:
        """Return when a count entered now was most likely taken: at the end of the incubation, or now."""
        now = self.moment()
        late = (now - state.ready).total_seconds() / 3600
        return state.ready if 0 <= late <= _ROUND_H else now

    def at(self, text: str, default: dt.datetime) -> dt.datetime:
        """Read a time of day typed as 0930, 930, 9:30 or 9, of today, or a time with its date; empty: the default.

        A time of today that still lies ahead is refused: what is entered was done, and the day may be yesterday's.
        """
        if not text.strip():
            return default
        text = past_day(text, self.settings, self.moment().date())
        with contextlib.suppress(InputError):
            if re.search(r"\d\D+\d+\D+\d", text):  # with its date
                return dt.datetime.fromisoformat(typed_time(text, self.settings, "time")).astimezone(default.tzinfo)
        try:
            clock = clock_time(text)
        except ValueError:
            raise InputError(
                f"{text!r} is no time of day. Type it like 0930, or with its date where it was not today."
            ) from None
        now = self.moment()
        when = dt.datetime.combine(now.date(), clock, tzinfo=default.tzinfo)
        if when - now > _CLOCKS_DIFFER:
            yesterday = now.date() - dt.timedelta(days=1)
            raise InputError(
                f"{clock:%H:%M} of today still lies ahead. Was it yesterday? Then type it with its date: "
                f"{day(yesterday, self.settings.site.date_order)} {clock:%H:%M}."
            )
        self._ahead = max(self._ahead, when)
        return when

    def date(self, text: str, *, is_past: bool = True) -> str:
        """Read a date in the site's order, ISO, or ``0`` for one that is not known; empty: today. Of one that is past a
        day and month may stand without a year."""
        if text.strip() == "0":
            return ""
        text = with_year(text, self.settings, self.moment().date()) if is_past else text
        return typed_date(text, self.settings, "date") if text.strip() else self.moment().date().isoformat()

    def number(self, text: str, what: str, *, unit: str = "", whole: bool = False) -> float | None:
        """Read a typed number as a cell of a sheet is read, so that 1,200 g is never taken for 1.2 g.

        ``what`` was asked for, ``unit`` is the number's (others of its kind are turned into it), ``whole`` takes only
        whole ones. An InputError says where it is no number, could be two, is negative, or is not whole.
        """
        if not unit and re.search(r"[^\d\s.,'+−-]", text):
            raise InputError(f"{what}: {text!r} is no number. Correct it.")
        value = typed_number(text, self.settings, what, unit=unit, whole=whole)
        if value is not None and (value < 0 or (whole and value != int(value))):
            raise InputError(f"{what} is {text}; type a {'whole ' if whole else ''}number that is not negative.")
        return int(value) if whole and value is not None else value

    # ---- entries --------------------------------------------------------------------------------------------------

    def start(self, *, lot: str, cone: str | Sequence[str], grams: float, at: dt.datetime | None = None):
        """Start a hatch, or one alike in each of several cones; see :func:`qckit.day.entry.records.start_row`."""
        known, cones = self.settings.protocol.cone_names, [cone] if isinstance(cone, str) else list(cone)
        for name in cones:
            if name not in known:
                raise unknown_name("cone", name, known, where="qckit.toml, section [protocol]")
        taken, started = self.names_in_use("hatches"), at or self.moment()
        made = records.start_rows(self._sitting(), cones=cones, lot=lot, grams=grams, started=started, taken=taken)
        busy = [state for state in self.page.hatches if state.cone in cones and state.state == "incubating"]
        notes = [
            f"{cone_name(state.cone)} holds {state.hatch} since {state.started:%H:%M}, too. Was it emptied? Then "
            "withdraw that hatch, or take this start back."
            for state in busy
        ]
        return self._write(made, notes)

    def lot_test(self, test: records.LotTest, *, at: dt.datetime | None = None) -> Written:
        """Start a standard test; see :func:`qckit.day.entry.records.lot_test_rows`."""
        known = self.test_vessels()
        for cone in test.cones:
            if cone not in known:
                raise unknown_name("cone", cone, known, where="qckit.toml, section [protocol], and earlier tests")
        taken = self.names_in_use("hatches")
        started = at or self.moment()
        return self._write(records.lot_test_rows(self._sitting(), test, started=started, taken=taken))

    def new_lot(self, new: records.NewLot) -> Written:
        """Enter a lot that came; see :func:`qckit.day.entry.records.lot_row`."""
        made = records.lot_row(self._sitting(), new)
        self.refuse_known_lot(new.lot)
        if new.lot not in self.names_in_use("lots"):
            return self._write(made)
        written = entries.write_again(self.log, made, by=self.by)  # taken back before; a label keeps its name
        written.notes.extend(self._page_anew())
        return written

    def refuse_known_lot(self, lot: str) -> None:
        """Refuse the name of a lot that the log has."""
        if lot in self.log.lots()["lot"].tolist():
            raise InputError(
                f"Lot {lot} is in the log already. Type another name, or change it with  qckit log correct."
            )

    def count(self, hatch: str, counts: Sequence[Sequence[int | None]], *, taken: dt.datetime | None = None):
        """Enter counted subsamples; see :func:`qckit.day.entry.records.count_rows`."""
        taken = taken or self.count_taken_at(self.page.hatch(hatch))
        row, names = self._row(hatch), self.names_in_use("samples")
        made = records.count_rows(self._sitting(), row, counts, taken=taken, names=names)
        return self._write(made, entered_before(self.log.samples(hatch=hatch), made.frames["samples"]))

    def samples_to_repeat(self, hatch: str) -> list[str]:
        """Subsamples of a hatch that a person counted, which may be counted again."""
        mine = self.log.samples(hatch=hatch, kind="subsample")
        return mine.loc[mine["counted_by"] == "person", "sample"].tolist()

    def count_again(self, sample: str, counts: Sequence[int | None]) -> Written:
        """Enter a second count of a subsample: the earlier one stays on record, for repeatability."""
        columns = self.settings.protocol.counted_columns
        values = {c: n for c, n in zip(columns, counts, strict=True) if n is not None}
        self.log.recount(sample, values, by=self.by, reason=AGAIN, rest="empty")
        shown = ", ".join(f"{name} {n}" for name, n in values.items())
        sentence = f"{sample} counted again by {self.by}: {shown}. The first count stays on record."
        return Written(sentence, self._page_anew())

    @staticmethod
    def why_no_reading(quantity: str, value: float) -> str:
        """Say why a value in the unit of its quantity is none that water has; empty where it can be."""
        found = reading_problem(quantity, value)
        return f"{value:g} {found[0]}. {found[1]}" if found else ""

    def readings(self, hatch: str, values: dict[str, float]) -> Written:
        """Enter water readings taken now."""
        return self._write(records.reading_rows(hatch, values, taken=self.moment()))

    def note(self, hatch: str, text: str) -> Written:
        """Note something about a hatch; see :func:`qckit.day.entry.records.note_row`."""
        return self._write(records.note_row(self._row(hatch), text))

    def harvest(self, hatch: str, measured: harvest_records.Harvest, *, taken: dt.datetime | None = None) -> Written:
        """Enter a harvest; see :func:`qckit.day.entry.harvest_records.harvest_rows`."""
        names, state = self.names_in_use("samples"), self.page.hatch(hatch)
        made = harvest_records.harvest_rows(
            self._sitting(), self._row(hatch), measured, taken=taken or self.moment(), names=names
        )
        written = self._write(made, harvest_doubts(state, made))
        if state.harvested is not None:
            written.notes.append(f"A harvest of it at {state.harvested:%H:%M} stands in the log, too: were there two?")
        return written

    def feed(self, hatch: str, nauplii: float, *, fed: dt.datetime | None = None) -> Written:
        """Enter a feed; nauplii past the site's limit are noted, more than the cysts could ever hold refused."""
        check_feed(self._row(hatch), nauplii)
        fed, state = fed or self.moment(), self.page.hatch(hatch)
        written = self._write(
            records.feed_row(self._sitting(), hatch, nauplii, fed=fed, names=self.names_in_use("feeds"))
        )
        notes = [*written.notes, self.too_old(hatch, fed)]
        if state.harvested is not None and state.harvested - fed > _ROUND_HARVEST:
            notes.append(f"By the log {state.cone} was harvested only at {state.harvested:%H:%M}: look at both times.")
        if math.isfinite(state.nauplii) and nauplii > state.left * (1 + _ROUNDED):
            there = "none were left" if state.is_used_up else f"{records.millions(state.left)} were left"
            notes.append(f"By the log {there} of {state.cone}: look at this feed and at its harvest.")
        return Written(written.sentence, [note for note in notes if note], written.step)

    def too_old(self, hatch: str, at: dt.datetime) -> str:
        """Say that nauplii are past the site's limit for feeding; empty where they are not."""
        state = self.page.hatch(hatch)
        if at <= state.feed_by:
            return ""
        most, age = self.settings.protocol.max_age_h, round(state.nauplii_age_h(at), 1)
        return f"The nauplii of {state.cone} are {age:g} h old, past your limit of {most:g} h."

    def meters_calibrated(self) -> str:
        """Keep that the meters were calibrated."""
        sentence = entries.say_meters_calibrated(self.log, by=self.by)
        return " ".join([sentence, *self._page_anew()])

    def take_back(self) -> str:
        """Withdraw the newest entry of today."""
        sentence = entries.take_back(self.log, by=self.by, now=self.moment())
        return " ".join([sentence, *self._page_anew()])

    def names_in_use(self, table: str) -> set[str]:
        """Return every name ever given to a row of a table."""
        return entries.names_in_use(self.log, table)

    def _sitting(self) -> records.Sitting:
        return records.Sitting(self.settings, self.by, self.moment().date())

    def _row(self, hatch: str) -> dict:
        return self.log.hatches(hatch=hatch).iloc[0].to_dict()

    def _write(self, made: Entry, doubts: Sequence[str] = ()) -> Written:
        written = entries.write_entry(self.log, made, by=self.by)
        written.notes.extend([*doubts, *self._page_anew()])
        return written

    def _page_anew(self) -> list[str]:
        """Work the page out anew after an entry, which stands whatever becomes of the page; a note where it failed."""
        try:
            self.study()
        except Exception as error:  # noqa: BLE001  a fault of the kit, too
            return [say_old_page(error)]
        return []
