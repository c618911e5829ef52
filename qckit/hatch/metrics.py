"""Counts to hatch metrics: of one subsample, of one cone (one hatch); the metrics are those of the registry."""

from __future__ import annotations

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.hatch.formulas import conversion_factor
from qckit.hatch.notes import Note
from qckit.hatch.registry import METRICS
from qckit.hatch.subsamples import BESIDE_SHELLS, joined_subsamples, reading_subsamples

__all__ = [
    "CONE_COLUMNS",
    "SAMPLE_COLUMNS",
    "cone_metrics",
    "sample_metrics",
]

_OF_LOT = ["moisture_pct", "dry_weight_ug"]
_COUNTS = ("nauplii", "umbrella", "unhatched", "shells", "full_cysts")

SAMPLE_COLUMNS = ("sample", "hatch", "lot", "cone", "hours", *_COUNTS, "basis", "counted_ul", "factor_per_g", *METRICS)
"""Columns of :func:`sample_metrics`."""

CONE_COLUMNS = (
    "hatch",
    "lot",
    "cone",
    "purpose",
    "started",
    "hours",
    "n_subsamples",
    "cysts_g",
    "volume_ml",
    *_COUNTS,
    *BESIDE_SHELLS,
    "basis",
    "counted_by",
    "counted_ul",
    "factor_per_g",
    *METRICS,
    "n_left_out",
    "notes",
)
"""Columns of :func:`cone_metrics`."""


def sample_metrics(samples, hatches, lots=None, *, photos=None):
    """Work out the metrics of each subsample.

    Parameters
    ----------
    samples, hatches, lots : DataFrame
        Tables as ``tables.check_table`` returns them. Sieve samples are left out; of a sample counted more than
        once the highest revision is used. ``lots`` gives moisture and dry weight; without it those metrics are NaN.
    photos : DataFrame, optional
        The photos table, for counted volumes that come from a chamber's depth.

    Returns
    -------
    DataFrame, shape (n_subsamples, len(SAMPLE_COLUMNS))
        The same columns when there is no subsample. A metric that cannot be known is NaN.

    Raises
    ------
    InputError
        A sample names a hatch that is not in the hatches table.

    Examples
    --------
    >>> some = tables.samples[tables.samples["hatch"] == "H261104-C"]
    >>> len(hatch.sample_metrics(some, tables.hatches, tables.lots)) <= len(some)
    True
    """
    table = joined_subsamples(samples, hatches, lots, photos)
    return _with_metrics(table)[list(SAMPLE_COLUMNS)].reset_index(drop=True)


def cone_metrics(samples, hatches, lots=None, *, photos=None, reading_h=24.0, tolerance_h=1.5):
    """Work out the metrics of each hatch at its reading: the figures that every verdict, chart and table shows.

    Counts and volumes of the subsamples that :mod:`qckit.hatch.subsamples` chooses are added up, which for equal
    volumes is the mean count of the standard worksheet times the conversion factor.

    Parameters
    ----------
    samples, hatches, lots, photos : DataFrame
        As for :func:`sample_metrics`.
    reading_h : float
        Hours from wetting at which the site reads its hatches. [h]
    tolerance_h : float
        Subsamples this near to the chosen reading belong to it. [h]

    Returns
    -------
    DataFrame, shape (n_hatches_counted, len(CONE_COLUMNS))
        One row per hatch with a counted subsample, in the order of ``samples``. ``shells`` and the ``shell_`` columns
        are sums over the subsamples in which shells were counted; ``n_left_out`` counts subsamples of the reading that
        are not used; ``notes`` is a tuple of :class:`Note`.

    Examples
    --------
    >>> figures = hatch.cone_metrics(tables.samples, tables.hatches, tables.lots, photos=tables.photos)
    >>> figures[["hatch", "hatch_pct", "hatching_efficiency_per_g"]].shape[1]
    3
    """
    table = reading_subsamples(
        joined_subsamples(samples, hatches, lots, photos), reading_h=reading_h, tolerance_h=tolerance_h
    )
    if table.empty:
        return pd.DataFrame({name: pd.Series(dtype=_dtype(name)) for name in CONE_COLUMNS})
    used = table[table["left_out"] == ""]
    cones = _pooled(used)
    of_reading = table[~table["left_out"].isin(["", "other_hour"])]
    cones["n_left_out"] = of_reading.groupby("hatch").size().reindex(cones.index, fill_value=0)
    cones["notes"] = _notes(cones, used, of_reading, reading_h, tolerance_h)
    return _with_metrics(cones.reset_index())[list(CONE_COLUMNS)]


_TEXT = {"hatch", "lot", "cone", "purpose", "started", "basis", "counted_by"}


def _dtype(name):
    return "str" if name in _TEXT else "object" if name == "notes" else "float64"


def _pooled(used):
    """Add up the used subsamples of each hatch; one row per hatch, indexed by it."""
    grouped = used.groupby("hatch", sort=False)
    size = grouped.size()
    cones = grouped[["lot", "cone", "purpose", "started", "cysts_g", "volume_ml", *_OF_LOT, "basis"]].first()
    cones["n_subsamples"], cones["hours"] = size, grouped["hours"].mean()
    whole = ["nauplii", "umbrella", "unhatched", "full_cysts", "counted_ul"]
    known = grouped[whole].count().eq(size, axis=0)
    cones[whole] = grouped[whole].sum().where(known)
    part = ["shells", *BESIDE_SHELLS]
    cones[part] = grouped[part].sum(min_count=1)
    cones["n_shells_counted"] = grouped["shells"].count()
    cones["basis"] = cones["basis"].where(grouped["basis"].nunique() == 1, "mixed")
    cones["counted_by"] = grouped["counted_by"].first() if used["counted_by"].notna().any() else ""
    cones["counted_by"] = cones["counted_by"].fillna("")
    return cones


def _notes(cones, used, left, reading_h, tolerance_h):
    """What has to be said about each hatch's figures, as a Series of tuples."""
    notes = {name: [] for name in cones.index}

    def add(where, code, values=None):
        names = cones.index[where.to_numpy(dtype=bool)]
        for name in names if values is None else ():
            notes[name].append(Note(code, {}))
        for row in cones.loc[names].itertuples() if values is not None and len(names) else ():
            notes[row.Index].append(Note(code, values(row)))

    add(cones["hours"].isna(), "hours_unknown")
    away = (cones["hours"] - reading_h).abs() > tolerance_h + 1e-6
    add(away, "other_hour", lambda row: {"at": round(float(row.hours), 4), "standard": float(reading_h)})
    for (name, code), rows in left.groupby(["hatch", "left_out"], sort=False):
        if code != "uncounted":
            kind = {"kind": str(rows["counted_by"].iloc[0])} if code == "other_kind" else {}
            notes[name].append(Note(code, kind | {"samples": tuple(rows["sample"])}))
    has_percentage = cones["full_cysts"] > 0
    add(cones["basis"] == "cysts", "cysts_for_embryos")
    add(cones["basis"] == "mixed", "mixed_basis")
    add(cones["full_cysts"].isna(), "no_unhatched")
    add(cones["full_cysts"] == 0, "no_full_cyst")
    add(cones["umbrella"].isna() & has_percentage, "no_umbrella")
    partly = (cones["n_shells_counted"] > 0) & (cones["n_shells_counted"] < cones["n_subsamples"])
    named = used[used["shells"].notna() & used["hatch"].isin(cones.index[partly])].groupby("hatch")["sample"].agg(tuple)
    add(partly, "shells_in_part", lambda row: {"samples": named[row.Index]})
    add(cones["counted_ul"].isna(), "no_volume")
    return pd.Series({name: tuple(found) for name, found in notes.items()}, dtype=object)


def _with_metrics(table):
    """Add the conversion factor and every metric of the registry."""
    factor = conversion_factor(volume_ml=table["volume_ml"], counted_ul=table["counted_ul"], cysts_g=table["cysts_g"])
    table = table.assign(factor_per_g=factor)
    return table.assign(**{name: metric.values(table) for name, metric in METRICS.items()})


def require_lot(lots, hatches, lot):
    """Raise the error for a lot that no table knows; return its row of the lots table, or None."""
    known = sorted({*(lots["lot"] if lots is not None else ()), *hatches["lot"]})
    if lot not in known:
        raise unknown_name("lot", lot, known)
    rows = lots[lots["lot"] == lot] if lots is not None else None
    if rows is not None and len(rows) > 1:
        raise InputError(f"lots: lot {lot} stands there {len(rows)} times. Keep one row.")
    return rows.iloc[0] if rows is not None and len(rows) else None
