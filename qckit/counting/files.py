"""Files written whole or not at all, and cells that a spreadsheet will not run."""

from __future__ import annotations

import contextlib
import os
import uuid
from pathlib import Path

__all__ = ["safe_cell", "write_atomically"]


def write_atomically(path: str | Path, data: bytes | str) -> None:
    """Write a file under a passing name beside it, flush it to the disk, then put it in place in one step.

    Raises
    ------
    OSError
        It cannot be written; names ``path``, not the passing file.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    passing = path.parent / f".{uuid.uuid4().hex}.part"
    try:
        with passing.open("wb") as file:
            file.write(data.encode("utf-8") if isinstance(data, str) else data)
            file.flush()
            os.fsync(file.fileno())
        passing.replace(path)
    except OSError as error:
        if error.errno is None:  # it says what it says in its own words
            raise
        raise OSError(error.errno, error.strerror, str(path)) from error
    finally:
        with contextlib.suppress(OSError):  # where nothing can be written, nothing is left either
            passing.unlink(missing_ok=True)


def safe_cell(text: object) -> object:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    if isinstance(text, str) and text[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + text
    return text
