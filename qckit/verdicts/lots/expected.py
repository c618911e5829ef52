"""What is to be expected of a lot: the trade, the site's other lots, its claim and how claims held here.

The one answer to that question: the month's review, the poor-hatch verdict and the new lot's page all ask here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from qckit.columns import is_missing
from qckit.hatch.lots.standard_tests import latest_test
from qckit.log_odds import expit, logit
from qckit.tables import to_utc
from qckit.verdicts.lots.usual import usual_of_lot
from qckit.words import figures, joined

__all__ = ["Expected", "expected_of_lot", "expected_words", "join_estimates", "share_pct"]

# a lot as traded: four fifths of the cysts hatch, one in twenty stays an umbrella, about one shell per opened cyst, and
# 255,000 full cysts per gram (common practice; the last within the published 220,000 to 300,000). Spreads are ours.
_TRADE = np.array([1.70, 2.8, -0.02, math.log(255_000)])
_TRADE_SD = np.array([0.55, 0.80, 0.40, 0.16])
_LOT_SD, _LOT_DF = np.array([0.34, 0.45, 0.12, 0.10]), 5.0  # between good lots of one site (ours)
_GAP = (8.0, 7.0)  # points by which a lot stays under its claim, and their spread, before any lot is known (ours)
_STRAY = (4.0, 8.0)  # points by which a lot strays from its claim less the site's gap, and their weight in lots (ours)
_GRAM_BIAS, _GRAM_BIAS_SD, _GRAM_SD = 0.08, 0.15, 0.20  # claimed nauplii per gram: rounded down (ours)
_LEAST_SD = np.array([0.22, 0.30, 0.12, 0.08])
_OTHER = ("lot", "hatch_pct", "full_cysts_per_g", "n_hatches")
_FEWEST, _OPENING, _MOST_LOTS = 3, 40, 4
_ENOUGH = 8  # production hatches from which on a lot's tests are not needed to know what it gave


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What was to be expected of a lot, on the four figures of ``usual.py``, and whence."""

    lot: str
    figures: np.ndarray  # (4,)
    sd: np.ndarray  # (4,)
    df: float  # degrees of freedom of its spread
    others: tuple  # (lot, hatch_pct, full_per_g, hatches) of the site's other lots when they were new
    claim_pct: float  # NaN: nothing is claimed
    claim_per_g: float
    test_pct: float  # of the lot's latest standard test; NaN without one
    n_tests: int  # cones of all its tests

    @property
    def pct(self) -> float:
        """Hatching percentage."""
        return share_pct(self.figures)

    @property
    def low_pct(self) -> float:
        """Percentage that nine lots of ten reach."""
        return 100 * expit(self.logit - float(stdtrit(self.df, 0.9)) * self.logit_sd)

    @property
    def per_g(self) -> float:
        """Full cysts per gram."""
        return math.exp(self.figures[3])

    @property
    def logit(self) -> float:
        """Hatching percentage on the logit scale."""
        return logit(self.pct / 100, least=1e-4)

    @property
    def logit_sd(self) -> float:
        """Its spread."""
        opened, released = expit(self.figures[:2])
        rest = 1 - opened * released
        return float(math.hypot((1 - opened) / rest * self.sd[0], (1 - released) / rest * self.sd[1]))

    @property
    def source(self) -> str:
        """Code of what tells most: claim, other lots, trade."""
        return "claim" if math.isfinite(self.claim_pct) else "other lots" if self.others else "trade"

    def to_dict(self) -> dict:
        """Return what the pages show, as JSON-able data."""
        names = ("lot", "pct", "low_pct", "per_g", "source", "claim_pct", "claim_per_g", "test_pct", "n_tests")
        others = [dict(zip(_OTHER, other, strict=True)) for other in self.others]
        return {**{name: getattr(self, name) for name in names}, "others": others}


def expected_of_lot(counts: pd.DataFrame, lots: pd.DataFrame | None, lot: str, *, before) -> Expected:
    """Say what is to be expected of a lot, whatever its own hatches gave.

    Parameters
    ----------
    counts : DataFrame
        As ``usual.counted_hatches`` returns it, of the whole site.
    lots : DataFrame
        The lots table, for the claims.
    lot : str
    before : str or Timestamp
        Hatches started later are not looked at.

    Returns
    -------
    Expected
        As it stood when the lot went into use, with its first production hatch: what was learned since from other lots
        is no part of it, so that every later page expects the same. Until then as it stands at ``before``. Other lots
        count with their first forty production hatches, before they aged. A claim foretells the lot's
        percentage less the points by which the site's other lots stayed under theirs; it is joined with what lots of
        this site and of the trade give by precision.

    References
    ----------
    Normal prior and normal estimate joined by precision: Gelman et al. 2013, Bayesian Data Analysis, 3e, 2.5.
    """
    at = pd.Timestamp(before)
    known = counts[to_utc(counts["started"]) <= at]
    claims = {} if lots is None else lots.drop_duplicates("lot").set_index("lot").to_dict("index")
    others = _others(_before_use(known, lot), lot)
    mean, var, df = _from_others([u.mean for _, u, _ in others])
    mean, var = join_estimates(mean, var, _TRADE, _TRADE_SD**2)
    for i, guess, guess_var in _from_claims(claims, lot, others, mean):
        m, v = join_estimates(mean[i : i + 1], var[i : i + 1], np.array([guess]), np.array([guess_var]))
        mean[i], var[i] = m[0], v[0]
    claim = claims.get(lot, {})
    test, earlier = latest_test(known[known["purpose"] == "standard test"], lot)
    return Expected(
        lot=lot,
        figures=mean,
        sd=np.maximum(np.sqrt(var), _LEAST_SD),
        df=df,
        others=tuple(
            (name, share_pct(u.mean), math.exp(u.mean[3]) if np.isfinite(u.mean[3]) else math.nan, n)
            for name, u, n in others
        ),
        claim_pct=_number(claim.get("claimed_hatch_pct")),
        claim_per_g=_number(claim.get("claimed_nauplii_per_g")),
        test_pct=float(test["hatch_pct"].mean()) if len(test) else math.nan,
        n_tests=len(test) + len(earlier),
    )


def share_pct(figures) -> float:
    """Hatching percentage that the first two figures amount to; NaN where they are not known."""
    if not np.isfinite(figures[:2]).all():
        return math.nan
    return 100 * expit(figures[0]) * expit(figures[1])


def join_estimates(a, var_a, b, var_b):
    """Join two estimates by their precision; an infinite variance is no estimate."""
    pa, pb = 1 / var_a, 1 / var_b
    a, b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    with np.errstate(all="ignore"):
        mean = (a * pa + b * pb) / (pa + pb)
        return np.where(pa + pb > 0, mean, np.nan), np.where(pa + pb > 0, 1 / (pa + pb), np.inf)


# ---- whence ----------------------------------------------------------------------------------------------------------


def _before_use(known, lot):
    """Hatches that were known on the day a lot went into use; all of them while it is in tests only."""
    begun = to_utc(known.loc[(known["lot"] == lot) & (known["purpose"] == "production"), "started"]).min()
    return known if pd.isna(begun) else known[to_utc(known["started"]) < begun]


def _others(known, lot):
    """The site's other lots as they were when new, the latest last: (name, Usual, hatches)."""
    found = []
    for name, rows in known[known["lot"] != lot].groupby("lot", sort=False):
        made = rows[rows["purpose"] == "production"]
        chosen = made if len(made) >= _ENOUGH else rows
        if len(chosen) >= _FEWEST:
            found.append(
                (
                    str(name),
                    usual_of_lot(chosen.head(_OPENING), lot=name, before="2262-01-01T00:00:00+00:00"),
                    len(chosen),
                )
            )
    return found[-_MOST_LOTS:]


def _from_others(levels):
    """What the other lots foretell of a further lot: their middle, the variance, and its degrees of freedom."""
    if not levels:
        return np.full(4, np.nan), np.full(4, np.inf), _STRAY[1]
    table = np.array(levels)
    m = np.isfinite(table).sum(axis=0)
    with np.errstate(all="ignore"):
        mean = np.array([np.nanmedian(col) if k else np.nan for col, k in zip(table.T, m, strict=True)])
        variance = np.array([np.nanvar(col, ddof=1) if k > 1 else 0.0 for col, k in zip(table.T, m, strict=True)])
    between = (variance * np.maximum(m - 1, 0) + _LOT_SD**2 * _LOT_DF) / (np.maximum(m - 1, 0) + _LOT_DF)
    return mean, np.where(m > 0, between * (1 + 1 / np.maximum(m, 1)), np.inf), _STRAY[1] + len(levels) - 1


def _from_claims(claims, lot, others, mean):
    """What the lot's claims foretell: (figure, value, variance)."""
    row, found = claims.get(lot, {}), []
    claimed, per_g = (_number(row.get(k)) for k in ("claimed_hatch_pct", "claimed_nauplii_per_g"))
    gaps, gaps_g = [], []
    for name, usual, _ in others:
        a, b = (_number(claims.get(name, {}).get(k)) for k in ("claimed_hatch_pct", "claimed_nauplii_per_g"))
        if math.isfinite(a) and np.isfinite(usual.mean[:2]).all():
            gaps.append(a - share_pct(usual.mean))
        if math.isfinite(b) and np.isfinite(usual.mean[3]):
            gaps_g.append(usual.mean[3] - _full_claimed(a, b))
    if math.isfinite(claimed):
        points, var = _less_the_gap(claimed, gaps)
        released = expit(mean[1])
        opened = min(max(points / 100 / released, 0.05), 0.98)
        found.append((0, logit(opened), var / (100 * released * opened * (1 - opened)) ** 2))
    if math.isfinite(per_g):
        precision = 1 / _GRAM_BIAS_SD**2 + len(gaps_g) / _GRAM_SD**2
        bias = (_GRAM_BIAS / _GRAM_BIAS_SD**2 + sum(gaps_g) / _GRAM_SD**2) / precision
        found.append((3, _full_claimed(claimed, per_g) + bias, 1 / precision + _GRAM_SD**2))
    return found


def _less_the_gap(claimed, gaps):
    """Percentage that a claim foretells and its variance in points: the site's gap drawn to a prior one."""
    sd, weight = _STRAY
    pull, n = (sd / _GAP[1]) ** 2, len(gaps)
    gap = (pull * _GAP[0] + sum(gaps)) / (pull + n)
    rest = float(np.sum((np.array(gaps) - np.mean(gaps)) ** 2)) if n > 1 else 0.0
    stray2 = (weight * sd**2 + rest) / (weight + max(0, n - 1))
    return claimed - gap, stray2 * (1 + 1 / (pull + n))


def _full_claimed(pct, per_g):
    """Log full cysts per gram that a claim of nauplii per gram amounts to."""
    return math.log(per_g / (pct / 100 if math.isfinite(pct) else 0.85))


def _number(value):
    """A claim as a number; NaN where none is written down, and 0 claims nothing."""
    return math.nan if is_missing(value) or not 0 < float(value) < math.inf else float(value)


# ---- in words --------------------------------------------------------------------------------------------------------


def expected_words(e: Expected, *, with_grams: bool = False, with_test: bool = True, age=()) -> str:
    """Say what was to be expected of a lot, and whence: the one sentence that every page shows.

    Parameters
    ----------
    e : Expected
    with_grams : bool
        Full cysts per gram too.
    with_test : bool
        What the lot's own test gave, to stand beside.
    age : sequence of str
        What is known of its age and storage, to stand beside.
    """
    grams = f" and {figures(e.per_g, 2)}" if with_grams else ""
    text = f"about {e.pct:.0f} %{grams} were to be expected, {e.low_pct:.0f} % or more of nine lots in ten"
    whence = _whence(e, with_grams)
    whence += [f"its own test gave {e.test_pct:.0f} %"] if with_test and e.n_tests else []
    beside = "; ".join(part for part in (joined(whence), ", ".join(age)) if part)
    return f"{text} ({beside})" if whence else f"{text}, by what lots usually give{f' ({beside})' if age else ''}"


def _whence(e, with_grams):
    """What an expectation rests on, in a few words each."""
    # the label first: after another lot's name "its" would be that lot's
    sources = [f"its label claims {e.claim_pct:.0f} %"] if math.isfinite(e.claim_pct) else []
    for name, pct, per_g, _ in e.others[-2:]:
        grams = f" and {figures(per_g, 2)}" if with_grams and math.isfinite(per_g) else ""
        sources.append(f"{name}'s hatches gave {pct:.0f} %{grams} when new")
    return sources
