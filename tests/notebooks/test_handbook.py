"""The handbook: clean chapters, every chapter runs, lists that follow the code."""

import ast
import re
import shlex
from html import escape
from pathlib import Path

import nbformat
import pytest
from sources import parsed

from qckit import guide
from qckit._paths import notebooks_dir
from qckit.tables import TABLES

PATHS = sorted((notebooks_dir() / "handbook").glob("*.ipynb"))
CHAPTERS = {
    *("first-hour", "first-lot", "the-day", "the-month", "a-poor-hatch", "cameras-and-scale", "counting-by-eye"),
    *("what-the-figures-mean", "methods", "several-rooms", "python", "troubleshooting", "cautions", "reference"),
}


def test_every_chapter_is_there_in_order_with_a_title():
    found = guide.read_chapters()
    assert {c.name for c in found} == CHAPTERS
    assert found[0].name == "first-hour" and found[-1].name == "reference"
    assert len({c.title for c in found}) == len(found)


@pytest.mark.parametrize("path", PATHS, ids=lambda p: p.stem)
def test_a_chapter_is_clean(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    ids = [cell.id for cell in notebook.cells]
    assert len(ids) == len(set(ids))
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == [] and cell.execution_count is None
            kinds = {type(node) for node in ast.walk(parsed(cell.source))}
            assert not kinds & {ast.FunctionDef, ast.ClassDef, ast.For, ast.While, ast.Try}, cell.source
        assert "http" not in cell.source and "/home/" not in cell.source


def test_commands_named_in_the_handbook_exist():
    known = {re.sub(r" [\[A-Z].*", "", c) for c in guide.command_list()["command"]}
    groups = {c.rsplit(" ", 1)[0] for c in known}
    named = set()
    for path in PATHS:
        for cell in nbformat.read(path, as_version=4).cells:
            code = "; ".join(re.findall(r"`([^`]+)`", cell.source))
            named |= set(re.findall(r"qckit ((?:report|log|camera) [a-z-]+|[a-z]+)\b", code))
    commands = {f"qckit {name}" for name in named}
    assert len(commands) > 12
    assert commands - known - groups == set()


def test_options_named_in_the_handbook_exist():
    options = " ".join(guide.command_list()["options"])
    import click

    from qckit.cli import COMMANDS, command

    flags = set(re.findall(r"--[a-z][a-z-]+", options))
    context = click.Context(command)
    todo = [command.get_command(context, name) for name in COMMANDS]
    while todo:
        each = todo.pop()
        if isinstance(each, click.Group):
            todo += [each.get_command(context, name) for name in each.list_commands(context)]
        flags |= {o for p in each.params for o in (*p.opts, *p.secondary_opts)}
    for path in PATHS:
        text = " ".join(c.source for c in nbformat.read(path, as_version=4).cells if c.cell_type == "markdown")
        for code in re.findall(r"`([^`]+)`", text):
            assert set(re.findall(r"--[a-z][a-z-]+", code)) <= flags, (path.name, code)


def written_commands():
    """Every command line with its arguments of the README and the handbook, as words."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    chapters = [nbformat.read(path, as_version=4).cells for path in PATHS]
    for text in (readme, *(cell.source for cells in chapters for cell in cells if cell.cell_type == "markdown")):
        yield from (shlex.split(code)[1:] for code in re.findall(r"`(qckit [^`…]+)`", text) if "COMMAND" not in code)


def test_commands_written_with_their_arguments_can_be_typed_so():
    import click

    from qckit.cli import command

    looked_at = 0
    for words in written_commands():
        found, rest = command, list(words)
        while isinstance(found, click.Group) and rest:
            found = found.get_command(click.Context(command), rest.pop(0))
        if isinstance(found, click.Group) or not any(word[0] != "-" for word in rest[:1]):
            continue  # named without its arguments
        needed = {p.opts[-1] for p in found.params if isinstance(p, click.Option) and p.required}
        assert needed <= set(rest), f"qckit {' '.join(words)}: {needed - set(rest)} must be given"
        looked_at += 1
    assert looked_at > 20


def test_the_reference_follows_the_code():
    from qckit.cli import COMMANDS
    from qckit.counting.flags import FLAG_CODES

    commands = guide.command_list()
    assert {c.split()[1] for c in commands["command"]} == set(COMMANDS)
    assert (commands["does"].str.len() > 10).all()
    settings = guide.setting_list().set_index(["section", "setting"])
    assert settings.loc[("limits", "min_hatch_pct"), "default"] == "75.0"
    for table, columns in TABLES.items():
        assert list(guide.column_list(table)["column"]) == [c.name for c in columns]
    flags = guide.flag_list()
    assert list(flags["flag"]) == list(FLAG_CODES)
    assert (flags["what it says"].str.len() > 20).all()
    assert (guide.option_list()["meaning"].str.len() > 5).all() and len(guide.option_list()) > 60
    assert len(guide.cause_list()) > 10 and (guide.cause_list()["cause"].str.len() > 2).all()
    assert len(guide.metric_list()) > 4 and len(guide.rule_list()) > 4
    reference = next(c for c in guide.read_chapters() if c.name == "reference")
    shown = " ".join(source for _, source in reference.cells)
    missing = [name for name in TABLES if f'"{name}"' not in shown]
    assert missing == []  # a table that is added belongs into the reference


def test_the_public_names_say_what_they_do():
    import qckit

    names = guide.public_names().set_index("name")["does"]
    assert list(names.index) == qckit.__all__
    assert (names.str.len() > 8).all()


def test_an_unknown_chapter_is_answered_with_the_known():
    from click.testing import CliRunner

    from qckit.cli import command

    result = CliRunner().invoke(command, ["guide", "firsthour", "--no-browser"])
    assert "Did you mean 'first-hour'?" in str(result.exception)


@pytest.mark.slow
def test_every_chapter_runs_and_is_a_page_of_its_own(guide_pages):
    for name in CHAPTERS:
        html = (guide_pages / f"{name}.html").read_text(encoding="utf-8")
        assert "script-src" not in html and "<script" not in html
        failed = re.findall(r'class="failed">(.*?)</pre>', html, re.DOTALL)
        assert len(failed) == (name == "python"), failed  # that chapter shows an error on purpose
        if name != "reference":  # lists made from the code
            assert re.search(r'<img [^>]*src="data:image/', html), f"{name} has no picture of its own"
        folded = html.count('<details class="guide-code">')
        assert (folded == 0) == (name == "python"), name  # the code is what the chapter on Python shows
    whole = (guide_pages / "all.html").read_text(encoding="utf-8")
    assert whole.count('<article class="guide-chapter ') == len(CHAPTERS)
    headings = re.findall(r'<h\d id="([^"]+)"', whole)
    assert len(headings) == len(set(headings)) > 60
    assert (guide_pages / "first-hour.html").read_text(encoding="utf-8").count("<figure") >= 1


def test_lists_are_shown_whole_in_a_notebook():
    functions = guide.function_list()
    shown = functions._repr_html_()
    assert shown.count("<tr>") == len(functions) + 1 > 201
    longest = max(guide.flag_list()["what it says"], key=len)
    assert len(longest) > 60
    assert escape(longest, quote=False) in guide.flag_list()._repr_html_()
    columns = guide.command_list()[["command", "does"]]  # a part of a list is one too
    assert columns._repr_html_().count("<th ") == 2


def test_names_in_a_list_do_not_steer_a_line():
    shown = guide.reference.Listing({"lot": ["אב-12"]})._repr_html_()
    assert "<bdi>אב-12</bdi>" in shown
