"""Reaching the database: connections, transactions that all happen or not at all, faults said in plain words."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import warnings
from collections.abc import Callable
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

import sqlalchemy as sa

from qckit.errors import InputError, StateWarning, one_line
from qckit.kept import tell_kept
from qckit.log import schema

__all__ = [
    "LOG_FILE",
    "WAIT_S",
    "engine_of_copy",
    "frozen_engine",
    "has_password",
    "is_server",
    "make_engine",
    "masked",
    "may_write",
    "note_step",
    "open_file",
    "reading",
    "shown_url",
    "sqlite_path",
    "write_rows",
    "writing",
]

LOG_FILE = "log.sqlite"
_STEPS = "qckit_steps"
WAIT_S = 20.0
"""How long one writer waits for another. [s]"""

_ADVISORY_LOCK = 0x71636B6974  # "qckit" in ASCII: one writer at a time on a server


_SECRETS = (
    # of an address: what stands before the @, and a password among its options; slips of the pen included
    (re.compile(r"([^\s:/@'\"]+):(?!//)[^\s'\"]*@"), r"\1:***@"),
    (re.compile(r"(?i)((?:password|passwd)\s*=\s*)[^\s&'\"]+"), r"\1***"),
)


def masked(text: object) -> str:
    """Return a text, such as an address that cannot be read, without the passwords in it."""
    text = str(text)
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


def has_password(url: str) -> bool:
    """Tell whether an address holds a password."""
    return masked(url) != url


def _parsed(url: str) -> sa.URL:
    """Read a URL; one that leads nowhere is refused."""
    try:
        parsed = sa.make_url(url)
        if parsed.get_backend_name() == "sqlite" and not parsed.database:
            raise sa.exc.ArgumentError("no file is named")
        return parsed
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ValueError) as error:
        raise InputError(
            f"{one_line(masked(url))}: is not the address of a database. In qckit.toml leave url empty for a file "
            "in the site folder, or write postgresql+psycopg://user@host/database."
        ) from error


def is_server(url: str) -> bool:
    """Tell whether a URL leads to a database server."""
    return _parsed(url).get_backend_name() != "sqlite"


def sqlite_path(url: str) -> Path | None:
    """Return the file behind an SQLite URL, or None for a server."""
    parsed = _parsed(url)
    return Path(parsed.database) if parsed.get_backend_name() == "sqlite" and parsed.database else None


def shown_url(url: str) -> str:
    """Return a URL as it may be printed: a file's path, or the server without its password."""
    path = sqlite_path(url)
    return str(path) if path else masked(_parsed(url).render_as_string(hide_password=True))


def make_engine(url: str, *, wait_s: float = WAIT_S) -> sa.Engine:
    """Build the engine for a log.

    Parameters
    ----------
    url : str
        SQLAlchemy URL: ``sqlite:///…`` or ``postgresql+psycopg://…``.
    wait_s : float
        How long to wait for another writer. [s]

    Returns
    -------
    Engine
        For SQLite: write-ahead log, full synchronisation, foreign keys; a folder that cannot be written is opened
        for reading only.
    """
    parsed = _parsed(url)
    backend = parsed.get_backend_name()
    if backend == "postgresql":
        return _server_engine(parsed, wait_s)
    if backend != "sqlite":
        raise InputError(
            f"{shown_url(url)}: {backend} is not supported. Use SQLite (leave url empty in qckit.toml) or PostgreSQL."
        )
    path = Path(parsed.database)
    return _file_engine(path, creator=lambda: open_file(path, wait_s))


def _server_engine(url: sa.URL, wait_s: float) -> sa.Engine:
    if url.drivername not in ("postgresql", "postgresql+psycopg"):
        raise InputError(
            f"{shown_url(url.render_as_string(hide_password=False))}: the driver {url.get_driver_name()} is not "
            "supported. Write postgresql+psycopg://user@host/database."
        )
    url = url.set(drivername="postgresql+psycopg")
    try:
        engine = sa.create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    except ModuleNotFoundError as error:
        raise InputError(
            "The log is on a PostgreSQL server and its driver is not installed. Install it with  "
            'pip install "psycopg[binary]"'
        ) from error

    @sa.event.listens_for(engine, "begin")
    def begin(connection):
        if connection.get_execution_options().get("qckit_write"):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(wait_s * 1000)}")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")

    return engine


def may_write(path: Path) -> bool:
    """Tell whether a log in a file can be written: its folder, too, as SQLite makes files beside it."""
    return os.access(path.parent, os.W_OK) and (not path.exists() or os.access(path, os.W_OK))


def _connect(path: Path, mode: str, wait_s: float = WAIT_S) -> sqlite3.Connection:
    location = "file:" + quote(str(path.absolute())) + mode
    raw = sqlite3.connect(location, uri=True, timeout=wait_s, check_same_thread=False)
    raw.isolation_level = None  # this module says BEGIN itself, so that writers queue at the start
    try:
        if mode == "?mode=rwc":
            raw.execute("PRAGMA journal_mode=WAL")
            raw.execute("SELECT 1 FROM sqlite_schema").fetchone()  # now, not later, the files beside it are made
        for pragma in ("synchronous=FULL", "foreign_keys=ON", "cache_size=-65536"):
            raw.execute(f"PRAGMA {pragma}")
    except BaseException:
        raw.close()
        raise
    return raw


def open_file(path: Path, wait_s: float = WAIT_S) -> sqlite3.Connection:
    """Connect to a log in a file: for writing, or for reading alone where the folder or a full disk allows no more."""
    if not may_write(path):
        return _connect(path, "?immutable=1" if _is_settled(path) else "?mode=ro", wait_s)
    try:
        return _connect(path, "?mode=rwc", wait_s)
    except sqlite3.OperationalError:
        if not (path.exists() and _is_full(str(path)) and _is_settled(path)):
            raise
    message = f"{path}: the disk is full. The log is read as it is, and nothing can be written. Free some space."
    warnings.warn(message, StateWarning, stacklevel=2)
    return _connect(path, "?immutable=1", wait_s)


def _is_settled(path: Path) -> bool:
    """Whether a log is whole in its file: no write-ahead log is left over, so no lock files are needed beside it."""
    wal = path.with_name(path.name + "-wal")
    return not wal.exists() or wal.stat().st_size == 0


def engine_of_copy(path: Path, copy: Path) -> sa.Engine:
    """Build the engine for a log at ``path`` of which a copy is read, and nothing can be written."""
    return _file_engine(path, creator=lambda: _connect(copy, "?immutable=1"))


def _file_engine(path: Path, creator: Callable[[], sqlite3.Connection]) -> sa.Engine:
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), poolclass=sa.pool.NullPool, creator=creator)

    @sa.event.listens_for(engine, "begin")
    def begin(connection):
        write = connection.get_execution_options().get("qckit_write")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def frozen_engine(path: Path) -> sa.Engine:
    """Build the engine for a backup: it is read as it lies there, and no file is made beside it."""
    location = "file:" + quote(str(path.absolute())) + "?immutable=1"
    return sa.create_engine(
        "sqlite://", poolclass=sa.pool.NullPool, creator=lambda: sqlite3.connect(location, uri=True)
    )


@contextmanager
def reading(engine: sa.Engine):
    """Give a connection that sees one unchanging state of the log."""
    with translated(engine), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: sa.Engine):
    """Give a connection that alone writes; what it wrote is kept whole, or not at all when an error leaves it.

    Steps that are then kept (:func:`note_step`) are told to whoever listens (:mod:`qckit.kept`).
    """
    with translated(engine), engine.connect().execution_options(qckit_write=True) as connection:
        connection.info[_STEPS] = []
        with connection.begin():
            yield connection
        for words in connection.info.pop(_STEPS):
            tell_kept(words)


def note_step(connection, words: str) -> None:
    """Have a step told once it is kept."""
    connection.info[_STEPS].append(words)


@contextmanager
def translated(engine: sa.Engine):
    """Turn the database's faults into errors a technician can act on."""
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise plain_fault(error.orig, engine) from error
    except engine.dialect.dbapi.Error as error:  # from the driver itself, see write_rows
        raise plain_fault(error, engine) from error


def write_rows(connection, table: str, columns: list[str], lists: list[list]) -> None:
    """Write many rows by the driver's own quickest way: a million objects are written in seconds, not minutes.

    Parameters
    ----------
    connection : Connection
        From :func:`writing`.
    table : str
    columns : list of str
    lists : list of list
        The values of each column.
    """
    known = schema.table(table).c  # a name that is not the table's own never reaches the database
    if strange := [c for c in columns if c not in known]:
        raise InputError(f"{table}: has no column {strange[0]!r}. Nothing was written.")
    quote_name = connection.dialect.identifier_preparer.quote
    names, table = ", ".join(quote_name(c) for c in columns), quote_name(table)
    with closing(connection.connection.cursor()) as cursor:
        if connection.dialect.name == "sqlite":
            marks = ", ".join("?" * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", zip(*lists, strict=True))
            return
        with cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
            for row in zip(*lists, strict=True):
                copy.write_row(row)


DATABASE_FAULTS = (
    (
        ("database or disk is full", "no space left", "could not extend file"),
        "the disk is full",
        "Nothing of this step was written. Free some space and run the same command again.",
    ),
    (
        ("readonly database", "read-only", "attempt to write a readonly"),
        "the folder or the file may not be written",
        "Nothing was written. Give yourself the right to write there, or copy the site folder elsewhere.",
    ),
    (
        ("database is locked", "lock timeout", "locking protocol", "database table is locked"),
        "someone else is writing to it, or the file is locked",
        "Nothing of this step was written. Close the other program and run the same command again; on a network share "
        "move the site to a local disk, or put the log on a PostgreSQL server (url in qckit.toml).",
    ),
    (
        ("disk i/o error",),
        "the disk or the network share failed while writing",
        "Nothing of this step was kept. Check the disk, then run  qckit log check  and the same command again.",
    ),
    (
        ("malformed", "not a database", "file is encrypted"),
        "the file is damaged, or is not a qckit log",
        "Move it away, with any file beside it of the same name and -wal or -shm at its end, then restore the newest "
        "backup with  qckit log restore BACKUP FOLDER.",
    ),
    (
        ("unable to open database file",),
        "the file cannot be opened",
        "Check that the folder is there and that you may read and write in it.",
    ),
    (
        (
            "connection refused",
            "could not connect",
            "connection failed",
            "could not translate host",
            "timeout expired",
            "password authentication failed",
            "server closed the connection",
            "connection is bad",
            "failed to resolve host",
            "does not exist",
        ),
        "the server does not answer as asked",
        "Check url in qckit.toml (password: log-address.secret or QCKIT_LOG_URL), that the server runs, and that the "
        "user and the database exist there.",
    ),
    (
        ("never changed or deleted",),
        "a record was about to be changed or deleted",
        "Write a correction with  qckit log correct  instead.",
    ),
)
"""What the database says, in any of these words; what it means; what to do."""


def plain_fault(fault: Exception, engine: sa.Engine) -> InputError:
    """Say a database fault as what, where and how to mend it."""
    message = one_line(masked(fault))
    if engine.url.password:
        message = message.replace(engine.url.password, "***")
    where = _engine_place(engine)
    folded = message.casefold()
    if ("disk i/o error" in folded or "readonly" in folded) and engine.dialect.name == "sqlite" and _is_full(where):
        message = f"no space left: {message}"  # SQLite cannot make its passing files, and calls that a failing disk
    for words, what, remedy in DATABASE_FAULTS:
        if any(word in message.casefold() for word in words):
            return InputError(f"{where}: {what} ({message}). {remedy}")
    return InputError(f"{where}: the log could not do this ({message}). Run  qckit log check  and see what it says.")


_LEAST_FREE = 64 * 1024  # bytes that SQLite's passing files take at least


def _is_full(path: str) -> bool:
    try:
        return shutil.disk_usage(Path(path).parent).free < _LEAST_FREE
    except OSError:
        return False


def _engine_place(engine: sa.Engine) -> str:
    if engine.dialect.name == "sqlite":
        return engine.url.database
    return shown_url(engine.url.render_as_string(hide_password=False))
