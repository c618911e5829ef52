"""A new site folder: settings, empty log, field sheets, notebooks."""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path

from qckit._paths import notebooks_dir
from qckit.errors import InputError, file_fault
from qckit.files import write_whole
from qckit.log import engine
from qckit.log.opening import SECRET_FILE, create_log, keep_secret
from qckit.log.sheets import templates
from qckit.settings import SETTINGS_FILE, settings_of
from qckit.settings_text import settings_text

__all__ = ["make_site", "new_site"]


def new_site(
    folder: str | Path,
    *,
    name: str | None = None,
    timezone: str = "UTC",
    date_order: str = "ymd",
    url: str = "",
    changes: dict[str, dict] | None = None,
) -> Path:
    """Make a site folder.

    Parameters
    ----------
    folder : path
        New, or empty but for other things: a site that is there already is refused.
    name : str, optional
        Name of the site; the folder's name when left out.
    timezone : str
        Such as ``Europe/Lisbon``.
    date_order : {"ymd", "dmy", "mdy"}
        How dates on this site's field sheets read.
    url : str
        Database of the log; empty for a file in the site folder. A password in it is kept in a file of its own.
    changes : dict of dict, optional
        Section -> setting -> value of further settings that are not the default.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        There is a site already, the folder cannot be written, or a value is not allowed.

    Examples
    --------
    >>> folder = log.new_site("room-3", name="Room 3", date_order="dmy")
    >>> qckit.load_settings(folder).site.name
    'Room 3'
    """
    folder = Path(folder)
    if url:
        engine.is_server(url)  # refuses what is no address, before anything is made

    def text() -> str:
        return settings_text(
            {
                **(changes or {}),
                "site": {
                    **(changes or {}).get("site", {}),
                    "name": name or folder.resolve().name,
                    "timezone": timezone,
                    "date_order": date_order,
                },
                "log": {"url": keep_secret(folder, url)},
            }
        )

    return make_site(folder, text)


def make_site(folder: Path, text: Callable[[], str], *, fill: Callable[[Path], object] = lambda folder: None) -> Path:
    """Make a site folder with the settings that ``text`` writes; where anything fails, nothing of it stays.

    Parameters
    ----------
    folder : Path
        As for :func:`new_site`.
    text : callable
        Writes the settings once the folder is there.
    fill : callable, optional
        Enters records into the site before it counts as made.
    """
    settings = folder / SETTINGS_FILE
    if settings.exists():
        raise InputError(f"{folder}: is a site already ({SETTINGS_FILE} is there). Give another folder.")
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is a file. Give a folder.")
    parts = [folder / part for part in ("field-sheets", "photos", "notebooks", "reports")]
    made = [
        path for path in (folder, *parts, folder / SECRET_FILE, folder / engine.LOG_FILE, settings) if not path.exists()
    ]
    try:
        for part in parts:
            part.mkdir(parents=True, exist_ok=True)
        written = text()
        decimal = settings_of(written, settings).site.decimal
        templates.write_csv_templates(folder / "field-sheets", decimal=decimal)
        templates.write_excel_template(folder / "field-sheets" / "field-sheets.xlsx")
        _copy_notebooks(folder / "notebooks")
        write_whole(settings, written)  # last: without it the folder is no site, and can be made again
        create_log(folder)
        fill(folder)
    except (OSError, InputError) as error:
        _take_away(made)
        if isinstance(error, OSError):
            error.filename = error.filename or str(folder)  # a full disk names no file
            raise file_fault(error) from error
        raise
    return folder


def _take_away(made: list[Path]) -> None:
    """Leave no half-made site behind: what was made is removed, what was there stays."""
    for path in made:
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):  # where nothing can be written nothing was made
                path.unlink(missing_ok=True)


def _copy_notebooks(target: Path) -> None:
    """Copy the kit's notebooks; one that is there already stays as it is."""
    source = notebooks_dir()
    if not source.is_dir():
        return
    for path in sorted(source.glob("*.ipynb")):
        copy = target / path.name
        if not copy.exists():
            text = path.read_text(encoding="utf-8")
            json.loads(text)  # never hand on a broken notebook
            write_whole(copy, text)
