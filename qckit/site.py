"""One door to a site for people who write Python, for the notebooks and for the commands."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from qckit.site_tables import SiteTables

if TYPE_CHECKING:
    import pandas as pd

    from qckit.settings import Settings
    from qckit.verdicts.finding import Finding

__all__ = ["Site", "load_site"]


def load_site(path: str | Path = "") -> Site:
    """Open a site by its folder.

    Parameters
    ----------
    path : path, optional
        The site folder. Empty: the folder named by the environment variable ``QCKIT_SITE``; without one the nearest
        folder at or above the working directory that holds ``qckit.toml``.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        There is no site there, or its settings cannot be read.
    """
    from qckit.reports.sites import find_site

    return Site(find_site(str(path)))


class Site:
    """A site's records and what the kit makes of them; reads the log when asked, and again after :meth:`reload`.

    Parameters
    ----------
    folder : path
        The site folder.
    """

    def __init__(self, folder: str | Path):
        self.folder = Path(folder)

    def __repr__(self) -> str:
        return f"Site({str(self.folder)!r})"

    @cached_property
    def tables(self) -> SiteTables:
        """Every table of the log, read once."""
        from qckit.log import open_log

        with open_log(self.folder) as log:
            return SiteTables.load(log)

    def reload(self) -> Site:
        """Forget what was read, so that the next question reads the log again."""
        self.__dict__.pop("tables", None)
        return self

    @property
    def settings(self) -> Settings:
        """The site's settings."""
        return self.tables.settings

    @property
    def samples(self) -> pd.DataFrame:
        """Counted samples, a row each, with their volumes filled in."""
        from qckit.hatch import fill_volumes

        return fill_volumes(self.tables.samples, self.tables.photos)

    @property
    def readings(self) -> pd.DataFrame:
        """Water readings, a row each."""
        return self.tables.readings

    def month(self, month: str, *, lot: str = "", now: str = "") -> Finding:
        """Review a month: the finding that ``qckit report month`` prints.

        Parameters
        ----------
        month : str
            ``YYYY-MM``.
        lot : str
            One lot; empty for all.
        now : str
            Not used by the review itself; kept so that every verdict is asked alike.
        """
        from qckit.verdicts.month.verdict import review_month

        t = self.tables
        return review_month(
            t.lots,
            t.hatches,
            self.samples,
            t.readings,
            month=month,
            settings=t.settings,
            lot=lot,
            baselines=t.baselines,
            signals=t.signals,
            photos=t.photos,
        )

    def poor_hatch(self, hatch: str, *, now: str = "") -> Finding:
        """Explain a hatch: the finding that ``qckit report poor-hatch`` prints.

        Parameters
        ----------
        hatch : str
            The hatch's name.
        now : str
            Time of the question, ISO 8601: what can still be saved. Empty: none is known.
        """
        from qckit.log import open_log
        from qckit.reports.poor_report import nauplius_objects
        from qckit.verdicts.poor_hatch.verdict import explain_hatch

        with open_log(self.folder) as log:
            objects = nauplius_objects(log, hatch)
        return explain_hatch(self.tables, hatch=hatch, objects=objects, now=now)

    def new_lot(self, lot: str = "", *, now: str = "") -> Finding:
        """Judge a lot by its standard test: the finding that ``qckit report new-lot`` prints.

        Parameters
        ----------
        lot : str
            The lot; empty: the one tested last.
        now : str
            Time of the question: whether the camera's certificate is still good.
        """
        from qckit.reports.lot_report import load_lot_test

        return load_lot_test(self.folder, lot, now=now).finding

    def freeze_baselines(self, month: str, *, by: str, min_points: int = 0, lot: str = "") -> str:
        """Freeze the limits that a month's review proposes, where they rest on enough hatches, and say how many.

        Parameters
        ----------
        month : str
            The month whose review proposes them.
        by : str
            Who reviewed them.
        min_points : int
            Hatches that a baseline must rest on; limits on fewer stay proposed.
        lot : str
            One lot only.
        """
        from qckit.reports.month_records import freeze_baselines

        told = freeze_baselines(self.folder, month, by=by, lot=lot, min_points=min_points)
        self.reload()
        return told
