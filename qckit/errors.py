"""What can go wrong, said so that the reader can put it right.

Every message has three parts: what is wrong (with the value), where (file, sheet, row, lot, photo) and how to
mend it. The command line prints the message alone and leaves with ``exit_code``.
"""

from __future__ import annotations

import difflib
import errno
import math
import unicodedata
from collections.abc import Iterable
from numbers import Real
from pathlib import Path

from qckit.words import NARROW

__all__ = [
    "FILE_FAULTS",
    "InputError",
    "NeedsAttention",
    "QcError",
    "StateWarning",
    "console_text",
    "fault_place",
    "file_fault",
    "known_names_hint",
    "nearest_name",
    "need_number",
    "need_text",
    "one_line",
    "printable",
    "unknown_name",
]


class QcError(Exception):
    """Base of every error qckit raises on purpose.

    Examples
    --------
    >>> try:
    ...     site.hatches(lot="K-112")
    ... except qckit.QcError as error:
    ...     print(error)
    unknown lot 'K-112'. Did you mean 'K-124'? Known: K-118, K-121, K-124.
    """

    exit_code = 2


class StateWarning(UserWarning):
    """What goes on all the same, though not as ever: a full disk, of which the log can still be read.

    The command line prints it as a note; in Python it is a warning.
    """


class InputError(QcError, ValueError):
    """Something the technician can put right: a file, a cell, a name, a setting.

    Parameters
    ----------
    message : str
        What, where, and how to mend it.
    problems : DataFrame, optional
        Every problem found, one row each, when more than one was looked for.
    where : str
        File, table or argument, put before the message; ``what`` keeps the message without it.

    Examples
    --------
    >>> try:
    ...     site.hatches(lot="K-112")
    ... except qckit.InputError as error:
    ...     print(type(error).__mro__[2].__name__)
    ValueError
    """

    def __init__(self, message: str, problems=None, *, where: str = ""):
        super().__init__(f"{where}: {message}" if where else message)
        self.what = message
        self.problems = problems


class NeedsAttention(QcError):
    """The work is done, but something needs a look (exit code 1)."""

    exit_code = 1


def nearest_name(name: object, known: Iterable[str]) -> str:
    """Return the known name most like another; empty where none is near."""
    near = difflib.get_close_matches(str(name), [str(k) for k in known], n=1, cutoff=0.5)
    return near[0] if near else ""


_LISTED, _NEAREST = 25, 8


def _likeness(name: str, other: str) -> float:
    from difflib import SequenceMatcher

    return SequenceMatcher(None, name.casefold()[:80], other.casefold()[:80], autojunk=False).quick_ratio()


def unknown_name(what: str, name: object, known: Iterable[str], *, where: str = "") -> InputError:
    """Build the error for a name that is not among the known ones.

    Parameters
    ----------
    what : str
        What is being named, such as ``"lot"`` or ``"column"``.
    name : object
        The name that was given.
    known : iterable of str
        Every valid name; all are listed (the 8 nearest of more than 25), the nearest is offered.
    where : str
        File, table or notebook in which the name was used.

    Returns
    -------
    InputError
        Ready to raise.
    """
    return InputError(f"unknown {what} {str(name)!r}.{known_names_hint(what, name, known)}", where=where)


def known_names_hint(what: str, name: object, known: Iterable[str]) -> str:
    """Offer the nearest name and list the known ones, with a blank before; arguments as for :func:`unknown_name`."""
    known = [str(k) for k in known]
    near = nearest_name(name, known)
    shown = ", ".join(known)
    if len(known) > _LISTED:
        nearest = sorted(known, key=lambda k: _likeness(str(name), k), reverse=True)[:_NEAREST]
        shown = f"{', '.join(nearest)} and {len(known) - _NEAREST} more"
    hint = f" Did you mean {near!r}?" if near else ""
    listing = f" Known: {shown}." if known else f" There is no {what} yet."
    return f"{hint}{listing}"


_FULL = ("the disk is full", "Free some space and run the same command again.")
_NO_RIGHT = (
    "may not be read or written",
    "Give yourself the right to, close the program that has it open, or give another place.",
)
_DISK_FAILED = (
    "the disk or the network share failed while reading or writing",
    "Check the disk or the share, then run the same command again.",
)
FILE_FAULTS = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EFBIG: ("is larger than the system lets a file be", "Free some space or ask for more, and run it again."),
    errno.EISDIR: ("is a folder, and a file is needed here", "Give the name of a file."),
    errno.EEXIST: ("is a file, and a folder is needed here", "Give another name."),
    errno.ENOTDIR: ("cannot be made or opened, as something above it is a file and no folder", "Give another place."),
    errno.ENOENT: ("is not there", "Check the path; a folder to write into may have to be made first."),
    errno.EACCES: _NO_RIGHT,
    errno.EPERM: _NO_RIGHT,
    errno.EROFS: ("lies where nothing can be written", "Give another place, or have the disk made writable."),
    errno.EIO: _DISK_FAILED,
    errno.ETIMEDOUT: _DISK_FAILED,
    errno.ESTALE: _DISK_FAILED,
    errno.ENAMETOOLONG: ("has too long a name", "Give a shorter one."),
    errno.EMFILE: ("cannot be opened, as too many files are open", "Close other programs and run it again."),
}
"""What a file system says, by its number -> what that means, what to do; the handbook lists them."""


def file_fault(fault: OSError) -> InputError:
    """Say a fault of the file system, that nothing nearer to it has put into words, as what, where, how to mend it.

    Parameters
    ----------
    fault : OSError

    Returns
    -------
    InputError
        Ready to raise.
    """
    if fault.filename is None or not isinstance(fault.filename, (str, Path)):
        return InputError(f"a file could not be read or written: {fault}. Check the paths given.")
    path = Path(fault.filename)
    place = path.parent if path.name.startswith(".") else path  # passing files have names that nobody gave
    what, remedy = FILE_FAULTS.get(
        fault.errno, (f"cannot be read or written ({fault.strerror})", "Check it, or give another place.")
    )
    return InputError(f"{place}: {what}. {remedy}")


def fault_place(error: BaseException) -> str:
    """Name the line of the kit at which an unforeseen error came up.

    Examples
    --------
    >>> from qckit.errors import fault_place
    >>> fault_place(KeyError("n"))
    'place unknown'
    """
    import traceback

    here = Path(__file__).resolve().parent
    for frame in reversed(traceback.extract_tb(error.__traceback__)):
        path = Path(frame.filename)
        if path.is_relative_to(here):
            return f"{path.relative_to(here.parent).as_posix()}, line {frame.lineno}"
    return "place unknown"


def need_number(name: str, value: object, *, low: float = -math.inf, high: float = math.inf, unit: str = "") -> float:
    """Return a parameter as a number, or say in words what it is instead.

    Parameters
    ----------
    name : str
        Of the parameter, as the user wrote it.
    value : object
        What the user gave.
    low, high : float
        Bounds, ends included.
    unit : str
        For the message.

    Returns
    -------
    float

    Raises
    ------
    InputError
        It is no finite number, or lies outside the bounds.

    Examples
    --------
    >>> from qckit.errors import need_number
    >>> need_number("days", 3)
    3.0
    """
    place = f"the parameter {name}"
    in_unit = f" in {unit}" if unit else ""
    if isinstance(value, bool) or not isinstance(value, Real) or not math.isfinite(value):
        kind = "a text" if isinstance(value, str) else "no number"
        try:
            example = f"{float(str(value).strip().replace(',', '.')):g}"
        except ValueError:
            example = "3"
        raise InputError(
            f"{place} is {value!r}, which is {kind}. Give a plain number{in_unit}, such as {name} = {example} "
            "(no quotes, no unit)."
        )
    if not low <= value <= high:
        span = f"from {low:g} to {high:g}" if math.isfinite(high) else f"of {low:g} or more"
        raise InputError(f"{place} is {value:g}{f' {unit}' if unit else ''}. Give a number {span}.")
    return float(value)


def need_text(name: str, value: object) -> str:
    """Return a parameter as a text, or say in words what it is instead; paths and whole numbers become their text.

    Parameters
    ----------
    name : str
        Of the parameter, as the user wrote it.
    value : object
        What the user gave.

    Raises
    ------
    InputError
        It is something that cannot be meant as a text, such as a list.

    Examples
    --------
    >>> from qckit.errors import need_text
    >>> need_text("lot", "K-121")
    'K-121'
    """
    if isinstance(value, (str, Path)) or (isinstance(value, int) and not isinstance(value, bool)):
        return str(value)
    raise InputError(f'the parameter {name} is {value!r}. Give a text in quotes, such as {name} = "…".')


def one_line(text: object) -> str:
    """Fold a message to one printable line, so that file names cannot break a terminal or a table."""
    folded = NARROW.join(" ".join(part.split()) for part in str(text).split(NARROW))
    return "".join(c if c.isprintable() or c == NARROW else _escaped(c) for c in folded)


def printable(text: str) -> str:
    """Escape the signs that steer a terminal or turn its direction; lines and tabs stay."""
    if text.isprintable() or (text.isascii() and text.translate(_LINES).isprintable()):
        return text
    return "".join(
        c if c in "\n\t" or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Zl", "Zp") else _escaped(c) for c in text
    )


def console_text(text: str, encoding: str | None) -> str:
    """Write a text in letters that a console has: the thousands of numbers parted by its own no-break space, which
    every font and code page of letters holds, or else by a plain one; other letters that it lacks are escaped.

    Examples
    --------
    >>> from qckit.errors import console_text
    >>> console_text("50\\u202f000 µl", "ascii")
    '50 000 \\\\xb5l'
    """
    code = encoding or "utf-8"
    try:
        "\u00a0".encode(code)
    except UnicodeEncodeError:
        return text.replace(NARROW, " ").encode(code, "backslashreplace").decode(code)
    return text.replace(NARROW, "\u00a0").encode(code, "backslashreplace").decode(code)


_LINES = {ord("\n"): None, ord("\t"): None}


def _escaped(sign: str) -> str:
    code = ord(sign)
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a file name that is not UTF-8
        code -= 0xDC00
    return f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}" if code < 65536 else f"\\U{code:08x}"
