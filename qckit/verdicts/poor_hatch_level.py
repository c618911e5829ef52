"""Is the hatch poor at all, and can the next feed be saved: levels, chance, and the gap."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

__all__ = ["Level", "against_limits", "judge_level", "next_feed"]

_PRIOR_SD = {"hatch_pct": 0.30, "nauplii_per_g": 0.10}
_PRIOR_DF = 6.0


@dataclass(frozen=True)
class Level:
    """One figure of the hatch against the lot's usual: the interval chance would give, and how rare the value is."""

    name: str
    value: float
    low: float  # own uncertainty of the value
    high: float
    usual: float
    usual_low: float  # where 95 in 100 hatches of this lot fall
    usual_high: float
    p_low: float  # how often chance alone gives a value as low
    n_hatches: int


def judge_level(counts: pd.DataFrame, row, usual, name: str) -> Level:
    """Place a hatch's percentage or nauplii per gram among the lot's usual hatches.

    Parameters
    ----------
    counts : DataFrame
        As ``hatch_counts`` returns it.
    row : mapping
        The hatch's row of it.
    usual : Usual
    name : str
        ``hatch_pct`` or ``nauplii_per_g``.

    Returns
    -------
    Level
        The percentage is judged on the logit scale, nauplii per gram on the log scale, by a t law whose variance is
        that of the usual hatches, pooled with a prior of six degrees of freedom.
    """
    to, back = _scales(name)
    own = counts[counts["hatch"].isin(usual.hatches)]
    y = to(own[name].to_numpy(dtype=float))
    y = y[np.isfinite(y)]
    value = float(row[name])
    x = float(to(np.array([value]))[0])
    full = row["nauplii"] + row["umbrella"] + row["unhatched"]
    own_sd = math.sqrt(_sampling(row, name, full, usual.mixing_cv))
    low, high = (float(v) for v in back(np.array([x - 1.96 * own_sd, x + 1.96 * own_sd])))
    if len(y) < 1 or not math.isfinite(x):
        return Level(name, value, low, high, *[math.nan] * 3, math.nan, 0)
    from scipy.stats import t

    df = len(y) - 1 + _PRIOR_DF
    spread = (y.var(ddof=1) * (len(y) - 1) if len(y) > 1 else 0.0) + _PRIOR_SD[name] ** 2 * _PRIOR_DF
    sd = math.sqrt(max(spread / df, own_sd**2) * (1 + 1 / len(y)))
    centre = float(y.mean())
    reach = t.ppf(0.975, df) * sd
    ends = back(np.array([centre, centre - reach, centre + reach]))
    return Level(name, value, low, high, *(float(v) for v in ends), float(t.cdf((x - centre) / sd, df)), len(y))


def _scales(name):
    """Transform to the working scale and back."""
    if name == "hatch_pct":
        return (lambda v: np.log(np.clip(v, 0.2, 99.8) / (100 - np.clip(v, 0.2, 99.8))),
                lambda z: 100 / (1 + np.exp(-z)))  # fmt: skip
    return (lambda v: np.log(np.where(v > 0, v, np.nan))), np.exp


def _sampling(row, name, full, mixing_cv):
    """Variance on the working scale from counting (and mixing) alone."""
    n = row["nauplii"] + 0.5
    if name == "hatch_pct":
        return 1 / n + 1 / (full - row["nauplii"] + 0.5)
    return 1 / n + mixing_cv**2 / row["n_subsamples"]


def against_limits(limits, row, lot: str) -> str:
    """Say where the percentage lies against the lot's frozen control limits; empty where none are frozen."""
    from qckit.charts import apply_limits
    from qckit.charts.baseline import stored_limits

    found = stored_limits(limits, chart="hatch_pct", lot=lot, before=row["started"])
    if found is None:
        return ""
    frozen, stored = found
    total = int(row["nauplii"] + row["umbrella"] + row["unhatched"])
    point = {"label": [row["hatch"]], "at": [row["started"]], "group": [lot]}
    point |= (
        {"count": [int(row["nauplii"])], "size": [total]}
        if frozen.kind.startswith("p")
        else {"value": [row["hatch_pct"]]}
    )
    chart = apply_limits(frozen, pd.DataFrame(point)).iloc[0]
    where = "below" if chart["value"] < chart["low"] else "above" if chart["value"] > chart["high"] else "within"
    return (f"{chart['value']:.1f} % lies {where} the frozen limits {chart['low']:.1f} to {chart['high']:.1f} % "
            f"(baseline {stored['baseline']}, set {str(stored['set_at'])[:10]} by {stored['set_by']}).")  # fmt: skip


def next_feed(row, same_day, level: Level, settings, *, busy_cones=(), suspect_cone="", usual_per_g=None) -> dict:
    """Work out what is there for the next feed, what is missing, and what to start at once.

    Parameters
    ----------
    row : mapping
        The poor hatch's row of ``hatch_counts``.
    same_day : DataFrame
        Rows of the other hatches of that day.
    level : Level
        Nauplii per gram of this hatch against the usual.
    settings : Settings
    busy_cones : sequence of str
        Cones that hold a hatch not yet harvested.
    suspect_cone : str
        The cone to keep out of use until the cause is found.
    usual_per_g : tuple of float, optional
        (best guess, lower bound) of nauplii per gram to dose by.

    Returns
    -------
    dict
        available, available_low, available_high, other_cones, needed, missing, grams, n_cones, cone, sentence.
    """
    from qckit.hatch.dose import dose_for

    feed, share = settings.feed, settings.feed.recovery_pct / 100.0
    grams = row["cysts_g"]
    here = [v * grams * share for v in (level.value, level.low, level.high)]
    others = float((same_day["nauplii_per_g"] * same_day["cysts_g"]).sum() * share) if len(same_day) else 0.0
    short = max(0.0, feed.nauplii_per_feed - here[0] - others) if math.isfinite(here[0]) else math.nan
    result = {
        "available": here[0], "available_low": here[1], "available_high": here[2], "other_cones": others,
        "needed": feed.nauplii_per_feed, "missing": short, "grams": 0.0, "n_cones": 0, "cone": "", "sentence": "",
    }  # fmt: skip
    if not math.isfinite(short):
        result["sentence"] = "The volume counted is not known, so nauplii cannot be reckoned; count a known volume."
        return result
    usual_harvest = level.usual * grams * share if math.isfinite(level.usual) else math.nan
    if short == 0:
        there = f"{_million(here[0])} here" + (
            f" and {_million(others)} in the other cones of the day" if others else ""
        )
        result["sentence"] = f"{there}: enough for one feed of {_million(feed.nauplii_per_feed)}."
        if math.isfinite(usual_harvest) and usual_harvest > 1.05 * here[0]:
            result["sentence"] += f" That is {_million(usual_harvest - here[0])} fewer than this cone usually gives."
        return result
    best, low = usual_per_g if usual_per_g else (level.usual, level.usual_low)
    if not (low and math.isfinite(low) and low > 0):
        best, low = (settings.limits.min_nauplii_per_g,) * 2
    dose = dose_for(short, low, efficiency_per_g=best, recovery_pct=feed.recovery_pct, cone_volume_l=feed.cone_volume_l,
                    max_g_per_l=feed.max_g_per_l)  # fmt: skip
    free = [c for c in _cones(row, same_day, busy_cones, feed.n_cones) if c != suspect_cone]
    result |= {"grams": dose.grams, "n_cones": dose.n_cones, "cone": ", ".join(free[: dose.n_cones])}
    place = f"cone {result['cone']}" if free else "a cone that is free and clean"
    result["sentence"] = (f"{_million(here[0])} here and {_million(others) if others else 'none'} in the other cones "
                          "of the day; "
                          f"{_million(short)} are missing for one feed of {_million(feed.nauplii_per_feed)}. Start "
                          f"{dose.grams:.0f} g in {place} now: ready in about "
                          f"{settings.conditions.reading_h:.0f} h.")  # fmt: skip
    return result


def _cones(row, same_day, busy, n_cones):
    """Cones to use: those of the day that did well come free at harvest; else letters up to the number of cones."""
    known = [str(row["cone"]), *[str(c) for c in same_day["cone"]]] if len(same_day) else [str(row["cone"])]
    letters = [chr(65 + i) for i in range(min(n_cones, 26))]
    names = letters if set(known) <= set(letters) else sorted(set(known))
    return [c for c in names if c not in set(busy)]


def _million(nauplii: float) -> str:
    return f"{nauplii / 1e6:.1f} million" if nauplii >= 1e5 else f"{nauplii:,.0f}"
