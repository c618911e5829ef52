"""The dialogue in a terminal, by prompt_toolkit: digits and Enter."""

from __future__ import annotations

import shutil
import sys
import textwrap
from pathlib import Path

from qckit.day.entry.bench import Bench
from qckit.day.entry.dialog import Dialog
from qckit.day.entry.tally import Tally
from qckit.day.entry.warming import warm_up
from qckit.day.page.screen import screen_lines
from qckit.errors import console_text

__all__ = ["run_dialog", "run_one_tally", "run_tally"]

_ROOM = 4  # characters of an answer that must fit beside its question


def run_dialog(folder: str | Path, *, by: str = "", now: str = "") -> None:
    """Show the page, then ask until the person ends.

    Parameters
    ----------
    folder : path
        The site folder.
    by : str
        Initials; asked for when empty.
    now : str
        Another moment than now.
    """
    from prompt_toolkit import PromptSession

    warm_up()
    with Bench(folder, by=by, now=now) as bench:
        for line in screen_lines(bench.page, height=18):
            _say(line)
        session = PromptSession()

        def ask(question: str, default: str) -> str:
            return _prompt(session, question, default)

        Dialog(bench, ask, _say, tally=run_tally).run()


def run_one_tally(folder: str | Path, *, by: str = "", now: str = "") -> None:
    """Count one cone by eye, and end."""
    from prompt_toolkit import PromptSession

    warm_up()
    with Bench(folder, by=by, now=now) as bench:
        session = PromptSession()

        def ask(question: str, default: str) -> str:
            return _prompt(session, question, default)

        Dialog(bench, ask, _say, tally=run_tally).tally_once()


def _say(line: str) -> None:
    """Print a line, broken between words where the terminal is narrower."""
    from prompt_toolkit import print_formatted_text

    line = console_text(line, sys.stdout.encoding)
    width = max(20, shutil.get_terminal_size().columns)
    print_formatted_text(line if len(line) <= width else "\n".join(textwrap.wrap(line, width)))


def _prompt(session, question: str, default: str) -> str:
    """Ask one question; Ctrl-C leaves it as Ctrl-D does."""
    question = console_text(question, sys.stdout.encoding)
    text = f"{question} [{default}]: " if default else f"{question}: "
    if len(text) + _ROOM > shutil.get_terminal_size().columns:  # broken between words, and the answer below it
        _say(question)
        text = f"[{default}]: " if default else ": "
    try:
        return session.prompt(text)
    except KeyboardInterrupt:
        raise EOFError from None


def run_tally(bench: Bench, state) -> list[tuple[int, ...]]:
    """Count a cone's subsamples by eye; return the counts, none where the person left with Escape.

    Parameters
    ----------
    bench : Bench
    state : HatchState
        The hatch that is counted.
    """
    from prompt_toolkit.application import Application
    from prompt_toolkit.layout import FormattedTextControl, Layout, Window

    tally = Tally(bench.settings.protocol)
    sound = bench.settings.protocol.tally_sound == "soft"

    def text() -> str:
        closed = "\n".join(
            f"  {i}: " + "  ".join(f"{k} {v}" for k, v in row.items()) for i, row in enumerate(tally.done, 1)
        )
        return (
            f"{state.cone} ({state.hatch})   {tally.legend()}\n"
            f"Enter next subsample, twice: end and write   Backspace undo   Escape leave\n\n{tally.line()}\n{closed}"
        )

    def close(app) -> None:
        tally.next_subsample()
        app.exit(result=tally.rows())

    app: Application = Application(
        layout=Layout(Window(FormattedTextControl(text), height=8)),
        key_bindings=_tally_keys(tally, close, sound),
        full_screen=False,
    )
    return app.run()


def _tally_keys(tally, close, sound: bool):
    """Bind the tally's keys, undo, next and end."""
    from prompt_toolkit.key_binding import KeyBindings

    keys = KeyBindings()

    @keys.add("<any>")
    def _(event):
        counted = tally.press(event.data)
        if counted and sound:
            event.app.output.bell()

    @keys.add("enter")
    def _(event):
        closed = tally.next_subsample()
        if tally.is_full or (not closed and tally.done):
            close(event.app)

    @keys.add("backspace")
    def _(event):
        tally.undo()

    @keys.add("escape", eager=True)
    @keys.add("c-c")
    def _(event):
        event.app.exit(result=[])

    return keys
