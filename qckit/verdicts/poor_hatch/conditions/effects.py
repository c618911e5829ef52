"""What each condition has been worth in this site's own hatches: binomial regression with overdispersion."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.hatch import fit_quasi_binomial
from qckit.tables import to_utc
from qckit.verdicts.lots.usual import full_cysts_counted

__all__ = ["AGE", "EFFECT_COLUMNS", "drawn", "site_effects"]

EFFECT_COLUMNS = (
    "quantity",
    "slope",
    "se",
    "literature_slope",
    "shrunk_slope",
    "lowest",
    "highest",
    "n_hatches",
    "dispersion",
)
AGE = "days since opening"

# Slopes on the logit scale per unit within the range a site meets, read off the causes' tables; their standard
# deviation is taken as large as the slope itself. No source gives one for the days since a pack was opened: a lot's
# own hatches say it, drawn towards none.
_LITERATURE = {
    "temperature": 0.35,
    "ph": 4.0,
    "oxygen": 0.5,
    "salinity": -0.03,
    "light": 0.001,
    "hours": 0.15,
    "density": -0.15,
}
_AGE_SD = 0.004  # per day (ours: a lot that falls from 85 to 75 % in half a year)
_LEAST_HATCHES = 20


def site_effects(counts: pd.DataFrame, worst: pd.DataFrame, *, leave_out=(), lot: str = "") -> pd.DataFrame:
    """Estimate the effect of each condition on the share hatched, over all of a site's hatches.

    Parameters
    ----------
    counts : DataFrame
        As :func:`qckit.verdicts.lots.usual.counted_hatches` returns it.
    worst : DataFrame
        As :func:`qckit.verdicts.poor_hatch.conditions.differences.worst_values` returns it; the mean of each quantity
        is used.
    leave_out : sequence of str
        Hatches to leave out (the one being explained).
    lot : str
        Lot whose change with the days since opening is given as a further row.

    Returns
    -------
    DataFrame, columns ``EFFECT_COLUMNS``
        Logit slope per unit (``lowest`` to ``highest`` is the range of this site's hatches it holds for), from one
        regression on all conditions together, with lots and their age as further terms. A condition that was not
        measured stands at its mean. ``shrunk_slope`` draws the slope towards the literature's by the precision of
        both; with fewer than 20 hatches, or hardly more than the model has terms, the table is empty.

    References
    ----------
    McCullagh P., Nelder J.A. 1989. Generalized Linear Models, 2nd ed., section 4.5; fitted and checked in
    :func:`qckit.hatch.fit_quasi_binomial`.
    """
    used = counts[~counts["hatch"].isin(list(leave_out)) & counts["hatch_pct"].notna()]
    means = worst.pivot(index="hatch", columns="quantity", values="mean")
    table = used.join(means[[q for q in _LITERATURE if q in means]].rename(columns={"hours": "_hours"}), on="hatch")
    table = table.drop(columns="hours", errors="ignore").rename(columns={"_hours": "hours"})
    known = [q for q in _LITERATURE if q in table and table[q].notna().sum() >= _LEAST_HATCHES and table[q].std() > 0]
    if len(table) < _LEAST_HATCHES or not known:
        return pd.DataFrame(columns=list(EFFECT_COLUMNS))
    design, per_day = _lots_and_ages(table)
    for quantity in known:
        design[quantity] = table[quantity].fillna(table[quantity].mean()) - table[quantity].mean()
    if len(table) < design.shape[1] + 5:
        return pd.DataFrame(columns=list(EFFECT_COLUMNS))
    total = full_cysts_counted(table)
    fit = fit_quasi_binomial(table["nauplii"], total, design)
    dispersion = fit["dispersion"]
    # counts cannot vary less than binomially: a dispersion below 1 is luck
    errors = fit["standard_errors"] / np.sqrt(dispersion) * np.sqrt(max(1.0, dispersion))
    params, errors = (pd.Series(v, index=design.columns) for v in (fit["coefficients"], errors))
    rows = []
    for quantity in known:
        lowest, highest = table[quantity].quantile([0.005, 0.995])
        slope, se, prior = float(params[quantity]), float(errors[quantity]), _LITERATURE[quantity]
        rows.append(
            (
                quantity,
                slope,
                se,
                prior,
                drawn(slope, se, prior, abs(prior)),
                float(lowest),
                float(highest),
                int(table[quantity].notna().sum()),
                dispersion,
            )
        )
    if (term := f"age {lot}") in design:
        slope, se = float(params[term]) * per_day, float(errors[term]) * per_day
        is_lot = table["lot"] == lot
        rows.append(
            (AGE, slope, se, 0.0, drawn(slope, se, 0.0, _AGE_SD), np.nan, np.nan, int(is_lot.sum()), dispersion)
        )
    return pd.DataFrame(rows, columns=list(EFFECT_COLUMNS))


def _lots_and_ages(table):
    """One level per lot, and a slope with age where the lot has hatches enough; and what turns slopes to per day."""
    design = pd.get_dummies(table["lot"], dtype=float)
    days = (to_utc(table["started"]) - to_utc(table["started"]).min()).dt.total_seconds() / 86400.0
    for lot in design.columns.tolist():
        is_lot = table["lot"] == lot
        if is_lot.sum() > 10 and days[is_lot].std() > 0:
            design[f"age {lot}"] = (days - days[is_lot].mean()) * design[lot] / 100.0
    return design, 0.01


def drawn(value: float, se: float, prior: float, prior_sd: float) -> float:
    """Draw an estimate towards a prior by the precision of both."""
    precision, prior_precision = 1 / max(se, 1e-6) ** 2, 1 / prior_sd**2
    return (value * precision + prior * prior_precision) / (precision + prior_precision)
