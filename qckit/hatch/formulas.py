"""The formulas of the hatch worksheet, each a pure function: share, conversion factor, efficiency, output.

The definitions are those of the standard hatch test (Lavens and Sorgeloos, eds, 1996, FAO Fisheries Technical Paper
361, hatching worksheet; from memory). Every conversion factor is worked out from the volumes and the mass written
down; none is built in.
"""

from __future__ import annotations

import numpy as np

__all__ = [
    "conversion_factor",
    "full_cysts_per_g",
    "hatching_efficiency",
    "hatching_output",
    "hatching_percentage",
    "percent_of",
]


def percent_of(part, whole):
    """Part in percent of the whole; NaN where the whole is none. [%]"""
    whole = np.asarray(whole, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(whole > 0, 100 * np.asarray(part, float) / whole, np.nan)


def hatching_percentage(nauplii, umbrella, unhatched):
    """Nauplii per hundred full cysts, H% = 100 N / (N + U + E).

    Parameters
    ----------
    nauplii, umbrella, unhatched : array_like of float, shape (n,)
        Counts, or means of counts. E is embryos after decapsulation; without it unhatched cysts stand in.

    Returns
    -------
    ndarray of float, shape (n,)
        Percent; NaN where nothing was counted.

    References
    ----------
    Lavens and Sorgeloos 1996, FAO Fisheries Technical Paper 361, hatching worksheet (from memory).

    Examples
    --------
    >>> float(hatch.hatching_percentage(150, 10, 40))
    75.0
    """
    return percent_of(nauplii, np.add(np.add(nauplii, umbrella, dtype=float), unhatched))


def conversion_factor(*, volume_ml, counted_ul, cysts_g, dilution=1.0):
    """Turn a count in a subsample into a number per gram: dilution x V / (v m).

    Parameters
    ----------
    volume_ml : array_like of float
        Water in the cone, V. [ml]
    counted_ul : array_like of float
        Volume counted, v. [µl]
    cysts_g : array_like of float
        Cysts as weighed, m. [g]
    dilution : array_like of float
        Times the sample was diluted before counting.

    Returns
    -------
    ndarray of float
        Per gram for each object counted. 800 ml, 250 µl and 1.6 g give 2000.

    Examples
    --------
    >>> float(hatch.conversion_factor(volume_ml=800, counted_ul=250, cysts_g=1.6))
    2000.0
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return (
            np.asarray(dilution, float)
            * np.asarray(volume_ml, float)
            * 1000.0
            / (np.asarray(counted_ul, float) * np.asarray(cysts_g, float))
        )


def hatching_efficiency(mean_nauplii, factor_per_g, *, moisture_pct=0.0):
    """Nauplii per gram: mean count x conversion factor; per dry gram when the moisture is given.

    Parameters
    ----------
    mean_nauplii : array_like of float
        Mean count of nauplii in the cone's subsamples.
    factor_per_g : array_like of float
        From :func:`conversion_factor`. [1/g]
    moisture_pct : array_like of float
        Water in the cysts, by mass; 0 gives the number per gram as weighed. [%]

    Returns
    -------
    ndarray of float
        [1/g]

    Examples
    --------
    >>> round(hatch.hatching_efficiency(98, 2000))
    196000
    """
    dry = 1 - np.asarray(moisture_pct, float) / 100
    return np.asarray(mean_nauplii, float) * factor_per_g / np.where(dry > 0, dry, np.nan)


def full_cysts_per_g(hatching_efficiency_per_g, hatch_pct):
    """Cysts with an embryo in one gram, HE / (H% / 100). [1/g]

    Examples
    --------
    >>> round(hatch.full_cysts_per_g(196_000, 80))
    245000
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(hatching_efficiency_per_g, float) / (np.asarray(hatch_pct, float) / 100)


def hatching_output(hatching_efficiency_per_g, dry_weight_ug):
    """Dry mass of nauplii from one gram of cysts, HE x dry weight of one nauplius.

    Parameters
    ----------
    hatching_efficiency_per_g : array_like of float
        [1/g]
    dry_weight_ug : array_like of float
        Dry weight of one instar I nauplius. [µg]

    Returns
    -------
    ndarray of float
        [mg/g]

    References
    ----------
    Vanhaecke and Sorgeloos 1983, Aquaculture 30:43-52 (from memory).

    Examples
    --------
    >>> round(hatch.hatching_output(200_000, 2.4))
    480
    """
    return np.asarray(hatching_efficiency_per_g, float) * np.asarray(dry_weight_ug, float) / 1000
