"""The site's records, read: the current rows of every table, corrections applied."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Self

import pandas as pd
import sqlalchemy as sa

from qckit.columns import listed_in
from qckit.log import engine, kept_settings, query, spans
from qckit.object_rows import BY_HAND
from qckit.settings import Settings
from qckit.tables import to_utc

__all__ = ["LogReader"]


class LogReader:
    """The reading half of :class:`qckit.log.store.SiteLog`."""

    def __init__(self, database: sa.Engine, settings: Settings, now: Callable[[], str]):
        self.engine = database
        self.settings = settings
        self.now = now

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exc) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<{type(self).__name__} {engine.shown_url(self.engine.url.render_as_string(hide_password=True))}>"

    @property
    def folder(self) -> Path:
        """The site folder."""
        return Path(self.settings.folder)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def table(self, name: str, **equals) -> pd.DataFrame:
        """Return the current rows of a table whose columns equal the values given (None: any)."""
        with engine.reading(self.engine) as connection:
            return query.fetch(connection, name, equals)

    def lots(self, lot: str | None = None) -> pd.DataFrame:
        """Return lots."""
        return self.table("lots", lot=lot)

    def hatches(self, hatch=None, lot=None, *, month=None, since=None, until=None, purpose=None) -> pd.DataFrame:
        """Return hatches in order of their start.

        Parameters
        ----------
        hatch, lot, purpose : str or list of str, optional
        month : str, optional
            ``2026-10``, in the site's time zone.
        since, until : str, optional
            ISO date or time; ``since <= started < until``. A date means midnight at the site.
        """
        low, high = spans.span(month, since, until, self.settings.site.timezone)
        with engine.reading(self.engine) as connection:
            return query.hatches(connection, {"hatch": hatch, "lot": lot, "purpose": purpose}, low, high)

    def samples(
        self,
        sample=None,
        hatch=None,
        lot=None,
        *,
        month=None,
        since=None,
        until=None,
        kind=None,
        counted: bool | None = True,
    ) -> pd.DataFrame:
        """Return the newest revision of each sample.

        Parameters
        ----------
        sample, hatch, lot, kind : str or list of str, optional
        month, since, until : str, optional
            Of the hatch's start, as in :meth:`hatches`.
        counted : bool or None
            True: only samples that have their counts, and harvests of which only the time is known. False: only those
            still waiting for them. None: all.
        """
        low, high = spans.span(month, since, until, self.settings.site.timezone)
        with engine.reading(self.engine) as connection:
            frame = query.samples(connection, {"sample": sample, "hatch": hatch, "kind": kind}, lot, low, high)
        if counted is None:
            return frame
        complete = frame["nauplii"].notna() | ((frame["kind"] == "harvest") & frame["photos"].isna())
        return frame[complete == counted].reset_index(drop=True)

    def revisions(self, sample: str) -> pd.DataFrame:
        """Return every revision of a sample as entered, oldest first."""
        with engine.reading(self.engine) as connection:
            return query.fetch(connection, "samples", {"sample": sample}, revisions="all", corrected=False)

    def awaiting_counts(self) -> pd.DataFrame:
        """Return a row for each photo still to be counted.

        Returns
        -------
        DataFrame, shape (n, 7)
            sample, hatch, photo, um_per_px, chamber_depth_mm, taken, scale_source. The scale is the field sheet's;
            where that has none and the site keeps one camera at one magnification, the newest scale of that.
        """
        uncounted = self.samples(counted=False)
        scale, source = _only_scale(self.scales()) if uncounted["um_per_px"].isna().any() else (None, "")
        rows = [
            (
                s.sample,
                s.hatch,
                photo,
                s.um_per_px if on_sheet else scale,
                s.chamber_depth_mm,
                s.taken,
                "field sheet" if on_sheet else source,
            )
            for s in uncounted.itertuples()
            for on_sheet in [not pd.isna(s.um_per_px)]
            for photo in listed_in(s.photos)
        ]
        columns = ["sample", "hatch", "photo", "um_per_px", "chamber_depth_mm", "taken", "scale_source"]
        return pd.DataFrame(rows, columns=columns).astype({"um_per_px": "float64", "chamber_depth_mm": "float64"})

    def only_scale(self) -> float | None:
        """Return the newest scale of the site's camera, where it keeps one camera at one magnification. [µm/px]"""
        return _only_scale(self.scales())[0]

    def readings(self, hatch=None, quantity=None) -> pd.DataFrame:
        """Return water readings."""
        return self.table("readings", hatch=hatch, quantity=quantity)

    def photos(self, photo=None, sample=None, hatch=None) -> pd.DataFrame:
        """Return photos, newest count of each."""
        if hatch is not None:
            sample = self.samples(hatch=hatch, counted=None)["sample"].tolist()
        return self.table("photos", photo=photo, sample=sample)

    def objects(self, photo=None, sample=None, hatch=None) -> pd.DataFrame:
        """Return objects of the newest count of each photo, with hand corrections applied."""
        if sample is not None or hatch is not None:
            photo = self.photos(sample=sample, hatch=hatch)["photo"].tolist()
        return self.table("objects", photo=photo)

    def hand_checked(self) -> pd.DataFrame:
        """Return the samples (column sample) with a photo in which a person corrected objects."""
        with engine.reading(self.engine) as connection:
            touched = query.photos_touched_by_hand(connection)
        objects = self.objects(photo=touched)
        by_hand = objects.loc[objects["source"].isin(BY_HAND), "photo"].unique()
        return self.photos(photo=by_hand.tolist())[["sample"]].drop_duplicates(ignore_index=True)

    def corrections(self, table: str | None = None, key: str | None = None) -> pd.DataFrame:
        """Return corrections, oldest first."""
        return self.table("corrections", table=table, key=key)

    def steps(self) -> pd.DataFrame:
        """Return what was done to the log: step, at, by, action, source, source_sha256, software, n_rows."""
        return self.table("steps")

    def baselines(self, chart=None, lot=None) -> pd.DataFrame:
        """Return frozen baselines of control charts, oldest first."""
        return _by_time(self.table("baselines", chart=chart, lot=lot), "set_at")

    def signals(self, chart=None, lot=None, state=None) -> pd.DataFrame:
        """Return signals of control charts, oldest first."""
        return _by_time(self.table("signals", chart=chart, lot=lot, state=state), "at")

    def scales(self, camera=None, magnification=None) -> pd.DataFrame:
        """Return camera scales, oldest first: the last row of a camera and magnification holds."""
        return _by_time(self.table("scales", camera=camera, magnification=magnification), "set_at")

    def certificates(self, camera=None) -> pd.DataFrame:
        """Return accuracy certificates of cameras, oldest first."""
        return _by_time(self.table("certificates", camera=camera), "made_at")

    def checks(self, hatch=None) -> pd.DataFrame:
        """Return checks made on poor hatches, oldest first."""
        return _by_time(self.table("checks", hatch=hatch), "planned_at")

    def reports(self, kind=None, subject=None) -> pd.DataFrame:
        """Return reports that were written, oldest first."""
        return _by_time(self.table("reports", kind=kind, subject=subject), "made_at")

    def changes(self, month=None, state=None) -> pd.DataFrame:
        """Return changes that months' reviews found, oldest first."""
        return _by_time(self.table("changes", month=month, state=state), "found_at")

    def feeds(self, hatch=None) -> pd.DataFrame:
        """Return feeds, oldest first."""
        return _by_time(self.table("feeds", hatch=hatch), "fed")

    def setting_history(self, name: str) -> pd.DataFrame | None:
        """Return the record of one setting, or of all under ``settings``; None where no setting has that name."""
        return kept_settings.rows_of(self, name)

    def setting_changes(self) -> pd.DataFrame:
        """Return the record of the settings, oldest first: what each was when the log first met it, and each change."""
        return kept_settings.rows_of(self)


def _only_scale(scales: pd.DataFrame) -> tuple[float | None, str]:
    """Return the newest scale where there is one camera at one magnification, and how it was found."""
    if scales.empty or len(scales[["camera", "magnification"]].drop_duplicates()) > 1:
        return None, ""
    newest = scales.iloc[-1]
    return newest["um_per_px"], f"{newest['camera']}, {newest['magnification']}: {newest['method']}"


def _by_time(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    order = to_utc(frame[column]).sort_values(kind="stable").index if len(frame) else frame.index
    return frame.loc[order].reset_index(drop=True)
