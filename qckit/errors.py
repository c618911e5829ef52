"""What can go wrong, said so that the reader can put it right.

Every message has three parts: what is wrong (with the value), where (file, sheet, row, lot, photo) and how to
mend it. The command line prints the message alone and leaves with ``exit_code``.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = ["InputError", "NeedsAttention", "QcError", "one_line", "unknown_name"]


class QcError(Exception):
    """Base of every error qckit raises on purpose."""

    exit_code = 2


class InputError(QcError, ValueError):
    """Something the technician can put right: a file, a cell, a name, a setting.

    Parameters
    ----------
    message : str
        What, where, and how to mend it.
    problems : DataFrame, optional
        Every problem found, one row each, when more than one was looked for.
    """

    def __init__(self, message: str, problems=None):
        super().__init__(message)
        self.problems = problems


class NeedsAttention(QcError):
    """The work is done, but something needs a look (exit code 1)."""

    exit_code = 1


def unknown_name(what: str, name: object, known: Iterable[str], *, where: str = "") -> InputError:
    """Build the error for a name that is not among the known ones.

    Parameters
    ----------
    what : str
        What is being named, such as ``"lot"`` or ``"column"``.
    name : object
        The name that was given.
    known : iterable of str
        Every valid name; all are listed (the first 40 if there are more), the nearest is offered.
    where : str
        File, table or notebook in which the name was used.

    Returns
    -------
    InputError
        Ready to raise.
    """
    known = [str(k) for k in known]
    near = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
    shown = ", ".join(known[:40]) + (f" and {len(known) - 40} more" if len(known) > 40 else "")
    place = f"{where}: " if where else ""
    hint = f" Did you mean {near[0]!r}?" if near else ""
    listing = f" Known: {shown}." if known else f" There is no {what} yet."
    return InputError(f"{place}unknown {what} {str(name)!r}.{hint}{listing}")


def one_line(text: object) -> str:
    """Fold a message to one printable line, so that file names cannot break a terminal or a table."""
    folded = " ".join(str(text).split())
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in folded)
