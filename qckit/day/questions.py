"""Questions answered with digits and Enter, apart from any terminal: numbers, times, sizes, names, a choice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from qckit.day.bench import Bench
from qckit.errors import InputError

__all__ = ["BACK", "Questions", "Stopped"]

BACK = "-"
"""Typed alone: one number back inside an entry; at the menu the last entry is taken back."""


class Stopped(Exception):
    """The person left an entry before its end: nothing was written."""


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

    def choose(self, label: str, options: list[str], default: str) -> str:
        """Let one of some words be chosen by its number, or be typed; Enter takes the default."""
        if len(options) == 1:
            return options[0]
        shown = "  ".join(f"{i} {name}" for i, name in enumerate(options, 1))
        while True:
            typed = self.typed(f"{label}  ({shown})", default)
            if not typed:
                return default
            if typed.isdigit() and 1 <= int(typed) <= len(options):
                return options[int(typed) - 1]
            exact = [name for name in options if name.casefold() == typed.casefold()]
            if exact:
                return exact[0]
            self.say(f"Type a number from 1 to {len(options)}, or Enter for {default}.")

    def number(self, label: str, default: str) -> float:
        while True:
            typed = self.typed(label, default) or default
            value = _read(typed)
            if value is not None:
                return value
            self.say("Type a number.")

    def maybe(self, label: str) -> float | None:
        """Ask for a number that may be left out."""
        while True:
            typed = self.typed(label, "")
            value = _read(typed) if typed else None
            if value is not None or not typed:
                return value
            self.say("Type a number, or only Enter.")

    def size(self, label: str) -> tuple[float | None, str]:
        """Ask for a volume or a mass; ml where no unit is typed."""
        while True:
            typed = self.typed(label, "").casefold()
            if not typed:
                return None, "ml"
            unit = "g" if typed.endswith("g") else "ml"
            value = _read(typed.removesuffix(unit).strip())
            if value is not None:
                return value, unit
            self.say("Type a number with ml or g, such as 900 ml or 35 g.")

    def named(self, label: str, default: list[str]) -> list[str]:
        """Ask for names of cones, with blanks or commas between."""
        known = {cone.casefold(): cone for cone in self.bench.test_vessels()}
        while True:
            typed = self.typed(f"{label}  (of {' '.join(known.values())})", " ".join(default))
            names = typed.replace(",", " ").split() or default
            if names and all(name.casefold() in known for name in names):
                return list(dict.fromkeys(known[name.casefold()] for name in names))
            self.say(f"Type names such as {' '.join(list(known.values())[:3])}.")

    def time(self, label: str, default):
        while True:
            try:
                return self.bench.at(self.typed(label, f"{default:%H:%M}"), default)
            except InputError as error:
                self.say(str(error))

    def date(self, label: str, default: str = "today") -> str:
        """Ask for a date, ISO text: Enter takes today and 0 none; where the default is another word, Enter takes none
        and 0 today."""
        while True:
            typed = self.typed(label, default)
            try:
                return self.bench.date(typed if default == "today" else {"": "0", "0": ""}.get(typed, typed))
            except InputError as error:
                self.say(str(error))

    def numbers(self, labels: list[str], *, must=lambda i: False, end=lambda i: False, whole: bool = True) -> list:
        """Ask for numbers one after the other; several may be typed at once, with spaces between.

        ``must(i)`` may not be left empty; an empty ``end(i)`` ends the list there.
        """
        values: list = []
        while len(values) < len(labels):
            place = len(values)
            typed = self.ask(labels[place], "").strip()
            if typed == BACK:
                if not values:
                    raise Stopped
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

    def typed(self, label: str, default: str) -> str:
        typed = self.ask(label, default).strip()
        if typed == BACK:
            raise Stopped
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
