"""The same subsample counted again, by the same person or another: what ``agreement`` works repeatability out from."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from qckit.log import SiteLog, engine, query
from qckit.stages import STAGE_COLUMNS

__all__ = ["AGAIN", "repeat_counts"]

AGAIN = "counted again by eye"
"""Reason kept with a recount that the tally makes."""

COLUMNS = ("sample", "hatch", "stage", "first", "second", "first_by", "second_by", "is_same_person")


def repeat_counts(log: SiteLog, hatch: str | None = None) -> pd.DataFrame:
    """Pair each person's count of a subsample with the next one of the same subsample.

    Parameters
    ----------
    log : SiteLog
    hatch : str, optional
        Of one hatch only.

    Returns
    -------
    DataFrame, shape (n, 8)
        sample, hatch, stage (count column), first, second, first_by, second_by, is_same_person; a row for each stage
        counted both times. ``agreement.repeatability(rows["first"], rows["second"])`` takes rows of one stage.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(day.repeat_counts(records).columns.tolist())
    ['sample', 'hatch', 'stage', 'first', 'second', 'first_by', 'second_by', 'is_same_person']
    """
    equals = {"hatch": hatch, "counted_by": "person"}
    with engine.reading(log.engine) as connection:
        counts = query.fetch(connection, "samples", equals, revisions="all", order=("sample", "revision"))
    rows = []
    for sample, group in counts.groupby("sample", sort=False):
        given = group.to_dict("records")
        for first, second in pairwise(given):
            for column in (*STAGE_COLUMNS.values(), "embryos"):
                if pd.isna(first[column]) or pd.isna(second[column]):
                    continue
                who = [None if pd.isna(row["counter"]) else row["counter"] for row in (first, second)]
                pair = (int(first[column]), int(second[column]))
                rows.append((sample, first["hatch"], column, *pair, *who, who[0] is not None and who[0] == who[1]))
    return pd.DataFrame(rows, columns=list(COLUMNS))
