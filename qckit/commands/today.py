"""``qckit today``: the one page of the day."""

from __future__ import annotations

import os
import shutil

import click

from qckit.commands._options import BY, MOMENT, SITE


@click.command("today")
@SITE
@click.option("--enter", is_flag=True, help="Write the day: start, readings, counts, harvest, feed; digits and Enter.")
@click.option("--tally", is_flag=True, help="Count by eye at the microscope with four keys.")
@click.option(
    "--watch",
    metavar="[FOLDER]",
    is_flag=False,
    flag_value="",
    default=None,
    help="Count photos as they arrive in FOLDER, such as a phone's; in the site's photos/ if left out.",
)
@click.option("--html", metavar="FILE", type=click.Path(dir_okay=False), help="Also write the page for wall or phone.")
@click.option("--json", "as_json", is_flag=True, help="The page as data.")
@BY
@click.option(
    "--now", default="", metavar="TIME", type=MOMENT, help="Another moment than now, such as 2026-11-05T08:00."
)
def command(site, enter, tally, watch, html, as_json, by, now):
    """Say what is due, what today's counts say, what to start for tomorrow, what else waits.

    It only reads. With --enter (digits and Enter), --tally or --watch it also writes.
    """
    from qckit.reports.sites import find_site

    folder = find_site(site)
    if enter or tally or watch is not None:
        return _live(folder, enter=enter, tally=tally, watch=watch, by=by, now=now)
    from qckit.day.page.loading import load_day

    page = load_day(folder, now=now)
    if html:
        from qckit.day.page.html import day_page
        from qckit.files import write_whole

        write_whole(html, day_page(page))
    if as_json:
        import json

        click.echo(json.dumps(page.to_dict(), ensure_ascii=False, indent=1))
    elif html:
        click.echo(f"{html}: the day's page.")
    else:
        _print(page)
    return 0


def _print(page) -> None:
    from qckit.day.page.screen import screen_lines

    size = shutil.get_terminal_size((80, 24))
    for line in screen_lines(page, width=min(size.columns, 100), height=max(size.lines, 12)):
        click.echo(line)


def _live(folder, *, enter: bool, tally: bool, watch: str | None, by: str, now: str) -> int:
    """Run what needs a person at a terminal."""
    from qckit.day.readme import renew_readme

    renew_readme(folder)
    by = by or os.environ.get("QCKIT_BY", "")
    if watch is not None:
        from qckit.day.photos.watching import watch_folder

        watch_folder(folder, watch or folder / "photos", by=by, now=now, say=click.echo)
        return 0
    from qckit.day.entry.terminal import run_dialog, run_one_tally

    (run_one_tally if tally else run_dialog)(folder, by=by, now=now)
    return 0
