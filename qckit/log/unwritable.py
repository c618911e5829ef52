"""A log that lies where nothing can be written, such as an old site on a read-only disk: it is read all the same.

One of this version is read as it lies there. Of one of an earlier version, or with changes beside its file that only a
writer could take in, a passing copy is brought up to date and read; the log itself stays as it is.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import warnings
import weakref
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError, StateWarning
from qckit.log import engine, migrate, schema
from qckit.log.meta import version_of

__all__ = ["readable_engine"]


def readable_engine(url: str, path: Path) -> sa.Engine:
    """Build the engine for a log in a file that may not be written, brought up to date in a copy where it must be.

    Raises
    ------
    InputError
        The log is newer than this software or damaged, or there is no room for a copy.

    Warns
    -----
    StateWarning
        A copy is read.
    """
    database = engine.make_engine(url)
    try:
        with engine.reading(database) as connection:
            found = version_of(connection)
        if found >= schema.SCHEMA_VERSION:
            migrate.bring_up_to_date(database, path.parent)  # refuses a newer one
            return database
        why = "is of an earlier version"
    except InputError as error:
        if not isinstance(error.__cause__, sa.exc.OperationalError) or not path.is_file():
            raise
        why = "has changes beside it that were not taken in yet"
    database.dispose()
    warnings.warn(
        f"{path}: {why} and lies where nothing can be written. A copy of it is read; the log stays as it is.",
        StateWarning,
        stacklevel=3,
    )
    folder = Path(tempfile.mkdtemp(prefix="qckit-log-"))
    copied = None
    try:
        copy = _copy_of(path, folder)
        passing = engine.make_engine(sa.URL.create("sqlite", database=str(copy)).render_as_string())
        try:
            migrate.bring_up_to_date(passing, folder, keep_backup=False)
        finally:
            passing.dispose()
        copied = engine.engine_of_copy(path, copy)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be copied to be read ({error.strerror}). Free some space in {folder.parent}, or copy the "
            "site folder to where it can be written."
        ) from error
    finally:
        if copied is None:
            shutil.rmtree(folder, ignore_errors=True)
    weakref.finalize(copied, shutil.rmtree, folder, ignore_errors=True)
    return copied


def _copy_of(path: Path, folder: Path) -> Path:
    """Copy a log with what stands beside its file: of one moment, by SQLite itself, where it can be opened."""
    copy = folder / engine.LOG_FILE
    try:
        with closing(engine.open_file(path)) as source, closing(sqlite3.connect(copy)) as target:
            source.backup(target)
    except sqlite3.Error:
        for ending in ("", "-wal"):
            if (part := path.with_name(path.name + ending)).exists():
                shutil.copyfile(part, folder / (engine.LOG_FILE + ending))
    return copy
