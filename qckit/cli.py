"""The command line: gathers options, calls one function, says what came of it.

Each command lives in ``qckit/commands/`` and is imported only when it is asked for, so that ``--help`` is quick.
Exit codes: 0 done; 1 done, but something needs attention; 2 cannot be done.
"""

from __future__ import annotations

import importlib
import os
import sys
import warnings

import click

from qckit import __version__
from qckit.errors import QcError, StateWarning, console_text, one_line, printable
from qckit.kept import kept_meanwhile, say_fault

# command -> (module, one line of help); the help stands here so that listing imports nothing
COMMANDS = {
    "demo": ("qckit.commands.demo", "Make the invented demo site, count its photos, write its reports."),
    "new": ("qckit.commands.new", "Make a new site folder: settings, empty log, field sheets, notebooks."),
    "today": ("qckit.commands.today", "The day: what is due, what counts say, what to start; --enter writes it."),
    "lab": ("qckit.commands.lab", "Open JupyterLab in the site, on the notebook of the day."),
    "cards": ("qckit.commands.cards", "Print cards: photos taken after a card belong to its cone."),
    "count": ("qckit.commands.count", "Count nauplii, umbrella stages, cysts and shells in photos."),
    "camera": ("qckit.commands.camera", "Set a camera's scale; check its accuracy against hand counts."),
    "log": ("qckit.commands.log", "The site's records: import, export, check, history, backup."),
    "report": ("qckit.commands.report", "Write a report: new-lot LOT, month YYYY-MM, poor-hatch HATCH."),
    "dose": ("qckit.commands.dose", "Grams of cysts, cones and start times for a demand of nauplii."),
    "guide": ("qckit.commands.guide", "Show the handbook: searchable contents, a page a chapter."),
    "doctor": ("qckit.commands.doctor", "Say which versions, kernel and folders are in use."),
}


class LazyGroup(click.Group):
    """A group whose commands are imported when called."""

    def list_commands(self, ctx):
        """Names in the order of a working day."""
        return list(COMMANDS)

    def get_command(self, ctx, name):
        """Import the module of one command and return its ``command`` object."""
        if name not in COMMANDS:
            return None
        return importlib.import_module(COMMANDS[name][0]).command

    def format_commands(self, ctx, formatter):
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def resolve_command(self, ctx, args):
        """Offer the nearest command when a name is misspelt."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            known = f"Known: {', '.join(COMMANDS)}; what each does:  qckit --help"
            raise click.UsageError(f"No command {args[0]!r}.{self._meant(ctx, args[0])} {known}") from error

    def _meant(self, ctx, name) -> str:
        """What was likely meant, with a blank before: a command's command, or one of nearly that name."""
        import difflib

        of_groups = [(n, c) for n in COMMANDS if isinstance(c := self.get_command(ctx, n), click.Group)]
        deeper = [f"qckit {group} {name}" for group, found in of_groups if name in found.commands]
        near = deeper or difflib.get_close_matches(name, COMMANDS, n=1)
        return f" Did you mean {near[0]!r}?" if near else ""


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="qckit")
def command():
    """Quality control for the daily brine shrimp hatch: photos, counts, metrics, charts, verdicts, reports."""


class _Plain:
    """A stream that escapes what would steer a terminal: names from files and sheets are printed by every command."""

    def __init__(self, stream):
        self._stream = stream

    def __getattr__(self, name):
        return getattr(self._stream, name)

    def write(self, text):
        """Write text, its control characters and direction marks escaped, and letters that the console lacks."""
        if isinstance(text, str):
            text = console_text(printable(text), getattr(self._stream, "encoding", None))
        return self._stream.write(text)

    def to_line_start(self) -> None:
        """Go back to the start of the line, as a line of progress does that is written over."""
        self._stream.write("\r")


def main(argv: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    argv : list of str, optional
        Arguments; those of the process when left out.
    """
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _Plain(sys.stdout), _Plain(sys.stderr)
    if not sys.warnoptions:
        warnings.simplefilter("ignore")  # of libraries, about their own affairs; faults are raised
    with warnings.catch_warnings():
        warnings.simplefilter("always", StateWarning)
        warnings.showwarning = _note_once()
        try:
            _run(argv)
        finally:
            sys.stdout, sys.stderr = streams


def _note_once():
    """Make what prints a warning as a note: each once, without the place in the program it came from."""
    printed = set()

    def note(message, *_args, **_kwargs) -> None:
        if str(message) not in printed:
            printed.add(str(message))
            click.echo(f"note: {one_line(message)}", err=True)

    return note


def _run(argv: list[str] | None) -> None:
    """Run the command line and turn what goes wrong into a line and an exit code.

    A fault after the log kept something says so, and is no 2, which means that nothing was written.
    """
    try:
        with kept_meanwhile() as kept:
            code = command.main(args=argv, prog_name="qckit", standalone_mode=False)
    except (QcError, OSError) as error:
        click.echo(f"qckit: {say_fault(error, kept)}", err=True)
        sys.exit(1 if kept else getattr(error, "exit_code", 2))
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.exceptions.Abort):
        click.echo("qckit: stopped. Run the same command again to go on where it was.", err=True)
        sys.exit(130)
    except MemoryError:
        fault = QcError("there is not enough memory for this. Give it less at a time.")
        click.echo(f"qckit: {say_fault(fault, kept)}", err=True)
        sys.exit(1 if kept else 2)
    except Exception as error:
        if os.environ.get("QCKIT_TRACEBACK"):
            raise
        if kept:
            click.echo(f"qckit: {say_fault(error, kept)} Please report it.", err=True)
            sys.exit(1)
        what = f"{type(error).__name__}: {one_line(error)[:300]}"
        click.echo(
            f"qckit: a fault of the kit, nothing of this step was kept ({what}). Please report it with what "
            "QCKIT_TRACEBACK=1  before the same command shows.",
            err=True,
        )
        sys.exit(2)
    sys.exit(code if isinstance(code, int) else 0)
