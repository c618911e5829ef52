"""From the four tables to one row per hatch: everything that is charted, in the order of time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.hatch.metrics import cone_metrics
from qckit.hatch.rate.fit import interpolated_times
from qckit.hatch.rate.models import monotone_curve
from qckit.hatch.registry import METRICS
from qckit.hatch.water.readings import standard_of, water_of_hatches
from qckit.quantities import QUANTITIES, WATER
from qckit.settings import ConditionSettings
from qckit.tables import to_utc
from qckit.words import figures, number

__all__ = [
    "CHARTED",
    "CONDITIONS",
    "LOT_CHARTS",
    "SERIES_COLUMNS",
    "Charted",
    "chart_points",
    "doubt_of",
    "hatch_series",
]


# light varies by factors (lamp, distance, shade): its limits are set on a log scale; half of what a meter reads least
_BY_FACTORS = {"light": 5.0}
_FINER_LIMITS = {"oxygen": 1}  # decimals more than a reading has, which keep limits apart


@dataclass(frozen=True)
class Charted:
    """One charted quantity: how it is called, its unit, its kind of chart and where its figures come from.

    Examples
    --------
    >>> charts.CHARTED["hatch_pct"].unit
    '%'
    """

    name: str
    label: str
    unit: str
    kind: str
    per: float = 1.0
    count: str = ""
    size: str = ""
    decimals: int = 1
    finer_limits: int = 0  # decimals more, for limits and centre lines
    by_lot: bool = True
    least: float = 0.0  # smallest value on a log scale: what is read as less stands there

    def size_text(self, size: float) -> str:
        """Write the size of a difference, rounded to what is known, with its unit."""
        if self.kind.startswith("p"):
            return f"{size:.0f} points" if size >= 9.5 else f"{size:.1f} points"
        return self.value_text(size)

    def value_text(self, value: float) -> str:
        """Write a value with its unit: as many decimals as it is read with, and no more than three figures counted."""
        text = figures(value) if self.decimals == 0 else number(value, self.decimals)
        return f"{text} {self.unit}".rstrip()


def _of_metric(m):
    """How a metric of the registry is charted; a rate is charted as it is, a share from its counts."""
    counts = {"count": m.part, "size": m.whole} if m.interval == "proportion" else {}
    # a hatch of which nothing came stands at one nauplius per gram, far below every limit
    counts |= {"least": 1.0} if m.chart == "log individuals" else {}
    return Charted(m.name, m.label, m.unit, m.chart, m.per, decimals=m.decimals, **counts)


CHARTED = {
    c.name: c
    for c in (
        *(_of_metric(m) for m in METRICS.values() if m.chart),
        Charted(
            name="shells_per_1000",
            label="shells in harvests",
            unit="per 1000 nauplii",
            kind="u prime",
            per=1.0,
            count="sieve_shells",
            size="sieve_thousands",
        ),
        Charted("t90_h", "T90", "h", "individuals"),
        *(
            Charted(
                q.column,
                q.label,
                q.unit,
                "log individuals" if q.name in _BY_FACTORS else "individuals",
                decimals=q.decimals,
                finer_limits=_FINER_LIMITS.get(q.name, 0),
                by_lot=False,
                least=_BY_FACTORS.get(q.name, 0.0),
            )
            for q in (QUANTITIES[name] for name in WATER)
        ),
    )
}
"""Every charted quantity by its name."""

CONDITIONS = tuple(QUANTITIES[name].column for name in WATER)
"""The charted conditions of the water."""

LOT_CHARTS = tuple(name for name, c in CHARTED.items() if c.by_lot and name != "t90_h")
"""Charts that every hatch of a lot gives a point of; T90 takes a time course."""

_CHARTED_METRICS = tuple(m.name for m in METRICS.values() if m.chart)
_COUNTS = tuple(
    dict.fromkeys(
        (
            *("nauplii", "umbrella", "unhatched", "shells", "full_cysts"),
            *(c for m in METRICS.values() if m.chart for c in (m.part, m.whole) if c),
        )
    )
)

SERIES_COLUMNS = (
    "hatch",
    "lot",
    "cone",
    "operator",
    "purpose",
    "at",
    "day",
    "cysts_g",
    "volume_ml",
    "hours",
    "n_subsamples",
    *_COUNTS,
    *_CHARTED_METRICS,
    "sieve_shells",
    "sieve_thousands",
    "shells_per_1000",
    "t90_h",
    *CONDITIONS,
    "counted_by",
    "lot_age_days",
    "off_standard",
    "far_off",
    "notes",
)
"""Columns of :func:`hatch_series`."""


def hatch_series(
    lots, hatches, samples, readings=None, *, conditions=None, purposes=("production", "reference"), cones=None
):
    """Bring each hatch's metrics and conditions into one row.

    Parameters
    ----------
    lots, hatches, samples, readings : DataFrame
        Tables as ``tables.check_table`` returns them.
    conditions : settings.ConditionSettings, optional
        The site's standard, for ``off_standard`` and the reading hour.
    purposes : tuple of str
        Which hatches; tests and trials in other vessels belong to other charts.
    cones : DataFrame, optional
        ``cone_metrics`` of these hatches at least, where they were worked out already.

    Returns
    -------
    DataFrame, shape (n_hatches, len(SERIES_COLUMNS))
        In the order of start (then cone), hatches without a count included with NaN. A condition is the median of its
        readings, or the field-sheet value where there is no reading. ``off_standard`` names in words every condition
        outside the site's standard (:mod:`qckit.hatch.water.readings`), ``far_off`` those far outside; empty when none
        is.

    Examples
    --------
    >>> series = charts.hatch_series(tables.lots, tables.hatches, tables.samples, tables.readings)
    >>> {"hatch", "hatch_pct", "temperature_c"} <= set(series)
    True
    """
    conditions = conditions or ConditionSettings()
    chosen = hatches[hatches["purpose"].isin(purposes)].copy()
    chosen["at"] = to_utc(chosen["started"]) if len(chosen) else pd.Series(dtype="datetime64[us, UTC]")
    chosen = chosen.sort_values(["at", "cone", "hatch"], kind="stable").reset_index(drop=True)
    of_hatches = samples[samples["hatch"].isin(chosen["hatch"])]
    if cones is None:
        cones = cone_metrics(of_hatches, chosen, lots, reading_h=conditions.reading_h)
    keep = [
        "hatch",
        "hours",
        "n_subsamples",
        *_COUNTS,
        *_CHARTED_METRICS,
        "counted_by",
        "notes",
    ]
    out = chosen.drop(columns=["notes", "hours"], errors="ignore").merge(
        cones[keep].astype({"hatch": chosen["hatch"].dtype}), on="hatch", how="left"
    )
    out = _with_sieve(out, of_hatches)
    water = water_of_hatches(out, readings)
    out[list(water)] = water
    out["t90_h"] = _t90(out, of_hatches)
    out["counted_by"] = out["counted_by"].fillna("")
    opened = dict(zip(lots["lot"], lots["opened"], strict=True)) if lots is not None and len(lots) else {}
    first = pd.to_datetime(out["lot"].map(opened), errors="coerce", utc=True, format="ISO8601")
    first = first.fillna(out.groupby("lot")["at"].transform("min")) if len(out) else first
    out["lot_age_days"] = (out["at"] - first).dt.total_seconds() / 86400 if len(out) else np.nan
    out["day"] = out["at"].dt.strftime("%Y-%m-%d") if len(out) else ""
    out["off_standard"], out["far_off"] = _off_standard(out, conditions)
    out["operator"] = out["operator"].fillna("")
    out["notes"] = [note if isinstance(note, tuple) else () for note in out["notes"]]
    return out.reindex(columns=list(SERIES_COLUMNS))


def _with_sieve(out, samples):
    """Shells in the harvest, per thousand nauplii."""
    sieve = samples[samples["kind"] == "sieve"]
    if "revision" in sieve and len(sieve):
        sieve = sieve.sort_values("revision", kind="stable", na_position="first").drop_duplicates("sample", keep="last")
    sums = sieve.groupby("hatch")[["nauplii", "shells"]].sum(min_count=1).astype("float64")
    out["sieve_shells"] = out["hatch"].map(sums["shells"]).astype(float)
    thousands = out["hatch"].map(sums["nauplii"]).astype(float) / 1000
    out["sieve_thousands"] = thousands.where(thousands > 0)
    out["shells_per_1000"] = out["sieve_shells"] / out["sieve_thousands"]
    return out


def _t90(out, samples):
    """T90 of hatches followed by the clock (five times or more): on the curve of hatched shares made never to fall.

    Isotonic regression first, because the highest single count, which the plain method divides by, is too high by its
    own counting error.
    """
    timed = samples[(samples["kind"] == "subsample") & samples["hours"].notna()]
    rounded = timed["hours"].astype(float).round(1)
    times = rounded.groupby(timed["hatch"].to_numpy()).nunique()
    chosen = timed["hatch"].isin(times.index[times >= 5])
    timed, rounded = timed[chosen], rounded[chosen]
    rest = timed["embryos"].fillna(timed["cysts"]).astype("float64") + timed["umbrella"].fillna(0).astype("float64")
    part = timed["nauplii"].astype("float64")
    found = {}
    for name, index in timed.groupby("hatch").groups.items():
        curve = monotone_curve(rounded.loc[index], part.loc[index], part.loc[index] + rest.loc[index])
        if len(curve) >= 5 and curve["hatched_frac"].iloc[-1] > 0:
            found[name] = interpolated_times(curve["hours"], curve["hatched_frac"]).get("T90", np.nan)
    return out["hatch"].map(found).astype(float)


def _off_standard(out, conditions):
    """Words for each condition off the standard and for each far off, joined by semicolons."""
    off, far = [[] for _ in range(len(out))], [[] for _ in range(len(out))]
    for quantity in WATER:
        record, standard = QUANTITIES[quantity], standard_of(quantity, conditions)
        values = out[record.column].to_numpy(dtype=float)
        is_far = standard.is_far_off(values)
        for i in np.flatnonzero(standard.is_off(values)):
            side = standard.side(values[i])
            border = standard.low if side == "below" else standard.high
            value = f"{values[i]:.{record.decimals}f} {record.unit}".rstrip()
            off[i].append(f"{record.label} {value}, {side} {border:g}")
            if is_far[i]:
                far[i].append(off[i][-1])
    return ["; ".join(t) for t in off], ["; ".join(t) for t in far]


def chart_points(series, name, *, group=None):
    """Make a chart's points of one quantity from the series.

    Parameters
    ----------
    series : DataFrame
        From :func:`hatch_series`.
    name : str
        A name of :data:`CHARTED`.
    group : str, optional
        Column at which the chart restarts; the lot for hatch metrics, none for conditions.

    Returns
    -------
    DataFrame, shape (n, 8)
        label, at, group, value, count, size, and cone and operator for small charts; on a log scale also ``read``, as
        a ``value`` below the smallest that is charted is raised to it.

    Examples
    --------
    >>> charts.chart_points(series, "hatch_pct").columns.tolist()
    ['label', 'at', 'group', 'value', 'count', 'size', 'cone', 'operator']
    """
    charted = CHARTED[name]
    group = ("lot" if charted.by_lot else None) if group is None else group
    points = pd.DataFrame({"label": series["hatch"], "at": series["at"]})
    points["group"] = series[group] if group else ""
    points["value"] = series[name].astype(float)
    if charted.least:  # what a log scale can take, beside what was read
        points["read"], points["value"] = points["value"], points["value"].clip(lower=charted.least)
    for role in ("count", "size"):
        column = getattr(charted, role)
        points[role] = series[column].astype(float) if column else np.nan
    points["cone"], points["operator"] = series["cone"], series["operator"]
    if charted.count:
        points = points[points["count"].notna() & (points["size"] > 0)]
    else:
        points = points[points["value"].notna()]
    return points.reset_index(drop=True)


def doubt_of(points, series):
    """Give what speaks against the figures of each point, where ``series`` says so. Series of str, shape (n,)."""
    why = dict(zip(series["hatch"], series["doubted"], strict=True)) if "doubted" in series else {}
    return pd.Series([why.get(label, "") for label in points["label"]], index=points.index, dtype=object)
