"""How much a site's cones differ from each other, learned from its own records."""

from __future__ import annotations

import numpy as np

from qckit.hatch.intervals.estimates import Spread

__all__ = ["site_spread"]


def site_spread(cones, *, leave_out=(), min_df=10):
    """Estimate the spread between cones run side by side, from everything the site has counted.

    Cones of one lot started on the same day for the same purpose form a group; the groups' Pearson statistics are
    added up and set equal to their expectation (method of moments, Williams 1982, Applied Statistics 31:144-148).

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``, any lots and purposes.
    leave_out : collection of str
        Hatches not to use: the test being judged, cones run off the standard.
    min_df : int
        Degrees of freedom below which the records say too little.

    Returns
    -------
    Spread or None
        None when there are fewer than ``min_df`` degrees of freedom.

    Examples
    --------
    >>> spread = hatch.site_spread(cones)
    >>> bool(0 <= spread.rho < 0.2)
    True
    """
    table = cones[~cones["hatch"].isin(set(leave_out))].dropna(subset=["nauplii", "full_cysts", "factor_per_g"])
    table = table[(table["full_cysts"] > 0) & (table["factor_per_g"] > 0)]
    table = table.assign(day=table["started"].astype(str).str[:10])
    of_group = table.groupby(["lot", "purpose", "day"])
    table = table.assign(k=of_group["hatch"].transform("size"), hatched=of_group["nauplii"].transform("sum"))
    table = table[(table["k"] >= 2) & (table["hatched"] > 0)]
    x, n = table["nauplii"].to_numpy(float), table["full_cysts"].to_numpy(float)
    exposure = 1 / table["factor_per_g"].to_numpy(float)
    group = table.groupby(["lot", "purpose", "day"]).ngroup().to_numpy()

    def summed(values):
        return np.bincount(group, values)

    df = len(table) - len(np.unique(group))
    if df < min_df:
        return None
    total = summed(n)
    p = summed(x) / total
    within = np.maximum(p * (1 - p), 0.5 / total)
    chi2_p = float(np.sum(summed((x - n * p[group]) ** 2 / n) / within))
    weight_p = float(np.sum(total - summed(n**2) / total)) - df
    expected = exposure * (summed(x) / summed(exposure))[group]
    chi2_n = float(np.sum((x - expected) ** 2 / expected))
    weight_n = float(np.sum(summed(expected) - summed(expected**2) / summed(expected)))
    rho, cv2 = float((chi2_p - df) / weight_p), float((chi2_n - df) / weight_n)
    return Spread(
        rho=max(0.0, rho), cv=float(np.sqrt(max(0.0, cv2))), df=df, raw_rho=rho, raw_cv2=cv2, n_cones=len(table)
    )
