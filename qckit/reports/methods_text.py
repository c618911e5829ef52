"""What a paper says under Methods about figures of the kit, from the records themselves."""

from __future__ import annotations

import pandas as pd

from qckit import __version__
from qckit.hatch import cone_metrics
from qckit.site_tables import SiteTables
from qckit.words import number, plural, spaced

__all__ = ["methods_text"]


def methods_text(tables: SiteTables, *, seal: str = "") -> str:
    """Write the methods behind the figures of some hatches in sentences, to be shortened by who writes the paper.

    Parameters
    ----------
    tables : SiteTables
        Those of the hatches that the paper is about.
    seal : str
        Of the log, by which the records can be told to be the same later.

    Returns
    -------
    str
        A paragraph a line.

    Examples
    --------
    >>> reports.methods_text(tables).splitlines()[0].startswith("Cysts of Artemia of 3 lots")
    True
    """
    hatches = tables.hatches[tables.hatches["hatch"].isin(set(tables.samples["hatch"]))]
    samples = tables.samples[tables.samples["kind"] == "subsample"]
    records = f" from the records with the seal {seal}" if seal else ""
    return "\n".join(
        [
            _incubated(hatches),
            _counted(samples, tables),
            _figures(tables),
            _intervals(tables),
            f"Figures were worked out with qckit {__version__}{records}.",
        ]
    )


def _range(values: pd.Series, unit: str) -> str:
    values = pd.to_numeric(values, errors="coerce").dropna()
    if values.empty:
        return ""
    low, high = (number(value) if value >= 1000 else f"{value:.4g}" for value in (values.min(), values.max()))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _incubated(hatches: pd.DataFrame) -> str:
    lots = hatches["lot"].unique()
    text = (
        f"Cysts of Artemia of {plural(len(lots), 'lot')} were incubated in {plural(hatches['cone'].nunique(), 'cone')} "
    )
    text += f"({plural(len(hatches), 'hatch', 'hatches')}): {_range(hatches['cysts_g'], 'g')} of cysts in "
    text += f"{_range(hatches['volume_ml'], 'ml')} of water"
    water = [
        f"{name} {given}"
        for name, column, unit in (
            ("temperature", "temperature_c", "°C"),
            ("salinity", "salinity_ppt", "ppt"),
            ("pH", "ph", ""),
            ("oxygen", "oxygen_mg_l", "mg/l"),
            ("light", "light_lux", "lux"),
        )
        if (given := _range(hatches[column], unit).strip())
    ]
    return text + (f"; {', '.join(water)}." if water else ".")


def _counted(samples: pd.DataFrame, tables: SiteTables) -> str:
    hours = sorted({round(h) for h in samples["hours"].dropna()})
    listed = f"{', '.join(map(str, hours[:-1]))} and {hours[-1]}" if len(hours) > 1 else "".join(map(str, hours))
    text = plural(len(samples), "subsample")
    text += f" of {given}" if (given := _range(samples["volume_ul"], "µl")) else ""
    if len(hours) > 8:
        listed = f"{len(hours)} hours from {hours[0]} to {hours[-1]}"
    text += f" were counted at {listed} h from wetting." if hours else " were counted."
    by_photo = samples["counted_by"] == "photo"
    if by_photo.any():
        versions = sorted(set(_versions(samples[by_photo], tables)))
        text += f" Of these {spaced(int(by_photo.sum()))} were counted from photos"
        text += f" by the counter of the kit, version {', '.join(versions)}" if versions else ""
        n_hand = 0 if tables.hand_checked is None else len(tables.hand_checked)
        text += (
            f", and a person corrected objects in {n_hand} of them." if n_hand else "; no object was corrected by hand."
        )
    return text


def _versions(samples: pd.DataFrame, tables: SiteTables):
    if tables.photos is None:
        return []
    return tables.photos.loc[tables.photos["sample"].isin(samples["sample"]), "counter_version"].dropna()


def _figures(tables: SiteTables) -> str:
    figures = cone_metrics(tables.samples, tables.hatches, tables.lots, photos=tables.photos)
    by_cysts = (figures["basis"] == "cysts").any()
    of = "C, intact cysts," if by_cysts else "E, embryos seen after decapsulation,"
    return (
        f"Hatching percentage is 100 N / (N + U + {of[0]}) of nauplii N, umbrella stages U and {of} hatching "
        "efficiency N x dilution x V / (v m) nauplii per gram of cysts as weighed, of cone volume V, volume counted v "
        "and mass m (Lavens and Sorgeloos 1996, FAO Fisheries Technical Paper 361), "
        f"at {tables.settings.conditions.reading_h:g} h from wetting where no hour is named."
    )


def _intervals(tables: SiteTables) -> str:
    m, confidence = tables.settings.measure, 100 * tables.settings.limits.confidence
    more = "" if confidence == 95 else f" for one hatch and at {confidence:g} % for lots"
    return (
        f"Intervals are at 95 %{more}. That of one hatch is "
        "Wilson's (shares) or Rao's (counts per gram) score interval, widened by the dispersion between "
        "subsamples (McCullagh and Nelder 1989); over cones the cone is the replicate (quasi-binomial, Student's t). "
        f"Counts per gram carry the standard uncertainties of mass ({m.mass_u_g:g} g), cone volume "
        f"({m.cone_volume_u_pct:g} %) and subsample volume ({m.subsample_volume_u_pct:g} %) by JCGM 100:2008. T10, T50 "
        "and T90 are the hours by which these shares of all that hatch have hatched, from interval-censored maximum "
        "likelihood averaged over six curves by Akaike weights."
    )
