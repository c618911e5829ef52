"""Points that a person has set aside from a baseline, as they stand in the log's signals table.

Such a row has the rule ``set aside``, the reason in ``note`` and the person in ``by``; its state is ``explained`` while
it holds and ``open`` once it was taken back. Nothing is deleted: the log keeps both. Taken back, the percentage of a
hatch is part of what is usual even where the review finds that it stands out.
"""

from __future__ import annotations

import pandas as pd

from qckit.tables import check_table

__all__ = ["RULE", "aside_row", "aside_table", "belonging", "points_aside", "rules_only"]

RULE = "set aside"
"""Rule name of such a row; no rule of a chart is called so."""


def rules_only(signals):
    """Return the signals that rules gave, without points set aside; None stays None."""
    return signals if signals is None or not len(signals) else signals[signals["rule"] != RULE]


def aside_table(signals) -> pd.DataFrame:
    """List the points set aside now.

    Returns
    -------
    DataFrame
        chart, lot, hatch, reason, by, day; the order of the log.
    """
    columns = ["chart", "lot", "hatch", "reason", "by", "day"]
    if signals is None or not len(signals):
        return pd.DataFrame(columns=columns)
    explained = signals[(signals["rule"] == RULE) & (signals["state"] == "explained")]
    table = explained[["chart", "lot", "hatch", "note", "by"]].set_axis(columns[:5], axis=1)
    return table.assign(lot=table["lot"].fillna(""), day=explained["found_at"].str[:10]).reset_index(drop=True)


def points_aside(signals, chart: str) -> dict:
    """Return the points of one chart that are set aside: hatch -> reason, by whom and when."""
    table = aside_table(signals)
    of_chart = table[table["chart"] == chart]
    return {r.hatch: f"{r.reason} ({r.by}, {r.day})" for r in of_chart.itertuples()}


def belonging(signals) -> set:
    """Return the hatches of which a person said that their percentage counts."""
    if signals is None or not len(signals):
        return set()
    rows = signals[(signals["rule"] == RULE) & (signals["state"] == "open") & (signals["chart"] == "hatch_pct")]
    return set(rows["hatch"])


def aside_row(*, chart, hatch, lot, at, value, by, reason, found_at) -> pd.DataFrame:
    """Make the row that sets a point aside, for ``log.add("signals", row, by=...)``.

    Parameters
    ----------
    chart, hatch, lot : str
    at, found_at : str
        Time of the hatch and of the decision, ISO 8601 with offset.
    value : float
    by, reason : str

    Returns
    -------
    DataFrame, shape (1, 11)
    """
    row = {
        "signal": f"{chart}|{hatch}|{RULE}",
        "chart": chart,
        "lot": lot,
        "hatch": hatch,
        "at": at,
        "rule": RULE,
        "value": value,
        "state": "explained",
        "found_at": found_at,
        "by": by,
        "note": reason,
    }
    return check_table(pd.DataFrame([row]), "signals")
