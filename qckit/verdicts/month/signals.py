"""Which marks of a month's charts are signals: single hatches that stand out with all of the page counted.

A *mark* is what one chart's own limits and rules make of a hatch; each chart says how often chance makes one. A
*signal* is to be explained; over the whole page chance makes one in few months
(:mod:`qckit.verdicts.month.false_alarms`). States: ``mark``, ``open``, ``explained``.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.charts.series import CHARTED
from qckit.verdicts.month.false_alarms import SHARES, kept_by_fdr
from qckit.verdicts.month.set_aside import rules_only

__all__ = ["CHANGE_RULE", "COLUMNS", "belongs", "open_signals", "signal_table"]

CHANGE_RULE = "change"
"""Rule name of a change of a whole group; of no chart's rule."""
_ALONE = "stands_out"
COLUMNS = [
    "signal",
    "at",
    "chart",
    "lot",
    "hatch",
    "rule",
    "test",
    "sees",
    "side",
    "value",
    "in_shift",
    "state",
    "by",
    "note",
]
"""Columns of :func:`signal_table`."""
_PLAIN_TAIL = 12.0  # degrees of freedom of the tails where a chart's own are not known


def signal_table(charts, conditions, shifts, signals, *, alone, first, waters, lone=frozenset()) -> pd.DataFrame:
    """Every mark and signal of the month: what, where, which rule, and its state.

    Parameters
    ----------
    charts, conditions : dict
        (lot, quantity) -> LotChart; quantity -> LotChart.
    shifts : list of Shift
    signals : DataFrame or None
        The log's table, for the states.
    alone : set of str
        Hatches whose percentage stands out, from :func:`qckit.verdicts.month.single_hatches.hatches_alone`.
    first : Timestamp
    waters : dict
        Quantity -> WaterDays or None.
    lone : set of (str, str)
        (quantity, hatch) of readings far off that stand alone: no signals unless the hatch stands out.
    """
    every = [*charts.items(), *((("", name), chart) for name, chart in conditions.items())]
    rows = [_mark(s, name, lot) for (lot, name), chart in every for s in chart.signals.to_dict("records")]
    rows += [_of_shift(shift) for shift in shifts if shift.counts]
    table = pd.DataFrame(rows, columns=COLUMNS)
    chosen = _chosen(every, first, waters, {(q, hatch) for q, hatch in lone if hatch not in alone})
    chosen |= {("hatch_pct", hatch) for hatch in alone}
    shifted = [s for s in shifts if s.counts]
    table = _with_alone(table, chosen, every)
    table["in_shift"] = [
        any(belongs(hatch, chart, s) for s in shifted)
        for hatch, chart in zip(table["hatch"], table["chart"], strict=True)
    ]
    is_change = table["rule"] == CHANGE_RULE
    stands = np.array([pair in chosen for pair in zip(table["chart"], table["hatch"], strict=True)], dtype=bool)
    table.loc[~is_change, "state"] = np.where(stands & ~table["in_shift"], "open", "mark")[~is_change]
    table = _with_log(table, rules_only(signals))
    return table.sort_values(["at", "chart", "rule"], kind="stable").reset_index(drop=True)


def belongs(hatch, chart, shift) -> bool:
    """Whether a mark is part of a change that is told: on its own chart, on one that hangs together, on its water."""
    if any(chart == c["condition"] and hatch in c["labels"] for c in shift.conditions):
        return True
    if shift.quantity in _OF_HATCHES:
        return chart in _OF_HATCHES and hatch in (*shift.labels, *shift.around)
    return chart == shift.quantity and hatch in (*shift.labels, *shift.around)


_OF_HATCHES = tuple(name for name, q in CHARTED.items() if q.by_lot)


def _mark(s, name, lot):
    return {
        "signal": f"{name}|{s['label']}|{s['rule']}",
        "at": s["at"],
        "chart": name,
        "lot": lot,
        "hatch": s["label"],
        "rule": s["rule"],
        "test": s["test"],
        "sees": s["sees"],
        "side": s["side"],
        "value": s["value"],
        "in_shift": False,
        "state": "mark",
        "by": "",
        "note": "",
    }


def _of_shift(shift):
    return {
        "signal": shift.name,
        "at": shift.first,
        "chart": shift.quantity,
        "lot": shift.level if shift.factor == "lot" else "",
        "hatch": shift.labels[0],
        "rule": CHANGE_RULE,
        "test": "",
        "sees": f"a change of {shift.where}",
        "side": "below" if shift.effect < 0 else "above",
        "value": float("nan"),
        "in_shift": True,
        "state": "open" if shift.state == "open" else "explained",
        "by": shift.by if shift.state != "open" else "",
        "note": shift.note,
    }


def _chosen(every, first, waters, lone) -> set:
    """(chart, hatch) that stand out on another chart than the percentage's, all others of their part counted."""
    from scipy.stats import t

    parts = {"other charts": [], "water readings": []}
    for (_, name), chart in every:
        if chart.limits is None or name == "hatch_pct":
            continue
        part = chart.of_period(first)
        part = part[(part["phase"] != "set aside") & part["z"].notna()]
        part = part[~part["label"].isin([hatch for chart_of, hatch in lone if chart_of == name])]
        water = waters.get(name)
        tail = water.tail_df if water is not None else _PLAIN_TAIL
        z = part["z"].abs() * 3 / max(3.0, chart.limits.width)
        family = "other charts" if chart.charted.by_lot else "water readings"
        parts[family] += [(name, h, 2 * float(t.sf(v, tail))) for h, v in zip(part["label"], z, strict=True)]
    chosen = set()
    for family, looks in parts.items():
        kept = kept_by_fdr([p for _, _, p in looks], SHARES[family])
        chosen |= {(name, hatch) for (name, hatch, _), keep in zip(looks, kept, strict=True) if keep}
    return chosen


def _with_alone(table, chosen, every):
    """Add a row for a hatch that stands out although no rule of its chart marked it."""
    have = set(zip(table["chart"], table["hatch"], strict=True))
    rows = []
    for (lot, name), chart in every:
        for row in chart.frame[chart.frame["label"].isin([h for c, h in chosen - have if c == name])].itertuples():
            side = "below" if row.value < row.centre else "above"
            s = {"label": row.label, "at": row.at, "rule": _ALONE, "test": "", "side": side, "value": row.value}
            rows.append(_mark({**s, "sees": "far from what its lot, cone and day make expected"}, name, lot))
    if not rows:
        return table
    added = pd.DataFrame(rows, columns=COLUMNS)
    return pd.concat([table, added], ignore_index=True) if len(table) else added


def _with_log(table, stored):
    """States that people gave."""
    if stored is None or not len(stored) or not len(table):
        return table
    known = stored.drop_duplicates("signal", keep="last").set_index("signal")
    done = known[known["state"] == "explained"]
    hatches = set(done["hatch"].dropna())
    # a hatch explained once is explained on every chart of it
    mine = table["signal"].isin(done.index) | (table["hatch"].isin(hatches) & (table["rule"] != CHANGE_RULE))
    by_hatch = done.drop_duplicates("hatch", keep="last").set_index("hatch")
    table.loc[mine & (table["state"] != "mark"), "state"] = "explained"
    for column in ("by", "note"):
        of_signal, of_hatch = (
            table[key].map(rows[column].astype(object)).astype(object)
            for key, rows in (("signal", done), ("hatch", by_hatch))
        )
        text = of_signal.where(of_signal.notna(), of_hatch)
        table.loc[mine, column] = text.where(text.notna(), "")[mine]
    return table


def open_signals(table) -> pd.DataFrame:
    """Signals that are still to be explained, changes of groups left out."""
    return table[(table["state"] == "open") & (table["rule"] != CHANGE_RULE)]
