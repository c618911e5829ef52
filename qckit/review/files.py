"""Where a logged photo lies on the disk, and whether it is still the photo that was counted."""

from __future__ import annotations

import hashlib
from pathlib import Path

from qckit.errors import InputError
from qckit.log.photo_files import lies_inside, same_letters

__all__ = ["find_photo_file"]


def find_photo_file(folder: str | Path, photo: str, *, sha256: str = "") -> Path:
    """Find the file of a photo inside a site.

    Parameters
    ----------
    folder : path
        The site folder; photos lie in its ``photos`` folder, at any depth.
    photo : str
        Name in the log.
    sha256 : str
        Checked when given.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        There is no such file, or none whose content is what was counted.

    Examples
    --------
    >>> review.find_photo_file(site.folder, picture.name).name
    'k-121_a_1.jpg'
    """
    folder = Path(folder)
    tried, name = [folder / "photos" / photo, folder / photo], same_letters(Path(photo).name)
    tried += sorted(p for p in (folder / "photos").rglob("*") if same_letters(p.name) == name)
    there = [p for p in dict.fromkeys(tried) if lies_inside(folder, p)]
    if not there:
        raise InputError(f"photo {photo!r} is not in {folder / 'photos'}. Copy it back there.")
    for path in there:
        if not sha256 or hashlib.sha256(path.read_bytes()).hexdigest() == sha256:
            return path
    raise InputError(
        f"{there[0]}: this is not the photo that was counted (its content has changed). Put the original "
        "back, or count it again."
    )
