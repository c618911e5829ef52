"""Which site, and which hatch of it, a notebook is about."""

from __future__ import annotations

import os
from pathlib import Path

from qckit.errors import InputError, need_text
from qckit.in_notebook import show_dates
from qckit.log.site_dates import SiteDates
from qckit.reports.parameters import need_known_parameters
from qckit.settings import SETTINGS_FILE, load_settings
from qckit.tables import to_utc

__all__ = ["find_site", "poorest_hatch"]


def find_site(site: str = "") -> Path:
    """Return the folder of the site a notebook works on.

    Parameters
    ----------
    site : str
        The site folder. Empty: the folder named by the environment variable ``QCKIT_SITE``; without one the nearest
        folder at or above the working directory that holds ``qckit.toml``.

    Returns
    -------
    Path
        The site folder, absolute. A notebook shows dates in this site's order from now on.

    Raises
    ------
    InputError
        There is no site there, or its settings cannot be read; or papermill, run by hand, set a parameter that the
        notebook does not have, which it would leave unused without more than a warning.

    Examples
    --------
    >>> reports.find_site(str(site.folder)) == site.folder
    True
    """
    need_known_parameters()
    given = need_text("site", site) or os.environ.get("QCKIT_SITE", "")
    if given:
        return _opened(Path(given).expanduser())
    here = Path.cwd()
    for folder in (here, *here.parents):
        if (folder / SETTINGS_FILE).is_file():
            return _opened(folder)
    raise InputError(
        f"{here}: neither this folder nor one above it is a site (none holds {SETTINGS_FILE}). Name the site's folder: "
        f"--site FOLDER after a command, the parameter site in a notebook; or make the invented one with  qckit demo"
    )


def _opened(folder: Path) -> Path:
    settings = load_settings(folder)
    show_dates(SiteDates(settings).page)
    return settings.folder


def poorest_hatch(hatches, samples, *, days: float = 7.0) -> str:
    """Return the production hatch with the lowest hatching percentage among the newest.

    Parameters
    ----------
    hatches, samples : DataFrame
        Columns of the hatches and samples tables.
    days : float
        How far back from the newest counted hatch to look. [d]

    Returns
    -------
    str
        The hatch's name, for a notebook opened without naming one.

    Raises
    ------
    InputError
        No production hatch is counted yet.

    Examples
    --------
    >>> reports.poorest_hatch(tables.hatches, tables.samples)
    'H261105-B'
    """
    import pandas as pd

    from qckit.hatch import cone_metrics

    made = hatches[(hatches["purpose"] == "production") & hatches["hatch"].isin(samples["hatch"])]
    if not len(made):
        raise InputError("no production hatch is counted yet. Write the hatch into the notebook's parameter hatch.")
    started = to_utc(made["started"])
    recent = made[started >= started.max() - pd.Timedelta(days=days)]
    cones = cone_metrics(samples[samples["hatch"].isin(recent["hatch"])], recent).dropna(subset=["hatch_pct"])
    return str(cones.loc[cones["hatch_pct"].idxmin(), "hatch"]) if len(cones) else str(recent["hatch"].iloc[-1])
