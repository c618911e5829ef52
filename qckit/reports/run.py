"""Run a report notebook and put its page, its notebook and its findings into the site, whole or not at all."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import platform
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from qckit import __version__
from qckit._paths import notebooks_dir
from qckit.errors import InputError, QcError, one_line, unknown_name
from qckit.reports.findings import FINDINGS_FILE
from qckit.reports.index import REPORTS_FOLDER, write_index
from qckit.reports.names import safe_name
from qckit.reports.parameters import convert_parameters, read_parameters
from qckit.settings import Settings, load_settings

__all__ = ["KINDS", "Kind", "ReportRun", "run_report", "run_reports", "write_whole"]

_VERSIONS = ("numpy", "scipy", "pandas", "statsmodels", "scikit-image", "matplotlib", "papermill", "nbconvert")
_OWN_PARAMETERS = ("site", "out_dir", "now")


@dataclass(frozen=True)
class Kind:
    """One kind of report: its notebook, the parameter that names its subject, and what that is called."""

    notebook: str
    subject: str
    title: str
    also: tuple[str, ...] = ()  # further parameters that belong into the folder's name when they are given


KINDS = {
    "new-lot": Kind("new_lot.ipynb", "lot", "New lot"),
    "month": Kind("monthly_review.ipynb", "month", "Monthly review", ("lot",)),
    "poor-hatch": Kind("poor_hatch.ipynb", "hatch", "Poor hatch"),
}


@dataclass(frozen=True)
class ReportRun:
    """Where a report is, and what it found."""

    kind: str
    subject: str
    folder: Path
    html: Path
    notebook: Path
    findings: Path
    finding: dict


def run_report(
    kind: str,
    site: str | Path,
    parameters: Mapping | None = None,
    *,
    out_dir: str | Path | None = None,
    now: str | None = None,
    notebook: str | Path | None = None,
    index: bool = True,
) -> ReportRun:
    """Write one report.

    Parameters
    ----------
    kind : str
        new-lot, month or poor-hatch.
    site : path
        The site folder.
    parameters : mapping of str to object
        Values for the notebook's parameters; the one that names the subject (lot, month or hatch) must be there.
    out_dir : path, optional
        Folder that gets the report's folder; the site's ``reports/`` when left out.
    now : str, optional
        Time of the report, ISO 8601. The clock when left out. The same records and the same ``now`` give the same
        bytes.
    notebook : path, optional
        Another notebook to run for this kind, such as a site's own copy.
    index : bool
        Renew the page that lists the site's reports.

    Returns
    -------
    ReportRun

    Raises
    ------
    InputError
        An unknown kind or parameter, no site, a value that does not fit, or a notebook that failed. A notebook that
        failed is kept, with its error, beside the reports as ``<name>.failed.ipynb``; an earlier report stays.
    """
    import nbformat

    if kind not in KINDS:
        raise unknown_name("kind of report", kind, KINDS)
    settings = load_settings(site)
    template = Path(notebook) if notebook else notebooks_dir() / KINDS[kind].notebook
    if not template.is_file():
        raise InputError(f"{template}: no such notebook. Install qckit again, or name another notebook.")
    source = nbformat.read(template, as_version=4)
    declared = read_parameters(source, where=template.name)
    given = convert_parameters(dict(parameters or {}), declared, where=template.name)
    subject = _subject(kind, given, template.name)
    made_at = _time(now, settings)
    name = "-".join([kind, safe_name("-".join([subject, *(given[p] for p in KINDS[kind].also if given.get(p))]))])
    target = Path(out_dir) if out_dir else settings.folder / REPORTS_FOLDER
    target.mkdir(parents=True, exist_ok=True)

    with _work_folder() as work:
        result = work / "result"
        result.mkdir()
        own = {"site": str(settings.folder), "out_dir": str(result), "now": made_at}
        values = given | {k: v for k, v in own.items() if k in declared}
        failed = target / f"{name}.failed.ipynb"
        executed = _execute(source, values, work, failed, f"{kind} {subject!r}")
        finding = _read_finding(result, template.name, made_at)
        shown = [("report", KINDS[kind].title), ("site", settings.site.name)]
        shown += [(k, str(values.get(k, v))) for k, v in declared.items() if k not in _OWN_PARAMETERS]
        _write_results(executed, result, finding, shown, f"{KINDS[kind].title}: {subject}", made_at)
        _swap_in(result, target / name)
    failed.unlink(missing_ok=True)
    folder = target / name
    run = ReportRun(
        kind, subject, folder, *(folder / f for f in ("report.html", "notebook.ipynb", FINDINGS_FILE)), finding
    )
    if index and not out_dir:
        write_index(settings.folder)
    return run


def run_reports(
    jobs: Iterable[tuple[str, Mapping]],
    site: str | Path,
    *,
    now: str | None = None,
    workers: int = 1,
    progress: Callable[[int, int, str], None] | None = None,
    notebooks: Mapping[str, str | Path] | None = None,
) -> list[ReportRun | QcError]:
    """Write many reports; one that fails does not stop the others.

    Parameters
    ----------
    jobs : iterable of (str, mapping)
        Kind and parameters of each report.
    site : path
        The site folder.
    now : str, optional
        As in :func:`run_report`; the same for all.
    workers : int
        Reports made at the same time. Each has a kernel of its own (about 250 MB).
    progress : callable, optional
        Called as ``progress(done, total, words)`` after each report.
    notebooks : mapping of str to path, optional
        Another notebook to run for a kind, as in :func:`run_report`.

    Returns
    -------
    list of ReportRun or QcError
        In the order of the jobs; an error where that report failed.
    """
    from concurrent.futures import ThreadPoolExecutor, as_completed

    jobs = list(jobs)
    settings = load_settings(site)
    now = _time(now, settings)

    def one(job):
        try:
            return run_report(
                job[0], settings.folder, job[1], now=now, index=False, notebook=(notebooks or {}).get(job[0])
            )
        except QcError as error:
            return error

    results: list = [None] * len(jobs)
    with ThreadPoolExecutor(max_workers=max(1, int(workers))) as pool:
        waiting = {pool.submit(one, job): i for i, job in enumerate(jobs)}
        for done, future in enumerate(as_completed(waiting), start=1):
            i = waiting[future]
            results[i] = future.result()
            if progress:
                progress(done, len(jobs), f"{jobs[i][0]} {next(iter(jobs[i][1].values()), '')}")
    if jobs:
        write_index(settings.folder)
    return results


def _subject(kind: str, given: Mapping, where: str) -> str:
    name = KINDS[kind].subject
    if not str(given.get(name, "")).strip():
        raise InputError(f"{where}: the parameter {name} is empty. Say which {name} the report is about.")
    return given[name]


def _time(now: str | None, settings: Settings) -> str:
    if now:
        try:
            return dt.datetime.fromisoformat(str(now)).isoformat(timespec="seconds")
        except ValueError as error:
            raise InputError(f"now is {now!r} and must be a time like 2026-11-04T09:00:00+00:00.") from error
    import zoneinfo

    try:
        zone = zoneinfo.ZoneInfo(settings.site.timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError) as error:
        raise InputError(
            f"{settings.folder}: the setting timezone is {settings.site.timezone!r}, which is no known time zone. "
            f"Write one like UTC or Europe/Lisbon."
        ) from error
    return dt.datetime.now(zone).isoformat(timespec="seconds")


@contextlib.contextmanager
def _work_folder():
    """Make a short folder with a plain name: papermill fills in braces, and sockets allow few characters."""
    base = tempfile.gettempdir()
    if "{" in base or not base.isascii():
        base = "/tmp" if os.name == "posix" else None
    folder = Path(tempfile.mkdtemp(prefix="qckit-", dir=base))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _execute(source, values: dict, work: Path, failed: Path, what: str):
    """Run a copy of the notebook in this interpreter's own kernel and return it with its outputs."""
    import logging

    import nbformat
    import papermill
    from nbclient.exceptions import CellControlSignal, DeadKernelError
    from papermill.exceptions import PapermillExecutionError

    from qckit.reports.kernel import KERNELSPEC, own_kernel

    logging.getLogger("papermill").setLevel(logging.ERROR)
    copy, out = work / "in.ipynb", work / "out.ipynb"
    source.metadata.kernelspec = dict(KERNELSPEC)
    source.metadata.language_info = {"name": "python"}
    nbformat.write(source, copy)
    try:
        papermill.execute_notebook(
            str(copy), str(out), parameters=values, progress_bar=False, log_output=False,
            kernel_manager_class=own_kernel(work), resources={"metadata": {"path": str(work)}},
        )  # fmt: skip
    except PapermillExecutionError as error:
        raise _failure(error.ename, error.evalue, _keep(out, failed), what) from error
    except (DeadKernelError, CellControlSignal, RuntimeError) as error:
        raise _failure(type(error).__name__, str(error), _keep(out, failed), what) from error
    return nbformat.read(out, as_version=4)


def _keep(out: Path, failed: Path) -> str:
    """Keep a failed notebook and return the words that say where."""
    if not out.is_file():
        return ""
    shutil.copyfile(out, failed)
    return f" The notebook with the error: {failed}"


def _failure(ename: str, evalue: str, kept: str, what: str) -> InputError:
    """Turn the error of a cell into one line: our own messages as they are, others with their kind."""
    if ename in ("InputError", "QcError", "NeedsAttention"):
        return InputError(f"{one_line(evalue)}{kept}")
    return InputError(f"the report {what} failed: {ename}: {one_line(evalue)}.{kept}")


def _read_finding(result: Path, where: str, made_at: str) -> dict:
    path = result / FINDINGS_FILE
    if not path.is_file():
        raise InputError(f"{where}: it ran but saved no findings. Call reports.save_findings(finding, out_dir) in it.")
    finding = json.loads(path.read_text(encoding="utf-8"))
    return finding | {"made": made_at, "software": f"qckit {__version__}"}


def _write_results(executed, result: Path, finding: dict, shown: list, title: str, made_at: str) -> None:
    import nbformat

    from qckit.reports.pages import page_html

    page = page_html(
        executed,
        title=title,
        made=f"Made {made_at} by qckit {__version__}.",
        parameters=shown,
        versions=_versions(),
        photos=finding["photos"],
    )
    (result / "report.html").write_text(page, encoding="utf-8")
    nbformat.write(_for_keeping(executed), result / "notebook.ipynb")
    text = json.dumps(finding, ensure_ascii=False, indent=1, allow_nan=False)
    (result / FINDINGS_FILE).write_text(text + "\n", encoding="utf-8")


def _versions() -> list[tuple[str, str]]:
    from importlib import metadata

    found = [("qckit", __version__), ("Python", platform.python_version())]
    for name in _VERSIONS:
        with contextlib.suppress(metadata.PackageNotFoundError):
            found.append((name, metadata.version(name)))
    return found


def _for_keeping(executed):
    """Drop clock readings, random names and folders of this machine, so that the same run gives the same file."""
    executed.metadata.pop("papermill", None)
    executed.metadata.pop("widgets", None)
    executed.metadata.language_info = {"name": "python"}
    for cell in executed.cells:
        for key in ("papermill", "execution", "ExecuteTime"):
            cell.metadata.pop(key, None)
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell.id = "injected-parameters"
            cell.source = "\n".join(map(_without_folder, cell.source.splitlines()))
    return executed


def _without_folder(line: str) -> str:
    name = line.split(" = ")[0]
    return f'{name} = ""' if name in ("site", "out_dir") else line


def _swap_in(result: Path, folder: Path) -> None:
    """Put a finished folder in place of an older one; a reader sees the old or the new, never a half."""
    mark = f"{os.getpid()}-{safe_name(folder.name)[-12:]}"
    fresh, old = folder.with_name(f".new-{mark}"), folder.with_name(f".old-{mark}")
    for leftover in (fresh, old):
        shutil.rmtree(leftover, ignore_errors=True)
    shutil.copytree(result, fresh)
    if folder.exists():
        folder.rename(old)
    fresh.rename(folder)
    shutil.rmtree(old, ignore_errors=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text file in one step, so that no half-written file is ever read."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)
