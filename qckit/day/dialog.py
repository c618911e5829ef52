"""Entering the day with digits and Enter: the questions and what is made of the answers, apart from any terminal.

``ask`` puts one question and returns what was typed, ``say`` shows a line; :mod:`qckit.day.terminal` gives both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from qckit.day.bench import Bench
from qckit.day.entry import Written
from qckit.day.hatches import HatchState
from qckit.day.records import UNITS, Harvest, millions
from qckit.day.words import start_words
from qckit.errors import InputError, QcError
from qckit.tables import SEPARATIONS

__all__ = ["BACK", "MENU", "Dialog"]

BACK = "-"
"""Typed alone: one number back inside an entry; at the menu the last entry is taken back."""

MENU = {
    "1": "count",
    "2": "start",
    "3": "harvest",
    "4": "feed",
    "5": "readings",
    "6": "tally",
    "7": "meters",
    "0": "end",
}

_LETTERS = {"nauplii": "N", "umbrella": "U", "cysts": "C", "embryos": "E", "shells": "S"}


class _Stopped(Exception):
    """The person left an entry before its end: nothing was written."""


@dataclass
class Dialog:
    """A sitting of questions and answers.

    Parameters
    ----------
    bench : Bench
    ask : callable
        ``(question, default) -> str``: the typed text, ``""`` for Enter alone, :data:`BACK` for the key that goes
        back; raises ``EOFError`` when the person ends.
    say : callable
        Shows one line.
    tally : callable, optional
        ``(bench, hatch) -> list of counts``: counts by eye with keys.
    """

    bench: Bench
    ask: Callable[[str, str], str]
    say: Callable[[str], None]
    tally: Callable | None = None

    def run(self) -> None:
        """Ask until the person ends."""
        self._who()
        for line in self._menu_lines():
            self.say(line)
        while True:
            first = self._default()
            try:
                typed = self.ask(f"Enter: {first}" if first else "What", "")
            except EOFError:
                return
            choice = MENU.get(typed.strip())
            if typed.strip() == BACK:
                self.say(self.bench.take_back())
                continue
            if typed.strip() and choice is None:
                self.say(f"{typed!r} is none of {', '.join(MENU)}.")
                continue
            if choice == "end" or (not typed.strip() and not first):
                return
            self._do(choice or first.split(" ")[0], first if choice is None else "")

    def tally_once(self) -> None:
        """Ask who counts and what, count by eye, write, show the answer."""
        self._who()
        self._do("tally", "")

    def _who(self) -> None:
        """Ask for initials where the protocol names several people and none was given."""
        people = self.bench.people()
        if self.bench.by:
            return
        if len(people) == 1:
            self.bench.by = people[0]
        while not self.bench.by and people:
            shown = "  ".join(f"{i} {name}" for i, name in enumerate(people, 1))
            typed = self.ask(f"Who are you?  {shown}", "").strip()
            if typed.isdigit() and 1 <= int(typed) <= len(people):
                self.bench.by = people[int(typed) - 1]
        while not self.bench.by:
            self.bench.by = self.ask("Your initials", "").strip()

    def _menu_lines(self) -> list[str]:
        return [
            "  ".join(f"{key} {name}" for key, name in MENU.items()),
            f"Numbers and Enter; {BACK} alone goes one number back, here it takes the last entry back.",
        ]

    def _default(self) -> str:
        """Say what Enter alone does: the most urgent thing that can be entered."""
        page = self.bench.page
        if page.to_count:
            return f"count {self.bench.countable()[0].cone}"
        if self.bench.harvestable():
            return f"harvest {self.bench.harvestable()[0].cone}"
        if page.start.code == "start":
            return "start"
        return ""

    def _do(self, what: str, default: str) -> None:
        """Run one entry; faults are said and nothing is lost."""
        steps = {
            "count": self._count,
            "start": self._start,
            "harvest": self._harvest,
            "feed": self._feed,
            "readings": self._readings,
            "tally": self._tally,
            "meters": self._meters,
        }
        try:
            written = steps[what.split(" ")[0]](bool(default))
        except (_Stopped, EOFError):
            self.say("Nothing was written.")
            return
        except QcError as error:
            self.say(str(error))
            return
        if written is not None:
            self._show(written)

    def _show(self, written: Written) -> None:
        """Show an entry back, then the day's answer."""
        self.say(f"{written.sentence}  [{BACK} takes it back]")
        for note in written.notes:
            self.say(f"  look: {note}")
        self.say(self.bench.answer())

    # ---- entries --------------------------------------------------------------------------------------------------

    def _count(self, first: bool) -> Written:
        state = self._pick(self.bench.countable(), "Count", first)
        taken = self._time("taken at", self.bench.count_taken_at(state))
        protocol = self.bench.settings.protocol
        columns, n = protocol.counted_columns, protocol.subsamples
        labels = [f"{state.cone} {i + 1}/{n}  {_LETTERS[c]}" for i in range(n) for c in columns]
        width = len(columns)
        values = self._numbers(labels, must=lambda i: i % width == 0 and i == 0, end=lambda i: i % width == 0 and i > 0)
        counts = [tuple(values[i : i + width]) for i in range(0, len(values), width)]
        return self.bench.count(state.hatch, counts, taken=taken)

    def _start(self, _first: bool) -> Written:
        bench, page = self.bench, self.bench.page
        plan = page.start
        self.say("Start: " + start_words(plan, page.now))
        lots = [lot.lot for lot in page.lots] or bench.site.tables.lots["lot"].tolist()
        if not lots:
            raise InputError("No lot is in the log. Enter one with  qckit log import lots.csv  first.")
        lot = self._choice("lot", lots, plan.lot or lots[0])
        cones = list(bench.settings.protocol.cone_names)
        busy = {state.cone for state in page.hatches if state.state == "incubating"}
        free = [*plan.cones, *(cone for cone in cones if cone not in busy)] or cones
        cone = self._choice("cone", cones, free[0])
        grams = bench.grams_offered()
        weighed = self._number("grams", grams)
        at = self._time("wetted at", bench.moment())
        return bench.start(lot=lot, cone=cone, grams=weighed, at=at)

    def _harvest(self, first: bool) -> Written:
        bench = self.bench
        state = self._pick(bench.harvestable() if first else bench.at_hand(), "Harvest", first)
        self.say("Air off 5 to 10 min, no longer. Heaters and pumps unplugged before you drain.")
        taken = self._time("harvested at", bench.moment())
        method = self._choice("separated by", list(SEPARATIONS), bench.settings.protocol.separation)
        ml = self._number("ml of the whole harvest", "")
        dilution = self._number("times diluted before counting", f"{bench.settings.protocol.dilution:g}")
        columns = bench.settings.protocol.counted_columns
        ul = bench.settings.protocol.subsample_ul
        labels = [f"in {ul:g} µl of it  {_LETTERS[c]}" for c in columns] + ["N in what was drawn off"]
        values = self._numbers(labels, must=lambda i: i == 0)
        counts = {c: v for c, v in zip(columns, values, strict=False) if v is not None}
        lost = values[len(columns)]
        return bench.harvest(state.hatch, Harvest(ml, counts, dilution, method, lost), taken=taken)

    def _feed(self, _first: bool) -> Written:
        bench = self.bench
        state = self._pick(bench.at_hand(), "Feed from", False)
        at = self._time("fed at", bench.moment())
        warning = bench.too_old(state.hatch, at)
        if warning:
            self.say(f"{warning} Enter 0 to leave it.")
        wanted = min(state.left, bench.settings.feed.nauplii_per_feed) if state.left == state.left else 0.0
        offered = f"{wanted / 1e6:.2f}" if wanted and not warning else ""
        nauplii = self._number("million nauplii", offered) * 1e6
        if nauplii <= 0:
            raise _Stopped
        return bench.feed(state.hatch, nauplii, fed=at)

    def _readings(self, _first: bool) -> Written:
        state = self._pick([s for s in self.bench.page.hatches if s.state != "too old"], "Readings of", False)
        labels = [f"{state.cone}  {'pH' if name == 'ph' else f'{name} {unit}'}" for name, unit in UNITS.items()]
        values = self._numbers(labels, whole=False)
        known = {name: value for name, value in zip(UNITS, values, strict=True) if value is not None}
        return self.bench.readings(state.hatch, known)

    def _tally(self, _first: bool) -> Written | None:
        if self.tally is None:
            raise InputError("The tally needs a terminal:  qckit today --tally")
        state = self._pick(self.bench.countable(), "Count", False)
        counted = self.bench.samples_to_repeat(state.hatch)
        again = (
            counted
            and self._choice("count", ["new subsamples", "the same again"], "new subsamples") != "new subsamples"
        )
        sample = self._choice("which", counted, counted[0]) if again else ""
        counts = self.tally(self.bench, state)
        if not counts:
            raise _Stopped
        if sample:
            return self.bench.count_again(sample, counts[0])
        return self.bench.count(state.hatch, counts)

    def _meters(self, _first: bool) -> None:
        self.say(self.bench.meters_calibrated())

    # ---- questions ------------------------------------------------------------------------------------------------

    def _pick(self, states: list[HatchState], what: str, first: bool) -> HatchState:
        """Let a hatch be chosen by the number before its cone; the only one, or the one offered, is taken."""
        if not states:
            raise InputError(f"{what}: there is no hatch for that now.")
        if first or len(states) == 1:
            self.say(f"{what} {states[0].cone}: {states[0].hatch}, {states[0].lot}, {_left(states[0])}.")
            return states[0]
        names = [f"{state.cone} ({state.state})" for state in states]
        chosen = self._choice(what, names, names[0])
        return states[names.index(chosen)]

    def _choice(self, label: str, options: list[str], default: str) -> str:
        """Let one of some words be chosen by its number, or be typed; Enter takes the default."""
        if len(options) == 1:
            return options[0]
        shown = "  ".join(f"{i} {name}" for i, name in enumerate(options, 1))
        while True:
            typed = self._typed(f"{label}  ({shown})", default)
            if not typed:
                return default
            if typed.isdigit() and 1 <= int(typed) <= len(options):
                return options[int(typed) - 1]
            exact = [name for name in options if name.casefold() == typed.casefold()]
            if exact:
                return exact[0]
            self.say(f"Type a number from 1 to {len(options)}, or Enter for {default}.")

    def _number(self, label: str, default: str) -> float:
        while True:
            typed = self._typed(label, default) or default
            value = _read(typed)
            if value is not None:
                return value
            self.say("Type a number.")

    def _time(self, label: str, default):
        while True:
            try:
                return self.bench.at(self._typed(label, f"{default:%H:%M}"), default)
            except InputError as error:
                self.say(str(error))

    def _numbers(self, labels: list[str], *, must=lambda i: False, end=lambda i: False, whole: bool = True) -> list:
        """Ask for numbers one after the other; several may be typed at once, with spaces between.

        ``must(i)`` may not be left empty; an empty ``end(i)`` ends the list there.
        """
        values: list = []
        while len(values) < len(labels):
            place = len(values)
            typed = self.ask(labels[place], "").strip()
            if typed == BACK:
                if not values:
                    raise _Stopped
                values.pop()
                continue
            if not typed:
                if end(place):
                    return values
                if must(place):
                    self.say("This number is needed; - goes back.")
                    continue
                values.append(None)
                continue
            given = [_read(part, whole=whole) for part in typed.split()]
            if any(value is None for value in given) or place + len(given) > len(labels):
                self.say(f"{typed!r}: type {'whole numbers' if whole else 'numbers'}, not more than are asked for.")
                continue
            values += given
        return values

    def _typed(self, label: str, default: str) -> str:
        typed = self.ask(label, default).strip()
        if typed == BACK:
            raise _Stopped
        return typed


def _read(text: str, *, whole: bool = False):
    """Read a number with a decimal point or comma; None where it is none."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    if value < 0 or value != value or (whole and value != int(value)):
        return None
    return int(value) if whole else value


def _left(state: HatchState) -> str:
    told = f", {millions(state.nauplii)} nauplii {state.basis}" if state.basis else ""
    return f"{state.age_h:.1f} h in{told}"
