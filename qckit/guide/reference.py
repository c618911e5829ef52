"""Lists made from the code: commands, settings, tables, stages, metrics, rules, flags, notes, causes, names."""

from __future__ import annotations

import ast
import errno
import importlib
import inspect
import os
import re
from dataclasses import fields, is_dataclass
from pathlib import Path

import pandas as pd

import qckit
from qckit import settings
from qckit.charts import RULES
from qckit.counting import flags
from qckit.counting.damage import integrity
from qckit.errors import FILE_FAULTS, unknown_name
from qckit.hatch import METRICS
from qckit.quantities import QUANTITIES
from qckit.reports.blocks import table
from qckit.review import photo_kinds
from qckit.stages import STAGE_RECORDS
from qckit.tables import TABLES
from qckit.verdicts.poor_hatch.causes import CAUSES

__all__ = [
    "cause_list",
    "column_list",
    "command_list",
    "fault_list",
    "flag_list",
    "function_list",
    "metric_list",
    "note_list",
    "option_list",
    "public_names",
    "quantity_list",
    "rule_list",
    "setting_list",
    "stage_list",
]


class Listing(pd.DataFrame):
    """A table of texts, which a notebook shows whole: pandas cuts them at 50 characters."""

    @property
    def _constructor(self):
        return Listing

    def _repr_html_(self) -> str:
        return table(self, limit=len(self))._repr_html_()


def command_list() -> Listing:
    """Return a row per command: how it is called, what it does, its options.

    Examples
    --------
    >>> "qckit today" in set(guide.command_list()["command"])
    True
    """
    import click

    rows = []
    for path, command, here in _commands():
        arguments = " ".join(p.make_metavar(here) for p in command.params if isinstance(p, click.Argument))
        options = "; ".join(
            f"{', '.join(p.opts)}: {p.help}" for p in command.params if isinstance(p, click.Option) and p.help
        )
        words = (command.help or "").split("\n\n")[0].replace("\n", " ").strip()
        rows.append((" ".join([*path, arguments]).strip(), words, options))
    return Listing(rows, columns=["command", "does", "options"])


def _commands():
    """Every command: the words it is called by, the command, its context."""
    import click

    def walk(command, path, context):
        here = click.Context(command, info_name=path[-1], parent=context)
        if not isinstance(command, click.Group):
            yield path, command, here
            return
        for name in command.list_commands(here):
            yield from walk(command.get_command(here, name), [*path, name], here)

    root = importlib.import_module("qckit.cli").command  # by name: the command line shows this handbook too
    yield from walk(root, ["qckit"], None)


def option_list() -> Listing:
    """Return a row per option of each command: the command, the option, what it means.

    Examples
    --------
    >>> guide.option_list().columns.tolist()
    ['command', 'option', 'meaning']
    """
    import click

    rows = []
    for path, command, _context in _commands():
        options = (p for p in command.params if isinstance(p, click.Option) and p.help)
        rows += [(" ".join(path), ", ".join(p.opts), p.help) for p in options]
    return Listing(rows, columns=["command", "option", "meaning"])


def setting_list() -> Listing:
    """Return a row per setting of ``qckit.toml``: section, name, default, and what its comment says.

    Examples
    --------
    >>> guide.setting_list().columns.tolist()
    ['section', 'setting', 'default', 'meaning']
    """
    rows = []
    for section in fields(settings.Settings):
        default = section.default_factory() if callable(section.default_factory) else section.default
        if not is_dataclass(default):
            continue
        comments = dict(re.findall(r"^\s+(\w+):[^#\n]*#\s*(.+)$", inspect.getsource(type(default)), re.MULTILINE))
        about = (type(default).__doc__ or "").strip()
        rows += [
            (section.name, f.name, str(getattr(default, f.name)), comments.get(f.name, about)) for f in fields(default)
        ]
    return Listing(rows, columns=["section", "setting", "default", "meaning"])


def column_list(table: str) -> Listing:
    """Return a row per column of one of the log's tables.

    Parameters
    ----------
    table : str
        A name of ``qckit.tables.TABLES``.

    Examples
    --------
    >>> guide.column_list("lots")["column"].head(2).tolist()
    ['lot', 'origin']
    """
    if table not in TABLES:
        raise unknown_name("table", table, TABLES)
    rows = [
        (
            c.name,
            "yes" if c.required else "",
            c.unit,
            c.kind,
            "" if c.low is None and c.high is None else f"{_bound(c.low)} to {_bound(c.high)}",
            c.meaning or ", ".join(c.choices),
        )
        for c in TABLES[table]
    ]
    return Listing(rows, columns=["column", "must be there", "unit", "kind", "limits", "meaning"])


def _bound(value) -> str:
    return "…" if value is None else f"{value:g}"


def stage_list() -> Listing:
    """Return a row per stage: letter, name, column of its count, whether it is a full cyst.

    Examples
    --------
    >>> guide.stage_list()["stage"].tolist()
    ['nauplius', 'umbrella', 'cyst', 'shell']
    """
    rows = [(s.letter, s.name, s.column, "yes" if s.is_full_cyst else "no", s.meaning) for s in STAGE_RECORDS]
    return Listing(rows, columns=["letter", "stage", "column", "held an embryo", "meaning"])


def metric_list() -> Listing:
    """Return a row per metric of a hatch: name, unit, meaning, source.

    Examples
    --------
    >>> guide.metric_list()["column"].head(2).tolist()
    ['hatch_pct', 'hatching_efficiency_per_g']
    """
    records = METRICS.values() if isinstance(METRICS, dict) else METRICS
    rows = [(m.label, m.name, m.unit, m.meaning, m.source) for m in records]
    return Listing(rows, columns=["metric", "column", "unit", "meaning", "source"])


def quantity_list() -> Listing:
    """Return a row per quantity that can be read at a hatch, with the units its readings may come in.

    Examples
    --------
    >>> guide.quantity_list().columns.tolist()
    ['quantity', 'column', 'kept in', 'may be read in', 'plausible']
    """
    records = QUANTITIES.values() if isinstance(QUANTITIES, dict) else QUANTITIES
    rows = [
        (q.label, q.column, q.unit, ", ".join(u.name for u in q.units), f"{q.low:g} to {q.high:g}") for q in records
    ]
    return Listing(rows, columns=["quantity", "column", "kept in", "may be read in", "plausible"])


def rule_list() -> Listing:
    """Return a row per rule that reads control charts: code, standard, what fires it, what it tells of.

    Examples
    --------
    >>> guide.rule_list().columns.tolist()
    ['rule', 'standard', 'fires at', 'tells of']
    """
    rows = []
    for rule in RULES.values():
        words = [getattr(rule, f.name) for f in fields(rule)][:4]
        rows.append(tuple(words))
    return Listing(rows, columns=["rule", "standard", "fires at", "tells of"])


def flag_list() -> Listing:
    """Return a row per flag that a counted photo can carry, with the sentence that says what to do.

    Examples
    --------
    >>> guide.flag_list().columns.tolist()
    ['flag', 'what it says']
    """
    sentences: dict[str, str] = {}
    walked = ((m, n) for m in (flags, integrity, photo_kinds) for n in ast.walk(ast.parse(inspect.getsource(m))))
    for module, node in walked:
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Flag" and len(node.args) == 2:
            code, words = node.args
            if isinstance(code, ast.Constant):
                named = getattr(module, words.id, "…") if isinstance(words, ast.Name) else ""
                sentences.setdefault(str(code.value), named or _literal(words))
    rows = [(code, sentences.get(code, "")) for code in flags.FLAG_CODES]
    return Listing(rows, columns=["flag", "what it says"])


def _literal(node) -> str:
    """Read the text of a string in the source, with … where a value is filled in."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(_literal(v) if isinstance(v, ast.Constant) else "…" for v in node.values)
    if isinstance(node, ast.BinOp):
        return _literal(node.left) + _literal(node.right)
    return "…"


def note_list() -> Listing:
    """Return a row per message of the log's own faults: what the database says, what it means, what to do.

    Examples
    --------
    >>> guide.note_list().columns.tolist()
    ['the database says', 'that means', 'what to do']
    """
    from qckit.log.engine import DATABASE_FAULTS

    rows = [(", ".join(words[:2]), what, remedy) for words, what, remedy in DATABASE_FAULTS]
    return Listing(rows, columns=["the database says", "that means", "what to do"])


def fault_list() -> Listing:
    """Return a row per fault of files and folders: its name in the system, what it means, what to do.

    Examples
    --------
    >>> guide.fault_list()["the system says"].head(1).tolist()
    ['ENOSPC: No space left on device']
    """
    rows = [(f"{errno.errorcode[n]}: {os.strerror(n)}", *words) for n, words in FILE_FAULTS.items()]
    return Listing(rows, columns=["the system says", "that means", "what to do"])


def cause_list() -> Listing:
    """Return a row per cause that a poor hatch is weighed against: code, name, what it does to the counts.

    Examples
    --------
    >>> guide.cause_list().columns.tolist()
    ['code', 'cause', 'sign', 'source']
    """
    records = CAUSES.values() if isinstance(CAUSES, dict) else CAUSES
    rows = [tuple(str(getattr(c, name, "")) for name in ("code", "words", "sign", "source")) for c in records]
    return Listing(rows, columns=["code", "cause", "sign", "source"])


_PARTS = ("hatch", "charts", "agreement", "counting", "review", "day", "log", "reports", "guide", "practice")


def function_list() -> Listing:
    """Return a row per name that the parts offer to people who write Python, with the first line of its docstring.

    Read from the source: nothing is imported for it.

    Examples
    --------
    >>> functions = guide.function_list()
    >>> functions[functions["name"] == "hatch.hatching_percentage"]["does"].item()
    'Nauplii per hundred full cysts, H% = 100 N / (N + U + E).'
    """
    rows = []
    for part in _PARTS:
        folder = Path(__file__).parents[1] / part
        for names in ast.parse((folder / "__init__.pyi").read_text(encoding="utf-8")).body:
            module = folder.joinpath(*names.module.split(".")).with_suffix(".py")
            tree = ast.parse(module.read_text(encoding="utf-8"))
            docs = {n.name: ast.get_docstring(n) for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
            shown = sorted(name.name for name in names.names if docs.get(name.name))
            rows += [(f"{part}.{name}", " ".join(docs[name].split("\n\n")[0].split())) for name in shown]
    return Listing(sorted(rows), columns=["name", "does"])


def public_names() -> Listing:
    """Return a row per name that ``import qckit`` offers, with the first line of what it says of itself.

    Examples
    --------
    >>> guide.public_names()["name"].tolist()
    ['__version__', 'InputError', 'QcError', 'count_photo', 'count_photos', 'load_settings', 'load_site', 'open_log']
    """
    rows = []
    for name in qckit.__all__:
        thing = getattr(qckit, name)
        words = (thing.__doc__ or "").strip().splitlines()
        rows.append((name, "this version" if isinstance(thing, str) else words[0] if words else ""))
    return Listing(rows, columns=["name", "does"])
