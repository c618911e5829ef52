"""``qckit demo``: the invented site, from its photos to its reports."""

from __future__ import annotations

import click

from qckit.commands._options import MOMENT, Number
from qckit.errors import NeedsAttention, QcError, one_line


@click.command("demo")
@click.argument("folder", default="demo-site", type=click.Path())
@click.option(
    "--workers",
    default=2,
    show_default=True,
    type=Number(whole=True, low=1, high=64),
    help="Photos and reports worked on at the same time.",
)
@click.option(
    "--now", default=None, metavar="TIME", type=MOMENT, help="Time written on the reports. Left out: the demo's own."
)
def command(folder, workers, now):
    """Make the invented demo site in FOLDER, count its photos, write its reports.

    Run again, it goes on where it was; photos that did not change are not counted again.
    """
    from qckit.commands._options import dates_at
    from qckit.commands.report import say_report
    from qckit.demo import make_demo

    results = make_demo(
        folder,
        workers=workers,
        now=now,
        say=lambda text: click.echo(text, err=True),
    )
    click.echo("The demo site is invented: no figure in it was measured on a real sample.")
    for run in results:
        if isinstance(run, QcError):
            click.echo(f"qckit: {one_line(run)}", err=True)
        else:
            say_report(run, dates_at(folder))
    failed = sum(isinstance(run, QcError) for run in results)
    if failed:
        raise NeedsAttention(f"{failed} of {len(results)} reports could not be made; see the lines above.")
