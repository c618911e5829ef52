"""All evidence of one lot as a folder for someone who has no qckit: plain tables, photos, pages, checksums."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from qckit import __version__
from qckit.errors import InputError, file_fault, unknown_name
from qckit.files import safe_name, spreadsheet_csv
from qckit.hatch import describe_columns
from qckit.hatch.lots.doubted import Doubted
from qckit.log import SiteLog, engine, seal_of
from qckit.log.corrections import value_text
from qckit.log.history import History, hatches_ever_of, time_of, trace
from qckit.log.kept_pages import Page, pages_of, trace_pages
from qckit.log.packing import travelling_settings
from qckit.log.photo_files import content_sum, files_by_content, find_photo, list_photos
from qckit.log.query import WITHDRAWN, fetch
from qckit.log.schema import KEYS
from qckit.log.site_dates import SiteDates
from qckit.setting_changes import in_force
from qckit.settings import SETTINGS_FILE
from qckit.verdicts.month.set_aside import aside_table
from qckit.words import noun, plural, row_words

__all__ = ["LotFolder", "write_evidence"]

SUMS = "SHA256SUMS.txt"


@dataclass(frozen=True)
class LotFolder:
    """What a folder of evidence holds, and what it lacks.

    Attributes
    ----------
    folder : Path
    n_files : int
    lacking : list of str
        Sentences about photos and pages that are not there, or are not the ones that were used.
    seal : str
        Of the log from which it was made.

    Examples
    --------
    >>> str(reports.LotFolder(Path("K-121"), 40, [], "14-0f"))
    'K-121: 40 files.'
    """

    folder: Path
    n_files: int
    lacking: list[str]
    seal: str

    def __str__(self) -> str:
        """Say it in a few lines."""
        return "\n".join([f"{self.folder}: {plural(self.n_files, 'file')}.", *self.lacking])


def write_evidence(
    log: SiteLog, lot: str, folder: str | Path, *, figures: pd.DataFrame, doubts: Mapping[str, Doubted] | None = None
) -> LotFolder:
    """Write all that the records hold about a lot into a new folder; of a lot that was withdrawn, too.

    Parameters
    ----------
    log : SiteLog
    lot : str
    folder : path
        New, or empty.
    figures : DataFrame
        The lot's rows of ``site.hatches``; none where it was withdrawn or never hatched.
    doubts : mapping of str to Doubted, optional
        Hatches of the site whose figures cannot or can hardly be; the readme names those of the lot.

    Returns
    -------
    LotFolder

    Raises
    ------
    InputError
        There never was such a lot, or the folder holds something.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     made = reports.write_evidence(records, "K-124", "K-124", figures=site.hatches(lot="K-124"))
    >>> (made.folder / "README.txt").exists()
    True
    """
    folder = Path(folder)
    descent = _descent(log, lot)
    if descent.entered.empty:
        raise unknown_name("lot", lot, log.lots()["lot"])
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder}: is there already and is not empty. Give a new folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        pages = pages_of(log.folder)
        tables, histories = _tables(log, descent, pages)
        lacking = _photos(log, _counted_photos(tables), folder / "photos")
        lacking += _pages(pages, tables["reports"], folder / "reports")
        _write_tables(tables | {"figures": figures, "history": histories}, folder / "tables")
        if settings := travelling_settings(log.folder):
            (folder / SETTINGS_FILE).write_text(settings, encoding="utf-8")
        seal = str(seal_of(log))
        doubted = [one for one in (doubts or {}).values() if one.hatch in set(figures["hatch"])]
        remarks = "\n".join([_left_out_words(tables["left_out"]), *_doubted_words(doubted, tables["signals"])])
        (folder / "README.txt").write_text(_readme(log, lot, seal, lacking, remarks), encoding="utf-8")
        n_files = _write_sums(folder)
    except OSError as error:
        raise file_fault(error) from error
    return LotFolder(folder, n_files, lacking, seal)


@dataclass(frozen=True)
class _Descent:
    """A lot's own row as it was entered, its corrections, and the steps of both."""

    lot: str
    entered: pd.DataFrame
    corrections: pd.DataFrame
    steps: pd.DataFrame

    def to_frame(self) -> pd.DataFrame:
        """Return them as rows of the history: what was entered, and each correction."""
        made = self.steps.set_index("step")
        rows = []
        for row in self.entered.to_dict("records"):
            step = made.loc[row.pop("step")]
            values = ", ".join(f"{name} {text}" for name, value in row.items() if (text := value_text(value)))
            rows.append(("lot", self.lot, values, step["at"], step["by"], step["source"], step["software"], ""))
        for fix in self.corrections.itertuples():
            change = f"{fix.column}: {value_text(fix.before) or 'nothing'} -> {value_text(fix.after) or 'nothing'}"
            step = made.loc[fix.step]
            source, software = step["source"], step["software"]
            rows.append(("correction of lots", self.lot, change, fix.at, fix.by, source, software, fix.reason))
        return pd.DataFrame(rows, columns=_HISTORY[1:]).assign(hatch="").fillna("")


_HISTORY = ["hatch", "level", "what", "value", "at", "by", "source", "software", "reason"]


def _descent(log: SiteLog, lot: str) -> _Descent:
    """Read a lot's own row as it was entered, withdrawn or not, with what became of it."""
    with engine.reading(log.engine) as connection:
        entered = fetch(connection, "lots", {"lot": lot}, corrected=False, internal=True)
        fixes = fetch(connection, "corrections", {"table": "lots", "key1": lot}, internal=True)
        steps = sorted({int(step) for frame in (entered, fixes) for step in frame["step"]})
        return _Descent(lot, entered, fixes, fetch(connection, "steps", {"step": steps}))


def _tables(log: SiteLog, descent: _Descent, pages: list[Page]) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Gather the lot's rows of each table, and the descent of the lot and of each hatch in one table."""
    lot = descent.lot
    hatches = log.hatches(lot=lot)
    names = hatches["hatch"].tolist()
    ever = [*names, *(name for name in hatches_ever_of(log, lot) if name not in set(names))]
    traced = [trace(log, name, pages=pages) for name in ever]
    samples = log.samples(lot=lot, counted=None)
    photos = log.photos(sample=samples["sample"].tolist()) if len(samples) else log.table("photos").iloc[:0]
    in_photos = photos["photo"].tolist()
    reports = [h.reports for h in traced if len(h.reports)]
    corrections = [*(h.corrections for h in traced), descent.corrections]
    shown = list(log.corrections(key="").columns)
    tables = {
        "lots": log.lots(lot),
        "hatches": hatches,
        "readings": log.table("readings", hatch=names),
        "samples": samples,
        "photos": photos,
        "objects": log.table("objects", photo=in_photos),
        "corrections": pd.concat(corrections)[shown].drop_duplicates(ignore_index=True),
        "steps": pd.concat([descent.steps, *(h.steps for h in traced)]).drop_duplicates("step").sort_values("step"),
        "scales": log.table("scales"),
        "certificates": log.table("certificates"),
        "checks": log.table("checks", hatch=names),
        "feeds": log.table("feeds", hatch=names),
        "signals": _of_lot(log.table("signals"), lot, names),
        "baselines": _of_lot(log.table("baselines"), lot),
        "reports": pd.concat(reports).drop_duplicates("report") if reports else log.reports().iloc[:0],
    }
    if ever:  # where none of its hatches stands, the time of those that were
        started = hatches if names else pd.concat([h.hatch for h in traced])
        taken = samples if names else pd.concat([h.samples for h in traced])
        tables["setting_changes"] = in_force(log.setting_changes(), *time_of(started, taken, tables["reports"]))
    tables["left_out"] = _left_out(tables, descent, traced)
    histories = [h.to_frame().assign(hatch=name) for name, h in zip(ever, traced, strict=True)]
    return tables, pd.concat([descent.to_frame(), *histories])[_HISTORY]


def _of_lot(rows: pd.DataFrame, lot: str, hatches: Iterable[str] = ()) -> pd.DataFrame:
    """Rows of the lot, and of its hatches where they name no lot."""
    mine = rows["lot"] == lot
    return rows[mine | rows["hatch"].isin(list(hatches))] if "hatch" in rows else rows[mine]


def _left_out(tables: dict[str, pd.DataFrame], descent: _Descent, traced: list[History]) -> pd.DataFrame:
    """Gather what was entered under the lot and does not count as its own any more: withdrawn, or moved elsewhere."""
    rows = []
    if tables["lots"].empty:
        rows.append(("lots", descent.lot, "", *_last_word(descent.corrections, "lots", descent.lot)))
    for history in traced:
        for table, entered in (("hatches", history.hatch), ("samples", history.samples), ("photos", history.photos)):
            key = KEYS[table][0]
            newest = entered.drop_duplicates(key, keep="last")
            for row in newest[~newest[key].isin(set(tables[table][key]))].to_dict("records"):
                rows.append((table, row[key], row.get("sha256", ""), *_last_word(history.corrections, table, row[key])))
    columns = ["table", "key", "sha256", "became", "at", "by", "reason"]
    return pd.DataFrame(rows, columns=columns).drop_duplicates(ignore_index=True)


def _last_word(fixes: pd.DataFrame, table: str, key: str) -> tuple[str, str, str, str]:
    """Return what became of a row that is left out, when, by whom and why; or that what it hangs on is left out."""
    fixes = fixes[(fixes["table"] == table) & (fixes["key1"] == key)]
    for fix in fixes[::-1].itertuples():
        if fix.column == WITHDRAWN and fix.after != "yes":
            break
        if fix.column in (WITHDRAWN, "lot", "hatch"):
            became = "withdrawn" if fix.column == WITHDRAWN else f"{fix.column} is now {fix.after}"
            return became, fix.at, fix.by, fix.reason
    return "left out with what it hangs on", "", "", ""


def _counted_photos(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Photos of the lot as they stand, and those of rows that are left out."""
    left_out = tables["left_out"]
    left_out = left_out[left_out["table"] == "photos"].rename(columns={"key": "photo"})
    return pd.concat([frame[["photo", "sha256"]] for frame in (tables["photos"], left_out)])


def _photos(log: SiteLog, photos: pd.DataFrame, folder: Path) -> list[str]:
    """Copy the photos, renamed ones too; say which are missing, and which are not the files that were counted."""
    lacking, listing = [], list_photos(log.folder)
    places = {row.photo: find_photo(log.folder, row.photo, listing) for row in photos.itertuples()}
    sums = dict(zip(photos["photo"], photos["sha256"], strict=True))
    lost = {sums[name] for name, path in places.items() if path is None or content_sum(path) != sums[name]}
    elsewhere = files_by_content(log.folder, lost, listing)
    folder.mkdir()
    for photo, path in places.items():
        path = elsewhere.get(sums[photo], path)
        if path is None:
            lacking.append(f"Photo {photo}: its file is not in the site's folder any more.")
            continue
        if sums[photo] in lost - set(elsewhere):
            lacking.append(f"Photo {photo}: its file is not the one that was counted (SHA-256 {sums[photo]}).")
        (folder / _file_name(photo)).write_bytes(path.read_bytes())
    return lacking


def _file_name(photo: str) -> str:
    return safe_name(photo.replace("\\", "/").replace("/", "_"), limit=120)


def _pages(pages: list[Page], reports: pd.DataFrame, folder: Path) -> list[str]:
    """Copy every page whose figures rest on the lot's hatches, the earlier ones too."""
    folder.mkdir()
    if reports.empty:
        return []
    by_place = {page.place: page for page in pages}
    traced = trace_pages(reports[["report"]], pages)
    for place in traced["place"]:
        if place in by_place:
            by_place[place].copy_to(folder)
    words = {"changed": "is not as it was made", "gone": "is not kept any more"}
    return [f"Page {r.report}: {words[r.state]}." for r in traced.itertuples() if r.state in words]


def _write_tables(tables: dict[str, pd.DataFrame], folder: Path) -> None:
    folder.mkdir()
    about = []
    for name, frame in tables.items():
        (folder / f"{name}.csv").write_bytes(spreadsheet_csv(frame))
        about.append(describe_columns(frame).assign(table=name))
    columns = pd.concat(about)[["table", "column", "unit", "meaning"]]
    (folder / "columns.csv").write_bytes(spreadsheet_csv(columns))


def _write_sums(folder: Path) -> int:
    """List the SHA-256 of every file, as ``sha256sum -c`` reads it."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    lines = [f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {p.relative_to(folder).as_posix()}\n" for p in files]
    (folder / SUMS).write_text("".join(lines), encoding="utf-8", newline="\n")
    return len(files) + 1


_README = """\
Evidence about the lot {lot} of {site}
{rule}

Written on {now} by qckit {version} from the site's log, by its own clock.
Nothing in this folder needs qckit: tables are CSV (UTF-8, comma, point as the decimal sign), pages open in any browser.

README.txt      this text
SHA256SUMS.txt  the SHA-256 of every other file
tables/         a file a table; columns.csv says the unit and meaning of each column
  figures.csv     a row a hatch: every figure with its interval (_low, _high); without rows where no hatch stands
  history.csv     how the lot and each figure came about: what was entered, by whom, when, from which file, with which
                  version of the software; every recount and correction with its reason; the values before and after
  hatches.csv, readings.csv, samples.csv, photos.csv, objects.csv ...
                  the records as they stand, corrections applied
  signals.csv, baselines.csv
                  what the monthly reviews found of these hatches, what a person set aside or called right and why, and
                  the limits that were frozen for this lot
  corrections.csv, steps.csv
                  every correction, and every step that brought these records
  left_out.csv    what was entered under this lot and is none of these records any more (withdrawn, or moved to
                  another lot or hatch), when, by whom and why; its values stand in history.csv
  setting_changes.csv
                  the settings in the time of these hatches: what each was at its beginning, where that is on record,
                  and every change (before, after, when and by whose work it was noticed, since when at the earliest)
photos/         the photos that were counted, of what was left out too; photos.csv and left_out.csv have the SHA-256
                under which each was counted
reports/        the pages that rest on these hatches, as they were made; in earlier/ those that were made again since
                (pages of a month speak of other lots too)
qckit.toml      the site's settings as they are now; those of a page are in its findings.json, under settings

Are these files unchanged since this folder was written?  In this folder run
  Linux, macOS:  sha256sum -c SHA256SUMS.txt      (macOS: shasum -a 256 -c SHA256SUMS.txt)
  Windows:       Get-FileHash -Algorithm SHA256 FILE      and compare with the line of SHA256SUMS.txt
Keep SHA256SUMS.txt, or its own SHA-256, where nobody who could change the folder can reach it.

Are these records those of the site's log?  The seal of the log, as this folder was written:
  {seal}
The site runs  qckit log seal SEAL  to show that no record up to that step was changed, added or taken out since.
Every page has the seal of its own day at its foot.

{remarks}
{lacking}
"""


def _left_out_words(left_out: pd.DataFrame) -> str:
    """Say what was left out, each with its reason; photos and what hangs on others stand in the table alone."""
    named = left_out[(left_out["table"] != "photos") & (left_out["at"] != "")]
    of_lot = named[named["table"] == "lots"]
    if len(of_lot):  # thousands of rows go with a lot that is withdrawn: it stands for them
        went = ["became", "at", "by", "reason"]
        with_it = (named[went] == of_lot[went].iloc[0]).all(axis=1)
        named = pd.concat([of_lot, named[~with_it]])
    if named.empty:
        return "Nothing was left out: all that was entered under this lot is here."
    lines = [f"  {row_words(r.table, r.key)}: {r.became}, by {r.by}, {r.at}: {r.reason}" for r in named.itertuples()]
    return "\n".join([f"Left out since it was entered ({len(lines)}; all of it in tables/left_out.csv):", *lines, ""])


def _doubted_words(doubted: list[Doubted], signals: pd.DataFrame) -> list[str]:
    """Name the hatches whose figures stand in figures.csv and cannot or can hardly be; who set one aside, and why."""
    if not doubted:
        return []
    aside = {row.hatch: f"; set aside by {row.by}: {row.reason}" for row in aside_table(signals).itertuples()}
    head = (
        f"Figures that cannot or can hardly be ({len(doubted)}): no dose, no mean of nauplii per gram and no limits "
        "set from now on rest on them."
    )
    return [head, *(f"  {one.hatch}: {one.why}{aside.get(one.hatch, '')}." for one in doubted), ""]


def _readme(log: SiteLog, lot: str, seal: str, lacking: list[str], remarks: str) -> str:
    title = f"Evidence about the lot {lot} of {log.settings.site.name}"
    n = len(lacking)
    missing = [f"What is missing or differs ({n} {noun(n, 'thing')}):", *(f"  {line}" for line in lacking)]
    dates = SiteDates(log.settings)
    return _README.format(
        lot=lot,
        site=log.settings.site.name,
        rule="=" * min(len(title), 100),
        now=dates.text(log.now()),
        version=__version__,
        seal=seal,
        remarks=remarks,
        lacking="\n".join(missing) if lacking else "Nothing is missing: every photo and page named is here, unchanged.",
    )
