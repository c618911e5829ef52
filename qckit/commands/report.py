"""``qckit report``: one report about a new lot, a month or a poor hatch; or a month's reports of every lot."""

from __future__ import annotations

from pathlib import Path

import click

from qckit.commands._options import MOMENT, MONTH, SITE, Commands, Number, dates_at
from qckit.words import plural

_NOW = click.option(
    "--now", default=None, metavar="TIME", type=MOMENT, help="Time written on the report. Left out: the clock."
)
_WORKERS = click.option(
    "--workers",
    default=1,
    show_default=True,
    type=Number(whole=True, low=1, high=64),
    help="Photos or reports worked on at the same time.",
)


_NOTEBOOK = click.option(
    "--notebook",
    default=None,
    metavar="FILE",
    type=click.Path(),
    help="Run this notebook in place of the kit's own, such as your changed copy of it.",
)


@click.group("report", cls=Commands)
def command():
    """Write a report: the page, the executed notebook and the findings as data, in the site's reports/."""


@command.command("new-lot")
@click.argument("lot")
@click.option("--count/--no-count", "count", default=True, help="First count this lot's photos that have no count yet.")
@SITE
@_NOW
@_WORKERS
@_NOTEBOOK
def new_lot(lot, count, site, now, workers, notebook):
    """Decide about a new LOT from its standard test, with the reference lot beside it."""
    from qckit.reports import count_uncounted, find_site

    folder = find_site(site)
    _need_subject("new-lot", folder, {"lot": lot}, count)
    skipped = _count(count_uncounted, folder, workers) if count else 0
    _make([("new-lot", {"lot": lot})], folder, now, workers, notebook)
    return _attend(skipped)


@command.command("month")
@click.argument("month", metavar="YYYY-MM", type=MONTH)
@click.option("--lot", default="", help="One lot only. Left out: the whole month.")
@click.option("--each-lot", is_flag=True, help="Also a report of its own for each lot used in the month.")
@click.option(
    "--freeze-baselines",
    "freeze",
    is_flag=True,
    help="Freeze this month's proposed limits in the log; later months are judged by them.",
)
@click.option("--anew", is_flag=True, help="Freeze in place of baselines that are frozen already.")
@click.option("--record-signals", "record", is_flag=True, help="Put this month's signals into the log, as open.")
@click.option("--by", default="", metavar="NAME", help="Who freezes or records; written into the log.")
@SITE
@_NOW
@_WORKERS
@_NOTEBOOK
def month(month, lot, each_lot, freeze, anew, record, by, site, now, workers, notebook):
    """Review a month: in control or not, what changed and since when.

    YYYY-MM may also be a period, such as 2026-09-15..2026-10-14, or the word all: every month in the log. Leaves with 1
    when a month is out of control or has signals that nobody has explained, or when a report could not be made.
    """
    from qckit.errors import InputError
    from qckit.reports import find_site
    from qckit.reports.month_records import freeze_baselines, month_jobs, record_signals

    folder = find_site(site)
    jobs = month_jobs(folder, month, lot=lot, each_lot=each_lot)
    if anew and not freeze:
        raise InputError("--anew belongs to --freeze-baselines: it says that frozen limits may be replaced. Give both.")
    months = list(dict.fromkeys(job[1]["month"] for job in jobs))
    if freeze:
        for each in months:
            click.echo(freeze_baselines(folder, each, by=by, lot=lot, at=now, anew=anew))
    if record:
        for each in months:
            click.echo(record_signals(folder, each, by=by, lot=lot, at=now))
    runs = _make(jobs, folder, now, workers, notebook)
    return _attend_months([run for run in runs if run.finding["details"]["needs_attention"]], len(runs))


def _attend_months(runs, total: int) -> int:
    """Say on the last line what is not in control, and leave with 1."""
    if not runs:
        return 0
    if total == 1:
        sentence = (
            "the month is out of control"
            if runs[0].finding["verdict"] == "out-of-control"
            else ("signals are to be explained")
        )
        click.echo(
            f"Needs attention: {sentence}; qckit report explain HATCH closes a signal once its cause is known.",
            err=True,
        )
    else:
        names = ", ".join(run.finding["subject"] for run in runs)
        click.echo(f"Needs attention: {len(runs)} of {total} reports tell of signals not explained: {names}.", err=True)
    return 1


@command.command("explain")
@click.argument("hatch")
@click.option("--note", required=True, help="What was found out, in a few words.")
@click.option("--by", required=True, metavar="NAME", help="Who explains it; written into the log.")
@SITE
def explain(hatch, note, by, site):
    """Close the signals of a HATCH with an explanation; they are recorded if they were not, and stay in the log."""
    from qckit.reports import find_site
    from qckit.reports.month_explain import explain_signals

    click.echo(explain_signals(find_site(site), hatch, by=by, note=note))


@command.command("set-aside")
@click.argument("hatch")
@click.option("--reason", required=True, help="Why, in a few words; shown on the page.")
@click.option("--by", required=True, metavar="NAME", help="Who says so; written into the log.")
@click.option(
    "--chart",
    default="",
    metavar="NAME",
    help="One quantity only, such as hatch_pct. Left out: all that was measured on it.",
)
@click.option("--undo", is_flag=True, help="Take it back: it counts again, also where the review left it out.")
@SITE
@_NOW
def set_aside(hatch, reason, by, chart, undo, site, now):
    """Set a HATCH aside from baselines with a reason: crossed in the charts, read by no rule.

    The next monthly review shows it so. Baselines that are frozen already stay as they are until they are frozen anew.
    """
    from qckit.reports import find_site
    from qckit.reports.month_records import set_aside, take_back

    folder = find_site(site)
    if undo:
        click.echo(take_back(folder, hatch, reason=reason, by=by, chart=chart))
    else:
        click.echo(set_aside(folder, hatch, reason=reason, by=by, chart=chart, at=now))


@command.command("poor-hatch")
@click.argument("hatch")
@click.option("--count/--no-count", "count", default=True, help="First count photos that have no count yet.")
@click.option("--record-checks", "plan", is_flag=True, help="Put the checks that the report proposes into the log.")
@click.option(
    "--checked",
    default="",
    metavar="CHECK",
    help="First write a check into the log, so that it counts; needs --outcome and --by.",
)
@click.option(
    "--outcome",
    default="",
    metavar="TEXT",
    help="What the check showed; begins with yes, no or unclear: 'yes: 7.4 in B, 8.2 in D'.",
)
@click.option("--by", default="", metavar="NAME", help="Who made or plans the check; written into the log.")
@SITE
@_NOW
@_WORKERS
@_NOTEBOOK
def poor_hatch(hatch, count, plan, checked, outcome, by, site, now, workers, notebook):
    """Find the likely cause of a poor HATCH and what to do before the next feed.

    The report names the checks that would settle it. Once one is made, enter it and the report is made anew:

    qckit report poor-hatch HATCH --checked 'ph meter' --outcome 'yes: 7.4 here, 8.2 in D' --by NAME
    """
    from qckit.errors import InputError
    from qckit.reports import count_uncounted, find_site, record_check, record_plans

    if bool(checked) != bool(outcome):
        raise InputError("--checked and --outcome go together: which check was made, and what it showed. Give both.")
    folder = find_site(site)
    _need_subject("poor-hatch", folder, {"hatch": hatch}, count)
    skipped = _count(count_uncounted, folder, workers) if count else 0
    if checked:
        click.echo(record_check(folder, hatch, checked, outcome, by=by, at=now))
    (run,) = _make([("poor-hatch", {"hatch": hatch})], folder, now, 1, notebook)
    if plan:
        click.echo(record_plans(folder, run.finding, by=by, at=now))
    return _attend(skipped)


def _need_subject(kind: str, folder: Path, given: dict, is_counting: bool) -> None:
    """Refuse what the log knows nothing of before anything is counted or written."""
    from qckit.reports.subjects import need_subject

    (folder / "reports").mkdir(exist_ok=True)  # a fault of the place is told before one of the name
    need_subject(kind, folder, given, is_counting=is_counting)


def _count(count_uncounted, folder: Path, workers: int) -> int:
    """Count what waits; return how many photos could not be counted."""
    result = count_uncounted(folder, workers=workers)
    for line in result.failures:
        click.echo(f"qckit: {line}", err=True)
    return len(result.failures)


def _attend(skipped: int) -> int:
    if not skipped:
        return 0
    click.echo(f"Needs attention: {plural(skipped, 'photo')} could not be counted.", err=True)
    return 1


def _make(jobs, folder: Path, now, workers: int, notebook: str | None) -> list:
    """Write the reports and say what each found and where it is; one error alone is raised as it is."""
    from qckit.errors import NeedsAttention, QcError, one_line
    from qckit.progress import working
    from qckit.reports import changed_copy, run_reports

    kind = jobs[0][0]
    instead = {kind: notebook} if notebook else None
    with working("Writing the report" if len(jobs) == 1 else f"Writing {len(jobs)} reports"):
        results = run_reports(
            jobs, folder, now=now, workers=workers, progress=_say_progress(len(jobs)), notebooks=instead
        )
    errors = [r for r in results if isinstance(r, QcError)]
    if len(results) == 1 and errors:
        raise errors[0]
    dates = dates_at(folder)
    for run in results:
        if isinstance(run, QcError):
            click.echo(f"qckit: {one_line(run)}", err=True)
        else:
            say_report(run, dates)
    copy = None if notebook else changed_copy(kind, folder)
    if copy is not None:
        click.echo(
            f'note: made with the kit\'s own notebook. {copy} differs from it:  --notebook "{copy}"  makes the report '
            "with that one. Delete it if nobody here changed it (an earlier version of qckit wrote it)."
        )
    if errors:
        raise NeedsAttention(f"{len(errors)} of {len(results)} reports could not be made; see the lines above.")
    return results


def say_report(run, dates) -> None:
    """Print one report's verdict and place, dates in the order of the site."""
    from qckit.errors import one_line
    from qckit.words import headed

    click.echo(dates.text(headed(one_line(run.subject), one_line(run.finding["headline"]))))
    click.echo(f"  {run.html}")
    for line in run.since:
        click.echo(f"  other than the page before: {dates.text(one_line(line))}")


def _say_progress(total: int):
    if total < 2:
        return None
    return lambda done, total, words: click.echo(f"report {done} of {total}: {words}", err=True)
