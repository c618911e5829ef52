"""How the kit shows things in IPython: an error by its sentence, the traceback folded; dates in the site's order."""

from __future__ import annotations

import html
import sys
import traceback
from collections.abc import Callable

from qckit.directions import isolate_names
from qckit.errors import QcError

__all__ = ["install", "put_dates_in_site_order", "running_shell", "show_dates"]


def install(shell) -> None:
    """Let an IPython shell show errors of the kit by their sentence.

    Parameters
    ----------
    shell : InteractiveShell
        From ``IPython.get_ipython()``. A handler of errors or a formatter of tables that somebody else has set is left
        alone. Tables of pandas are shown as before, but for names that would turn the direction of a line
        (:func:`qckit.directions.isolate_names`).

    Notes
    -----
    The cell still counts as failed: papermill and nbval see the error as before. ``%tb`` shows the traceback again.
    """
    if not getattr(shell, "custom_exceptions", ()):
        shell.set_custom_exc((QcError,), _show)
    formatter = getattr(shell, "display_formatter", None)
    if formatter is not None and not _is_set(formatter.formatters["text/html"]):
        formatter.formatters["text/html"].for_type_by_name("pandas", "DataFrame", _table)


def show_dates(page: Callable[[str], str]) -> None:
    """Let what this notebook shows from now on have its dates in a site's order; nothing where no notebook runs.

    Parameters
    ----------
    page : callable
        ``SiteDates.page`` of the site that was opened last.
    """
    if (shell := running_shell()) is not None:
        shell.qckit_dates = page


def put_dates_in_site_order(html: str) -> str:
    """Write the dates of a piece of HTML as the site that this notebook opened last does; else as they are."""
    page = getattr(running_shell(), "qckit_dates", None)
    return html if page is None else page(html)


def running_shell():
    """Return the shell that this runs in, without importing IPython for it."""
    ipython = sys.modules.get("IPython")
    return ipython.get_ipython() if ipython is not None else None


def _is_set(formatter) -> bool:
    """Tell whether somebody has set how tables of pandas are shown; pandas need not be imported for it."""
    named = {(t.__module__.partition(".")[0], t.__name__) for t in formatter.type_printers}
    return ("pandas", "DataFrame") in named | set(formatter.deferred_printers)


def _table(frame) -> str | None:
    """Show a table as pandas does, its names isolated."""
    shown = frame._repr_html_()
    return shown if shown is None else isolate_names(shown)


def _show(shell, etype, value, tb, tb_offset=None):
    """Show the sentence as the cell's error, and below it the traceback, folded."""
    sys.last_type, sys.last_value, sys.last_traceback = etype, value, tb
    shown = [str(value)]
    shell._showtraceback(etype, value, shown)
    problems = getattr(value, "problems", None)
    if getattr(shell, "kernel", None) is None:  # a terminal folds nothing
        print("(%tb shows where in the code this came up.)", file=sys.stderr)
        return shown
    from IPython.display import HTML, display

    if problems is not None and len(problems):
        display(problems)
    where = html.escape("".join(traceback.format_exception(etype, value, tb)))
    display(HTML(f"<details><summary>Where in the code</summary><pre>{where}</pre></details>"))
    return shown
