"""Pages of reports as files: which file is the page that the log says was made, and whether it still is that page."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from qckit.files import safe_name

__all__ = ["EARLIER", "Page", "findings_in", "keep_earlier", "page_sum", "pages_of", "report_name", "trace_pages"]

REPORTS_FOLDER = "reports"
EARLIER = "earlier"
"""Folder in ``reports/`` with pages that were made again since, as they were."""

_FILES = ("findings.json", "report.html")
_SUM_DIGITS = 32
_OLD_DIGITS = 8  # reports of earlier versions carry the start of their findings' SHA-256 alone


def page_sum(folder: Path) -> str:
    """Return what the log keeps of a page: the first digits of the SHA-256 of its findings and its page, joined.

    The same as ``cat findings.json report.html | sha256sum``.
    """
    return hashlib.sha256(b"".join((folder / name).read_bytes() for name in _FILES)).hexdigest()[:_SUM_DIGITS]


def report_name(folder: Path, made_at: str) -> str:
    """Return the name under which the log enters a page."""
    return f"{folder.name} {made_at} {page_sum(folder)}"


def keep_earlier(result: Path, folder: Path) -> Path | None:
    """Lay the page of a folder aside before another takes its place.

    Parameters
    ----------
    result : Path
        The new page's folder.
    folder : Path
        Of the page that stands, in ``reports/``.

    Returns
    -------
    Path or None
        Where the earlier page is kept; None where there is none, or the new one is the same.
    """
    if not all((folder / name).is_file() for name in _FILES):
        return None
    digits = page_sum(folder)
    if digits == page_sum(result):
        return None
    made = re.sub(r"[^0-9TZ+-]", "", str(findings_in(folder).get("made", "")).replace("+00:00", "Z"))
    target = folder.parent / EARLIER / folder.name / safe_name(f"{made}-{digits[:8]}")
    if not target.exists():
        target.mkdir(parents=True)
        for name in _FILES:
            shutil.copy2(folder / name, target / name)
    return target


def findings_in(folder: Path) -> dict:
    """Return the findings of a page's folder; none where they cannot be read."""
    try:
        found = json.loads((folder / _FILES[0]).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


@dataclass(frozen=True)
class Page:
    """A page in a site's ``reports/``: its folder, its findings, and the two sums by which the log knows it."""

    folder: Path
    findings: dict
    sums: tuple[str, str]

    @property
    def place(self) -> str:
        """Where it lies in the site, as commands and pages write it."""
        at = self.folder.parts[::-1].index(REPORTS_FOLDER)
        return "/".join([*self.folder.parts[-at - 1 :], _FILES[1]])

    @property
    def made(self) -> tuple[str, str]:
        """Name and time of the page."""
        is_earlier = self.folder.parent.parent.name == EARLIER
        return (self.folder.parent.name if is_earlier else self.folder.name), str(self.findings.get("made", ""))


def pages_of(site: Path) -> list[Page]:
    """Return every page that lies in a site's ``reports/``, those that stand and the earlier ones."""
    top = site / REPORTS_FOLDER
    found = []
    for path in sorted([*top.glob(f"*/{_FILES[0]}"), *top.glob(f"{EARLIER}/*/*/{_FILES[0]}")]):
        folder = path.parent
        if folder.name.startswith(".") or not (folder / _FILES[1]).is_file():
            continue
        of_findings = hashlib.sha256(path.read_bytes()).hexdigest()[:_OLD_DIGITS]
        found.append(Page(folder, findings_in(folder), (page_sum(folder), of_findings)))
    return found


def trace_pages(reports: pd.DataFrame, pages: list[Page]) -> pd.DataFrame:
    """Find the page of each report in the log.

    Parameters
    ----------
    reports : DataFrame, shape (n, any)
        Columns of the reports table.
    pages : list of Page
        From :func:`pages_of`.

    Returns
    -------
    DataFrame, shape (n, 3)
        report; state: ``as made``, ``changed``, ``gone``, or empty where the log holds nothing to tell it by; place,
        empty where it is gone.
    """
    by_sum = {(page.made[0], digits): page for page in pages for digits in page.sums}
    by_made = {page.made: page for page in pages}
    rows = []
    for report in reports["report"]:
        name, made, digits = [*str(report).rsplit(" ", 2), "", ""][:3]
        page, state = by_sum.get((name, digits)), "as made"
        if page is None:
            page = by_made.get((name, made))
            state = "changed" if page is not None else "gone" if len(digits) == _SUM_DIGITS else ""
        rows.append((report, state, page.place if page is not None else ""))
    return pd.DataFrame(rows, columns=["report", "state", "place"])
