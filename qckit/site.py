"""One door to a site for people who write Python, for the notebooks and for the commands."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from numbers import Real
from pathlib import Path
from typing import TYPE_CHECKING

from qckit.arguments import answering_methods
from qckit.progress import working
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

    Examples
    --------
    >>> qckit.load_site(site.folder).settings.site.name
    'Ostrel Cove nursery (invented)'
    """
    from qckit.reports.sites import find_site

    return Site(find_site(str(path)))


@answering_methods
class Site:
    """A site's records and what the kit makes of them; reads the log when asked, and again after :meth:`reload`.

    Parameters
    ----------
    folder : path
        The site folder.

    Examples
    --------
    >>> site.samples.shape[0] > 1000, site.settings.site.name
    (True, 'Ostrel Cove nursery (invented)')
    """

    def __init__(self, folder: str | Path):
        self.folder = Path(folder)

    def __repr__(self) -> str:
        return f"Site({str(self.folder)!r})"

    @cached_property
    def tables(self) -> SiteTables:
        """Every table of the log, read once."""
        from qckit.agreement import load_tables
        from qckit.log import open_log

        with working("Reading the log"), open_log(self.folder) as log:
            return load_tables(log)

    def reload(self) -> Site:
        """Forget what was read, so that the next question reads the log again.

        Examples
        --------
        >>> site.reload() is site
        True
        """
        for read in ("tables", "_doubts"):
            self.__dict__.pop(read, None)
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

    @property
    def objects(self) -> pd.DataFrame:
        """Every object in the counted photos, a row each, hand corrections applied (read when asked: many rows)."""
        from qckit.log import open_log

        with open_log(self.folder) as log:
            return log.objects()

    @working("Working out the hatches")
    def hatches(
        self,
        period=None,
        lot: str | list[str] | None = None,
        cone: str | list[str] | None = None,
        hours: float | Iterable[float] | None = None,
    ):
        """Give a row a hatch, every metric with its interval: the figures that reports, charts and verdicts show.

        Parameters
        ----------
        period : str or pair of str, optional
            A month, ``YYYY-MM``, or first and last ISO 8601 date (the last not included), of the wetting; all if None.
        lot, cone : str or list of str, optional
            Hatches of one lot, in one cone, or of several.
        hours : float or list of float, optional
            Hours from wetting at which they were counted, within an hour and a half; the site's reading hour if None.
            Of several hours, as in a time course, a hatch has a row for each. [h]

        Returns
        -------
        DataFrame, one row per hatch, in the order of wetting
            The columns of the hatches table, then ``hatch.CONE_COLUMNS`` with ``METRIC_low`` and ``METRIC_high`` beside
            each metric. Hatches that are not counted yet stand there with NaN; ``notes`` is what the field sheet says,
            ``remarks`` what has to be said of the figures, also where they cannot or can hardly be. ``attrs["units"]``
            holds the unit of each column that has one; :func:`hatch.describe_columns` their meaning too.

        Raises
        ------
        InputError
            The period is misspelt, no hatch is of that lot or cone, or none was counted at those hours.

        Examples
        --------
        >>> rows = site.hatches("2026-10", cone="C")
        >>> rows[["hatch", "hatch_pct", "hatch_pct_low", "hatch_pct_high"]].shape[1]
        4
        """
        import pandas as pd

        from qckit.hatch import counted_at, hatch_table

        tables = self._within(period, lot=lot, cone=cone)
        rows = tables.hatches
        readings = [hours] if hours is None or isinstance(hours, (Real, str)) else list(hours)
        found = [hatch_table(tables if h is None else counted_at(tables, h)) for h in readings]
        figures = pd.concat(found, ignore_index=True).rename(columns={"notes": "remarks"})
        notes = [(*of, self._doubts.get(name, "")) for name, of in zip(figures["hatch"], figures["remarks"])]
        figures["remarks"] = pd.Series([" ".join(filter(None, map(str, of))) for of in notes], figures.index, "str")
        figures = figures.drop(columns=[c for c in figures if c in rows and c != "hatch"])
        table = rows.merge(figures.astype({"hatch": rows["hatch"].dtype}), on="hatch", how="left")
        return _with_units(table.sort_values(["started", "cone", "hatch", "hours"], kind="stable", ignore_index=True))

    def purity(self, period=None, lot: str | list[str] | None = None, cone: str | list[str] | None = None):
        """Give a row a sieve sample: how pure the harvest was, with its hatch's lot, cone and start.

        Parameters
        ----------
        period, lot, cone
            As for :meth:`hatches`.

        Returns
        -------
        DataFrame, one row per sieve sample, in the order of wetting
            hatch, lot, cone, operator, started, taken, then ``hatch.PURITY_COLUMNS``.

        Raises
        ------
        InputError
            The period is misspelt, or no hatch is of that lot or cone.

        Examples
        --------
        >>> rows = site.purity("2026-10")
        >>> bool(rows.groupby("cone")["purity_pct"].mean().between(80, 100).all())
        True
        """
        from qckit.hatch import purity_of_samples

        tables = self._within(period, lot=lot, cone=cone)
        about = tables.hatches[["hatch", "lot", "cone", "operator", "started"]]
        found = purity_of_samples(tables.samples).merge(tables.samples[["sample", "taken"]], on="sample")
        table = about.merge(found, on="hatch").sort_values(["started", "cone", "taken"], kind="stable")
        return _with_units(table[[*about, "taken", *(c for c in found if c not in about and c != "taken")]])

    def methods_text(self, period=None, lot: str | list[str] | None = None, cone: str | list[str] | None = None) -> str:
        """Write the methods behind these hatches' figures for a paper, with versions and the seal of the records.

        Parameters
        ----------
        period, lot, cone
            As for :meth:`hatches`.

        Examples
        --------
        >>> "score interval" in site.methods_text(lot="K-124")
        True
        """
        from qckit.log import open_log, seal_of
        from qckit.reports import methods_text

        with open_log(self.folder) as log:
            seal = seal_of(log)
        return methods_text(self._within(period, lot=lot, cone=cone), seal=str(seal))

    @cached_property
    def _doubts(self) -> dict[str, str]:
        from qckit.verdicts.lots.doubts import doubt_remarks

        return doubt_remarks(self.tables)

    def _within(self, period, **names) -> SiteTables:
        """The tables of the hatches of a period, and of some lots or cones."""
        from qckit.errors import unknown_name

        tables = self.tables
        if period is not None:
            from qckit.log import open_log

            with open_log(self.folder) as log:
                tables = tables.within(log, period)
        rows = tables.hatches
        for column, asked in names.items():
            if asked is None:
                continue
            chosen = [asked] if isinstance(asked, str) or not isinstance(asked, Iterable) else list(asked)
            known = set(self.tables.hatches[column])
            for name in chosen:
                if name not in known:
                    raise unknown_name(column, name, sorted(known))
            rows = rows[rows[column].isin(chosen)]
        return tables.but(hatches=rows, samples=tables.samples[tables.samples["hatch"].isin(rows["hatch"])])

    def dose(self, lot: str, *, nauplii: float | None = None, day: str = "", risk: float | None = None):
        """Plan the grams of a lot for a demand: the plan that ``qckit dose`` prints (:func:`hatch.plan_dose`).

        ``day`` is the day that the dose is for; today when it is empty.

        Examples
        --------
        >>> site.dose("K-121", nauplii=5_000_000).lot
        'K-121'
        """
        from qckit.hatch import plan_dose

        return plan_dose(self.tables, lot, nauplii=nauplii, day=day or self._clock(), risk=risk)

    def _clock(self, now: str = "") -> str:
        """Moment that is asked about: as it was typed, at the site's clock; empty: this moment."""
        from qckit.log.typed import site_time

        return site_time(self.tables.settings, now).isoformat()

    @working("Reviewing the month")
    def month(self, month: str, *, lot: str = "", now: str = "") -> Finding:
        """Review a month: the finding that ``qckit report month`` prints.

        Parameters
        ----------
        month : str
            ``YYYY-MM``.
        lot : str
            One lot; empty for all.
        now : str
            Time of the review: the day its doses are for. Empty: the clock.

        Examples
        --------
        >>> site.month("2026-10", lot="K-121").kind
        'month'
        """
        from qckit.verdicts.month.verdict import review_month

        return review_month(self.tables, month=month, lot=lot, now=self._clock(now))

    @working("Explaining the hatch")
    def poor_hatch(self, hatch: str, *, now: str = "") -> Finding:
        """Explain a hatch: the finding that ``qckit report poor-hatch`` prints.

        Parameters
        ----------
        hatch : str
            The hatch's name.
        now : str
            Time of the question: what can still be saved, and the day of the dose. Empty: the clock.

        Examples
        --------
        >>> site.poor_hatch("H261105-B").kind
        'poor-hatch'
        """
        from qckit.log import open_log
        from qckit.reports.poor_report import nauplius_objects
        from qckit.verdicts.poor_hatch.verdict import explain_hatch

        with open_log(self.folder) as log:
            objects = nauplius_objects(log, hatch, self.tables)
        return explain_hatch(self.tables, hatch=hatch, objects=objects, now=self._clock(now))

    def suspicion(self, hatch: str, *, tables: SiteTables | None = None, counts: pd.DataFrame | None = None):
        """Name the cause that :meth:`poor_hatch` puts first, in a fraction of its time; for the screen of the day.

        Parameters
        ----------
        hatch : str
            The hatch's name.
        tables : SiteTables, optional
            Records up to the moment of asking; all of them when left out.
        counts : DataFrame, optional
            ``counted_hatches`` of these, where they were worked out already.

        Examples
        --------
        >>> site.suspicion("H261105-B").code
        'ph'
        """
        from qckit.log import open_log
        from qckit.reports.poor_report import nauplius_objects
        from qckit.verdicts.poor_hatch.verdict import first_suspicion

        with open_log(self.folder) as log:
            objects = nauplius_objects(log, hatch, self.tables)
        return first_suspicion(tables or self.tables, hatch=hatch, objects=objects, counts=counts)

    def new_lot(self, lot: str = "", *, now: str = "") -> Finding:
        """Judge a lot by its standard test: the finding that ``qckit report new-lot`` prints.

        Parameters
        ----------
        lot : str
            The lot; empty: the one tested last.
        now : str
            Time of the question: the day of the dose. Empty: the clock.

        Examples
        --------
        >>> site.new_lot("K-121").subject
        'K-121'
        """
        from qckit.reports.lot_test import load_lot_test

        return load_lot_test(self.folder, lot, out_dir=None, now=now).finding

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

        Examples
        --------
        >>> room = qckit.load_site(shutil.copytree(site.folder, "room-5"))
        >>> room.freeze_baselines("2026-10", by="op1", lot="K-121", min_points=20).startswith("2026-10")
        True
        """
        from qckit.reports.month_records import freeze_baselines

        sentence = freeze_baselines(self.folder, month, by=by, lot=lot, min_points=min_points)
        self.reload()
        return sentence


def _with_units(table: pd.DataFrame) -> pd.DataFrame:
    """Let a table carry the units of its columns."""
    from qckit.hatch import describe_columns

    about = describe_columns(table)
    table = table.reset_index(drop=True)
    table.attrs["units"] = {c: unit for c, unit in zip(about["column"], about["unit"], strict=True) if unit}
    return table
