"""Where the spread comes from: variance components of lot, cone, operator, day, hatch and subsample."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.log_odds import expit

__all__ = ["VARIANCE_COLUMNS", "Components", "hatch_components", "variance_components"]

VARIANCE_COLUMNS = ("source", "levels", "variance", "sd", "share_pct", "note")


@dataclass(frozen=True)
class Components:
    """Variance components of a response.

    Examples
    --------
    >>> frame = pd.DataFrame({"value": [80.0, 81, 74, 75, 84, 83], "cone": list("AABBCC")})
    >>> charts.variance_components(frame, "value", ["cone"]).n
    6
    """

    table: pd.DataFrame  # VARIANCE_COLUMNS
    mean: float
    n: int
    method: str = "restricted maximum likelihood (REML), all sources random and crossed as recorded"


def variance_components(frame, response, sources) -> Components:
    """Split the variance of a response among sources by restricted maximum likelihood.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        One row per observation.
    response : str
        Numeric column; rows where it is missing are left out.
    sources : iterable of str
        Columns whose levels are taken as drawn at random; they may be crossed or nested. What is left is the residual.

    Returns
    -------
    Components
        A source with fewer than two levels, or with the very levels of an earlier one, is in the table without a
        variance and says so. A source with two to four levels has a variance that is hardly known; the note says it.

    Raises
    ------
    InputError
        Fewer than five observations, or no spread at all.

    References
    ----------
    Patterson and Thompson 1971, Biometrika 58:545-554; Harville 1977, J. Am. Stat. Assoc. 72:320-338.

    Examples
    --------
    >>> frame = pd.DataFrame({"value": [80.0, 81, 74, 75, 84, 83], "cone": list("AABBCC")})
    >>> charts.variance_components(frame, "value", ["cone"]).table["source"].tolist()
    ['cone', 'residual']
    """
    used = frame[frame[response].notna()]
    y = used[response].to_numpy(dtype=float)
    if len(y) < 5 or not np.ptp(y) > 0:
        raise InputError(
            f"{response}: {len(y)} observations {'without any spread ' if len(y) >= 5 else ''}are not enough to split "
            "the variance. Take a longer period."
        )
    designs, kept, notes = [], [], {}
    for source in sources:
        codes, levels = pd.factorize(used[source].astype(str))
        notes[source] = (len(levels), _refused(codes, levels, y, [d[0] for d in designs], kept))
        if not notes[source][1]:
            designs.append((codes, len(levels)))
            kept.append(source)
    ratios, residual = _reml(y, designs)
    rows = []
    for source, (levels, refused) in notes.items():
        value = math.nan if refused else ratios[kept.index(source)] * residual
        few = f"only {levels} levels: hardly known" if not refused and levels < 5 else ""
        rows.append((source, levels, value, math.sqrt(value) if value >= 0 else math.nan, refused or few))
    rows.append(("residual", len(y), residual, math.sqrt(residual), ""))
    table = pd.DataFrame(rows, columns=["source", "levels", "variance", "sd", "note"])
    table["share_pct"] = 100 * table["variance"] / table["variance"].sum()
    return Components(table[list(VARIANCE_COLUMNS)], float(y.mean()), len(y))


def _refused(codes, levels, y, earlier, names):
    """Why a source cannot be estimated, or nothing."""
    if len(levels) < 2:
        return "one level only"
    if len(levels) == len(y):
        return "one observation per level: part of the residual"
    for other, name in zip(earlier, names, strict=True):
        if len(set(zip(codes.tolist(), other.tolist(), strict=True))) == len(levels) == len(set(other.tolist())):
            return f"cannot be told from {name}"
    return ""


def _reml(y, designs):
    """Ratios of variances to the residual one, and the residual variance."""
    from scipy.optimize import minimize

    n = len(y)
    if not designs:
        return np.empty(0), float(np.var(y, ddof=1))
    widths = [levels for _, levels in designs]
    z = np.zeros((n, sum(widths)))
    offset = 0
    for codes, levels in designs:
        z[np.arange(n), offset + codes] = 1
        offset += levels
    x = np.ones(n)
    ztz, zty, ztx = z.T @ z, z.T @ (y - y.mean()), z.T @ x
    yy, yx = float(np.sum((y - y.mean()) ** 2)), 0.0

    def parts(theta):
        """Profile deviance and residual variance; theta are standard deviation ratios, one per source."""
        d = np.repeat(theta, widths)
        middle = np.eye(len(d)) + d[:, None] * ztz * d[None, :]
        chol = np.linalg.cholesky(middle)
        a, b = np.linalg.solve(chol, d * zty), np.linalg.solve(chol, d * ztx)
        xx, xy = n - b @ b, yx - b @ a
        rss = yy - a @ a - xy**2 / xx
        sigma2 = max(rss, 1e-300) / (n - 1)
        return 2 * np.sum(np.log(np.diag(chol))) + math.log(xx) + (n - 1) * math.log(sigma2), sigma2

    best = None
    for start in (0.7, 0.1, 3.0):
        found = minimize(
            lambda t: parts(t)[0],
            np.full(len(widths), start),
            method="L-BFGS-B",
            bounds=[(0, 1e3)] * len(widths),
            options={"ftol": 1e-13, "gtol": 1e-8},
        )
        if best is None or found.fun < best.fun - 1e-9:
            best = found
    return best.x**2, parts(best.x)[1]


def hatch_components(subsamples, hatches, *, sources=("lot", "cone", "operator", "day", "hatch")) -> Components:
    """Split the spread of the hatching percentage of subsamples among its sources.

    Parameters
    ----------
    subsamples : DataFrame
        From ``hatch.sample_metrics``: hatch, nauplii, full_cysts.
    hatches : DataFrame
        hatch and the source columns (``charts.hatch_series``).
    sources : tuple of str

    Returns
    -------
    Components
        Worked out on the logit scale and turned into percentage points at the mean (delta method). The last row says
        how much of the residual the counting of so many objects explains by itself.

    Examples
    --------
    >>> some = tables.hatches[tables.hatches["lot"] == "K-121"].tail(60)
    >>> subsamples = hatch.sample_metrics(tables.samples, tables.hatches, tables.lots)
    >>> subsamples = subsamples[subsamples["hatch"].isin(some["hatch"])]
    >>> parts = charts.hatch_components(subsamples, some, sources=("cone", "hatch"))
    >>> parts.table["source"].tolist()
    ['cone', 'hatch', 'subsample']
    """
    columns = [s for s in sources if s != "hatch"]
    table = subsamples[["hatch", "nauplii", "full_cysts"]].merge(hatches[["hatch", *columns]], on="hatch", how="inner")
    table = table[table["full_cysts"] > 0]
    part, whole = table["nauplii"].astype(float), table["full_cysts"].astype(float)
    table = table.assign(logit=np.log((part + 0.5) / (whole - part + 0.5)))
    found = variance_components(table, "logit", sources)
    p = expit(found.mean)
    scale = (100 * p * (1 - p)) ** 2
    out = found.table.copy()
    out["variance"] *= scale
    out["sd"] = np.sqrt(out["variance"])
    out["source"] = out["source"].replace("residual", "subsample")
    counting = float(np.mean(1 / (whole * p * (1 - p)))) * scale
    residual = float(out["variance"].iloc[-1])
    share = min(100.0, 100 * counting / residual) if residual > 0 else math.nan
    out.loc[out.index[-1], "note"] = f"counting alone explains {share:.0f} % of it"
    return Components(out, 100 * p, found.n, found.method + "; logit scale, in points at the mean")
