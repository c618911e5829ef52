"""One lot in the month: its figures, its chart, its level and its dose."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.charts.capability import Capability, share_below
from qckit.charts.days import day_numbers
from qckit.charts.lot_chart import LotChart, build_chart
from qckit.columns import is_missing
from qckit.errors import InputError
from qckit.hatch.dose.plan import DosePlan, plan_dose
from qckit.hatch.dose.records import dose_records
from qckit.hatch.dose.timing import cost_per_million, lot_currency
from qckit.hatch.dose.warnings import OF_DOUBTED
from qckit.hatch.lots.in_use import is_in_use, last_used
from qckit.verdicts.month.day_means import mean_per_g, mean_share
from qckit.verdicts.month.lot_levels import LotLevel
from qckit.verdicts.month.signals import CHANGE_RULE

__all__ = ["LotMonth", "Reviewed", "lot_month", "with_doses"]


@dataclass(frozen=True, kw_only=True)
class LotMonth:
    """One lot in the month."""

    lot: str
    n_hatches: int
    hatch_pct: object  # Estimate, as a share
    efficiency: object  # Estimate
    chart: LotChart
    capability: Capability
    dose: DosePlan | None = None
    dose_words: str = ""
    marks: int  # hatches marked on the chart of the percentage
    expected_marks: float  # that chance alone would make
    signals: int  # hatches that stand out with the whole page counted, not explained
    is_in_control: bool | None  # None: no limits
    cost_per_million: float
    cysts_g: float  # used in the month
    cost: float  # of them
    currency: str  # of both costs
    level: LotLevel | None  # against the world; None: too few hatches


@dataclass(frozen=True, kw_only=True)
class Reviewed:
    """What the lots of a month are read from."""

    history: pd.DataFrame
    charts: dict
    moved: set  # hatches of a found change
    signals: pd.DataFrame
    period: tuple
    asked_about: set  # hatches whose counts the page asks to be put right
    doubted: set  # hatches whose nauplii per gram can hardly be


def lot_month(tables, name, mine, reviewed, *, level):
    (first, last), settings, lots = reviewed.period, tables.settings, tables.lots
    table = reviewed.signals
    chart = reviewed.charts.get((name, "hatch_pct")) or build_chart(
        reviewed.history, "hatch_pct", lot=name, period=reviewed.period
    )
    counted = mine[mine["full_cysts"] > 0]
    confidence = settings.limits.confidence
    share = mean_share(counted, confidence=confidence)
    recent, days = _level(reviewed, name, "hatch_pct")
    capability = share_below(
        recent,
        settings.limits.min_hatch_pct,
        days=days,
        confidence=confidence,
        of=_level_words(chart, last),
    )
    efficiency = mean_per_g(mine[~mine["hatch"].isin(reviewed.doubted)], confidence=confidence)
    row = lots[lots["lot"] == name].iloc[0] if lots is not None and (lots["lot"] == name).any() else {}
    cost = cost_per_million(
        _num(row, "price"), _num(row, "pack_g"), efficiency.value, recovery_pct=settings.feed.recovery_pct
    )
    n = chart.n_judged(first)
    done = table.loc[(table["state"] == "explained") & (table["rule"] != CHANGE_RULE), "hatch"]
    fired = chart.signals.loc[~chart.signals["label"].isin(done), "label"].nunique()
    expected = n * chart.run.marked if chart.run is not None else math.nan
    alone = table[(table["chart"] == "hatch_pct") & (table["lot"] == name) & (table["state"] == "open")]
    n_open = alone.loc[alone["rule"] != CHANGE_RULE, "hatch"].nunique()
    used = float(mine["cysts_g"].sum())
    price, pack = _num(row, "price"), _num(row, "pack_g")
    return LotMonth(
        lot=name,
        n_hatches=len(mine),
        hatch_pct=share,
        efficiency=efficiency,
        chart=chart,
        capability=capability,
        marks=fired,
        expected_marks=expected,
        signals=n_open,
        is_in_control=None if chart.limits is None or not n else n_open == 0,
        cost_per_million=cost,
        cysts_g=used,
        cost=used * price / pack if price is not None and pack else math.nan,
        currency=lot_currency(row, settings),
        level=level,
    )


def _num(row, column):
    value = row.get(column) if len(row) else None
    return None if is_missing(value) else float(value)


_LEVEL_DAYS = 60


def _level_words(chart, last):
    """Say which hatches :func:`_level` takes."""
    end = f"{last - pd.Timedelta(days=1):%Y-%m-%d}"
    aged = f"; each moved along the slope to {end}" if chart.limits is not None and chart.limits.slope_per_day else ""
    return (
        f"the counted hatches of the {_LEVEL_DAYS} days up to {end} under the standard conditions and outside any "
        f"change or signal named above{aged}"
    )


def _level(reviewed, name, quantity):
    """Recent figures of a lot without those a found change explains, moved along its slope, and their days."""
    history, last = reviewed.history, reviewed.period[1]
    mine = history[(history["lot"] == name) & (history["at"] >= last - pd.Timedelta(days=_LEVEL_DAYS))]
    mine = mine[~mine["hatch"].isin(reviewed.moved) & (mine["far_off"] == "") & mine[quantity].notna()]
    chart = reviewed.charts.get((name, quantity))
    value, when = mine[quantity].to_numpy(dtype=float), day_numbers(mine["at"])
    if chart is None or chart.limits is None or not chart.limits.slope_per_day or not len(mine):
        return value, when
    ahead = ((last - mine["at"]) / pd.Timedelta(days=1)).to_numpy(dtype=float)
    if chart.limits.kind == "log individuals":
        return value * np.exp(chart.limits.slope_per_day * ahead), when
    return np.clip(value + chart.limits.slope_per_day * chart.limits.per * ahead, 0.1, 99.9), when


def _warning(warning, asked_about):
    hatch = warning.values.get("hatch") if warning.code in OF_DOUBTED else None
    return f"{hatch} is left out of the dose until it is put right." if hatch in asked_about else warning.sentence


def with_doses(month_lots, tables, now="", asked_about=frozenset()):
    """Add to each lot still in use its dose of the day of the review (that of every page) and its words.

    Of a hatch that the page asks to be put right (``asked_about``) they say no more than that no dose rests on it.
    """
    if not month_lots:
        return {}
    records, found = dose_records(tables, day=now), {}
    used = last_used(records.hatches, records.day)
    for name, of_lot in month_lots.items():
        if not is_in_use(used.get(name), records.day):
            found[name] = of_lot
            continue
        try:
            plan = plan_dose(tables, name, day=now, records=records)
            words = " ".join([plan.sentence, *(_warning(w, asked_about) for w in plan.warnings)])
        except InputError as error:
            plan, words = None, str(error)
        found[name] = replace(of_lot, dose=plan, dose_words=words)
    return found
