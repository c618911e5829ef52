"""A backup back into a site that has no records, or into a new one."""

from __future__ import annotations

import sqlite3
import tomllib
import zipfile
from contextlib import closing
from dataclasses import asdict, fields
from pathlib import Path

from qckit.errors import InputError
from qckit.files import whole, write_whole
from qckit.log import engine
from qckit.log.backup import settings_of_backup, take_settings_out, verify
from qckit.log.founding import make_site
from qckit.log.opening import create_log, log_url
from qckit.log.unpacking import restore_zip, settings_in
from qckit.settings import SETTINGS_FILE, Settings, load_settings, settings_of
from qckit.settings_text import settings_text

__all__ = ["keep_settings", "restore"]


def restore(backup: str | Path, site: str | Path, *, accept_wrong_rows: bool = False) -> Path:
    """Put a backup's log into a site folder that has none, or one without records.

    Where the folder is none yet, the site is made too, with the settings in the backup or zip.

    Parameters
    ----------
    backup : path
        An SQLite backup, or a whole-site zip.
    site : path
        A site folder (``qckit.toml`` in it), or a new one; for a zip, the address of a database too.
    accept_wrong_rows : bool
        Of a zip: take rows that could not come in from a sheet, as an older version may have taken them.

    Returns
    -------
    Path
        The log's file.

    Raises
    ------
    InputError
        The site's log holds records already, or the backup is damaged.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     backup = records.backup("backup.sqlite")
    >>> folder = log.new_site("room-4")
    >>> log.restore(backup, folder).name
    'log.sqlite'
    """
    is_zip, is_address = str(backup).casefold().endswith(".zip"), "://" in str(site)
    if not is_address and not (Path(site) / SETTINGS_FILE).exists():
        return _new_site(backup, Path(site), accept_wrong_rows)
    url = str(site) if is_address else log_url(load_settings(site))
    target = engine.sqlite_path(url)
    if is_zip:
        return restore_zip(backup, url, create_log, accept_wrong_rows=accept_wrong_rows)
    if target is None:
        raise InputError(f"{site}: its log is on a server. Restore a whole-site zip, or use the server's own tools.")
    verify(backup)
    _clear_target(target)
    _copy_back(backup, target)
    return target


def _copy_back(backup: str | Path, target: Path) -> None:
    address = f"file:{engine.quote(str(Path(backup).absolute()))}?mode=ro"
    with (
        whole(target) as part,
        closing(sqlite3.connect(address, uri=True)) as source,
        closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
        take_settings_out(copy)


def _settings_of_source(source: str | Path, **words: str) -> str:
    """The settings in a backup or a zip; empty where it holds none."""
    if zipfile.is_zipfile(source) or str(source).casefold().endswith(".zip"):
        return settings_in(source, **words)
    return settings_of_backup(source)


def _new_site(backup: str | Path, folder: Path, accept_wrong_rows: bool) -> Path:
    """Make the site of a backup or a zip anew: its settings, and its records in a file of the folder."""
    text = _settings_of_source(backup)
    if not text:
        raise InputError(
            f"{backup}: holds records and no settings. Make a site for them with  qckit new {folder}  and restore "
            "into that."
        )
    settings = settings_of(text, folder / SETTINGS_FILE)
    if settings.log.url:  # nobody who sends a zip says which server this computer writes to
        parts = {part.name: asdict(getattr(settings, part.name)) for part in fields(Settings) if part.name != "folder"}
        text = settings_text(parts | {"log": {"url": ""}})

    def fill(made: Path) -> None:
        if str(backup).casefold().endswith(".zip"):
            restore_zip(backup, log_url(load_settings(made)), create_log, accept_wrong_rows=accept_wrong_rows)
        else:
            target = engine.sqlite_path(log_url(load_settings(made)))
            _clear_target(target)
            _copy_back(backup, target)

    make_site(folder, lambda: text, fill=fill)
    return folder / engine.LOG_FILE


def keep_settings(path: str | Path, folder: str | Path) -> Path | None:
    """Lay the settings of a backup or a zip beside those of a site where they differ; they are not put into use.

    Settings say where a log lies and how dates are read, so a person decides about them.

    Parameters
    ----------
    path : path
        A whole-site zip, or a backup.
    folder : path
        The site folder that it was restored into.

    Returns
    -------
    Path or None
        The file written; None where there is nothing to decide.

    Raises
    ------
    InputError
        They cannot be read.
    """
    here = Path(folder) / SETTINGS_FILE
    done, remedy = "its records are restored, and ", f"Check the settings in {here} by hand."
    text = _settings_of_source(path, done=done, remedy=remedy)
    if not text:
        return None
    try:
        if tomllib.loads(text) == tomllib.loads(here.read_text(encoding="utf-8")):
            return None
    except (OSError, ValueError):
        pass
    target = here.with_name("qckit-of-the-backup.toml")
    write_whole(target, text)
    return target


def _clear_target(target: Path) -> None:
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
