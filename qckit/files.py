"""Files put in place whole or not at all, names that suit every system, cells that no spreadsheet runs."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import os
import platform
import re
import shutil
import time
import uuid
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "csv_text",
    "neutralise",
    "restore",
    "safe_frame",
    "safe_name",
    "spreadsheet_csv",
    "swap_in",
    "sweep",
    "whole",
    "write_csv",
    "write_whole",
]


@contextlib.contextmanager
def whole(path: str | Path, *, lasting: bool = True) -> Iterator[Path]:
    """Write a file under a passing name beside it, flush it to the disk, then put it in place in one step.

    Parameters
    ----------
    path : path
        Its folder is made if need be.
    lasting : bool
        Wait until the disk has it, which can take longer than the work itself. False for what may be lost when the
        power fails, as it can be made again.

    Yields
    ------
    Path
        The passing file, to be written. Where the block raises, ``path`` stays as it was and nothing is left.

    Raises
    ------
    OSError
        It cannot be written; names ``path``, not the passing file.
    """
    path = Path(path)
    passing = path.parent / f".{_host()}-{os.getpid()}-{uuid.uuid4().hex[:12]}.part"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield passing
        if lasting:
            with passing.open("rb+") as file:
                os.fsync(file.fileno())
        passing.replace(path)
    except OSError as error:
        if error.errno is None:  # it says what it says in its own words
            raise
        raise OSError(error.errno, error.strerror, str(path)) from error
    finally:
        with contextlib.suppress(OSError):  # where nothing can be written, nothing is left either
            for ending in ("", "-journal"):  # of a copy that SQLite gave up
                passing.with_name(passing.name + ending).unlink(missing_ok=True)


def _host() -> str:
    return f"{zlib.crc32(platform.node().encode()):08x}"


_PASSING = re.compile(r"\.([0-9a-f]{8})-(\d+)-[0-9a-f]{12}\.part")
_OLD_S = 24 * 3600.0


def sweep(folder: str | Path) -> None:
    """Remove passing files that a killed program left: those of this computer's ended programs, and day-old ones."""
    with contextlib.suppress(OSError):
        for path in Path(folder).glob(".*.part"):
            match = _PASSING.fullmatch(path.name)
            ended = match is not None and match[1] == _host() and not _runs(int(match[2]))
            with contextlib.suppress(OSError):
                if ended or time.time() - path.stat().st_mtime > _OLD_S:
                    path.unlink()


def _runs(pid: int) -> bool:
    if os.name != "posix":  # elsewhere the question would end the program
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def write_whole(path: str | Path, data: bytes | str, *, lasting: bool = True) -> None:
    """Write bytes, or text as UTF-8, in one step (:func:`whole`)."""
    with whole(path, lasting=lasting) as passing:
        passing.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)


def write_csv(path: str | Path, frame: pd.DataFrame, *, for_spreadsheets: bool = False) -> None:
    """Write a table as CSV in one step, without its index.

    Parameters
    ----------
    path : path
    frame : DataFrame
    for_spreadsheets : bool
        With a byte-order mark and line ends that every spreadsheet reads, and with texts that cannot run as formulas
        (:func:`safe_frame`).
    """
    write_whole(path, spreadsheet_csv(frame) if for_spreadsheets else csv_text(frame))


def spreadsheet_csv(frame: pd.DataFrame) -> bytes:
    """Return a table as the content of a CSV file that every spreadsheet reads and none runs a formula from."""
    return safe_frame(frame).to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def csv_text(frame: pd.DataFrame, *, header: bool = True) -> str:
    """Return a table as CSV without its index; a carriage return in a name ends no row."""
    text = frame.to_csv(index=False, header=header, lineterminator="\n")
    if "\r" in text:  # quoted by itself only where it ends lines, and read as the end of one
        text = frame.to_csv(index=False, header=header, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
    return text


def swap_in(result: Path, folder: Path) -> None:
    """Put a finished folder in place of an older one; a reader sees the old or the new, never a half."""
    mark = f"{os.getpid()}-{safe_name(folder.name)[-12:]}"
    fresh, old = folder.with_name(f".new-{mark}"), folder.with_name(f".old-{mark}")
    for leftover in (fresh, old):
        shutil.rmtree(leftover, ignore_errors=True)
    faults: list[OSError] = []

    def copy(source, target):
        try:
            return shutil.copy2(source, target)
        except OSError as fault:
            faults.append(fault)
            raise

    try:
        shutil.copytree(result, fresh, copy_function=copy)
    except OSError as error:
        shutil.rmtree(fresh, ignore_errors=True)
        if not faults:
            raise
        raise OSError(faults[0].errno, faults[0].strerror, str(folder)) from error  # the first says why
    if folder.exists():
        folder.rename(old)
    fresh.rename(folder)
    shutil.rmtree(old, ignore_errors=True)


_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def safe_name(text: object, *, limit: int = 48) -> str:
    """Turn any text into a name that is safe as a file or folder on every system.

    Parameters
    ----------
    text : object
        A lot, month, hatch or photo name, as written by someone.
    limit : int
        Longest part kept of it, in characters.

    Returns
    -------
    str
        ASCII letters, digits, ``-``, ``_`` and inner ``.`` only. Where anything had to change, eight digits of the
        text's SHA-256 follow, so that two different texts never share a name.
    """
    text = str(text)
    kept = re.sub(r"[^A-Za-z0-9._-]+", "_", text)
    kept = re.sub(r"\.{2,}", "_", kept).strip("._-")[:limit].strip("._-")
    if kept == text and kept and kept.split(".")[0].casefold() not in _RESERVED:
        return kept
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{kept}_{digest}" if kept else f"unnamed_{digest}"


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


def safe_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a copy whose texts cannot run as formulas and whose yes/no cells read yes and no."""
    frame = frame.copy()
    for column in frame.columns:
        kind = str(frame[column].dtype)
        if kind in ("str", "object"):
            frame[column] = frame[column].map(neutralise, na_action="ignore")
        elif kind == "boolean":
            words = frame[column].map({True: "yes", False: "no"}, na_action="ignore")
            frame[column] = words.astype(object).where(frame[column].notna(), None)
    return frame
