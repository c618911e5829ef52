"""Progress of whatever takes longer than two seconds: the same call in a terminal, a notebook and a file."""

from __future__ import annotations

import html
import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from qckit.directions import isolate_names
from qckit.errors import console_text
from qckit.words import plural

__all__ = ["counted", "working"]

_PATIENCE_S = 2.0  # what is quicker says nothing
_LINE_EVERY_S = 20.0  # where no line can be written over
_now = threading.local()
_OFF = "QCKIT_PROGRESS"  # "off" in a report's own kernel, whose page must not depend on how long it took


class counted:
    """Show how much is done: a bar in a terminal or a notebook, a line now and then otherwise.

    Parameters
    ----------
    words : str
        What is being done, such as ``Counting photos``.
    unit : str
        What is counted.

    Notes
    -----
    Called as ``show(done, total, *anything)``; the bar goes when ``done`` reaches ``total``, or at ``close()``.

    Examples
    --------
    >>> from qckit.progress import counted
    >>> show = counted("Counting photos")
    >>> show(3, 3)
    """

    def __init__(self, words: str, unit: str = "photo"):
        self._words, self._unit = words, unit
        self._line, self._began = _Line(), time.monotonic()

    def __call__(self, done: int, total: int, *_) -> None:
        if done >= total:
            self.close()
            return
        spent = time.monotonic() - self._began
        left = f", about {_span(spent / done * (total - done))} left" if done and spent > _PATIENCE_S else ""
        share = done / total if total else None
        bar = f" {_bar(share)}" if share is not None and self._line.kind == "terminal" else ""
        self._line.write(f"{self._words}: {done} of {plural(total, self._unit)}{left}{bar}", share)

    def close(self) -> None:
        """Take the bar away, also where the work was stopped."""
        self._line.clear()


@contextmanager
def working(words: str) -> Iterator[None]:
    """Say after two seconds, and then each second, that something is still being done and for how long.

    Parameters
    ----------
    words : str
        What is being done, such as ``Reviewing 2026-10``.

    Examples
    --------
    >>> from qckit.progress import working
    >>> with working("Reviewing 2026-10"):
    ...     answer = 6 * 7
    """
    if getattr(_now, "is_shown", False):  # the longer work that this is a part of is on the line already
        yield
        return
    line, over = _Line(), threading.Event()
    began, _now.is_shown = time.monotonic(), True

    def tick() -> None:
        while not over.wait(1.0):
            spent = time.monotonic() - began
            if spent >= _PATIENCE_S:
                line.write(f"{words}: {_span(spent)}")

    ticker = threading.Thread(target=tick, daemon=True)
    ticker.start()
    try:
        yield
    finally:
        _now.is_shown = False
        over.set()
        ticker.join()
        line.clear()


def _bar(share: float) -> str:
    """A bar of plain characters, which every console has."""
    return f"[{'#' * round(20 * share):.<20}]"


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


class _Line:
    """One line that is written over: an output of a notebook cell, a line of a terminal, else a line now and then."""

    def __init__(self):
        self.kind = _surroundings()
        self.handle, self.width, self.at = None, 0, time.monotonic()
        if self.kind == "notebook":
            from IPython.display import DisplayHandle

            self.handle = DisplayHandle()
            self.shown = False

    def write(self, text: str, share: float | None = None) -> None:
        if self.kind == "notebook":
            bar = f' <progress value="{share:.3f}" max="1"></progress>' if share is not None else ""
            line = isolate_names(f'<div role="status">{html.escape(text)}{bar}</div>')
            data = {"text/html": line, "text/plain": text}
            (self.handle.update if self.shown else self.handle.display)(data, raw=True)
            self.shown = True
        elif self.kind == "terminal":
            self._over(text)
        elif self.kind == "file" and time.monotonic() - self.at >= _LINE_EVERY_S:
            self.at = time.monotonic()
            print(text, file=sys.stderr, flush=True)

    def clear(self) -> None:
        if self.kind == "notebook" and self.shown:
            self.handle.update({"text/html": "", "text/plain": ""}, raw=True)
        elif self.kind == "terminal" and self.width:
            self._over("")
            _to_line_start()
            sys.stderr.flush()

    def _over(self, text: str) -> None:
        """Write over the line before; what the terminal cannot encode is written in another way rather than failing."""
        text = console_text(text, getattr(sys.stderr, "encoding", None) or "ascii")
        _to_line_start()
        print(text.ljust(self.width), end="", file=sys.stderr, flush=True)
        self.width = len(text)


def _to_line_start() -> None:
    """Go back to the start of the line; a stream that shows control characters in place of obeying has its own way."""
    back = getattr(sys.stderr, "to_line_start", None)
    if back is None:
        sys.stderr.write("\r")
    else:
        back()


def _surroundings() -> str:
    if os.environ.get(_OFF) == "off":
        return "off"
    ipython = sys.modules.get("IPython")
    shell = ipython.get_ipython() if ipython is not None else None
    if shell is not None and getattr(shell, "kernel", None) is not None:
        return "notebook"
    return "terminal" if sys.stderr is not None and sys.stderr.isatty() else "file"
