"""``qckit lab``: JupyterLab in the site, on the notebook of the day."""

from __future__ import annotations

import click

from qckit.commands._options import SITE, Number


@click.command("lab")
@SITE
@click.option(
    "--port",
    type=Number(whole=True, low=0, high=65535),
    default=0,
    help="Port on this machine; a free one if left out.",
)
@click.option("--browser/--no-browser", default=True, help="Open a browser window, or only say the address.")
def command(site, port, browser):
    """Open JupyterLab in the site folder, on notebooks/today.ipynb, for this machine only."""
    from qckit.day.lab import run_lab
    from qckit.day.readme import renew_readme
    from qckit.reports.sites import find_site

    folder = find_site(site)
    renew_readme(folder)
    return run_lab(folder, port=port, browser=browser, say=click.echo)
