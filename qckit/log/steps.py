"""One thing done to the log, whole or not at all: its row in ``steps``, the rows it writes, what it says."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
import sqlalchemy as sa

from qckit import __version__
from qckit.errors import InputError
from qckit.log import engine, query, schema
from qckit.log.problems import PROBLEMS
from qckit.words import plural

__all__ = ["SOFTWARE", "ImportResult", "begin", "insert", "last", "need_by"]

SOFTWARE = f"qckit {__version__}"


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
        parts = [f"{_rows(n, name)} added" for name, n in self.added.items() if n]
        parts += [f"{_rows(n, name)} there already" for name, n in self.unchanged.items() if n]
        parts += [f"{plural(self.corrected, 'cell')} corrected"] if self.corrected else []
        parts += [plural(len(self.problems), "problem")] if len(self.problems) else []
        return (", ".join(parts) or "nothing to add") + "."


def _rows(n: int, table: str) -> str:
    """Say ``1 hatch``, ``2 hatches``: each table's name is the plural of what a row of it is."""
    return plural(n, "hatch" if table == "hatches" else table.removesuffix("s"), table)


def begin(connection, at: str, by: str, action: str, source: str, n_rows: int, source_sha256: str = "") -> int:
    """Write a step's own row and return its number.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.writing`: no other writer can take the same number.
    at, by, action, source : str
        When, who, what and from where.
    n_rows : int
        Rows the step brings.
    source_sha256 : str
        Of the file it came from.
    """
    number = last(connection) + 1
    row = {
        "step": number,
        "at": at,
        "by": by,
        "action": action,
        "source": source,
        "source_sha256": source_sha256 or None,
        "software": SOFTWARE,
        "n_rows": n_rows,
    }
    connection.execute(sa.insert(schema.STEPS), row)
    return number


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
