"""What is wrong with rows on their way in: the table of it, its lines, its error."""

from __future__ import annotations

import shlex
from typing import NamedTuple

import pandas as pd

from qckit.errors import InputError
from qckit.log import schema
from qckit.log.query import key_text, read_key
from qckit.words import first_few, noun, plural

__all__ = [
    "HANGS_ON",
    "PROBLEMS",
    "CellProblem",
    "Doubt",
    "doubt",
    "mending",
    "problems_error",
    "problems_text",
    "renaming",
]

PROBLEMS = ("sheet", "row", "column", "value", "rule", "remedy")
"""Columns of every list of problems."""

HANGS_ON = {
    parent: f"is a {word} whose own row has a problem"
    for parent, word in (("hatches", "hatch"), ("lots", "lot"), ("samples", "sample"), ("photos", "photo"))
}
"""Table -> the rule that a row breaks only because the row of that table which it names breaks one."""

_SHOWN = 20
_LONG = 100  # characters of a remedy that is not said again right below itself
_ROWS_NAMED = 3  # of many with the same problem


class CellProblem(NamedTuple):
    """What is wrong with a cell, a row or a heading on its way in.

    ``place`` is the row's index in its frame; or, of what became no row of it, the words for it, such as ``heading``.
    """

    place: int | str
    column: str
    value: object
    rule: str
    remedy: str


def problems_text(problems: pd.DataFrame) -> str:
    """Write problems as lines: sheet, row, column, value, rule, remedy; one that many rows have takes one line.

    A long remedy is written once for the lines below each other that share it.

    Parameters
    ----------
    problems : DataFrame, shape (n, 6)
        Columns of ``PROBLEMS``. The first twenty are shown, and how many are left is said.
    """
    problems = problems.reset_index(drop=True).fillna("")
    hangs = problems["rule"].isin(list(HANGS_ON.values()))
    problems["value"] = problems["value"].mask(hangs & (hangs.sum() > _ROWS_NAMED), "")  # the same trouble, said once
    same = ["sheet", "column", "value", "rule", "remedy"]
    often = problems.groupby(same, dropna=False)["row"].transform("size") > _ROWS_NAMED
    firsts = problems[~often | ~problems.duplicated(same)].head(_SHOWN)
    lines, left, above = [], len(problems), ""
    for p in firsts.itertuples():
        rows = [p.row]
        if often[p.Index]:
            rows = problems.loc[(problems[same] == problems.loc[p.Index, same]).all(axis=1), "row"].tolist()
        value = f" {p.value!r}" if p.value else ""
        column = f"{p.column}{value} " if p.column else ""
        remedy = "" if p.remedy == above and len(above) > _LONG else p.remedy
        above = p.remedy
        lines.append(f"{p.sheet}, {first_few(rows, _ROWS_NAMED)}: {column}{p.rule}. {remedy}".rstrip())
        left -= len(rows)
    if left:
        lines.append(f"({left} more)")
    return "\n".join(lines)


def problems_error(problems: pd.DataFrame) -> InputError:
    """Build the error that lists every problem; the table is in ``.problems``."""
    problems = problems.drop_duplicates(ignore_index=True)  # a row of a day sheet makes several of the log
    n = len(problems)
    head = f"Nothing was imported. {plural(n, 'cell')} or {noun(n, 'row')} must be put right first:\n"
    return InputError(head + problems_text(problems), problems=problems)


def mending(verb: str, table: str, key, *rest: str) -> str:
    """Write the command that mends a row; several parts of a key stand with bars between, as the command takes them."""
    parts = "|".join(map(str, read_key(table, key_text(table, key))))
    return " ".join(["qckit log", verb, table, shlex.quote(parts), *rest, "--reason TEXT"])


def renaming(table: str) -> str:
    """Say how a row gets its right name: what hangs on it is put to that first, as it is hidden with the wrong one."""
    children = [
        f"qckit log correct {name} {schema.KEYS[name][0].upper()} {column} NAME --reason TEXT"
        for name in ("hatches", "samples", "feeds", "readings", "checks")
        for column, parent, _ in schema.PARENTS[name]
        if parent == table
    ]
    if not children:
        return "Withdraw the row with  qckit log withdraw  and add it again under its right name."
    how = f"row by row ({';  '.join(children)}) or by its sheet with  qckit log import SHEET --correct REASON"
    last = f"last, withdraw the wrong one:  qckit log withdraw {table} NAME"
    return f"Add it under its right name; put what hangs on it to that, {how};  {last}"


class Doubt(NamedTuple):
    """A value that hardly can be: where it stands, what is odd, what it may have been meant to be, how to mend it."""

    table: str
    key: str
    what: str
    remedy: str
    column: str = ""


def doubt(table: str, frame: pd.DataFrame, index, column: str, what: str, hint: str) -> Doubt:
    """Build the doubt about one cell of a frame, with the command that mends it."""
    key = key_text(table, tuple(frame.loc[index, list(schema.KEYS[table])]))
    if column in schema.KEYS[table]:  # it names the row, and cannot be corrected
        return Doubt(
            table, key, what, f"{hint} If it is wrong:  {mending('withdraw', table, key)};  and enter it again.", column
        )
    value = "TIME" if column == schema.TIME_COLUMN.get(table) else "VALUE"
    remedy = f"{hint} If it is wrong:  {mending('correct', table, key, column, value)}"
    return Doubt(table, key, what, remedy, column)
