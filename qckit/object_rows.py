"""What a row of the objects table says of its object: where it came from, and whether it is part of the counts."""

from __future__ import annotations

__all__ = ["ADDED", "BY_HAND", "FOUND", "REMOVED", "RESTAGED", "SOURCES", "is_counted", "is_removed"]

FOUND, ADDED = "found", "added by hand"
RESTAGED, REMOVED = "stage changed by hand", "removed by hand"
SOURCES = (FOUND, ADDED, RESTAGED, REMOVED)
"""What stands in ``source``; the log keeps these words."""

BY_HAND = SOURCES[1:]
"""Sources of objects on which a person has decided."""


def is_counted(objects):
    """Say of each object whether it is part of the counts; one of which nobody says so is not.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Column counted of the objects table.

    Returns
    -------
    Series of bool
    """
    return objects["counted"].fillna(False).astype(bool)


def is_removed(objects):
    """Say of each object whether a person took it out; the row stays on record.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Column source of the objects table.

    Returns
    -------
    Series of bool
    """
    return objects["source"].isin([REMOVED])
