"""Baselines: reviewed once (phase I), then frozen (phase II), with limits wide enough for how short they are.

A limit three estimated standard deviations from an estimated mean is crossed by chance more often than the textbook
says, several times more often after 25 hatches. :func:`widen` moves each rule's border so that, averaged over the
baselines chance could have given, the rule fires as often as it would with everything known.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import pandas as pd

from qckit.charts.limits import Limits, apply_limits, fit_limits
from qckit.charts.points import check_points
from qckit.charts.rules import DEFAULT_RULES, RULES, false_alarm_rate, find_signals
from qckit.errors import InputError, unknown_name
from qckit.tables import check_table, to_utc
from qckit.words import plural

__all__ = [
    "FAIR_BASELINE",
    "Baseline",
    "estimate_nodes",
    "estimated_rate",
    "freeze",
    "rule_reach",
    "set_baseline",
    "stored_limits",
    "widen",
]

FAIR_BASELINE = 20
"""Points below which a baseline is called short in words (common practice: 20 to 25; no source)."""

_LONG = 2000  # points beyond which limits are taken as known


@lru_cache(maxsize=64)
def _nodes(n_points, df):
    """Values the errors of mean and spread take, with weights: shapes (a, 1), (1, b), (a, 1), (1, b)."""
    from scipy import stats

    x, wx = np.polynomial.hermite_e.hermegauss(41)
    error = x / math.sqrt(n_points)
    u, wu = np.polynomial.legendre.leggauss(160)
    # chance of sigma estimated / sigma true, an unbiased chi variable
    ratio = np.sqrt(stats.chi2.ppf((u + 1) / 2, df) / df) / _c4(df)
    return error[:, None], ratio[None, :], (wx / wx.sum())[:, None], (wu / 2)[None, :]


def estimate_nodes(n_points, df, *, halved=False, nodes=9):
    """Errors of an estimated centre and spread, and how likely chance makes each: for averages over baselines.

    Parameters
    ----------
    n_points : int
    df : float
    halved : bool
        Only errors of the centre on one side, with double weight: enough where both sides do the same.
    nodes : int
        Quadrature points for each of the two.

    Returns
    -------
    tuple of ndarray, each shape (n_nodes,)
        Error of the centre in true standard deviations, estimated over true spread, weight (sum 1).
    """
    from scipy import stats

    x, wx = np.polynomial.hermite_e.hermegauss(nodes)
    ratio = np.sqrt(stats.chi2.ppf(stats.norm.cdf(x), df) / df) / _c4(df)
    e, r = np.meshgrid(x / math.sqrt(n_points), ratio, indexing="ij")
    weight = wx[:, None] * wx[None, :] / wx.sum() ** 2
    if halved:
        keep = x >= -1e-12
        weight = weight * np.where(np.abs(x) < 1e-12, 1, 2)[:, None]
        e, r, weight = e[keep], r[keep], weight[keep]
    return e.ravel(), r.ravel(), weight.ravel()


def _c4(df):
    return math.exp(0.5 * math.log(2 / df) + math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


def estimated_rate(rule, n_points, df, *, k=None, window=None):
    """How often a rule fires at a point when mean and spread are estimates, averaged over the baselines chance gives.

    Parameters
    ----------
    rule : str
        A code of :data:`qckit.charts.rules.RULES`.
    n_points : int
        Points in the baseline; its mean errs by sigma / sqrt(n_points).
    df : float
        Degrees of freedom of its spread.
    k, window : optional
        In place of the rule's own.

    Returns
    -------
    float
        Probability per point.

    Examples
    --------
    >>> bool(charts.estimated_rate("beyond_3", 30, 29) > charts.false_alarm_rate("beyond_3"))
    True
    """
    error, ratio, we, wr = _nodes(int(n_points), float(df))
    rates = false_alarm_rate(rule, shift=error, scale=ratio, k=k, window=window)
    return float(np.sum(np.broadcast_to(rates, (len(error), ratio.shape[1])) * we * wr))


@lru_cache(maxsize=512)
def _reach(code, n_points, df):
    rule = RULES[code]
    target_rate = float(false_alarm_rate(rule))
    if rule.shape in ("trend", "alternating"):
        return {}
    if rule.shape == "side":
        window = rule.window
        while estimated_rate(code, n_points, df, window=window) > target_rate * 1.0005 and window < 40:
            window += 1
        return {"window": window} if window != rule.window else {}
    from scipy.optimize import brentq

    low, high = (0.05, rule.k * 1.2) if rule.shape == "within" else (rule.k * 0.5, 60.0)

    def excess(k):
        return math.log(max(estimated_rate(code, n_points, df, k=k), 1e-300)) - math.log(target_rate)

    return {"k": round(float(brentq(excess, low, high, xtol=1e-5)), 5)}


def rule_reach(rules, n_points, df):
    """Work out what each rule needs in place of its textbook figure.

    Parameters
    ----------
    rules : iterable of str
    n_points : int
        Points in the baseline.
    df : float
        Degrees of freedom of its spread; infinite means it is known and nothing changes.

    Returns
    -------
    dict
        Rule code -> dict with ``k`` (zone border) or ``window`` (length of a run). Rules that need no mean and no
        spread are absent.

    Examples
    --------
    >>> sorted(charts.rule_reach(("beyond_3",), 30, 29))
    ['beyond_3']
    """
    for code in rules:
        if code not in RULES:
            raise unknown_name("rule", code, RULES)
    if not math.isfinite(df) or n_points > _LONG:
        return {}
    found = {code: _reach(code, int(n_points), round(float(df), 3)) for code in rules}
    return {code: values for code, values in found.items() if values}


def widen(limits: Limits, rules=DEFAULT_RULES) -> Limits:
    """Widen limits for the number of points they were estimated from.

    Parameters
    ----------
    limits : Limits
        From :func:`qckit.charts.limits.fit_limits`.
    rules : iterable of str
        Rules that will be read against them.

    Returns
    -------
    Limits
        With ``width`` and ``reach`` set. Plain p and u limits are left as they are: their spread comes from the
        binomial or Poisson law and not from the baseline, which is why they signal too often when hatches differ.

    Notes
    -----
    For the single point beyond the limits this is the prediction limit of Student's t with the degrees of freedom of
    the spread; for the other rules the same average is taken numerically.

    Examples
    --------
    >>> limits = charts.fit_limits(pd.DataFrame({"value": [80.0, 82, 79, 85, 81, 78, 83, 80]}), "individuals")
    >>> charts.widen(limits).width > limits.width
    True
    """
    reach = rule_reach(set(rules) | {"beyond_3"}, limits.n_independent, limits.df)
    width = reach.get("beyond_3", {}).get("k", 3.0)
    return limits.with_width(width, reach)


@dataclass(frozen=True)
class Baseline:
    """A reviewed baseline.

    Attributes
    ----------
    limits : Limits
        Widened, ready to be frozen.
    chart : DataFrame
        Its own points against its own limits; ``phase`` is ``baseline`` or ``set aside``.
    signals : DataFrame
        Rules that fired inside the baseline: to be looked into before it is believed.
    set_aside : list of dict
        label, at, value and reason of each point left out.
    notes : list of str
        What the reader must know.

    Examples
    --------
    >>> baseline = charts.set_baseline(charts.chart_points(series, "hatch_pct").head(60), "p prime", per=100)
    >>> baseline.limits.n_points <= 60
    True
    """

    limits: Limits
    chart: pd.DataFrame
    signals: pd.DataFrame
    set_aside: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def set_baseline(
    points,
    kind,
    *,
    set_aside=None,
    rules=DEFAULT_RULES,
    per=1.0,
    spread="moving range",
    slope_per_day=0.0,
    law="leaning",
) -> Baseline:
    """Review a baseline (phase I).

    Parameters
    ----------
    points : DataFrame, shape (n, any)
        See :func:`qckit.charts.points.check_points`.
    kind : str
        Kind of chart.
    set_aside : dict, optional
        Label of a point -> reason for leaving it out. A reason must be given; points are never left out silently.
    rules, per, spread, slope_per_day, law
        As for :func:`widen` and :func:`qckit.charts.limits.fit_limits`; prime charts lean unless asked otherwise, so
        that their false-alarm rate holds.

    Returns
    -------
    Baseline

    Raises
    ------
    InputError
        A point set aside is not there, a reason is empty, or too few points are left.

    Examples
    --------
    >>> baseline = charts.set_baseline(charts.chart_points(series, "hatch_pct").head(60), "p prime", per=100)
    >>> baseline.limits.kind
    'p prime'
    """
    clean = check_points(points, kind)
    set_aside = dict(set_aside or {})
    labels = list(clean["label"])
    for label, reason in set_aside.items():
        if label not in labels:
            raise unknown_name("point", label, labels, where="points, points set aside")
        if not str(reason).strip():
            raise InputError(
                f"points: the point {label} is set aside without a reason. Say why in a few words, such as "
                "'heater off overnight'."
            )
    keep = ~clean["label"].isin(set_aside)
    limits = widen(
        fit_limits(points, kind, include=keep, per=per, spread=spread, slope_per_day=slope_per_day, law=law),
        rules,
    )
    chart = apply_limits(limits, points, phase=np.where(keep, "baseline", "set aside"))
    signals = find_signals(chart, rules, reach=limits.reach)
    left_out = [
        {
            "label": row.label,
            "at": "" if pd.isna(row.at) else row.at.isoformat(),
            "value": round(row.value, 6),
            "reason": str(set_aside[row.label]),
        }
        for row in chart[~keep.to_numpy()].itertuples()
    ]
    return Baseline(limits, chart, signals, left_out, _notes(limits, signals, left_out))


def _notes(limits, signals, left_out):
    aside = f", {len(left_out)} set aside" if left_out else ""
    notes = [f"The baseline holds {plural(limits.n_points, 'point')}{aside}."]
    if limits.n_points < FAIR_BASELINE:
        notes.append(
            f"That is a short baseline; its limits are {100 * (limits.width / 3 - 1):.0f} % wider to allow for it. "
            "Set it again once 20 to 40 hatches are there."
        )
    if len(signals):
        where = ", ".join(dict.fromkeys(signals["label"]))
        notes.append(f"Rules fire inside the baseline at {where}: find out why before it is frozen.")
    return notes


def freeze(baseline: Baseline, *, name, chart, set_by, set_at, lot="", cone="", notes=""):
    """Turn a reviewed baseline into a row of the log's baselines table.

    Parameters
    ----------
    baseline : Baseline
    name : str
        The baseline's own name; a later one for the same chart needs another.
    chart : str
        What is charted, such as ``hatch_pct``.
    set_by : str
        Who froze it.
    set_at : str
        When, ISO 8601 with offset.
    lot, cone : str
        What it holds for; empty for all.

    Returns
    -------
    DataFrame, shape (1, 12)
        Columns of ``tables.TABLES["baselines"]``; add it with ``log.add("baselines", row, by=set_by)``.

    Examples
    --------
    >>> baseline = charts.set_baseline(charts.chart_points(series, "hatch_pct").head(60), "p prime", per=100)
    >>> row = charts.freeze(baseline, name="B1", chart="hatch_pct", set_by="op1", set_at="2026-11-06T10:00Z")
    >>> row["baseline"].tolist()
    ['B1']
    """
    times = baseline.chart.loc[baseline.chart["phase"] == "baseline", "at"].dropna()
    row = {
        "baseline": name,
        "chart": chart,
        "lot": lot,
        "cone": cone,
        "first": times.min().isoformat() if len(times) else None,
        "last": times.max().isoformat() if len(times) else None,
        "n_points": baseline.limits.n_points,
        "limits": baseline.limits.to_json(),
        "set_aside": json.dumps(baseline.set_aside, ensure_ascii=False),
        "set_by": set_by,
        "set_at": set_at,
        "notes": notes or " ".join(baseline.notes),
    }
    return check_table(pd.DataFrame([row]), "baselines")


def stored_limits(baselines, *, chart, lot="", cone="", before=None):
    """Pick the baseline in force from the log's table.

    Parameters
    ----------
    baselines : DataFrame or None
        The log's baselines table.
    chart, lot, cone : str
        What is charted and for what. A baseline for the lot is preferred to one for all lots.
    before : str, optional
        Only baselines set at or before this time (ISO text).

    Returns
    -------
    tuple of (Limits, Series) or None
        The limits and their row; None when no baseline was frozen.

    Examples
    --------
    >>> charts.stored_limits(tables.baselines, chart="hatch_pct", lot="K-121") is None
    True
    """
    if baselines is None or not len(baselines):
        return None
    rows = baselines[baselines["chart"] == chart].reset_index(drop=True)
    rows = rows[rows["cone"].fillna("") == cone]
    if before is not None and len(rows):
        rows = rows[to_utc(rows["set_at"]) <= pd.Timestamp(before)]
    for subject in dict.fromkeys((lot, "")):
        fitting = rows[rows["lot"].fillna("") == subject]
        if len(fitting):
            row = fitting.loc[to_utc(fitting["set_at"]).sort_values(kind="stable").index[-1]]
            return Limits.from_json(row["limits"]), row
    return None
