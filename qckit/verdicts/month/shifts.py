"""Changes of a month as a reader needs them: in the chart's unit, with dates, with the water that goes with them.

A change that an earlier month's review found stands in the log's ``changes`` table; a later review recognises it by its
group and keeps the date that was told first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.change import ALL, group_words
from qckit.charts.search import Search
from qckit.charts.selection import size_after_selection
from qckit.charts.series import CHARTED, CONDITIONS
from qckit.charts.water import LEAST_STEP, METER_ERROR
from qckit.log_odds import expit

__all__ = [
    "ROOM",
    "PastChange",
    "Shift",
    "matched_with_log",
    "no_longer_found",
    "shift_of_lot",
    "shifts_of",
    "unread_beside",
    "water_beside",
]

ROOM = "room"
"""Factor of a change of all hatches, as the log's changes table writes it."""
_SURE = 4.0  # standard errors from which a water reading is said to go with a change
_OUTSIDE = 3  # hatches of the same lot that a change is seen against
_YOUNG = 0.1  # part of a lot's life that counts as its opening
_HARDLY_READ, _MOSTLY_READ = 0.1, 0.4  # share of hatches
_NEAR_DAYS = 10  # a change found again may have moved by so much


@dataclass(frozen=True, kw_only=True)
class Shift:
    """One change told on the page.

    ``effect`` and its bounds are in the quantity's unit, at 95 %, the fact that it was told only because it stood out
    allowed for. ``kind``: change (a step), drift (wanders off evenly; a lot that ages from its opening on
    does not count), level (someone or something new that differs), lot (a lot that differs from the one before).
    ``counts``: for the verdict. ``is_of_meter``: of the water, and no more than a meter may be off by, so that it does
    not count. ``state``: open, explained, closed.
    """

    quantity: str
    kind: str
    where: str
    factor: str
    level: str
    first: pd.Timestamp
    first_low: pd.Timestamp
    first_high: pd.Timestamp
    last: pd.Timestamp
    last_low: pd.Timestamp
    last_high: pd.Timestamp
    is_ongoing: bool
    n_hatches: int
    effect: float
    effect_low: float
    effect_high: float
    effect_z: float
    p_value: float
    labels: tuple = ()
    around: tuple = ()  # hatches of the group between the bounds of its beginning and end
    rivals: tuple = ()
    conditions: list = field(default_factory=list)
    unread: tuple = ()  # quantities of the water read in other hatches and hardly in these
    counts: bool = True
    is_of_meter: bool = False
    is_slight: bool = False  # less than matters to cysts
    state: str = "open"
    note: str = ""
    by: str = ""
    found_in: str = ""  # month whose review told it first; empty: this one
    per_30_days: float = math.nan  # of a drift

    @property
    def is_open(self) -> bool:
        """Whether it is still to be dealt with."""
        return self.counts and self.state == "open"

    @property
    def name(self) -> str:
        """Name in the log's changes table."""
        return f"{self.quantity}|{self.factor or ROOM}|{self.level}|{self.first:%Y-%m-%d}"


def _back(quantity):
    """From the working scale to the unit."""
    kind = CHARTED[quantity].kind
    if kind.startswith("p"):
        return lambda x: 100 * expit(x)
    return np.exp if kind == "log individuals" else (lambda x: x)


def shifts_of(search: Search | None, frame, quantity, *, first) -> list[Shift]:
    """Turn a search's changes that touch the month into shifts.

    Parameters
    ----------
    search : search.Search or None
    frame : DataFrame
        The searched hatches: label, at, lot.
    quantity : str
    first : Timestamp
        Begin of the month.
    """
    if search is None:
        return []
    return [
        _shift(change, search.model.fitted, frame, quantity)
        for change in search.changes
        if frame["at"].iloc[change.last] >= first and _shows_in_month(change, frame, first)
    ]


def _shift(change, fitted, frame, quantity) -> Shift:
    """One change with its place in words and its effect in the unit."""
    at, rows, size = frame["at"], change.rows, _size_of(change, fitted, _back(quantity))
    factor, level = change.factor, change.level if change.factor else ""
    mine = (frame[factor].astype(str) == level) if factor else pd.Series(True, index=frame.index)
    near = mine & (at >= at.iloc[change.first_low]) & (at <= at.iloc[change.last_high])
    lots = frame["lot"].iloc[rows].unique() if "lot" in frame else []
    if change.shape == "ramp" and not factor and len(lots) == 1 and quantity == "hatch_pct":
        factor, level = "lot", str(lots[0])  # what wanders off in one lot only is that lot
    kind = {"step": "change", "ramp": "drift", "level": "level"}[change.shape]
    days = max(1.0, float(np.mean(change.column[rows]))) if kind == "drift" else 1.0
    effect, bounds = size(change.coefficient), sorted((size(change.low), size(change.high)))
    is_of_meter = bool(np.abs(change.coefficient * change.column).max() <= METER_ERROR.get(quantity, 0.0))
    is_slight = bool(_largest_step(change, fitted, _back(quantity)) < LEAST_STEP.get(quantity, 0.0))
    is_ageing = kind == "drift" and _is_ageing(factor, level, change, frame)
    return Shift(
        quantity=quantity,
        kind=kind,
        where=group_words(factor, level) if factor else ALL,
        factor=factor,
        level=level,
        **{k: at.iloc[getattr(change, k)] for k in _PLACES},
        is_ongoing=change.is_ongoing,
        n_hatches=len(rows),
        effect=effect,
        effect_low=bounds[0],
        effect_high=bounds[1],
        effect_z=change.z,
        p_value=change.p_value,
        labels=tuple(frame["label"].iloc[rows]),
        around=tuple(frame.loc[near, "label"]),
        rivals=change.rivals,
        counts=not (is_of_meter or is_slight or is_ageing),
        is_of_meter=is_of_meter,
        is_slight=is_slight,
        per_30_days=30 * effect / days if kind == "drift" else math.nan,
    )


def _size_of(change, fitted, back):
    """Return a function: a coefficient of the change -> what it means for its hatches, on average, in the unit."""
    column = change.column[change.rows]
    without = fitted[change.rows] - change.coefficient * column
    return lambda coefficient: float(np.mean(back(without + coefficient * column) - back(without)))


def _largest_step(change, fitted, back):
    """How far a change moves the hatch that it moves most, in the unit."""
    most = change.rows[np.argmax(np.abs(change.column[change.rows]))]
    return abs(back(fitted[most]) - back(fitted[most] - change.coefficient * change.column[most]))


def _shows_in_month(change, frame, first) -> bool:
    """Whether the month's own hatches tell of it: a lot that the change holds whole only moves its own free level."""
    if "lot" not in frame or change.shape == "level":
        return True
    touched = np.zeros(len(frame), bool)
    touched[change.rows] = True
    mine = frame.loc[touched & (frame["at"] >= first).to_numpy(), "lot"].unique()
    outside = frame.loc[~touched, "lot"].value_counts()
    return bool((outside.reindex(mine).fillna(0) >= _OUTSIDE).any())


def _is_ageing(factor, level, change, frame) -> bool:
    """Whether a lot simply ages: it falls evenly, and may well have done so from its opening on."""
    if factor != "lot" or change.coefficient >= 0:
        return False
    mine = frame.loc[frame["lot"] == level, "at"]
    life = mine.iloc[-1] - mine.iloc[0]
    return bool(frame["at"].iloc[change.first_low] <= mine.iloc[0] + _YOUNG * life)


_PLACES = ("first", "first_low", "first_high", "last", "last_low", "last_high")


def shift_of_lot(lot, frame) -> Shift:
    """The change that a worse lot is: since its first hatch."""
    mine = frame[frame["lot"] == lot.lot]
    begin, end = mine["at"].iloc[0], mine["at"].iloc[-1]
    sd = (lot.drop_high - lot.drop_low) / 2 / 2.58
    drop = lot.drop if lot.before else lot.prospect.pct - lot.level
    low = high = math.nan
    if lot.before and sd > 0:
        low, high = size_after_selection(-drop, sd, threshold=lot.least_drop / sd)
    return Shift(
        quantity="hatch_pct",
        kind="lot",
        where=f"lot {lot.lot}",
        factor="lot",
        level=lot.lot,
        first=begin,
        first_low=begin,
        first_high=begin,
        last=end,
        last_low=end,
        last_high=end,
        is_ongoing=True,
        n_hatches=len(mine),
        effect=-drop,
        effect_low=low,
        effect_high=high,
        effect_z=-drop / sd if lot.before and sd > 0 else math.nan,
        p_value=lot.p_value,
        labels=tuple(mine["label"]),
        counts=lot.is_unusual,
    )


def water_beside(shift: Shift, searches: dict, points: dict) -> Shift:
    """Add to a shift the water that differs in its hatches from what cones, days and season make expected.

    Parameters
    ----------
    shift : Shift
    searches, points : dict
        Quantity -> search of the water, and its points.
    """
    found = []
    for name, search in searches.items():
        if search is None:
            continue
        frame = points[name]
        mine = frame["label"].isin(shift.labels).to_numpy()
        if mine.sum() < 2 or mine.all():
            continue
        column = mine.astype(float)
        if shift.kind == "drift":  # what wanders off is compared by its later half
            later = np.cumsum(mine) > mine.sum() / 2
            column = (mine & later).astype(float)
        value, se = search.plain.estimate(column)
        s = search.plain.spreads
        sd = min(
            math.hypot(s.residual, s.day), float(np.std(frame["y"][~mine], ddof=1)) if (~mine).sum() > 2 else math.inf
        )
        there = float(frame["y"][column > 0].mean())
        # what the water would have been: its level with its own changes taken out
        usual = search.model.fitted - sum(c.coefficient * c.column for c in search.changes)
        difference = there - float(usual[column > 0].mean())
        water_changes = [
            c
            for c in search.changes
            if c.coefficient * difference > 0
            and np.isin(np.flatnonzero(mine), c.rows).mean() > 0.3
            and _begins_with(c, frame["at"], shift)
        ]
        is_sure = bool(water_changes) or (abs(value) / se >= _SURE and difference * value > 0)
        if not is_sure or abs(difference) < sd:
            continue
        since = min((frame["at"].iloc[c.first] for c in water_changes), default=None)
        labels = {label for c in water_changes for label in frame["label"].iloc[c.rows]}
        here, elsewhere = (float(_back(name)(v)) for v in (there, there - difference))
        found.append(
            {
                "condition": name,
                "there": here,
                "elsewhere": elsewhere,
                "difference": here - elsewhere,
                "sd": sd * (here - elsewhere) / difference,
                "since": f"{since:%Y-%m-%d}" if since is not None else "",
                "labels": tuple(labels | set(frame["label"][mine])),
            }
        )
    return replace(shift, conditions=sorted(found, key=lambda c: -abs(c["difference"]) / c["sd"]))


def _begins_with(change, at, shift) -> bool:
    """Whether the water moved when the hatches did: a step long before did no harm; a drift may take its time."""
    near = pd.Timedelta(days=_NEAR_DAYS)
    return change.shape != "step" or at.iloc[change.first_high] >= shift.first_low - near


def unread_beside(shift: Shift, history) -> Shift:
    """Add to a shift the water that is read in most other hatches and was hardly read in its own."""
    mine = history["hatch"].isin(shift.labels)
    if shift.quantity in CONDITIONS or mine.sum() < _OUTSIDE or (~mine).sum() < _OUTSIDE:
        return shift
    read = history[list(CONDITIONS)].notna()
    unread = (read[mine].mean() <= _HARDLY_READ) & (read[~mine].mean() >= _MOSTLY_READ)
    return replace(shift, unread=tuple(q for q in CONDITIONS if unread[q]))


def matched_with_log(shifts, changes, signals, month: str) -> list[Shift]:
    """Give changes that earlier months told the date, the state and the explanation that the log holds.

    Who explained a change stands at its signal; where it has none, who found it is all that is known.
    """
    if changes is None or not len(changes):
        return shifts
    who = {} if signals is None else dict(zip(signals["signal"], signals["by"].map(_text), strict=True))
    return [_matched(s, changes, who, month) for s in shifts]


def _matched(shift, changes, who, month):
    candidates = changes[
        (changes["quantity"] == shift.quantity)
        & (changes["factor"] == (shift.factor or ROOM))
        & (changes["level"].fillna("") == shift.level)
        & (np.sign(changes["effect"].astype(float)) == np.sign(shift.effect))
    ]
    near = pd.Timedelta(days=_NEAR_DAYS)
    for row in candidates.to_dict("records"):
        dates = {k: pd.Timestamp(row[k]).tz_convert(shift.first.tz) if row[k] else shift.first for k in _PLACES[:3]}
        if dates["first_low"] - near <= shift.first_high and shift.first_low <= dates["first_high"] + near:
            standing = {
                "state": row["state"],
                "note": _text(row["note"]),
                "by": who.get(row["change"]) or _text(row["found_by"]),
            }
            earlier = str(row["month"]) if str(row["month"]) < month else ""
            return replace(shift, **(dates if earlier else {}), **standing, found_in=earlier)
    return shift


@dataclass(frozen=True, kw_only=True)
class PastChange:
    """A change that the review of the month before told and nobody explained, and that this month does not show."""

    quantity: str
    factor: str  # empty: all hatches
    level: str
    first: pd.Timestamp
    effect: float
    found_in: str  # month whose review told it

    @property
    def where(self) -> str:
        """The group in words."""
        return group_words(self.factor, self.level) if self.factor else ALL


def no_longer_found(shifts, changes, *, first) -> list[PastChange]:
    """Open changes in the log that the review of the month before told and of which this month shows nothing.

    Parameters
    ----------
    shifts : list of Shift
        The month's own, matched with the log.
    changes : DataFrame or None
        The log's ``changes`` table.
    first : Timestamp
        Begin of the month.
    """
    if changes is None or not len(changes):
        return []
    before = f"{first - pd.Timedelta(days=1):%Y-%m}"
    still = {(s.quantity, s.factor or ROOM, s.level, s.effect > 0) for s in shifts}
    rows = changes[(changes["month"].astype(str) == before) & (changes["state"] == "open")]
    return [
        PastChange(
            quantity=row["quantity"],
            factor="" if row["factor"] == ROOM else row["factor"],
            level=_text(row["level"]),
            first=pd.Timestamp(row["first"]).tz_convert(first.tz),
            effect=float(row["effect"]),
            found_in=before,
        )
        for row in rows.to_dict("records")
        if (row["quantity"], row["factor"], _text(row["level"]), float(row["effect"]) > 0) not in still
    ]


def _text(cell) -> str:
    """A cell's text; empty where the log holds none."""
    return cell if isinstance(cell, str) else ""
