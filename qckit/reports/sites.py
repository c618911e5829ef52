"""Which site a notebook is about."""

from __future__ import annotations

import os
from pathlib import Path

from qckit.errors import InputError
from qckit.settings import SETTINGS_FILE, load_settings

__all__ = ["find_site"]


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
        The site folder, absolute.

    Raises
    ------
    InputError
        There is no site there, or its settings cannot be read.
    """
    given = site or os.environ.get("QCKIT_SITE", "")
    if given:
        return load_settings(Path(given).expanduser()).folder
    here = Path.cwd()
    for folder in (here, *here.parents):
        if (folder / SETTINGS_FILE).is_file():
            return load_settings(folder).folder
    raise InputError(
        f"{here}: neither this folder nor one above it is a site (none holds {SETTINGS_FILE}). Write the site's folder "
        f"into the notebook's parameter site, or make the invented one with  qckit demo"
    )
