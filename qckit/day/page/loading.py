"""The edge of the day's page: a site's log and folder in, a :class:`qckit.day.Day` out. Nothing is written."""

from __future__ import annotations

from pathlib import Path

from qckit.day.page.chores import DayRecords
from qckit.day.page.study import Day, study_day
from qckit.site import Site, load_site

__all__ = ["load_day", "study_site"]


def load_day(site: str | Path = "", *, now: str = "") -> Day:
    """Read a site and work out its day.

    Parameters
    ----------
    site : path
        The site folder, as for :func:`qckit.load_site`.
    now : str
        Time of the question; empty: this moment.

    Returns
    -------
    Day

    Examples
    --------
    >>> day.load_day(site.folder, now="2026-11-06T10:00:00+00:00").site
    'Ostrel Cove nursery (invented)'
    """
    return study_site(load_site(site), now=now)


def study_site(site: Site, *, now: str = "") -> Day:
    """Work out the day of an open site."""
    from qckit.log import open_log

    with open_log(site.folder) as log:
        uncounted = log.awaiting_counts()
        missing = tuple(name for name in dict.fromkeys(uncounted["photo"]) if not _is_there(site.folder, name))
        records = DayRecords(log.steps(), log.certificates(), log.reports(), uncounted, missing)
    return study_day(site.tables, now=now, suspect=site.suspicion, records=records)


def _is_there(folder: Path, photo: str) -> bool:
    """Whether a photo that a sheet names lies in the site's photos, in a folder of it, or where the name says."""
    name = photo.replace("\\", "/")
    if (folder / name).is_file() or (folder / "photos" / name).is_file():
        return True
    return any(path.is_file() for path in (folder / "photos").rglob(Path(name).name))
