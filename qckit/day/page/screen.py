"""The day's page on a terminal of 80 columns and 24 lines."""

from __future__ import annotations

import textwrap

from qckit.day.page.study import Day
from qckit.day.words import SECTIONS, Line, day_lines, heading

__all__ = ["screen_lines"]

_LABEL = 7
_MARK = 2


def screen_lines(page: Day, *, width: int = 80, height: int = 24) -> list[str]:
    """Write the page as lines for a terminal.

    Parameters
    ----------
    page : Day
    width, height : int
        Of the terminal; what does not fit is counted in the last line.

    Returns
    -------
    list of str
        Five lines on a quiet day.
    """
    blocks = []  # the lines of a block stand or go together
    lines = day_lines(page)
    for section in SECTIONS:
        label = section
        for line in (one for one in lines if one.section == section):
            blocks.append(_block(label, line, width))
            label = ""
    shown, room = [heading(page)[:width]], height - 2  # a line for the prompt that follows
    left = len(blocks)
    for block in blocks:
        if len(shown) + len(block) > room - (1 if left > 1 else 0):
            break
        shown += block
        left -= 1
    if left:
        shown.append(f"{'':{_LABEL}}  and {left} more:  qckit today --html day.html")
    return shown


def _block(label: str, line: Line, width: int) -> list[str]:
    """Write one line of the page, what to run at its right end or below it."""
    head = f"{label:<{_LABEL}}{'!' if line.is_urgent else '':<{_MARK}}"
    indent = " " * (_LABEL + _MARK)
    wrapped = textwrap.wrap(line.text, width - len(indent), break_long_words=True) or [""]
    rows = [f"{head}{wrapped[0]}", *(f"{indent}{row}" for row in wrapped[1:])]
    if line.do:
        gap = width - len(rows[-1]) - len(line.do)
        if gap >= 2:
            rows[-1] += " " * gap + line.do
        else:
            rows.append(line.do.rjust(width))
    return rows
