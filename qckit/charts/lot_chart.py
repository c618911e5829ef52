"""One quantity's chart for a month: which baseline, which centre line, which rules, and why."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.baseline import Baseline, freeze, set_baseline, stored_limits
from qckit.charts.day_spread import NOTHING_LEARNED, learn_sharing
from qckit.charts.days import day_numbers
from qckit.charts.days_elsewhere import day_blocks
from qckit.charts.limits import CHART_COLUMNS, Limits, apply_limits
from qckit.charts.rules import DEFAULT_RULES, find_signals
from qckit.charts.run_lengths import RunLength, run_length
from qckit.charts.series import CHARTED, chart_points, doubt_of
from qckit.charts.stale import stale_words
from qckit.charts.trend import Autocorrelation, Drift, autocorrelation, drift_of_points
from qckit.charts.water import why_no_limits
from qckit.errors import InputError
from qckit.words import plural

__all__ = ["LotChart", "build_chart", "freeze_chart"]

_BASELINE_POINTS = 40  # points of a baseline that is proposed
_LEAST = 12  # fewer points make no limits


@dataclass(frozen=True)
class LotChart:
    """A chart of one quantity (of one lot), ready to be drawn and judged.

    Examples
    --------
    >>> first, last = pd.Timestamp("2026-10-01", tz="UTC"), pd.Timestamp("2026-11-01", tz="UTC")
    >>> chart = charts.build_chart(series, "hatch_pct", lot="K-121", period=(first, last))
    >>> chart.name, chart.lot
    ('hatch_pct', 'K-121')
    """

    name: str
    lot: str
    frame: pd.DataFrame  # charts.CHART_COLUMNS with cone, operator; every point up to the end of the period
    signals: pd.DataFrame  # of the period
    limits: Limits | None
    rules: tuple
    baseline_words: str
    run: RunLength | None = None
    drift: Drift | None = None
    likeness: Autocorrelation | None = None
    is_frozen: bool = False
    stale: str = ""  # of frozen limits that these hatches, as they stand now, would not give: what they would give
    set_aside: list = field(default_factory=list)
    notes: list = field(default_factory=list)

    @property
    def charted(self):
        """The quantity's name, unit and kind."""
        return CHARTED[self.name]

    def of_period(self, first) -> pd.DataFrame:
        """Points from a time on."""
        return self.frame[self.frame["at"] >= first]

    def n_judged(self, first) -> int:
        """How many points from a time on rules are read at."""
        part = self.of_period(first)
        return int((part["value"].notna() & (part["phase"] != "set aside")).sum())


def build_chart(
    series, name, *, lot="", period, baselines=None, rules=DEFAULT_RULES, aside=None, days=None
) -> LotChart:
    """Build the chart of one quantity, with the limits in force or, where none are frozen, a proposed baseline.

    Parameters
    ----------
    series : DataFrame
        From :func:`qckit.charts.series.hatch_series`; may reach back as far as the records do, with all lots: they
        tell how much hatches of one day share.
    name : str
        A name of :data:`qckit.charts.series.CHARTED`.
    lot : str
        One lot; empty for all (conditions).
    period : (Timestamp, Timestamp)
        First and last of the period reviewed: ``first <= start < last``.
    baselines : DataFrame, optional
        The log's baselines table; a frozen baseline is used as it stands.
    rules : tuple of str
    aside : dict, optional
        Hatch -> reason, of points that a person has set aside: in no baseline, read by no rule, crossed in the chart.
    days : water.WaterDays, optional
        Of a quantity of the water: its limits rest on these days instead, and move on with the months.

    Returns
    -------
    LotChart
        ``limits`` is None, with a note, when there are fewer than 12 points to set them from.

    Examples
    --------
    >>> first, last = pd.Timestamp("2026-10-01", tz="UTC"), pd.Timestamp("2026-11-01", tz="UTC")
    >>> chart = charts.build_chart(series, "hatch_pct", lot="K-121", period=(first, last))
    >>> len(chart.frame) > 0
    True
    """
    first, last = period
    chosen = series[(series["lot"] == lot)] if lot else series
    points = chart_points(chosen[chosen["at"] < last], name)
    by_hand = pd.Series([(aside or {}).get(label, "") for label in points["label"]], index=points.index, dtype=object)
    doubt = doubt_of(points, chosen)
    why = by_hand.where(by_hand != "", doubt.where(doubt != "", _off_standard(points, chosen, CHARTED[name])))
    stored = stored_limits(baselines, chart=name, lot=lot, before=None)
    if stored is not None and pd.Timestamp(stored[1]["first"]) < last:
        chart = _with_frozen(points, why, by_hand=by_hand, name=name, lot=lot, first=first, stored=stored, rules=rules)
        return replace(chart, stale=stale_words(chart, points[(doubt == "") & (by_hand == "")], first=first))
    if not CHARTED[name].by_lot:
        return _with_days(points, by_hand, name=name, first=first, days=days, rules=rules)
    elsewhere = _elsewhere(series[series["at"] < last], CHARTED[name], aside or {})
    return _with_proposed(
        points, why, by_hand=by_hand, name=name, lot=lot, first=first, rules=rules, elsewhere=elsewhere
    )


def _off_standard(points, chosen, charted):
    """Why each point cannot be in a baseline: its water was off the site's standard. Series of text, shape (n,)."""
    off = dict(zip(chosen["hatch"], chosen["far_off"], strict=True))
    why = points["label"].map(off).fillna("")
    if not charted.by_lot:  # a condition is judged by itself, not by its neighbours
        why = pd.Series([w if charted.label in w else "" for w in why], index=points.index, dtype=object)
    return why


def _elsewhere(series, charted, aside):
    """Points of all lots that may tell of the room's days."""
    points = chart_points(series, charted.name)
    by_hand = points["label"].isin([label for label, why in aside.items() if why])
    is_sound = (_off_standard(points, series, charted) == "") & (doubt_of(points, series) == "")
    return points[is_sound & ~by_hand]


def _listed(frame, by_hand, known):
    """Points set aside: those of the baseline, and those set aside by hand elsewhere."""
    extra = frame[(by_hand != "").to_numpy() & ~frame["label"].isin([p["label"] for p in known]).to_numpy()]
    return [*known, *_known(extra, dict(zip(frame["label"], by_hand, strict=True)))]


def _with_frozen(points, why, by_hand, name, lot, first, stored, rules):
    limits, row = stored
    frame = _applied(limits, points, "")
    start, end = pd.Timestamp(row["first"]), pd.Timestamp(row["last"])
    inside = (frame["at"] >= start) & (frame["at"] <= end)
    known = (why != "").to_numpy() & (frame["at"] < first)
    known = known | (by_hand != "").to_numpy()
    frame["phase"] = np.where(known, "set aside", np.where(inside, "baseline", "monitored"))
    words = (
        f"baseline {row['baseline']}: {plural(limits.n_points, 'hatch')}, {start:%Y-%m-%d} to {end:%Y-%m-%d}, frozen "
        f"by {row['set_by']} on {str(row['set_at'])[:10]}"
    )
    if limits.spread in ("standard deviation", "days") and set(limits.reach) <= {"beyond_3"}:
        rules = ("beyond_3",)  # neighbours were alike when it was set
    good = (why == "").to_numpy()
    drift = drift_of_points(points[good], CHARTED[name]) if CHARTED[name].by_lot and good.any() else None
    notes = []
    if drift is not None and drift.shape == "slope" and not limits.slope_per_day:
        notes.append("The lot drifts, but its frozen centre line is level: review the baseline.")
    left_out = json.loads(row["set_aside"] or "[]")
    late = set(frame.loc[inside & (by_hand != "").to_numpy(), "label"]) - {p["label"] for p in left_out}
    if late:
        it = "them" if len(late) > 1 else "it"
        notes.append(
            f"Set aside after the baseline was frozen: {', '.join(sorted(late))}. Its limits still rest on {it}; "
            f"freeze the baseline anew to leave {it} out."
        )
    return LotChart(
        name=name,
        lot=lot,
        **_judged(frame, limits, rules, first),
        drift=drift,
        baseline_words=words,
        is_frozen=True,
        set_aside=_listed(frame, by_hand, left_out),
        notes=notes,
    )


def _with_days(points, by_hand, *, name, first, days, rules):
    """A chart of the water: limits from the days before the month."""
    if days is None:
        words = f"{why_no_limits(points[by_hand == ''], name, first=first)}: no limits can be set yet"
        chart = _without_limits(points, name, "", rules, words)
        chart.frame.loc[(by_hand != "").to_numpy(), "phase"] = "set aside"
        chart.set_aside.extend(_listed(chart.frame, by_hand, []))
        return chart
    frame = _applied(days.limits, points, "monitored")
    frame.loc[((frame["at"] >= days.first) & (frame["at"] <= days.last)).to_numpy(), "phase"] = "baseline"
    frame.loc[(frame["at"] >= first).to_numpy(), "phase"] = "monitored"
    is_far = frame["label"].isin(set(days.far_off)) & (frame["at"] < first)
    known = frame["label"].isin(days.left_out).to_numpy() | is_far.to_numpy()
    frame.loc[(by_hand != "").to_numpy() | known, "phase"] = "set aside"
    day_to_day = days.model.spreads.day_to_day
    words = (
        f"limits from {plural(days.n_days, 'day')} ({plural(days.n_hatches, 'reading')}), "
        f"{days.first:%Y-%m-%d} to {days.last:%Y-%m-%d}; "
        f"the hatches of a day share {100 * days.shared:.0f} % of what varies"
        + (f", and a day resembles the day before ({day_to_day:.1f})" if day_to_day >= 0.2 else "")
        + (f"; {plural(len(days.left_out), 'hatch')} of earlier changes left out" if days.left_out else "")
        + (f"; {plural(len(days.far_off), 'reading')} far off the standard left out" if days.far_off else "")
    )
    return LotChart(
        name=name,
        lot="",
        **_judged(frame, days.limits, rules, first),
        baseline_words=words,
        set_aside=_listed(frame, by_hand, _known(frame, days.far_off)),
    )


def _known(frame, of):
    """Those of a chart's points that have a reason, as a baseline lists what it leaves out."""
    rows = frame[frame["label"].isin(set(of))].itertuples()
    return [{"label": r.label, "at": r.at.isoformat(), "value": round(r.value, 6), "reason": of[r.label]} for r in rows]


def _without_limits(points, name, lot, rules, words, drift=None, notes=()):
    frame = _empty_limits(points)
    judged = {"frame": frame, "signals": find_signals(frame.head(0)), "limits": None, "rules": tuple(rules)}
    return LotChart(name=name, lot=lot, **judged, drift=drift, baseline_words=words, notes=list(notes))


def _with_proposed(points, why, by_hand, name, lot, first, rules, elsewhere):
    charted = CHARTED[name]
    earlier = points["at"] < first
    usable = why == ""
    n_before = int((earlier & usable).sum())
    notes = []
    pool = earlier if n_before >= _LEAST else pd.Series(True, index=points.index)
    if n_before < _LEAST:
        notes.append(
            "Too few earlier hatches for a baseline: the month itself is in it, so its limits are provisional."
        )
    good = pool & usable
    if int(good.sum()) < _LEAST:
        words = f"{plural(int(good.sum()), 'usable hatch')}: no limits can be set yet ({_LEAST} are needed)"
        return _without_limits(points, name, lot, rules, words, notes=notes)
    drift = drift_of_points(points[good], charted)
    try:
        proposal = _propose(points, good, why, charted=charted, drift=drift, rules=rules, elsewhere=elsewhere)
    except InputError as error:  # all alike, or none at all: nothing to set limits from, and the page goes on
        words = f"no limits: {error.what}"
        return _without_limits(points, name, lot=lot, rules=rules, words=words, drift=drift, notes=notes)
    base, part, aside = proposal.base, points.iloc[proposal.span], proposal.aside
    frame = _applied(base.limits, points, "monitored")
    frame.loc[frame.index[proposal.span], "phase"] = np.where(part["label"].isin(aside), "set aside", "baseline")
    # what was off the standard in earlier months is known and must not begin a run that ends in this one
    frame.loc[(why != "").to_numpy() & (frame["at"] < first).to_numpy(), "phase"] = "set aside"
    in_month = frame["at"] >= first
    frame.loc[in_month & (frame["phase"] == "set aside"), "phase"] = "monitored"
    frame.loc[(by_hand != "").to_numpy(), "phase"] = "set aside"
    words = (
        f"proposed baseline (not frozen): {plural(base.limits.n_points, 'hatch')}, {part['at'].min():%Y-%m-%d} to "
        f"{part['at'].max():%Y-%m-%d}" + (f", {len(aside)} set aside" if aside else "")
    )
    return LotChart(
        name=name,
        lot=lot,
        **_judged(frame, base.limits, proposal.rules, first),
        drift=drift,
        likeness=proposal.likeness,
        baseline_words=words,
        set_aside=_listed(frame, by_hand, base.set_aside),
        notes=[*notes, *base.notes[1:]],
    )


@dataclass(frozen=True)
class _Proposal:
    """A baseline, which rows it spans, what of them is set aside, and the rules that its hatches' likeness leaves."""

    base: Baseline
    span: np.ndarray
    aside: dict
    likeness: Autocorrelation
    rules: tuple


def _propose(points, good, why, *, charted, drift, rules, elsewhere) -> _Proposal:
    """Baseline of the first good hatches, or of as many days where they are alike; of all where the lot drifts."""
    sloped = drift is not None and drift.shape == "slope"
    order = np.flatnonzero(good.to_numpy())
    for keep in (order,) if sloped else (order[:_BASELINE_POINTS], _of_days(points, order)):
        span = np.arange(keep[0], keep[-1] + 1)
        part = points.iloc[span]
        aside = {row.label: why[row.Index] for row in part.itertuples() if why[row.Index]}
        sharing = learn_sharing(day_blocks(elsewhere[~elsewhere["label"].isin(part["label"])], charted))
        base, likeness, left = _reviewed(part, charted, aside, drift if sloped else None, rules, sharing=sharing)
        if not likeness.is_marked:
            break
    return _Proposal(base, span, aside, likeness, left)


def _of_days(points, order):
    """Rows of a baseline whose days, not hatches, are its witnesses: as many days as it would have hatches."""
    days = day_numbers(points["at"].iloc[order])
    return order[np.isin(days, np.unique(days)[:_BASELINE_POINTS])]


def _judged(frame, limits, rules, first):
    """What a chart with limits shows: its points, the signals of the period, and how often its rules err by chance."""
    signals = find_signals(frame, rules, reach=limits.reach)
    return {
        "frame": frame,
        "signals": signals[signals["at"] >= first].reset_index(drop=True),
        "limits": limits,
        "rules": tuple(rules),
        "run": run_length(rules, reach=limits.reach, n_points=limits.n_independent, df=limits.df),
    }


def _reviewed(part, charted, aside, drift, rules, *, sharing=NOTHING_LEARNED):
    """Baseline with the spread and the rules that the likeness of its hatches asks for."""
    slope = 0.0
    if drift is not None:
        slope = drift.slope_per_30d / 30 / charted.per
    options = {"set_aside": aside, "per": charted.per, "slope_per_day": slope}
    try:
        base = set_baseline(part, charted.kind, rules=rules, **options)
    except InputError:
        # neighbours are alike two by two although not all are: the whole spread still says something
        base = set_baseline(part, charted.kind, rules=rules, spread="standard deviation", **options)
    inside = base.chart[base.chart["phase"] == "baseline"]
    likeness = autocorrelation(inside["z"], days=day_numbers(inside["at"]), sharing=sharing)
    if likeness.is_marked:
        rules = ("beyond_3",)
        base = set_baseline(part, charted.kind, rules=rules, spread=sharing, **options)
    return base, likeness, rules


def _applied(limits, points, phase):
    frame = apply_limits(limits, points, phase=phase)
    frame["cone"], frame["operator"] = points["cone"].to_numpy(), points["operator"].to_numpy()
    return _as_read(frame, points)


def _as_read(frame, points):
    """A point is shown as it was read, whatever a log scale made of it; one that was read as nothing is marked."""
    if "read" in points:
        frame["value"] = points["read"].to_numpy()
        frame["is_zero"] = (points["read"] <= 0).to_numpy()
    return frame


def _empty_limits(points):
    frame = pd.DataFrame({name: points.get(name, np.nan) for name in CHART_COLUMNS})
    frame["point"], frame["phase"] = np.arange(1, len(points) + 1), "monitored"
    frame["cone"], frame["operator"] = points["cone"].to_numpy(), points["operator"].to_numpy()
    return _as_read(frame, points)


def freeze_chart(chart: LotChart, *, set_by, set_at, name="", notes=""):
    """Turn a chart's proposed baseline into a row of the log's baselines table.

    Parameters
    ----------
    chart : LotChart
        With limits that are not frozen yet.
    set_by, set_at : str
        Who and when (ISO 8601 with offset).
    name : str
        The baseline's own name; quantity, lot and day when left out.
    notes : str

    Returns
    -------
    DataFrame, shape (1, 12)

    Raises
    ------
    InputError
        There are no limits to freeze, or they are frozen already.

    Examples
    --------
    >>> first, last = pd.Timestamp("2026-10-01", tz="UTC"), pd.Timestamp("2026-11-01", tz="UTC")
    >>> chart = charts.build_chart(series, "hatch_pct", lot="K-121", period=(first, last))
    >>> charts.freeze_chart(chart, set_by="op1", set_at="2026-11-06T10:00:00+00:00")["chart"].tolist()
    ['hatch_pct']
    """
    of = f" of lot {chart.lot}" if chart.lot else ""
    if chart.limits is None or chart.is_frozen:
        why = "are frozen already" if chart.is_frozen else f"cannot be set yet: {chart.baseline_words}"
        raise InputError(f"baselines: the limits for {chart.charted.label}{of} {why}.")
    base = Baseline(chart.limits, chart.frame, chart.signals, chart.set_aside, chart.notes)
    name = name or "-".join(part for part in (chart.name, chart.lot, set_at[:10]) if part)
    return freeze(base, name=name, chart=chart.name, set_by=set_by, set_at=set_at, lot=chart.lot, notes=notes)
