"""The lot weighed against the world: what it gave against what was to be expected of it (``lots/expected.py``).

A hatch compared with its own lot alone can never show that the lot is bad. So the lot's own level is compared with what
was to be expected of it before its first hatch: the site's other lots, the seller's claim (drawn by how the earlier
claims held), and the trade's range; and with its own first weeks, for a lot that grew old in use.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.columns import is_missing
from qckit.tables import to_utc
from qckit.verdicts.lots.expected import Expected, expected_of_lot, join_estimates, share_pct
from qckit.verdicts.lots.usual import Usual, described

__all__ = ["World", "age_factor", "lot_against_world"]

_TEST_SD = np.array([0.25, 0.50, 0.20, 0.08])  # standard test against production (ours)
_LEVEL_SD = np.array([0.05, 0.08, 0.03, 0.02])  # of a lot's own level, beyond its hatches' spread
_EARLY, _LATEST, _SPAN_DAYS = 12, 15, 21.0  # hatches of a lot's first and last weeks (ours)


@dataclass(frozen=True)
class World:
    """What was to be expected of a lot, and what it gave."""

    prospect: Expected
    level: np.ndarray  # (4,) the lot's own, NaN where unknown
    level_sd: np.ndarray
    judged: np.ndarray  # (4,) the level that is held against the expected: the test's where production alone is low
    drift: np.ndarray | None  # (4,) last weeks against the first
    drift_sd: np.ndarray | None
    n_hatches: int
    age_factor: float = 1.0
    age_words: tuple[str, ...] = field(default=())

    @property
    def expected(self) -> np.ndarray:
        """Figures of a good lot here, shape (4,)."""
        return self.prospect.figures

    @property
    def sd(self) -> np.ndarray:
        """How far good lots stray from that, shape (4,)."""
        return self.prospect.sd

    @property
    def level_pct(self) -> float:
        """Hatching percentage that the lot gives; NaN where unknown."""
        return share_pct(self.level)

    @property
    def level_per_g(self) -> float:
        """Full cysts per gram; NaN where unknown."""
        return math.exp(self.level[3]) if np.isfinite(self.level[3]) else math.nan


def lot_against_world(counts: pd.DataFrame, lots: pd.DataFrame, row, usual: Usual) -> World:
    """Hold a hatch's lot against what was to be expected of it.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it, of the whole site.
    lots : DataFrame
        The lots table.
    row : mapping
        The hatch's row of ``counts``.
    usual : Usual
        What is usual for the lot.

    Returns
    -------
    World
    """
    level, level_sd = usual.mean.copy(), np.full(4, np.inf)
    if usual.n_hatches:
        level_sd = np.sqrt(np.diag(usual.between) / usual.n_hatches + _LEVEL_SD**2)
        level_sd = np.where(np.isfinite(level), level_sd, np.inf)
    judged, level, level_sd = _with_test(counts, row, usual, level, level_sd)
    drift, drift_sd = _drift(counts, row, usual)
    factor, words = age_factor(next(iter(lots[lots["lot"] == row["lot"]].to_dict("records")), {}), row["started"])
    return World(
        prospect=expected_of_lot(counts, lots, row["lot"], before=row["started"]),
        level=level,
        level_sd=level_sd,
        judged=judged,
        drift=drift,
        drift_sd=drift_sd,
        n_hatches=usual.n_hatches,
        age_factor=factor,
        age_words=words,
    )


def age_factor(lot: dict, started) -> tuple[float, tuple[str, ...]]:
    """How much age and storage speak for dead or resting embryos, and why in words (factors ours, limits of facts).

    Parameters
    ----------
    lot : mapping
        The lot's row.
    started : str
        Time of the hatch.

    Returns
    -------
    (float, tuple of str)
    """
    at, factor, words = pd.Timestamp(started).tz_convert("UTC").tz_localize(None), 0.9, []
    before = _date(lot.get("best_before"), last=True)
    if before is not None and at > before:
        factor, _ = factor * 4.0, words.append(f"past its best before ({lot['best_before']})")
    harvested, opened = _date(lot.get("harvested")), _date(lot.get("opened"))
    if harvested is not None and (at - harvested).days > 900:
        factor, _ = factor * 1.8, words.append(f"harvested {(at - harvested).days / 365.25:.0f} years before")
    if harvested is not None and 0 <= (at - harvested).days < 120:
        factor, _ = factor * 2.0, words.append("harvested only months before: it may still rest")
    if opened is not None and (at - opened).days > 180:
        factor, _ = factor * 1.6, words.append(f"opened {(at - opened).days} days before")
    if _number(lot.get("storage_c")) > 15:
        factor, _ = factor * 2.5, words.append(f"stored at {lot['storage_c']:g} °C")
    if _number(lot.get("moisture_pct")) > 10:
        factor, _ = factor * 2.0, words.append(f"moisture {lot['moisture_pct']:g} %")
    return factor, tuple(words)


def _with_test(counts, row, usual, level, level_sd):
    """Add the lot's own standard tests: to a level that rests on few hatches, and against one that is low alone."""
    tests = counts[(counts["lot"] == row["lot"]) & (counts["purpose"] == "standard test")]
    tests = tests[(tests["hatch"] != row["hatch"]) & (to_utc(tests["started"]) <= pd.Timestamp(row["started"]))]
    if tests.empty:
        return level, level, level_sd
    figures, _ = described(tests, usual.mixing_cv)
    with np.errstate(all="ignore"):
        mean = np.array([np.nanmean(col) if np.isfinite(col).any() else np.nan for col in figures.T])
    sd = np.sqrt(np.diag(usual.between) / len(tests) + _TEST_SD**2)
    sd = np.where(np.isfinite(mean), sd, np.inf)
    mean = np.where(np.isfinite(mean), mean, 0.0)
    joined, var = join_estimates(np.where(np.isfinite(level), level, mean), level_sd**2, mean, sd**2)
    gap = (joined[0] - mean[0]) / math.hypot(sd[0], 0.2)
    judged = np.where(np.isfinite(sd), mean, joined) if usual.n_hatches and gap < -3 else joined
    return judged, joined, np.sqrt(var)


def _drift(counts, row, usual):
    """The lot's last weeks against its first, where it has been in use long enough."""
    of_lot = counts[
        (counts["lot"] == row["lot"]) & (counts["hatch"] != row["hatch"]) & (counts["purpose"] != "standard test")
    ]
    at = to_utc(of_lot["started"])
    # hatches out of the ordinary are events of their own, no drift of the lot
    of_lot = of_lot[(at < pd.Timestamp(row["started"])) & ~of_lot["hatch"].isin(usual.set_aside)]
    if len(of_lot) < _EARLY + _LATEST + 4:
        return None, None
    first, last = of_lot.head(_EARLY), of_lot.tail(_LATEST)
    days = (to_utc(last["started"]).iloc[-1] - to_utc(first["started"]).iloc[0]).total_seconds() / 86400.0
    if days < _SPAN_DAYS:
        return None, None
    ends = []
    for part in (first, last):
        figures, _ = described(part, usual.mixing_cv)
        with np.errstate(all="ignore"):
            ends.append(np.array([np.nanmedian(c) if np.isfinite(c).any() else np.nan for c in figures.T]))
    sd = np.sqrt(np.diag(usual.between) * 1.57 * (1 / _EARLY + 1 / _LATEST) + np.array([0.12, 0.20, 0.08, 0.05]) ** 2)
    return ends[1] - ends[0], sd


def _number(value):
    return math.nan if is_missing(value) or not math.isfinite(float(value)) else float(value)


def _date(text, *, last=False):
    """A date of which only the year or the month may be written; the end of that time if ``last``."""
    if not isinstance(text, str) or len(text) < 4:
        return None
    try:
        period = pd.Period(text[:10], freq=None if len(text) >= 10 else ("M" if len(text) >= 7 else "Y"))
    except (ValueError, TypeError):
        return None
    stamp = period.end_time if last else period.start_time
    return stamp.tz_localize(None) if stamp.tzinfo else stamp
