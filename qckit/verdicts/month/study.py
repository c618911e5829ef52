"""A month of hatches, worked through: charts per lot, what moved, capability, dose, feed; all as data."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.lot_chart import build_chart
from qckit.charts.rules import RULES
from qckit.charts.series import CONDITIONS, LOT_CHARTS, hatch_series
from qckit.errors import InputError, unknown_name
from qckit.hatch.lots.doubted import Doubted, doubted_hatches, without_impossible
from qckit.hatch.metrics import cone_metrics
from qckit.hatch.photo_counts import mark_photo_counts
from qckit.hatch.subsamples import fill_volumes
from qckit.setting_changes import changes_between
from qckit.site_tables import SiteTables
from qckit.tables import to_utc
from qckit.verdicts.month.far_off import lone_readings, reasons_of
from qckit.verdicts.month.lot_month import Reviewed, lot_month, with_doses
from qckit.verdicts.month.periods import compare_periods, month_bounds
from qckit.verdicts.month.records import left_out, no_hatch_words, out_of_limits, quality_table
from qckit.verdicts.month.searches import search_month
from qckit.verdicts.month.set_aside import aside_table, belonging, points_aside, rules_only
from qckit.verdicts.month.shifts import matched_with_log, no_longer_found
from qckit.verdicts.month.signals import CHANGE_RULE, belongs, signal_table

__all__ = ["MonthStudy", "month_bounds", "study_month"]

_TIMED = ("production", "reference", "standard test", "investigation")  # any hatch that was followed by the clock


@dataclass(frozen=True, kw_only=True)
class MonthStudy:
    """Everything the month's verdict rests on, as data: for the report."""

    month: str
    lot: str
    first: pd.Timestamp
    last: pd.Timestamp
    series: pd.DataFrame  # hatches of the month
    history: pd.DataFrame  # all hatches up to the end of the month
    lots: dict  # lot -> LotMonth
    charts: dict  # (lot, quantity) -> LotChart
    conditions: dict  # quantity -> LotChart
    shifts: list  # shifts.Shift: those that count for the verdict first
    past: list  # shifts.PastChange: told by the review of the month before, and not shown by this one
    standing: list  # StandingDifference
    spreads: object  # levels.Spreads of the hatching percentage; None: too few hatches
    signals: pd.DataFrame  # every mark and signal of the month with its state
    feed_lost: float  # harvested nauplii
    feed_at_risk: float  # likewise, in the next 30 days, of what goes on
    comparison: pd.DataFrame
    quality: pd.DataFrame
    settings: object
    aside: pd.DataFrame  # points set aside by a person: set_aside.aside_table
    apart: dict  # hatch that stands out and counts in nothing that is usual -> its month
    waters: dict  # quantity -> charts.water.WaterDays
    far_off: pd.DataFrame  # readings of the month far off the standard, in no limits: far_off.far_off_readings
    unseen: tuple  # (where, points) from searches.MonthSearch
    impossible: list[Doubted]  # hatches of the month whose counts cannot be: in no figure, limits or search
    to_put_right: list[Doubted]  # of these, those that no person set aside
    doubted: dict  # hatch of any month -> Doubted: its figures can hardly be; in no limits and no nauplii per gram
    setting_changes: pd.DataFrame | None  # those that may fall into the month; None: no record
    left_out: list = field(default_factory=list)

    @property
    def costly_water(self) -> pd.DataFrame:
        """The readings far off the standard that cost nauplii by the literature."""
        return self.far_off[self.far_off["is_costly"]]

    @property
    def feed_days_lost(self) -> float:
        """The nauplii lost, in days of feed; NaN where nothing is fed."""
        return self._in_days(self.feed_lost)

    @property
    def feed_days_at_risk(self) -> float:
        """The nauplii at risk in the next 30 days, in days of feed; NaN where nothing is fed."""
        return self._in_days(self.feed_at_risk)

    def _in_days(self, nauplii):
        per_day = self.settings.feed.nauplii_per_feed * self.settings.feed.feeds_per_day
        return nauplii / per_day if per_day and self.settings.protocol.is_fed else math.nan

    @property
    def explained_hatches(self) -> set:
        """Hatches of the month that a person explained or set aside."""
        signals = self.signals[(self.signals["state"] == "explained") & (self.signals["rule"] != CHANGE_RULE)]
        return set(signals["hatch"]) | (set(self.aside["hatch"]) & set(self.series["hatch"]))


def study_month(tables: SiteTables, *, month, lot="", is_proposed=False, now="") -> MonthStudy:
    """Work through a month.

    Parameters
    ----------
    tables : SiteTables
        The site's tables, whole: earlier months are the baseline.
    month : str
        ``YYYY-MM``, or a period as for :func:`month_bounds`.
    lot : str
        One lot only; empty for all.
    is_proposed : bool
        Leave frozen baselines out, so that limits are proposed as if there were none.
    now : str
        Time of the review, ISO 8601: the day its doses are for. Empty: the day of the newest record.

    Returns
    -------
    MonthStudy

    Raises
    ------
    InputError
        The month is misspelt, the lot is unknown, or no hatch was started in the month.
    """
    settings, hatches = tables.settings, tables.hatches
    samples = fill_volumes(tables.samples, tables.photos)
    first, last = month_bounds(month, settings.site.timezone)
    cones, impossible = _cones(tables, samples)
    usable = samples[~(samples["hatch"].isin(set(impossible)) & (samples["kind"] == "subsample"))]
    done = _explained(tables.signals) - (usual := belonging(tables.signals))
    history, doubted = _doubted(_history(tables, usable, cones, last), cones, usable, settings, usual)
    chosen = _chosen(history, tables, month, lot, first)
    names = sorted(chosen["lot"].unique())
    among = {"cones": cones, "lot": lot, "names": names, "period": (first, last), "belonging": usual}
    searched = search_month(history[~history["hatch"].isin(done)], tables, **among)
    shifts = matched_with_log(searched.shifts, tables.changes, tables.signals, month)
    apart = {hatch: of_month for hatch, of_month in searched.alone.items() if hatch not in usual}
    reasons = dict.fromkeys(_explained(rules_only(tables.signals)) - usual, "explained")
    reasons |= dict.fromkeys(apart, "its percentage stands out")
    changed = _noted(history, [s for s in shifts if s.counts and s.kind != "lot"], reasons)
    timed = _timed(tables, usable, cones, last, reasons)
    options = {"names": names, "period": (first, last), "rules": _rules(settings), "searched": searched}
    charts, conditions = _charts(tables.but(baselines=None) if is_proposed else tables, changed, timed, **options)
    alone = set(searched.alone) & set(history.loc[history["at"] >= first, "hatch"])
    marks = {"alone": alone, "first": first, "waters": searched.waters, "lone": lone_readings(searched.far_off)}
    table = signal_table(charts, conditions, shifts, tables.signals, **marks)
    shifts = _closed_by_hand(shifts, table)
    moved = {*_moved(shifts), *table.loc[table["state"] != "mark", "hatch"], *apart, *doubted}  # tell not of the lot
    aside, of_month = aside_table(tables.signals), [impossible[h] for h in chosen["hatch"] if h in impossible]
    untrusted, asked_about = impossible | doubted, {one.hatch for one in of_month} - set(aside["hatch"])
    parts = {"history": history, "charts": charts, "moved": moved, "signals": table, "period": (first, last)}
    reviewed = Reviewed(**parts, asked_about=asked_about, doubted=set(doubted))
    lost, ahead = _feed_of(shifts, chosen, charts, settings.feed, (first, last))
    return MonthStudy(
        month=month,
        lot=lot,
        first=first,
        last=last,
        series=chosen.reset_index(drop=True),
        history=history,
        lots=_lots(tables, chosen, reviewed, searched.lots, now),
        charts=charts,
        conditions=conditions,
        shifts=sorted(shifts, key=lambda s: (not s.is_open, s.kind != "lot", s.quantity not in LOT_CHARTS, s.p_value)),
        past=[] if lot else no_longer_found(shifts, tables.changes, first=first),
        standing=searched.standing,
        spreads=searched.search.model.spreads if searched.search is not None else None,
        signals=table,
        feed_lost=lost,
        feed_at_risk=ahead,
        comparison=compare_periods(history, month, first, last, lot),
        quality=quality_table(chosen, samples, tables.readings, tables.photos, settings),
        settings=settings,
        aside=aside,
        apart=apart,
        waters=searched.waters,
        far_off=_untold(searched.far_off, chosen, shifts),
        unseen=searched.unseen,
        impossible=of_month,
        doubted={name: one for name, one in doubted.items() if name not in set(aside["hatch"])},
        to_put_right=[one for one in of_month if one.hatch in reviewed.asked_about],
        setting_changes=changes_between(tables.setting_changes, first, last),
        left_out=left_out(hatches, first, last, lot, chosen) + out_of_limits(untrusted, history, names, first),
    )


def _untold(far, chosen, shifts):
    """The readings far off in the period's hatches that no change tells of, explained or not."""
    in_change = [any(belongs(row.hatch, row.chart, s) for s in shifts if s.counts) for row in far.itertuples()]
    return far[far["hatch"].isin(chosen["hatch"]) & ~np.array(in_change, dtype=bool)].reset_index(drop=True)


def _moved(shifts):
    """Hatches that a change moved which is not the lot's own."""
    return {label for s in shifts if s.counts and s.kind != "lot" for label in s.labels}


def _lots(tables, chosen, reviewed, levels, now):
    """Lot -> its figures of the period, with the dose it asks for where the site feeds."""
    of_lot = {level.lot: level for level in levels}
    found = {
        name: lot_month(tables, name, hatches, reviewed, level=of_lot.get(name))
        for name, hatches in chosen.groupby("lot", sort=True)
    }
    return with_doses(found, tables, now, reviewed.asked_about) if tables.settings.protocol.is_fed else found


def _doubted(history, cones, samples, settings, usual):
    """The history with what speaks against figures that can hardly be, and those hatches but for ``usual`` ones."""
    mine = cones[cones["hatch"].isin(history["hatch"])]
    found = {one.hatch: one for one in doubted_hatches(mine, samples, settings) if one.hatch not in usual}
    found = {name: one for name, one in found.items() if one.code != "too many"}  # these have no figures at all
    why = {name: f"its figures can hardly be: {one.why}" for name, one in found.items()}
    return history.assign(doubted=[why.get(name, "") for name in history["hatch"]]), found


def _cones(tables, samples):
    """Figures of every hatch, whatever the month; and those whose counts cannot be, of which there is none."""
    mine = samples[samples["hatch"].isin(tables.hatches["hatch"])]
    cones = cone_metrics(mine, tables.hatches, tables.lots, reading_h=tables.settings.conditions.reading_h)
    return without_impossible(cones, mine)


def _chosen(history, tables, month, lot, first):
    """The hatches of the period, of one lot or of all; an error where there is none."""
    known = set(tables.hatches["lot"])
    if lot and lot not in known:
        raise unknown_name("lot", lot, sorted(known), where="hatches")
    inside = history[history["at"] >= first]
    chosen = inside[inside["lot"] == lot] if lot else inside
    if not len(chosen):
        raise InputError(no_hatch_words(tables.hatches, month, lot, tables.settings.site.timezone))
    return chosen


def _feed_of(shifts, chosen, charts, feed, period):
    """Nauplii lost to open falls, and those at risk in 30 days if the falls go on, both as harvested."""
    falls = [s for s in shifts if s.is_open and s.kind != "lot" and s.quantity in LOT_CHARTS]
    lost = _feed_lost(chosen, charts, falls)
    ahead = sum(_feed_lost(chosen, charts, [s]) * 30 / _days_touched(s, *period) for s in falls if s.is_ongoing)
    return lost * feed.recovery_pct / 100, ahead * feed.recovery_pct / 100


def _explained(signals):
    """Hatches that a person explained or set aside: they tell of no change any more."""
    if signals is None or not len(signals):
        return set()
    rows = signals[(signals["state"] == "explained") & (signals["rule"] != CHANGE_RULE)]
    return set(rows["hatch"].dropna()) - {""}


def _noted(history, shifts, reasons):
    """The history with a reason at each hatch of a change or that stands out, so that no baseline rests on it."""
    out = history.copy()
    out["far_off"] = [off or reasons.get(h, "") for off, h in zip(out["far_off"], out["hatch"], strict=True)]
    for s in shifts:
        mine = out["hatch"].isin(s.labels) & (out["far_off"] == "")
        if s.quantity in LOT_CHARTS:
            out.loc[mine, "far_off"] = f"in the change of {s.where} since {s.first:%Y-%m-%d}"
    return out


def _timed(tables, samples, cones, last, reasons):
    """The hatches followed by the clock, of any purpose, with the reason why a baseline cannot rest on one."""
    timed = _history(replace(tables, readings=None), samples, cones, last, purposes=_TIMED)
    return _noted(timed[timed["t90_h"].notna()].assign(off_standard="", far_off=""), [], reasons)


def _charts(tables, history, timed, *, names, period, rules, searched):
    """The charts of the month: of each lot, and of the water."""
    first, signals = period[0], tables.signals
    limits = {"period": period, "baselines": tables.baselines, "rules": rules}
    charts = {
        (name, q): chart
        for name in names
        for q in LOT_CHARTS
        if (chart := build_chart(history, q, lot=name, aside=points_aside(signals, q), **limits))
        and len(chart.of_period(first))
    }
    for name in names:
        chart = build_chart(timed, "t90_h", lot=name, aside=points_aside(signals, "t90_h"), **limits)
        if len(chart.of_period(first)):
            charts[(name, "t90_h")] = chart
    limits["rules"] = ("beyond_3",)
    conditions = {}
    for q in CONDITIONS:
        days, aside = searched.waters.get(q), points_aside(signals, q)
        if days is None:  # no limits that tell of them: they are crossed
            aside = reasons_of(searched.far_off, q) | aside
        chart = build_chart(history, q, aside=aside, days=days, **limits)
        if len(chart.of_period(first)):
            conditions[q] = chart
    return charts, conditions


def _closed_by_hand(shifts, table):
    """Changes whose signal a person explained are explained."""
    done = table[(table["rule"] == CHANGE_RULE) & (table["state"] == "explained")].set_index("signal")
    return [
        replace(s, state="explained", note=str(done.at[s.name, "note"]), by=str(done.at[s.name, "by"]))
        if s.name in done.index and s.state == "open"
        else s
        for s in shifts
    ]


def _rules(settings):
    """Rules of the settings, each checked."""
    rules = tuple(name.strip() for name in settings.charts.rules.split(",") if name.strip())
    for name in rules:
        if name not in RULES:
            raise unknown_name("rule", name, RULES, where="qckit.toml, section [charts], rules")
    if not rules:
        raise InputError("qckit.toml, section [charts]: rules is empty. Name at least one, such as beyond_3.")
    return rules


def _history(tables, samples, cones, last, purposes=("production",)):
    hatches, readings = tables.hatches, tables.readings
    known = hatches[to_utc(hatches["started"]) < last] if len(hatches) else hatches
    if "standard test" in purposes:  # only those followed by the clock: five times or more
        sub = samples[(samples["kind"] == "subsample") & samples["hours"].notna()]
        times = sub["hours"].astype(float).round(1).groupby(sub["hatch"].to_numpy()).nunique()
        known = known[known["hatch"].isin(times.index[times >= 5])]
    of_hatches = samples[samples["hatch"].isin(known["hatch"])]
    mine = readings[readings["hatch"].isin(known["hatch"])] if readings is not None else None
    options = {"conditions": tables.settings.conditions, "purposes": purposes, "cones": cones}
    series = hatch_series(tables.lots, known, of_hatches, mine, **options)
    return series.assign(counted_by=_ways_of_counting(series, tables))


def _ways_of_counting(series, tables):
    """Photo or person; where a certificate corrects some photos only, the others are a way of counting of their own."""
    marked = mark_photo_counts(series[["hatch"]], tables.samples, tables.photo_corrections)["photo_state"].to_numpy()
    by_photo = (series["counted_by"] == "photo").to_numpy()
    bare = by_photo & np.isin(marked, ["unchecked", "not covered"])
    return series["counted_by"].where(~bare | ~(marked == "corrected").any(), "photo, not corrected")


def _days_touched(shift, first, last):
    """Days of the period since a shift began."""
    return max(1.0, (last - max(first, shift.first)) / pd.Timedelta(days=1))


def _feed_lost(chosen, charts, shifts):
    """Nauplii that the hatches touched by a downward change fell short of their own lot's centre line."""
    touched = {label for s in shifts if s.effect < 0 for label in s.labels}
    lost = 0.0
    for row in chosen[chosen["hatch"].isin(touched)].itertuples():
        chart = charts.get((row.lot, "hatching_efficiency_per_g"))
        if chart is None or chart.limits is None or not math.isfinite(row.hatching_efficiency_per_g):
            continue
        centre = float(chart.frame.loc[chart.frame["label"] == row.hatch, "centre"].iloc[0])
        lost += (centre - row.hatching_efficiency_per_g) * row.cysts_g
    return max(0.0, lost)
