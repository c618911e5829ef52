"""The same subsample counted again, by the same person or another: what ``agreement`` works repeatability out from."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from qckit.log import SiteLog, engine, query
from qckit.stages import STAGE_COLUMNS
from qckit.words import joined

__all__ = ["AGAIN", "entered_before", "repeat_counts"]

AGAIN = "counted again by eye"
"""Reason kept with a recount that the tally makes."""

COLUMNS = ("sample", "hatch", "stage", "first", "second", "first_by", "second_by", "is_same_person")


def entered_before(earlier: pd.DataFrame, new: pd.DataFrame) -> list[str]:
    """Doubt subsamples of a hatch whose counts all stand in the log already, as a second window or person enters them.

    Parameters
    ----------
    earlier, new : DataFrame
        Rows of samples of one hatch; only its subsamples are looked at.
    """
    earlier = earlier[earlier["kind"] == "subsample"]
    columns = [*STAGE_COLUMNS.values(), "embryos"]
    counts = [
        rows.reindex(columns=columns).astype("Float64").fillna(-1).apply(tuple, axis=1).tolist() if len(rows) else []
        for rows in (earlier, new)
    ]
    if not counts[1] or not set(counts[1]) <= set(counts[0]):
        return []
    same = earlier.loc[[one in counts[1] for one in counts[0]], "sample"]
    return [f"The same counts stand in the log already ({joined(same)}): were these entered twice?"]


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
