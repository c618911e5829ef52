"""Options that several commands share, and what they stand for."""

from __future__ import annotations

import getpass
import os

import click

__all__ = ["BY", "REASON", "SITE", "open_site_log", "who"]

SITE = click.option("--site", default="", metavar="FOLDER", help="The site folder; the one we are in if left out.")
BY = click.option("--by", default="", metavar="NAME", help="Who does this; $QCKIT_BY or the user if left out.")
REASON = click.option("--reason", required=True, metavar="TEXT", help="Why, in words; it is kept.")


def who(given: str) -> str:
    """Return who does this: the option, the environment variable QCKIT_BY, or the user of the machine."""
    if given or os.environ.get("QCKIT_BY"):
        return given or os.environ["QCKIT_BY"]
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without users
        return ""  # the log then asks for a name


def open_site_log(site: str):
    """Open the log of a site; the one we are in where the option is left out."""
    from qckit.log import open_log
    from qckit.reports import find_site

    return open_log(find_site(site))
