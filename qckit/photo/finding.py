"""Which files are meant: folders opened, hidden files left out, names kept apart when two are alike."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from qckit.errors import InputError

__all__ = ["SUFFIXES", "drawn_folders", "find_photos", "photo_names"]

SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".bmp", ".webp")
"""File endings looked for in a folder. A file named outright is tried whatever its ending."""


DRAWN = "checked"
"""Folder of pictures that the kit drew; never searched for photos."""


def find_photos(paths: Iterable[str | Path], *, results: str | Path | None = None) -> list[Path]:
    """List the photo files meant by names of files and folders.

    Parameters
    ----------
    paths : iterable of path
        Files are taken as they are; folders are searched with their subfolders for the endings in ``SUFFIXES``.
        Hidden files and folders (a leading dot) are left out, and so are folders of pictures that the kit drew.
    results : path, optional
        Folder of the count's results: not searched where it lies in a folder that is.

    Returns
    -------
    list of Path
        In the order given, each folder's files by name, none twice. Links, pipes and what else has a photo's ending
        are listed too, so that reading them says what is wrong.

    Raises
    ------
    InputError
        A path does not exist, or a folder holds no photo.

    Examples
    --------
    >>> photos = photo.find_photos([sample_images_dir() / "photos"])
    >>> photos[0].name
    'k-121_a_1.jpg'
    """
    found: dict[Path, Path] = {}
    for given in paths:
        path = Path(given)
        if path.is_dir():
            inside = sorted(_photos_in(path, _apart(results, path)))
            if not inside:
                raise InputError(
                    f"{path}: no photo in this folder. Looked for {', '.join(SUFFIXES)}; name the files "
                    f"or another folder."
                )
        elif path.exists() or path.is_symlink():
            inside = [path]
        else:
            raise InputError(f"{path}: no such file or folder. Check the name.")
        for p in inside:
            found.setdefault(_real(p), p)
    return list(found.values())


def drawn_folders(paths: Iterable[str | Path], *, results: str | Path | None = None) -> list[Path]:
    """List the folders with pictures in them that :func:`find_photos` leaves out, the results' own not among them.

    Examples
    --------
    >>> photo.drawn_folders([sample_images_dir() / "photos"])
    []
    """
    found = []
    for given in map(Path, paths):
        for here, names, _ in os.walk(given) if given.is_dir() else ():
            place = Path(here)
            apart = _apart(results, given)
            names[:] = [n for n in names if not n.startswith(".") and (apart is None or place / n != apart)]
            is_results = results is not None and _real(place) == _real(Path(results))
            for name in [n for n in names if n.casefold() == DRAWN]:
                names.remove(name)
                if not is_results and any(_photos_in(place / name, None)):
                    found.append(place / name)
    return found


def _real(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError):  # links in a ring
        return _absolute(path)


def _absolute(path: str | Path) -> Path:
    """Whole path without following links."""
    return Path(os.path.normpath(Path(path).absolute()))


def _apart(results: str | Path | None, top: Path) -> Path | None:
    """Where the results lie below a folder to be searched, as the search names it; None where they do not."""
    if results is None:
        return None
    inside = _real(Path(results))
    return top / inside.relative_to(_real(top)) if inside != _real(top) and inside.is_relative_to(_real(top)) else None


def _photos_in(top: Path, apart: Path | None) -> Iterator[Path]:
    """Visible files with a photo's ending."""
    for here, folders, files in os.walk(top):
        place = Path(here)
        folders[:] = sorted(
            f
            for f in folders
            if not f.startswith(".") and f.casefold() != DRAWN and (apart is None or place / f != apart)
        )
        for name in files:
            if Path(name).suffix.lower() in SUFFIXES and not name.startswith("."):
                yield place / name


def photo_names(paths: Iterable[str | Path]) -> list[str]:
    """Name each photo by its file name, with parent folders put before it where two would be called the same.

    Parameters
    ----------
    paths : iterable of path, length n
        Photo files; a link has its own name, not that of the file it leads to.

    Returns
    -------
    list of str, length n
        Unique, with ``/`` between folders; bytes that are not UTF-8 are written ``\\xe9``. Case is ignored when names
        from different folders are compared, since some file systems do.

    Examples
    --------
    >>> photo.photo_names(["day1/a.jpg", "day2/a.jpg", "b.jpg"])
    ['day1/a.jpg', 'day2/a.jpg', 'b.jpg']
    """
    parts = [_absolute(p).parts for p in paths]
    depth = [1] * len(parts)
    while True:
        names = ["/".join(p[-d:]).replace("\\", "/") for p, d in zip(parts, depth, strict=True)]
        groups: dict[str, list[int]] = {}
        for i, name in enumerate(names):
            groups.setdefault(name.casefold(), []).append(i)
        clashing = [
            i
            for members in groups.values()
            if len({parts[i][:-1] for i in members}) > 1
            for i in members
            if depth[i] < len(parts[i])
        ]
        if not clashing:
            return [os.fsencode(name).decode("utf-8", "backslashreplace") for name in names]
        for i in clashing:
            depth[i] += 1
