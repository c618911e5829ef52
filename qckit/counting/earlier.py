"""Counts that lie in the folder for the results already: other photos' rows stay in its tables."""

from __future__ import annotations

from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pandas as pd

from qckit.counting.result import PHOTO_COLUMNS
from qckit.errors import InputError, one_line
from qckit.files import csv_text, neutralise, write_csv
from qckit.tables import table_columns

__all__ = ["Earlier", "read_earlier", "write_tables"]

COUNTS_FILE, OBJECTS_FILE = "counts.csv", "objects.csv"


@dataclass(frozen=True)
class Earlier:
    """Tables of an earlier count as they are written, every cell a text."""

    counts: pd.DataFrame
    objects: pd.DataFrame


def read_earlier(folder: Path) -> Earlier | None:
    """Read the tables of an earlier count; None where there are none.

    Parameters
    ----------
    folder : path

    Returns
    -------
    Earlier or None

    Raises
    ------
    InputError
        A table there is none of this version's: it would be lost.
    """
    columns = {COUNTS_FILE: list(PHOTO_COLUMNS), OBJECTS_FILE: table_columns("objects")}
    if not any((folder / name).exists() for name in columns):
        return None
    return Earlier(*(_read(folder / name, named) for name, named in columns.items()))


def _read(path: Path, columns: list[str]) -> pd.DataFrame:
    """One table; empty where a count was stopped before it was written."""
    try:
        frame = _texts(path)
    except FileNotFoundError:
        return pd.DataFrame(columns=columns, dtype=str)
    except (OSError, ValueError) as error:
        raise _not_ours(path, f"cannot be read ({one_line(error)})") from error
    if list(frame.columns) != columns:
        raise _not_ours(path, "has other columns than this version of qckit count writes")
    return frame


def _texts(source) -> pd.DataFrame:
    return pd.read_csv(source, dtype=str, keep_default_na=False, encoding="utf-8")


def _not_ours(path: Path, why: str) -> InputError:
    return InputError(
        f"{path}: is there already and {why}, so what it holds would be lost. Give another --out, or move it away."
    )


def write_tables(
    folder: Path, counts: pd.DataFrame, objects: pd.DataFrame, earlier: Earlier | None
) -> tuple[tuple, tuple]:
    """Write counts.csv and objects.csv: first what an earlier count holds of other photos, then this count.

    Parameters
    ----------
    folder : path
    counts, objects : DataFrame
        This count.
    earlier : Earlier or None

    Returns
    -------
    kept, replaced : tuple of str
        The other photos, and those of the same name but with other content, as the tables name them.

    Notes
    -----
    A photo of the same name or of the same content is the same photo: its newest count stays.
    """
    # objects first: stopped in between, no photo is listed whose objects are not there
    tables = {OBJECTS_FILE: _safe(objects), COUNTS_FILE: _safe(counts)}
    kept = replaced = ()
    if earlier is not None:
        old, same_name = earlier.counts, earlier.counts["photo"].isin(tables[COUNTS_FILE]["photo"])
        same_content = old["sha256"].isin(counts["sha256"])
        others, replaced = old[~same_name & ~same_content], tuple(old["photo"][same_name & ~same_content])
        kept = tuple(others["photo"])
        if kept:
            before = {COUNTS_FILE: others, OBJECTS_FILE: earlier.objects[earlier.objects["photo"].isin(kept)]}
            tables = {name: pd.concat([before[name], _as_texts(table)]) for name, table in tables.items()}
    for name, table in tables.items():
        write_csv(folder / name, table)
    return kept, replaced


def _safe(table: pd.DataFrame) -> pd.DataFrame:
    columns = [c for c in ("photo", "why") if c in table]
    return table.assign(**{c: table[c].map(neutralise) for c in columns})


def _as_texts(table: pd.DataFrame) -> pd.DataFrame:
    return _texts(StringIO(csv_text(table)))
