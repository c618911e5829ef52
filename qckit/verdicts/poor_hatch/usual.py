"""What is usual for a lot: the stage mix of its own earlier hatches, and how far hatches stray from it by themselves.

A hatch is described by four figures that separate the steps from cyst to harvest, on scales on which chance is about
normal: ``opened`` (log of opened to unopened cysts), ``released`` (log of nauplii to umbrellas), ``witness`` (log of
shells to opened cysts) and ``amount`` (log of full cysts found per gram).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

__all__ = ["FEATURES", "Usual", "describe_hatch", "hatch_counts", "usual_of_lot"]

FEATURES = ("opened", "released", "witness", "amount")

# Spread between hatches of one lot assumed until a lot has hatches enough of its own: ours, about what the
# between-cone standard deviations of published triplicate tests suggest; weighs as much as _PRIOR_HATCHES hatches.
_PRIOR_SD = np.array([0.22, 0.40, 0.10, 0.06])
_PRIOR_HATCHES = 8.0
_FLOOR_SD = np.array([0.08, 0.15, 0.04, 0.025])
_PRIOR_MIXING_CV = 0.08
_PRIOR_LIGHT_CV = 0.05
_LEAST_HATCHES = 5


@dataclass(frozen=True)
class Usual:
    """What a lot's hatches are like: mean of the four figures, their covariance, and the numbers behind them."""

    mean: np.ndarray  # (4,)
    between: np.ndarray  # (4, 4) covariance between hatches beyond counting
    n_hatches: int
    mixing_cv: float
    hatches: tuple[str, ...]
    set_aside: tuple[str, ...]
    note: str = ""
    light_cv: float = 0.05  # of the nauplii alone, between subsamples of a hatch

    @property
    def mix(self) -> np.ndarray:
        """Nauplii, umbrellas, cysts and shells per full cyst in a usual hatch, shape (4,)."""
        opened = 1.0 / (1.0 + np.exp(-self.mean[0]))
        free = 1.0 / (1.0 + np.exp(-self.mean[1]))
        return np.array([opened * free, opened * (1 - free), 1 - opened, np.exp(self.mean[2]) * opened])


def hatch_counts(samples: pd.DataFrame, hatches: pd.DataFrame, *, reading_h: float = 24.0) -> pd.DataFrame:
    """Pool the subsamples of each hatch that were taken at its own reading.

    Parameters
    ----------
    samples, hatches : DataFrame
        Columns of the tables of those names. A hatch that was read several times counts at the reading nearest to
        ``reading_h``.
    reading_h : float
        The site's usual hour. [h]

    Returns
    -------
    DataFrame, one row per hatch with counts
        hatch, lot, cone, purpose, started, cysts_g, volume_ml, hours, n_subsamples, nauplii, umbrella, unhatched,
        shells (NaN where nobody counted them), full_per_g, hatch_pct, nauplii_per_g, chi2 and df (of the full cysts
        over subsamples), share_chi2 (of the nauplii among them, same df), sorted by start.
    """
    from qckit.tables import to_utc

    sub = samples[(samples["kind"] == "subsample") & samples["nauplii"].notna()]
    sub = sub.merge(
        hatches[["hatch", "lot", "cone", "purpose", "started", "cysts_g", "volume_ml", "operator"]], on="hatch"
    )
    elapsed = (to_utc(sub["taken"]) - to_utc(sub["started"])).dt.total_seconds() / 3600.0
    sub["hours"] = sub["hours"].where(sub["hours"].notna(), elapsed)
    away = (sub["hours"] - reading_h).abs()
    nearest = sub.loc[away.groupby(sub["hatch"]).idxmin(), ["hatch", "hours"]].set_index("hatch")["hours"]
    sub = sub[(sub["hours"] - sub["hatch"].map(nearest)).abs() <= 1.5]
    unhatched = sub["embryos"].astype(float).where(sub["embryos"].notna(), sub["cysts"].astype(float))
    dilution = sub["dilution"].astype(float).fillna(1.0)
    sub = sub.assign(
        nauplii=sub["nauplii"].astype(float),
        umbrella=sub["umbrella"].astype(float).fillna(0.0),
        unhatched=unhatched,
        shells=sub["shells"].astype(float),
        ul=sub["volume_ul"].astype(float) / dilution,
    )
    sub = _one_kind(sub[sub["unhatched"].notna()])
    table = _pool(sub)
    return table.sort_values(
        ["started", "hatch"], key=lambda c: to_utc(c) if c.name == "started" else c, ignore_index=True
    )


def _one_kind(sub):
    """Keep each hatch's counts of one kind, photo or person, whichever has more; the other is a second witness."""
    n = sub.groupby(["hatch", "counted_by"]).size().unstack(fill_value=0)
    n = n.reindex(columns=["photo", "person"], fill_value=0)
    kind = (n["photo"] > n["person"]).map({True: "photo", False: "person"})
    return sub[sub["counted_by"] == sub["hatch"].map(kind)]


def _pool(sub):
    """One row per hatch."""
    full = sub["nauplii"] + sub["umbrella"] + sub["unhatched"]
    seen = sub["shells"].notna()
    sub = sub.assign(
        full=full, opened=(sub["nauplii"] + sub["umbrella"]).where(seen, 0.0), exposure=sub["ul"].fillna(1.0)
    )
    grouped = sub.groupby("hatch", sort=False)
    density = grouped["full"].transform("sum") / grouped["exposure"].transform("sum")
    expected = density * sub["exposure"]
    share = grouped["nauplii"].transform("sum") / np.maximum(grouped["full"].transform("sum"), 1.0)
    chance = np.maximum(sub["full"] * share * (1 - share), 0.25)
    sub = sub.assign(
        chi2=(sub["full"] - expected) ** 2 / np.maximum(expected, 0.5),
        share_chi2=(sub["nauplii"] - sub["full"] * share) ** 2 / chance,
    )
    grouped = sub.groupby("hatch", sort=False)
    first = ["lot", "cone", "purpose", "started", "operator", "cysts_g", "volume_ml"]
    table = grouped[first].first()
    table["hours"], table["n_subsamples"] = grouped["hours"].mean(), grouped.size()
    sums = grouped[["nauplii", "umbrella", "unhatched", "full", "opened", "chi2", "share_chi2"]].sum()
    table = table.join(sums[["nauplii", "umbrella", "unhatched"]])
    table["shells"] = grouped["shells"].sum(min_count=1)
    table["counted_shells_opened"] = sums["opened"]
    ul = grouped["ul"].sum(min_count=1).where(grouped["ul"].count() == table["n_subsamples"])
    per_g = table["volume_ml"] * 1000.0 / (ul * table["cysts_g"])
    table["full_per_g"], table["nauplii_per_g"] = sums["full"] * per_g, table["nauplii"] * per_g
    table["hatch_pct"] = (100.0 * table["nauplii"] / sums["full"]).where(sums["full"] > 0)
    table["df"] = table["n_subsamples"] - 1
    for name in ("chi2", "share_chi2"):
        table[name] = sums[name].where(table["df"] > 0)
    return table.reset_index()


def describe_hatch(row, *, mixing_cv: float = _PRIOR_MIXING_CV):
    """Turn one pooled hatch into its four figures and the covariance that counting alone gives them.

    Parameters
    ----------
    row : mapping
        A row of :func:`hatch_counts`.
    mixing_cv : float
        Coefficient of variation of density between subsamples.

    Returns
    -------
    (ndarray of shape (4,), ndarray of shape (4, 4))
        NaN where a figure cannot be had (shells not counted, volume unknown). The covariance is the delta method's on
        Poisson counts with half an object added to each.
    """
    n, u, c = (float(row[k]) + 0.5 for k in ("nauplii", "umbrella", "unhatched"))
    opened, full = n + u, n + u + c
    has_shells = np.isfinite(row["shells"]) and row["counted_shells_opened"] > 0
    s = float(row["shells"]) + 0.5 if has_shells else 1.0
    base = row["counted_shells_opened"] + 1.0 if has_shells else opened
    figures = np.array(
        [
            np.log(opened / c),
            np.log(n / u),
            np.log(s / base) if has_shells else np.nan,
            np.log(row["full_per_g"]) if row["full_per_g"] > 0 else np.nan,
        ]
    )
    slope = np.array(
        [
            [1 / opened, 1 / opened, -1 / c, 0],
            [1 / n, -1 / u, 0, 0],
            [-1 / opened, -1 / opened, 0, 1 / s],
            [1 / full, 1 / full, 1 / full, 0],
        ]
    )
    covariance = slope @ np.diag([n, u, c, s]) @ slope.T
    if has_shells and base < opened:
        covariance[2, 2] += 1 / base - 1 / opened
    covariance[3, 3] += mixing_cv**2 / row["n_subsamples"]
    return figures, covariance


def usual_of_lot(counts: pd.DataFrame, *, lot: str, before, leave_out=(), most: int = 40) -> Usual:
    """Estimate what is usual from a lot's own earlier hatches.

    Parameters
    ----------
    counts : DataFrame
        As :func:`hatch_counts` returns it.
    lot : str
    before : str
        ISO time; only hatches started earlier are used, at most the last ``most`` of them.
    leave_out : sequence of str
        Hatches not to use.

    Returns
    -------
    Usual
        With fewer than five earlier hatches the mean rests on those few (or, without any, on nothing: NaN) and the
        note says so; the spread leans on the prior.
    """
    from qckit.tables import to_utc

    own = counts[(counts["lot"] == lot) & ~counts["hatch"].isin(list(leave_out))]
    own = own[to_utc(own["started"]) < pd.Timestamp(before)].tail(most)
    if own.empty:
        return Usual(np.full(4, np.nan), np.diag(_PRIOR_SD**2), 0, _PRIOR_MIXING_CV, (), (), "no earlier hatch")
    mixing = _mixing_cv(own)
    described = [describe_hatch(row, mixing_cv=mixing) for row in own.to_dict("records")]
    figures, sampling = np.array([d[0] for d in described]), np.array([d[1] for d in described])
    keep = _within_reach(figures, sampling)
    kept, kept_sampling = figures[keep], sampling[keep]
    mean = np.array([np.nanmean(col) if np.isfinite(col).any() else np.nan for col in kept.T])
    n = len(kept)
    spread = np.array([np.nanvar(col, ddof=1) if np.isfinite(col).sum() > 2 else np.nan for col in kept.T])
    excess = np.where(np.isfinite(spread), spread - kept_sampling.mean(axis=0).diagonal(), _PRIOR_SD**2)
    between = (np.maximum(excess, 0) * max(n - 1, 0) + _PRIOR_SD**2 * _PRIOR_HATCHES) / (max(n - 1, 0) + _PRIOR_HATCHES)
    between = np.maximum(between, _FLOOR_SD**2)
    names = own["hatch"].tolist()
    return Usual(
        mean,
        np.diag(between * (1 + 1 / n)),
        n,
        mixing,
        tuple(name for name, k in zip(names, keep, strict=True) if k),
        tuple(name for name, k in zip(names, keep, strict=True) if not k),
        "" if n >= _LEAST_HATCHES else f"only {n} earlier hatch{'es' if n > 1 else ''} of this lot",
        _light_cv(own),
    )


def _within_reach(figures, sampling):
    """Tell which hatches are not themselves out of the ordinary (robust distance from the median)."""
    if len(figures) < _LEAST_HATCHES:
        return np.ones(len(figures), dtype=bool)
    with np.errstate(all="ignore"):
        centre = np.nanmedian(figures, axis=0)
        scale = 1.4826 * np.nanmedian(np.abs(figures - centre), axis=0)
    scale = np.where(np.isfinite(scale), scale, 1.0)
    noise = np.sqrt(np.array([np.diag(s) for s in sampling]))
    reach = np.maximum(np.maximum(scale, noise), _FLOOR_SD)
    far = np.abs(figures - centre) / reach
    keep = np.nan_to_num(far, nan=0.0).max(axis=1) < 3.5
    return keep if keep.sum() >= _LEAST_HATCHES else np.ones(len(figures), dtype=bool)


def _mixing_cv(own):
    """Density's coefficient of variation between subsamples, from the hatches' own chi-square."""
    per_sample = (own["nauplii"] + own["umbrella"] + own["unhatched"]).sum() / own["n_subsamples"].sum()
    return _extra_cv(own, "chi2", per_sample, _PRIOR_MIXING_CV)


def _light_cv(own):
    """Coefficient of variation of the nauplii alone between subsamples, from the spread of their share."""
    full = (own["nauplii"] + own["umbrella"] + own["unhatched"]).sum()
    share = own["nauplii"].sum() / max(full, 1.0)
    return _extra_cv(own, "share_chi2", full / own["n_subsamples"].sum() * share * (1 - share), _PRIOR_LIGHT_CV)


def _extra_cv(own, chi2, weight, prior_cv):
    """Spread beyond chance from the hatches' chi-squares; ``weight`` turns a squared CV into excess chi-square."""
    with_two = own[own["df"] > 0]
    df = with_two["df"].sum()
    if df < 1 or weight <= 0:
        return prior_cv
    excess = max(0.0, float(np.minimum(with_two[chi2], 6 * with_two["df"]).sum()) / df - 1.0)
    return float(np.sqrt((excess * df + prior_cv**2 * weight * 10) / (df + 10) / weight))
