"""The chapters: which there are, in what order, and what comes of running one."""

from __future__ import annotations

import ast
import contextlib
import io
import re
from dataclasses import dataclass, replace
from html import escape, unescape
from pathlib import Path

from qckit._paths import notebooks_dir
from qckit.errors import QcError, one_line
from qckit.reports.blocks import table

__all__ = ["Chapter", "Section", "read_chapters", "run_chapter"]

FOLDER = "handbook"


@dataclass(frozen=True)
class Chapter:
    """One chapter as it is written: file stem without its number, title, cells as (kind, source).

    ``code_is_open``: the code is the matter (``show_code`` in the notebook's metadata), so it is not folded.
    """

    name: str
    title: str
    cells: tuple[tuple[str, str], ...]
    code_is_open: bool = False


@dataclass(frozen=True)
class Section:
    """A heading with what follows it: its anchor, and its text for the search."""

    anchor: str
    title: str
    text: str


def read_chapters() -> list[Chapter]:
    """Read the chapters in their order (their file names begin with a number).

    Examples
    --------
    >>> guide.read_chapters()[0].name
    'first-hour'
    """
    return [_read(path) for path in sorted((notebooks_dir() / FOLDER).glob("[0-9][0-9]_*.ipynb"))]


def _read(path: Path) -> Chapter:
    import nbformat

    notebook = nbformat.read(path, as_version=4)
    cells = tuple((cell.cell_type, cell.source) for cell in notebook.cells if cell.source.strip())
    title = next(line[2:].strip() for kind, source in cells for line in source.splitlines() if line.startswith("# "))
    name = path.stem.split("_", 1)[1].replace("_", "-")
    return Chapter(name, title, cells, code_is_open=notebook.metadata.get("show_code") is True)


def run_chapter(chapter: Chapter) -> tuple[str, list[Section]]:
    """Run a chapter's cells one after the other, in this interpreter.

    Parameters
    ----------
    chapter : Chapter

    Returns
    -------
    tuple
        The chapter as HTML, and its sections. A cell that fails with an error of the kit shows its sentence: chapters
        show errors on purpose, too.
    """
    import matplotlib

    matplotlib.use("agg")
    names: dict = {"__name__": "__main__"}
    parts, sections = [], []
    for kind, source in chapter.cells:
        if kind == "markdown":
            html, found = _prose(source)
            sections += found
            parts.append(f'<div class="text">{html}</div>')
        else:
            fold = f'<details class="guide-code"{" open" if chapter.code_is_open else ""}><summary>Code</summary>'
            parts.append(f"{fold}<pre>{escape(source)}</pre></details>")
            parts.append(_shown(source, names))
            if sections and (words := _text(parts[-1])):  # tables are searched too
                sections[-1] = replace(sections[-1], text=f"{sections[-1].text} {words}")
    return "\n".join(parts), sections


def _prose(source: str) -> tuple[str, list[Section]]:
    from nbconvert.filters.markdown import markdown2html

    html = markdown2html(source)
    html = re.sub(r'<a class="anchor-link"[^>]*>.*?</a>', "", html)
    sections: list[Section] = []
    pieces = re.split(r"(<h[123][^>]*>.*?</h[123]>)", html, flags=re.DOTALL)
    out = [pieces[0]]
    for heading, body in zip(pieces[1::2], pieces[2::2], strict=True):
        level, title = heading[2], _text(heading)
        anchor = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
        sections.append(Section(anchor, title, _text(body)))
        inner = re.sub(r"^<h[123][^>]*>|</h[123]>$", "", heading)
        out.append(f'<h{level} id="{anchor}">{inner}</h{level}>{body}')
    if not sections and _text(html):
        sections.append(Section("", "", _text(html)))
    return "".join(out), sections


def _text(html: str) -> str:
    html = re.sub(r"<(style|svg|math)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def _shown(source: str, names: dict) -> str:
    """Run one cell and return what it shows: what it prints, and the value of its last line."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    printed = io.StringIO()
    value, failed = None, ""
    with contextlib.redirect_stdout(printed):
        try:
            exec(compile(tree, "<cell>", "exec"), names)
            if last is not None and not source.rstrip().endswith(";"):
                value = eval(compile(ast.Expression(last.value), "<cell>", "eval"), names)
        except QcError as error:
            failed = f'<pre class="failed">{escape(one_line(error))}</pre>'
    text = f"<pre>{escape(printed.getvalue())}</pre>" if printed.getvalue().strip() else ""
    return text + _html_of(value) + failed


def _html_of(value) -> str:
    import pandas as pd

    if value is None:
        return ""
    if isinstance(value, pd.DataFrame):
        return table(value, limit=len(value)).html
    if hasattr(value, "_repr_html_"):
        return value._repr_html_()
    return f"<pre>{escape(repr(value))}</pre>"
