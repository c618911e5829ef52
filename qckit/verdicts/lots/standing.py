"""Cones, operators and ways of counting that stand apart for good: what is usual for a hatch allows for them.

The levels are those of the month's hierarchical model (``charts.levels``): drawn to none where hatches are few or
differ little. A hatch in a cone that always gives less is not poor for that alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.charts import LevelData, fit_levels
from qckit.charts.days import day_numbers
from qckit.charts.levels import FACTORS
from qckit.log_odds import expit, logit
from qckit.tables import to_utc
from qckit.verdicts.lots.usual import described

__all__ = ["Standing", "share_of", "standing_levels"]

_MOST = 160  # hatches of the site that are looked at, the latest
_LEAST = 12
_TELLS, _LEAST_POINTS = 2.0, 1.0  # standard errors from none, and points, from which a level is told (ours)


@dataclass(frozen=True)
class Standing:
    """Levels of cones, operators and ways of counting on the four figures of ``usual.py``."""

    effects: dict = field(default_factory=dict)  # (factor, level) -> (value (4,), variance (4,))
    rows: dict = field(default_factory=dict)  # hatch -> its (factor, level)
    n_hatches: dict = field(default_factory=dict)  # (factor, level) -> hatches behind it

    def of(self, hatch: str) -> np.ndarray:
        """How far a hatch's cone, operator and way of counting stand from the site's usual, shape (4,)."""
        found = [self.effects[key][0] for key in self.rows.get(hatch, ()) if key in self.effects]
        return np.sum(found, axis=0) if found else np.zeros(4)

    def variance(self, hatch: str) -> np.ndarray:
        """How uncertain that is, shape (4,)."""
        found = [self.effects[key][1] for key in self.rows.get(hatch, ()) if key in self.effects]
        return np.sum(found, axis=0) if found else np.zeros(4)

    def shift(self, hatch: str, mean: np.ndarray, name: str) -> float:
        """The same for the hatching percentage (on the logit scale) or nauplii per gram (on the log scale)."""
        if not np.isfinite(mean[:2]).all():
            return 0.0
        moved = self.of(hatch)
        share, usual = share_of(mean + moved), share_of(mean)
        if name == "hatch_pct":
            return logit(share) - logit(usual)
        return math.log(share / usual) + float(moved[3])

    def sure_differences(self, hatch: str, mean: np.ndarray) -> list[tuple[str, str, float]]:
        """Levels of a hatch's cone and operator that differ for sure: (factor, level, points of the percentage)."""
        if not np.isfinite(mean[:2]).all():
            return []
        found = []
        for key in (k for k in self.rows.get(hatch, ()) if k[0] != "counted_by"):
            value, variance = self.effects.get(key, (np.zeros(4), np.ones(4)))
            points = _points(mean, value)
            error = math.hypot(*(_points(mean, np.eye(4)[i] * math.sqrt(variance[i])) for i in (0, 1)))
            if abs(points) > max(_TELLS * error, _LEAST_POINTS):
                found.append((*key, points))
        return found

    def between_counts(self, one: str, other: str) -> tuple[np.ndarray, np.ndarray] | None:
        """How far one way of counting stands above another, and the variance of that; None where either is rare."""
        keys = ("counted_by", one), ("counted_by", other)
        if any(self.n_hatches.get(key, 0) < _LEAST or key not in self.effects for key in keys):
            return None
        (a, var_a), (b, var_b) = (self.effects[key] for key in keys)
        return a - b, var_a + var_b


def share_of(figures):
    """Share hatched of the full cysts that the first two figures amount to."""
    return float(expit(figures[0]) * expit(figures[1]))


def _points(mean, moved):
    return 100 * (share_of(mean + moved) - share_of(mean))


def standing_levels(counts: pd.DataFrame, *, before: str, also=()) -> Standing:
    """Estimate the levels of cones, operators and ways of counting from the hatches before one.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it; standard tests are left out.
    before : str
        ISO time.
    also : sequence of str
        Hatches that were started later and whose cone, operator and way of counting are to be looked up too.

    Returns
    -------
    Standing
        Empty where fewer than twelve hatches, or only one cone, operator and way of counting, are known.
    """
    at = to_utc(counts["started"])
    earlier = counts[(at < pd.Timestamp(before)) & (counts["purpose"] != "standard test")].tail(_MOST)
    looked_up = pd.concat([earlier, counts[counts["hatch"].isin(list(also))]]).drop_duplicates("hatch")
    rows = {
        r["hatch"]: tuple((f, str(r[f])) for f in FACTORS if isinstance(r[f], str) and r[f])
        for r in looked_up[["hatch", *FACTORS]].to_dict("records")
    }
    if len(earlier) < _LEAST or all(earlier[f].dropna().nunique() < 2 for f in FACTORS):
        return Standing({}, rows)
    n_hatches = {(f, str(level)): int(n) for f in FACTORS for level, n in earlier[f].value_counts().items()}
    return Standing(_effects(earlier), rows, n_hatches)


def _effects(hatches):
    """Levels of cones and operators on every figure: value and variance about the hatches' mean level."""
    figures, covariances = described(hatches)
    counting = np.diagonal(covariances, axis1=1, axis2=2)
    days = day_numbers(to_utc(hatches["started"]))
    factors = {f: hatches[f].fillna("").astype(str).to_numpy() for f in ("lot", *FACTORS)}
    found: dict = {}
    theta = None
    for i in range(4):
        known = np.isfinite(figures[:, i])
        if known.sum() < _LEAST:
            continue
        data = LevelData(
            y=figures[known, i],
            counting=counting[known, i],
            day=days[known],
            factors={f: v[known] for f, v in factors.items()},
        )
        model = fit_levels(data, start=theta)
        theta = model.theta
        for j, key in enumerate(model.columns):
            if key[0] in FACTORS:
                value, variance = found.setdefault(key, (np.zeros(4), np.zeros(4)))
                value[i], variance[i] = model.coefficients[j], max(float(model.covariance[j, j]), 0.0)
    return found
