"""How long the nauplii in a hatch's photos are against the site's usual: nauplii that stood too long have moulted.

An instar I nauplius is 428 to 517 µm long in most strains ([1]_, a compilation); about 8 h after hatching it moults to
a longer instar II, and after a day of feeding one strain's nauplii are 1.8 times as long as at hatching ([2]_). How
much longer a hatch's nauplii are on average, and how far such averages stray at this site by themselves, is weighed as
evidence for or against over-long incubation.

References
----------
.. [1] Vanhaecke P., Sorgeloos P. 1980, and later surveys, as cited in a compilation.
.. [2] Lavens P., Thongrod S., Sorgeloos P. 2000. Ch. 6 in New and Valenti (eds) Freshwater Prawn Culture. Blackwell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.object_rows import is_counted, is_removed
from qckit.words import signed

__all__ = ["LENGTH_COLUMNS", "Lengths", "compare_lengths", "nauplius_lengths"]

LENGTH_COLUMNS = ("hatch", "n_nauplii", "mean_log", "sd_log", "median_um")
INSTAR_I_UM = (428.0, 517.0)
_LEAST_NAUPLII = 15
_GROWN = np.linspace(0.05, 0.58, 12)  # mean log length gained under over-long incubation: up to 1.8 times [2]
_PRIOR_SD, _PRIOR_HATCHES = 0.03, 6.0  # between hatches, beyond chance (ours)
_PHOTO_SD = 0.01  # scale and focus from photo to photo (ours)
_MOST, _LEAST = 100.0, 0.05


@dataclass(frozen=True)
class Lengths:
    """What the nauplii's lengths say: ``factor`` multiplies the weight of over-long incubation."""

    factor: float
    median_um: float
    usual_um: float
    longer_pct: float
    z: float
    n_nauplii: int
    n_hatches: int
    sentence: str


def nauplius_lengths(samples: pd.DataFrame, photos: pd.DataFrame, objects: pd.DataFrame, *, hours=None) -> pd.DataFrame:
    """Summarise the lengths of the counted nauplii of each hatch.

    Parameters
    ----------
    samples, photos, objects : DataFrame
        The tables of those names.
    hours : Series, optional
        Hatch -> hour of its reading; photos taken more than 1.5 h away from it are left out.

    Returns
    -------
    DataFrame, columns ``LENGTH_COLUMNS``
        Mean and standard deviation of the log length and the median length [µm], for hatches with at least 15 measured
        nauplii.
    """
    empty = pd.DataFrame(columns=list(LENGTH_COLUMNS))
    if any(table is None or not len(table) for table in (samples, photos, objects)):
        return empty
    sub = samples[samples["kind"] == "subsample"]
    if hours is not None:
        sub = sub[(sub["hours"].astype(float) - sub["hatch"].map(hours)).abs() <= 1.5]
    of_photo = photos.merge(sub[["sample", "hatch"]], on="sample").set_index("photo")["hatch"]
    counted = is_counted(objects) & ~is_removed(objects)
    nauplii = objects[(objects["stage"] == "nauplius") & counted & (objects["length_um"] > 0)]
    nauplii = nauplii.assign(
        hatch=nauplii["photo"].map(of_photo), log=np.log(nauplii["length_um"].astype(float))
    ).dropna(subset="hatch")
    if nauplii.empty:
        return empty
    grouped = nauplii.groupby("hatch", sort=False)
    table = grouped["log"].agg(n_nauplii="size", mean_log="mean", sd_log="std")
    table["median_um"] = grouped["length_um"].median()
    return table[table["n_nauplii"] >= _LEAST_NAUPLII].reset_index()[list(LENGTH_COLUMNS)]


def compare_lengths(lengths: pd.DataFrame, hatch: str, usual_hatches) -> Lengths | None:
    """Compare one hatch's nauplii with those of the usual hatches.

    Parameters
    ----------
    lengths : DataFrame
        As :func:`nauplius_lengths` returns it.
    hatch : str
    usual_hatches : sequence of str
        Hatches that stand for what is usual.

    Returns
    -------
    Lengths or None
        None where the hatch has no lengths. With fewer than three usual hatches the published range of instar I stands
        in, and only nauplii far above it count.
    """
    of_hatch = lengths[lengths["hatch"] == hatch]
    if of_hatch.empty:
        return None
    row = of_hatch.iloc[0]
    others = lengths[lengths["hatch"].isin(list(usual_hatches)) & (lengths["hatch"] != hatch)]
    if len(others) < 3:
        return _against_published(row)
    centre, n = float(others["mean_log"].mean()), len(others)
    variance = row["sd_log"] ** 2 / row["n_nauplii"] + _PHOTO_SD**2
    spread = float(others["mean_log"].var(ddof=1))
    between = (spread * (n - 1) + _PRIOR_SD**2 * _PRIOR_HATCHES) / (n - 1 + _PRIOR_HATCHES)
    sd = float(np.sqrt(between * (1 + 1 / n) + variance))
    away = float(row["mean_log"]) - centre
    usual_um = float(others["median_um"].median())
    z, longer = away / sd, 100 * (np.exp(away) - 1)
    how = f"{abs(longer):.0f} % {'longer' if longer > 0 else 'shorter'} than usual"
    sentence = (
        f"{row['n_nauplii']:.0f} nauplii measured in the photos are {row['median_um']:.0f} µm long (median), "
        f"{how if abs(z) > 2 else 'as long as usual'} (usual {usual_um:.0f} µm, {n} hatches; {signed(z, 1)} standard "
        f"deviations)"
    )
    if z > 2:
        sentence += ": many have moulted, they hatched long before the reading"
    return Lengths(
        factor=_factor(away, sd),
        median_um=float(row["median_um"]),
        usual_um=usual_um,
        longer_pct=float(longer),
        z=float(z),
        n_nauplii=int(row["n_nauplii"]),
        n_hatches=n,
        sentence=sentence + ".",
    )


def _factor(away, sd):
    """Likelihood of the mean log length after standing too long against an ordinary hatch's, by t laws."""
    ordinary = _t5(away / sd)
    grown = _t5((away - _GROWN) / sd).mean()
    return float(np.clip(grown / ordinary, _LEAST, _MOST))


def _t5(z):
    """Density of Student's law with five degrees of freedom, but for its constant."""
    return (1 + np.square(z) / 5) ** -3.0


def _against_published(row):
    """Without the site's own usual: only nauplii longer than nearly every strain's instar I speak at all."""
    low, high = INSTAR_I_UM
    median = float(row["median_um"])
    far = median > 1.15 * high
    sentence = (
        f"{row['n_nauplii']:.0f} nauplii measured in the photos are {median:.0f} µm long (median); instar I of "
        f"most strains is {low:.0f} to {high:.0f} µm, and too few hatches have lengths to know the usual"
    )
    return Lengths(
        factor=3.0 if far else 1.0,
        median_um=median,
        usual_um=float("nan"),
        longer_pct=float("nan"),
        z=float("nan"),
        n_nauplii=int(row["n_nauplii"]),
        n_hatches=0,
        sentence=sentence + ".",
    )
