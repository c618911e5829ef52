"""The invented demo site, from its photos to its reports."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from qckit._paths import sample_images_dir
from qckit.errors import InputError, QcError
from qckit.reports.run import ReportRun, run_reports
from qckit.reports.uncounted import PHOTOS_FOLDER, count_uncounted
from qckit.settings import SETTINGS_FILE, load_settings

__all__ = ["DEMO_LOT", "DEMO_NOW", "make_demo", "make_example"]

DEMO_LOT = "K-124"
DEMO_NOW = "2026-11-06T10:00:00+00:00"  # the morning of the poor hatch, the day the invented history ends
_PEOPLE = "op1, op2, op3"
_SHEETS = ("lots.csv", "hatches.csv", "samples.csv")


def make_demo(
    folder: str | Path,
    *,
    workers: int = 2,
    now: str | None = None,
    say: Callable[[str], None] = lambda text: None,
    progress: Callable | None = None,
) -> list[ReportRun | QcError]:
    """Make the demo site, count its photos, write its reports; go on where an earlier run stopped.

    Parameters
    ----------
    folder : path
        An empty or new folder, or a demo site made before.
    workers : int
        Photos and reports worked on at the same time.
    now : str, optional
        Time of the reports, ISO 8601; the demo's own (:data:`DEMO_NOW`) when left out.
    say : callable
        Told in a line what is being done.
    progress : callable, optional
        Passed on to the counting.

    Returns
    -------
    list of ReportRun or QcError
        An error where that report failed.

    Raises
    ------
    InputError
        The folder holds something else, or the photos cannot be counted.

    Examples
    --------
    >>> from qckit.demo import make_demo
    >>> try:
    ...     make_demo(picture.parent)
    ... except qckit.InputError as error:
    ...     print(type(error).__name__)
    InputError
    """
    from qckit import practice

    site = _site(Path(folder), practice.SITE_NAME, say)
    _fill(site, practice, say)
    say("Counting the photos of the standard test that have no count yet.")
    result = count_uncounted(site, by="qckit demo", workers=workers, progress=progress)
    if result.failures:
        raise InputError(f"{site}: {result.failures[0]}")
    jobs = [("new-lot", {"lot": DEMO_LOT})]
    jobs += [
        (kind, {name: value})
        for kind, name, value in (
            ("month", "month", practice.REPORT_MONTH),
            ("poor-hatch", "hatch", practice.POOR_HATCH),
        )
    ]
    say(f"Writing {len(jobs)} reports.")
    return run_reports(jobs, site, now=now or DEMO_NOW, workers=workers)


def make_example(folder: str | Path) -> Path:
    """Make the demo site with its records and photos, but count nothing and write no report; return its folder."""
    from qckit import practice

    site = _site(Path(folder), practice.SITE_NAME, lambda _text: None)
    _fill(site, practice, lambda _text: None)
    return site


def _site(folder: Path, name: str, say) -> Path:
    """Make the site folder, or take one that an earlier run made."""
    from qckit.day.founding import Answers, found_site

    if folder.is_dir() and any(folder.iterdir()):
        if not (folder / SETTINGS_FILE).is_file() or load_settings(folder).site.name != name:
            raise InputError(
                f"{folder}: this folder is in use and is not the demo site. Name a new folder:  qckit demo FOLDER"
            )
        say(f"Going on with the demo site in {folder}.")
        return folder.resolve()
    say(f"Making the demo site in {folder}.")
    found_site(folder, Answers(name=name, people=_PEOPLE))
    return folder.resolve()


def _fill(site: Path, practice, say) -> None:
    """Put photos, field sheets and the invented history into the site; what is there already stays."""
    from qckit.log import open_log

    source = sample_images_dir()
    sheets = site / "field-sheets" / "standard test K-124"
    photos = site / PHOTOS_FOLDER / "standard test K-124"
    sheets.mkdir(parents=True, exist_ok=True)
    photos.mkdir(parents=True, exist_ok=True)
    for name in _SHEETS:
        shutil.copyfile(source / name, sheets / name)
    for path in sorted((source / "photos").glob("*.jpg")):
        if not (photos / path.name).is_file() or (photos / path.name).stat().st_size != path.stat().st_size:
            shutil.copyfile(path, photos / path.name)
    with open_log(site, now=lambda: DEMO_NOW) as log:
        if not len(log.hatches(purpose="production")):
            say("Writing the invented history of fourteen months into the log.")
            history = practice.invented_history()
            sheet = _lots_in(sheets / "lots.csv")
            history["lots"] = history["lots"][~history["lots"]["lot"].isin(sheet)]
            log.import_sheets([sheets / "lots.csv"], by="op1")
            invented = (("fourteen months, invented", history), ("repeat tests, invented", practice.lot_tests()))
            for name, frames in invented:
                log.import_sheets(_write_sheets(site / "field-sheets" / name, frames), by="practice")
        log.import_sheets([sheets / name for name in _SHEETS], by="op1")


def _write_sheets(folder: Path, frames: dict) -> list[Path]:
    """Write tables as the field sheets they would have come on, and return their paths."""
    folder.mkdir(exist_ok=True)
    paths = [folder / f"{table}.csv" for table in frames]
    for path, frame in zip(paths, frames.values(), strict=True):
        frame.to_csv(path, index=False, encoding="utf-8")
    return paths


def _lots_in(path: Path) -> set[str]:
    import pandas as pd

    return set(pd.read_csv(path, dtype=str, keep_default_na=False)["lot"])
