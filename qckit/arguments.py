"""The door of each part: its public functions looked up when used, and wrong arguments answered in words.

A call that fails is looked over afterwards: where an argument is of another type than the function's docstring says, or
a table lacks the column asked for, that is the answer instead of what some line deep inside fell over. A call that
succeeds costs nothing, and calls from within the kit are left alone: their faults are the kit's own.
"""

from __future__ import annotations

import functools
import importlib.util
import re
import sys
from collections.abc import Iterable
from numbers import Real
from pathlib import PurePath
from types import FunctionType

import lazy_loader

from qckit.errors import InputError, QcError, nearest_name, unknown_name
from qckit.words import first_few

__all__ = ["answering_methods", "attach", "wrong_argument"]

_FAULTS = (TypeError, AttributeError, KeyError, ValueError, IndexError)
_LISTED = 12


def attach(package: str, file: str):
    """Look the names of a part's stub up when first used; functions answer wrong arguments in words.

    Parameters
    ----------
    package, file : str
        ``__name__`` and ``__file__`` of the part's ``__init__``.

    Returns
    -------
    tuple
        ``__getattr__``, ``__dir__`` and ``__all__``.
    """
    look_up, list_names, names = lazy_loader.attach_stub(package, file)

    def get(name):
        if name not in names and not name.startswith("_"):
            return _module(package, name, names)
        found = look_up(name)
        if isinstance(found, FunctionType) and name in names:
            found = _answering(found, package, name)
            sys.modules[package].__dict__[name] = found
        return found

    return get, list_names, names


def _module(package, name, names):
    """A module of a part, imported when it is first spoken of, such as ``qckit.hatch``; or the word that it is none."""
    whole = f"{package}.{name}"
    if importlib.util.find_spec(whole) is not None:
        return importlib.import_module(whole)
    near = nearest_name(name, names)
    hint = f"Did you mean {near!r}?" if near else f"dir({package}) lists what there is."
    raise AttributeError(f"there is no {name!r} in {package}. {hint}")


def answering_methods(cls):
    """Let the public methods of a class answer wrong arguments in words, as the functions of a part do."""
    for name, method in list(vars(cls).items()):
        if isinstance(method, FunctionType) and not name.startswith("_"):
            answering = _answering(method, cls.__name__, name)
            answering.__module__, answering.__qualname__ = method.__module__, method.__qualname__
            setattr(cls, name, answering)
    return cls


def _answering(function, package, name):
    """Return a function that does the same, and says what was wrong with its arguments where it fails."""
    if hasattr(function, "answers_in_words"):
        return function

    @functools.wraps(function)
    def answering(*args, **kwargs):
        try:
            return function(*args, **kwargs)
        except _FAULTS as fault:
            caller = sys._getframe(1).f_globals.get("__name__", "")
            if isinstance(fault, QcError) or caller.partition(".")[0] == "qckit":
                raise
            answer = wrong_argument(function, args, kwargs, fault=fault, name=f"{package}.{name}")
            if answer is None:
                raise
            raise answer from fault

    answering.__module__, answering.__qualname__ = package, name  # where it is found again, by pickle too
    answering.answers_in_words = True
    return answering


def wrong_argument(function, args, kwargs, *, fault: Exception, name: str) -> InputError | None:
    """Say which argument of a call that failed was wrong.

    Parameters
    ----------
    function : function
        Its docstring, or its annotations, say what it takes.
    args : tuple
    kwargs : dict
        As it was called.
    fault : Exception
        What came of it.
    name : str
        The function's public name.

    Returns
    -------
    InputError or None
        None where each argument is known and of the right type, and no table lacks a column.
    """
    import inspect

    takes = inspect.signature(function)
    try:
        given = takes.bind(*args, **kwargs).arguments
    except TypeError:  # too many or too few: Python says so plainly
        known = [parameter for parameter in takes.parameters if parameter != "self"]
        unknown = [parameter for parameter in kwargs if parameter not in known]
        return unknown_name("parameter", unknown[0], known, where=name) if unknown else None
    kinds = _documented(function)
    if lacking := _missing_column(given, fault, name):
        return lacking
    for parameter, value in given.items():
        kind, meaning = kinds.get(parameter, ("", ""))
        if kind and not _fits(kind, value):
            about = f": {meaning}" if meaning else ""
            return InputError(
                f"{name}: the parameter {parameter} is {_shown(value)}. It takes {_article(kind)}{about.rstrip('.')}."
            )
    return _undocumented(given, kinds, fault, name)


def _undocumented(given, kinds, fault, name) -> InputError | None:
    """Where a plain value went to a parameter whose type is written nowhere, or is the one that the fault speaks of."""
    if not isinstance(fault, (TypeError, AttributeError, IndexError)):
        return None
    spoken_of = set(re.findall(r"\w+", str(fault).replace("string", "str")))
    plain = (str, int, float, PurePath, type(None))
    values = {p: v for p, v in given.items() if isinstance(v, plain) or type(v).__name__ == "DataFrame"}
    names = [p for p, v in values.items() if p not in kinds or type(v).__name__ in spoken_of]
    if not names:
        return None
    values = ", ".join(f"{p} = {_shown(given[p])}" for p in names)
    return InputError(f"{name}: cannot work with {values} ({fault}). help({name}) says what it takes.")


_FIELD = re.compile(r" *(\w+(?:, \w+)*) : (.+)")  # numpydoc's "name, name : type"
_SENTENCE = re.compile(r".*?(?=\. |$)")


def _documented(function) -> dict[str, tuple[str, str]]:
    """Type and meaning of each parameter by numpydoc, by the annotation where it says nothing."""
    doc = (function.__doc__ or "").partition("Parameters\n")[2].partition("Returns\n")[0]
    found = {p: (str(kind), "") for p, kind in getattr(function, "__annotations__", {}).items()}
    lines = doc.splitlines()
    for i, line in enumerate(lines):
        match = _FIELD.fullmatch(line)
        if match:
            below = lines[i + 1].strip() if i + 1 < len(lines) else ""
            meaning = "" if _FIELD.fullmatch(below) or set(below) <= set("- ") else _SENTENCE.match(below)[0]
            found |= {p: (match[2].strip(), meaning) for p in match[1].split(", ")}
    return found


_TESTS = (  # words of a documented type -> what fits it
    (r"path|file-like|Path", lambda v: isinstance(v, (str, PurePath))),
    (r"str|text|\{['\"]", lambda v: isinstance(v, str)),
    (r"bool", lambda v: isinstance(v, bool) or type(v).__name__ == "bool"),
    (r"int|float|number", lambda v: isinstance(v, Real) and not isinstance(v, bool)),
    (
        r"array|ndarray|sequence|Sequence|iterable|Iterable|mapping|Mapping|Series",
        lambda v: isinstance(v, Iterable) and not isinstance(v, (str, PurePath)),
    ),
    (
        r"list|tuple|set|pair|dict",
        lambda v: isinstance(v, Iterable) and not isinstance(v, (str, PurePath)) and type(v).__name__ != "DataFrame",
    ),
    (r"callable|function|Callable", callable),
    (r"None|optional", lambda v: v is None),
)


def _fits(kind: str, value) -> bool:
    """Tell whether a value may be of a documented type; of types that are not known here every value may be."""
    pairs = re.findall(r"\([^()]*\b(?:float|int|str|bool)\b[^()]*\)", kind)  # (float, str): a pair of these
    for pair in pairs:
        kind = kind.replace(pair, "tuple")
    kind = re.sub(r" (of|to) \w+", "", kind)  # what an array is of says nothing of the array
    checks = [test for words, test in _TESTS if re.search(rf"(?<![\w])(?:{words})", kind)]
    words = re.findall(r"\b[A-Z][a-z]\w*(?:[A-Z]\w*)?", re.sub(r"\([^)]*\)|default.*", "", kind))
    classes = set(words) - {"None", "Path", "Sequence", "Iterable", "Mapping", "Callable", "Series"}
    if classes:
        checks.append(lambda _: bool({cls.__name__ for cls in type(value).__mro__} & classes))
    return not checks or any(test(value) for test in checks)


def _shown(value) -> str:
    """A value and its type in few words."""
    if value is None:
        return "None"
    kind = type(value).__name__
    words = {"int": "a whole number", "float": "a number", "str": "a text", "bool": "yes or no"}.get(kind, f"a {kind}")
    if kind in ("DataFrame", "ndarray", "Series"):
        return f"{words} of shape {value.shape}"
    text = repr(value)
    return f"{text if len(text) <= 40 else text[:37] + '…'}, {words}"


def _article(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeioAEIO' else 'a'} {kind}" if kind[0].isalpha() else kind


def _missing_column(given, fault, name) -> InputError | None:
    """Where a table was given and a column asked of it is not there."""
    if not isinstance(fault, KeyError) or not fault.args:
        return None
    tables = {p: v for p, v in given.items() if type(v).__name__ == "DataFrame"}
    asked = fault.args[0]
    names = re.findall(r"'([^']+)'", asked) if isinstance(asked, str) and "Index(" in asked else [str(asked)]
    for parameter, frame in tables.items():
        lacking = [n for n in names if n not in frame.columns and n not in ("object", "str")]
        if lacking:
            there = first_few(frame.columns, _LISTED) or "none"
            lacks = ", ".join(lacking)
            return InputError(f"{name}: the table given as {parameter} lacks {lacks}. Its columns: {there}.")
    named = next((p for p, v in given.items() if isinstance(v, (str, int, PurePath, type(None))) and v == asked), "")
    return InputError(f"{name}: the parameter {named} is {_shown(asked)}, which is not known here.") if named else None
