"""Tables of counts by eye, read as field sheets are: CSV with commas or semicolons, or Excel."""

from __future__ import annotations

from pathlib import Path

from qckit.errors import InputError
from qckit.stages import FULL_CYST_STAGES, STAGE_COLUMNS

__all__ = ["number_column", "read_study", "read_table"]

_NAMES = ("photo", "counter", "stage")


def read_table(path):
    """Read a table whose first row that is not empty is its heading.

    Parameters
    ----------
    path : path
        CSV (commas, semicolons or tabs) or Excel; in the first sheet.

    Returns
    -------
    DataFrame
        Every cell a text without blanks around it; the index is the row's number in the file less 2. Where semicolons
        part the cells, a decimal comma reads as a point.

    Raises
    ------
    InputError
        No such file, no table, a heading that stands twice, or a row that is longer than the heading.
    """
    import pandas as pd

    from qckit.log.sheets.grids import file_content, is_blank, read_grids

    path = Path(path)
    grids = read_grids(path, file_content(path))
    rows = [(n, row) for n, row in (grids[0].rows if grids else []) if not all(map(is_blank, row))]
    if not rows:
        raise InputError(f"{path}: holds no table. Give a CSV file with a heading row.")
    heads, *rows = [(n, ["" if is_blank(c) else str(c).strip() for c in row]) for n, row in rows]
    width = len(heads[1])
    for n, row in rows:
        if any(row[width:]):
            raise InputError(f"{path}, row {n}: has more cells than the heading row. Correct the row.")
    heads = [{"cyst": "cysts", "shell": "shells"}.get(head, head) for head in heads[1]]
    twice = [head for head in heads if head and heads.count(head) > 1]
    if twice:
        raise InputError(f"{path}: the column {twice[0]} stands twice. Leave one of them out.")
    cells = [(row + [""] * width)[:width] for _, row in rows]
    frame = pd.DataFrame(cells, index=[n - 2 for n, _ in rows], columns=heads, dtype=str)
    frame = frame[[head for head in heads if head]]
    if grids[0].semicolons:
        numbers = [c for c in frame.columns if c not in _NAMES]
        frame = frame.assign(**{c: frame[c].str.replace(r"^(-?\d+),(\d+)$", r"\1.\2", regex=True) for c in numbers})
    return frame


def number_column(frame, column: str, path, *, may_be_empty: bool = False):
    """Return a column of :func:`read_table` as numbers; the first cell that is none is said."""
    import pandas as pd

    numbers = pd.to_numeric(frame[column], errors="coerce")
    bad = frame[column][numbers.isna() & ~((frame[column] == "") & may_be_empty)]
    if len(bad):
        raise InputError(
            f"{path}, row {bad.index[0] + 2}: {column} is {bad.iloc[0]!r} and must be a number. Correct the cell."
        )
    return numbers.astype(float)


def read_study(path, value: str):
    """Read a study of people who count the same photos.

    Parameters
    ----------
    path : path
        Table with photo, counter and the column to judge, a row per count.
    value : str
        That column. hatch_pct is worked out from nauplii, umbrella and cysts where the file does not hold it.

    Returns
    -------
    DataFrame
        As in the file, the column to judge as numbers.

    Raises
    ------
    InputError
        As :func:`read_table`; a cell is no number.

    Examples
    --------
    >>> counts = pd.DataFrame({"photo": ["a", "a"], "counter": ["op1", "op2"], "nauplii": [80, 82]})
    >>> counts.to_csv("study.csv", index=False)
    >>> review.read_study("study.csv", "nauplii")["counter"].tolist()
    ['op1', 'op2']
    """
    from qckit.agreement.certificate import hatch_pct_of

    frame = read_table(path)
    counted = [STAGE_COLUMNS[s] for s in FULL_CYST_STAGES]
    if value == "hatch_pct" and value not in frame and set(counted) <= set(frame.columns):
        numbers = {c: number_column(frame, c, path, may_be_empty=True) for c in counted}
        frame = frame.assign(**numbers)
        frame[value] = hatch_pct_of(frame)
    elif value in frame:
        frame[value] = number_column(frame, value, path, may_be_empty=True)
    return frame.replace({name: {"": None} for name in _NAMES if name in frame}).reset_index(drop=True)
