"""Counts that lie in the folder for the results already: other photos' rows stay in its tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import pandas as pd

from qckit.counting.result import PHOTO_COLUMNS
from qckit.errors import InputError, one_line
from qckit.files import csv_text, neutralise, whole
from qckit.tables import table_columns

__all__ = ["Earlier", "read_earlier", "write_tables"]

COUNTS_FILE, OBJECTS_FILE = "counts.csv", "objects.csv"
ROWS_AT_ONCE = 20_000
_OTHER_COLUMNS = "has other columns than this version of qckit count writes"


@dataclass(frozen=True)
class Earlier:
    """Tables of an earlier count as they are written, every cell a text; the objects stay in their file."""

    counts: pd.DataFrame
    folder: Path

    def objects_of(self, photos) -> Iterator[pd.DataFrame]:
        """The rows of some photos' objects, in pieces."""
        path = self.folder / OBJECTS_FILE
        if path.exists():
            for piece in _pieces(path, table_columns("objects")):
                yield piece[piece["photo"].isin(photos)]


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
    if (folder / OBJECTS_FILE).exists():
        for _ in _pieces(folder / OBJECTS_FILE, columns[OBJECTS_FILE]):
            pass  # what cannot be read is found before anything is counted
    return Earlier(_read(folder / COUNTS_FILE, columns[COUNTS_FILE]), folder)


def _read(path: Path, columns: list[str]) -> pd.DataFrame:
    """One table; empty where a count was stopped before it was written."""
    try:
        frame = _texts(path)
    except FileNotFoundError:
        return pd.DataFrame(columns=columns, dtype=str)
    except (OSError, ValueError) as error:
        raise _not_ours(path, f"cannot be read ({one_line(error)})") from error
    if list(frame.columns) != columns:
        raise _not_ours(path, _OTHER_COLUMNS)
    return frame


def _texts(source, **options):
    return pd.read_csv(source, dtype=str, keep_default_na=False, encoding="utf-8", **options)


def _pieces(path: Path, columns: list[str]) -> Iterator[pd.DataFrame]:
    """A long table in pieces, so that it need not fit into the memory."""
    try:
        with _texts(path, chunksize=ROWS_AT_ONCE) as reader:
            for piece in reader:
                if list(piece.columns) != columns:
                    raise _not_ours(path, _OTHER_COLUMNS)
                yield piece
    except (OSError, ValueError) as error:
        raise _not_ours(path, f"cannot be read ({one_line(error)})") from error


def _not_ours(path: Path, why: str) -> InputError:
    return InputError(
        f"{path}: is there already and {why}, so what it holds would be lost. Give another --out, or move it away."
    )


def write_tables(
    folder: Path, counts: pd.DataFrame, objects: Iterable[pd.DataFrame], earlier: Earlier | None
) -> tuple[tuple, tuple]:
    """Write counts.csv and objects.csv: first what an earlier count holds of other photos, then this count.

    Parameters
    ----------
    folder : path
    counts : DataFrame
        This count.
    objects : iterable of DataFrame
        Its objects, some photos at a time.
    earlier : Earlier or None

    Returns
    -------
    kept, replaced : tuple of str
        The other photos, and those of the same name but with other content, as the tables name them.

    Notes
    -----
    A photo of the same name or of the same content is the same photo: its newest count stays.
    """
    mine, before, kept, replaced = _safe(counts), [], (), ()
    if earlier is not None:
        old, same_name = earlier.counts, earlier.counts["photo"].isin(mine["photo"])
        same_content = old["sha256"].isin(counts["sha256"])
        others, replaced = old[~same_name & ~same_content], tuple(old["photo"][same_name & ~same_content])
        kept = tuple(others["photo"])
        before = [others] if kept else []
    # objects first: stopped in between, no photo is listed whose objects are not there
    first = earlier.objects_of(set(kept)) if kept else ()
    _write_pieces(folder / OBJECTS_FILE, table_columns("objects"), chain(first, map(_safe, objects)))
    _write_pieces(folder / COUNTS_FILE, list(PHOTO_COLUMNS), [*before, mine])
    return kept, replaced


def _write_pieces(path: Path, columns: list[str], pieces: Iterable[pd.DataFrame]) -> None:
    """Write a table piece by piece, in one step."""
    with whole(path) as passing, passing.open("w", encoding="utf-8", newline="") as file:
        file.write(csv_text(pd.DataFrame(columns=columns)))
        for piece in pieces:
            file.write(csv_text(piece, header=False))


def _safe(table: pd.DataFrame) -> pd.DataFrame:
    columns = [c for c in ("photo", "why") if c in table]
    return table.assign(**{c: table[c].map(neutralise) for c in columns})
