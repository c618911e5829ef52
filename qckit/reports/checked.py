"""The checked photos of a report: each photo with what stands in the log for it, hand corrections included."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from pathlib import Path

from qckit.errors import QcError
from qckit.files import safe_name
from qckit.flag_words import say_flags
from qckit.object_rows import BY_HAND, is_counted, is_removed
from qckit.stages import stage_words
from qckit.words import plural

__all__ = ["checked_photos"]

_COLUMNS = ["photo", "sample", "path", "title", "note", "sha256", "counter_version", "flags"]


def checked_photos(log, samples, *, out_dir: str | Path | None = "", hatches=None, limit: int = 30):
    """Draw the photos behind some samples with the objects that were counted in them.

    Parameters
    ----------
    log : SiteLog
        The site's records.
    samples : DataFrame, shape (n, any)
        Columns of ``tables.TABLES["samples"]``, in the order in which they are to be shown.
    out_dir : path
        Folder of the report; pictures go into its ``checked/``. Empty: a folder of the system's for temporary files.
        None: no picture is drawn, and every path is empty.
    hatches : DataFrame, optional
        Columns hatch, lot, cone: for titles that say the cone.
    limit : int
        Most pictures drawn; later rows have an empty path.

    Returns
    -------
    DataFrame, shape (photos, 8)
        photo, sample, path, title, note, sha256, counter_version, flags; for :func:`qckit.reports.thumbnails` and
        :func:`qckit.reports.save_findings`.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(reports.checked_photos(records, tables.samples.tail(3)))
    Empty DataFrame
    Columns: [photo, sample, path, title, note, sha256, counter_version, flags]
    Index: []
    """
    import pandas as pd

    folder = _folder(out_dir)
    places = {} if hatches is None else hatches.set_index("hatch")[["lot", "cone"]].to_dict("index")
    photos = dict(list(log.photos(sample=samples["sample"].tolist()).groupby("sample")))
    names = [photo for of_sample in photos.values() for photo in of_sample["photo"]]
    marks = log.objects(photo=names)
    objects_of = dict(list(marks.groupby("photo")))
    rows = []
    for sample in samples.to_dict("records"):
        for photo in photos[sample["sample"]].to_dict("records") if sample["sample"] in photos else ():
            objects = objects_of.get(photo["photo"], marks.iloc[:0])
            is_drawn = folder is not None and len(rows) < limit
            path = _draw(Path(log.folder), photo, objects, folder) if is_drawn else ""
            rows.append(_row(photo, sample, objects, path, places.get(sample["hatch"])))
    return pd.DataFrame(rows, columns=_COLUMNS)


def _folder(out_dir) -> Path | None:
    """Make the folder for the pictures; none where none are drawn. A live notebook's goes with its kernel."""
    if out_dir is None:
        return None
    if str(out_dir):
        folder = Path(out_dir) / "checked"
        folder.mkdir(parents=True, exist_ok=True)
        return folder
    folder = Path(tempfile.mkdtemp(prefix="qckit-checked-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _row(photo: dict, sample: dict, objects, path: str, place: dict | None) -> dict:
    where = f"{place['lot']}, cone {place['cone']}: " if place else ""
    counts = objects[is_counted(objects)]["stage"].value_counts()
    note = stage_words(counts) + "."
    by_hand = int(objects["source"].isin(BY_HAND).sum())
    if by_hand:
        note += f" {plural(by_hand, 'object')} corrected by hand."
    flags = photo.get("flags")
    flags = flags if isinstance(flags, str) else ""
    if flags:
        note += f" Flagged: {say_flags(flags)}."
    return {
        "photo": photo["photo"],
        "sample": sample["sample"],
        "path": path,
        "title": f"{where}{sample['sample']}",
        "note": note,
        "sha256": photo["sha256"],
        "counter_version": photo.get("counter_version"),
        "flags": flags,
    }


def _draw(site: Path, photo: dict, objects, folder: Path) -> str:
    """Draw one photo; an empty path where its file is gone or can no longer be read."""
    from qckit.counting import draw_checked
    from qckit.log.photo_files import find_photo
    from qckit.photo import read_photo

    source = find_photo(site, photo["photo"])
    if source is None:
        return ""
    try:
        picture = read_photo(source, um_per_px=photo["um_per_px"])
    except QcError:
        return ""
    shown = objects[~is_removed(objects)]
    target = folder / (safe_name(Path(photo["photo"]).stem) + ".jpg")
    image = draw_checked(picture.pixels, shown, um_per_px=photo["um_per_px"], px_per_photo_px=1 / picture.reduction)
    image.convert("RGB").save(target, quality=85)
    return str(target)
