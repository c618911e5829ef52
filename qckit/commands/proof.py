"""``qckit log seal`` and ``qckit log evidence``: what proves the records to others."""

from __future__ import annotations

from pathlib import Path

import click

from qckit.commands._options import SITE, open_site_log
from qckit.words import plural


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
    """Write all evidence about a LOT into a new FOLDER, for someone who has no qckit.

    Plain tables with units, every correction with its reason, the photos, the pages as they were made, a readme and
    checksums. Exit code 1: written, and a photo or page is missing or is not the one that was used.
    """
    from qckit.reports import write_evidence
    from qckit.site import load_site

    with open_site_log(site) as log:
        made = write_evidence(log, lot, folder, figures=load_site(log.folder).hatches(lot=lot))
    click.echo(str(made))
    return 1 if made.lacking else 0
