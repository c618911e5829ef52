"""Rows of sums in a day sheet: without a label, one reads like a subsample of the cone above it."""

from __future__ import annotations

__all__ = ["TOTAL", "Totals"]

TOTAL = (
    "nauplii",
    "",
    "is with every other count the sum of the rows above",
    "Delete the row if it is a total; write the cone in it if it is a count.",
)
"""Column, value, rule and remedy of the problem."""

_LEAST = 10  # of fewer animals in all, a count may well be the sum of others


class Totals:
    """Sums of the counts so far: in the sheet, since the date and since the cone were last written.

    Parameters
    ----------
    columns : list of str
        Columns of counts that the sheet has.
    cones : tuple of str
        Those of the site: another word in place of a cone may be a label.
    """

    def __init__(self, columns: list[str], cones: tuple[str, ...] = ()):
        self._columns, self._cones = columns, cones
        self._since: dict[str, list[tuple]] = {"sheet": [], "date": [], "cone": []}

    def add(self, cells: dict) -> bool:
        """Add a row; return whether it is the sum of two or more rows above it, in two columns or more.

        A row in which a date, a cone of the site, grams, a lot or a reading is written is taken as a count.
        """
        counts = tuple(int(cells.get(c) or 0) for c in self._columns)
        label = cells.get("cone")
        may_be = {*self._columns, "notes", *(("cone",) if label and label not in self._cones else ())}
        is_bare = all(cells.get(name) is None for name in cells if name not in may_be)
        if is_bare and sum(counts) >= _LEAST and sum(n > 0 for n in counts) > 1:
            for rows in self._since.values():
                if len(rows) > 1 and counts == tuple(map(sum, zip(*rows, strict=True))):
                    return True
        for name in ("date", "cone"):
            if cells.get(name) is not None:
                self._since[name] = []
        if not any(counts):
            return False
        for rows in self._since.values():
            rows.append(counts)
        return False
