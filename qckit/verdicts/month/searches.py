"""Everything that is searched for changes in a month's review: hatches, yield, water, lots, levels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.charts.candidates import SHORTEST
from qckit.charts.change import ALL, group_words
from qckit.charts.levels import Priors
from qckit.charts.search import Search, detectable_size, find_changes_in_levels
from qckit.charts.selection import size_after_selection
from qckit.charts.series import CONDITIONS
from qckit.charts.water import search_water, water_limits, water_points
from qckit.hatch.water.readings import standard_readings
from qckit.log_odds import expit
from qckit.verdicts.lots.expected import expected_of_lot
from qckit.verdicts.lots.usual import counted_hatches
from qckit.verdicts.month.false_alarms import SHARES
from qckit.verdicts.month.far_off import far_off_readings, reasons_of
from qckit.verdicts.month.lot_levels import LotLevel, judge_lots
from qckit.verdicts.month.set_aside import points_aside
from qckit.verdicts.month.shifts import Shift, shift_of_lot, shifts_of, unread_beside, water_beside
from qckit.verdicts.month.single_hatches import hatches_alone

__all__ = ["MonthSearch", "StandingDifference", "search_month", "standing_differences"]

_MOST = 900  # hatches looked back on; a lot is seldom in use for so many
_LEAST = 12  # hatches below which nothing is searched
_ROUNDS = 2  # hatches that stand out are looked for: among all, and again without those found
_STANDING = 1.5  # points from which a standing difference is worth a line
_EFFICIENCY = Priors(residual=0.15)


@dataclass(frozen=True, kw_only=True)
class StandingDifference:
    """A cone, person or way of counting that differs and always did. [points]"""

    factor: str
    level: str
    where: str
    points: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class MonthSearch:
    """What was searched and found."""

    search: Search | None  # of the hatching percentage, without the hatches that stand out
    alone: dict  # hatch whose percentage stands out in its month -> that month
    shifts: list  # of Shift
    lots: list  # of LotLevel
    standing: list  # of StandingDifference
    waters: dict  # quantity -> WaterDays or None
    far_off: pd.DataFrame  # readings far off the standard, from far_off.far_off_readings
    unseen: tuple  # (where, points): a fall over the month that was just large enough to be told in four of five cases


def search_month(history, tables, *, cones, lot, names, period, belonging=frozenset()) -> MonthSearch:
    """Search everything up to the end of a month.

    Parameters
    ----------
    history : DataFrame
        From :func:`qckit.charts.series.hatch_series`, without hatches that a person explained or set aside.
    tables : SiteTables
    cones : DataFrame
        ``cone_metrics`` of the tables.
    lot : str
        One lot only: changes that touch it; empty for all.
    names : list of str
        Lots of the month.
    period : (Timestamp, Timestamp)
        The month's first moment, and that after its last.
    belonging : set of str
        Hatches that a person said are part of what is usual, whether they stand out or not.
    """
    history, (first, last) = history.tail(_MOST), period
    search, alone = _search_hatches(history, first, belonging)
    shifts = shifts_of(search, search.frame, "hatch_pct", first=first) if search is not None else []
    points = {q: _points(history, tables, q) for q in CONDITIONS}
    share = SHARES["water"] / len(CONDITIONS)
    found = {q: search_water(p, q, last=last, alpha=share) for q, p in points.items()}
    measured = standard_readings(tables.readings, tables.hatches)
    far = far_off_readings(points, tables.settings.conditions, last=last, measured=measured)
    waters = {
        q: water_limits(p, q, first=first, last=last, over=_over(found[q], first), far=reasons_of(far, q))
        for q, p in points.items()
    }
    frames = {q: s.frame for q, s in found.items() if s is not None}
    shifts = [unread_beside(water_beside(s, {q: found[q] for q in frames}, frames), history) for s in shifts]
    usual = history[~history["hatch"].isin(set(alone) - belonging)]
    shifts += _of_efficiency(usual, search, shifts, first)
    for q, frame in frames.items():
        shifts += [s for s in shifts_of(found[q], frame, q, first=first) if not _beside(s, shifts)]
    lots = _judge_lots(search, tables, cones, names, last) if search is not None else []
    worse = [shift_of_lot(v, search.frame) for v in lots if v.is_worse or v.is_unusual]
    shifts += [water_beside(s, {q: found[q] for q in frames}, frames) for s in worse]  # another water, or another lot?
    if lot:
        mine = set(history.loc[history["lot"] == lot, "hatch"])
        shifts = [s for s in shifts if mine & set(s.labels)]
    return MonthSearch(
        search=search,
        alone=alone,
        shifts=shifts,
        lots=lots,
        standing=standing_differences(search, shifts),
        waters=waters,
        far_off=far,
        unseen=_unseen(search, first),
    )


def _search_hatches(history, first, belonging):
    """The search for changes, and the hatches that stand out beside these; they are left out of it."""
    frame = _working(history)
    if len(frame) < _LEAST:
        return None, {}
    return search_without_alone(frame, first, belonging)


def search_without_alone(frame, first, belonging=frozenset()):
    """Search hatches for changes, find those that stand out beside these, and search the others anew.

    Parameters
    ----------
    frame : DataFrame
        As for :func:`qckit.charts.search.find_changes_in_levels`, with ``size``.
    first : Timestamp
        Begin of the month.
    belonging : set of str
        Hatches that are left in.

    Returns
    -------
    tuple of (Search, dict)
        The last search, and hatch -> month of those that stand out.
    """
    search, alone = _search_all(frame), {}
    for _ in range(_ROUNDS):
        found = hatches_alone(search, first)
        apart = set(found) - belonging
        others = _search_all(_rest(search.frame, apart)) if apart else search
        part = _in_a_step(others, search.frame) & apart
        alone |= {hatch: month for hatch, month in found.items() if hatch not in part}
        apart -= part
        if not apart:
            break
        search = _search_all(_rest(search.frame, apart)) if part else others
    return search, alone


def _rest(frame, labels):
    return frame[~frame["label"].isin(labels)]


def _in_a_step(search, frame) -> set:
    """Hatches of the days and the group of a step that was found: part of it, however far off they lie.

    A step holds whole days, so that a sound hatch of its first day stands out beside it.
    """
    out, day, days = set(), frame["at"].dt.floor("D"), search.frame["at"].dt.floor("D")
    for c in search.changes:
        if c.shape == "step":
            mine = (day >= days.iloc[c.first_low]) & (day <= days.iloc[c.last_high])
            mine &= (frame[c.factor].astype(str) == c.level) if c.factor else True
            out |= set(frame.loc[mine, "label"])
    return out


def _search_all(frame):
    return find_changes_in_levels(frame, alpha=SHARES["changes"], late_alpha=SHARES["late levels"])


def _working(history):
    """Hatches on the logit scale with the variance that counting gives."""
    part = history[(history["full_cysts"] > 0) & history["nauplii"].notna()]
    n, k = part["full_cysts"].to_numpy(float), part["nauplii"].to_numpy(float)
    rest = np.maximum(n - k, 0)
    frame = part[["hatch", "at", "lot", "cone", "operator", "counted_by"]].rename(columns={"hatch": "label"})
    frame = frame.assign(y=np.log((k + 0.5) / (rest + 0.5)), counting=1 / (k + 0.5) + 1 / (rest + 0.5), size=n)
    return frame.sort_values("at", kind="stable").reset_index(drop=True)


def _of_efficiency(history, search, shifts, first):
    """Changes of nauplii per gram that no change of the percentage explains."""
    value = history["hatching_efficiency_per_g"].astype(float)
    part = history[value > 0]
    if len(part) < 2 * _LEAST:
        return []
    frame = part[["hatch", "at", "lot", "cone", "operator", "counted_by"]].rename(columns={"hatch": "label"})
    counting = 1 / np.maximum(part["nauplii"].to_numpy(float), 1.0)
    frame = frame.assign(y=np.log(part["hatching_efficiency_per_g"].astype(float)), counting=counting)
    frame = frame.reset_index(drop=True)
    beside = None
    if search is not None and search.changes:  # what moves the percentage moves nauplii per gram too
        row = {label: i for i, label in enumerate(search.frame["label"])}
        at = [row.get(label, -1) for label in frame["label"]]
        beside = np.column_stack([np.where(np.array(at) >= 0, c.column[at], 0.0) for c in search.changes])
    search = find_changes_in_levels(
        frame, alpha=SHARES["efficiency"], late_alpha=0.0, priors=_EFFICIENCY, with_ramps=False, beside=beside
    )
    of_efficiency = shifts_of(search, search.frame, "hatching_efficiency_per_g", first=first)
    known_labels = {label for s in shifts for label in s.labels}
    return [s for s in of_efficiency if len(known_labels & set(s.labels)) < 0.3 * s.n_hatches]


def _points(history, tables, q):
    points = water_points(history, q)
    return points[~points["label"].isin(points_aside(tables.signals, q))].reset_index(drop=True)


def _over(search, first) -> set:
    """Hatches of the changes of a search that were over before the month."""
    if search is None:
        return set()
    at, labels = search.frame["at"], search.frame["label"]
    ended = [c.rows for c in search.changes if at.iloc[c.last] < first]
    return {label for rows in ended for label in labels.iloc[rows]}


def _beside(water: Shift, shifts) -> bool:
    """Whether a change of the water is told with a change of the hatches already."""
    for s in shifts:
        if any(c["condition"] == water.quantity for c in s.conditions):
            both = len(set(water.labels) & set(s.labels))
            if both >= 0.3 * min(water.n_hatches, s.n_hatches):
                return True
    return False


def _unseen(search, first) -> tuple:
    """Smallest falls over the month's hatches that would have been told: of all hatches, and of one cone."""
    if search is None:
        return ()
    recent = (search.frame["at"] >= first).to_numpy()
    if recent.sum() < _LEAST:
        return ()
    level = float(np.median(search.model.fitted[recent]))

    def points(rows, group=None):
        size = detectable_size(search, rows, group=group)
        return 100 * (expit(level) - expit(level - size))

    out = [(ALL, points(np.flatnonzero(recent)))]
    cones = search.frame["cone"].fillna("").astype(str)
    every = [np.flatnonzero(cones == c) for c in sorted(set(cones) - {""})]
    each = [points(rows, group) for group in every if len(rows := group[recent[group]]) >= SHORTEST]
    if len(each) > 1:
        out.append(("one cone", float(np.median(each))))
    return tuple(out)


def _judge_lots(search, tables, cones, names, last) -> list[LotLevel]:
    limits, hour = tables.settings.limits, tables.settings.conditions.reading_h
    counts = counted_hatches(
        tables.samples, tables.hatches, tables.lots, photos=tables.photos, reading_h=hour, cones=cones
    )
    return judge_lots(
        search,
        {lot: expected_of_lot(counts, tables.lots, lot, before=last) for lot in names},
        minimum=limits.min_hatch_pct,
        margin_pct=limits.equivalence_margin_pct,
        alpha=SHARES["lots"],
        of_month=names,
    )


def standing_differences(search, shifts) -> list[StandingDifference]:
    """Differences that are there all along, in points at the middle of the lots."""
    if search is None:
        return []
    late = {(s.factor, s.level) for s in shifts if s.kind == "level"}
    model = search.model
    middle = expit(float(np.median(model.fitted)))
    scale = 100 * middle * (1 - middle)
    out = []
    for factor in ("cone", "operator", "counted_by"):
        for level, (value, se) in model.effects(factor).items():
            threshold = max(1.96, _STANDING / scale / max(se, 1e-9))  # standard errors
            if abs(value) >= threshold * se and (factor, level) not in late:
                # the estimate is drawn towards the others already: only the bound near none is moved for being told
                near = min(size_after_selection(abs(value), se, threshold=threshold))
                low, high = sorted(np.sign(value) * np.array([near, abs(value) + 1.96 * se]))
                out.append(
                    StandingDifference(
                        factor=factor,
                        level=level,
                        where=group_words(factor, level),
                        points=scale * value,
                        low=scale * low,
                        high=scale * high,
                    )
                )
    return sorted(out, key=lambda d: -abs(d.points))
