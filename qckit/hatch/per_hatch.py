"""A row a hatch: every metric with its interval."""

from __future__ import annotations

from dataclasses import replace
from numbers import Real

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import check_confidence, normal_quantile
from qckit.hatch.intervals.plain import score_bounds
from qckit.hatch.lots.doubted import impossible_hatches
from qckit.hatch.metrics import CONE_COLUMNS, cone_metrics
from qckit.hatch.notes import Note
from qckit.hatch.photo_counts import mark_photo_counts
from qckit.hatch.registry import METRICS
from qckit.hatch.subsamples import joined_subsamples, reading_subsamples
from qckit.hatch.summary import measuring_uncertainty

__all__ = ["counted_at", "hatch_table"]


def hatch_table(tables, *, confidence: float = 0.95) -> pd.DataFrame:
    """Work out every metric of every counted hatch, with its interval.

    Parameters
    ----------
    tables : SiteTables
        Settings, lots, hatches, samples and, for volumes that come from a chamber's depth, photos.
    confidence : float
        Between 0 and 1, ends excluded.

    Returns
    -------
    DataFrame, one row per counted hatch, in the order of wetting
        ``hatch.CONE_COLUMNS``, and beside each metric ``METRIC_low`` and ``METRIC_high``. NaN where it is not known.
        A count that cannot be keeps its figures, and its ``notes`` say so (:func:`hatch.impossible_hatches`).

    Notes
    -----
    The interval is that of *this* hatch, from its own counts: Wilson's score interval for shares, Rao's score interval
    for counts per gram, both with the dispersion between subsamples that all these hatches show together (Pearson's chi
    squared over its degrees of freedom, at least 1). Counts per gram also carry the measuring uncertainty of the
    settings (first order, on the log scale). Nauplii corrected by a camera's certificate carry its uncertainty. How far
    hatches of one lot differ is in the lot's interval, not in this.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209-212; McCullagh and Nelder 1989, Generalized Linear Models, 2nd ed., section
    4.5 (dispersion); JCGM 100:2008, 5.1.2 (from memory).

    Examples
    --------
    >>> figures = hatch.hatch_table(tables)
    >>> {"hatch_pct", "hatch_pct_low", "hatch_pct_high"} <= set(figures)
    True
    """
    check_confidence(confidence)
    reading_h, measure = tables.settings.conditions.reading_h, tables.settings.measure
    parts = (tables.samples, tables.hatches, tables.lots)
    cones = cone_metrics(*parts, photos=tables.photos, reading_h=reading_h)
    camera_u = mark_photo_counts(cones, tables.samples_as_counted, tables.photo_corrections)["camera_u"].to_numpy(float)
    used = reading_subsamples(joined_subsamples(*parts, tables.photos), reading_h=reading_h)
    used = used[used["left_out"] == ""]
    z, bounds = normal_quantile(confidence), {}
    impossible = impossible_hatches(cones, tables.samples)
    can_be = used[~used["hatch"].isin(set(impossible))]  # a slip widens no other
    for name, m in METRICS.items():
        if m.interval == "proportion":
            spread = _dispersion(can_be, m.part, m.whole)
            u = camera_u if m.part == "nauplii" else 0 * camera_u
            bounds[name] = [100 * b for b in _share_bounds(cones[m.part], cones[m.whole], z, spread, u)]
        elif m.interval == "rate":
            spread = _dispersion(can_be, m.part, "counted_ul")
            bounds[name] = _rate_bounds(cones.assign(camera_u=camera_u), m.part, z, spread, measure)
        else:
            constant = pd.Series(np.asarray(m.constant(used), dtype=float), index=used["hatch"].to_numpy())
            times = constant.groupby(level=0).first().reindex(cones["hatch"]).to_numpy(float)
            extra = getattr(measure, m.constant_u) / 100 if m.constant_u else 0.0
            low, high = (b * times for b in bounds[m.of])
            bounds[name] = _widened(cones[name].to_numpy(float), low, high, z * extra)
    cones = cones.assign(
        notes=[(*of, *_impossible_notes(impossible, h)) for h, of in zip(cones["hatch"], cones["notes"])]
    )
    columns = [
        c for name in CONE_COLUMNS for c in (name, *((f"{name}_low", f"{name}_high") if name in METRICS else ()))
    ]
    table = cones.assign(**{f"{n}_{end}": b for n, pair in bounds.items() for end, b in zip(("low", "high"), pair)})
    return table[columns].sort_values(["started", "hatch"], kind="stable", ignore_index=True)


def _impossible_notes(impossible, hatch):
    """The note on a count that cannot be, of the hatches that have one."""
    if hatch in impossible:
        yield Note("impossible", {"why": impossible[hatch].why, "first_step": impossible[hatch].first_step})


def _dispersion(used, part, whole):
    """How much more than chance subsamples of one hatch differ: in a share of ``whole``, or per volume."""
    table = pd.DataFrame({"hatch": used["hatch"], "x": used[part], "n": used[whole]}).astype({"x": float, "n": float})
    table = table[table["x"].notna() & (table["n"] > 0)]
    grouped = table.groupby("hatch")
    p = grouped["x"].transform("sum") / grouped["n"].transform("sum")
    size = grouped["x"].transform("size")
    expected = table["n"] * p
    variance = expected if whole == "counted_ul" else expected * (1 - p)
    good = (size > 1) & (variance > 0)
    df = float((1 - 1 / size[good]).sum())
    return max(1.0, float((((table["x"] - expected) ** 2 / variance)[good]).sum()) / df) if df else 1.0


def _share_bounds(part, whole, z, spread, u):
    """Wilson's interval, fractions; NaN where nothing was counted. ``u``: relative, of the part, by its correction."""
    n = whole.to_numpy(float) / spread
    with np.errstate(divide="ignore", invalid="ignore"):
        p = part.to_numpy(float) / whole.to_numpy(float)
        low, high = score_bounds(p, n, z**2)
        middle, half = (low + high) / 2, np.hypot((high - low) / 2, z * u * p * (1 - p))
        known = n > 0
        return [np.where(known, np.clip(b, 0, 1), np.nan) for b in (middle - half, middle + half)]


def _rate_bounds(cones, part, z, spread, measure):
    """Score interval of a count, times the factor, widened by what volumes and mass leave open."""
    count, factor = cones[part].to_numpy(float), cones["factor_per_g"].to_numpy(float)
    middle, half = count + z**2 * spread / 2, z * np.sqrt(count * spread + (z**2 * spread) ** 2 / 4)
    low, high = np.maximum(middle - half, 0.0) * factor, (middle + half) * factor
    if not len(cones):
        return [low, high]
    u = [measuring_uncertainty(measure, cones.iloc[[i]]) for i in range(len(cones))]
    u = np.hypot(u, cones["camera_u"]) if part == "nauplii" else np.array(u)
    return _widened(count * factor, low, high, z * u)


def _widened(value, low, high, reach):
    """Add a relative uncertainty to both bounds, on the log scale."""
    with np.errstate(divide="ignore", invalid="ignore"):
        down = value / np.exp(np.hypot(np.log(value / low), reach))
        up = value * np.exp(np.hypot(np.log(high / value), reach))
    is_positive = value > 0
    return [np.where(is_positive & (low > 0), down, low), np.where(is_positive, up, high)]


_NEAR_H = 1.5


def counted_at(tables, hours: float):
    """Keep the samples that were counted at some hours from wetting, as the reading of their hatches.

    Parameters
    ----------
    tables : SiteTables
    hours : float
        Samples within an hour and a half of it are kept. [h]

    Returns
    -------
    SiteTables

    Raises
    ------
    InputError
        No sample was counted then.

    Examples
    --------
    >>> bool(hatch.counted_at(tables, 24).samples["hours"].between(22.5, 25.5).all())
    True
    """
    if isinstance(hours, bool) or not isinstance(hours, Real) or not hours > 0:
        raise InputError(f"hours: {hours!r} is no number of hours from wetting. Write one, such as 24, or a list.")
    near = (tables.samples["hours"] - hours).abs() <= _NEAR_H
    if not near.any():
        known = sorted({round(h) for h in tables.samples["hours"].dropna()})
        raise InputError(
            f"hours: no sample was counted within {_NEAR_H:g} h of {hours:g} h from wetting. "
            f"Counted: {', '.join(f'{h} h' for h in known) or 'none with known hours'}."
        )
    conditions = replace(tables.settings.conditions, reading_h=float(hours))
    return tables.but(settings=replace(tables.settings, conditions=conditions), samples=tables.samples[near])
