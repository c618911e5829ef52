"""Photos that a sheet names: the names in a cell, and the file of each inside the site."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path, PurePosixPath

__all__ = ["find_photo", "leads_out", "lies_inside", "photo_names", "same_letters"]


def photo_names(text) -> list[str]:
    """Split a samples row's ``photos`` into file names."""
    return [part.strip() for part in str(text).split(";") if part.strip()] if text == text and text else []


def same_letters(name: str) -> str:
    """Give a file name with each accented letter as one sign: some systems hand them out as letter and accent."""
    return unicodedata.normalize("NFC", name)


def find_photo(folder: str | Path, name: str) -> Path | None:
    """Find a photo's file in a site: under the name itself, or by its file name anywhere in ``photos/``.

    Returns
    -------
    Path or None
        None when it is missing; a name that leads out of the site is never followed.
    """
    folder = Path(folder)
    for start in (folder / "photos", folder):
        if lies_inside(folder, start / name):
            return start / name
    file_name = name.replace("\\", "/").rsplit("/", 1)[-1]
    if not file_name or file_name in (".", ".."):
        return None
    is_same = same_letters(file_name)
    matches = [p for p in (folder / "photos").rglob("*") if same_letters(p.name) == is_same and lies_inside(folder, p)]
    return matches[0] if len(matches) == 1 else None


def leads_out(name: str) -> bool:
    """Tell whether a photo's name, as a sheet gives it, leads out of the site by itself, or to the web."""
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return ".." in parts or parts[:1] in (("/",), ("//",)) or re.match(r"[A-Za-z]:|[A-Za-z]+://", name) is not None


def lies_inside(folder: Path, path: Path) -> bool:
    """Tell of a file that lies in the site, links followed; the folder of photos may itself be a link."""
    try:
        real = path.resolve()
        tops = (folder.resolve(), (folder / "photos").resolve())
        return any(real.is_relative_to(top) for top in tops) and real.is_file()
    except (OSError, ValueError, RuntimeError):  # a name that no disk can hold, links in a ring
        return False
