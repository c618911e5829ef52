"""An executed notebook as one HTML page that needs nothing else."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import TYPE_CHECKING

from qckit.directions import isolate_names, keep_units
from qckit.reports.blocks import PAGE_FOLDER, STYLE_MARK

if TYPE_CHECKING:
    from qckit.log.site_dates import SiteDates

__all__ = ["page_html"]


def page_html(
    notebook, *, title: str, made: str, parameters, versions, photos, records=None, dates: SiteDates | None = None
) -> str:
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
    records : dict, optional
        Step and seal of the log the page was made from, for the foot.
    dates : SiteDates, optional
        How every date of the page is written; as it is kept when left out.

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
            "records": records,
        }
    }
    html, _ = exporter.from_notebook_node(_without_live_parts(notebook), resources=resources)
    html = keep_units(isolate_names(html))
    return html if dates is None else dates.page(html)


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
