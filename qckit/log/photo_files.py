"""Photos that a sheet names: the names in a cell, the file of each inside the site, and what cannot be counted."""

from __future__ import annotations

import hashlib
import math
import re
import shlex
import unicodedata
from pathlib import Path, PurePosixPath

import pandas as pd

from qckit.columns import listed_in
from qckit.errors import InputError, one_line
from qckit.log.problems import Doubt, mending

__all__ = [
    "SAME_SCALE",
    "content_sum",
    "counted_file_faults",
    "files_by_content",
    "find_photo",
    "leads_out",
    "lies_inside",
    "list_photos",
    "need_no_count",
    "photo_doubts",
    "recount_command",
    "same_letters",
    "with_reasons",
]


def same_letters(name: str) -> str:
    """Give a file name with each accented letter as one sign: some systems hand them out as letter and accent."""
    return unicodedata.normalize("NFC", name)


def list_photos(folder: str | Path) -> dict[str, list[Path]]:
    """Return what lies in a site's ``photos/`` and below, by file name: for looking up many photos."""
    listing: dict[str, list[Path]] = {}
    for path in (Path(folder) / "photos").rglob("*"):
        listing.setdefault(same_letters(path.name), []).append(path)
    return listing


def find_photo(folder: str | Path, name: str, listing: dict[str, list[Path]] | None = None) -> Path | None:
    """Find a photo's file in a site: under the name itself, or by its file name anywhere in ``photos/``.

    Parameters
    ----------
    folder : path
        Of the site.
    name : str
    listing : dict, optional
        From :func:`list_photos`; without it the folder is looked through.

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
    same = (list_photos(folder) if listing is None else listing).get(same_letters(file_name), [])
    matches = [path for path in same if lies_inside(folder, path)]
    return matches[0] if len(matches) == 1 else None


def content_sum(path: Path) -> str | None:
    """Return the SHA-256 of a file; None where it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def files_by_content(folder: str | Path, sums: set[str], listing: dict[str, list[Path]]) -> dict[str, Path]:
    """Find files of a site's ``photos/`` by what they hold, under whatever name: every file there is read.

    Parameters
    ----------
    folder : path
        Of the site.
    sums : set of str
        SHA-256 of what is looked for; of none no file is read.
    listing : dict
        From :func:`list_photos`.

    Returns
    -------
    dict of str to Path
        The first file of each SHA-256 that was found.
    """
    files = sorted(path for same in listing.values() for path in same) if sums else []
    found: dict[str, Path] = {}
    for path in files:
        if lies_inside(Path(folder), path) and (content := content_sum(path)) in sums:
            found.setdefault(content, path)
    return found


def counted_file_faults(folder: str | Path, photos: pd.DataFrame, *, read: bool) -> list[tuple]:
    """Find counted photos whose file is missing, cannot be read, has another name by now, or holds something else.

    Parameters
    ----------
    folder : path
        Of the site.
    photos : DataFrame, shape (n, any)
        Columns of the photos table.
    read : bool
        Read the files; without that only missing ones are found, and none by its content.

    Returns
    -------
    list of (str, str, str, str, str)
        Code (``missing photo``, ``changed photo``), severity, photo, what is wrong, and what to do.
    """
    listing = list_photos(folder)
    places = {row.photo: find_photo(folder, row.photo, listing) for row in photos.itertuples()}
    holds = {photo: content_sum(path) for photo, path in places.items() if path is not None and read}
    lost = [r for r in photos.itertuples() if places[r.photo] is None or (read and holds[r.photo] != r.sha256)]
    elsewhere = files_by_content(folder, {row.sha256 for row in lost}, listing) if read else {}
    found = []
    for row in lost:
        code, severity, what, remedy = _fault(row.photo, places, holds)
        if (other := elsewhere.get(row.sha256)) is not None:
            now = one_line(other.relative_to(Path(folder)).as_posix())
            what += f" under this name; {now} is that file (the same SHA-256)"
            remedy = f"Rename {now} back to {one_line(row.photo)}."
            if places[row.photo] is not None:
                remedy = f"Give the file that is {one_line(row.photo)} now its own name. {remedy}"
        found.append((code, severity, row.photo, what, remedy))
    return found


def _fault(photo: str, places: dict, holds: dict) -> tuple[str, str, str, str]:
    """Say what is wrong with the file under a photo's own name, and what to do where no other file is the photo."""
    if places[photo] is None:
        what = "its file is not in the site folder"
        return "missing photo", "look", what, "Put it back into photos/ from the camera or a backup."
    if holds[photo] is None:
        remedy = "Give yourself the right to read it, or put it back from a backup."
        return "missing photo", "look", "its file cannot be read", remedy
    remedy = "Put the original back, or count the changed photo under another name."
    return "changed photo", "wrong", "its file is not the one that was counted", remedy


SAME_SCALE = 0.005
"""Scales this near are one scale, rounded differently; the counted volume then differs by 1 % (our own choice)."""


def photo_doubts(
    folder: str | Path, samples: pd.DataFrame, photos: pd.DataFrame, *, named: list[tuple[str, str]], scale_known: bool
) -> list[tuple[str, Doubt]]:
    """Find samples whose photos cannot be counted as things are, or whose counts are not those of their photos.

    Parameters
    ----------
    folder : path
        Of the site.
    samples : DataFrame, shape (n, any)
        Columns of the samples table.
    photos : DataFrame, shape (m, any)
        Columns of the photos table: those that the log has counts of.
    named : list of (str, str)
        Sample and the photos it names, of every sample of the log that names some.
    scale_known : bool
        The site has one camera at one magnification, and its scale.

    Returns
    -------
    list of (str, Doubt)
        Each with its code: ``missing photo``, ``no scale``, ``photo of two samples``, ``other photos``,
        ``other scale``.
    """
    found = []
    listing, owners = None, {}
    for sample, cell in named:
        for name in listed_in(cell):
            owners.setdefault(name, []).append(sample)
    counted, of_sample = set(photos["photo"]), dict(list(photos.groupby("sample")))
    for row in samples[samples["photos"].notna()].itertuples():
        names = [name for name in listed_in(row.photos) if name not in counted]
        listing = list_photos(folder) if names and listing is None else listing
        for name in names:
            if find_photo(folder, name, listing) is None:
                what = f"names {one_line(name)}, which is not in the site folder"
                remedy = "Put it into photos/; or name the right one:  "
                remedy += mending("correct", "samples", row.sample, "photos", "NAMES")
                remedy += "  (several with ; between)" if "," in name else ""
                found.append(("missing photo", Doubt("samples", row.sample, what, remedy, "photos")))
        if not scale_known and pd.isna(row.nauplii) and pd.isna(row.um_per_px):
            what = f"waits for the count of {one_line(row.photos)}, and no scale is known"
            remedy = "Set the camera's scale with  qckit camera;  or enter that of these photos:  "
            remedy += mending("correct", "samples", row.sample, "um_per_px", "NUMBER")
            found.append(("no scale", Doubt("samples", row.sample, what, remedy, "um_per_px")))
        for name in listed_in(row.photos):
            if others := [sample for sample in owners.get(name, ()) if sample != row.sample]:
                what = f"names {one_line(name)}, which sample {one_line(others[0])} names, too; it is counted for one"
                remedy = "Name the right photos:  " + mending("correct", "samples", row.sample, "photos", "NAMES")
                found.append(("photo of two samples", Doubt("samples", row.sample, what, remedy, "photos")))
        if row.counted_by == "photo" and not pd.isna(row.nauplii) and row.sample in of_sample:
            found += _not_as_counted(row, of_sample[row.sample])
    return found


def _not_as_counted(sample, photos: pd.DataFrame) -> list[tuple[str, Doubt]]:
    """A sample whose count is not that of the photos it names, or at another scale than it says."""
    names, counted = listed_in(sample.photos), list(photos["photo"])
    again = "Count anew:  qckit count PHOTOS --um-per-px NUMBER --out FOLDER  and  qckit log record FOLDER;  or mend:  "
    if set(names) != set(counted):
        what = f"names {', '.join(map(one_line, names))}, and its count is that of {', '.join(map(one_line, counted))}"
        remedy = again + mending("correct", "samples", sample.sample, "photos", shlex.quote("; ".join(counted)))
        return [("other photos", Doubt("samples", sample.sample, what, remedy, "photos"))]
    for row in photos[photos["um_per_px"].notna()].itertuples():
        if not pd.isna(sample.um_per_px) and abs(math.log(row.um_per_px / sample.um_per_px)) > SAME_SCALE:
            what = (
                f"says {sample.um_per_px:g} µm per pixel, and {one_line(row.photo)} was counted at {row.um_per_px:g}: "
            )
            what += "its counts and volume are of that scale"
            scale = mending("correct", "samples", sample.sample, "um_per_px", f"{row.um_per_px:g}")
            remedy = again.replace("NUMBER", f"{sample.um_per_px:g}") + scale
            return [("other scale", Doubt("samples", sample.sample, what, remedy, "um_per_px"))]
    return []


_ARE_OF_THE_COUNT = ("sha256", "sample", "um_per_px", "width_px", "height_px", "counter_version", "frame_mm2")


def need_no_count(table: str, key, column: str) -> None:
    """Refuse to correct what a count brought: the objects and the volume would stay those of before.

    Raises
    ------
    InputError
        The column of the photos table says how the photo was counted.
    """
    if table != "photos" or column not in _ARE_OF_THE_COUNT:
        return
    remedy = {
        "sample": "Name it at the right sample instead:  qckit log correct samples SAMPLE photos NAMES --reason TEXT",
        "um_per_px": "Correct um_per_px of its sample, then count it anew:  qckit count PHOTO --um-per-px NUMBER --out "
        "FOLDER  and  qckit log record FOLDER",
    }.get(column, "Count it anew:  qckit count PHOTO --um-per-px NUMBER --out FOLDER  and  qckit log record FOLDER")
    raise InputError(f"photos {one_line(key)}: {column} is how the photo was counted and cannot be corrected. {remedy}")


_WHY_NOT_COUNTED = ("missing photo", "no scale", "photo of two samples")


def with_reasons(found: list[tuple]) -> list[tuple]:
    """Tell why a sample's photos cannot be counted, with both remedies, and not once more that its count is missing."""
    of_samples = [row for row in found if row[2] == "samples"]
    waits = {row[3] for row in of_samples if row[0] == "no counts"}
    why = {row[3]: row for row in reversed(of_samples) if row[0] in _WHY_NOT_COUNTED and row[3] in waits}
    joined = []
    for row in found:
        if row is why.get(row[3]):
            row = (*row[:5], f"{row[5]}  or enter a person's count:  {recount_command(row[3])}")
        if not (row[0] == "no counts" and row[2] == "samples" and row[3] in why):
            joined.append(row)
    return joined


def recount_command(sample: str) -> str:
    """Write the command that enters a person's count of a sample."""
    return f"qckit log recount {shlex.quote(sample)} --nauplii NUMBER --reason TEXT"


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
