"""One thing done to the log, whole or not at all: its row in ``steps``, the rows it writes, what it says."""

from __future__ import annotations

import contextlib
import getpass
import os
from dataclasses import dataclass, field

import pandas as pd
import sqlalchemy as sa

from qckit import __version__
from qckit.errors import InputError
from qckit.log import engine, kept_settings, query, schema
from qckit.log.problems import PROBLEMS
from qckit.settings import SETTINGS_FILE
from qckit.words import plural, rows_in_words

__all__ = ["SOFTWARE", "ImportResult", "begin", "insert", "last", "need_by", "notice_settings", "user"]

SOFTWARE = f"qckit {__version__}"
_SETTINGS = "settings"  # action of a step that notes changed settings


@dataclass(frozen=True)
class ImportResult:
    """What one step brought: rows by table, and what could not be taken.

    Attributes
    ----------
    added, unchanged : dict of str to int
        Rows added, and rows the log had already, by table.
    notes : list of str
        How doubtful cells were read, so that nothing is guessed silently.
    problems : DataFrame
        Rows left out (``accept_good_rows``), columns of ``problems.PROBLEMS``.
    corrected : int
        Cells of rows already there that became corrections.

    Examples
    --------
    >>> log.ImportResult(added={"lots": 1}).added
    {'lots': 1}
    """

    added: dict[str, int] = field(default_factory=dict)
    unchanged: dict[str, int] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(PROBLEMS)))
    corrected: int = 0
    doubts: list[str] = field(default_factory=list)  # of the notes, those about values that hardly can be

    def __str__(self) -> str:
        """Say it in one sentence."""
        parts = [f"{rows_in_words(n, name)} added" for name, n in self.added.items() if n]
        parts += [f"{rows_in_words(n, name)} there already" for name, n in self.unchanged.items() if n]
        parts += [f"{plural(self.corrected, 'cell')} corrected"] if self.corrected else []
        parts += [plural(len(self.problems), "problem")] if len(self.problems) else []
        return (", ".join(parts) or "nothing to add") + "."


def begin(connection, log, *, by: str, action: str, source: str, n_rows: int, source_sha256: str = "") -> int:
    """Write a step's own row, with the settings that are not as last used, and return its number.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.writing`: no other writer can take the same number.
    log : SiteLog
    by, action, source : str
        Who, what and from where.
    n_rows : int
        Rows the step brings.
    source_sha256 : str
        Of the file it came from.
    """
    number = last(connection) + 1
    row = {
        "step": number,
        "at": log.now(),
        "by": by,
        "action": action,
        "source": source,
        "source_sha256": source_sha256 or None,
        "software": SOFTWARE,
        "n_rows": n_rows,
    }
    connection.execute(sa.insert(schema.STEPS), row)
    if action != _SETTINGS:  # of which nobody typed anything
        engine.note_step(connection, f"step {number} ({action}, {plural(n_rows, 'row')})" if n_rows else action)
    kept_settings.note(connection, log, number, by)
    return number


def notice_settings(log, *, by: str = "") -> None:
    """Note the settings that are not as last used in a step of its own, before a page is made by them.

    Where the log cannot be written, or somebody else writes for long, a later step notes them.

    Parameters
    ----------
    log : SiteLog
    by : str
        Who works; the user of the machine when left out.
    """
    with engine.reading(log.engine) as connection:
        if not kept_settings.differing(connection, log):
            return
    with contextlib.suppress(InputError), engine.writing(log.engine) as connection:
        if found := kept_settings.differing(connection, log):
            by = user(by) or "nobody named"
            begin(connection, log, by=by, action=_SETTINGS, source=SETTINGS_FILE, n_rows=len(found))


def user(given: str = "") -> str:
    """Return who does this: the name given, the environment variable QCKIT_BY, or the user of the machine."""
    if given or os.environ.get("QCKIT_BY"):
        return given or os.environ["QCKIT_BY"]
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without users
        return ""  # the log then asks for a name


def last(connection) -> int:
    """Return the number of the newest step, 0 where nothing was done yet."""
    return connection.execute(sa.select(sa.func.max(schema.STEPS.c.step))).scalar() or 0


def insert(connection, name: str, frame: pd.DataFrame, step: int) -> None:
    """Write clean rows of one table as part of a step."""
    if frame.empty:
        return
    frame = frame.reset_index(drop=True)
    if name in schema.TIME_COLUMN:
        column = schema.TIME_COLUMN[name]
        frame = frame.assign(**{f"{column}_utc": query.utc_text(frame[column])})
    t = schema.table(name)
    if "step" in t.columns:
        frame = frame.assign(step=step)
    columns = [c.name for c in t.columns if c.name in frame.columns]
    engine.write_rows(connection, name, columns, query.lists_of(frame, columns))


def need_by(by: str) -> None:
    """Refuse a step without a name."""
    if not str(by or "").strip():
        raise InputError("Nobody is named as the one who does this. Give a name or initials (--by NAME).")
