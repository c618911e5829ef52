"""The month's tables: lots, signals to record, baselines to freeze, raw figures."""

from __future__ import annotations

import math

import pandas as pd

from qckit.charts.lot_chart import freeze_chart
from qckit.charts.series import CHARTED, CONDITIONS
from qckit.verdicts.month_study import MonthStudy

__all__ = ["baseline_rows", "baseline_table", "lots_table", "raw_table", "signal_rows", "signal_table"]


def lots_table(study: MonthStudy) -> pd.DataFrame:
    """One row per lot of the month: figures, state, dose, cost."""
    rows = []
    for m in study.lots.values():
        slope = m.chart.drift.slope_per_30d if m.chart.drift is not None and m.chart.drift.shape == "slope" else 0.0
        rows.append({
            "lot": m.lot, "n_hatches": m.n_hatches,
            "state": "no limits yet" if m.is_in_control is None else ("in control" if m.is_in_control else "signals"),
            "hatch_pct": 100 * m.hatch_pct.value, "hatch_pct_low": 100 * m.hatch_pct.low,
            "hatch_pct_high": 100 * m.hatch_pct.high, "nauplii_per_g": m.efficiency.value,
            "slope_per_30_days": slope, "below_minimum_pct": m.capability.share_pct,
            "dose_g": m.dose.grams if m.dose else math.nan, "cost_per_million": m.cost_per_million,
        })  # fmt: skip
    return pd.DataFrame(rows)


def signal_table(study: MonthStudy) -> pd.DataFrame:
    """Signals of the month for reading, one row per hatch and quantity."""
    table = study.signals
    if not len(table):
        return pd.DataFrame(columns=["day", "chart", "lot", "hatch", "value", "rules", "state", "by", "note"])
    grouped = table.groupby(["at", "chart", "hatch"], sort=True)
    out = grouped.agg(
        lot=("lot", "first"),
        value=("value", "first"),
        rules=("sees", lambda v: "; ".join(dict.fromkeys(v))),
        state=("state", lambda v: "open" if (v == "open").any() else "explained"),
        by=("by", "first"),
        note=("note", "first"),
        moved=("in_shift", "first"),
    ).reset_index()
    out["day"] = out["at"].dt.strftime("%Y-%m-%d")
    out["value"] = [
        f"{v:,.{CHARTED[c].decimals}f} {CHARTED[c].unit}".strip() for v, c in zip(out["value"], out["chart"])
    ]
    out["note"] = [n or ("part of the change told above" if m else "") for n, m in zip(out["note"], out["moved"])]
    out["chart"] = [CHARTED[c].label for c in out["chart"]]
    return out[["day", "chart", "lot", "hatch", "value", "rules", "state", "by", "note"]]


def signal_rows(study: MonthStudy, *, found_at: str) -> pd.DataFrame:
    """Signals of the month as rows of the log's signals table, to be added with ``log.add("signals", rows, by=...)``.

    Parameters
    ----------
    found_at : str
        ISO 8601 with offset.
    """
    from qckit.tables import check_table, empty_table

    table = study.signals.drop_duplicates("signal")
    if not len(table):
        return empty_table("signals")
    rows = table.rename(columns={"sees": "_sees"})[["signal", "chart", "lot", "hatch", "at", "rule", "value", "state"]]
    rows = rows.assign(at=[t.isoformat() for t in rows["at"]], found_at=found_at)
    return check_table(rows, "signals")


def baseline_rows(study: MonthStudy, *, set_by: str, set_at: str) -> pd.DataFrame:
    """Every proposed baseline of the month as a row of the log's baselines table."""
    charts = [
        c for c in (*study.charts.values(), *study.conditions.values()) if c.limits is not None and not c.is_frozen
    ]
    if not charts:
        from qckit.tables import empty_table

        return empty_table("baselines")
    return pd.concat([freeze_chart(c, set_by=set_by, set_at=set_at) for c in charts], ignore_index=True)


def baseline_table(study: MonthStudy) -> pd.DataFrame:
    """What each chart's limits rest on."""
    rows = []
    for chart in (*study.charts.values(), *study.conditions.values()):
        limits = chart.limits
        rows.append({
            "chart": chart.charted.label, "lot": chart.lot or "all", "limits": chart.baseline_words,
            "n": limits.n_points if limits else 0, "width": limits.width if limits else math.nan,
            "slope": "sloped" if limits is not None and limits.slope_per_day else "level",
            "set_aside": "; ".join(f"{p['label']}: {p['reason']}" for p in chart.set_aside[:5])
            + (f"; and {len(chart.set_aside) - 5} more" if len(chart.set_aside) > 5 else ""),
        })  # fmt: skip
    return pd.DataFrame(rows)


def raw_table(study: MonthStudy) -> pd.DataFrame:
    """The hatches of the month with what was counted and measured."""
    columns = ["hatch", "lot", "cone", "operator", "day", "hours", "n_subsamples", "nauplii", "umbrella", "unhatched",
               "shells", "hatch_pct", "hatching_efficiency_per_g", *CONDITIONS, "counted_by",
               "off_standard"]  # fmt: skip
    return study.series[columns].reset_index(drop=True)
