"""Is the hatch poor at all: levels and chance."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.hatch import hatch_table
from qckit.log_odds import expit, logit
from qckit.verdicts.lots.usual import full_cysts_counted

__all__ = ["Level", "against_limits", "judge_level", "with_intervals"]

_PRIOR_SD = {"hatch_pct": 0.30, "hatching_efficiency_per_g": 0.10}
_PRIOR_DF = 6.0


@dataclass(frozen=True)
class Level:
    """One figure of the hatch against the lot's usual: the interval chance would give, and how rare the value is."""

    name: str
    value: float
    low: float  # own uncertainty of the value: on pages that of with_intervals
    high: float
    usual: float
    usual_low: float  # where 95 in 100 hatches of this lot fall
    usual_high: float
    p_low: float  # how often chance alone gives a value as low
    n_hatches: int


def judge_level(counts: pd.DataFrame, row, usual, name: str, *, standing=None) -> Level:
    """Place a hatch's percentage or nauplii per gram among the lot's usual hatches.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it.
    row : mapping
        The hatch's row of it.
    usual : Usual
    name : str
        ``hatch_pct`` or ``hatching_efficiency_per_g``.
    standing : Standing, optional
        Levels of cones and operators: what is usual is then that of this hatch's cone and operator.

    Returns
    -------
    Level
        The percentage is judged on the logit scale, nauplii per gram on the log scale, by a t law whose variance is
        that of the usual hatches, pooled with a prior of six degrees of freedom.
    """
    to, back = _scales(name)
    is_usual = counts["hatch"].isin(usual.hatches)
    y = to(counts[name][is_usual].to_numpy(dtype=float))
    if standing is not None and standing.effects:
        here = standing.shift(row["hatch"], usual.mean, name)
        y = y + here - np.array([standing.shift(h, usual.mean, name) for h in counts["hatch"][is_usual]])
    y = y[np.isfinite(y)]
    value = float(row[name])
    x = float(to(np.array([value]))[0])
    full = full_cysts_counted(row)
    counting_sd = math.sqrt(_sampling(row, name, full, usual.mixing_cv))
    low, high = (float(v) for v in back(np.array([x - 1.96 * counting_sd, x + 1.96 * counting_sd])))
    if len(y) < 1 or not math.isfinite(x):
        nan = math.nan
        return Level(name, value, low=low, high=high, usual=nan, usual_low=nan, usual_high=nan, p_low=nan, n_hatches=0)
    from scipy.special import stdtr, stdtrit  # not scipy.stats: the day's page waits for the import

    df = len(y) - 1 + _PRIOR_DF
    spread = (y.var(ddof=1) * (len(y) - 1) if len(y) > 1 else 0.0) + _PRIOR_SD[name] ** 2 * _PRIOR_DF
    sd = math.sqrt(max(spread / df, counting_sd**2) * (1 + 1 / len(y)))
    centre = float(y.mean())
    reach = stdtrit(df, 0.975) * sd
    middle, usual_low, usual_high = (float(v) for v in back(np.array([centre, centre - reach, centre + reach])))
    return Level(
        name,
        value,
        low=low,
        high=high,
        usual=middle,
        usual_low=usual_low,
        usual_high=usual_high,
        p_low=float(stdtr(df, (x - centre) / sd)),
        n_hatches=len(y),
    )


def with_intervals(levels: tuple[Level, ...], tables, hatch: str) -> tuple[Level, ...]:
    """Give a hatch's levels the intervals of ``hatch.hatch_table``, which imports and tables show of it.

    Parameters
    ----------
    levels : tuple of Level
    tables : SiteTables
        With the hatch counted.
    hatch : str
    """
    table = hatch_table(tables)
    row = table[table["hatch"] == hatch].iloc[0]
    return tuple(
        replace(level, low=float(row[f"{level.name}_low"]), high=float(row[f"{level.name}_high"])) for level in levels
    )


def _scales(name):
    """Transform to the working scale and back."""
    if name == "hatch_pct":
        return (
            lambda v: logit(np.asarray(v) / 100, least=0.002),
            lambda z: 100 * expit(z),
        )
    return (lambda v: np.log(np.where(v > 0, v, np.nan))), np.exp


def _sampling(row, name, full, mixing_cv):
    """Variance on the working scale from counting (and mixing) alone."""
    n = row["nauplii"] + 0.5
    if name == "hatch_pct":
        return 1 / n + 1 / (full - row["nauplii"] + 0.5)
    return 1 / n + mixing_cv**2 / row["n_subsamples"]


def against_limits(limits, row, lot: str) -> dict:
    """Where the percentage lies against the lot's frozen control limits; empty where none are frozen.

    Returns
    -------
    dict
        side (below, above, within), value, low, high, baseline, sentence.
    """
    from qckit.charts import apply_limits
    from qckit.charts.baseline import stored_limits

    found = stored_limits(limits, chart="hatch_pct", lot=lot, before=row["started"])
    if found is None:
        return {}
    frozen, stored = found
    total = int(full_cysts_counted(row))
    point = {"label": [row["hatch"]], "at": [row["started"]], "group": [lot]}
    point |= (
        {"count": [int(row["nauplii"])], "size": [total]}
        if frozen.kind.startswith("p")
        else {"value": [row["hatch_pct"]]}
    )
    chart = apply_limits(frozen, pd.DataFrame(point)).iloc[0]
    where = "below" if chart["value"] < chart["low"] else "above" if chart["value"] > chart["high"] else "within"
    sentence = (
        f"{chart['value']:.1f} % lies {where} the frozen limits {chart['low']:.1f} to {chart['high']:.1f} % "
        f"(baseline {stored['baseline']}, set {str(stored['set_at'])[:10]} by {stored['set_by']})."
    )
    return {
        "side": where,
        "value": float(chart["value"]),
        "low": float(chart["low"]),
        "high": float(chart["high"]),
        "baseline": str(stored["baseline"]),
        "sentence": sentence,
    }
