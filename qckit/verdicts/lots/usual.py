"""What is usual for a lot: the stage mix of its own earlier hatches, and how far hatches stray from it by themselves.

A hatch is described by four figures that separate the steps from cyst to harvest, on scales on which chance is about
normal: ``opened`` (log of opened to unopened cysts), ``released`` (log of nauplii to umbrellas), ``witness`` (log of
shells to opened cysts) and ``amount`` (log of full cysts found per gram).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.hatch import cone_metrics, impossible_hatches, joined_subsamples, reading_subsamples
from qckit.log_odds import expit
from qckit.robust import SD_PER_MAD
from qckit.tables import to_utc
from qckit.words import plural

__all__ = [
    "FEATURES",
    "Usual",
    "counted_hatches",
    "describe_hatch",
    "described",
    "full_cysts_counted",
    "usual_of_hatch",
    "usual_of_lot",
]

FEATURES = ("opened", "released", "witness", "amount")

# Spread between hatches of one lot assumed until a lot has hatches enough of its own: ours, about what the
# between-cone standard deviations of published triplicate tests suggest; weighs as much as _PRIOR_HATCHES hatches.
_PRIOR_SD = np.array([0.22, 0.40, 0.10, 0.06])
_PRIOR_HATCHES = 8.0
_FLOOR_SD = np.array([0.08, 0.15, 0.04, 0.025])
_DESCRIBED_BY = ["nauplii", "umbrella", "unhatched", "shells", "shell_opened", "full_cysts_per_g", "n_subsamples"]
_PRIOR_MIXING_CV = 0.08
_PRIOR_LIGHT_CV = 0.05
_LEAST_HATCHES = 5
_MOST_OF_SITE, _MOST_PRIOR = 60, 40.0  # hatches of another lot that are looked at; most that they weigh
_SHRINK_CORR = 30.0  # hatches that would stand for no correlation (ours)


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
        opened = expit(self.mean[0])
        free = expit(self.mean[1])
        return np.array([opened * free, opened * (1 - free), 1 - opened, np.exp(self.mean[2]) * opened])


def counted_hatches(
    samples: pd.DataFrame,
    hatches: pd.DataFrame,
    lots: pd.DataFrame | None = None,
    *,
    photos=None,
    reading_h: float = 24.0,
    cones: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Give each hatch's figures (:func:`hatch.cone_metrics`) with how far its subsamples stray from each other.

    Parameters
    ----------
    samples, hatches, lots, photos : DataFrame
        Tables of those names.
    reading_h : float
        The site's usual hour. [h]
    cones : DataFrame, optional
        ``cone_metrics`` of the same tables, where they were worked out already.

    Returns
    -------
    DataFrame, one row per hatch with nauplii and unhatched cysts counted, sorted by start
        ``hatch.CONE_COLUMNS`` (umbrella stages 0 where nobody counted them), operator, chi2 and df (of the full cysts
        over subsamples), share_chi2 (of the nauplii among them, same df), is_impossible (:func:`hatch.cannot_be`)
        and impossible_sample (its subsample that alone cannot be, else empty).
    """
    if cones is None:
        cones = cone_metrics(samples, hatches, lots, photos=photos, reading_h=reading_h)
    cones = cones[cones["full_cysts"].notna()]
    sub = reading_subsamples(joined_subsamples(samples, hatches, lots, photos), reading_h=reading_h)
    sub = sub[(sub["left_out"] == "") & sub["full_cysts"].notna()]
    cones = cones.merge(_strays(sub), on="hatch", how="left").merge(
        hatches.reindex(columns=["hatch", "operator"]), on="hatch", how="left"
    )
    cones["umbrella"] = cones["umbrella"].fillna(0.0)
    impossible = impossible_hatches(cones, samples)
    cones["is_impossible"] = cones["hatch"].isin(set(impossible))
    cones["impossible_sample"] = [impossible[name].sample if name in impossible else "" for name in cones["hatch"]]
    return cones.sort_values(
        ["started", "hatch"], key=lambda c: to_utc(c) if c.name == "started" else c, ignore_index=True
    )


def full_cysts_counted(counts):
    """Cysts with an embryo that were counted, hatched or not, of a row or of many (:func:`counted_hatches`)."""
    return counts["nauplii"] + counts["umbrella"] + counts["unhatched"]


def _strays(sub):
    """Chi-squares of each hatch's subsamples against one another."""
    full, exposure = sub["full_cysts"], sub["counted_ul"].fillna(1.0)
    sums = pd.DataFrame({"full": full, "n": sub["nauplii"], "exposure": exposure}).groupby(sub["hatch"])
    total = sums.transform("sum")
    expected = total["full"] / total["exposure"] * exposure
    share = total["n"] / np.maximum(total["full"], 1.0)
    chance = np.maximum(full * share * (1 - share), 0.25)
    each = pd.DataFrame(
        {
            "chi2": (full - expected) ** 2 / np.maximum(expected, 0.5),
            "share_chi2": (sub["nauplii"] - full * share) ** 2 / chance,
        }
    )
    out = each.groupby(sub["hatch"]).sum()
    out["df"] = sums.size() - 1
    out[["chi2", "share_chi2"]] = out[["chi2", "share_chi2"]].where(out["df"] > 0)
    return out.reset_index()


def describe_hatch(row, *, mixing_cv: float = _PRIOR_MIXING_CV):
    """Turn one pooled hatch into its four figures and the covariance that counting alone gives them.

    Parameters
    ----------
    row : mapping
        A row of :func:`counted_hatches`.
    mixing_cv : float
        Coefficient of variation of density between subsamples.

    Returns
    -------
    (ndarray of shape (4,), ndarray of shape (4, 4))
        NaN where a figure cannot be had (shells not counted, volume unknown). The covariance is the delta method's on
        Poisson counts with half an object added to each.
    """
    figures, covariances = _describe({k: np.array([row[k]], dtype=float) for k in _DESCRIBED_BY}, mixing_cv)
    return figures[0], covariances[0]


def _describe(of: dict[str, np.ndarray], mixing_cv: float) -> tuple[np.ndarray, np.ndarray]:
    """:func:`describe_hatch` of many, by the columns of their rows."""
    n, u, c = (of[k] + 0.5 for k in ("nauplii", "umbrella", "unhatched"))
    opened, full = n + u, n + u + c
    has_shells = np.isfinite(of["shells"]) & (of["shell_opened"] > 0)
    has_amount = of["full_cysts_per_g"] > 0
    s = np.where(has_shells, of["shells"] + 0.5, 1.0)
    base = np.where(has_shells, of["shell_opened"] + 1.0, opened)
    figures = np.stack(
        [
            np.log(opened / c),
            np.log(n / u),
            np.where(has_shells, np.log(s / base), np.nan),
            np.where(has_amount, np.log(np.where(has_amount, of["full_cysts_per_g"], 1.0)), np.nan),
        ],
        axis=1,
    )
    nothing = np.zeros(len(n))
    slope = np.array(
        [
            [1 / opened, 1 / opened, -1 / c, nothing],
            [1 / n, -1 / u, nothing, nothing],
            [-1 / opened, -1 / opened, nothing, 1 / s],
            [1 / full, 1 / full, 1 / full, nothing],
        ]
    ).transpose(2, 0, 1)
    covariances = (slope * np.stack([n, u, c, s], axis=1)[:, None]) @ slope.transpose(0, 2, 1)
    covariances[:, 2, 2] += np.where(has_shells & (base < opened), 1 / base - 1 / opened, 0.0)
    covariances[:, 3, 3] += mixing_cv**2 / of["n_subsamples"]
    return figures, covariances


def usual_of_lot(counts: pd.DataFrame, *, lot: str, before, leave_out=(), most: int = 40, standing=None) -> Usual:
    """Estimate what is usual from a lot's own earlier hatches.

    Parameters
    ----------
    counts : DataFrame
        As :func:`counted_hatches` returns it.
    lot : str
    before : str
        ISO time; only hatches started earlier are used, at most the last ``most`` of them.
    leave_out : sequence of str
        Hatches not to use.
    standing : Standing, optional
        Levels of cones and operators (``standing.py``): what is usual is then that of none of them in particular.

    Returns
    -------
    Usual
        With fewer than five earlier hatches the mean rests on those few (or, without any, on nothing: NaN) and the
        note says so; the spread leans on the prior.
    """
    columns = {k: counts[k].to_numpy(dtype=float) for k in (*_DESCRIBED_BY, "chi2", "share_chi2", "df")}
    names, lots = counts["hatch"].to_numpy(dtype=object), counts["lot"].to_numpy(dtype=object)
    is_earlier = (to_utc(counts["started"]) < pd.Timestamp(before)).to_numpy(dtype=bool)
    is_usable = is_earlier & ~counts["is_impossible"].to_numpy(dtype=bool)
    mine = np.flatnonzero(is_usable & (lots == lot) & ~np.isin(names, list(leave_out)))[-most:]
    if not len(mine):
        return Usual(
            mean=np.full(4, np.nan),
            between=np.diag(_PRIOR_SD**2),
            n_hatches=0,
            mixing_cv=_PRIOR_MIXING_CV,
            hatches=(),
            set_aside=(),
            note="no earlier hatch",
        )
    of_lot = _some(columns, mine)
    mixing = _mixing_cv(of_lot)
    figures, sampling = _describe(of_lot, mixing)
    if standing is not None and standing.effects:
        figures = figures - np.array([standing.of(name) for name in names[mine]])
    keep = _within_reach(figures, sampling)
    kept, kept_sampling = figures[keep], sampling[keep]
    mean = np.array([np.nanmean(col) if np.isfinite(col).any() else np.nan for col in kept.T])
    n = len(kept)
    others = np.flatnonzero(is_usable & (lots != lot))
    prior, weight = _site_spread(columns, others, lots, mixing)
    between = _between(kept, kept_sampling, prior, weight)
    names = names[mine].tolist()
    return Usual(
        mean=mean,
        between=between,
        n_hatches=n,
        mixing_cv=mixing,
        hatches=tuple(name for name, k in zip(names, keep, strict=True) if k),
        set_aside=tuple(name for name, k in zip(names, keep, strict=True) if not k),
        note="" if n >= _LEAST_HATCHES else f"only {plural(n, 'earlier hatch')} of this lot",
        light_cv=_light_cv(of_lot),
    )


def usual_of_hatch(counts: pd.DataFrame, row, standing=None) -> Usual:
    """Give what is usual for the lot of one hatch at its time: the one usual of every page that judges a hatch.

    Parameters
    ----------
    counts : DataFrame
        As :func:`counted_hatches` returns it.
    row : mapping
        The hatch's row of it.
    standing : Standing, optional
        Levels of cones and operators.

    Returns
    -------
    Usual
        The lot's earlier hatches; where there are fewer than three, its other hatches of the same time or later too.
    """
    options = {"lot": row["lot"], "leave_out": (row["hatch"],), "standing": standing}
    usual = usual_of_lot(counts, before=row["started"], **options)
    if usual.n_hatches >= 3:
        return usual
    wider = usual_of_lot(counts, before="2262-01-01T00:00:00+00:00", **options)
    if wider.n_hatches <= usual.n_hatches:
        return usual
    n = wider.n_hatches
    return replace(wider, note=f"{plural(n, 'other hatch')} of this lot, the same day or later among them")


def _some(columns, rows):
    """Some rows of columns."""
    return {k: column[rows] for k, column in columns.items()}


def _site_spread(columns, others, lots, mixing):
    """Variances between hatches of one lot, from the site's other lots drawn towards ours, and how much they weigh."""
    total, weight = _PRIOR_SD**2 * _PRIOR_HATCHES, np.full(4, _PRIOR_HATCHES)
    for lot in dict.fromkeys(lots[others]):
        of_lot = others[lots[others] == lot][-_MOST_OF_SITE:]
        if len(of_lot) < _LEAST_HATCHES:
            continue
        figures, sampling = _describe(_some(columns, of_lot), mixing)
        keep = _within_reach(figures, sampling)
        excess, n = _excess(figures[keep], sampling[keep])
        total, weight = total + excess * (n - 1), weight + (n - 1)
    return total / weight, float(min(weight.max(), _MOST_PRIOR))


def described(rows: pd.DataFrame, mixing_cv: float = _PRIOR_MIXING_CV) -> tuple[np.ndarray, np.ndarray]:
    """Give :func:`describe_hatch` of many rows: shapes (n, 4) and (n, 4, 4)."""
    return _describe({k: rows[k].to_numpy(dtype=float) for k in _DESCRIBED_BY}, mixing_cv)


def _excess(figures, sampling):
    """Variance of each figure between hatches beyond what counting gives, and the number of hatches that had it."""
    n = np.maximum(np.isfinite(figures).sum(axis=0), 1)
    spread = np.array([np.nanvar(col, ddof=1) if k > 2 else np.nan for col, k in zip(figures.T, n, strict=True)])
    excess = np.where(np.isfinite(spread), spread - sampling.mean(axis=0).diagonal(), _PRIOR_SD**2)
    return np.maximum(excess, 0.0), n


def _between(figures, sampling, prior, weight):
    """Covariance between hatches beyond counting: variances drawn to the site's, correlations drawn to none."""
    excess, n = _excess(figures, sampling)
    variance = np.maximum((excess * (n - 1) + prior * weight) / (n - 1 + weight), _FLOOR_SD**2)
    sd = np.sqrt(variance)
    whole = np.eye(4)
    complete = figures[np.isfinite(figures).all(axis=1)]
    if len(complete) > 5:
        extra = np.cov(complete.T) - sampling.mean(axis=0)
        corr = np.clip(extra / np.outer(sd, sd), -0.7, 0.7) * len(complete) / (len(complete) + _SHRINK_CORR)
        whole = corr - np.diag(np.diag(corr)) + np.eye(4)
        least = np.linalg.eigvalsh(whole).min()
        if least < 0.1:
            whole = (whole + (0.1 - least) * np.eye(4)) / (1 + 0.1 - least)
    return whole * np.outer(sd, sd)


def _within_reach(figures, sampling):
    """Tell which hatches are not themselves out of the ordinary (robust distance from the median)."""
    if len(figures) < _LEAST_HATCHES:
        return np.ones(len(figures), dtype=bool)
    centre, scale = np.zeros(figures.shape[1]), np.ones(figures.shape[1])
    for i, figure in enumerate(figures.T):
        known = figure[np.isfinite(figure)]
        if len(known):  # a site that counts no shells has no figure of them
            centre[i] = np.median(known)
            scale[i] = SD_PER_MAD * np.median(np.abs(known - centre[i]))
    noise = np.sqrt(np.array([np.diag(s) for s in sampling]))
    reach = np.maximum(np.maximum(scale, noise), _FLOOR_SD)
    far = np.abs(figures - centre) / reach
    keep = np.nan_to_num(far, nan=0.0).max(axis=1) < 3.5
    return keep if keep.sum() >= _LEAST_HATCHES else np.ones(len(figures), dtype=bool)


def _mixing_cv(rows):
    """Density's coefficient of variation between subsamples, from the hatches' own chi-square."""
    per_sample = full_cysts_counted(rows).sum() / rows["n_subsamples"].sum()
    return _extra_cv(rows, "chi2", per_sample, _PRIOR_MIXING_CV)


def _light_cv(rows):
    """Coefficient of variation of the nauplii alone between subsamples, from the spread of their share."""
    full = full_cysts_counted(rows).sum()
    share = rows["nauplii"].sum() / max(full, 1.0)
    return _extra_cv(rows, "share_chi2", full / rows["n_subsamples"].sum() * share * (1 - share), _PRIOR_LIGHT_CV)


def _extra_cv(rows, chi2, weight, prior_cv):
    """Spread beyond chance from the hatches' chi-squares; ``weight`` turns a squared CV into excess chi-square."""
    with_two = _some(rows, rows["df"] > 0)
    df = with_two["df"].sum()
    if df < 1 or weight <= 0:
        return prior_cv
    excess = max(0.0, float(np.nansum(np.minimum(with_two[chi2], 6 * with_two["df"]))) / df - 1.0)
    return float(np.sqrt((excess * df + prior_cv**2 * weight * 10) / (df + 10) / weight))
