"""What every dose of a site on one day rests on, whatever the lot: worked out once, asked for each lot."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError
from qckit.hatch.lot_level import ordinary_hatches
from qckit.hatch.metrics import cone_metrics
from qckit.hatch.photo_counts import mark_photo_counts
from qckit.hatch.subsamples import fill_volumes
from qckit.tables import to_utc

__all__ = ["DoseRecords", "dose_records"]


@dataclass(frozen=True)
class DoseRecords:
    """What every dose of a site on one day rests on, whatever the lot.

    Examples
    --------
    >>> hatch.dose_records(tables, day="2026-11-06").day.date().isoformat()
    '2026-11-06'
    """

    day: pd.Timestamp
    hatches: pd.DataFrame  # started by then
    samples: pd.DataFrame  # counts by photo corrected where a certificate speaks for them
    cones: pd.DataFrame  # rows of cone_metrics, with those of mark_photo_counts
    ordinary: pd.DataFrame  # rows of ordinary_hatches


def dose_records(tables, *, day="", cones=None):
    """Gather what the doses of a day rest on, for callers that ask for several lots.

    Parameters
    ----------
    tables : site_tables.SiteTables
    day : str
        As for :func:`plan_dose`.
    cones : DataFrame, optional
        ``cone_metrics`` of the hatches started by then, where they were worked out already: from the same tables.

    Returns
    -------
    DoseRecords

    Examples
    --------
    >>> rests_on = hatch.dose_records(tables, day="2026-11-06")
    >>> 0 < len(rests_on.ordinary) < len(rests_on.cones)
    True
    """
    settings, at = tables.settings, _day(day, tables.hatches)
    hatches = tables.hatches[to_utc(tables.hatches["started"]) <= at]
    samples = fill_volumes(tables.samples, tables.photos)
    if cones is None:
        of_them = samples[samples["hatch"].isin(set(hatches["hatch"]))]
        cones = cone_metrics(of_them, hatches, tables.lots, reading_h=settings.conditions.reading_h)
    cones = mark_photo_counts(cones, tables.samples_as_counted, tables.photo_corrections)
    return DoseRecords(at, hatches, samples, cones, ordinary_hatches(cones, hatches, settings, tables.readings))


def _day(day, hatches):
    """The day asked about as a time: its end where only a date was given."""
    if not day:
        return to_utc(hatches["started"]).max()
    try:
        at = pd.Timestamp(day)
    except ValueError as error:
        raise InputError(f"day is {day!r}, which is no date. Write it like 2026-11-04.") from error
    at = at.tz_localize("UTC") if at.tzinfo is None else at.tz_convert("UTC")
    return at + pd.Timedelta(days=1) - pd.Timedelta(seconds=1) if len(str(day)) <= 10 else at
