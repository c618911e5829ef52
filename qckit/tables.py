"""What each table must hold: columns, units, limits; and the check that says everything wrong at once.

Times are kept as ISO 8601 text with offset (``2026-11-04T09:00:00+00:00``), dates as ISO text that may stop at the
month or the year; :func:`to_utc` turns times into timestamps where arithmetic is needed. Identifiers are text.
"""

from __future__ import annotations

import re

from qckit.columns import SEPARATIONS, TABLES, Column, is_empty
from qckit.errors import InputError, nearest_name, unknown_name
from qckit.quantities import QUANTITIES, unit_problem
from qckit.words import spaced

__all__ = [
    "PROBLEM_COLUMNS",
    "SEPARATIONS",
    "TABLES",
    "Column",
    "check_cell",
    "check_table",
    "column_dtypes",
    "empty_table",
    "table_columns",
    "to_clock",
    "to_utc",
]
PROBLEM_COLUMNS = ("row", "column", "value", "rule", "remedy")


def table_columns(table: str) -> list[str]:
    """Return the column names of a table, in order."""
    if table not in TABLES:
        raise unknown_name("table", table, TABLES)
    return [column.name for column in TABLES[table]]


def column_dtypes(table: str) -> dict[str, str]:
    """Return the pandas type of each column of a table, in order."""
    table_columns(table)
    return {column.name: _DTYPE[column.kind] for column in TABLES[table]}


def check_cell(table: str, column: str, value):
    """Check one cell against its column's contract.

    Parameters
    ----------
    table, column : str
        Table and column the value is for.
    value : object
        Missing, NaN and blank text count as empty, which is always taken here.

    Returns
    -------
    tuple
        ``(value in its type, None)``, or ``(None, (rule, remedy))`` where the value breaks the contract.
    """
    names = table_columns(table)
    if column not in names:
        raise unknown_name("column", column, names, where=table)
    if is_empty(value):
        return None, None
    return _convert(value, TABLES[table][names.index(column)])


def empty_table(table: str):
    """Return a DataFrame with a table's columns, right types and no rows."""
    import pandas as pd

    table_columns(table)
    return pd.DataFrame({c.name: pd.Series(dtype=_DTYPE[c.kind]) for c in TABLES[table]})


def to_utc(times):
    """Turn ISO text times with offset into UTC timestamps.

    Parameters
    ----------
    times : Series of str, shape (n,)
        ISO 8601 with offset. Missing stays missing.

    Returns
    -------
    Series of datetime64[us, UTC], shape (n,)
    """
    import pandas as pd

    return pd.to_datetime(times, utc=True, format="ISO8601")


def to_clock(time, timezone):
    """Put a time without offset at a site's clock, also where the clock skips it or shows it twice.

    Parameters
    ----------
    time : Timestamp
        Without offset. Some clocks are changed at midnight, so a day may begin at such a time.
    timezone : str or tzinfo

    Returns
    -------
    Timestamp
        Of a time that is skipped the next one there is; of one that is shown twice the first.
    """
    return time.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward")


_DTYPE = {
    "text": "str",
    "choice": "str",
    "time": "str",
    "date": "str",
    "int": "Int64",
    "float": "float64",
    "yesno": "boolean",
}
_TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)$")
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?$")
YES_OR_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


def _convert(value, column: Column):
    """Return (value, None) or (None, (rule, remedy)) for one cell that is not empty."""
    text = str(value).strip()
    if column.kind == "text":
        return text, None
    if column.kind == "choice":
        return _choice(text, column)
    if column.kind == "yesno":
        if text.casefold() in YES_OR_NO:
            return YES_OR_NO[text.casefold()], None
        return None, ("is neither yes nor no", "Write yes or no.")
    return _moment(text, column.kind) if column.kind in ("time", "date") else _numeral(text, column)


def _choice(text, column):
    folded = {choice.casefold(): choice for choice in column.choices}
    if text.casefold() in folded:
        return folded[text.casefold()], None
    initials = " Initials go into the column counter." if column.name == "counted_by" else ""
    return None, (f"is none of {', '.join(column.choices)}", f"Write one of these words.{initials}")


def _moment(text, kind):
    import pandas as pd

    pattern, form = (_TIME, "2026-11-04T09:00:00+00:00") if kind == "time" else (_DATE, "2026-11-04")
    if not pattern.match(text):
        return None, (f"is not a {kind} of the form {form}", f"Write it like {form}.")
    try:
        pd.Timestamp(text)
    except (ValueError, OverflowError):
        return None, ("is not a day of the calendar", "Correct the date, and any offset from UTC.")
    if not _in_years(text):
        return None, (f"is not of the years {_YEARS[0]} to {_YEARS[1]}", "Correct the year.")
    if kind == "time" and not _offset_is_one(text):
        return None, ("has an offset from UTC that no place has", "Write one between -12:00 and +14:00.")
    return text, None


def _numeral(text, column):
    try:
        number = float(text)
    except ValueError:
        return None, ("is not a number", "Write a number with a decimal point, or leave the cell empty.")
    if number != number or number in (float("inf"), float("-inf")):
        return None, ("is not a finite number", "Write a number, or leave the cell empty.")
    if column.kind == "int" and abs(number) < 2**62 and number != int(number):
        return None, ("is not a whole number", "Write a whole number.")
    unit = f" {column.unit}" if column.unit else ""
    if column.low is not None and number < column.low:
        least = spaced(column.low, ".10g")
        rule = "is negative" if column.low == 0 else f"is below {least}"
        or_empty = "" if column.required else ", or leave it empty if it is not known"
        remedy = f"The least possible is {least}{unit}. Correct the cell{or_empty}."
        return None, (rule, remedy)
    if column.high is not None and number > column.high:
        most = spaced(column.high, ".10g")
        return None, (f"is above {most}", f"The most possible is {most}{unit}. Correct the cell.")
    if column.kind == "int" and abs(number) > 2**53:
        return None, ("is too large a number", "Correct the cell.")
    return (int(number) if column.kind == "int" else number), None


def _holds_already(series, column: Column) -> bool:
    """Tell, without looping, that a column has its type and keeps its limits: tables of a million rows pass here."""
    if str(series.dtype) != _DTYPE[column.kind]:
        return False
    if column.required and series.isna().any():
        return False
    if column.kind == "yesno":
        return True
    if column.kind == "choice":
        return bool(series.dropna().isin(column.choices).all())
    if column.kind in ("time", "date"):
        kinds = series.dropna().unique()
        pattern = _TIME if column.kind == "time" else _DATE
        return all(map(pattern.fullmatch, kinds)) and not _not_in_calendar(kinds)
    if column.kind == "text":
        kinds = series.dropna().unique()
        return all(text and text == text.strip() for text in kinds)
    known = series.dropna()
    low = -1.7e308 if column.low is None else column.low
    high = 1.7e308 if column.high is None else column.high
    return bool(((known >= low) & (known <= high)).all())


_YEARS = (1950, 2100)
"""Cysts have been traded since the 1950s; what is dated outside is a slip of the pen."""


def _in_years(text: str) -> bool:
    return _YEARS[0] <= int(text[:4]) <= _YEARS[1]


def _offset_is_one(text: str) -> bool:
    """Tell whether a time's offset is one that some place has; UTC is."""
    sign, hours, minutes = text[-6], text[-5:-3], text[-2:]
    if text[-1] in "Zz":
        return True
    if text[-3] != ":":
        sign, hours = text[-5], text[-4:-2]
    span = int(hours) * 60 + int(minutes)
    return int(minutes) < 60 and span <= (14 * 60 if sign == "+" else 12 * 60)


def _not_in_calendar(texts) -> bool:
    import pandas as pd

    if not all(map(_in_years, texts)):
        return True
    if not all(text[4:5] != "-" or len(text) < 12 or _offset_is_one(text) for text in texts):
        return True
    return bool(pd.to_datetime(pd.Series(texts, dtype="str"), utc=True, format="ISO8601", errors="coerce").isna().any())


def _missing_words(missing: list[Column], found: list[str]) -> str:
    """Say which columns a sheet lacks, what goes into them, and which it has."""
    names = ", ".join(c.name for c in missing)
    choices = "".join(f" {c.name} is {', '.join(c.choices[:-1])} or {c.choices[-1]}." for c in missing if c.choices)
    near = nearest_name(missing[0].name, found)
    hint = f" Is {missing[0].name} the column now called {near!r}?" if near else ""
    column, this = ("columns", "these") if len(missing) > 1 else ("column", "this")
    return (
        f"the {column} {names} must be there and {'are' if len(missing) > 1 else 'is'} missing. Columns found: "
        f"{', '.join(found)}.{hint} Write {names} into the heading row and fill {this} {column} in every row.{choices}"
    )


def check_table(frame, table: str, *, source: str | None = None, row_names=None):
    """Check a table against its contract and return a clean copy.

    Parameters
    ----------
    frame : DataFrame, shape (n, any)
        Columns of ``TABLES[table]``; extra columns are kept as they are, optional ones that are missing are added
        empty.
    table : str
        Name of the table.
    source : str, optional
        File or sheet to name in messages; the table's name when left out.
    row_names : sequence of str, shape (n,), optional
        How to name each row in messages; ``row 2``, ``row 3``, ... as in a spreadsheet with one heading row when
        left out.

    Returns
    -------
    DataFrame, shape (n, any)
        A copy with the contract's types: text as ``str``, whole numbers as ``Int64``, numbers as ``float64``,
        yes/no as ``boolean``.

    Raises
    ------
    InputError
        A required column is missing or any cell breaks its rule. All problems are in ``.problems``, a DataFrame
        with the columns row, column, value, rule, remedy.
    """
    import pandas as pd

    where = source or table
    names = table_columns(table)
    missing = [c for c in TABLES[table] if c.required and c.name not in frame.columns]
    if missing:
        raise InputError(_missing_words(missing, list(map(str, frame.columns))), where=where)
    row_names = range(2, len(frame) + 2) if row_names is None else row_names
    clean, problems = {}, []
    for column in TABLES[table]:
        if column.name not in frame.columns:
            clean[column.name] = pd.Series([None] * len(frame), index=frame.index, dtype=_DTYPE[column.kind])
            continue
        if _holds_already(frame[column.name], column):
            clean[column.name] = frame[column.name].copy()
            continue
        values = []
        for row, value in zip(row_names, frame[column.name].tolist(), strict=True):
            row = f"row {row}" if isinstance(row, int) else row
            if is_empty(value):
                values.append(None)
                if column.required:
                    problems.append((row, column.name, "", "is empty and must be filled", "Fill the cell."))
                continue
            good, wrong = _convert(value, column)
            values.append(good)
            if wrong:
                problems.append((row, column.name, str(value), *wrong))
        clean[column.name] = pd.Series(values, index=frame.index, dtype=_DTYPE[column.kind])
    if table == "readings":
        problems += _check_units(clean, row_names)
    if problems:
        raise _problems_error(where, pd.DataFrame(problems, columns=list(PROBLEM_COLUMNS)))
    result = pd.DataFrame(clean, index=frame.index)
    for extra in frame.columns:
        if extra not in names:
            result[extra] = frame[extra]
    return result


def _check_units(clean: dict, row_names) -> list[tuple]:
    """Write each unit of a reading in one way; return a problem for each that its quantity does not know."""
    import pandas as pd

    pairs = pd.DataFrame({"quantity": clean["quantity"], "unit": clean["unit"], "row": list(row_names)})
    problems = []
    for (quantity, text), rows in pairs.dropna().groupby(["quantity", "unit"], sort=False):
        if wrong := unit_problem(quantity, text):
            names = [f"row {row}" if isinstance(row, int) else row for row in rows["row"]]
            problems += [(name, "unit", text, *wrong) for name in names]
        else:
            unit = QUANTITIES[quantity].unit_of(text).name
            if unit != text:
                clean["unit"] = clean["unit"].mask(pairs.index.isin(rows.index), unit)
    return problems


def _problems_error(where: str, problems) -> InputError:
    """Show the first problems in words; keep them all in the table."""
    shown = [
        f"{where}, {p.row}: {p.column} " + (f"{p.value!r} " if p.value else "") + f"{p.rule}. {p.remedy}"
        for p in problems.head(3).itertuples()
    ]
    more = f" ({len(problems) - 3} more: see .problems)" if len(problems) > 3 else ""
    return InputError(" ".join(shown) + more, problems=problems)
