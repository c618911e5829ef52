"""The page that lists a site's reports."""

from __future__ import annotations

import json
from html import escape
from pathlib import Path
from types import SimpleNamespace

from qckit.directions import isolate_names, isolated
from qckit.files import write_whole
from qckit.log.site_dates import SiteDates
from qckit.reports.blocks import PAGE_FOLDER, icon, tone_of
from qckit.reports.findings import FINDINGS_FILE
from qckit.settings import load_settings

__all__ = ["REPORTS_FOLDER", "reports_of", "write_index"]

REPORTS_FOLDER = "reports"
_HEADINGS = {"new-lot": "New lots", "month": "Monthly reviews", "poor-hatch": "Poor hatches"}


def reports_of(site: str | Path) -> list[dict]:
    """Return the findings of every report of a site, newest first, each with its folder's name under ``folder``.

    Examples
    --------
    >>> reports.reports_of(log.new_site("room-8"))
    []
    """
    found = []
    for path in sorted((Path(site) / REPORTS_FOLDER).glob(f"*/{FINDINGS_FILE}")):
        if path.parent.name.startswith("."):
            continue
        try:
            found.append(json.loads(path.read_text(encoding="utf-8")) | {"folder": path.parent.name})
        except (OSError, ValueError):
            continue  # a file somebody edited by hand must not keep the others from being listed
    return sorted(found, key=lambda f: (str(f.get("made", "")), f["folder"]), reverse=True)


def write_index(site: str | Path) -> Path:
    """Write the page that lists a site's reports, and return its path.

    Examples
    --------
    >>> reports.write_index(log.new_site("room-9")).name
    'index.html'
    """
    site = Path(site)
    settings, found = load_settings(site), reports_of(site)
    name, dates = settings.site.name, SiteDates(settings)
    kinds = [*_HEADINGS, *sorted({str(f.get("kind")) for f in found} - set(_HEADINGS))]
    sections = []
    for kind in kinds:
        rows = [f for f in found if f.get("kind") == kind]
        if rows:
            sections.append(
                f'<section class="text"><h2>{escape(_HEADINGS.get(kind, kind))}</h2><ul class="reports">'
                + "".join(_row(row, dates) for row in rows)
                + "</ul></section>"
            )
    css = "\n".join((PAGE_FOLDER / f).read_text(encoding="utf-8") for f in ("page.css", "pieces.css", "index.css"))
    page = _PAGE.format(
        title=escape(f"Reports of {name}"),
        css=css,
        sections="".join(sections) or "<p>There is no report yet. Make one with <code>qckit report</code>.</p>",
    )
    path = site / REPORTS_FOLDER / "index.html"
    write_whole(path, dates.page(isolate_names(page)))
    return path


def _row(found: dict, dates: SiteDates) -> str:
    details = found.get("details") or {}
    tone = tone_of(SimpleNamespace(details=details, verdict=str(found.get("verdict", ""))))
    verdict = str(details.get("verdict_words") or str(found.get("verdict", "")).replace("-", " "))
    return (
        f'<li class="qc-{tone}">{icon(tone)}<div><a href="{escape(found["folder"])}/report.html">'
        f"{isolated(found.get('subject', ''))}</a> <strong>{escape(verdict)}</strong>"
        f"<p>{isolated(dates.text(str(found.get('headline', ''))))}</p>"
        f'<p class="made">{escape(str(found.get("made", ""))[:16])}</p>'
        "</div></li>"
    )


_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>{title}</title>
<style>
{css}
</style>
</head>
<body>
<main>
<h1><bdi>{title}</bdi></h1>
{sections}
</main>
</body>
</html>
"""
