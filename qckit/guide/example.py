"""The invented site that the handbook's chapters speak of."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from qckit import __version__
from qckit.progress import working
from qckit.settings import SETTINGS_FILE, load_settings
from qckit.site import Site

__all__ = ["cache_folder", "example_site"]


def cache_folder() -> Path:
    """Return the folder for what the handbook keeps between calls: the user's own cache, of this version."""
    from platformdirs import user_cache_path

    return Path(os.environ.get("QCKIT_GUIDE_CACHE") or user_cache_path("qckit")) / f"guide-{__version__}"


def example_site():
    """Return the invented demo site, made on the first call (some seconds); its photos are not counted.

    Returns
    -------
    Site
        Where the environment variable ``QCKIT_SITE`` names a demo site that is there already, that one.

    Examples
    --------
    >>> guide.example_site().settings.site.name
    'Ostrel Cove nursery (invented)'
    """
    from qckit.demo import make_example
    from qckit.practice import SITE_NAME

    given = Path(os.environ.get("QCKIT_SITE") or ".")
    if (given / SETTINGS_FILE).is_file() and load_settings(given).site.name == SITE_NAME:
        return Site(given.resolve())
    folder = cache_folder() / "example-site"
    if not (folder / SETTINGS_FILE).is_file():
        folder.parent.mkdir(parents=True, exist_ok=True)
        making = Path(tempfile.mkdtemp(prefix=".making-", dir=folder.parent))
        try:
            with working("Making the invented site of the handbook"):
                make_example(making / "example-site")
            (making / "example-site").replace(folder)
        finally:
            shutil.rmtree(making, ignore_errors=True)
    return Site(folder)
