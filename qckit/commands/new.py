"""``qckit new FOLDER``: a new site, with its protocol asked for in a short dialogue."""

from __future__ import annotations

import sys

import click

from qckit.commands._options import Count, Number
from qckit.commands.typed import as_typed
from qckit.errors import InputError


def _read_decimal(text):
    from qckit.day.founding import read_decimal

    return read_decimal(text)


@click.command("new")
@click.argument("folder", type=click.Path())
@click.option("--name", help="Name of the site, shown on reports; the folder's name if left out.")
@click.option("--timezone", help="Such as Europe/Lisbon; UTC if left out.")
@click.option("--date-order", help="How dates on field sheets read: ymd, dmy, mdy; ymd if left out.")
@click.option(
    "--decimal",
    is_eager=True,  # before the numbers that are read by it
    callback=lambda _ctx, _param, text: None if text is None else _read_decimal(text),
    help="Decimal sign you write: point or comma; point if left out.",
)
@click.option("--currency", help="Currency of prices, such as EUR; that of the time zone if left out.")
@click.option("--cones", help="Names of the cones, with commas.")
@click.option("--cone-litres", type=Number(), help="Water in one cone [l].")
@click.option("--hours", type=Number("h"), help="Hours from wetting to harvest.")
@click.option("--count-at", help="Time of day of the counts, such as 09:00.")
@click.option("--subsamples", type=Number(whole=True), help="Subsamples counted per cone.")
@click.option("--subsample-ul", type=Number("µl"), help="Volume of a subsample [µl].")
@click.option("--feeds", help="Times of day of the feeds, with commas; none where nothing is fed here.")
@click.option("--nauplii", type=Count(), help="Nauplii for one feed, such as 3500000 or '3.5 million'.")
@click.option("--people", help="Initials of those who work here, with commas.")
@click.option("--url", default="", help="PostgreSQL address of the log; a file in the folder if left out.")
@click.option("--questions/--no-questions", default=None, help="Ask for what no option gives; in a terminal, yes.")
def command(folder, url, questions, **given):
    """Make a new site folder: settings with the day's protocol, empty log, field sheets, notebooks, README.

    In a terminal it asks what no option gives; Enter takes what stands in brackets.
    """
    from qckit.day.founding import QUESTIONS, Answers, found_site

    if questions or (questions is None and sys.stdin.isatty() and sys.stdout.isatty()):
        click.echo("A few questions; Enter takes what stands in brackets.\nAll can be changed later in qckit.toml.")
        for one in QUESTIONS:
            if given.get(one.option) is None and not (one.option == "nauplii" and given.get("feeds") == ""):
                given[one.option] = _ask(one, folder, given)
    answers = Answers(**{name: value for name, value in given.items() if value is not None})
    made = found_site(folder, answers, url=url)
    click.echo(f"{made}: a new site.")
    click.echo("  README.txt                      what to do each day, lot and month: one page")
    click.echo("  qckit.toml                      settings and protocol: look them through")
    click.echo("  field-sheets/day-sheet.xlsx     cone, grams, counts a row (or as CSV)")
    click.echo("  field-sheets/field-sheets.xlsx  lots, and all else that can be written down")
    click.echo("  photos/                         for photos")
    click.echo(f"Then enter your lot (9) and each day:  {as_typed('qckit', 'today', '--enter', '--site', made)}")
    click.echo(f"What is due, at any time:              {as_typed('qckit', 'today', '--site', made)}")
    sheet = as_typed(made / "field-sheets" / "field-sheets.xlsx", "--site", made)
    click.echo(f"Lots by the sheet instead:             qckit log import {sheet}")


def _ask(one, folder, given):
    """Ask one question until its answer can be read, by what was answered before."""
    from qckit.day.founding import default_of

    default = default_of(one, folder, given.get("timezone") or "")
    while True:
        typed = click.prompt(one.text, default=default, show_default=True)
        try:
            return one.read(typed, given.get("decimal") or "point")
        except InputError as error:
            click.echo(str(error))
