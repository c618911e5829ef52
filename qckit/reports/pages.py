"""An executed notebook as one HTML page that needs nothing else."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import TYPE_CHECKING

from qckit.directions import isolate_names, put_dates_in_order
from qckit.reports.blocks import PAGE_FOLDER, STYLE_MARK

if TYPE_CHECKING:
    from qckit.settings import Settings

__all__ = ["names_of", "page_html"]


def names_of(settings: Settings) -> set[str]:
    """Names of the log that may hold a date; none where dates are written as they are kept."""
    from qckit.log import open_log

    if settings.site.date_order == "ymd":
        return set()
    with open_log(settings.folder) as log:
        tables = {"lot": log.lots(), "hatch": log.hatches(), "sample": log.samples(), "photo": log.photos()}
        tables["certificate"] = log.certificates()
    return {str(name) for column, table in tables.items() for name in table[column]}


def page_html(notebook, *, title: str, made: str, parameters, versions, photos, date_order="ymd", names=()) -> str:
    """Return the page of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        With its outputs; it is not changed.
    title : str
        For the window and for lists.
    made : str
        A sentence on when and by what the page was made.
    parameters, versions : list of (str, str)
        For the foot.
    photos : list of dict
        Keys photo and sha256, for the foot.
    date_order : {"ymd", "dmy", "mdy"}
        The site's: how every date of the page is written.
    names : iterable of str
        Those of :func:`names_of`, which stay as they are.

    Returns
    -------
    str
        HTML with inline styles and pictures, without scripts or links to elsewhere.
    """
    from nbconvert.exporters import HTMLExporter

    css = "\n".join((PAGE_FOLDER / name).read_text(encoding="utf-8") for name in ("page.css", "pieces.css"))
    exporter = HTMLExporter(
        extra_template_basedirs=[str(Path(PAGE_FOLDER).parent)],
        template_name=PAGE_FOLDER.name,
        exclude_input=False,  # the template leaves inputs out; excluding them here would also drop their outputs' cells
        embed_images=False,
    )
    resources = {
        "qckit": {
            "title": title,
            "made": made,
            "css": css,
            "parameters": parameters,
            "versions": versions,
            "photos": photos,
        }
    }
    html, _ = exporter.from_notebook_node(_without_live_parts(notebook), resources=resources)
    return put_dates_in_order(isolate_names(html), date_order, names=names)


def _without_live_parts(notebook):
    """Drop what only a live notebook needs: widget state, and the style sheet that the page has in its head."""
    notebook = copy.deepcopy(notebook)
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            text = data.get("text/html", "")
            if text.startswith(STYLE_MARK):
                data["text/html"] = text[text.index("</style>") + len("</style>") :]
    return notebook
