"""Copies of the log: made while it is in use, verified by opening them, never written over anything."""

from __future__ import annotations

import datetime as dt
import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.files import whole
from qckit.log import engine, packing, schema, unpacking

__all__ = ["back_up", "before_upgrade", "settings_of_backup", "take_settings_out", "verify"]

_SETTINGS = "settings of the site"  # their name in the table meta of a backup


def back_up(log, path: str | Path | None = None) -> Path:
    """Write a copy of the log and verify it.

    Parameters
    ----------
    log : SiteLog
    path : path, optional
        The new file, or a folder to put it in; ``backups/`` in the site folder when left out.

    Returns
    -------
    Path
        An SQLite file, with the settings in it; for a log on a server, a zip of the whole site as ``qckit log export``
        writes it.

    Raises
    ------
    InputError
        The file is there already, or the copy does not hold what the log holds.
    """
    on_server = engine.is_server(log.engine.url.render_as_string(hide_password=False))
    ending = ".zip" if on_server else ".sqlite"
    target = _target(log.folder, path, ending, log.now())
    if on_server:
        packing.export_zip(log, target)
        unpacking.verify_zip(target)
        return target
    copy_file(log.engine, target, settings=packing.travelling_settings(log.folder))
    return target


def _target(folder: Path, path, ending: str, now: str) -> Path:
    stamp = now.replace(":", "").replace("-", "").replace("+0000", "Z")
    name = f"log-{stamp}{ending}"
    target = Path(path) if path else folder / "backups" / name
    if target.is_dir():
        target = target / name
    if target.exists():
        raise InputError(f"{target}: is there already, and backups are never written over. Give another name.")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{target.parent}: cannot be made ({error.strerror}). Give another folder.") from error
    return target


def copy_file(database: sa.Engine, target: Path, *, settings: str = "") -> None:
    """Copy an SQLite log by the online backup, verify the copy, and only then give it its name.

    The settings of its site go into the copy, and out of it when it is restored: a log in use has them in its folder.
    """
    try:
        with whole(target) as part:
            with closing(database.raw_connection()) as raw, closing(sqlite3.connect(part)) as copy:
                raw.driver_connection.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE")
                if settings:
                    copy.execute("INSERT INTO meta VALUES (?, ?)", (_SETTINGS, settings))
                    copy.commit()
            verify(part)
    except (sa.exc.DBAPIError, sqlite3.Error, OSError) as error:
        raise InputError(
            f"{target}: the backup could not be written ({error}). The log itself is as it was; free "
            "some space or give another folder."
        ) from error


def verify(path: str | Path) -> int:
    """Open a copy and check it whole.

    Returns
    -------
    int
        Its number of steps.

    Raises
    ------
    InputError
        It is damaged, or no qckit log.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: there is no such file. Give the backup's path.")
    try:
        connection = sqlite3.connect(f"file:{engine.quote(str(path.absolute()))}?mode=ro", uri=True)
        try:
            (state,) = connection.execute("PRAGMA integrity_check").fetchone()
            strays = connection.execute("PRAGMA foreign_key_check").fetchone()
            if state != "ok" or strays:
                raise InputError(f"{path}: is damaged ({state if state != 'ok' else strays}). Use another backup.")
            version = connection.execute("SELECT value FROM meta WHERE name = 'schema_version'").fetchone()
            if (
                version is None
                or not str(version[0]).isascii()
                or not str(version[0]).isdigit()
                or len(str(version[0])) > 6
            ):
                raise InputError(f"{path}: names no schema version, so it is no qckit log. Use another backup.")
            if int(version[0]) > schema.SCHEMA_VERSION:
                raise InputError(f"{path}: was made by a newer qckit. Upgrade qckit on this computer.")
            return connection.execute("SELECT count(*) FROM steps").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise InputError(f"{path}: is not a qckit log, or is damaged ({error}). Use another backup.") from error


def settings_of_backup(path: str | Path) -> str:
    """Return the settings that a backup holds; empty where it has none, as those of earlier versions of qckit."""
    verify(path)
    with closing(sqlite3.connect(f"file:{engine.quote(str(Path(path).absolute()))}?mode=ro", uri=True)) as connection:
        row = connection.execute("SELECT value FROM meta WHERE name = ?", (_SETTINGS,)).fetchone()
    return row[0] if row else ""


def take_settings_out(connection: sqlite3.Connection) -> None:
    """Leave the settings out of a backup that becomes a log."""
    connection.execute("DELETE FROM meta WHERE name = ?", (_SETTINGS,))
    connection.commit()


def before_upgrade(database: sa.Engine, version: int, folder: Path) -> Path:
    """Keep a copy of a log of an older version.

    Parameters
    ----------
    database : Engine
    version : int
        The version it has.
    folder : Path
        The site's folder, where ``backups/`` lies.

    Returns
    -------
    Path
        An SQLite file; for a log on a server, a zip that ``qckit log restore`` reads.
    """
    stamp = dt.datetime.now(dt.UTC).strftime("%Y%m%dT%H%M%S%fZ")
    path = engine.sqlite_path(database.url.render_as_string(hide_password=False))
    target = (folder if path is None else path.parent) / "backups" / f"log-version-{version}-{stamp}"
    target.parent.mkdir(parents=True, exist_ok=True)
    if path is not None:
        target = target.with_name(target.name + ".sqlite")
        copy_file(database, target)
        return target
    target = target.with_name(target.name + ".zip")
    metadata = sa.MetaData()
    metadata.reflect(database)
    packing.write_package(
        database, target, {n: metadata.tables[n] for n in packing.TABLES_OUT if n in metadata.tables}, {}
    )
    return target
