"""Which files are meant: folders opened, hidden files left out, names kept apart when two are alike."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from qckit.errors import InputError

__all__ = ["SUFFIXES", "find_photos", "photo_names"]

SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".bmp", ".webp")
"""File endings looked for in a folder. A file named outright is tried whatever its ending."""


def find_photos(paths: Iterable[str | Path]) -> list[Path]:
    """List the photo files meant by names of files and folders.

    Parameters
    ----------
    paths : iterable of path
        Files are taken as they are; folders are searched with their subfolders for the endings in ``SUFFIXES``.
        Hidden files and folders (a leading dot) are left out.

    Returns
    -------
    list of Path
        In the order given, each folder's files by name, none twice.

    Raises
    ------
    InputError
        A path does not exist, or a folder holds no photo.
    """
    found: dict[Path, Path] = {}
    for given in paths:
        path = Path(given)
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if _is_photo(p, path))
            if not inside:
                raise InputError(
                    f"{path}: no photo in this folder. Looked for {', '.join(SUFFIXES)}; name the files "
                    f"or another folder."
                )
        elif path.exists():
            inside = [path]
        else:
            raise InputError(f"{path}: no such file or folder. Check the name.")
        for p in inside:
            found.setdefault(p.resolve(), p)
    return list(found.values())


def _is_photo(path: Path, top: Path) -> bool:
    """A visible file with a photo's ending."""
    hidden = any(part.startswith(".") for part in path.relative_to(top).parts)
    return path.suffix.lower() in SUFFIXES and not hidden and path.is_file()


def photo_names(paths: Iterable[str | Path]) -> list[str]:
    """Name each photo by its file name, with parent folders put before it where two would be called the same.

    Parameters
    ----------
    paths : iterable of path, length n
        Photo files.

    Returns
    -------
    list of str, length n
        Unique, with ``/`` between folders. Case is ignored when names are compared, since some file systems do.
    """
    parts = [Path(p).resolve().parts for p in paths]
    depth = [1] * len(parts)
    while True:
        names = ["/".join(p[-d:]).replace("\\", "/") for p, d in zip(parts, depth, strict=True)]
        groups: dict[str, list[int]] = {}
        for i, name in enumerate(names):
            groups.setdefault(name.casefold(), []).append(i)
        clashing = [i for members in groups.values() if len(members) > 1 for i in members if depth[i] < len(parts[i])]
        if not clashing:
            return names
        for i in clashing:
            depth[i] += 1
