"""What is kept of each photo while many are counted: its row at hand, its objects in a file until they are asked for.

So memory does not grow with the objects of ten thousand photos.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import pandas as pd

from qckit.counting.result import Flag, PhotoCount
from qckit.files import write_whole
from qckit.photo.reading import file_bytes
from qckit.tables import column_dtypes, empty_table

__all__ = ["CountedPart", "join_objects", "kept_part", "part_of", "write_part"]

_AT_ONCE = 200
_ARRAY = {"str": object, "Int64": np.int64, "float64": np.float64, "boolean": bool}
_PLAIN = (
    "photo",
    "counts",
    "frame_mm2",
    "um_per_px",
    "sha256",
    "taken",
    "width_px",
    "height_px",
    "seconds",
    "counter_version",
)


@dataclass(frozen=True)
class CountedPart:
    """One photo's count: its row of the counts table, and its objects, here or in a file."""

    row: dict
    n_objects: int
    file: str | None = None
    table: pd.DataFrame | None = None

    def objects(self) -> pd.DataFrame:
        """Columns of the objects table, a row per object found."""
        if self.file is None:
            return self.table
        return _count_of(json.loads(Path(self.file).read_text(encoding="utf-8"))).objects


def part_of(result: PhotoCount) -> CountedPart:
    """Keep a count at hand."""
    return CountedPart(result.to_row(), result.n_objects, table=result.objects)


def write_part(result: PhotoCount, file: str) -> CountedPart:
    """Keep a count in a file, written whole or not at all."""
    part = {k: getattr(result, k) for k in _PLAIN}
    part["flags"] = [list(f) for f in result.flags]
    part["objects"] = {name: column.tolist() for name, column in result.columns.items()}
    write_whole(file, json.dumps(part), lasting=False)  # one that is damaged is counted again
    return CountedPart(result.to_row(), result.n_objects, file=file)


def kept_part(file: str, photo: str) -> CountedPart | None:
    """The count in a file, if it is whole and of a photo whose content is still the same; else None.

    Parameters
    ----------
    file : str
        Of :func:`write_part`.
    photo : str
        The photo's file.

    Returns
    -------
    CountedPart or None
    """
    try:
        part = json.loads(Path(file).read_text(encoding="utf-8"))
        if part["sha256"] != hashlib.sha256(file_bytes(photo)).hexdigest():
            return None
        count = _count_of(part)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return CountedPart(count.to_row(), count.n_objects, file=file)


def _count_of(part: dict) -> PhotoCount:
    kinds = {name: _ARRAY[dtype] for name, dtype in column_dtypes("objects").items() if name != "photo"}
    columns = {name: np.array(part["objects"][name], dtype=kind) for name, kind in kinds.items()}
    if len({column.shape for column in columns.values()}) > 1:
        raise ValueError("columns of unlike length")
    flags = tuple(Flag(*f) for f in part["flags"])
    return PhotoCount(columns=columns, flags=flags, **{k: part[k] for k in _PLAIN})


def join_objects(parts: Iterable[CountedPart]) -> pd.DataFrame:
    """Put the objects of several photos into one table."""
    empty, found = empty_table("objects"), (part for part in parts if part.n_objects)
    tables = []
    while some := [part.objects() for part in islice(found, _AT_ONCE)]:  # ten thousand tables need more than their rows
        tables.append(pd.concat(some, ignore_index=True).astype(empty.dtypes.to_dict()))
    return pd.concat(tables, ignore_index=True) if tables else empty
