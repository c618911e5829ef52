"""Copies of the log: made while it is in use, verified by opening them, never written over anything."""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import engine, schema

__all__ = ["back_up", "before_upgrade", "restore", "verify"]


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
        An SQLite file; for a log on a server, a zip of the whole site as ``qckit log export`` writes it.

    Raises
    ------
    InputError
        The file is there already, or the copy does not hold what the log holds.
    """
    on_server = engine.is_server(log.engine.url.render_as_string(hide_password=False))
    ending = ".zip" if on_server else ".sqlite"
    target = _target(log.folder, path, ending, log.now())
    if on_server:
        from qckit.log import packing

        packing.export_zip(log, target)
        packing.verify_zip(log, target)
        return target
    copy_file(log.engine, target)
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


def copy_file(database: sa.Engine, target: Path) -> None:
    """Copy an SQLite log by the online backup, verify the copy, and only then give it its name."""
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        with closing(database.raw_connection()) as raw, closing(sqlite3.connect(part)) as copy:
            raw.driver_connection.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
        _sync(part)
        verify(part)
        part.replace(target)
    except (sa.exc.DBAPIError, sqlite3.Error, OSError) as error:
        raise InputError(
            f"{target}: the backup could not be written ({error}). The log itself is as it was; free "
            "some space or give another folder."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    with path.open("rb+") as handle:
        os.fsync(handle.fileno())


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
            if version is None or int(version[0]) > schema.SCHEMA_VERSION:
                raise InputError(f"{path}: was made by a newer qckit. Upgrade qckit on this computer.")
            return connection.execute("SELECT count(*) FROM steps").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise InputError(f"{path}: is not a qckit log, or is damaged ({error}). Use another backup.") from error


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
    from qckit.log import packing

    target = target.with_name(target.name + ".zip")
    held = sa.MetaData()
    held.reflect(database)
    packing.write_package(database, target, {n: held.tables[n] for n in packing.TABLES_OUT if n in held.tables}, {})
    return target


def restore(backup: str | Path, site: str | Path) -> Path:
    """Put a backup's log into a site folder that has none, or one without records.

    Parameters
    ----------
    backup : path
        An SQLite backup, or a whole-site zip.
    site : path
        A site folder (``qckit.toml`` in it).

    Returns
    -------
    Path
        The log's file.

    Raises
    ------
    InputError
        The site's log holds records already, or the backup is damaged.
    """
    from qckit.log.opening import log_url
    from qckit.settings import load_settings

    settings = load_settings(site)
    url = log_url(settings)
    target = engine.sqlite_path(url)
    if str(backup).endswith(".zip"):
        from qckit.log import packing

        return packing.restore_zip(backup, site)
    if target is None:
        raise InputError(f"{site}: its log is on a server. Restore a whole-site zip, or use the server's own tools.")
    verify(backup)
    _make_way(target)
    part = target.with_name(target.name + ".part")
    source, copy = sqlite3.connect(f"file:{engine.quote(str(Path(backup).absolute()))}?mode=ro", uri=True), None
    try:
        copy = sqlite3.connect(part)
        source.backup(copy)
    finally:
        source.close()
        if copy is not None:
            copy.close()
    _sync(part)
    part.replace(target)
    return target


def _make_way(target: Path) -> None:
    """Let an empty log go; refuse one that holds records, cannot be read, or left its unwritten pages behind."""
    holds = ""
    if target.exists():
        try:
            with closing(sqlite3.connect(target, timeout=0)) as old:
                if old.execute("SELECT count(*) FROM steps").fetchone()[0]:
                    holds = "holds records already, and is never written over"
                else:
                    old.execute("PRAGMA journal_mode=DELETE")  # folds in the -wal file: it must not meet the new log
        except sqlite3.Error as error:
            holds = f"is there already and is damaged, in use, or no log ({error})"
    elif any(target.with_name(target.name + end).exists() for end in ("-wal", "-shm")):
        holds = "is gone, and files that belong to it (-wal, -shm) are still there"
    if holds:
        raise InputError(f"{target}: {holds}. Move it away first, with any -wal and -shm file beside it.")
