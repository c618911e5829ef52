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

    Each table has the columns of ``tables.TABLES``; :func:`hatch.fill_volumes` works out the counted volume of samples
    that give a chamber depth instead. Tables that a step does not need may be left out. ``hand_checked`` names the
    samples with a photo that a person corrected object by object; ``photo_corrections``, what the cameras' certificates
    make of the counts by photo, is no table of the log: :func:`agreement.correct_photo_counts` works it out and puts
    the counts so corrected into ``samples``, on which every figure rests; ``samples_as_counted`` are as they were.

    Examples
    --------
    >>> site.tables.lots["lot"].tolist()
    ['K-118', 'K-121', 'K-124']
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
    changes: pd.DataFrame | None = None
    feeds: pd.DataFrame | None = None
    setting_changes: pd.DataFrame | None = None
    certificates: pd.DataFrame | None = None
    hand_checked: pd.DataFrame | None = None
    photo_corrections: pd.DataFrame | None = None
    as_counted: pd.DataFrame | None = None

    @classmethod
    def load(cls, log, period: str | tuple[str, str] | None = None) -> SiteTables:
        """Read every table of an open log, counts by photo as they were counted.

        :func:`agreement.load_tables`, through which all doors go, also corrects them by the cameras' certificates.

        Parameters
        ----------
        log : log.SiteLog
            An open log.
        period : str or pair of str, optional
            A month, ``YYYY-MM``, or first and last ISO 8601 date or time: only hatches wetted in it, with their
            samples, readings and photos. Other tables are whole. None: everything.

        Returns
        -------
        SiteTables
        """
        names = [f.name for f in fields(cls) if f.name not in ("settings", "photo_corrections", "as_counted")]
        # a log of an older release lacks the tables that came later
        tables = cls(settings=log.settings, **{name: getattr(log, name)() for name in names if hasattr(log, name)})
        return tables if period is None else tables.within(log, period)

    def within(self, log, period: str | tuple[str, str]) -> SiteTables:
        """Keep the hatches wetted in a period (see :meth:`load`), with their samples, readings and photos.

        Examples
        --------
        >>> with qckit.open_log(site.folder) as records:
        ...     october = site.tables.within(records, "2026-10")
        >>> october.hatches["started"].min()[:7]
        '2026-10'
        """
        is_span = isinstance(period, (tuple, list)) and len(period) == 2
        limits = {"month": str(period)} if not is_span else {"since": period[0], "until": period[1]}
        hatches = self.hatches[self.hatches["hatch"].isin(log.hatches(**limits)["hatch"])]
        samples = self.samples[self.samples["hatch"].isin(hatches["hatch"])]
        kept = {"hatches": hatches, "samples": samples}
        if self.readings is not None:
            kept["readings"] = self.readings[self.readings["hatch"].isin(hatches["hatch"])]
        if self.photos is not None:
            kept["photos"] = self.photos[self.photos["sample"].isin(samples["sample"])]
        return self.but(**kept)

    @property
    def samples_as_counted(self) -> pd.DataFrame:
        """The same samples before the certificates corrected any."""
        if self.as_counted is None:
            return self.samples
        return self.as_counted[self.as_counted["sample"].isin(self.samples["sample"])]

    def but(self, **changed) -> SiteTables:
        """Return the same tables with some of them replaced."""
        return replace(self, **changed)
