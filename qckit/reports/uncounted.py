"""Count the photos of a site that the field sheet names and nobody has counted yet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qckit.errors import InputError, need_number, need_text
from qckit.progress import counted as counted_progress

__all__ = ["COUNTS_FOLDER", "PHOTOS_FOLDER", "Waited", "count_waiting"]

PHOTOS_FOLDER = "photos"
COUNTS_FOLDER = "counts"


@dataclass(frozen=True)
class Waited:
    """What came of counting what waited."""

    n_counted: int
    failures: tuple[str, ...] = ()  # a sentence per photo that could not be counted
    notes: tuple[str, ...] = ()  # of the site's own stage model where it has one, and of scales in doubt


def count_waiting(
    site: str | Path,
    *,
    by: str = "qckit",
    workers: int = 1,
    progress: Callable | None = None,
) -> Waited:
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
    Waited

    Raises
    ------
    InputError
        A photo has no scale.

    Notes
    -----
    Pictures of what was found go to ``counts/checked/``. Stopped in the middle, the next call goes on there: photos
    that did not change are not counted again.
    """
    from qckit.log import open_log
    from qckit.review import flag_scales, site_stage_model

    site, doubts = Path(site), []
    workers, by = int(need_number("workers", workers, low=1, high=256)), need_text("by", by)
    progress = progress or counted_progress("Counting photos")
    with open_log(site) as log:
        waiting = log.awaiting_counts()
        if not len(waiting):
            return Waited(0)
        found, missing = _find(site, waiting["photo"])
        _need_scale(waiting[waiting["photo"].isin(found)])
        counted = _count(site, waiting, found, workers, progress) if found else None
        failures = [f"{photo}: not in {site / PHOTOS_FOLDER}. Copy it there and run this again." for photo in missing]
        if counted is not None:
            failures += [str(row.message) for row in counted.failures.itertuples()]
            if len(counted.counts):
                counts, doubts = flag_scales(log, counted.counts, counted.objects)
                log.record_counts(counts, objects=counted.objects, by=by)
    own = site_stage_model(site)
    said = (*([own.sentence] if own else []), *doubts)
    return Waited(0 if counted is None else len(counted.counts), tuple(failures), said)


def _find(site: Path, names) -> tuple[dict[str, Path], list[str]]:
    """Return where each photo lies, and those that are nowhere."""
    folder = site / PHOTOS_FOLDER
    by_name: dict[str, list[Path]] = {}
    for path in sorted(folder.rglob("*")) if folder.is_dir() else []:
        if path.is_file() and not path.name.startswith("."):
            by_name.setdefault(path.name, []).append(path)
    found, missing = {}, []
    for name in dict.fromkeys(names):
        exact = folder / name
        places = [exact] if exact.is_file() else by_name.get(Path(name).name, [])
        if len(places) > 1:
            raise InputError(
                f"{folder}: {len(places)} photos are called {name}. Give each its own name, in the field sheet too."
            )
        if places:
            found[name] = places[0]
        else:
            missing.append(name)
    return found, missing


def _need_scale(waiting) -> None:
    without = waiting[waiting["um_per_px"].isna()]
    if len(without):
        raise InputError(
            f"sample {without['sample'].iloc[0]}, photo {without['photo'].iloc[0]}: no scale is known "
            f"({len(without)} photo{'s' if len(without) > 1 else ''} in all). Fill the column um_per_px of the field "
            f"sheet, or set the camera's scale with  qckit camera"
        )


def _count(site: Path, waiting, found: dict[str, Path], workers: int, progress):
    from qckit.counting import count_photos
    from qckit.review import site_stage_model

    own = site_stage_model(site)
    scales = dict(zip(waiting["photo"], waiting["um_per_px"], strict=True))
    by_path = {path.name: float(scales[name]) for name, path in found.items()}
    return count_photos(
        list(found.values()),
        by_path,
        workers=workers,
        out_dir=site / COUNTS_FOLDER,
        progress=progress,
        stage_model=own.path if own else None,
        keep_earlier=False,
    )  # the log keeps them
