"""What the readings of a hatch say of each cause: a likelihood ratio for every draw of the cause's strength.

Without the cause a reading strays as the site's own hatches do, with heavy tails and now and then wrong: a slip of one
reading, or a meter that is off in all of a hatch's. How often, the site's own readings tell: one in 25 before any was
seen, fewer after many that were never far off. Two readings far off are seldom two slips, so that they are believed
further than one. With the cause a reading lies further in the bad direction, by an amount that is known to a factor
only, and only if it was taken while the cause acted: one in the first hours says little of the night that follows, and
of several later ones some may lie before or after the hours in which the water, or the meter, was off
(``part_time.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.columns import is_missing
from qckit.hatch.water.readings import water_values
from qckit.quantities import CONDITIONS, QUANTITIES, WATER
from qckit.robust import robust_sd
from qckit.tables import to_utc
from qckit.verdicts.poor_hatch.causes import Cause
from qckit.verdicts.poor_hatch.likelihood.part_time import off_for_a_part, runs_of_readings

__all__ = ["Record", "Remeasured", "log_ratio", "records_of", "remeasured_ratio", "usual_readings"]

_READ = tuple(CONDITIONS)
# least spread of a site's ordinary hatches, and that of a meter gone wrong (ours), on the quantity's working scale
_FLOOR = {"temperature": 0.4, "salinity": 0.8, "ph": 0.06, "oxygen": 0.3, "light": 0.08, "hours": 0.5, "density": 0.04}
_WRONG = {"temperature": 3.0, "salinity": 8.0, "ph": 0.5, "oxygen": 1.6, "light": 0.5, "hours": 8.0, "density": 0.5}
_WRONG_SHARE = {"hours": 0.02, "density": 0.01}
_WRONG_ELSE = 0.04
_WRONG_WEIGHT = 50.0  # readings that these shares are worth: a poor hatch may be read in more haste than others (ours)
_STEPS = 10  # of EM: the share moves by less than a hundredth then
_OF_METER = 0.25  # of the wrong ones: off in all readings of a hatch alike (ours)
_ALL = 0.97  # as much as a cause is taken to cost
_MOST_LATE = 24  # readings of one quantity that are weighed (ours): a logger's say little more by being many
_START_H = 3.0  # a reading in the first hours speaks of the start
_SHEET_LATE = 0.25  # of the values that a field sheet gives without an hour: read later on (ours)
_LEAST_READ, _LEAST_APART = 5, 10  # values that make a centre; of the start and later, each, that are held apart
_T_DF = 4.0
_POINTS = 21
_STANDARD = {
    "temperature": "temperature_c",
    "salinity": "salinity_ppt",
    "hours": "reading_h",
    "ph": 8.2,
    "oxygen": 6.2,
    "light": 2000.0,
    "density": 2.0,
}
_MASS_SD, _MASS_LINK = 0.02, 0.06  # of weighing again, and of how well that foretells the counts (ours)


@dataclass(frozen=True)
class Record:
    """One value of a quantity in one hatch; ``hour`` since wetting, NaN where the sheet does not say."""

    quantity: str
    value: float
    hour: float = math.nan


@dataclass(frozen=True)
class Ordinary:
    """What a quantity is in a site's ordinary hatches, on its working scale."""

    start: tuple[float, float]  # centre and spread
    late: tuple[float, float]
    wrong: float  # share of readings that are wrong


def _scale(quantity, value):
    """Light and cysts per litre act by factors, the others by differences."""
    if quantity == "light":
        return np.log10(np.maximum(np.asarray(value, float), 0.0) + 30.0)
    return np.log(np.maximum(np.asarray(value, float), 1e-3)) if quantity == "density" else np.asarray(value, float)


def records_of(hatch_row, readings, *, hours: float) -> list[Record]:
    """List what is written down of a hatch's water, hours and grams.

    Parameters
    ----------
    hatch_row : mapping
        The hatch's row. A value of the sheet that one of the readings repeats is counted once.
    readings : DataFrame or None
        The readings, in standard units.
    hours : float
        Hours from wetting to the count, as written. [h]

    Returns
    -------
    list of Record
    """
    found = []
    of_hatch = None if readings is None or not len(readings) else readings[readings["hatch"] == hatch_row["hatch"]]
    if of_hatch is not None and len(of_hatch):
        at = (to_utc(of_hatch["taken"]) - pd.Timestamp(hatch_row["started"])).dt.total_seconds() / 3600.0
        for q, v, hour in zip(of_hatch["quantity"], of_hatch["value"].astype(float), at, strict=True):
            if q in WATER and math.isfinite(v):
                found.append(Record(q, v, float(hour)))
    for q in WATER:
        value = hatch_row.get(QUANTITIES[q].column)
        if is_missing(value) or not math.isfinite(float(value)):
            continue
        if not any(r.quantity == q and abs(r.value - float(value)) < 0.011 for r in found):
            found.append(Record(q, float(value)))
    if math.isfinite(hours):
        found.append(Record("hours", hours, hours))
    grams, litres = float(hatch_row["cysts_g"]), float(hatch_row["volume_ml"]) / 1000.0
    if grams > 0 and litres > 0:
        found.append(Record("density", grams / litres, 0.0))
    return found


def usual_readings(hatches, readings, hours: pd.Series, *, among, conditions) -> dict[str, Ordinary]:
    """Centre, spread and share of wrong readings of every quantity in the site's ordinary hatches.

    Water changes over a hatch (oxygen and pH fall, a cone warms up), so that a late value is held against late ones
    where enough of both are known, and all against all elsewhere.

    Parameters
    ----------
    hatches, readings : DataFrame
        The tables of those names.
    hours : Series
        Hatch -> hour of its count.
    among : sequence of str
        Hatches that stand for what is usual.
    conditions : ConditionSettings
        The site's standards, which stand in where fewer than five hatches were read.

    Returns
    -------
    dict of str to Ordinary
    """
    chosen = set(among)
    among_hatches = hatches[hatches["hatch"].isin(chosen)]
    water = water_values(among_hatches, None if readings is None else readings[readings["hatch"].isin(chosen)])
    is_late = _is_late(water, among_hatches)
    values = {q: list(water.loc[water["quantity"] == q, "value"]) for q in WATER}
    values["hours"] = list(hours[hours.index.isin(chosen)].dropna())
    values["density"] = list((among_hatches["cysts_g"] / among_hatches["volume_ml"] * 1000.0).dropna())
    found = {}
    for q in _READ:
        found_values = values[q]
        x = _scale(q, np.array(found_values, dtype=float))
        standard = _STANDARD[q] if not isinstance(_STANDARD[q], str) else getattr(conditions, _STANDARD[q])
        whole = _centre_and_spread(x, q) if len(x) >= _LEAST_READ else (float(_scale(q, standard)), 2.5 * _FLOOR[q])
        early_late, late = (whole, whole), is_late[(water["quantity"] == q).to_numpy()]
        if q in WATER and min(late.sum(), (~late).sum()) >= _LEAST_APART:
            early_late = _centre_and_spread(x[~late], q), _centre_and_spread(x[late], q)
        found[q] = Ordinary(*early_late, _share_wrong(x, q, whole))
    return found


def _share_wrong(x, q, whole):
    """Share of wrong readings: the prior's, moved by how many of the site's own look wrong (a few steps of EM)."""
    prior = _WRONG_SHARE.get(q, _WRONG_ELSE)
    if len(x) < _LEAST_READ:
        return prior
    centre, spread = whole
    wrong, right = _misread(x - centre, _WRONG[q], spread), _t((x - centre) / spread) / spread
    share = prior
    for _ in range(_STEPS):
        among = (share * wrong / (share * wrong + (1 - share) * right)).sum()
        share = (_WRONG_WEIGHT * prior + among) / (_WRONG_WEIGHT + len(x))
    return float(share)


def _misread(x, off_sd, spread):
    """Density of wrong readings ``x``, each wrong by itself."""
    off = off_sd * _quantiles()
    return (_t((x[..., None] - off) / (1.5 * spread)) / (1.5 * spread)).mean(axis=-1)


def _is_late(water, hatches):
    """Which values were read after the first hours; the field sheet's were not."""
    is_late, read = np.zeros(len(water), bool), water["taken"].notna().to_numpy()
    if read.any():
        started = to_utc(hatches.set_index("hatch")["started"])
        since = to_utc(water.loc[read, "taken"]) - water.loc[read, "hatch"].map(started)
        is_late[read] = since.dt.total_seconds() > 3600.0 * _START_H
    return is_late


def _centre_and_spread(x, q):
    centre = float(np.median(x))
    return centre, max(_FLOOR[q], robust_sd(x, centre))


def log_ratio(item: Cause, loss: np.ndarray, records: list[Record], usual: dict) -> dict[str, np.ndarray]:
    """Log likelihood ratios of a hatch's readings, with a cause of each strength against without it.

    Parameters
    ----------
    item : Cause
    loss : ndarray, shape (n,)
        Share of the nauplii it costs.
    records : list of Record
    usual : dict
        As :func:`usual_readings` returns it.

    Returns
    -------
    dict of str to ndarray of shape (n,)
        By quantity; empty for a cause without a reading that tells of it, or one that was not read.
    """
    readings_moved = (*((item.reading,) if item.reading else ()), *item.other_readings)
    read = {r.quantity for r in records}
    return {
        moved.quantity: _one_ratio(moved, loss, records, usual) for moved in readings_moved if moved.quantity in read
    }


def _one_ratio(moved, loss, records, usual):
    """Log likelihood ratio of the readings of one quantity."""
    of_quantity = [r for r in records if r.quantity == moved.quantity]
    ordinary = usual[moved.quantity]
    meter = _OF_METER * ordinary.wrong  # off in all of a hatch's values alike
    slip = (ordinary.wrong - meter) / (1 - meter)  # a slip of one value
    late = _thinned(sorted((r for r in of_quantity if _is_of_late(r)), key=lambda r: r.hour))
    start = [r for r in of_quantity if r.hour <= _START_H]
    undated = [r for r in of_quantity if math.isnan(r.hour)]
    sign = -1 if moved.side == "low" else 1
    plain, with_cause = 1.0, np.ones(len(loss))
    misread, misread_in_part = 1.0, moved.part
    off = _WRONG[moved.quantity] * _quantiles()[:, None]
    either = (1 - _SHEET_LATE) * moved.start + _SHEET_LATE * moved.late
    periods = (
        (start, ordinary.start, moved.start),
        (undated, ordinary.start, either),
        (late, ordinary.late, moved.late),
    )
    for taken, (centre, spread), shown in periods:
        x = sign * (_scale(moved.quantity, [r.value for r in taken]) - centre)
        slipped = slip * _misread(x, _WRONG[moved.quantity], spread)
        usually = (1 - slip) * _t(x / spread) / spread + slipped
        by_meter = _t((x - off) / (1.5 * spread)) / (1.5 * spread)

        def density_at(share, x=x, spread=spread, slipped=slipped):
            shift = _shift(moved, np.minimum(loss / share, _ALL))[..., None]
            wide = np.hypot(1.5 * spread, 0.1 * shift)
            return (1 - slip) * _t((x - shift) / wide) / wide + slipped

        there, as_usual = np.prod(density_at(1.0), axis=2).mean(axis=1), float(np.prod(usually))
        by_meter_in_part = as_usual
        if taken is late and len(late) > 1 and moved.part:
            end = max(r.hour for r in records if math.isfinite(r.hour))  # the hour of the count is among them
            runs = runs_of_readings(np.array([r.hour for r in late]), _START_H, end)
            in_part = as_usual * off_for_a_part(runs, usually, density_at).mean(axis=1)
            there = (1 - moved.part) * there + moved.part * in_part
            by_meter_in_part *= float(off_for_a_part(runs, usually, lambda _share, m=by_meter: m[None]).mean())
        plain, with_cause = plain * as_usual, with_cause * (shown * there + (1 - shown) * as_usual)
        misread, misread_in_part = misread * np.prod(by_meter, axis=1), misread_in_part * by_meter_in_part
    many = len(late) > 1
    misread = float(np.mean(misread)) * (1 - moved.part * many) + misread_in_part * many
    return np.log((1 - meter) * with_cause + meter * misread) - math.log((1 - meter) * plain + meter * misread)


def _is_of_late(record):
    return math.isfinite(record.hour) and record.hour > _START_H


def _shift(moved, loss):
    """How far readings stray for each loss, at the points of its law, shape (n, points)."""
    return (moved.shift[0] + moved.shift[1] * loss)[:, None] * np.exp(moved.factor * _quantiles()[None])


def _thinned(late):
    """Readings in order of time, those of a logger as medians of as many equal parts as are weighed."""
    if len(late) <= _MOST_LATE:
        return late
    parts = [late[part[0] : part[-1] + 1] for part in np.array_split(np.arange(len(late)), _MOST_LATE)]
    middle = [(float(np.median([r.value for r in p])), float(np.median([r.hour for r in p]))) for p in parts]
    return [Record(late[0].quantity, value, hour) for value, hour in middle]


def _quantiles():
    """Points of equal weight of a standard normal."""
    from scipy.special import ndtri

    return ndtri((np.arange(_POINTS) + 0.5) / _POINTS)


def _t(z):
    """Density of a t law with four degrees of freedom."""
    return 0.375 * (1 + np.square(z) / _T_DF) ** -2.5


@dataclass(frozen=True)
class Remeasured:
    """A mass or a volume measured again, beside what the sheet says."""

    quantity: str  # cyst mass, volume
    value: float
    as_written: float
    unit: str

    @property
    def sentence(self) -> str:
        """Both values in words, without a capital and a full stop."""
        what = "weighed again" if self.quantity == "cyst mass" else "volume measured again"
        return f"{what}: {self.value:g} {self.unit}, written {self.as_written:g} {self.unit}"


def remeasured_ratio(loss: np.ndarray, hatch_row, readings) -> tuple[dict[str, np.ndarray], list[Remeasured]]:
    """Log likelihood ratio of a mass or a volume measured again, for each size of an error of the amount.

    Parameters
    ----------
    loss : ndarray, shape (n,)
        Share by which everything falls short.
    hatch_row : mapping
    readings : DataFrame or None
        In standard units; rows with the quantity "cyst mass" [g] or "volume" [ml].

    Returns
    -------
    (dict of str to ndarray of shape (n,), list of Remeasured)
        The ratios under "amount" (empty where nothing was measured again), and what was.
    """
    found = []
    if readings is None or not len(readings):
        return {}, found
    of_hatch = readings[readings["hatch"] == hatch_row["hatch"]]
    total = 0.0
    for quantity, column, sign, unit in (("cyst mass", "cysts_g", 1, "g"), ("volume", "volume_ml", -1, "ml")):
        values = of_hatch.loc[of_hatch["quantity"] == quantity, "value"].astype(float)
        if len(values) and float(hatch_row[column]) > 0 and values.iloc[-1] > 0:
            written, again = float(hatch_row[column]), float(values.iloc[-1])
            total += sign * math.log(again / written)
            found.append(Remeasured(quantity, again, written, unit))
    if not found:
        return {}, found
    away = total - np.log1p(-loss)
    with_it = _t(away / _MASS_LINK) / _MASS_LINK
    without = 0.97 * _t(total / _MASS_SD) / _MASS_SD + 0.03 * _t(total / 0.3) / 0.3
    return {"amount": np.log(0.93 * with_it / without + 0.07)}, found
