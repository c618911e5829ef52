"""The lot weighed against the world: what it should give by the trade, its claim, the site's other lots, its test.

A hatch compared with its own lot alone can never show that the lot is bad. So the lot's own level is compared with what
was to be expected of it before its first hatch: the site's other lots, the seller's claim (drawn by how the earlier
claims held), and the trade's range; and with its own first weeks, for a lot that grew old in use.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from qckit.verdicts.poor_hatch.usual import Usual, usual_of_lot

__all__ = ["World", "age_factor", "lot_against_world"]

# a lot as traded: four fifths of the cysts hatch, one in twenty stays an umbrella, about one shell per opened cyst, and
# 255,000 full cysts per gram (common practice; the last within the published 220,000 to 300,000). Spreads are ours.
_TRADE = np.array([1.70, 2.8, -0.02, math.log(255_000)])
_TRADE_SD = np.array([0.55, 0.80, 0.40, 0.16])
_LOT_SD, _LOT_DF = np.array([0.34, 0.45, 0.12, 0.10]), 5.0  # between good lots of one site (ours)
_CLAIM_BIAS, _CLAIM_BIAS_SD, _CLAIM_SD = -0.35, 0.5, 0.45  # claimed percentage: sellers count at their best (ours)
_GRAM_BIAS, _GRAM_BIAS_SD, _GRAM_SD = 0.08, 0.15, 0.20  # claimed nauplii per gram: rounded down (ours)
_TEST_SD = np.array([0.25, 0.50, 0.20, 0.08])  # standard test against production (ours)
_LEVEL_SD = np.array([0.05, 0.08, 0.03, 0.02])  # of a lot's own level, beyond its hatches' spread
_LEAST_SD = np.array([0.22, 0.30, 0.12, 0.08])
_EARLY, _LATEST, _SPAN_DAYS = 12, 15, 21.0  # hatches of a lot's first and last weeks (ours)


@dataclass(frozen=True)
class World:
    """What was to be expected of a lot, and what it gave."""

    expected: np.ndarray  # (4,) figures of a good lot here
    sd: np.ndarray  # (4,)
    level: np.ndarray  # (4,) the lot's own, NaN where unknown
    level_sd: np.ndarray
    judged: np.ndarray  # (4,) the level that is held against the expected: the test's where production alone is low
    drift: np.ndarray | None  # (4,) last weeks against the first
    drift_sd: np.ndarray | None
    n_hatches: int
    others: tuple = ()  # (lot, hatch_pct, full_per_g, n)
    claim_pct: float = math.nan
    claim_per_g: float = math.nan
    test_pct: float = math.nan
    n_tests: int = 0
    level_pct: float = math.nan
    level_per_g: float = math.nan  # full cysts
    expected_pct: float = math.nan
    expected_low_pct: float = math.nan
    expected_per_g: float = math.nan
    age_factor: float = 1.0
    age_words: tuple[str, ...] = field(default=())


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
    claims = lots.set_index("lot")
    others = _others(counts, row)
    mean, var = _from_others([u.mean for _, u, _ in others])
    mean, var = _join(mean, var, _TRADE, _TRADE_SD**2)
    for i, guess, guess_var in _from_claims(claims, row["lot"], others):
        m, v = _join(mean[i : i + 1], var[i : i + 1], np.array([guess]), np.array([guess_var]))
        mean[i], var[i] = m[0], v[0]
    sd = np.maximum(np.sqrt(var), _LEAST_SD)
    level, level_sd = usual.mean.copy(), np.full(4, np.inf)
    if usual.n_hatches:
        level_sd = np.sqrt(np.diag(usual.between) / usual.n_hatches + _LEVEL_SD**2)
        level_sd = np.where(np.isfinite(level), level_sd, np.inf)
    judged, level, level_sd, test = _with_test(counts, row, usual, level, level_sd)
    drift, drift_sd = _drift(counts, row, usual)
    claim = claims.loc[row["lot"]].to_dict() if row["lot"] in claims.index else {}
    factor, words = age_factor(claim, row["started"])
    return World(
        mean,
        sd,
        level,
        level_sd,
        judged,
        drift,
        drift_sd,
        usual.n_hatches,
        tuple(
            (name, _pct(u.mean), math.exp(u.mean[3]) if np.isfinite(u.mean[3]) else math.nan, n)
            for name, u, n in others
        ),
        _number(claim.get("claimed_hatch_pct")),
        _number(claim.get("claimed_nauplii_per_g")),
        *test,
        _pct(level),
        math.exp(level[3]) if np.isfinite(level[3]) else math.nan,
        _pct(mean),
        _pct(mean - 1.28 * np.array([sd[0], 0, 0, 0])),
        math.exp(mean[3]),
        factor,
        words,
    )


def _pct(figures):
    """Hatching percentage that the first two figures amount to."""
    if not np.isfinite(figures[:2]).all():
        return math.nan
    return 100 / (1 + math.exp(-figures[0])) / (1 + math.exp(-figures[1]))


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


def _others(counts, row):
    """The site's other lots that were hatched before this hatch or beside it: (name, Usual, hatches)."""
    from qckit.tables import to_utc

    at = pd.Timestamp(row["started"])
    before = counts[(counts["lot"] != row["lot"]) & (to_utc(counts["started"]) <= at)]
    found = []
    for name, of_lot in before.groupby("lot", sort=False):
        if len(of_lot) >= 3:
            usual = usual_of_lot(counts, lot=name, before=at.isoformat())
            found.append((str(name), usual, len(of_lot)))
    return found[-4:]


def _from_others(levels):
    """What the other lots foretell of a further lot: their mean, and the variance between lots."""
    if not levels:
        return np.full(4, np.nan), np.full(4, np.inf)
    table = np.array(levels)
    m = np.isfinite(table).sum(axis=0)
    with np.errstate(all="ignore"):
        mean = np.array([np.nanmedian(col) if k else np.nan for col, k in zip(table.T, m, strict=True)])
        variance = np.array([np.nanvar(col, ddof=1) if k > 1 else 0.0 for col, k in zip(table.T, m, strict=True)])
    between = (variance * np.maximum(m - 1, 0) + _LOT_SD**2 * _LOT_DF) / (np.maximum(m - 1, 0) + _LOT_DF)
    return mean, np.where(m > 0, between * (1 + 1 / np.maximum(m, 1)), np.inf)


def _from_claims(claims, lot, others):
    """What the claims foretell: (figure, value, variance)."""
    found = []
    if lot not in claims.index:
        return found
    pct, per_g = (_number(claims.loc[lot, k]) for k in ("claimed_hatch_pct", "claimed_nauplii_per_g"))
    gaps, gaps_g = [], []
    for name, usual, _ in others:
        if name in claims.index:
            a, b = (_number(claims.loc[name, k]) for k in ("claimed_hatch_pct", "claimed_nauplii_per_g"))
            if math.isfinite(a) and np.isfinite(usual.mean[0]):
                gaps.append(usual.mean[0] - _logit(a))
            if math.isfinite(b) and np.isfinite(usual.mean[3]):
                gaps_g.append(usual.mean[3] - _full_claimed(a, b))
    if math.isfinite(pct):
        bias, v = _shrunk(gaps, _CLAIM_BIAS, _CLAIM_BIAS_SD, _CLAIM_SD)
        found.append((0, _logit(pct) + bias, v + _CLAIM_SD**2))
    if math.isfinite(per_g):
        bias, v = _shrunk(gaps_g, _GRAM_BIAS, _GRAM_BIAS_SD, _GRAM_SD)
        found.append((3, _full_claimed(pct, per_g) + bias, v + _GRAM_SD**2))
    return found


def _shrunk(gaps, prior, prior_sd, noise):
    precision = 1 / prior_sd**2 + len(gaps) / noise**2
    return (prior / prior_sd**2 + sum(gaps) / noise**2) / precision, 1 / precision


def _full_claimed(pct, per_g):
    """Log full cysts per gram that a claim of nauplii per gram amounts to."""
    return math.log(per_g / (pct / 100 if math.isfinite(pct) else 0.85))


def _with_test(counts, row, usual, level, level_sd):
    """Add the lot's own standard tests: to a level that rests on few hatches, and against one that is low alone."""
    from qckit.tables import to_utc

    tests = counts[(counts["lot"] == row["lot"]) & (counts["purpose"] == "standard test")]
    tests = tests[(tests["hatch"] != row["hatch"]) & (to_utc(tests["started"]) <= pd.Timestamp(row["started"]))]
    if tests.empty:
        return level, level, level_sd, (math.nan, 0)
    from qckit.verdicts.poor_hatch.usual import describe_hatch

    figures = np.array([describe_hatch(r, mixing_cv=usual.mixing_cv)[0] for r in tests.to_dict("records")])
    with np.errstate(all="ignore"):
        mean = np.array([np.nanmean(col) if np.isfinite(col).any() else np.nan for col in figures.T])
    sd = np.sqrt(np.diag(usual.between) / len(tests) + _TEST_SD**2)
    sd = np.where(np.isfinite(mean), sd, np.inf)
    mean = np.where(np.isfinite(mean), mean, 0.0)
    joined, var = _join(np.where(np.isfinite(level), level, mean), level_sd**2, mean, sd**2)
    gap = (joined[0] - mean[0]) / math.hypot(sd[0], 0.2)
    judged = np.where(np.isfinite(sd), mean, joined) if usual.n_hatches and gap < -3 else joined
    return judged, joined, np.sqrt(var), (float(tests["hatch_pct"].mean()), len(tests))


def _drift(counts, row, usual):
    """The lot's last weeks against its first, where it has been in use long enough."""
    from qckit.tables import to_utc

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
    from qckit.verdicts.poor_hatch.usual import describe_hatch

    ends = []
    for part in (first, last):
        figures = np.array([describe_hatch(r, mixing_cv=usual.mixing_cv)[0] for r in part.to_dict("records")])
        with np.errstate(all="ignore"):
            ends.append(np.array([np.nanmedian(c) if np.isfinite(c).any() else np.nan for c in figures.T]))
    sd = np.sqrt(np.diag(usual.between) * 1.57 * (1 / _EARLY + 1 / _LATEST) + np.array([0.12, 0.20, 0.08, 0.05]) ** 2)
    return ends[1] - ends[0], sd


def _join(a, var_a, b, var_b):
    """Join two estimates by their precision; an infinite variance is no estimate."""
    pa, pb = 1 / var_a, 1 / var_b
    a, b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    with np.errstate(all="ignore"):
        mean = (a * pa + b * pb) / (pa + pb)
        return np.where(pa + pb > 0, mean, np.nan), np.where(pa + pb > 0, 1 / (pa + pb), np.inf)


def _logit(pct):
    share = min(max(pct / 100, 0.02), 0.98)
    return math.log(share / (1 - share))


def _number(value):
    return math.nan if value is None or value is pd.NA or not math.isfinite(float(value)) else float(value)


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
