"""Entering the day with digits and Enter: the questions and what is made of the answers, apart from any terminal.

``ask`` puts one question and returns what was typed, ``say`` shows a line; :mod:`qckit.day.entry.terminal` gives both.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from qckit.day.entry.harvest_records import Harvest
from qckit.day.entry.questions import BACK, Questions, Stopped
from qckit.day.entry.records import UNITS, LotTest, NewLot, millions
from qckit.day.entry.writing import Written
from qckit.day.words import start_words
from qckit.errors import InputError, QcError
from qckit.hatch.dose.supply import HatchState
from qckit.kept import kept_meanwhile, say_fault
from qckit.log.typed import as_typed
from qckit.stages import COUNT_LETTERS
from qckit.tables import SEPARATIONS
from qckit.words import cone_name

__all__ = ["BACK", "MENU", "Dialog"]

MENU = {
    "1": "count",
    "2": "start",
    "3": "harvest",
    "4": "feed",
    "5": "readings",
    "6": "tally",
    "7": "meters",
    "8": "test",
    "9": "lot",
    "n": "note",
    "0": "end",
}


@dataclass
class Dialog(Questions):
    """A sitting of questions and answers.

    Parameters
    ----------
    bench, ask, say
        As for :class:`Questions`.
    tally : callable, optional
        ``(bench, hatch) -> list of counts``: counts by eye with keys.
    """

    tally: Callable | None = None

    @property
    def menu(self) -> dict:
        """What can be entered here, by its key: no feed where nothing is fed."""
        is_fed = self.bench.settings.protocol.is_fed
        return {key: name for key, name in MENU.items() if is_fed or name != "feed"}

    def run(self) -> None:
        """Ask until the person ends."""
        if not self._who():
            return
        for line in self._menu_lines():
            self.say(line)
        while True:
            first = self._default()
            try:
                typed = self.ask(f"Enter: {first}" if first else "What", "")
            except EOFError:
                return
            choice = self.menu.get(typed.strip().casefold())
            if typed.strip() == BACK:
                self._do(BACK, "")
                continue
            if typed.strip() and choice is None:
                self.say(f"{typed!r} is none of {', '.join(self.menu)}.")
                continue
            if choice == "end" or (not typed.strip() and not first):
                return
            self._do(choice or first, first if choice is None else "")

    def tally_once(self) -> None:
        """Ask who counts and what, count by eye, write, show the answer."""
        if self._who():
            self._do("tally", "")

    def _who(self) -> bool:
        """Ask for initials where the protocol names several people and none was given; False where nobody answers."""
        people, bench = self.bench.people(), self.bench
        if not bench.by and len(people) == 1:
            bench.by = people[0]
        shown = "  ".join(f"{i} {name}" for i, name in enumerate(people, 1))
        try:
            while not bench.by:
                typed = self.typed(f"Who are you?  {shown}  or your initials" if people else "Your initials", "")
                bench.by = people[int(typed) - 1] if typed.isdigit() and 1 <= int(typed) <= len(people) else typed
                if bench.by.isdigit():
                    bench.by = ""
        except (Stopped, EOFError):
            return False
        return True

    def _menu_lines(self) -> list[str]:
        return [
            " ".join(f"{key} {name}" for key, name in self.menu.items() if name not in ("note", "end")),
            f"n note 0 end. Each with Enter; {BACK} takes back one question, here an entry.",
        ]

    def _default(self) -> str:
        """Say what Enter alone does: the most urgent thing that can be entered."""
        bench, page = self.bench, self.bench.page
        if page.to_count:
            return f"count {cone_name(bench.countable()[0].cone)}"
        if bench.harvestable():
            return f"harvest {cone_name(bench.harvestable()[0].cone)}"
        if page.start.code == "start":
            return "start"
        return "" if bench.has_lots() else "lot"

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
            "test": self._lot_test,
            "lot": self._new_lot,
            "note": self._note,
            BACK: self._take_back,
        }
        step = steps[what if what in steps else what.split(" ")[0]]
        with kept_meanwhile() as kept:
            try:
                if step == self._tally:  # what was counted with keys is not asked twice
                    written = step(bool(default))
                else:
                    written = self.entered(lambda: step(bool(default)))
                if written is not None:
                    self._show(written)
            except (Stopped, EOFError):
                self.say("Nothing was written.")
            except Exception as error:
                if not kept and not isinstance(error, QcError):
                    raise
                self.say(say_fault(error, kept) if kept else str(error))

    def _show(self, written: Written) -> None:
        """Show an entry back, then the day's answer."""
        self.say(f"{written.sentence}  [{BACK} takes it back]")
        for note in written.notes:
            self.say(f"  look: {note}")
        self.say(self.bench.answer())

    # ---- entries --------------------------------------------------------------------------------------------------

    def _count(self, first: bool) -> Written:
        state = self._pick(self.bench.countable(), "Count", first)
        taken = self.time("taken at", self.bench.count_taken_at(state))
        protocol = self.bench.settings.protocol
        columns, n = protocol.counted_columns, protocol.subsamples
        labels = [f"{cone_name(state.cone)} {i + 1}/{n}  {COUNT_LETTERS[c]}" for i in range(n) for c in columns]
        width = len(columns)
        values = self.numbers(labels, must=lambda i: i % width == 0 and i == 0, end=lambda i: i % width == 0 and i > 0)
        counts = [tuple(values[i : i + width]) for i in range(0, len(values), width)]
        return self.bench.count(state.hatch, counts, taken=taken)

    def _start(self, _first: bool) -> Written:
        bench, page = self.bench, self.bench.page
        plan = page.start
        self.say("Start: " + start_words(plan, page.now))
        lots = [lot.lot for lot in page.lots] or bench.site.tables.lots["lot"].tolist()
        if not lots:
            raise InputError("No lot is in the log. Enter it first: 9.")
        lot = self.choose("lot", lots, plan.lot or lots[0])
        cones = list(bench.settings.protocol.cone_names)
        busy = {state.cone for state in page.hatches if state.state == "incubating"}
        free = [*plan.cones, *(cone for cone in cones if cone not in busy)] or cones
        cone = cones if len(cones) == 1 else self.named("cone", free[:1], cones)
        grams = bench.grams_offered()
        weighed = self.number("grams", grams, "g", cell="hatches.cysts_g")
        at = self.time("wetted at", bench.moment())
        return bench.start(lot=lot, cone=cone, grams=weighed, at=at)

    def _harvest(self, first: bool) -> Written:
        bench = self.bench
        state = self._pick(bench.harvestable() if first else bench.at_hand(), "Harvest", first)
        self.say("Air off 5 to 10 min, no longer. Heaters and pumps unplugged before you drain.")
        taken = self.time("harvested at", bench.moment())
        method = self.choose("separated by", list(SEPARATIONS), bench.settings.protocol.separation)
        size, unit = self.size("whole harvest, such as 900 ml or 35 g (Enter: not measured)")
        amounts = {}
        if size is not None:
            density = self.maybe(f"nauplii per {unit} (Enter: {'count them now' if unit == 'ml' else 'not known'})")
            amounts = {f"harvest_{unit}": size, f"per_{unit}": density}
            if density is None and unit == "ml":
                amounts |= self._harvest_counts()
            amounts["lost_nauplii"] = self.maybe(
                "nauplii counted in what was drawn off (Enter: not counted)", cell="samples.lost_nauplii", whole=True
            )
        return bench.harvest(state.hatch, Harvest(separation=method, **amounts), taken=taken)

    def _harvest_counts(self) -> dict:
        """Ask for the counts of a part of the harvest; empty where the first is left out."""
        protocol = self.bench.settings.protocol
        dilution = self.number("times diluted before counting", as_typed(protocol.dilution, self.bench.settings))
        columns = protocol.counted_columns
        labels = [f"in {protocol.subsample_ul:g} µl of it  {COUNT_LETTERS[c]}" for c in columns]
        values = self.numbers(labels, end=lambda i: i == 0)
        counts = {c: v for c, v in zip(columns, values, strict=False) if v is not None}
        return {"counts": counts, "dilution": dilution}

    def _feed(self, _first: bool) -> Written:
        bench = self.bench
        state = self._pick(bench.feedable(), "Feed from", False)
        at = self.time("fed at", bench.moment())
        warning = bench.too_old(state.hatch, at)
        if warning:
            self.say(f"{warning} Enter 0 to leave it.")
        nauplii = self.nauplii("million nauplii", "" if warning else bench.millions_offered(state))
        if nauplii <= 0:
            raise Stopped
        return bench.feed(state.hatch, nauplii, fed=at)

    def _lot_test(self, _first: bool) -> Written:
        bench = self.bench
        lots = bench.lots_to_test()
        if not lots:
            raise InputError("No lot is in the log. Enter it first: 9.")
        lot = self.choose("lot to test", lots, lots[0])
        cones = self.named("its cones", bench.cones_offered())
        others = [one.lot for one in bench.page.lots if one.lot != lot]
        cones = dict.fromkeys(cones, lot)
        if others:
            beside = self.choose("beside it, for comparison", ["nothing", *others], "nothing")
            if beside != "nothing":
                cones |= dict.fromkeys(self.named(f"cones of {beside}", []), beside)
        grams, volume_ml = bench.test_sizes()
        test = LotTest(
            lot,
            cones,
            self.number("grams in each", as_typed(grams, bench.settings), "g", cell="hatches.cysts_g"),
            self.number("ml of water in each", as_typed(volume_ml, bench.settings), "ml", cell="hatches.volume_ml"),
        )
        return bench.lot_test(test, at=self.time("wetted at", bench.moment()))

    def _new_lot(self, _first: bool) -> Written:
        bench = self.bench
        name = self.typed("name on its label", "")
        if not name:
            raise Stopped
        bench.refuse_known_lot(name)
        received = self.date("came on (0: not known)")
        opened = self.date("opened on (0: today)", "not yet")
        best_before = self.date("best before, as 2028-06 or a day (Enter: not known)", "not known", is_past=False)
        pct = self.maybe("hatching percentage its label claims (Enter: none)", "%", cell="lots.claimed_hatch_pct")
        per_g = self.maybe(
            "nauplii per gram its label claims (Enter: none)", cell="lots.claimed_nauplii_per_g", whole=True
        )
        pack_g = self.maybe("grams in its pack (Enter: not known)", "g", cell="lots.pack_g")
        currency = bench.settings.site.currency
        price = self.maybe(f"price of a pack in {currency} (Enter: not known)", cell="lots.price")
        return bench.new_lot(
            NewLot(
                name,
                received=received,
                opened=opened,
                best_before=best_before,
                claimed_hatch_pct=pct,
                claimed_nauplii_per_g=per_g,
                pack_g=pack_g,
                price=price,
            )
        )

    def _readings(self, _first: bool) -> Written:
        state = self._pick(self.bench.readable(), "Readings of", False)
        labels = [f"{state.cone}  {'pH' if name == 'ph' else f'{name} {unit}'}" for name, unit in UNITS.items()]
        names = list(UNITS)
        values = self.numbers(
            labels,
            whole=False,
            units=list(UNITS.values()),
            wrong=lambda i, value: self.bench.why_no_reading(names[i], value),
        )
        known = {name: value for name, value in zip(UNITS, values, strict=True) if value is not None}
        return self.bench.readings(state.hatch, known)

    def _tally(self, _first: bool) -> Written | None:
        if self.tally is None:
            raise InputError("The tally needs a terminal:  qckit today --tally")
        state = self._pick(self.bench.countable(), "Count", False)
        counted = self.bench.samples_to_repeat(state.hatch)
        again = (
            counted and self.choose("count", ["new subsamples", "the same again"], "new subsamples") != "new subsamples"
        )
        sample = self.choose("which", counted, counted[0]) if again else ""
        counts = self.tally(self.bench, state)
        if not counts:
            raise Stopped
        if sample:
            return self.bench.count_again(sample, counts[0])
        return self.bench.count(state.hatch, counts)

    def _note(self, _first: bool) -> Written:
        state = self._pick(self.bench.notable(), "Note on", False)
        text = self.typed("in your words, several with ; between", "")
        if not text:
            raise Stopped
        return self.bench.note(state.hatch, text)

    def _take_back(self, _first: bool) -> None:
        self.say(self.bench.take_back())

    def _meters(self, _first: bool) -> None:
        self.say(self.bench.meters_calibrated())

    def _pick(self, states: list[HatchState], what: str, first: bool) -> HatchState:
        """Let a hatch be chosen by its cone's number, the same every day; the only one, or the one offered, is taken. A
        second hatch of a cone has a number behind those of the cones."""
        if not states:
            raise InputError(f"{what}: there is no hatch for that now.")
        if first or len(states) == 1:
            self.say(f"{what} {cone_name(states[0].cone)}: {states[0].hatch}, {states[0].lot}, {_left(states[0])}.")
            return states[0]
        cones = self.bench.settings.protocol.cone_names
        numbers = self.cone_numbers(dict.fromkeys([*cones, *(state.cone for state in states)]))
        further = itertools.count(1 + max(map(int, numbers.values())))
        numbered: dict[str, HatchState] = {}
        for state in states:
            number = numbers[state.cone]
            numbered[str(next(further)) if number in numbered else number] = state
        often = Counter(state.cone for state in states)
        words = {
            number: f"{cone_name(state.cone)}: {state.state}" + (f", {state.hatch}" if often[state.cone] > 1 else "")
            for number, state in sorted(numbered.items(), key=lambda pair: int(pair[0]))
        }
        chosen = self.choose(what, words, next(words[number] for number in numbered))
        return next(numbered[number] for number, name in words.items() if name == chosen)


def _left(state: HatchState) -> str:
    amount = f", {millions(state.nauplii)} nauplii {state.basis}" if state.basis else ""
    return f"{state.age_h:.1f} h in{amount}"
