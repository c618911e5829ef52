"""A month of hatches, worked through: charts per lot, what moved, capability, dose, feed; all as data."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.capability import Capability, share_below
from qckit.charts.lot_chart import LotChart, build_chart
from qckit.charts.rules import RULES
from qckit.charts.series import CHARTED, CONDITIONS, LOT_CHARTS, hatch_series
from qckit.charts.shifts import best_stretch, compare_conditions, find_shifts, likeness_inflation
from qckit.charts.trend import judge_drift
from qckit.errors import InputError, unknown_name
from qckit.hatch.dose import Dose, cost_per_million, dose_for
from qckit.hatch.intervals import mean_interval, positive_mean_interval, proportion_over_cones
from qckit.hatch.notes import gaps
from qckit.verdicts.month.periods import compare_periods, month_bounds
from qckit.verdicts.month.set_aside import aside_table, points_aside, rules_only

__all__ = ["LotMonth", "MonthStudy", "month_bounds", "study_month"]

_LOOK_BACK_DAYS = 60  # before the month, so that a change can be dated
_TIMED = ("production", "reference", "standard test", "investigation")  # any hatch that was followed by the clock


@dataclass(frozen=True)
class LotMonth:
    """One lot in the month."""

    lot: str
    n_hatches: int
    hatch_pct: object  # Estimate, as a share
    efficiency: object  # Estimate
    chart: LotChart
    capability: Capability
    dose: Dose | None
    dose_words: str
    signals: int
    expected_signals: float
    is_in_control: bool | None  # None: no limits
    cost_per_million: float
    cysts_g: float  # used in the month
    cost: float  # of them, in the lot's currency


@dataclass(frozen=True)
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
    shifts: list
    signals: pd.DataFrame  # every signal of the month with its state
    feed_lost: float  # nauplii
    feed_days_lost: float
    feed_days_at_risk: float  # in the next 30 days, of what goes on
    comparison: pd.DataFrame
    quality: pd.DataFrame
    settings: object
    aside: pd.DataFrame  # points set aside by a person: month_aside.aside_table
    left_out: list = field(default_factory=list)


def study_month(
    lots,
    hatches,
    samples,
    readings=None,
    *,
    month,
    settings,
    lot="",
    baselines=None,
    signals=None,
    photos=None,
    rules=None,
) -> MonthStudy:
    """Work through a month.

    Parameters
    ----------
    lots, hatches, samples, readings : DataFrame
        The site's tables as ``tables.check_table`` returns them, whole: earlier months are the baseline.
    month : str
        ``YYYY-MM``, or a period as for :func:`month_bounds`.
    settings : settings.Settings
    lot : str
        One lot only; empty for all.
    baselines, signals, photos : DataFrame, optional
        The log's tables of frozen baselines, of signals with their state, of photos with their flags.
    rules : tuple of str, optional
        Codes of ``charts.RULES``; those of the settings when left out.

    Returns
    -------
    MonthStudy

    Raises
    ------
    InputError
        The month is misspelt, the lot is unknown, or no hatch was started in the month.
    """
    first, last = month_bounds(month, settings.site.timezone)
    rules = tuple(rules) if rules is not None else _rules(settings)
    history = _history(lots, hatches, samples, readings, settings, last)
    inside = history["at"] >= first
    if lot and lot not in set(hatches["lot"]):
        raise unknown_name("lot", lot, sorted(set(hatches["lot"])), where="hatches")
    chosen = history[inside & (history["lot"] == lot)] if lot else history[inside]
    if not len(chosen):
        raise InputError(_nothing(history, month, lot))
    names = sorted(chosen["lot"].unique())
    limits = {"first": first, "last": last, "baselines": baselines, "rules": rules}
    charts = {
        (name, q): chart
        for name in names
        for q in LOT_CHARTS
        if (chart := build_chart(history, q, lot=name, aside=points_aside(signals, q), **limits))
        and len(chart.of_period(first))
    }
    timed = _history(lots, hatches, samples, None, settings, last, purposes=_TIMED)
    timed = timed[timed["t90_h"].notna()].assign(off_standard="", far_off="")
    for name in names:
        chart = build_chart(timed, "t90_h", lot=name, aside=points_aside(signals, "t90_h"), **limits)
        if len(chart.of_period(first)):
            charts[(name, "t90_h")] = chart
    conditions = {
        q: c
        for q in CONDITIONS
        if len((c := build_chart(history, q, aside=points_aside(signals, q), **limits)).of_period(first))
    }
    shifts = _shifts(history, charts, names, first, last)
    moved = {label for s in shifts for label in s.labels}
    month_lots = {name: _lot_month(name, chosen, history, lots, charts, moved, first, last, settings) for name in names}
    lost = _feed_lost(chosen, charts, shifts)
    ahead = sum(_feed_lost(chosen, charts, [s]) * 30 / _days_touched(s, first, last) for s in shifts if s.is_ongoing)
    per_day = settings.feed.nauplii_per_feed * settings.feed.feeds_per_day
    lost, ahead = (n * settings.feed.recovery_pct / 100 for n in (lost, ahead))
    return MonthStudy(
        month,
        lot,
        first,
        last,
        chosen.reset_index(drop=True),
        history,
        month_lots,
        charts,
        conditions,
        shifts,
        _signal_table(charts, conditions, rules_only(signals), shifts, history),
        lost,
        lost / per_day if per_day else math.nan,
        ahead / per_day if per_day else math.nan,
        compare_periods(history, month, first, last, lot),
        _quality(chosen, samples, readings, photos, settings),
        settings,
        aside_table(signals),
        _left_out(hatches, first, last, lot, chosen),
    )


def _rules(settings):
    """Rules of the settings, each checked."""
    rules = tuple(name.strip() for name in settings.charts.rules.split(",") if name.strip())
    for name in rules:
        if name not in RULES:
            raise unknown_name("rule", name, RULES, where="qckit.toml, section [charts], rules")
    if not rules:
        raise InputError("qckit.toml, section [charts]: rules is empty. Name at least one, such as beyond_3.")
    return rules


def _history(lots, hatches, samples, readings, settings, last, purposes=("production", "reference")):
    from qckit.tables import to_utc

    known = hatches[to_utc(hatches["started"]) < last] if len(hatches) else hatches
    if "standard test" in purposes:  # only those followed by the clock: five times or more
        sub = samples[(samples["kind"] == "subsample") & samples["hours"].notna()]
        times = sub["hours"].astype(float).round(1).groupby(sub["hatch"].to_numpy()).nunique()
        known = known[known["hatch"].isin(times.index[times >= 5])]
    own = samples[samples["hatch"].isin(known["hatch"])]
    mine = readings[readings["hatch"].isin(known["hatch"])] if readings is not None else None
    return hatch_series(lots, known, own, mine, conditions=settings.conditions, purposes=purposes)


def _nothing(history, month, lot):
    of = f" of lot {lot}" if lot else ""
    had = history[history["lot"] == lot] if lot else history
    if not len(had):
        return f"{month}: no production hatch{of} is in the log. Import the field sheets first."
    return (
        f"{month}: no production hatch{of} was started in that month. The log holds "
        f"{had['at'].min():%Y-%m} to {had['at'].max():%Y-%m} up to then. Choose another month."
    )


def _shifts(history, charts, names, first, last):
    """Shifts of the hatching percentage that touch the month, each with the conditions that differ."""
    parts = []
    for name in names:
        chart = charts.get((name, "hatch_pct"))
        if chart is not None and chart.limits is not None:
            # limits that were widened are unsure by so much more, and so is each point's distance
            part = chart.frame.assign(z=chart.frame["z"] * 3 / max(3.0, chart.limits.width), lot=name)
            parts.append(part)
    if not parts:
        return []
    frame = pd.concat(parts).sort_values("at", kind="stable")
    earlier = frame[(frame["at"] < first) & (frame["phase"] != "set aside")]
    inflation = likeness_inflation(earlier, factors=("cone", "operator", "lot"))
    inflation["counted_by"] = inflation[""]
    frame = frame[frame["at"] >= first - pd.Timedelta(days=_LOOK_BACK_DAYS)]
    how = dict(zip(history["hatch"], history["counted_by"], strict=True))
    frame = frame.assign(counted_by=frame["label"].map(how)).reset_index(drop=True)
    found = [s for s in find_shifts(frame, inflation=inflation) if s.last >= first]
    every = set(frame["label"])
    all_moved = {label for s in found for label in s.labels}
    out = []
    for shift in found:
        table = compare_conditions(history, shift.labels, every - all_moved, CONDITIONS)
        differing = table[table["differs"]].to_dict("records")
        for row in differing:
            row["since"] = _since(frame, history, shift, row)
        ageing = () if differing else _ageing(history, charts, names, shift, last)
        out.append(replace(shift, conditions=differing, rivals=(*shift.rivals, *ageing)))
    return out


def _ageing(history, charts, names, shift, last):
    """Lots for which an even decline from their opening on tells a lot-wide fall as well as a step does."""
    if shift.factor not in ("", "lot") or shift.effect >= 0:
        return ()
    found = []
    for name in names if not shift.factor else [shift.level]:
        chart = charts.get((name, "hatch_pct"))
        if chart is None or chart.limits is None or chart.limits.slope_per_day:
            continue
        mine = history[(history["lot"] == name) & (history["far_off"] == "") & (history["at"] < last)]
        mine = mine[mine["hatch_pct"].notna()].reset_index(drop=True)
        drift = judge_drift(mine["at"], mine["hatch_pct"])
        if drift.bic and drift.p_value < 0.001 and drift.slope_per_30d < 0 and drift.bic["slope"] <= drift.bic["step"]:
            found.append(f"an even ageing of {name} ({abs(drift.slope_per_30d):.2f} points in 30 days)")
    return tuple(found)


def _since(frame, history, shift, row):
    """Day from which a condition differs, among the hatches of the shift's own group."""
    group = frame if not shift.factor else frame[frame[shift.factor].astype(str) == shift.level]
    value = group["label"].map(history.set_index("hatch")[row["condition"]])
    z = ((value - row["elsewhere"]) / row["sd"]).clip(-8, 8)
    z = z[z.notna()].reset_index(drop=True)
    at = group.loc[value.notna(), "at"].reset_index(drop=True)
    _, i, j = best_stretch(z.to_numpy(), 3)
    return f"{at.iloc[i]:%Y-%m-%d}" if j > i else ""


def _lot_month(name, chosen, history, lots, charts, moved, first, last, settings):
    mine = chosen[chosen["lot"] == name]
    chart = charts.get((name, "hatch_pct")) or build_chart(history, "hatch_pct", lot=name, first=first, last=last)
    counted = mine[mine["full_cysts"] > 0]
    confidence = settings.limits.confidence
    share = proportion_over_cones(counted["nauplii"], counted["full_cysts"], confidence=confidence)
    level = _level(history, charts, name, "hatch_pct", moved, last)
    capability = share_below(level, settings.limits.min_hatch_pct, confidence=confidence, of=_level_words(chart, last))
    efficiency = positive_mean_interval(mine["hatching_efficiency_per_g"], confidence=confidence)
    dose, words = _dose(history, charts, name, moved, last, settings)
    row = lots[lots["lot"] == name].iloc[0] if lots is not None and (lots["lot"] == name).any() else {}
    cost = cost_per_million(
        _num(row, "price"), _num(row, "pack_g"), efficiency.value, recovery_pct=settings.feed.recovery_pct
    )
    n = int(chart.of_period(first)["value"].notna().sum())
    fired = chart.signals["label"].nunique()
    expected = n / chart.run.mean if chart.run is not None else math.nan
    state = None if chart.limits is None or not n else fired == 0
    used = float(mine["cysts_g"].sum())
    price, pack = _num(row, "price"), _num(row, "pack_g")
    spent = used * price / pack if price is not None and pack else math.nan
    return LotMonth(
        name, len(mine), share, efficiency, chart, capability, dose, words, fired, expected, state, cost, used, spent
    )


def _num(row, column):
    value = row.get(column) if len(row) else None
    return None if value is None or pd.isna(value) else float(value)


_LEVEL_DAYS = 60


def _level_words(chart, last):
    """Say which hatches :func:`_level` takes."""
    end = f"{last - pd.Timedelta(days=1):%Y-%m-%d}"
    aged = f"; each moved along the slope to {end}" if chart.limits is not None and chart.limits.slope_per_day else ""
    return (
        f"the counted hatches of the {_LEVEL_DAYS} days up to {end} under the standard conditions and outside any "
        f"change told above{aged}"
    )


def _level(history, charts, name, quantity, moved, last, days=_LEVEL_DAYS):
    """Recent figures of a lot without those a found change explains, moved along its slope to the month's end."""
    mine = history[(history["lot"] == name) & (history["at"] >= last - pd.Timedelta(days=days))]
    mine = mine[~mine["hatch"].isin(moved) & (mine["far_off"] == "") & mine[quantity].notna()]
    chart = charts.get((name, quantity))
    value = mine[quantity].to_numpy(dtype=float)
    if chart is None or chart.limits is None or not chart.limits.slope_per_day or not len(mine):
        return value
    ahead = ((last - mine["at"]) / pd.Timedelta(days=1)).to_numpy(dtype=float)
    if chart.limits.kind == "log individuals":
        return value * np.exp(chart.limits.slope_per_day * ahead)
    return np.clip(value + chart.limits.slope_per_day * chart.limits.per * ahead, 0.1, 99.9)


def _dose(history, charts, name, moved, last, settings):
    """Grams per feed next month, from the lower bound of nauplii per gram."""
    value = _level(history, charts, name, "hatching_efficiency_per_g", moved, last)
    if len(value) < 3:
        return None, f"{len(value)} hatches with a known efficiency are too few for next month's dose."
    mean = mean_interval(np.log(value), confidence=settings.limits.confidence)
    chart = charts.get((name, "hatching_efficiency_per_g"))
    month_on = 30.0 * min(0.0, chart.limits.slope_per_day) if chart is not None and chart.limits is not None else 0.0
    low, best = math.exp(mean.low + month_on), math.exp(mean.value + month_on / 2)
    feed = settings.feed
    dose = dose_for(
        feed.nauplii_per_feed,
        low,
        efficiency_per_g=best,
        recovery_pct=feed.recovery_pct,
        cone_volume_l=feed.cone_volume_l,
        n_cones=feed.n_cones,
        max_g_per_l=feed.max_g_per_l,
    )
    words = f"{name}: {dose.sentence}"
    if month_on:
        words += " The lot is ageing; the figure is for the end of next month."
    return dose, words


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


def _signal_table(charts, conditions, known, shifts, history):
    """Every signal of the month: what, where, which rule, and its state in the log."""
    rows, told = [], history.set_index("hatch")
    for (lot, name), chart in (*charts.items(), *((("", name), chart) for name, chart in conditions.items())):
        rows += [_signal_row(s, name, lot, chart.frame, shifts, told) for s in chart.signals.to_dict("records")]
    columns = ["signal", "at", "chart", "lot", "hatch", "rule", "test", "sees", "side", "value", "in_shift"]
    table = pd.DataFrame(rows, columns=columns).sort_values(["at", "chart", "rule"], kind="stable")
    table["state"], table["by"], table["note"] = "open", "", ""
    if known is not None and len(known):
        stored = known.drop_duplicates("signal", keep="last").set_index("signal")
        for column in ("state", "by", "note"):
            table[column] = table["signal"].map(stored[column]).fillna(table[column])
    return table.reset_index(drop=True)


def _signal_row(s, name, lot, frame, shifts, told):
    window = frame.loc[frame["point"].between(s["first_point"], s["point"]), "label"]
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
        "in_shift": any(_is_told(s["label"], window, shift, told) for shift in shifts),
    }


def _is_told(hatch, window, shift, told):
    """Whether a signal is one of a change's own, or the echo of one: a run of its group that began in it.

    Echoes are not to be explained one by one. A hatch of another cone is no part of a change of one cone, though.
    """
    if hatch in shift.labels:
        return True
    group = not shift.factor or (hatch in told.index and str(told.at[hatch, shift.factor]) == shift.level)
    return group and not window[window.isin(shift.labels)].empty


def _quality(chosen, samples, readings, photos, settings):
    """What is missing, late or doubtful in the month's records: finding, how many, of how many, which hatches."""
    rows, n = [], len(chosen)
    hours = chosen["hours"].astype(float)
    late = (hours - settings.conditions.reading_h).abs() > 1.5
    for words, bad in (
        ("hatches without a count", chosen["full_cysts"].isna() & chosen["nauplii"].isna()),
        ("counts more than 1.5 h off the reading hour", late.fillna(False)),
        ("hatches with a single subsample", chosen["n_subsamples"] == 1),
        ("hatches without shells counted", chosen["shells"].isna() & chosen["nauplii"].notna()),
        ("hatches without an operator", chosen["operator"] == ""),
        *((f"hatches without {CHARTED[c].label}", chosen[c].isna()) for c in CONDITIONS),
    ):
        rows.append((words, int(bad.sum()), n, ", ".join(chosen.loc[bad, "hatch"].head(6))))
    if readings is not None:
        have = set(readings["hatch"])
        bad = ~chosen["hatch"].isin(have)
        rows.append(("hatches without any water reading", int(bad.sum()), n, ", ".join(chosen.loc[bad, "hatch"][:6])))
    if photos is not None and len(photos):
        mine = samples[samples["hatch"].isin(chosen["hatch"])]
        own = photos[photos["sample"].isin(mine["sample"])]
        flagged = own[own["flags"].fillna("") != ""]
        rows.append(("photos with a flag", len(flagged), len(own), ", ".join(flagged["photo"].head(6))))
    return pd.DataFrame(rows, columns=["finding", "count", "of", "where"])


def _left_out(hatches, first, last, lot, chosen):
    from qckit.tables import to_utc

    at = to_utc(hatches["started"])
    other = hatches[(at >= first) & (at < last) & ~hatches["hatch"].isin(chosen["hatch"])]
    if lot:
        other = other[other["lot"] == lot]
    out = []
    for purpose, part in other.groupby("purpose", observed=True):
        if purpose not in ("production", "reference"):
            out.append(
                f"Hatches of the purpose '{purpose}': {len(part)}. They stand in other vessels and are not charted."
            )
    missing = chosen[chosen["full_cysts"].isna()]
    if len(missing):
        many = "hatch" if len(missing) == 1 else "hatches"
        out.append(f"{len(missing)} {many} without a usable count: {', '.join(missing['hatch'].head(10))}.")
    for row in missing.head(10).itertuples():  # counted in part: say what is missing
        out += [f"{row.hatch}: {note}" for note in gaps(row.notes)]
    return out
