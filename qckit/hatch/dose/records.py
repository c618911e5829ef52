"""What every dose of a site on one day rests on, whatever the lot: worked out once, asked for each lot."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError
from qckit.hatch.lots.doubted import Doubted, doubted_hatches
from qckit.hatch.lots.level import ordinary_hatches
from qckit.hatch.metrics import cone_metrics
from qckit.hatch.photo_counts import mark_photo_counts
from qckit.hatch.subsamples import fill_volumes
from qckit.tables import to_clock, to_utc

__all__ = ["DoseRecords", "dose_records"]


@dataclass(frozen=True)
class DoseRecords:
    """What every dose of a site on one day rests on, whatever the lot.

    Examples
    --------
    >>> hatch.dose_records(tables, day="2026-11-06").day.date().isoformat()
    '2026-11-06'
    """

    day: pd.Timestamp  # its end at the site's clock: the dose of a day is one, whatever the hour it is asked at
    hatches: pd.DataFrame  # started by the moment asked about
    samples: pd.DataFrame  # taken by then; counts by photo corrected where a certificate speaks for them
    cones: pd.DataFrame  # rows of cone_metrics, with those of mark_photo_counts, but of hatches that are doubted
    ordinary: pd.DataFrame  # rows of ordinary_hatches, likewise
    doubted: tuple[Doubted, ...] = ()


def dose_records(tables, *, day="", cones=None):
    """Gather what the doses of a day rest on, for callers that ask for several lots.

    Parameters
    ----------
    tables : site_tables.SiteTables
    day : str
        As for :func:`plan_dose`.
    cones : DataFrame, optional
        ``cone_metrics`` of the records made by then, where they were worked out already: from the same tables.

    Returns
    -------
    DoseRecords

    Examples
    --------
    >>> rests_on = hatch.dose_records(tables, day="2026-11-06")
    >>> 0 < len(rests_on.ordinary) < len(rests_on.cones)
    True
    """
    settings, at = tables.settings, _moment(day, tables)
    hatches = tables.hatches[to_utc(tables.hatches["started"]) <= at]
    samples = fill_volumes(tables.samples, tables.photos)
    samples = samples[~(to_utc(samples["taken"]) > at)]
    if cones is None:
        of_them = samples[samples["hatch"].isin(set(hatches["hatch"]))]
        cones = cone_metrics(of_them, hatches, tables.lots, reading_h=settings.conditions.reading_h)
    doubted = tuple(doubted_hatches(cones, samples, settings))
    cones = cones[~cones["hatch"].isin({one.hatch for one in doubted})].reset_index(drop=True)
    cones = mark_photo_counts(cones, tables.samples_as_counted, tables.photo_corrections)
    ordinary = ordinary_hatches(cones, hatches, settings, tables.readings)
    parts = {"hatches": hatches, "samples": samples, "cones": cones, "ordinary": ordinary}
    return DoseRecords(_end_of_day(at), **parts, doubted=doubted)


def _moment(day, tables):
    """The moment asked about at the site's clock: a day's end where only a date was given, else the newest record's."""
    zone = tables.settings.site.timezone
    if not day:
        newest = pd.concat([to_utc(tables.hatches["started"]), to_utc(tables.samples["taken"])]).max()
        if pd.isna(newest):
            raise InputError("no hatch is in the log, so no dose can be worked out. Import the field sheets first.")
        return newest.tz_convert(zone)
    try:
        at = pd.Timestamp(dt.datetime.fromisoformat(str(day)))
    except ValueError as error:
        raise InputError(f"day is {day!r}, which is no date. Write it like 2026-11-04.") from error
    at = to_clock(at, zone) if at.tzinfo is None else at.tz_convert(zone)
    return _end_of_day(at) if len(str(day)) <= 10 else at


def _end_of_day(at):
    midnight = at.tz_localize(None).normalize() + pd.Timedelta(days=1)
    return to_clock(midnight, at.tz) - pd.Timedelta(seconds=1)
