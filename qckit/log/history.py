"""Where a figure comes from: report, samples, photos, objects, corrections, steps and software."""

from __future__ import annotations

import difflib
import json
import shlex
from dataclasses import dataclass

import pandas as pd

from qckit.columns import is_missing
from qckit.errors import InputError, unknown_name
from qckit.flag_words import say_flags
from qckit.log import engine, query, schema
from qckit.log.counted import tally
from qckit.log.kept_pages import Page, pages_of, trace_pages
from qckit.log.kept_settings import rows_of
from qckit.object_rows import ADDED, FOUND, REMOVED, RESTAGED
from qckit.setting_changes import changes_between
from qckit.settings import SETTINGS_FILE
from qckit.stages import STAGE_COLUMNS
from qckit.tables import to_utc
from qckit.words import number, row_words, spaced

__all__ = ["History", "hatches_ever_of", "time_of", "trace"]

COLUMNS = ("level", "what", "value", "at", "by", "source", "software", "reason")
"""Columns of the tidy history; levels: report, hatch, reading, sample, photo, objects, feed, setting, correction of
…."""


_INDENT = {
    "report": 0,
    "hatch": 0,
    "photo": 2,
    "objects": 3,
    "correction of samples": 2,
    "correction of photos": 3,
    "correction of objects": 4,
    "correction of feeds": 2,
}


@dataclass(frozen=True)
class History:
    """The descent of a hatch's figures.

    Attributes
    ----------
    hatch : DataFrame, one row
        As it stands now.
    reports : DataFrame
        Reports whose figures rest on this hatch, with the place of each page as it was made and its state (as made,
        changed, gone).
    samples : DataFrame
        Every revision as entered, oldest first, with step.
    photos : DataFrame
        Every count of every photo, with step.
    objects : DataFrame
        A row for each photo's newest count: found, by hand added, changed and removed; and the counts.
    corrections : DataFrame
        Of the hatch, its readings, samples, photos, objects and feeds, with step.
    steps : DataFrame
        The steps that brought any of these: at, by, action, source, source_sha256, software.
    setting_changes : DataFrame
        Of the site, from the hatch's start to its newest sample or page.
    """

    hatch: pd.DataFrame
    reports: pd.DataFrame
    samples: pd.DataFrame
    photos: pd.DataFrame
    objects: pd.DataFrame
    corrections: pd.DataFrame
    steps: pd.DataFrame
    readings: pd.DataFrame
    feeds: pd.DataFrame
    setting_changes: pd.DataFrame

    def to_frame(self) -> pd.DataFrame:
        """Return the descent as one tidy table, columns of ``COLUMNS``, from the report down.

        Each revision of a sample is followed by the photos it was counted from, each photo by its objects and their
        corrections.
        """
        return self._with_steps()[list(COLUMNS)]

    def _with_steps(self) -> pd.DataFrame:
        """The descent, and with each row the step that it came with: of one second there may be several."""
        rows = [
            (
                "report",
                f"{r.kind} {r.subject}: {r.report}",
                _figures(r.figures),
                r.made_at,
                "",
                _place(r),
                r.software,
                "",
                None,
            )
            for r in self.reports.itertuples()
        ]
        rows += [self._row("hatch", row.hatch, _hatch_value(row), row.step) for row in self.hatch.itertuples()]
        rows += self._fixes("hatches") + self._fixes("checks")
        rows += [
            self._row("reading", row.taken, f"{row.quantity} {row.value:g} {row.unit}", row.step)
            for row in self.readings.itertuples()
        ]
        rows += self._fixes("readings")
        for sample in dict.fromkeys(self.samples["sample"]):
            rows += self._sample(sample)
        for row in self.feeds.itertuples():
            notes = "" if pd.isna(row.notes) else f" ({row.notes})"
            rows.append(self._row("feed", row.feed, f"{number(row.nauplii)} nauplii at {row.fed}{notes}", row.step))
            rows += self._fixes("feeds", row.feed)
        for row in self.setting_changes.itertuples():
            change = f"{row.before or 'empty'} -> {row.after or 'empty'} (changed after {row.since})"
            rows.append(("setting", row.setting, change, row.noticed_at, row.by, SETTINGS_FILE, "", "", None))
        frame = pd.DataFrame(rows, columns=[*COLUMNS, "step"])
        return frame.assign(step=frame["step"].astype("Int64"), **frame[list(COLUMNS)].fillna(""))

    def _sample(self, sample: str) -> list[tuple]:
        """One sample: its revisions, the photos each was counted from, what was corrected."""
        rows, newest = [], self.photos.groupby("photo")["revision"].max()
        for row in self.samples[self.samples["sample"] == sample].itertuples():
            rows.append(self._row("sample", f"{sample}, revision {row.revision}", _sample_value(row), row.step))
            mine = (self.photos["sample"] == sample) & (self.photos["sample_revision"] == row.revision).fillna(False)
            for photo in self.photos[mine].itertuples():
                what = f"{photo.photo}, count {photo.revision + 1}"
                rows.append(self._row("photo", what, _photo_value(photo), photo.step))
                if photo.revision == newest[photo.photo]:
                    rows += self._objects(photo.photo)
        return rows + self._fixes("samples", sample)

    def _objects(self, photo: str) -> list[tuple]:
        o = self.objects[self.objects["photo"] == photo].iloc[0]
        words = (("n_added", "added"), ("n_changed", "changed"), ("n_removed", "removed"))
        by_hand = ", ".join(f"{o[column]} {word}" for column, word in words if o[column])
        counts = ", ".join(f"{name} {o[name]:.0f}" for name in STAGE_COLUMNS.values())
        value = f"{o['n_objects']} objects{f', by hand {by_hand}' if by_hand else ''}; counted: {counts}"
        row = ("objects", photo, value, "", "", "", "", "", None)
        return [row, *self._fixes("photos", photo), *self._fixes("objects", photo)]

    def _row(self, level: str, what: str, value: str, step) -> tuple:
        made = self.steps[self.steps["step"] == step].iloc[0]
        return (level, str(what), value, made["at"], made["by"], made["source"], made["software"], "", step)

    def _fixes(self, table: str, key1: str | None = None) -> list[tuple]:
        """Corrections of a table, or of the rows under one name."""
        of = self.corrections[self.corrections["table"] == table]
        if key1 is not None:
            of = of[of["key1"] == key1]
        rows = []
        for c in of.itertuples():
            made = self.steps[self.steps["step"] == c.step]
            change = f"{c.column}: {_or_nothing(c.before)} -> {_or_nothing(c.after)}"
            source, row = made["source"].iloc[0], row_words(table, c.key).removeprefix(f"{table} ")
            software = made["software"].iloc[0]
            rows.append((f"correction of {table}", row, change, c.at, c.by, source, software, c.reason, c.step))
        return rows

    @property
    def text(self) -> str:
        """The descent as indented lines, each naming the step it came with; the steps stand below."""
        lines = []
        for row in self._with_steps().itertuples():
            otherwise = [row.at, row.by and f"by {row.by}", row.source, row.software]
            made = otherwise if pd.isna(row.step) else [f"step {row.step}"]
            made = ", ".join(str(p) for p in [*made, row.reason and f"because {row.reason}"] if p)
            lines.append(f"{'  ' * _INDENT.get(row.level, 1)}{row.level} {row.what}: {row.value}")
            lines[-1] += f"  [{made}]" if made else ""
        lines += ["", "Steps that brought this:"] if len(self.steps) else []
        for s in self.steps.itertuples():
            source = "" if pd.isna(s.source) or not s.source else f" from {s.source}"
            file = "" if pd.isna(s.source_sha256) else f" (sha256 {s.source_sha256[:12]}…)"
            lines.append(f"  step {s.step}: {s.action}{source}{file}, by {s.by}, {s.at}, {s.software}")
        return "\n".join(lines)


def _place(report) -> str:
    """Say where the page lies as it was made on that day, or that it does not."""
    if report.state == "changed":
        return f"{report.place} (changed since)"
    return report.place or f"{report.path} (no longer kept)"


def _or_nothing(value) -> str:
    return "nothing" if is_missing(value) or value == "" else str(value)


def _figures(text) -> str:
    try:
        figures = json.loads(text)
    except (TypeError, ValueError):
        return ""
    if isinstance(figures, dict):
        return ", ".join(f"{k} {v}" for k, v in figures.items())
    return ", ".join(map(_figure, figures))


_UNKNOWN = "not known"


def _figure(f: dict) -> str:
    value, low, high = (_short(f.get(k), f.get("decimals")) for k in ("value", "low", "high"))
    unit = f" {f['unit']}" if f.get("unit") else ""
    span = "" if low == high == _UNKNOWN else f" ({low} to {high})"
    return f"{f.get('label') or f.get('name')} {value}{unit}{span}"


def _short(value, decimals=None) -> str:
    if not isinstance(value, (int, float)) or value != value:
        return _UNKNOWN
    return spaced(value, ".6g") if decimals is None else number(value, decimals)


def _hatch_value(row) -> str:
    where = f"lot {row.lot}, {row.purpose}, cone {row.cone}"
    return f"{where}, {row.cysts_g:g} g in {row.volume_ml:g} ml, started {row.started}"


def _sample_value(row) -> str:
    counts = [
        f"{name} {getattr(row, name)}"
        for name in (*STAGE_COLUMNS.values(), "embryos")
        if not pd.isna(getattr(row, name))
    ]
    counter = "" if pd.isna(row.counter) else f" ({row.counter})"
    return (", ".join(counts) or "counts still to come") + f"; counted by {row.counted_by}{counter}"


def _photo_value(row) -> str:
    parts = [
        f"sha256 {row.sha256[:12]}…",
        "" if pd.isna(row.um_per_px) else f"{row.um_per_px:g} µm/px",
        "" if pd.isna(row.counter_version) else f"counter {row.counter_version}",
        f"flagged: {flagged}" if (flagged := say_flags(row.flags)) else "",
    ]
    return ", ".join(p for p in parts if p)


def trace(log, name: str, *, pages: list[Page] | None = None) -> History:
    """Gather everything the figures of a hatch, a sample or a photo rest on.

    Parameters
    ----------
    log : SiteLog
    name : str
        Of a hatch; or of a sample or a photo: then of its hatch, and no other sample or photo of it.
    pages : list of Page, optional
        The site's pages, where they were read already.

    Returns
    -------
    History

    Raises
    ------
    InputError
        There is no such hatch, sample or photo.
    """
    with engine.reading(log.engine) as connection:
        hatch, only = _hatch_of(connection, name)

        def fetch(table, equals, **options):
            return query.fetch(connection, table, equals, internal=True, **options)

        row = fetch("hatches", {"hatch": hatch})
        if row.empty:
            row = fetch("hatches", {"hatch": hatch}, corrected=False)  # a withdrawn hatch has a history as well
        samples = fetch(
            "samples",
            {"sample": only.get("sample") or _samples_ever_of(connection, hatch)},
            revisions="all",
            corrected=False,
            order=("taken_utc", "sample", "revision"),
        )
        names = sorted(set(samples["sample"]))
        photos = fetch("photos", {"sample": names, "photo": only.get("photo")}, revisions="all", corrected=False)
        photo_names = sorted(set(photos["photo"]))
        objects = query.fetch(connection, "objects", {"photo": photo_names})
        readings = fetch("readings", {"hatch": hatch}, corrected=False)
        feeds = fetch("feeds", {"hatch": hatch}, corrected=False, order=("fed", "feed"))
        corrections = _corrections(connection, hatch, names, photo_names, feeds["feed"].tolist())
        reports = query.fetch(connection, "reports", order=("made_at",))
        reports = reports[reports["hatches"].map(lambda text: _names_hatch(text, hatch)).astype(bool)]
        used = set().union(*(set(f["step"].dropna()) for f in (row, samples, photos, readings, feeds, corrections)))
        steps = query.fetch(connection, "steps", {"step": sorted(int(s) for s in used)})
    if pages is None:
        pages = pages_of(log.folder) if len(reports) and str(log.folder) != "." else []
    return History(
        hatch=row,
        reports=reports.merge(trace_pages(reports, pages), on="report"),
        samples=samples,
        photos=photos,
        objects=_by_photo(objects, photos),
        corrections=corrections,
        steps=steps,
        readings=readings,
        feeds=feeds,
        setting_changes=changes_between(rows_of(log), *time_of(row, samples, reports)),
    )


def time_of(hatches: pd.DataFrame, samples: pd.DataFrame, reports: pd.DataFrame) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return the time of figures: from the first start to the newest start, sample or page."""
    started = to_utc(hatches["started"])
    return started.min(), pd.concat([started, to_utc(samples["taken"]), to_utc(reports["made_at"])]).max()


def hatches_ever_of(log, lot: str) -> list[str]:
    """Name every hatch that was ever entered or corrected as one of a lot, withdrawn ones too.

    Parameters
    ----------
    log : SiteLog
    lot : str

    Returns
    -------
    list of str
        None where there never was such a lot.
    """
    with engine.reading(log.engine) as connection:
        return _ever_of(connection, "hatches", "lot", lot)


def _samples_ever_of(connection, hatch: str) -> list[str]:
    return _ever_of(connection, "samples", "hatch", hatch)


def _ever_of(connection, table: str, column: str, parent: str) -> list[str]:
    """Name the rows that hung on a parent when they were entered, or were put under it or taken from it since."""
    entered = query.fetch(connection, table, {column: parent}, revisions="all", corrected=False)
    moved = query.fetch(connection, "corrections", {"table": table, "column": column}, internal=True)
    moved = moved[(moved["before"] == parent) | (moved["after"] == parent)]
    return list(dict.fromkeys([*entered[schema.KEYS[table][0]], *moved["key1"]]))


def _hatch_of(connection, name: str) -> tuple[str, dict]:
    """Find the hatch of a name, and what alone is asked about where it names a sample or a photo."""
    if not query.fetch(connection, "hatches", {"hatch": name}, corrected=False).empty:
        return name, {}
    photo = query.fetch(connection, "photos", {"photo": name}, corrected=False)["sample"].dropna().tolist()
    sample = photo[-1] if photo else name
    found = query.fetch(connection, "samples", {"sample": sample}, corrected=False)["hatch"].tolist()
    if not found:
        hatches, samples, photos = (query.known_names(connection, t) for t in ("hatches", "samples", "photos"))
        near = difflib.get_close_matches(name, [*hatches, *samples, *photos], n=1)
        known = [*(n for n in near if n not in hatches), *hatches]  # not a list of thousands of photos
        if not query.fetch(connection, "lots", {"lot": name}, corrected=False).empty:
            lot = shlex.quote(name)
            raise InputError(
                f"{name} is a lot, and this takes a hatch, a sample or a photo. A lot's hatches:  qckit log show "
                f"hatches --lot {lot} ; all about it in a folder:  qckit log evidence {lot} FOLDER"
            )
        raise unknown_name("hatch, sample or photo", name, known)
    return found[-1], {"sample": sample} | ({"photo": name} if photo else {})


def _corrections(connection, hatch: str, samples: list[str], photos: list[str], feeds: list[str]) -> pd.DataFrame:
    frames = [
        query.fetch(connection, "corrections", {"table": table, "key1": keys}, internal=True)
        for table, keys in (
            ("hatches", [hatch]),
            ("readings", [hatch]),
            ("checks", [hatch]),
            ("samples", samples),
            ("photos", photos),
            ("objects", photos),
            ("feeds", feeds),
        )
    ]
    return pd.concat(frames, ignore_index=True).sort_values("correction", ignore_index=True)


def _names_hatch(text, hatch: str) -> bool:
    try:
        return hatch in json.loads(text)
    except (TypeError, ValueError):
        return False


def _by_photo(objects: pd.DataFrame, photos: pd.DataFrame) -> pd.DataFrame:
    """Sum up the objects of each photo's newest count by where they come from, with the counts."""
    names = list(dict.fromkeys(photos["photo"]))
    kinds = {
        "n_found": FOUND,
        "n_added": ADDED,
        "n_changed": RESTAGED,
        "n_removed": REMOVED,
    }
    table = pd.DataFrame({"photo": pd.Series(names, dtype="str")})
    table["n_objects"] = [int((objects["photo"] == n).sum()) for n in names]
    for column, source in kinds.items():
        of_kind = objects.loc[objects["source"] == source, "photo"].value_counts()
        table[column] = [int(of_kind.get(n, 0)) for n in names]
    return table.merge(tally(objects).rename_axis("photo").reset_index(), on="photo", how="left").fillna(0)
