"""The handbook as pages: a page a chapter, contents with a search, and all of it on one page to print."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from html import escape
from pathlib import Path

from qckit import __version__
from qckit.directions import isolate_names
from qckit.files import write_whole
from qckit.guide.chapters import Chapter, Section, read_chapters, run_chapter
from qckit.reports.blocks import PAGE_FOLDER

__all__ = ["fingerprint", "write_guide"]

_HERE = Path(__file__).parent


def fingerprint() -> str:
    """Return a short text that changes with the chapters and the version: pages written before need not be again."""
    digest = hashlib.sha256(__version__.encode())
    for chapter in read_chapters():
        digest.update(repr(chapter).encode())
    for name in ("guide.css", "search.js"):
        digest.update((_HERE / name).read_bytes())
    return digest.hexdigest()[:16]


def write_guide(folder: str | Path, *, progress: Callable | None = None) -> Path:
    """Run every chapter and write the handbook's pages.

    Parameters
    ----------
    folder : path
        Made where it is missing; pages of the same name in it are replaced.
    progress : callable, optional
        Called as ``progress(done, total, title)``.

    Returns
    -------
    Path
        The page with the contents, ``index.html``; ``all.html`` beside it holds every chapter, for paper.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    found = read_chapters()
    ran: list[tuple[Chapter, str, list[Section]]] = []
    for i, chapter in enumerate(found):
        if progress:
            progress(i, len(found), chapter.title)
        ran.append((chapter, *run_chapter(chapter)))
    for i, (chapter, html, _) in enumerate(ran):
        before, after = (ran[j][0] if 0 <= j < len(ran) else None for j in (i - 1, i + 1))
        links = _links(before, after)
        write_whole(folder / f"{chapter.name}.html", _page(chapter.title, links + _article(chapter, html) + links))
    write_whole(folder / "all.html", _page("qckit handbook", "\n".join(_apart(c, html) for c, html, _ in ran)))
    index = folder / "index.html"
    write_whole(index, _page("qckit handbook", _contents(ran), script=_search(ran)))
    write_whole(folder / "fingerprint.txt", fingerprint())
    if progress:
        progress(len(found), len(found), "")
    return index


def _links(before: Chapter | None, after: Chapter | None) -> str:
    parts = ['<a href="index.html">Contents</a>']
    if before:
        parts.insert(0, f'<a rel="prev" href="{before.name}.html">◀ {escape(before.title)}</a>')
    if after:
        parts.append(f'<a rel="next" href="{after.name}.html">{escape(after.title)} ▶</a>')
    return f'<nav class="guide-nav" aria-label="Chapters">{" ".join(parts)}</nav>'


def _apart(chapter: Chapter, html: str) -> str:
    """A chapter on the page that holds all: anchors of its headings carry its name, so that none stands twice."""
    return _article(chapter, re.sub(r'(<h\d id=")', rf"\g<1>{chapter.name}-", html))


def _article(chapter: Chapter, html: str) -> str:
    return f'<article class="guide-chapter guide-{chapter.name}">{html}</article>'


def _contents(ran) -> str:
    items = []
    for chapter, _, sections in ran:
        inner = "".join(
            f'<li><a href="{chapter.name}.html#{s.anchor}">{escape(s.title)}</a></li>' for s in sections[1:] if s.anchor
        )
        sub = f"<ul>{inner}</ul>" if inner else ""
        items.append(f'<li><a href="{chapter.name}.html">{escape(chapter.title)}</a>{sub}</li>')
    return (
        "<h1>qckit handbook</h1>"
        '<p><label for="search">Search </label><input id="search" type="search" autocomplete="off" '
        'placeholder="a word, such as T90 or scale"> <a href="all.html">All chapters on one page, to print</a></p>'
        '<p id="found" role="status" aria-live="polite"></p><ol id="results" hidden></ol>'
        f'<ol id="contents" class="guide-contents">{"".join(items)}</ol>'
        "<p>Figures and tables in the chapters come from the invented demo site: nothing in it was measured.</p>"
    )


def _search(ran) -> str:
    """The search's own data and code, inside the page: nothing is fetched."""
    entries = [
        {
            "page": f"{c.name}.html{'#' + s.anchor if s.anchor else ''}",
            "chapter": c.title,
            "title": s.title,
            "text": s.text,
        }
        for c, _, sections in ran
        for s in sections
    ]
    data = json.dumps(entries, ensure_ascii=False).replace("</", "<\\/")
    return f"<script>const SECTIONS = {data};\n{(_HERE / 'search.js').read_text(encoding='utf-8')}</script>"


def _page(title: str, body: str, *, script: str = "") -> str:
    files = [PAGE_FOLDER / "page.css", PAGE_FOLDER / "pieces.css", _HERE / "guide.css"]
    css = "\n".join(path.read_text(encoding="utf-8") for path in files)
    policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'" + (
        "; script-src 'unsafe-inline'" if script else ""
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f"<title>{escape(title)}</title><style>{css}</style></head><body><main>{isolate_names(body)}</main>{script}"
        "</body></html>\n"
    )
