"""What the log has kept by now: whatever fails afterwards then never says that nothing was written.

The log itself tells it, as each step is whole; who waits for an entry, a command or a saved edit listens meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar

from qckit.errors import QcError, fault_place, file_fault, one_line
from qckit.words import first_few

__all__ = ["heard_here", "kept_meanwhile", "say_fault", "tell_kept"]

_LISTENING: ContextVar[tuple[list[str], ...]] = ContextVar("qckit_listening", default=())
_NAMED = 3


@contextmanager
def kept_meanwhile() -> Iterator[list[str]]:
    """Give a list that grows by each step that a log keeps while this is open, in words; also inside one another.

    Examples
    --------
    >>> from qckit.kept import kept_meanwhile, tell_kept
    >>> with kept_meanwhile() as kept:
    ...     tell_kept("step 7 (import, 3 rows)")
    >>> kept
    ['step 7 (import, 3 rows)']
    """
    kept: list[str] = []
    token = _LISTENING.set((*_LISTENING.get(), kept))
    try:
        yield kept
    finally:
        _LISTENING.reset(token)


def heard_here(function: Callable) -> Callable:
    """Have those who listen here hear what a function keeps in another thread.

    Nothing else goes along: notebooks run in several threads each need an event loop of their own, which a copy of the
    whole context would make one.

    Examples
    --------
    >>> from concurrent.futures import ThreadPoolExecutor
    >>> from qckit.kept import heard_here, kept_meanwhile, tell_kept
    >>> with kept_meanwhile() as kept, ThreadPoolExecutor(1) as pool:
    ...     pool.submit(heard_here(tell_kept), "step 8 (import, 1 row)").result()
    >>> kept
    ['step 8 (import, 1 row)']
    """
    listening = _LISTENING.get()

    def run(*args, **options):
        token = _LISTENING.set(listening)
        try:
            return function(*args, **options)
        finally:
            _LISTENING.reset(token)

    return run


def tell_kept(words: str) -> None:
    """Tell those who listen what has just been kept."""
    for kept in _LISTENING.get():
        kept.append(words)


def say_fault(error: Exception, kept: Sequence[str] = ()) -> str:
    """Say an error in one line, behind what the log kept before it came up.

    Parameters
    ----------
    error : Exception
        The kit's own and those of files are said by their words, any other as a fault of the kit.
    kept : sequence of str
        As :func:`kept_meanwhile` gave it.

    Examples
    --------
    >>> from qckit.kept import say_fault
    >>> say_fault(qckit.InputError("today.html: the disk is full."), ["step 7 (import, 3 rows)"])[:81]
    'This stands in the log, and need not be entered again: step 7 (import, 3 rows). W'
    """
    if isinstance(error, QcError):
        fault = one_line(error)
    elif isinstance(error, OSError):
        fault = one_line(file_fault(error))
    else:
        fault = f"a fault of the kit ({type(error).__name__}: {one_line(error)[:300]}; {fault_place(error)})."
    if not kept:
        return fault
    return (
        f"This stands in the log, and need not be entered again: {first_few(kept, _NAMED)}. What came after it failed: "
        f"{fault}"
    )
