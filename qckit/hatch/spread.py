"""How much a site's cones differ from each other, learned from its own records."""

from __future__ import annotations

import numpy as np

from qckit.hatch.intervals import Spread

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
    """
    table = cones[~cones["hatch"].isin(set(leave_out))].dropna(subset=["nauplii", "full_cysts", "factor_per_g"])
    table = table[(table["full_cysts"] > 0) & (table["factor_per_g"] > 0)]
    table = table.assign(day=table["started"].astype(str).str[:10])
    df, n_cones, chi2_p, chi2_n, weight_p, weight_n = 0, 0, 0.0, 0.0, 0.0, 0.0
    for _, group in table.groupby(["lot", "purpose", "day"]):
        k = len(group)
        x, n = group["nauplii"].to_numpy(float), group["full_cysts"].to_numpy(float)
        if k < 2 or x.sum() == 0:
            continue
        p = x.sum() / n.sum()
        chi2_p += float(np.sum((x - n * p) ** 2 / n) / max(p * (1 - p), 0.5 / n.sum()))
        exposure = 1 / group["factor_per_g"].to_numpy(float)
        expected = exposure * x.sum() / exposure.sum()
        chi2_n += float(np.sum((x - expected) ** 2 / expected))
        df, n_cones = df + k - 1, n_cones + k
        weight_p += np.sum(n) - np.sum(n**2) / np.sum(n) - (k - 1)
        weight_n += np.sum(expected) - np.sum(expected**2) / np.sum(expected)
    if df < min_df:
        return None
    rho, cv2 = float((chi2_p - df) / weight_p), float((chi2_n - df) / weight_n)
    return Spread(rho=max(0.0, rho), cv=float(np.sqrt(max(0.0, cv2))), df=df, raw_rho=rho, raw_cv2=cv2, n_cones=n_cones)
