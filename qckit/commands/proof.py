"""``qckit log history``, ``backup``, ``seal``, ``evidence`` and ``pack``: what keeps and proves the records."""

from __future__ import annotations

from pathlib import Path

import click

from qckit.commands._options import SITE, dates_at, open_site_log
from qckit.words import plural


@click.command("history")
@click.argument("name")
@click.option("--csv", "as_csv", is_flag=True, help="As a table.")
@SITE
def history(name, as_csv, site):
    """Show the descent of figures: report, samples, photos, objects, corrections, software.

    NAME is that of a hatch; or of a sample or a photo, to see who counted it, how, and who corrected what. Or that of a
    setting, such as min_hatch_pct, or settings for all that changed: which value was used when.
    """
    from qckit.reports import certificates_of

    with open_site_log(site) as log:
        if (of_setting := log.setting_history(name)) is not None:
            return _say_settings(of_setting, name, as_csv, dates_at(site))
        found, dates = log.history(name), dates_at(site)
        uses = certificates_of(log, found.samples)
    if as_csv:
        from qckit.files import csv_text, safe_frame

        click.echo(csv_text(safe_frame(found.to_frame())), nl=False)
    else:
        click.echo(dates.text(found.text))
        for use in uses:
            click.echo(f"Counting by photo on that day: {dates.text(use.sentence)}")


def _say_settings(found, name: str, as_csv: bool, dates) -> None:
    """Say what a setting was when; of all settings only what changed."""
    from qckit.files import csv_text, safe_frame
    from qckit.setting_changes import ALL, history_lines

    if as_csv:
        click.echo(csv_text(safe_frame(found)), nl=False)
        return
    shown = found[found["before"].notna()] if name == ALL else found
    for line in history_lines(shown):
        click.echo(dates.text(line))
    if shown.empty:
        click.echo(
            "No setting changed since the log keeps them."
            if len(found)
            else "The log has no record of it yet: the next step or report makes one."
        )


@click.command("backup")
@click.argument("target", required=False, type=click.Path())
@SITE
def backup(target, site):
    """Copy the log while it is in use and verify the copy; into backups/ unless TARGET is given.

    The copy holds the settings too, and comes back with  qckit log restore  as the site it was. Photos are not in it.
    """
    with open_site_log(site) as log:
        click.echo(f"{log.backup(target)}: written and verified.")
        _say_room(log.folder)


@click.command("seal")
@click.argument("against", metavar="[SEAL|BACKUP]", default="")
@SITE
def seal(against, site):
    """Print the seal of all records; or hold the log against a SEAL from a page, or against a BACKUP, row by row.

    Whoever keeps a seal elsewhere (a printed page, a letter) can tell later that no record up to its step was changed,
    added or taken out. Exit code 1: something does not fit.
    """
    from qckit.log.proof import against_backup, against_seal
    from qckit.log.seal import Seal, seal_of

    with open_site_log(site) as log:
        if not against:
            click.echo(seal_of(log))
            return 0
        if Path(against).is_file() or against.casefold().endswith(".sqlite"):
            found = against_backup(log, against)
            for line in found:
                click.echo(line)
            click.echo(
                f"{plural(len(found), 'difference')}."
                if found
                else "Every record of the backup is in the log, as it was."
            )
            return 1 if found else 0
        kept = Seal.read(against)
        fault = against_seal(log, kept)
    click.echo(fault or f"The records up to step {kept.step} are those of this seal.")
    return 1 if fault else 0


@click.command("evidence")
@click.argument("lot")
@click.argument("folder", type=click.Path())
@SITE
def evidence(lot, folder, site):
    """Write all evidence about a LOT, withdrawn or not, into a new FOLDER, for someone who has no qckit.

    Plain tables with units, every correction with its reason, the photos, the pages as they were made, a readme and
    checksums. Exit code 1: written, and a photo or page is missing or is not the one that was used.
    """
    from qckit.reports import write_evidence
    from qckit.site import load_site
    from qckit.verdicts.lots.doubts import doubts_of

    with open_site_log(site) as log:
        records = load_site(log.folder)
        standing = lot if len(log.hatches(lot=lot)) else []  # one that was withdrawn, or never hatched, has no figures
        made = write_evidence(log, lot, folder, figures=records.hatches(lot=standing), doubts=doubts_of(records.tables))
    click.echo(str(made))
    return 1 if made.lacking else 0


@click.command("pack")
@SITE
def pack(site):
    """Pack the pages that were made again since, of reports/earlier, so that they take less room.

    Nothing is lost: a page goes into the zip of its report, reports/earlier/NAME.zip, and history, check and evidence
    read it there.
    """
    from qckit.log.kept_pages import earlier_pages, pack_earlier

    with open_site_log(site) as log:
        before = earlier_pages(log.folder)
        n = pack_earlier(log.folder)
        after = earlier_pages(log.folder)
    done = f"{plural(n, 'page')} packed" if n else "nothing to pack"
    click.echo(f"{log.folder / 'reports' / 'earlier'}: {done}; {_megabytes(before)} before, {_megabytes(after)} now.")


def _say_room(folder: Path) -> None:
    """Say what the pages that were made again take, where there are any, and how they take less."""
    from qckit.log.kept_pages import earlier_pages

    pages = earlier_pages(folder)
    if pages.n:
        room = f"{plural(pages.n, 'page')} made again since, {_megabytes(pages)}"
        click.echo(f"reports/earlier: {room}. They prove what was said then; to take less room:  qckit log pack")


def _megabytes(pages) -> str:
    return f"{pages.n_bytes / 1e6:.1f} MB"
