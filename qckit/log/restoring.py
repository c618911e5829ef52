"""A backup back into a site that has no records."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from qckit.errors import InputError
from qckit.files import whole
from qckit.log import engine
from qckit.log.backup import verify
from qckit.log.opening import create_log, log_url
from qckit.log.unpacking import restore_zip
from qckit.settings import load_settings

__all__ = ["restore"]


def restore(backup: str | Path, site: str | Path, *, accept_wrong_rows: bool = False) -> Path:
    """Put a backup's log into a site folder that has none, or one without records.

    Parameters
    ----------
    backup : path
        An SQLite backup, or a whole-site zip.
    site : path
        A site folder (``qckit.toml`` in it); for a zip, the address of a database too.
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
    url = str(site) if "://" in str(site) else log_url(load_settings(site))
    target = engine.sqlite_path(url)
    if str(backup).endswith(".zip"):
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
