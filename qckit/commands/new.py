"""``qckit new FOLDER``: a new site."""

import click

from qckit.commands.typed import as_typed


@click.command("new")
@click.argument("folder", type=click.Path())
@click.option("--name", help="Name of the site, shown on reports; the folder's name if left out.")
@click.option("--timezone", default="UTC", show_default=True, help="Such as Europe/Lisbon.")
@click.option("--date-order", default="ymd", show_default=True, help="How dates on field sheets read: ymd, dmy, mdy.")
@click.option("--url", default="", help="PostgreSQL address of the log; a file in the folder if left out.")
def command(folder, name, timezone, date_order, url):
    """Make a new site folder: settings, empty log, field sheets, notebooks."""
    from qckit.log import new_site

    made = new_site(folder, name=name, timezone=timezone, date_order=date_order, url=url)
    click.echo(f"{made}: a new site.")
    click.echo("  qckit.toml                       settings: look them through first")
    click.echo("  field-sheets/field-sheets.xlsx   to fill in (or the CSV files beside it)")
    click.echo("  photos/                          for the photos that the sheets name")
    typed = as_typed(made / "field-sheets" / "field-sheets.xlsx", "--site", made)
    click.echo(f"Then:  qckit log import {typed}")
