"""Many photos: spread over processes, kept one by one so that an interrupted count goes on where it was."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import pandas as pd

from qckit.counting.batch.cluster import Cluster, run_on_cluster
from qckit.counting.batch.earlier import read_earlier, write_tables
from qckit.counting.batch.isolated import run_isolated
from qckit.counting.batch.kept import CountedPart, join_objects, kept_part, part_of, write_part
from qckit.counting.bounds import check_counted_scale
from qckit.counting.camera_rule.learned import load_learned
from qckit.counting.picture import draw_checked, save_checked
from qckit.counting.pipeline import count_photo, finest_scale
from qckit.counting.reader.joint_reading import reader_key
from qckit.counting.regions import region_words
from qckit.counting.result import PHOTO_COLUMNS, version_with
from qckit.counting.stages import model_key
from qckit.errors import InputError, QcError, fault_place, one_line
from qckit.files import sweep
from qckit.photo import Scales, drawn_folders, find_photos, photo_names
from qckit.photo.reading import read_photo
from qckit.stages import STAGE_RECORDS, hatched_pct

__all__ = ["CountOptions", "CountedPhotos", "checked_name", "count_photos"]

PARTS = ".parts"
MOST_AT_HAND = 100_000  # objects, some 20 MB; more are read from the folder of the results when they are asked for
LONGEST_NAME = 200  # bytes; most disks take 255


@dataclass(frozen=True)
class CountedPhotos:
    """Counts of many photos.

    Attributes
    ----------
    counts : DataFrame
        A row per photo, columns of ``PHOTO_COLUMNS``.
    failures : DataFrame
        Columns photo, message: photos that could not be counted.
    parts : tuple of CountedPart
        Where the objects of each photo are: with ``out_dir``, in a file there.
    kept : tuple of str
        Other photos, counted earlier, whose rows stay in the tables of ``out_dir``.
    replaced : tuple of str
        Photos of the same name but with other content whose rows there were replaced.
    left_out : tuple of Path
        Folders of pictures that the kit drew, which were not searched.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> counted.counts["photo"].tolist(), len(counted.failures)
    (['k-121_a_1.jpg'], 0)
    """

    counts: pd.DataFrame
    failures: pd.DataFrame
    parts: tuple[CountedPart, ...] = ()
    kept: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()
    left_out: tuple[Path, ...] = ()

    @cached_property
    def objects(self) -> pd.DataFrame:
        """Columns of the objects table, a row per object found; many are read from the folder of the results."""
        return join_objects(self.parts)


@dataclass(frozen=True, kw_only=True)
class CountOptions:
    """How each of many photos is counted: as the arguments of :func:`count_photo` of the same names.

    Attributes
    ----------
    reader : {"auto", None}
        ``"auto"`` lets the reader, a trained network, propose objects where it can be run; None counts without it.
    stage_model : path, optional
        File of a site's own models; those that come with the kit when left out.
    region : dict, optional
        Counting frame for every photo; the whole photo when left out.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, options=counting.CountOptions(reader=None))
    >>> len(counted.counts)
    1
    """

    reader: str | None = "auto"
    stage_model: str | Path | None = None
    region: dict | None = None

    @property
    def model(self) -> str | None:
        """The file of the models as text; None for the kit's own."""
        return str(self.stage_model) if self.stage_model else None


@dataclass(frozen=True)
class _Job:
    """What a worker needs for one photo; plain values, so that it travels. A scale in words is why there is none."""

    path: str
    name: str
    um_per_px: float | str
    options: CountOptions
    part: str | None = None
    checked: str | None = None


def checked_name(photo: str) -> str:
    """File name of a photo's checked picture: folders joined by ``__``, ending ``.jpg``; long names are cut.

    Examples
    --------
    >>> counting.checked_name("day1/cone a.jpg")
    'day1__cone a.jpg'
    """
    flat = photo.replace("/", "__")
    flat = flat if flat.lower().endswith(".jpg") else flat + ".jpg"
    if len(flat.encode()) <= LONGEST_NAME:
        return flat
    digest = hashlib.sha256(photo.encode()).hexdigest()[:8]
    return f"{flat.encode()[: LONGEST_NAME - 13].decode(errors='ignore')}_{digest}.jpg"


def count_photos(
    paths: Iterable[str | Path] | str | Path,
    scales,
    *,
    workers: int | Cluster = 1,
    out_dir=None,
    checked: bool = True,
    keep_earlier: bool = True,
    progress=None,
    options: CountOptions | None = None,
) -> CountedPhotos:
    """Count many photos.

    Parameters
    ----------
    paths : iterable of path, or one path
        Photos, or folders that are searched.
    scales : float, path, mapping or Scales
        µm per pixel for all, a CSV with the columns photo and um_per_px, or a mapping from names.
    workers : int or Cluster
        Processes, each of which needs up to 300 MiB for photos of 12 megapixels; or a Dask cluster.
    out_dir : path, optional
        Writes counts.csv, objects.csv and checked/ there. Photos already counted there by this version, at this scale
        and with the same content are not counted again.
    checked : bool
        Whether checked pictures are drawn (only with ``out_dir``).
    keep_earlier : bool
        Rows of other photos, counted into ``out_dir`` before, stay in its tables; False: they go.
    progress : callable, optional
        Called as ``progress(done, total, photo)``.
    options : CountOptions, optional
        Reader, stage model and counting frame, the same for every photo.

    Returns
    -------
    CountedPhotos
        In the order of ``paths``, whatever the number of workers.

    Raises
    ------
    InputError
        A path does not exist, or no photo has a scale. A photo that cannot be read, or has no scale, does not raise; it
        is listed in ``failures``.
    OSError
        ``out_dir`` cannot be written.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> counted.counts["cyst"].tolist() != []
    True
    """
    paths = [paths] if isinstance(paths, (str, Path)) else list(paths)
    out = Path(out_dir) if out_dir is not None else None
    files = find_photos(paths, results=out)
    um_per_px = _scales(scales, files)
    if not isinstance(workers, Cluster) and workers < 1:
        raise InputError(f"workers is {workers}, and at least 1 process is needed. Give --workers 1 or more.")
    options = options or CountOptions()
    model_key(options.model)  # before any work, so that a wrong model or a wrong --out costs none
    load_learned(options.model)
    if out is not None:
        for place in (out, out / PARTS):
            place.mkdir(parents=True, exist_ok=True)
        for place in (out, out / PARTS, out / "checked"):
            sweep(place)
        earlier = read_earlier(out) if keep_earlier else None
    names = photo_names(files)
    jobs = [
        _job(f, n, um_per_px=scale, out=out, checked=checked, options=options)
        for f, n, scale in zip(files, names, um_per_px, strict=True)
    ]
    results: list = [None] * len(jobs)
    for done, (i, answer) in enumerate(_run(jobs, workers), start=1):
        results[i] = answer
        if progress:
            progress(done, len(jobs), jobs[i].name)
    counted = replace(_tables(jobs, results), left_out=tuple(drawn_folders(paths, results=out)))
    if out is not None:
        kept, replaced = write_tables(out, counted.counts, (part.objects() for part in counted.parts), earlier)
        counted = replace(counted, kept=kept, replaced=replaced)
    if sum(part.n_objects for part in counted.parts) <= MOST_AT_HAND:
        _ = counted.objects  # from now on at hand, whatever becomes of the folder
    return counted


def _scales(given, files: list[Path]) -> list[float | str]:
    """The scale of each photo, or why it has none that can be used; where none has, that is raised."""
    scales = Scales.of(given)
    if scales.everywhere is not None:
        check_counted_scale(scales.everywhere, "scale")
    found: list[float | str] = []
    for path in files:
        try:
            found.append(check_counted_scale(scales.scale_for(path), path.name))
        except InputError as error:
            found.append(str(error))
    if all(isinstance(scale, str) for scale in found):
        for scale in scales.scales_for(files):
            check_counted_scale(scale, scales.source)
    return found


def _job(path: Path, name: str, *, um_per_px: float | str, out: Path | None, checked: bool, options) -> _Job:
    if out is None:
        return _Job(str(path), name, um_per_px, options)
    version = version_with(model_key(options.model))
    key_parts = [name, repr(um_per_px), options.reader, version, _reader_key(options.reader)]
    key_parts += [region_words(options.region)] if options.region else []
    key = hashlib.sha256("\n".join(map(str, key_parts)).encode()).hexdigest()
    picture = str(out / "checked" / checked_name(name)) if checked else None
    return _Job(str(path), name, um_per_px, options, part=str(out / PARTS / f"{key[:32]}.json"), checked=picture)


def _reader_key(reader) -> str:
    """What tells one reader from another, so that counts by another are made again."""
    return reader_key(reader)


def _run(jobs: list[_Job], workers: int | Cluster):
    """Yield (index, answer) as photos finish."""
    if isinstance(workers, Cluster):
        yield from run_on_cluster(jobs, _count_one, workers)
    else:
        yield from run_isolated(jobs, _count_one, workers=workers)


def _count_one(job: _Job):
    """Count one photo, or take it from its part; returns its part or the message of what went wrong."""
    if isinstance(job.um_per_px, str):
        return job.um_per_px
    try:
        count, picture = _counted(job)
    except QcError as error:
        return str(error)
    except MemoryError:
        return f"{one_line(job.name)}: counting it needs more memory than one photo may have. Save it smaller."
    except Exception as error:  # a photo must not stop the others, whatever is wrong with it
        if os.environ.get("QCKIT_TRACEBACK"):
            raise
        return (
            f"{one_line(job.name)}: could not be counted, by a fault of the kit ({fault_place(error)}). Save it anew "
            "as JPEG and count it again; please report the fault with the photo."
        )
    # a disk that cannot be written is no fault of the photo: that stops the count
    if isinstance(count, CountedPart):
        return count
    if picture is not None:
        save_checked(job.checked, picture)
    return write_part(count, job.part) if job.part else part_of(count)


def _counted(job: _Job):
    """Count a photo and draw its checked picture where one is to be written; the part alone of one counted before."""
    kept = _kept(job)
    if kept is not None:
        return kept, None
    photo = read_photo(job.path, um_per_px=job.um_per_px, finest_um_per_px=finest_scale(job.options.reader))
    result = count_photo(
        job.path,
        um_per_px=job.um_per_px,
        reader=job.options.reader,
        photo=photo,
        name=job.name,
        stage_model=job.options.model,
        region=job.options.region,
    )
    if not job.checked:
        return result, None

    title = one_line(result.photo) + (f"   flags: {', '.join(f.code for f in result.flags)}" if result.flags else "")
    picture = draw_checked(
        photo.pixels, result.objects, um_per_px=job.um_per_px, px_per_photo_px=1 / photo.reduction, title=title
    )
    return result, picture


def _kept(job: _Job) -> CountedPart | None:
    """The part of a photo counted before, if its file is still the same and its picture is there."""
    if not job.part or not Path(job.part).is_file() or (job.checked and not Path(job.checked).is_file()):
        return None
    return kept_part(job.part, job.path)


def _tables(jobs, results) -> CountedPhotos:
    parts, failures = [], []
    for job, answer in zip(jobs, results, strict=True):
        if isinstance(answer, str):
            failures.append({"photo": job.name, "message": answer})
        else:
            parts.append(answer)
    counts = pd.DataFrame([part.row for part in parts], columns=list(PHOTO_COLUMNS))
    return CountedPhotos(counts, pd.DataFrame(failures, columns=["photo", "message"]), parts=tuple(parts))


def overall_hatch_pct(counts: pd.DataFrame) -> float:
    """Hatching percentage over the photos of a counts table that have one; NaN where none has. [%]"""
    counts = counts[counts["hatch_pct"].notna()]  # a flag withholds that of a photo which looks like no sample
    return hatched_pct({s.name: counts[s.photo_column].sum() for s in STAGE_RECORDS})
