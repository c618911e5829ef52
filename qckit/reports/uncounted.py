"""Count the photos of a site that the field sheet names and nobody has counted yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import pandas as pd

from qckit.counting import CountOptions, count_photos
from qckit.errors import need_number, need_text, one_line
from qckit.log import open_log
from qckit.log.photo_files import content_sum, find_photo, leads_out
from qckit.log.problems import mending
from qckit.progress import counted as counted_progress
from qckit.review import flag_kinds, flag_scales, settle_unlike, site_stage_model
from qckit.words import plural

__all__ = ["COUNTS_FOLDER", "PHOTOS_FOLDER", "PhotosCounted", "count_uncounted"]

PHOTOS_FOLDER = "photos"
COUNTS_FOLDER = "counts"


@dataclass(frozen=True)
class PhotosCounted:
    """What came of counting what waited."""

    n_counted: int
    failures: tuple[str, ...] = ()  # a sentence per photo that could not be counted
    notes: tuple[str, ...] = ()  # of the site's own stage model where it has one, and of scales in doubt

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was counted, what could not be, and what to know of it."""
        return (f"{plural(self.n_counted, 'photo')} counted.", *self.failures, *self.notes)


def count_uncounted(
    site: str | Path,
    *,
    by: str = "qckit",
    workers: int = 1,
    progress: Callable | None = None,
) -> PhotosCounted:
    """Count every photo that waits for a count and put the counts into the log.

    Parameters
    ----------
    site : path
        The site folder; its photos lie in ``photos/``, in any folder below it.
    by : str
        Who is named in the log.
    workers : int
        Photos counted at the same time.
    progress : callable, optional
        Passed on to ``counting.count_photos``; left out: a bar in a notebook or terminal, see
        :mod:`qckit.progress`.

    Returns
    -------
    PhotosCounted

    Notes
    -----
    Pictures of what was found go to ``counts/checked/``. Stopped in the middle, the next call goes on there: photos
    that did not change are not counted again.

    Examples
    --------
    >>> reports.count_uncounted(log.new_site("room-10")).n_counted
    0
    """
    site, doubts = Path(site), []
    workers, by = int(need_number("workers", workers, low=1, high=256)), need_text("by", by)
    progress = progress or counted_progress("Counting photos")
    with open_log(site) as log:
        uncounted = log.awaiting_counts()
        if not len(uncounted):
            return PhotosCounted(0)
        found, failures = _find(site, uncounted["photo"])
        failures += _without_scale(uncounted[uncounted["photo"].isin(found)])
        scaled = set(uncounted.loc[uncounted["um_per_px"].notna(), "photo"])
        found = {name: path for name, path in found.items() if name in scaled}
        digests = {name: digest for name, path in found.items() if (digest := content_sum(path)) is not None}
        failures += (twice := _twice(log, uncounted, digests)).values()
        found = {name: path for name, path in found.items() if name not in twice}
        counts = pd.DataFrame()
        if found:
            counted = _count(site, uncounted, found, workers, progress)
            failures += [str(row.message) for row in counted.failures.itertuples()]
            counts, objects = _by_logged_name(counted, {digests[name]: name for name in found if name in digests})
            failures += (incomplete := _of_incomplete_samples(uncounted, set(counts["photo"]))).values()
            counts = counts[~counts["photo"].isin(set(incomplete))]
        if len(counts):
            objects = objects[objects["photo"].isin(set(counts["photo"]))]
            counts, doubts = flag_scales(log, settle_unlike(log, counts), objects)
            counts, asked = flag_kinds(log, counts, found)
            doubts = [*doubts, *asked]
            log.record_counts(counts, objects=objects, by=by)
    site_model = site_stage_model(site)
    notes = (*([site_model.sentence] if site_model else []), *doubts)
    return PhotosCounted(len(counts), tuple(failures), notes)


def _twice(log, uncounted, digests: dict[str, str]) -> dict[str, str]:
    """A sentence for each photo that another sample names, too, or whose picture was counted under another name.

    Which of them is right nobody can tell from the photo, so none is counted; the others are.
    """
    samples = uncounted.groupby("photo", sort=False)["sample"].agg(list).to_dict()
    logged = log.table("photos", sha256=list(digests.values()))
    alike = [(row.sha256, row.photo, row.sample) for row in logged.itertuples()]
    alike += [(digest, name, sample) for name, digest in digests.items() for sample in samples[name]]
    found = {}
    for name, digest in digests.items():
        sample = samples[name][0]
        others = [(n, s) for d, n, s in alike if d == digest and (n != name or (s == s and s != sample))]
        if others:
            other, owner = others[0]
            of = f" of sample {one_line(owner)}" if owner == owner and owner else ""
            same = (
                f"is the same picture as {one_line(other)}{of}"
                if other != name
                else f"stands at {one_line(owner)}, too"
            )
            remedy = (
                f"Name the right photos:  {mending('correct', 'samples', sample, 'photos', 'NAMES')};  or take the "
                f"sample out:  {mending('withdraw', 'samples', sample)}"
            )
            what = f"{one_line(name)} of sample {one_line(sample)}: {same}, and would be counted twice."
            found[name] = f"{what} {remedy}"
    return found


def _of_incomplete_samples(uncounted, counted: set[str]) -> dict[str, str]:
    """A sentence for each counted photo whose sample has another that is not: a sample is counted whole."""
    found = {}
    for sample, names in uncounted.groupby("sample", sort=False)["photo"]:
        lacking = [name for name in names if name not in counted]
        for name in counted.intersection(names) if lacking else ():
            found[name] = (
                f"{one_line(name)} of sample {one_line(sample)}: waits for {', '.join(map(one_line, lacking))}, as all "
                "photos of a sample are counted together. If it has no other:  "
                f"{mending('correct', 'samples', sample, 'photos', name)}"
            )
    return found


def _by_logged_name(counted, names: dict[str, str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Call photos as the field sheet does, by their content; one that changed while it was counted waits."""
    counts = counted.counts[counted.counts["sha256"].isin(set(names))] if len(counted.counts) else counted.counts
    renamed = {photo: names[digest] for photo, digest in zip(counts["photo"], counts["sha256"], strict=True)}
    objects = counted.objects[counted.objects["photo"].isin(set(renamed))]
    return counts.assign(photo=counts["photo"].map(renamed)), objects.assign(photo=objects["photo"].map(renamed))


def _find(site: Path, names) -> tuple[dict[str, Path], list[str]]:
    """Return where each photo lies, and a sentence for each that is nowhere, outside the site, or there twice."""
    found, failures = {}, []
    for name in dict.fromkeys(names):
        path = find_photo(site, name)
        if path is not None:
            found[name] = path
        else:
            failures.append(f"{one_line(name)}: {_why_not_found(site, name)}")
    return found, failures


def _why_not_found(site: Path, name: str) -> str:
    folder = site / PHOTOS_FOLDER
    outside = "lies outside the site folder, and only photos in it are counted. Copy the photo itself into photos/."
    if leads_out(name):
        return outside
    named = (
        [p for p in folder.rglob("*") if p.name == PurePosixPath(name).name and p.is_file()] if folder.is_dir() else []
    )
    if len(named) > 1:
        return f"{len(named)} photos in {folder} are called so. Give each its own name, in the field sheet too."
    return outside if named else f"not in {folder}. Copy it there and run this again."


def _without_scale(uncounted) -> list[str]:
    """A sentence for each photo whose scale is not known."""
    return [
        f"sample {one_line(row.sample)}, photo {one_line(row.photo)}: no scale is known. Fill the column um_per_px of "
        "the field sheet, or set the camera's scale with  qckit camera"
        for row in uncounted[uncounted["um_per_px"].isna()].itertuples()
    ]


def _count(site: Path, uncounted, found: dict[str, Path], workers: int, progress):
    site_model = site_stage_model(site)
    scales = dict(zip(uncounted["photo"], uncounted["um_per_px"], strict=True))
    by_path = {str(path): float(scales[name]) for name, path in found.items()}
    return count_photos(
        list(found.values()),
        by_path,
        workers=workers,
        out_dir=site / COUNTS_FOLDER,
        progress=progress,
        keep_earlier=False,  # the log keeps them
        options=CountOptions(stage_model=site_model.path if site_model else None),
    )
