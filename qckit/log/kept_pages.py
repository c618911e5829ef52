"""Pages of reports as files: which file is the page that the log says was made, and whether it still is that page."""

from __future__ import annotations

import filecmp
import hashlib
import json
import os
import re
import shutil
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from qckit.files import safe_name, whole

__all__ = [
    "EARLIER",
    "EarlierPages",
    "Page",
    "earlier_pages",
    "findings_in",
    "keep_earlier",
    "pack_earlier",
    "page_sum",
    "pages_of",
    "report_name",
    "share_pictures",
    "trace_pages",
]

REPORTS_FOLDER = "reports"
EARLIER = "earlier"
"""Folder in ``reports/`` with pages that were made again since, as they were."""

PICTURES = "checked"
"""Folder of a report with the pictures that its page links to."""

_FILES = ("findings.json", "report.html")
_LARGEST = 200 * 2**20  # bytes of a page: more in a zip is none of the kit's
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
    """Lay the page of a folder aside before another takes its place, with the pictures that it links to.

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
        for picture in _pictures(folder):
            _share(picture, target / PICTURES / picture.name)
    return target


def share_pictures(earlier: Path, folder: Path) -> None:
    """Let a page and the one before it have the pictures that are the same in both on the disk once."""
    for picture in _pictures(earlier):
        same = folder / PICTURES / picture.name
        if same.is_file() and not same.samefile(picture) and filecmp.cmp(picture, same, shallow=False):
            passing = same.with_name(f".{same.name}")
            _share(picture, passing)
            passing.replace(same)


def _pictures(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / PICTURES).glob("*") if path.is_file())


def _share(picture: Path, target: Path) -> None:
    """Give a file a second name; a copy where the file system knows no such thing."""
    target.parent.mkdir(exist_ok=True)
    try:
        os.link(picture, target)
    except OSError:
        shutil.copy2(picture, target)


def findings_in(folder: Path) -> dict:
    """Return the findings of a page's folder; none where they cannot be read."""
    try:
        return _findings((folder / _FILES[0]).read_bytes())
    except OSError:
        return {}


def _findings(content: bytes) -> dict:
    try:
        found = json.loads(content.decode("utf-8"))
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


@dataclass(frozen=True)
class Page:
    """A page in a site's ``reports/``: its folder, its findings, and the two sums by which the log knows it.

    Of one that was packed, ``packed`` is the zip, and ``folder`` is where it lay.
    """

    folder: Path
    findings: dict
    sums: tuple[str, str]
    packed: Path | None = None

    @property
    def place(self) -> str:
        """Where it lies in the site, as commands and pages write it."""
        where = (self.packed / self.folder.name) if self.packed else self.folder
        at = where.parts[::-1].index(REPORTS_FOLDER)
        return "/".join([*where.parts[-at - 1 :], _FILES[1]])

    @property
    def made(self) -> tuple[str, str]:
        """Name and time of the page."""
        is_earlier = self.folder.parent.parent.name == EARLIER
        return (self.folder.parent.name if is_earlier else self.folder.name), str(self.findings.get("made", ""))

    def copy_to(self, reports: Path) -> None:
        """Copy it, with all that lies beside it, below another ``reports/``."""
        at = self.folder.parts[::-1].index(REPORTS_FOLDER)
        target = reports.joinpath(*self.folder.parts[len(self.folder.parts) - at :])
        if self.folder.is_dir():
            shutil.copytree(self.folder, target, dirs_exist_ok=True)
        if self.packed:
            target.mkdir(parents=True, exist_ok=True)
            with zipfile.ZipFile(self.packed) as archive:
                for name in _FILES:
                    (target / name).write_bytes(archive.read(f"{self.folder.name}/{name}"))


def pages_of(site: Path) -> list[Page]:
    """Return every page that lies in a site's ``reports/``: those that stand, the earlier ones and the packed ones."""
    top = site / REPORTS_FOLDER
    found = []
    for path in sorted([*top.glob(f"*/{_FILES[0]}"), *top.glob(f"{EARLIER}/*/*/{_FILES[0]}")]):
        folder = path.parent
        if folder.name.startswith(".") or not (folder / _FILES[1]).is_file():
            continue
        of_findings = hashlib.sha256(path.read_bytes()).hexdigest()[:_OLD_DIGITS]
        found.append(Page(folder, findings_in(folder), (page_sum(folder), of_findings)))
    for path in sorted(top.glob(f"{EARLIER}/*.zip")):
        found += _pages_in(path)
    return found


def _pages_in(path: Path) -> list[Page]:
    """Pages of one zip of earlier ones; none where it cannot be read, and then they are gone."""
    found = []
    try:
        with zipfile.ZipFile(path) as archive:
            names = {info.filename for info in archive.infolist() if info.file_size <= _LARGEST}
            for stamp in sorted(name.partition("/")[0] for name in names if name.endswith(f"/{_FILES[0]}")):
                if f"{stamp}/{_FILES[1]}" in names and safe_name(stamp) == stamp:
                    findings, page = (archive.read(f"{stamp}/{name}") for name in _FILES)
                    sums = hashlib.sha256(findings + page).hexdigest()[:_SUM_DIGITS], hashlib.sha256(findings)
                    folder = path.with_suffix("") / stamp
                    found.append(Page(folder, _findings(findings), (sums[0], sums[1].hexdigest()[:_OLD_DIGITS]), path))
    except (OSError, zipfile.BadZipFile, zlib.error, RuntimeError):  # RuntimeError: a password, or another packing
        return []
    return found


@dataclass(frozen=True)
class EarlierPages:
    """How many pages lie in ``reports/earlier``, packed or not, and the room they take on the disk. [bytes]"""

    n: int
    n_bytes: int


def earlier_pages(site: Path) -> EarlierPages:
    """Count the pages that were made again since; pictures that a page shares with another are counted once."""
    top = site / REPORTS_FOLDER / EARLIER
    n, sizes = len(list(top.glob(f"*/*/{_FILES[0]}"))), {}
    for path in top.rglob("*"):
        if path.is_file():
            about = path.stat()
            sizes[(about.st_dev, about.st_ino) if about.st_ino else path] = about.st_size
    return EarlierPages(n + sum(len(_pages_in(path)) for path in top.glob("*.zip")), sum(sizes.values()))


def pack_earlier(site: Path) -> int:
    """Put the pages of ``reports/earlier`` into a zip for each report; return how many were packed.

    Nothing is lost: a page is taken out of its folder only once the zip on the disk gives back the same bytes, its
    pictures stay where they are, and history, check and evidence read the page in the zip.
    """
    packed = 0
    for folder in sorted(path for path in (site / REPORTS_FOLDER / EARLIER).glob("*") if path.is_dir()):
        loose = [path.parent for path in sorted(folder.glob(f"*/{_FILES[0]}")) if (path.parent / _FILES[1]).is_file()]
        if not loose:
            continue
        target = folder.with_name(f"{folder.name}.zip")
        with whole(target) as passing:
            if target.exists():
                shutil.copy2(target, passing)
            with zipfile.ZipFile(passing, "a", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
                known = set(archive.namelist())
                for page in loose:
                    for name in _FILES:
                        if f"{page.name}/{name}" not in known:
                            archive.write(page / name, f"{page.name}/{name}")
        sums = {page.folder.name: page.sums[0] for page in _pages_in(target)}
        for page in loose:
            if sums.get(page.name) != page_sum(page):
                continue  # it was changed since another of its name was packed: both stay, and the check tells of it
            for name in _FILES:
                (page / name).unlink()
            packed += 1
            if not any(page.iterdir()):
                page.rmdir()
        if not any(folder.iterdir()):
            folder.rmdir()
    return packed


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
