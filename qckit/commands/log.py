"""``qckit log …``: the site's records."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from qckit.commands import proof
from qckit.commands._options import BY, MONTH, REASON, SITE, Commands, Number, dates_at, open_site_log, who
from qckit.commands.typed import as_typed
from qckit.stages import STAGE_RECORDS
from qckit.words import noun, plural, row_words


def _key(table: str, key: str):
    """Let several key columns be written with a bar between them."""
    from qckit.log.schema import KEYS

    return key.split("|") if len(KEYS.get(table, ("",))) > 1 and "|" in key else key


@click.group("log", cls=Commands)
def command():
    """The site's records: import, export, check, history, corrections, backup."""


@command.command("create")
@SITE
def create(site):
    """Make an empty log for a site that has its settings; one that is there stays as it is."""
    from qckit.log import create_log
    from qckit.reports import find_site

    folder = find_site(site)
    create_log(folder)
    click.echo(f"{folder}: the log is there.")


@command.command("import")
@click.argument("sheets", nargs=-1, required=True, type=click.Path())
@click.option("--table", help="The table the sheets are for, if their names and headings do not tell.")
@click.option("--accept-good-rows", is_flag=True, help="Enter the rows that are right although others are not.")
@click.option("--ignore", "ignored", multiple=True, metavar="COLUMN", help="Leave a column out. May be repeated.")
@click.option(
    "--correct", default="", metavar="REASON", help="Other values for rows that are there become corrections."
)
@click.option(
    "--emptied",
    type=click.Choice(["keep", "empty"]),
    default=None,
    help="With --correct: values whose cells are empty in the sheet stay, or are taken out.",
)
@click.option("--problems", type=click.Path(), help="Also write the list of problems to this CSV file.")
@SITE
@BY
def import_(sheets, table, accept_good_rows, ignored, correct, emptied, problems, site, by):
    """Enter field SHEETS (CSV, Excel or folders of them): all of it or, if anything is wrong, nothing.

    Importing the same sheet again adds nothing. Of a workbook, hidden rows and columns are read like the others and
    hidden sheets are left out; both are named. Exit code 1: entered, and something needs a look: a value that hardly
    can be, a photo that is not there or has no scale.
    """
    from qckit.day.sheets.reading import import_sheets
    from qckit.errors import InputError

    with open_site_log(site) as log:
        dates = dates_at(site)
        before = log.samples(counted=None)
        try:
            result = import_sheets(
                log,
                list(sheets),
                by=who(by),
                table=table,
                accept_good_rows=accept_good_rows,
                ignore_columns=ignored,
                correct=correct,
                emptied=emptied or "",
            )
        except InputError as error:
            if error.problems is None:
                raise
            click.echo(dates.text(str(error)), err=True)
            click.echo(
                "Correct the sheet and run this again; or take the other rows with --accept-good-rows.", err=True
            )
            _write_problems(problems, error.problems)  # last: it may fail, and what is wrong is said by then
            sys.exit(2)
        after = log.samples(counted=None)
    for note in result.notes:
        click.echo(f"note: {dates.text(note)}")
    click.echo(str(result))
    _say_answer(site, before, after)
    if len(result.problems):
        from qckit.log.problems import problems_text

        click.echo(dates.text(problems_text(result.problems)), err=True)
        click.echo(f"{plural(len(result.problems), 'problem')}: their rows were left out.", err=True)
        _write_problems(problems, result.problems)
        sys.exit(1)
    if result.doubts:
        click.echo("Needs attention: what was entered needs a look (named above).", err=True)
        return 1
    return 0


def _say_answer(site: str, before, after) -> None:
    """Say what the counts mean that are new: each hatch's figures and what to do; of today's also what to start."""
    from qckit.day.count_words import counted_words
    from qckit.day.page.counted import changed_counts, counted_hatches_of, newest_moment
    from qckit.day.page.loading import study_site
    from qckit.day.words import start_words
    from qckit.errors import QcError
    from qckit.log.typed import site_time
    from qckit.site import load_site

    counted = changed_counts(before, after)
    if counted.empty:
        return
    folder, dates = load_site(site), dates_at(site)
    try:
        for line in counted_words(counted_hatches_of(folder, counted["hatch"])):
            click.echo(dates.text(line))
        moment = newest_moment(folder, counted)
        if moment.date() == site_time(folder.settings).date():
            page = study_site(folder, now=moment.isoformat())
            if words := start_words(page.start, page.now, short=True):
                click.echo(f"Next: {words.removesuffix('.')}.")
    except QcError as error:  # what was entered stands all the same
        click.echo(f"note: {error}")


def _write_problems(path, frame) -> None:
    if path:
        from qckit.files import write_csv

        write_csv(path, frame, for_spreadsheets=True)
        click.echo(f"{path}: the list of problems.", err=True)


@command.command("record")
@click.argument("folder", type=click.Path())
@click.option(
    "--replace-hand-counts",
    default="",
    metavar="REASON",
    help="Also where a person's own counts are then no longer current; they stay on record.",
)
@SITE
@BY
def record(folder, replace_hand_counts, site, by):
    """Enter what  qckit count --out FOLDER  counted: photos, objects, and the counts of the samples that name them.

    Left out, and named, are samples that a person has counted, and photos counted at another scale than their sheet's.
    """
    from qckit.log.counted import read_counted
    from qckit.log.problems import problems_text

    photos, objects = read_counted(folder)
    with open_site_log(site) as log:
        before = log.samples(counted=None)
        result = log.record_counts(photos, objects=objects, by=who(by), replace_hand_counts=replace_hand_counts)
        after = log.samples(counted=None)
    for note in result.notes:
        click.echo(f"note: {note}")
    click.echo(str(result))
    _say_answer(site, before, after)
    if len(result.problems):
        click.echo(problems_text(result.problems), err=True)
        n = result.problems["row"].nunique()
        click.echo(f"{plural(n, 'sample')} {noun(n, 'was', 'were')} left out, with the photos.", err=True)
        return 1 if result.added or result.unchanged.get("photos") else 2
    return 0


@command.command("export")
@click.argument("target", type=click.Path())
@click.option("--table", "tables", multiple=True, help="Only this table. May be repeated.")
@SITE
def export(target, tables, site):
    """Write the records to TARGET: a folder (CSV), NAME.xlsx, or NAME.zip for everything in them.

    The zip holds the settings and every revision, correction and step with a description of tables, columns and units,
    and comes back with  qckit log restore  as an identical log. Photos are not in it.
    """
    from qckit.log import export_csv, export_excel, export_zip

    ending = Path(target).suffix.casefold()
    with open_site_log(site) as log:
        if ending == ".zip":
            click.echo(f"{export_zip(log, target)}: all records and the settings; photos and reports are not in it.")
        elif ending == ".xlsx":
            click.echo(f"{export_excel(log, target, tables=tables)}: {', '.join(tables) or 'all but objects'}.")
        else:
            paths = export_csv(log, target, tables=tables)
            click.echo(f"{target}: {len(paths)} tables as CSV.")


@command.command("show")
@click.argument("table")
@click.option("--lot", help="Of one lot (hatches, samples).")
@click.option("--month", type=MONTH, help="Of hatches started in this month (hatches, samples).")
@SITE
def show(table, lot, month, site):
    """Print the current rows of a TABLE as CSV."""
    from qckit.errors import InputError
    from qckit.files import csv_text, safe_frame

    with open_site_log(site) as log:
        if table == "hatches":
            frame = log.hatches(lot=lot, month=month)
        elif table == "samples":
            frame = log.samples(lot=lot, month=month, counted=None)
        elif lot or month:
            raise InputError(f"{table}: --lot and --month go with hatches and samples. Leave them out.")
        else:
            frame = log.table(table)
    click.echo(csv_text(safe_frame(frame)), nl=False)


@command.command("check")
@click.option("--photos/--no-photos", default=True, help="Read every photo file and compare it with the one counted.")
@click.option("--out", type=click.Path(), help="Also write the findings to this CSV file.")
@SITE
def check(photos, out, site):
    """Look through the whole log for what is wrong or doubtful, and say what to do."""
    with open_site_log(site) as log:
        found, dates = log.check(photos=photos), dates_at(site)
    for f in found.itertuples():
        line = f"{f.severity}: {row_words(f.table, f.key)}: {f.what}. {f.what_to_do}"
        click.echo(dates.text(line.replace("\n", " ")))
    _write_problems(out, found)
    if len(found):
        wrong = int((found["severity"] == "wrong").sum())
        click.echo(f"{plural(len(found), 'finding')}, {wrong} of them wrong.")
        sys.exit(1)
    click.echo("Nothing was found wrong.")


@command.command("correct", context_settings={"ignore_unknown_options": True})  # a value such as -20 is no option
@click.argument("table")
@click.argument("key")
@click.argument("column")
@click.argument("value")
@REASON
@SITE
@BY
def correct(table, key, column, value, reason, site, by):
    """Correct one cell: the row KEY of TABLE gets VALUE in COLUMN; what stood there is kept.

    Where several columns name a row, write them with a bar between: HATCH|TIME|QUANTITY. Of readings and checks the
    column hatch puts the row to another hatch, and all rows of a hatch where KEY is its name alone.
    VALUE may be a negative number; before other words that begin with - write -- and all options before that.
    """
    with open_site_log(site) as log:
        doubts = log.correct(table, _key(table, key), column, value, by=who(by), reason=reason)
    click.echo(f"{table} {key}: {column} is now {value or 'empty'}.")
    for doubt in doubts:
        click.echo(f"note: {dates_at(site).text(doubt)}")
    return 1 if doubts else 0


def _counts(function):
    """Add an option for the count of each stage, and of embryos."""
    function = click.option("--embryos", type=Number(whole=True))(function)
    for s in reversed(STAGE_RECORDS):
        function = click.option(f"--{s.column}", type=Number(whole=True), required=s.is_required)(function)
    return function


@command.command("recount")
@click.argument("sample")
@_counts
@click.option("--rest", type=click.Choice(["keep", "empty"]), help="Earlier counts not given: keep them, or uncounted.")
@REASON
@SITE
@BY
def recount(sample, reason, site, by, rest, **counts):
    """Enter a person's recount of a SAMPLE, all stages of it; the earlier count stays in the history."""
    with open_site_log(site) as log:
        log.recount(sample, {k: v for k, v in counts.items() if v is not None}, by=who(by), reason=reason, rest=rest)
        now = log.samples(sample=sample).iloc[0].dropna()
    click.echo(f"sample {sample}: recounted: {', '.join(f'{name} {now[name]}' for name in counts if name in now)}.")
    if "cysts" not in now and "embryos" not in now:
        click.echo("No cysts or embryos are counted, so this sample gives no hatching percentage.")


def _step(log, key: str) -> int:
    """The number of a step that the log has; an error for another."""
    from qckit.errors import InputError

    known = log.steps()["step"].astype(str).tolist()
    if key not in known:
        raise InputError(f"steps {key}: no such step; the newest is {known[-1] if known else 'none'}.")
    return int(key)


def _hiding(name: str, done: str, text: str) -> None:
    """Add a command that hides a row, or shows it again, with all that hangs on it."""

    @command.command(name, help=text)
    @click.argument("table")
    @click.argument("key")
    @REASON
    @SITE
    @BY
    def hide_or_show(table, key, reason, site, by):
        with open_site_log(site) as log:
            if table == "steps" and name == "withdraw":
                n = log.withdraw_step(_step(log, key), by=who(by), reason=reason)
            else:
                n = getattr(log, name)(table, _key(table, key), by=who(by), reason=reason)
            still = log.still_withdrawn(table, _key(table, key)) if name == "reinstate" else []
        click.echo(f"{table} {key}: {done} ({plural(n, 'row')} with what hangs on it).")
        for line in still:
            click.echo(f"note: {dates_at(site).text(line)}.")


_hiding(
    "withdraw",
    "withdrawn",
    "Hide a row entered by mistake, with all that hangs on it; it stays on record. All rows of one step, such as an "
    "import: TABLE is steps, and KEY its number ( qckit log show steps ).",
)
_hiding("reinstate", "shown again", "Show a withdrawn row again, with what its withdrawal hid; what stays is named.")


@command.command("restore")
@click.argument("source", type=click.Path())
@click.argument("folder", type=click.Path())
@click.option("--accept-wrong-rows", is_flag=True, help="Of a zip: also rows that no sheet could bring in today.")
def restore(source, folder, accept_wrong_rows):
    """Put a backup or a whole-site zip (SOURCE) into the site FOLDER, which must have no records.

    Where FOLDER is new, the site is made with the settings in SOURCE. A log that is damaged is moved away first. Exit
    code 1: restored, and some values hardly can be.
    """
    from qckit.day.founding import furnish
    from qckit.log import open_log
    from qckit.log import restore as restore_log
    from qckit.log.restoring import keep_settings
    from qckit.settings import SETTINGS_FILE

    is_new = "://" not in folder and not (Path(folder) / SETTINGS_FILE).exists()
    click.echo(f"{restore_log(source, folder, accept_wrong_rows=accept_wrong_rows)}: restored.")
    if "://" in folder:
        return 0
    beside = keep_settings(source, folder)
    if is_new:
        furnish(folder)
        due = as_typed("qckit", "today", "--site", folder)
        click.echo(f"{folder}: a new site, with the settings of {Path(source).name}: what is due:  {due}")
        click.echo(
            "Photos, reports, learnt cameras and notebooks of your own lie in folders beside the log: copy  photos,  "
            "reports,  models  and  notebooks  from the old site; then  qckit log check  compares each photo with the "
            "one that was counted."
        )
        if beside is not None:
            click.echo(f"note: the records of the old site lay on a server, these lie in this folder: see {beside}.")
    elif beside is not None:
        click.echo(
            f"note: the settings in it differ from this folder's qckit.toml and were not taken: see {beside}. Reports "
            "made here go by this folder's settings (time zone, limits, feeds): for the figures of the site that "
            "wrote it, look that file through and put it in the place of qckit.toml."
        )
    with open_log(folder) as log:
        found = log.check(photos=False)
    n = int(found["code"].isin(["impossible", "unlikely", "time to come"]).sum())
    if n:
        click.echo(f"note: {plural(n, 'value')} in it hardly can be: see  qckit log check.")
    return 1 if n else 0


@command.command("upgrade")
@SITE
def upgrade(site):
    """Bring an older log up to this version of qckit; a backup is kept first. The README is renewed, too."""
    from qckit.day.readme import renew_readme
    from qckit.errors import InputError
    from qckit.log import engine

    with open_site_log(site) as log:
        path = engine.sqlite_path(log.engine.url.render_as_string(hide_password=False))
        if path is not None and not engine.may_write(path):
            raise InputError(
                f"{path}: cannot be upgraded, as nothing can be written in {log.folder} (a read-only disk, or a folder "
                "that belongs to another user). Nothing was changed, and the log can be read as it is. To go on with "
                "it, copy the whole site folder to where you may write, and run  qckit log upgrade  there."
            )
        renew_readme(log.folder)
        click.echo(f"{log.folder}: the log is up to date.")


command.add_command(proof.history)
command.add_command(proof.backup)
command.add_command(proof.seal)
command.add_command(proof.evidence)
command.add_command(proof.pack)
