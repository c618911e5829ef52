"""``qckit cards``: cards to print and to photograph before a cone's samples."""

from __future__ import annotations

import click

from qckit.commands._options import SITE
from qckit.words import plural


@click.command("cards")
@click.argument("file", type=click.Path(dir_okay=False), default="cards.html")
@SITE
@click.option("--lot", "lots", multiple=True, help="Cards for this lot only. May be repeated; any lot if left out.")
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    type=click.Choice(["subsample", "sieve", "harvest"]),
    help="Kind of sample. May be repeated; subsample and sieve if left out.",
)
def command(file, site, lots, kinds):
    """Write FILE (cards.html), a page of cards to print at 100 %.

    Photograph a cone's card, then its samples: photos taken after a card belong to it.
    """
    from qckit.day.photos.cards import cards_for, cards_page
    from qckit.directions import isolate_names
    from qckit.files import write_whole
    from qckit.reports.sites import find_site
    from qckit.settings import load_settings

    settings = load_settings(find_site(site))
    cards = cards_for(settings, lots, kinds or ("subsample", "sieve"))
    write_whole(file, isolate_names(cards_page(settings.site.name, cards)))
    click.echo(f"{file}: {plural(len(cards), 'card')}. Print at 100 %; the strip on each must measure 50 mm.")
