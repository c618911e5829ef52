"""Text that a spreadsheet would run as a formula: marked on the way out, restored on the way in."""

from __future__ import annotations

import re

__all__ = ["neutralise", "restore"]

# first signs that start a formula in one spreadsheet program or another (OWASP, CSV Injection)
_RISKY = re.compile(r"'*[=+\-@\t\r\n|%＝＋－＠]")


def neutralise(text):
    """Put an apostrophe before text that would start a formula, so that it is shown and not run.

    Parameters
    ----------
    text : object
        Anything but text is returned as it is.
    """
    return f"'{text}" if isinstance(text, str) and _RISKY.match(text) else text


def restore(text):
    """Undo :func:`neutralise`."""
    return text[1:] if isinstance(text, str) and text.startswith("'") and _RISKY.match(text) else text
