"""Counts of many photos as one tidy table, in the words and units of the log."""

from __future__ import annotations

import pandas as pd

from qckit.counting.batch.run import CountedPhotos
from qckit.counting.batch.run import count_photos as _count_photos
from qckit.errors import unknown_name
from qckit.progress import counted as shown
from qckit.stages import STAGE_RECORDS

__all__ = ["UNITS", "count_photos", "tidy_counts"]

UNITS = {
    "hatch_pct": "%",
    "frame_mm2": "mm²",
    "um_per_px": "µm/px",
    "seconds": "s",
    "width_px": "px",
    "height_px": "px",
}
_OBJECT_UNITS = {"x_px": "px", "y_px": "px", "length_um": "µm", "width_um": "µm", "area_um2": "µm²"}


def tidy_counts(counted: CountedPhotos) -> pd.DataFrame:
    """Write counted photos as a table with the log's words.

    Parameters
    ----------
    counted : CountedPhotos
        From :func:`qckit.counting.count_photos`.

    Returns
    -------
    DataFrame
        A row per photo: photo, nauplii, umbrella, cysts, shells, hatch_pct, flags, why and what the count rests on.
        ``attrs["units"]`` holds the units by column, ``attrs["failures"]`` a sentence per photo that could not be
        counted.
    """
    table = counted.counts.rename(columns={s.photo_column: s.column for s in STAGE_RECORDS}).reset_index(drop=True)
    table.attrs["units"] = {c: u for c, u in UNITS.items() if c in table}
    table.attrs["failures"] = tuple(str(m) for m in counted.failures["message"])
    return table


def count_photos(paths, scales, *, what: str = "photos", **options) -> pd.DataFrame:
    """Count many photos and return one tidy table.

    Parameters
    ----------
    paths : iterable of path, or one path
        Photos, or folders that are searched.
    scales : float, path or mapping
        µm per pixel for all, a CSV with the columns photo and um_per_px, or a mapping from names. [µm/px]
    what : {"photos", "objects"}
        A row per photo, or a row per object found.
    **options
        ``workers``, ``out_dir``, ``progress``, ``options`` and the others of :func:`qckit.counting.count_photos`.

    Returns
    -------
    DataFrame
        See :func:`tidy_counts`; for objects the columns of the objects table. Units are in ``attrs["units"]``, photos
        that could not be counted in ``attrs["failures"]``.

    Raises
    ------
    InputError
        A path does not exist, no photo has a scale, or ``what`` is neither.

    Examples
    --------
    >>> import qckit
    >>> from qckit._paths import sample_images_dir
    >>> photo = sample_images_dir() / "photos" / "k-121_a_1.jpg"
    >>> table = qckit.count_photos([photo], 6.2)
    >>> list(table.columns[:5]), table.attrs["units"]["hatch_pct"]
    (['photo', 'nauplii', 'umbrella', 'cysts', 'shells'], '%')
    """
    if what not in ("photos", "objects"):
        raise unknown_name("table", what, ("photos", "objects"))
    options.setdefault("progress", shown("Counting photos"))
    counted = _count_photos(paths, scales, **options)
    table = tidy_counts(counted)
    if what == "objects":
        objects = counted.objects.reset_index(drop=True)
        objects.attrs["units"] = {c: u for c, u in _OBJECT_UNITS.items() if c in objects}
        objects.attrs["failures"] = table.attrs["failures"]
        return objects
    return table
