"""Run a report notebook and put its page, its notebook and its findings into the site, whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import json
import platform
import tempfile
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import pandas as pd

from qckit import __version__
from qckit._paths import notebooks_dir
from qckit.errors import InputError, NeedsAttention, QcError, unknown_name
from qckit.files import safe_name, swap_in
from qckit.kept import heard_here, say_fault
from qckit.log import open_log
from qckit.log.engine import may_write, sqlite_path
from qckit.log.kept_pages import findings_in, keep_earlier, report_name, share_pictures
from qckit.log.opening import log_url
from qckit.log.seal import PAGE_STEP
from qckit.log.site_dates import SiteDates
from qckit.log.steps import notice_settings
from qckit.log.typed import moment_of
from qckit.reports.cited import cited
from qckit.reports.execution import execute, work_folder
from qckit.reports.findings import FINDINGS_FILE
from qckit.reports.index import REPORTS_FOLDER, write_index
from qckit.reports.pages import page_html
from qckit.reports.parameters import convert_parameters, read_parameters
from qckit.reports.publishing import for_keeping
from qckit.reports.since import differences
from qckit.reports.subjects import need_subject
from qckit.settings import Settings, load_settings
from qckit.words import first_few

__all__ = ["KINDS", "Kind", "ReportRun", "changed_copy", "run_report", "run_reports"]

_VERSIONS = ("numpy", "scipy", "pandas", "statsmodels", "scikit-image", "matplotlib", "papermill", "nbconvert")
_GIVEN_PARAMETERS = ("site", "out_dir", "now")


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
    """Where a report is, and what it found.

    Examples
    --------
    >>> reports.ReportRun("month", "2026-10", *[Path("r")] * 4, {"verdict": "in control"}).finding["verdict"]
    'in control'
    """

    kind: str
    subject: str
    folder: Path
    html: Path
    notebook: Path
    findings: Path
    finding: dict
    since: tuple[str, ...] = ()  # what the page before it, now in reports/earlier, said otherwise


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
        An unknown kind or parameter, no site, a value that does not fit, a subject of which the log knows nothing, or
        a notebook that failed. A notebook that failed is kept, with its error, beside the reports as
        ``<name>.failed.ipynb``; an earlier report stays.

    Examples
    --------
    >>> try:
    ...     reports.run_report("month", site.folder, {"moon": "2026-10"})
    ... except qckit.InputError as error:
    ...     print("Did you mean 'month'?" in str(error))
    True
    """
    if kind not in KINDS:
        raise unknown_name("kind of report", kind, KINDS)
    settings = load_settings(site)
    template, source = _read_template(kind, notebook)
    declared = read_parameters(source, where=template.name)
    given = convert_parameters(dict(parameters or {}), declared, where=template.name)
    subject = _subject(kind, given, template.name)
    made_at = moment_of(now, settings)
    if notebook is None:  # another notebook knows itself what it can be about
        need_subject(kind, settings.folder, given)
    name = "-".join([kind, safe_name("-".join([subject, *(given[p] for p in KINDS[kind].also if given.get(p))]))])
    target = Path(out_dir) if out_dir else settings.folder / REPORTS_FOLDER
    _make(target, is_of_site=not out_dir)
    _notice_settings(settings)
    with work_folder() as work:
        result = work / "result"
        result.mkdir()
        set_here = {"site": str(settings.folder), "out_dir": str(result), "now": made_at}
        values = given | {k: v for k, v in set_here.items() if k in declared}
        failed = target / f"{name}.failed.ipynb"
        executed = execute(source, values, work, failed, f"{kind} {subject!r}")
        finding = _read_finding(result, template.name, made_at) | cited(settings)
        shown = [("report", KINDS[kind].title), ("site", settings.site.name), *_shown(values, declared)]
        words = {"title": f"{KINDS[kind].title}: {subject}", "dates": SiteDates(settings)}
        _write_results(executed, result, finding=finding, shown=shown, made_at=made_at, **words)
        earlier = None if out_dir else keep_earlier(result, target / name)
        swap_in(result, target / name)
    folder = target / name
    files = [folder / f for f in ("report.html", "notebook.ipynb", FINDINGS_FILE)]
    with _standing(str(files[0])):
        if earlier is not None:
            share_pictures(earlier, folder)
        failed.unlink(missing_ok=True)
        since = () if earlier is None else tuple(differences(findings_in(earlier), finding))
        run = ReportRun(kind, subject, folder, *files, finding, since)
        if not out_dir:
            _enter_in_log(settings.folder, run, made_at)
            if index:
                write_index(settings.folder)
    return run


@contextlib.contextmanager
def _standing(what: str):
    """Say of a fault after a page was written that the page stands."""
    try:
        yield
    except Exception as error:
        raise NeedsAttention(f"{what}: is written, and what comes after failed: {say_fault(error)}") from error


def _make(target: Path, *, is_of_site: bool = True) -> None:
    """Make the folder of the reports; one that cannot be written is refused before a notebook runs for it."""
    try:
        target.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=target):
            pass
    except OSError as error:
        if error.errno not in (errno.EROFS, errno.EACCES, errno.EPERM):
            raise
        what = f"{target}: lies where nothing can be written"
        if not is_of_site:
            raise InputError(f"{what}. Name another folder for the report.") from error
        raise InputError(
            f"{what}, and reports are kept with their site. Copy the site folder to where it can be written, and run "
            "the command there; its log is brought up to date then."
        ) from error


def _shown(values, declared):
    """Parameters that the page names: what was left empty says nothing."""
    values = {k: str(values.get(k, v)) for k, v in declared.items() if k not in _GIVEN_PARAMETERS}
    return [(k, v) for k, v in values.items() if v]


def _read_template(kind, notebook):
    """Return the place and the content of the notebook to run."""
    import nbformat

    template = Path(notebook) if notebook else notebooks_dir() / KINDS[kind].notebook
    if not template.is_file():
        raise InputError(f"{template}: no such notebook. Install qckit again, or name another notebook.")
    return template, nbformat.read(template, as_version=4)


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

    Examples
    --------
    >>> reports.run_reports([], site.folder)
    []
    """
    jobs = list(jobs)
    settings = load_settings(site)
    now = moment_of(now, settings)
    if jobs:
        _make(settings.folder / REPORTS_FOLDER)

    def one(job):
        try:
            return run_report(
                job[0], settings.folder, job[1], now=now, index=False, notebook=(notebooks or {}).get(job[0])
            )
        except QcError as error:
            return error

    results: list = [None] * len(jobs)
    with ThreadPoolExecutor(max_workers=max(1, int(workers))) as pool:
        pending = {pool.submit(heard_here(one), job): i for i, job in enumerate(jobs)}
        for done, future in enumerate(as_completed(pending), start=1):
            i = pending[future]
            results[i] = future.result()
            if progress:
                progress(done, len(jobs), f"{jobs[i][0]} {' '.join(str(v) for v in jobs[i][1].values() if v)}")
    if jobs:
        pages = [str(result.html) for result in results if isinstance(result, ReportRun)]
        with _standing(first_few(pages, 3)) if pages else contextlib.nullcontext():
            write_index(settings.folder)
    return results


def changed_copy(kind: str, site: str | Path) -> Path | None:
    """Find the site's own copy of a report's notebook where its cells differ from the kit's; None where they do not.

    The cell of parameters may differ: whoever runs a copy by hand writes a month or a lot there.

    Parameters
    ----------
    kind : str
    site : path
        The site folder.

    Examples
    --------
    >>> reports.changed_copy("month", site.folder) is None
    True
    """
    name = KINDS[kind].notebook
    copy = Path(site) / "notebooks" / name
    if not copy.is_file():
        return None
    try:
        return copy if _cells_of(copy) != _cells_of(notebooks_dir() / name) else None
    except (OSError, ValueError, TypeError, KeyError, AttributeError):  # half-saved, or no notebook: not the kit's
        return copy


def _cells_of(path: Path) -> list[tuple[str, str]]:
    """The cells of a notebook as they were written, but for parameters and outputs."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    kept = [cell for cell in cells if "parameters" not in cell.get("metadata", {}).get("tags", ())]
    found = [(cell["cell_type"], "".join(cell["source"]).strip()) for cell in kept]
    return [cell for cell in found if cell[1]]  # JupyterLab adds an empty cell at the end


def _subject(kind: str, given: Mapping, where: str) -> str:
    name = KINDS[kind].subject
    if not str(given.get(name, "")).strip():
        raise InputError(f"{where}: the parameter {name} is empty. Say which {name} the report is about.")
    return given[name]


def _read_finding(result: Path, where: str, made_at: str) -> dict:
    path = result / FINDINGS_FILE
    if not path.is_file():
        raise InputError(f"{where}: it ran but saved no findings. Call reports.save_findings(finding, out_dir) in it.")
    finding = json.loads(path.read_text(encoding="utf-8"))
    return finding | {"made": made_at, "software": f"qckit {__version__}"}


def _write_results(executed, result: Path, *, finding: dict, shown: list, title: str, made_at: str, dates: SiteDates):
    import nbformat

    page = page_html(
        executed,
        title=title,
        made=f"Made {made_at} by qckit {__version__}.",
        parameters=shown,
        versions=_versions(),
        photos=finding["photos"],
        records=finding.get("records"),
        dates=dates,
    )
    (result / "report.html").write_text(page, encoding="utf-8")
    nbformat.write(for_keeping(executed), result / "notebook.ipynb")
    text = json.dumps(finding, ensure_ascii=False, indent=1, allow_nan=False)
    (result / FINDINGS_FILE).write_text(text + "\n", encoding="utf-8")


def _versions() -> list[tuple[str, str]]:
    found = [("qckit", __version__), ("Python", platform.python_version())]
    for name in _VERSIONS:
        with contextlib.suppress(metadata.PackageNotFoundError):
            found.append((name, metadata.version(name)))
    return found


def _notice_settings(settings: Settings) -> None:
    """Note settings that are not as last used before the page is made, so that its seal covers what it goes by; a log
    that may only be read stays as it is."""
    path = sqlite_path(log_url(settings))
    if path is None or may_write(path):
        with open_log(settings.folder) as log:
            notice_settings(log)


def _enter_in_log(site: Path, run: ReportRun, made_at: str) -> None:
    """Note the report in the site's log, so that a figure can be followed from it to the photos."""
    row = {
        "report": report_name(run.folder, made_at),
        "kind": run.kind,
        "subject": run.subject,
        "made_at": made_at,
        "figures": json.dumps(run.finding["figures"], ensure_ascii=False),
        "hatches": json.dumps(run.finding["hatches"], ensure_ascii=False),
        "software": run.finding["software"],
        "path": f"{REPORTS_FOLDER}/{run.folder.name}/report.html",
    }
    with open_log(site) as log:
        log.add("reports", pd.DataFrame([row]), **PAGE_STEP)
