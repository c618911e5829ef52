"""Who counted a sample, where its row does not say so: by what else stands in the row, and by who works at the site."""

from __future__ import annotations

import pandas as pd

from qckit.settings import Settings
from qckit.stages import STAGE_COLUMNS
from qckit.words import first_few, noun

__all__ = ["fill_who_counted"]

_ROWS_NAMED = 3


def fill_who_counted(frame: pd.DataFrame, rows: list[str], settings: Settings) -> tuple[pd.DataFrame, list[str]]:
    """Fill empty cells of ``counted_by`` and ``counter`` in rows of samples where they can mean one thing only.

    A row with counts and no photos was counted by a person, one with photos and no counts is to be counted by photo;
    with both nobody knows, and the cell stays empty. A person is the only one who works at the site.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        Rows of samples as read.
    rows : list of str, shape (n,)
        Their names.
    settings : Settings

    Returns
    -------
    frame : DataFrame
        A copy.
    notes : list of str
        What was filled in, and where.
    """
    frame, notes = frame.copy(), []
    for name in ("counted_by", "counter"):
        if name not in frame:
            frame[name] = pd.Series([None] * len(frame), index=frame.index, dtype="str")
    empty = frame["counted_by"].isna()
    counted, pictured = _any(frame, (*STAGE_COLUMNS.values(), "embryos")), _any(frame, ("photos",))
    is_named = frame["counter"].notna()
    for word, where in (("person", empty & ~pictured & (counted | is_named)), ("photo", empty & pictured & ~counted)):
        frame.loc[where, "counted_by"] = word
        notes += _note(f"counted_by is empty and was taken for {word}", where, rows)
    person, counter = frame["counted_by"].str.casefold() == "person", settings.protocol.only_person
    where = person & counted & frame["counter"].isna()
    if counter:
        frame.loc[where, "counter"] = counter
        notes += _note(
            f"counter is empty and was taken for {counter}, the only one in people of qckit.toml", where, rows
        )
    return frame, notes


def _any(frame: pd.DataFrame, columns) -> pd.Series:
    return frame.reindex(columns=list(columns)).notna().any(axis=1)


def _note(text: str, where: pd.Series, rows: list[str]) -> list[str]:
    names = [name.removeprefix("row ") for name, is_so in zip(rows, where, strict=True) if is_so]
    return [f"{noun(len(names), 'row')} {first_few(names, _ROWS_NAMED)}: {text}"] if names else []
