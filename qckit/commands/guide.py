"""``qckit guide``: the handbook as pages."""

from __future__ import annotations

from pathlib import Path

import click

from qckit.errors import unknown_name


@click.command("guide")
@click.argument("chapter", default="")
@click.option("--out", type=click.Path(), default="", help="Folder for the pages; your own cache folder if left out.")
@click.option("--browser/--no-browser", default=True, help="Open the pages, or only say where they are.")
@click.option("--anew", is_flag=True, help="Make the pages anew although they are there.")
def command(chapter, out, browser, anew):
    """Show the handbook: contents that can be searched, a page a chapter, one page to print.

    CHAPTER opens that chapter, such as first-hour. The first call makes the pages (about a minute): their pictures and
    tables are the chapters' own cells, run on the invented demo site.
    """
    import webbrowser

    from qckit.guide.chapters import read_chapters
    from qckit.guide.example import cache_folder
    from qckit.guide.pages import fingerprint, write_guide
    from qckit.progress import counted

    names = [c.name for c in read_chapters()]
    if chapter and chapter not in names:
        raise unknown_name("chapter", chapter, names)
    folder = Path(out) if out else cache_folder() / "pages"
    mark = folder / "fingerprint.txt"
    if anew or not mark.is_file() or mark.read_text(encoding="utf-8") != fingerprint():
        write_guide(folder, progress=counted("Making the handbook", "chapter"))
    page = folder / (f"{chapter}.html" if chapter else "index.html")
    click.echo(str(page))
    if browser:
        webbrowser.open(page.resolve().as_uri())
