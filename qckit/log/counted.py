"""What counting gives, as the log's tables: from the files of a count or its objects, and objects counted by stage."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from qckit.errors import InputError, one_line
from qckit.files import restore
from qckit.object_rows import FOUND, is_counted
from qckit.stages import STAGE_COLUMNS
from qckit.tables import TABLES, check_table, empty_table

__all__ = ["as_frames", "read_counted", "tally"]

_PHOTO_ATTRIBUTES = ("photo", "sha256", "um_per_px", "taken", "width_px", "height_px", "counter_version", "frame_mm2")


def read_counted(folder: str | Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read the counts.csv and objects.csv that ``qckit count --out`` wrote.

    Parameters
    ----------
    folder : path

    Returns
    -------
    tuple of DataFrame
        As :meth:`qckit.log.store.SiteLog.record_counts` takes them.

    Raises
    ------
    InputError
        One of the files is missing or cannot be read.
    """
    frames = []
    for name, table, needed in (("counts.csv", "photos", ("sha256",)), ("objects.csv", "objects", ("stage",))):
        path = Path(folder) / name
        try:
            if path.exists() and not path.is_file():
                raise OSError("it is no file")
            frame = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8-sig")
            if lacking := [c for c in ("photo", *needed) if c not in frame]:
                raise ValueError(f"it has no column {lacking[0]}")
        except (OSError, ValueError) as error:
            raise InputError(
                f"{path}: cannot be read ({one_line(error)}). Count the photos with  qckit count PHOTOS --out {folder}."
            ) from error
        numbers = {c.name for c in TABLES[table] if c.kind in ("float", "int")}
        frames.append(frame.apply(lambda cells, numbers=numbers: _as_written(cells, cells.name in numbers)))
    return frames[0], frames[1]


def _as_written(cells: pd.Series, are_numbers: bool) -> pd.Series:
    """Undo what made texts safe for spreadsheets; whatever is no number stays as it is, for the check to name."""
    if are_numbers:
        try:
            return pd.to_numeric(cells.mask(cells == "", None)).astype("float64")
        except ValueError:
            pass
    return cells.map({cell: restore(cell) for cell in cells.unique()})


def as_frames(counted, objects: pd.DataFrame | None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Turn what counting gives into a photos frame and an objects frame, both checked.

    Parameters
    ----------
    counted : DataFrame, list of PhotoCount, or an object with ``.counts`` and ``.objects`` frames
    objects : DataFrame or None

    Returns
    -------
    tuple of DataFrame
        Photos keep count columns (nauplii, …) where they came with some, for comparison with the objects.
    """
    if isinstance(getattr(counted, "counts", None), pd.DataFrame):
        counted, objects = counted.counts, counted.objects
    if not isinstance(counted, pd.DataFrame):
        photos = pd.DataFrame([_photo_row(count) for count in counted])
        found = [count.objects.assign(photo=count.photo) for count in counted if len(count.objects)]
        objects = pd.concat(found, ignore_index=True) if found else empty_table("objects")
        counted = photos
    if counted.empty:
        return empty_table("photos"), empty_table("objects")
    if objects is None:
        raise InputError("The objects found in the photos were not given. Hand over the table of objects as well.")
    photos = counted.rename(columns={"cyst": "cysts", "shell": "shells", "nauplius": "nauplii"})
    photos = check_table(photos.reset_index(drop=True), "photos", source="photos", row_names=list(photos["photo"]))
    objects = check_table(objects.reset_index(drop=True), "objects", source="objects")
    return photos, _numbered(objects)


def _photo_row(count) -> dict:
    row = {name: getattr(count, name, None) for name in _PHOTO_ATTRIBUTES}
    row["flags"] = "; ".join(flag.code for flag in count.flags)
    row.update({STAGE_COLUMNS[stage]: n for stage, n in count.counts.items() if stage in STAGE_COLUMNS})
    return row


def _numbered(objects: pd.DataFrame) -> pd.DataFrame:
    """Give objects their number within the photo where they came without, and a source."""
    if objects["object_id"].isna().any():
        objects["object_id"] = (objects.groupby("photo", sort=False).cumcount() + 1).astype("Int64")
    double = objects.duplicated(["photo", "object_id"])
    if double.any():
        first = objects[double].iloc[0]
        raise InputError(
            f"objects, photo {first['photo']!r}: object {first['object_id']} stands twice. Count the photo again."
        )
    objects["source"] = objects["source"].fillna(FOUND)
    if objects["counted"].isna().any():
        objects["counted"] = objects["counted"].fillna(True)
    return objects


def tally(objects: pd.DataFrame) -> pd.DataFrame:
    """Count objects by photo and stage.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Columns of the objects table; those not ``counted`` and debris are left out.

    Returns
    -------
    DataFrame, shape (photos, 4)
        Columns nauplii, umbrella, cysts, shells; photo as index.
    """
    of_photo, photos = pd.factorize(objects["photo"])
    stages = pd.Index(list(STAGE_COLUMNS)).get_indexer(objects["stage"])  # -1: debris
    inside = is_counted(objects).to_numpy() & (stages >= 0)
    shape = (len(photos), len(STAGE_COLUMNS))
    cells = of_photo[inside] * shape[1] + stages[inside]
    table = np.bincount(cells, minlength=shape[0] * shape[1]).reshape(shape)
    return pd.DataFrame(table, index=pd.Index(photos, dtype="str", name="photo"), columns=list(STAGE_COLUMNS.values()))
