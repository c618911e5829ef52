"""Finding a site's log, making it and opening it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import engine, migrate
from qckit.log.store import SiteLog
from qckit.settings import Settings, load_settings

__all__ = ["create_log", "log_url", "open_log"]


def log_url(settings: Settings) -> str:
    """Return the address of a site's log: the server in the settings, or the file in the site folder."""
    if settings.log.url:
        return settings.log.url
    return sa.URL.create("sqlite", database=str(Path(settings.folder) / engine.LOG_FILE)).render_as_string()


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
        Bring an older log up to date, after a backup. False refuses it.

    Returns
    -------
    SiteLog
        Use it in a ``with`` block, or call ``close()``.

    Raises
    ------
    InputError
        There is no site or no log, the log is newer than this software, damaged or cannot be reached.
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
    database = engine.make_engine(url, wait_s=wait_s)
    try:
        migrate.bring_up_to_date(database, Path(settings.folder), upgrade=upgrade)
    except BaseException:
        database.dispose()
        raise
    return SiteLog(database, settings, now or _utc_now)


def create_log(site: str | Path) -> None:
    """Make an empty log for a site (a folder with settings, or a database URL); one that is there stays as it is."""
    url = str(site) if "://" in str(site) else log_url(load_settings(site))
    database = engine.make_engine(url)
    try:
        migrate.create(database)
    finally:
        database.dispose()
