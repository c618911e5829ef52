"""The parameters of a report notebook: read, checked, converted.

papermill takes an unknown name without a word, runs a notebook without a parameters cell with the wrong values, and
turns a tuple into text; so everything is checked here before it runs.
"""

from __future__ import annotations

import ast
import datetime as dt
import decimal
import math
import os
from collections.abc import Mapping
from itertools import pairwise

from qckit.errors import InputError, unknown_name
from qckit.in_notebook import running_shell
from qckit.tables import YES_OR_NO

__all__ = ["convert_parameters", "need_known_parameters", "read_parameters"]

_INJECTED = "# Parameters\n"  # how papermill begins the cell that it puts behind the one tagged ``parameters``


def read_parameters(notebook, *, where: str) -> dict:
    """Read the names and default values of a notebook's parameters cell.

    Parameters
    ----------
    notebook : NotebookNode
        The notebook, not run.
    where : str
        Its name, for messages.

    Returns
    -------
    dict of str to object
        Defaults by name, in the order of the cell.

    Raises
    ------
    InputError
        No cell or more than one is tagged ``parameters``, or a line of it is not ``name = value``.
    """
    cells = [c for c in notebook.cells if "parameters" in c.metadata.get("tags", [])]
    if len(cells) != 1:
        found = "no cell is" if not cells else f"{len(cells)} cells are"
        raise InputError(
            f"{where}: {found} tagged 'parameters', so its values could not be set. Tag the one cell that holds them."
        )
    try:
        lines = ast.parse(cells[0].source).body
        return {_target(line): ast.literal_eval(line.value) for line in lines}
    except (SyntaxError, ValueError) as error:
        raise InputError(
            f"{where}: the parameters cell may hold only lines of the form  name = value  with plain values. {error}"
        ) from error


def need_known_parameters() -> None:
    """Refuse names that papermill, run by hand, set in the notebook that runs and that its parameters cell has not.

    Nothing is looked at outside a notebook, nor where the cell before is none of the kit's parameters cells.

    Raises
    ------
    InputError
        A name is not declared; the nearest is offered.
    """
    cells = list(getattr(running_shell(), "user_ns", {}).get("In", ()))
    for before, cell in pairwise(cells):
        if not cell.startswith(_INJECTED):
            continue
        try:
            declared, given = ([_target(line) for line in ast.parse(text).body] for text in (before, cell))
        except (SyntaxError, ValueError):
            continue
        unknown = [name for name in given if name not in declared]
        if unknown and "site" in declared:
            raise unknown_name("parameter", unknown[0], declared, where="the parameters given to this notebook")


def _target(line) -> str:
    if isinstance(line, ast.Assign) and len(line.targets) == 1 and isinstance(line.targets[0], ast.Name):
        return line.targets[0].id
    raise ValueError(f"Line {line.lineno} is not such a line.")


def convert_parameters(given: Mapping, declared: Mapping, *, where: str) -> dict:
    """Check given values against a notebook's parameters and convert each to its default's type.

    Parameters
    ----------
    given : mapping of str to object
        What the caller wants to set. Paths, dates, numpy scalars and decimals are converted.
    declared : mapping of str to object
        From :func:`read_parameters`.
    where : str
        The notebook's name, for messages.

    Returns
    -------
    dict of str to str, int, float, bool, None, list or dict
        Only the names that were given.

    Raises
    ------
    InputError
        A name is not declared (the nearest is offered), or a value does not fit.
    """
    for name in given:
        if name not in declared:
            raise unknown_name("parameter", name, declared, where=where)
    return {name: _fit(name, plain(value, name, where), declared[name], where) for name, value in given.items()}


def plain(value, name: str, where: str):
    """Turn a value into str, int, float, bool, None, list or dict; refuse what has no such form."""
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if value is None or isinstance(value, (str, bool, int, float)):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, os.PathLike):
        return os.fspath(value)
    if isinstance(value, decimal.Decimal):
        return float(value)
    if isinstance(value, dt.timedelta):
        return value.total_seconds()
    if isinstance(value, (list, tuple)):
        return [plain(v, name, where) for v in value]
    if isinstance(value, Mapping):
        return {str(k): plain(v, name, where) for k, v in value.items()}
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return plain(value.tolist(), name, where)
    raise InputError(
        f"{where}: parameter {name} is a {type(value).__name__}, which a notebook cannot be given. "
        f"Give text, a number, yes or no, or a list of these."
    )


def _fit(name, value, default, where):
    """Convert a plain value to the type of the default; a default of None takes anything."""
    kind = type(default)
    if default is None or (value is None and kind is not str):
        return value
    try:
        if kind is str:
            if isinstance(value, (list, dict)):
                raise ValueError
            return "" if value is None else str(value)
        if kind is bool:
            return value if isinstance(value, bool) else YES_OR_NO[str(value).strip().casefold()]
        if kind in (int, float):
            number = math.nan if isinstance(value, (bool, list, dict)) else float(value)
            if not math.isfinite(number) or (kind is int and number != int(number)):
                raise ValueError
            return kind(number)
        if isinstance(value, kind):
            return value
    except (ValueError, KeyError, OverflowError):
        pass
    form = {str: "text", bool: "yes or no", int: "a whole number", float: "a number", list: "a list", dict: "a table"}
    raise InputError(f"{where}: parameter {name} is {value!r} and must be {form.get(kind, kind.__name__)}.")
