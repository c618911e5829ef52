"""A backup back into a site that has no records."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import asdict, fields
from pathlib import Path

from qckit.errors import InputError
from qckit.files import whole
from qckit.log import engine
from qckit.log.backup import verify
from qckit.log.founding import make_site
from qckit.log.opening import create_log, log_url
from qckit.log.unpacking import restore_zip, settings_in
from qckit.settings import SETTINGS_FILE, Settings, load_settings, settings_of
from qckit.settings_text import settings_text

__all__ = ["restore"]


def restore(backup: str | Path, site: str | Path, *, accept_wrong_rows: bool = False) -> Path:
    """Put a backup's log into a site folder that has none, or one without records.

    A whole-site zip makes the site too where the folder is none yet, with the settings in it.

    Parameters
    ----------
    backup : path
        An SQLite backup, or a whole-site zip.
    site : path
        A site folder (``qckit.toml`` in it); for a zip, a new folder or the address of a database too.
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
    if is_zip and not is_address and not (Path(site) / SETTINGS_FILE).exists():
        return _new_from_zip(backup, Path(site), accept_wrong_rows)
    url = str(site) if is_address else log_url(load_settings(site))
    target = engine.sqlite_path(url)
    if is_zip:
        return restore_zip(backup, url, create_log, accept_wrong_rows=accept_wrong_rows)
    if target is None:
        raise InputError(f"{site}: its log is on a server. Restore a whole-site zip, or use the server's own tools.")
    verify(backup)
    _clear_target(target)
    address = f"file:{engine.quote(str(Path(backup).absolute()))}?mode=ro"
    with (
        whole(target) as part,
        closing(sqlite3.connect(address, uri=True)) as source,
        closing(sqlite3.connect(part)) as copy,
    ):
        source.backup(copy)
    return target


def _new_from_zip(backup: str | Path, folder: Path, accept_wrong_rows: bool) -> Path:
    """Make the site of a zip anew: its settings, and its records in a file of the folder."""
    text = settings_in(backup)
    if not text:
        raise InputError(
            f"{backup}: holds records and no settings. Make a site for them with  qckit new {folder}  and restore "
            "into that."
        )
    settings = settings_of(text, folder / SETTINGS_FILE)
    if settings.log.url:  # nobody who sends a zip says which server this computer writes to
        parts = {part.name: asdict(getattr(settings, part.name)) for part in fields(Settings) if part.name != "folder"}
        text = settings_text(parts | {"log": {"url": ""}})
    make_site(
        folder,
        lambda: text,
        fill=lambda made: restore_zip(
            backup, log_url(load_settings(made)), create_log, accept_wrong_rows=accept_wrong_rows
        ),
    )
    return folder / engine.LOG_FILE


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
