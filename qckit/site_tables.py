"""The tables of a site's log, travelling together: what every verdict is given."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from qckit.settings import Settings

__all__ = ["SiteTables"]


@dataclass(frozen=True, kw_only=True)
class SiteTables:
    """Current rows of a site's records, corrections applied, and its settings.

    Each table has the columns of ``tables.TABLES``; ``samples`` have the counted volume filled in from chamber depth
    and photo where the sheet gives none. Tables that a step does not need may be left out.
    """

    settings: Settings
    lots: pd.DataFrame
    hatches: pd.DataFrame
    samples: pd.DataFrame
    readings: pd.DataFrame | None = None
    photos: pd.DataFrame | None = None
    corrections: pd.DataFrame | None = None
    checks: pd.DataFrame | None = None
    baselines: pd.DataFrame | None = None
    signals: pd.DataFrame | None = None
    scales: pd.DataFrame | None = None

    @classmethod
    def load(cls, log) -> SiteTables:
        """Read every table of an open log.

        Parameters
        ----------
        log : log.SiteLog
            An open log.

        Returns
        -------
        SiteTables
        """
        names = [f.name for f in fields(cls) if f.name not in ("settings", "samples")]
        tables = {name: getattr(log, name)() for name in names}
        from qckit.hatch import fill_volumes

        return cls(settings=log.settings, samples=fill_volumes(log.samples(), tables["photos"]), **tables)

    def but(self, **changed) -> SiteTables:
        """Return the same tables with some of them replaced."""
        return replace(self, **changed)
