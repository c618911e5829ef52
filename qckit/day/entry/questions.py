"""Questions answered with digits and Enter, apart from any terminal: numbers, times, sizes, names, a choice."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from qckit.day.entry.amounts import typed_nauplii
from qckit.day.entry.bench import Bench
from qckit.errors import InputError
from qckit.kept import kept_meanwhile
from qckit.tables import check_cell
from qckit.words import joined

__all__ = ["BACK", "Questions", "Stopped"]

_NEEDED = "This number is needed; - goes back."

BACK = "-"
"""Typed alone: one question back inside an entry; at the menu the last entry is taken back."""


class Stopped(Exception):
    """The person left an entry before its end: nothing was written."""


class WentBack(Stopped):
    """The person wants the question before this one again."""


@dataclass
class Questions:
    """What can be asked of a person at the bench.

    Parameters
    ----------
    bench : Bench
    ask : callable
        ``(question, default) -> str``: the typed text, ``""`` for Enter alone, :data:`BACK` for the key that goes
        back; raises ``EOFError`` when the person ends.
    say : callable
        Shows one line.
    """

    bench: Bench
    ask: Callable[[str, str], str]
    say: Callable[[str], None]

    def entered(self, step: Callable[[], object]):
        """Ask the questions of an entry and write it; going back or a refusal keeps the answers before.

        Parameters
        ----------
        step : callable
            Asks, then writes. It is begun anew with the answers that stand where the person goes back
            (:data:`BACK`), or where what was typed is refused, which asks the last question again.

        Raises
        ------
        Stopped
            The person went back from the first question.
        """
        ask, say = self.ask, self.say
        given: list[tuple[str, str]] = []  # question and answer
        while True:
            ahead = list(given)

            def again(question: str, default: str, ahead=ahead) -> str:
                if ahead:
                    return ahead.pop(0)[1]
                given.append((question, ask(question, default)))
                return given[-1][1]

            self.ask, self.say = again, lambda line, ahead=ahead: None if ahead else say(line)
            try:
                with kept_meanwhile() as kept:
                    return step()
            except WentBack:
                _drop_question(given)
            except InputError as error:
                if kept or not given:
                    raise
                say(str(error))
            finally:
                self.ask, self.say = ask, say
            if not given:
                raise Stopped
            _drop_question(given)

    def choose(self, label: str, options: list[str] | dict[str, str], default: str) -> str:
        """Let one of some words be chosen by its number, or be typed; Enter takes the default.

        ``options`` are numbered from 1, or number -> word. Words before a colon can be typed alone where they are those
        of one option.
        """
        numbered = options if isinstance(options, dict) else {str(i): name for i, name in enumerate(options, 1)}
        if len(numbered) == 1:
            return next(iter(numbered.values()))
        shown = "  ".join(f"{i} {name}" for i, name in numbered.items())
        while True:
            typed = self.typed(f"{label}  ({shown})", default)
            if not typed:
                return default
            if typed in numbered:
                return numbered[typed]
            for of in (str.casefold, lambda name: name.split(":")[0].casefold()):
                meant = [name for name in numbered.values() if of(name) == typed.casefold()]
                if len(meant) == 1:
                    return meant[0]
            numbers = list(numbered)
            which = f"from 1 to {len(numbers)}" if isinstance(options, list) else f"of {joined(numbers, 'or')}"
            self.say(f"Type a number {which}, or Enter for {default}.")

    def number(self, label: str, default: str, unit: str = "", *, cell: str = "") -> float:
        """Ask for a number; Enter takes the default. One that ``cell``, such as hatches.cysts_g, can never hold is
        asked for again."""
        while True:
            typed = self.typed(label, default) or default
            if not typed:
                self.say(_NEEDED)
                continue
            value = self._read(typed, label, unit, cell)
            if value is not None:
                return value

    def nauplii(self, label: str, default: str) -> float:
        """Ask for nauplii as :func:`qckit.day.entry.amounts.typed_nauplii` reads them; Enter takes the default."""
        while True:
            try:
                value = typed_nauplii(self.typed(label, default) or default, self.bench.settings, label)
            except InputError as error:
                self.say(str(error))
                continue
            if value is not None:
                return value
            self.say(_NEEDED)

    def maybe(self, label: str, unit: str = "", *, cell: str = "", whole: bool = False) -> float | None:
        """Ask for a number that may be left out; ``cell`` as for :meth:`number`."""
        while True:
            typed = self.typed(label, "")
            value = self._read(typed, label, unit, cell, whole=whole) if typed else None
            if value is not None or not typed:
                return value

    def size(self, label: str) -> tuple[float | None, str]:
        """Ask for a volume or a mass; ml where no unit is typed."""
        while True:
            typed = self.typed(label, "").casefold()
            if not typed:
                return None, "ml"
            unit = "g" if typed.endswith("g") else "ml"
            value = self._read(typed, "whole harvest", unit)
            if value is not None:
                return value, unit
            self.say("Type a number with ml or g, such as 900 ml or 35 g.")

    def named(self, label: str, default: list[str], cones: list[str] | None = None) -> list[str]:
        """Ask for names of cones, with blanks or commas between; of those given, else of all vessels for tests."""
        cones = cones or self.bench.test_vessels()
        numbers = self.cone_numbers(cones)
        known = {cone.casefold(): cone for cone in cones} | {number: cone for cone, number in numbers.items()}
        while True:
            shown = "  ".join(cone if cone == number else f"{number} {cone}" for cone, number in numbers.items())
            typed = self.typed(f"{label}  ({shown}; several with blanks)", " ".join(default))
            names = typed.replace(",", " ").split()
            if not names and default:
                return list(default)
            if names and all(name.casefold() in known for name in names):
                return list(dict.fromkeys(known[name.casefold()] for name in names))
            self.say(f"Type numbers or names such as {' '.join(cones[:3])}. More cones: qckit.toml, under cones.")

    def cone_numbers(self, cones: Iterable[str]) -> dict[str, str]:
        """Number cones alike in every entry: one named by a number has that, others their place in the settings; what
        the settings do not name comes behind all of these."""
        in_settings = self.bench.settings.protocol.cone_names
        taken = {cone for cone in in_settings if cone.isdecimal()}
        free = map(str, itertools.count(1 + max([len(in_settings), *map(int, taken)])))
        places = {}
        for place, cone in enumerate(in_settings, 1):
            number = cone if cone in taken else str(place)
            places[cone] = next(free) if cone not in taken and number in taken else number
        return {cone: places.get(cone) or next(free) for cone in cones}

    def time(self, label: str, default):
        while True:
            try:
                return self.bench.at(self.typed(label, f"{default:%H:%M}"), default)
            except InputError as error:
                self.say(str(error))

    def date(self, label: str, default: str = "today", *, is_past: bool = True) -> str:
        """Ask for a date, ISO text: Enter takes today and 0 none; where the default is another word, Enter takes none
        and 0 today. ``is_past`` as for :meth:`Bench.date`."""
        while True:
            typed = self.typed(label, default)
            try:
                given = typed if default == "today" else {"": "0", "0": ""}.get(typed, typed)
                return self.bench.date(given, is_past=is_past)
            except InputError as error:
                self.say(str(error))

    def numbers(
        self,
        labels: list[str],
        *,
        must=lambda i: False,
        end=lambda i: False,
        wrong=lambda i, value: "",
        whole: bool = True,
        units=None,
    ) -> list:
        """Ask for numbers one after the other; several may be typed at once, with spaces between.

        ``must(i)`` may not be left empty; an empty ``end(i)`` ends the list there; ``wrong(i, value)`` says why a
        number cannot be, and it is asked for again; ``units`` are those of the numbers.
        """
        units = units or [""] * len(labels)
        values: list = []
        while len(values) < len(labels):
            place = len(values)
            typed = self.ask(labels[place], "").strip()
            if typed == BACK:
                if not values:
                    raise WentBack
                values.pop()
                continue
            if not typed:
                if end(place):
                    return values
                if must(place):
                    self.say(_NEEDED)
                    continue
                values.append(None)
                continue
            given = self._several(typed, units[place:], whole=whole)
            if given is None or place + len(given) > len(labels):
                self.say(f"{typed!r}: type {'whole numbers' if whole else 'numbers'}, not more than are asked for.")
                continue
            if problem := next(filter(None, (wrong(place + i, value) for i, value in enumerate(given))), ""):
                self.say(problem)
                continue
            values += given
        return values

    def _several(self, typed: str, units: list[str], *, whole: bool) -> list | None:
        """Read one number, with its unit, or several with spaces between; None where one of them is none.

        Of counts several come first: 80 120 is eighty and a hundred and twenty, and only a space that breaks no line,
        as pages have it between thousands, joins them.
        """
        apart = re.split(r"[^\S\u00a0\u202f]+", typed)
        for parts in ([apart] if whole and len(apart) <= len(units) else []) + [[typed], apart]:
            try:
                given = [
                    self.bench.number(part, typed, unit=unit, whole=whole)
                    for part, unit in zip(parts, units, strict=False)
                ]
            except InputError:
                continue
            if None not in given and len(given) == len(parts):
                return given
        return None

    def _read(self, typed: str, label: str, unit: str, cell: str = "", *, whole: bool = False) -> float | None:
        """Read one number; None, and the reason said, where it is none."""
        what = label.split("  ")[0].split(" (")[0]
        try:
            value = self.bench.number(typed, what, unit=unit, whole=whole)
        except InputError as error:
            self.say(str(error))
            return None
        if value is None:
            self.say("Type a number.")
        elif cell and (wrong := check_cell(*cell.split("."), value)[1]):
            self.say(f"{what}: {typed} {wrong[0]}. {wrong[1]}")
            return None
        return value

    def typed(self, label: str, default: str) -> str:
        typed = self.ask(label, default).strip()
        if typed == BACK:
            raise WentBack
        return typed


def _drop_question(given: list[tuple[str, str]]) -> None:
    """Forget the last question, with every answer that was tried at it."""
    question = given[-1][0]
    while given and given[-1][0] == question:
        given.pop()
