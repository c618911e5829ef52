"""Finding a site's log, making it and opening it."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError, one_line
from qckit.log import engine, migrate
from qckit.log.store import SiteLog
from qckit.log.unwritable import readable_engine
from qckit.settings import Settings, load_settings

__all__ = ["SECRET_FILE", "create_log", "keep_secret", "log_url", "open_log"]


def log_url(settings: Settings) -> str:
    """Return the address of a site's log: the server in the settings, or the file in the site folder.

    The whole address of a server, with its password, comes from the environment variable ``QCKIT_LOG_URL`` or from the
    file ``log-address.secret`` of the site, which only its owner may read; never from the settings, which are exported.

    Raises
    ------
    InputError
        The settings hold a password, or others may read the file that does.
    """
    if settings.log.url:
        return _server_address(settings)
    return sa.URL.create("sqlite", database=str(Path(settings.folder) / engine.LOG_FILE)).render_as_string()


SECRET_FILE = "log-address.secret"
"""File in the site folder with the whole address of the log, password included."""


def _server_address(settings: Settings) -> str:
    url, folder = settings.log.url, Path(settings.folder)
    if engine.has_password(url):
        raise InputError(
            f"{folder / 'qckit.toml'}, section [log]: url holds a password, and that file is exported with the "
            f"records. Put the whole address into {folder / SECRET_FILE}, which only you may read (chmod 600), or into "
            "the environment variable QCKIT_LOG_URL; and leave the password out of url."
        )
    if (path := engine.sqlite_path(url)) is not None:  # a path is meant as seen from the site folder
        return sa.URL.create("sqlite", database=str(folder / path)).render_as_string()
    if whole := os.environ.get("QCKIT_LOG_URL", "").strip():
        return whole
    secret = folder / SECRET_FILE
    try:
        if not secret.exists():
            return url
        status = secret.stat()
        if os.name == "posix" and status.st_mode & 0o077:
            raise InputError(f"{secret}: others may read the password in it. Run  chmod 600 {secret}")
        if not secret.is_file() or status.st_size > 10_000:
            raise InputError(f"{secret}: is no file of one line. Write the whole address of the log into it.")
        return secret.read_text(encoding="utf-8-sig").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{secret}: cannot be read ({one_line(error)}). It holds the log's whole address.") from error


def keep_secret(folder: Path, url: str) -> str:
    """Keep an address that holds a password in a file that only its owner may read; return it without the password."""
    if not engine.has_password(url):
        return url
    parsed = sa.make_url(url)
    secret = folder / SECRET_FILE
    secret.unlink(missing_ok=True)
    with os.fdopen(os.open(secret, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        file.write(url + "\n")
    plain = sa.URL.create(
        parsed.drivername,
        username=parsed.username,
        host=parsed.host,
        port=parsed.port,
        database=parsed.database,
        query={k: v for k, v in parsed.query.items() if "passw" not in k.casefold()},
    )
    return plain.render_as_string()


def _utc_now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def open_log(
    site: str | Path, *, now: Callable[[], str] | None = None, wait_s: float = engine.WAIT_S, upgrade: bool = True
) -> SiteLog:
    """Open a site's log.

    Parameters
    ----------
    site : path or str
        The site folder, or the URL of a database (``sqlite:///…``, ``postgresql+psycopg://…``).
    now : callable, optional
        Returns the time to put on new records as ISO text with offset; the computer's clock when left out.
    wait_s : float
        How long to wait while another program writes. [s] 0 gives up at once.
    upgrade : bool
        Bring an older log up to date, after a backup; where nothing can be written, in a passing copy that is read.
        False refuses it.

    Returns
    -------
    SiteLog
        Use it in a ``with`` block, or call ``close()``.

    Raises
    ------
    InputError
        There is no site or no log, the log is newer than this software, damaged or cannot be reached.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     names = records.lots()["lot"].tolist()
    >>> names
    ['K-118', 'K-121', 'K-124']
    """
    if "://" in str(site):
        settings, url = Settings(), str(site)
    else:
        settings = load_settings(site)
        url = log_url(settings)
    path = engine.sqlite_path(url)
    if path is not None and not path.is_file():
        raise InputError(
            f"{path}: there is no log. Make an empty one with  qckit log create  in the site folder, or "
            "restore a backup with  qckit log restore BACKUP FOLDER."
        )
    if upgrade and path is not None and not engine.may_write(path):
        return SiteLog(readable_engine(url, path), settings, now or _utc_now)
    database = engine.make_engine(url, wait_s=wait_s)
    try:
        migrate.bring_up_to_date(database, Path(settings.folder), upgrade=upgrade)
    except BaseException:
        database.dispose()
        raise
    return SiteLog(database, settings, now or _utc_now)


def create_log(site: str | Path) -> None:
    """Make an empty log for a site (a folder with settings, or a database URL); one that is there stays as it is.

    Examples
    --------
    >>> folder = log.new_site("room-2")
    >>> log.create_log(folder)  # there already: stays as it is
    """
    url = str(site) if "://" in str(site) else log_url(load_settings(site))
    database = engine.make_engine(url)
    try:
        migrate.create(database)
    finally:
        database.dispose()
