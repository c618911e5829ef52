"""A site's own headings: what its sheets call a column is read as the kit's name of it."""

from __future__ import annotations

from dataclasses import replace

from qckit.errors import InputError
from qckit.log.sheets.grids import Grid, fold_heading
from qckit.settings import SETTINGS_FILE, Settings

__all__ = ["name_headings", "site_headings"]

_ROWS = 20  # a heading stands no further down


def site_headings(settings: Settings) -> dict[str, str]:
    """Read the setting ``headings``, such as "Larvae = nauplii, Hours = ": folded heading -> column, empty: left out.

    Raises
    ------
    InputError
        A part has no equals sign, or nothing before it.
    """
    found = {}
    for part in filter(str.strip, settings.site.headings.split(",")):
        theirs, sign, name = part.partition("=")
        if not sign or not theirs.strip():
            raise InputError(
                f"{SETTINGS_FILE}: headings has {part.strip()!r}. Write your heading, an equals sign and the kit's, "
                'such as "Larvae = nauplii, Remarks = notes"; nothing after the sign leaves a column out.'
            )
        found[fold_heading(theirs)] = name.strip()
    return found


def name_headings(grid: Grid, settings: Settings) -> Grid:
    """Put the kit's names into the row of a sheet that has most of the site's own headings; drop columns left out."""
    names = site_headings(settings)
    if not names:
        return grid
    head = [(sum(_is_known(cell, names) for cell in row), -i) for i, (_, row) in enumerate(grid.rows[:_ROWS])]
    most, at = max(head, default=(0, 0))
    if not most:
        return grid
    heading = grid.rows[-at][1]
    dropped = {i for i, cell in enumerate(heading) if _is_known(cell, names) and not names[fold_heading(cell)]}
    named = [names[fold_heading(cell)] if _is_known(cell, names) else cell for cell in heading]
    rows = [(n, named if i == -at else row) for i, (n, row) in enumerate(grid.rows)]
    rows = [
        (n, [None if i >= -at and k in dropped else cell for k, cell in enumerate(row)])
        for i, (n, row) in enumerate(rows)
    ]
    return replace(grid, rows=rows)


def _is_known(cell, names: dict[str, str]) -> bool:
    """Whether a cell is one of the site's own headings."""
    return isinstance(cell, str) and fold_heading(cell) in names
