"""The month's tables: lots, signals to record, baselines to freeze, raw figures."""

from __future__ import annotations

import math

import pandas as pd

from qckit.charts.control_chart import rule_mark
from qckit.charts.lot_chart import freeze_chart
from qckit.charts.rules import RULES
from qckit.charts.series import CHARTED, CONDITIONS
from qckit.tables import check_table, empty_table
from qckit.verdicts.month.shifts import ROOM
from qckit.verdicts.month.signals import CHANGE_RULE
from qckit.verdicts.month.study import MonthStudy
from qckit.verdicts.month.words import is_changed, slope_of, value_words
from qckit.words import estimated, rounded

__all__ = [
    "baseline_rows",
    "baseline_table",
    "between",
    "change_rows",
    "comparison_table",
    "lots_table",
    "raw_table",
    "signal_rows",
    "signal_table",
]


def between(value, low, high, decimals) -> str:
    """Write an estimate with its interval in one cell."""
    if not math.isfinite(value):
        return "not known"
    return estimated(value, low, high, most=decimals)


def comparison_table(study: MonthStudy) -> pd.DataFrame:
    """The month beside the month before and the same month a year before, for reading."""
    rows = [
        {
            "month": f"{r['month']} ({r['period']})" if not r["period"].startswith("this ") else r["month"],
            "lot": r["lot"],
            "n_hatches": r["n_hatches"],
            "hatch_pct": between(r["hatch_pct"], r["hatch_pct_low"], r["hatch_pct_high"], 1),
            "nauplii_per_g": rounded(r["nauplii_per_g"]),
            "umbrella_pct": r["umbrella_pct"],
            "shells_per_1000": r["shells_per_1000"],
            "cysts_g": r["cysts_g"],
        }
        for r in study.comparison.to_dict("records")
    ]
    return pd.DataFrame(rows)


def lots_table(study: MonthStudy) -> pd.DataFrame:
    """One row per lot of the month: figures, state, dose, cost."""
    rows = []
    for m in study.lots.values():
        rows.append(
            {
                "lot": m.lot,
                "n_hatches": m.n_hatches,
                "state": _state(study, m),
                "hatch_pct": between(100 * m.hatch_pct.value, 100 * m.hatch_pct.low, 100 * m.hatch_pct.high, 1),
                "nauplii_per_g": rounded(m.efficiency.value),
                "slope_per_30_days": slope_of(study, m) or math.nan,  # none where the level stays
                "below_minimum_pct": m.capability.share_pct,
                "dose_g": m.dose.grams_weighed if m.dose else math.nan,
                "cost_per_million": m.cost_per_million,
                "cysts_g": m.cysts_g,
                "cost": m.cost,
                "currency": m.currency,
            }
        )
    return pd.DataFrame(rows).drop(columns=[] if study.settings.protocol.is_fed else "dose_g")


def _state(study, m) -> str:
    """In a word, how a lot's month was."""
    if is_changed(study, m):
        return "changed"
    if m.is_in_control is None:
        return "not judged"
    return "in control" if m.is_in_control else "signals"


def signal_table(study: MonthStudy) -> pd.DataFrame:
    """Marks and signals of the month for reading, one row per hatch, what is to be explained first."""
    columns = ["day", "lot", "hatch", "what", "state", "by", "note"]
    table = study.signals[study.signals["rule"] != CHANGE_RULE]
    if not len(table):
        return pd.DataFrame(columns=columns)
    lot_of = dict(zip(study.series["hatch"], study.series["lot"], strict=True))
    rows = []
    for (at, hatch), part in table.groupby(["at", "hatch"], sort=True):
        lines = []
        for name, of_chart in part.groupby("chart", sort=False):
            q = CHARTED[name]
            marks = ", ".join(dict.fromkeys(rule_mark(r) for r in of_chart["rule"] if r in RULES))
            value = f"{q.label} {value_words(q, of_chart['value'].iloc[0])}"
            lines.append(value + (f" [{marks}]" if marks else ""))
        notes = [n for n in part["note"].fillna("") if n]
        states = set(part["state"])
        state = next(s for s in ("open", "explained", "mark") if s in states)
        if state == "mark" and part["in_shift"].any():
            state = "in the change"
        by = ", ".join(dict.fromkeys(b for b in part["by"].fillna("") if b))
        note = "; ".join(dict.fromkeys(notes))
        rows.append((f"{at:%Y-%m-%d}", lot_of.get(hatch, ""), hatch, "; ".join(lines), state, by, note))
    out = pd.DataFrame(rows, columns=columns)
    order = out["state"].map({"open": 0, "explained": 1, "in the change": 2}).fillna(3)
    return out.loc[order.sort_values(kind="stable").index].reset_index(drop=True)


def signal_rows(study: MonthStudy, *, found_at: str) -> pd.DataFrame:
    """Signals of the month as rows of the log's signals table, to be added with ``log.add("signals", rows, by=...)``.

    Marks are none: a chart makes them by chance.

    Parameters
    ----------
    found_at : str
        ISO 8601 with offset.
    """
    table = study.signals[study.signals["state"] != "mark"].drop_duplicates("signal")
    if not len(table):
        return empty_table("signals")
    rows = table[["signal", "chart", "lot", "hatch", "at", "rule", "value", "state"]]
    rows = rows.assign(at=[t.isoformat() for t in rows["at"]], found_at=found_at)
    return check_table(rows, "signals")


def change_rows(study: MonthStudy, *, found_by: str, found_at: str) -> pd.DataFrame:
    """Changes that this month's review found first, as rows of the log's changes table."""
    rows = [
        {
            "change": s.name,
            "found_at": found_at,
            "found_by": found_by,
            "month": study.month,
            "quantity": s.quantity,
            "factor": s.factor or ROOM,
            "level": s.level,
            **{k: getattr(s, k).isoformat() for k in ("first", "first_low", "first_high")},
            **{k: getattr(s, k) for k in ("effect", "effect_low", "effect_high")},
            "state": "open",
            "note": "",
        }
        for s in study.shifts
        if s.counts and not s.found_in
    ]
    return pd.DataFrame(rows)


def baseline_rows(study: MonthStudy, *, set_by: str, set_at: str) -> pd.DataFrame:
    """Every proposed baseline of a lot's chart as a row of the log's baselines table.

    Limits of the water are not frozen: they rest on the days before each month.
    """
    charts = [c for c in study.charts.values() if c.limits is not None and not c.is_frozen]
    if not charts:
        return empty_table("baselines")
    return pd.concat([freeze_chart(c, set_by=set_by, set_at=set_at) for c in charts], ignore_index=True)


def baseline_table(study: MonthStudy) -> pd.DataFrame:
    """What each chart's limits rest on."""
    rows = []
    for chart in (*study.charts.values(), *study.conditions.values()):
        limits = chart.limits
        rows.append(
            {
                "chart": chart.charted.label,
                "lot": chart.lot or "all",
                "limits": chart.baseline_words,
                "n": limits.n_points if limits else 0,
                "width": limits.width if limits else math.nan,
                "slope": "sloped" if limits is not None and limits.slope_per_day else "level",
                "set_aside": "; ".join(f"{p['label']}: {p['reason']}" for p in chart.set_aside[:5])
                + (f"; and {len(chart.set_aside) - 5} more" if len(chart.set_aside) > 5 else ""),
            }
        )
    return pd.DataFrame(rows)


def raw_table(study: MonthStudy) -> pd.DataFrame:
    """The hatches of the month with what was counted and measured."""
    columns = [
        "hatch",
        "lot",
        "cone",
        "operator",
        "day",
        "hours",
        "n_subsamples",
        "nauplii",
        "umbrella",
        "unhatched",
        "shells",
        "hatch_pct",
        "hatching_efficiency_per_g",
        *CONDITIONS,
        "counted_by",
        "off_standard",
    ]
    rows = study.series[columns].reset_index(drop=True)
    per_g = rows["hatching_efficiency_per_g"]
    return rows.assign(hatching_efficiency_per_g=[rounded(v) for v in per_g.astype(float)])
