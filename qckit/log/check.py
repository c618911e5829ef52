"""What looks wrong in a log, with what to do about each: nothing is changed here."""

from __future__ import annotations

import math
import re
import unicodedata
from pathlib import Path

import pandas as pd

from qckit.log import engine, odd_times, plausible, query, row_rules, schema
from qckit.log.counted import tally
from qckit.log.photo_files import counted_file_faults, photo_doubts, recount_command, with_reasons
from qckit.log.problems import mending
from qckit.log.proof import proof_findings
from qckit.stages import STAGE_COLUMNS
from qckit.tables import TABLES, check_cell, to_utc

__all__ = ["FINDINGS", "check_log"]

FINDINGS = ("code", "severity", "table", "key", "what", "what_to_do")
"""Columns of the findings; severity is wrong or look."""

_FAR = 0.25  # of the objects in the photo: a sample's count this far off was not made from it


def check_log(log, *, photos: bool = True) -> pd.DataFrame:
    """Look through a whole log.

    Parameters
    ----------
    log : SiteLog
    photos : bool
        Read every photo file and compare its SHA-256 with the one it was counted under.

    Returns
    -------
    DataFrame, shape (n, 6)
        Columns of ``FINDINGS``; no rows when all is well.
    """
    found: list[tuple] = []
    with engine.reading(log.engine) as connection:
        tables = {name: query.fetch(connection, name, internal=True) for name in schema.ORDER if name != "objects"}
        steps = query.fetch(connection, "steps")
        found += _orphans(connection, tables)
        found += _impossible(tables)
        found += _without_counts(tables)
        found += _far_from_photo(connection, tables)
        found += _duplicate_times(tables)
        found += _same_names(tables)
        found += _clock_jumps(steps)
        found += _doubtful(log, tables)
        found += proof_findings(log, connection, tables["reports"])
    found += _photo_files(log, tables, read=photos)
    found += _file_system(log)
    return pd.DataFrame(with_reasons(found), columns=list(FINDINGS))


def _orphans(connection, tables) -> list[tuple]:
    """Rows whose parent is missing or withdrawn."""
    found = []
    for name, parents in schema.PARENTS.items():
        if name == "objects":
            continue
        for column, parent, parent_column in parents:
            named = tables[name][column].dropna()
            for index in named.index[~named.isin(set(tables[parent][parent_column]))]:
                row = tables[name].loc[index]
                key = query.key_text(name, tuple(row[k] for k in schema.KEYS[name]))
                found.append(
                    (
                        "orphan",
                        "wrong",
                        name,
                        key,
                        f"its {column} {row[column]!r} is not in {parent}, or was withdrawn",
                        f"Show that again:  {mending('reinstate', parent, row[column])};  or hide "
                        f"this row too:  {mending('withdraw', name, key)}",
                    )
                )
    if connection.dialect.name == "sqlite":
        for table, *_ in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
            found.append(
                (
                    "orphan",
                    "wrong",
                    table,
                    "",
                    "a row refers to one that does not exist",
                    "Restore the newest backup: the file was changed by another program.",
                )
            )
    return found


def _impossible(tables) -> list[tuple]:
    """Values outside their column's limits, and samples against their hatch's time."""
    found = []
    for name, frame in tables.items():
        for column in TABLES[name]:
            values = frame[column.name].dropna()
            if column.kind in ("float", "int"):
                low = -math.inf if column.low is None else column.low
                high = math.inf if column.high is None else column.high
                bad = values[(values < low) | (values > high)]
            elif column.kind in ("choice", "time", "date"):
                bad = values[[check_cell(name, column.name, v)[1] is not None for v in values]]
            else:
                continue
            for index, value in bad.items():
                key = query.key_text(name, tuple(frame.loc[index, list(schema.KEYS[name])]))
                found.append(
                    (
                        "impossible",
                        "wrong",
                        name,
                        key,
                        f"{column.name} is {value}",
                        f"Correct it:  {mending('correct', name, key, column.name, 'VALUE')}",
                    )
                )
    samples, hatches = tables["samples"], tables["hatches"].set_index("hatch")
    started, volume_ml = (samples["hatch"].map(hatches[c]) for c in ("started", "volume_ml"))
    for index, column, value, rule, _ in row_rules.broken_with_hatch(samples, to_utc(started), volume_ml):
        key = samples.at[index, "sample"]
        new = "TIME" if column == "taken" else "NUMBER"
        remedy = f"Correct {column}:  {mending('correct', 'samples', key, column, new)}"
        if column == "taken":
            hatch = samples.at[index, "hatch"]
            remedy += f";  or started:  {mending('correct', 'hatches', hatch, 'started', 'TIME')}"
        found.append(("impossible", "wrong", "samples", key, f"{column} {value} {rule}", remedy))
    return found


def _without_counts(tables) -> list[tuple]:
    samples = tables["samples"]
    counted = set(samples.loc[samples["nauplii"].notna(), "hatch"])
    uncounted = samples[samples["nauplii"].isna() & samples["photos"].notna()]
    found = [
        (
            "no counts",
            "look",
            "hatches",
            hatch,
            "has no counted sample",
            "Import its samples:  qckit log import SHEET;  photos that wait are counted by  qckit report.",
        )
        for hatch in tables["hatches"]["hatch"]
        if hatch not in counted
    ]
    found += [
        (
            "no counts",
            "look",
            "samples",
            s.sample,
            f"waits for the count of {s.photos}",
            "Its photos are there:  qckit report  counts them; or enter a person's count:  "
            f"{recount_command(s.sample)}",
        )
        for s in uncounted.itertuples()
    ]
    return found


def _far_from_photo(connection, tables) -> list[tuple]:
    """Samples whose counts are not what the objects of their photos give."""
    samples, photos = tables["samples"], tables["photos"]
    by_photo = samples[(samples["counted_by"] == "photo") & samples["nauplii"].notna()]
    names = photos.loc[photos["sample"].isin(set(by_photo["sample"])), ["photo", "sample"]]
    if names.empty:
        found_counts = pd.DataFrame(columns=list(STAGE_COLUMNS.values()))
    else:
        objects = query.fetch(connection, "objects", {"photo": names["photo"].tolist()})
        counts = tally(objects).reindex(names["photo"], fill_value=0)
        found_counts = counts.groupby(names["sample"].to_numpy()).sum()
    found = []
    for row in by_photo.itertuples():
        if row.sample not in found_counts.index:
            continue
        by_photos = found_counts.loc[row.sample]
        gaps = {
            c: abs(int(getattr(row, c)) - int(by_photos[c]))
            for c in STAGE_COLUMNS.values()
            if not pd.isna(getattr(row, c))
        }
        apart = sum(gaps.values())
        if apart:
            worst = max(gaps, key=gaps.get)
            far = apart > _FAR * max(int(by_photos.sum()), 1)
            pairs = ", ".join(f"{c} {getattr(row, c)} / {by_photos[c]}" for c in STAGE_COLUMNS.values())
            found.append(
                (
                    "count apart from photo",
                    "wrong" if far else "look",
                    "samples",
                    row.sample,
                    f"sample / objects in its photos: {pairs}",
                    "If the photo is right:  "
                    + mending("correct", "samples", row.sample, worst, str(by_photos[worst]))
                    + ";  if the sample is, correct the objects in the notebook count_photos.",
                )
            )
    return found


def _duplicate_times(tables) -> list[tuple]:
    found = []
    hatches = tables["hatches"]
    twice = hatches[hatches.assign(t=to_utc(hatches["started"])).duplicated(["cone", "t"], keep=False)]
    for row in twice.itertuples():
        found.append(
            (
                "duplicate time",
                "look",
                "hatches",
                row.hatch,
                f"cone {row.cone} has another hatch started at {row.started}",
                f"If entered twice, hide one:  {mending('withdraw', 'hatches', row.hatch)};  "
                f"else correct cone or started.",
            )
        )
    samples = tables["samples"]
    counts = [*STAGE_COLUMNS.values(), "embryos"]
    copies = samples[samples["nauplii"].notna() & samples.duplicated(["hatch", "taken", *counts], keep=False)]
    for row in copies.itertuples():
        found.append(
            (
                "duplicate time",
                "look",
                "samples",
                row.sample,
                f"another sample of hatch {row.hatch} has the same time and the same counts",
                f"If entered twice, hide one:  {mending('withdraw', 'samples', row.sample)}",
            )
        )
    return found


def _same_names(tables) -> list[tuple]:
    """Names that differ only by case, spaces, hyphens or accents written in two ways."""
    found = []
    for name in ("lots", "hatches", "samples"):
        column = schema.KEYS[name][0]
        folded: dict[str, list[str]] = {}
        for value in tables[name][column]:
            plain = re.sub(r"[\s\-‐‑‒–—_.]+", "", unicodedata.normalize("NFKC", value).casefold())
            folded.setdefault(plain, []).append(value)
        for names in folded.values():
            if len(names) > 1:
                found.append(
                    (
                        "nearly the same name",
                        "look",
                        name,
                        names[1],
                        f"is written almost like {names[0]!r}",
                        f"If they are one, hide it:  {mending('withdraw', name, names[1])};  and enter its rows "
                        "under the right name.",
                    )
                )
    return found


def _clock_jumps(steps: pd.DataFrame) -> list[tuple]:
    """Steps whose time is before that of the step before them; corrections carry the time of their step."""
    found = []
    times = to_utc(steps["at"])
    for i in range(1, len(steps)):
        if times.iloc[i] < times.iloc[i - 1]:
            found.append(
                (
                    "clock jump",
                    "look",
                    "steps",
                    str(steps["step"].iloc[i]),
                    f"is dated {steps['at'].iloc[i]}, before step {steps['step'].iloc[i - 1]} "
                    f"({steps['at'].iloc[i - 1]})",
                    "Set the computer's clock, and look at times entered around then.",
                )
            )
    return found


def _doubtful(log, tables) -> list[tuple]:
    """Values that hardly can be, rows that no water can hold, and records dated after the clock."""
    found = [
        ("unlikely", "look", d.table, d.key, d.what, d.remedy)
        for d in (
            *plausible.doubts(tables, log.settings.feed.max_g_per_l),
            *plausible.lone_cones(tables["hatches"]),
            *odd_times.days_apart(tables["lots"], log.now()),
        )
    ]
    found += [
        ("time to come", "wrong", d.table, d.key, d.what, d.remedy) for d in odd_times.steps_to_come(tables, log.now())
    ]
    if log.settings.protocol.is_fed and log.settings.protocol.handling_h == 0:
        what = "is 0: as if what is ready were fed at once, without settling and rinsing"
        found.append(
            ("unlikely", "look", "settings", "handling_h", what, "Write its hours into qckit.toml: 0.5, or 1.")
        )
    for name in ("hatches", "samples", "readings"):
        for index, column, value, rule, remedy in row_rules.broken(name, tables[name]):
            key = query.key_text(name, tuple(tables[name].loc[index, list(schema.KEYS[name])]))
            found.append(
                (
                    "impossible",
                    "wrong",
                    name,
                    key,
                    f"{column} {value} {rule}",
                    f"{remedy}  {mending('correct', name, key, column, 'VALUE')}",
                )
            )
    return found


def _photo_files(log, tables, *, read: bool) -> list[tuple]:
    found, folder, photos, samples = [], log.folder, tables["photos"], tables["samples"]
    for code, severity, photo, what, remedy in counted_file_faults(folder, photos, read=read):
        found.append((code, severity, "photos", photo, what, remedy))
    found += [
        (code, "wrong" if code.startswith("other ") else "look", d.table, d.key, d.what, d.remedy)
        for code, d in photo_doubts(
            folder,
            samples,
            photos,
            named=query.rows_of(samples[samples["photos"].notna()], ["sample", "photos"]),
            scale_known=log.only_scale() is not None,
        )
    ]
    return found


def _file_system(log) -> list[tuple]:
    """A write-ahead log is not safe on a network share."""
    path = engine.sqlite_path(log.engine.url.render_as_string(hide_password=False))
    mounts = Path("/proc/mounts")
    if path is None or not mounts.exists():
        return []
    entries = [line.split()[1:3] for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines()]
    place = str(path.resolve())
    best = max((e for e in entries if place.startswith(e[0].rstrip("/") + "/")), key=lambda e: len(e[0]), default=None)
    if best and re.match(r"nfs|cifs|smb|9p|fuse\.sshfs|afs", best[1]):
        return [
            (
                "network share",
                "look",
                "",
                str(path),
                f"the log lies on a network share ({best[1]})",
                "Keep it on a local disk, or put it on a PostgreSQL server (url in qckit.toml).",
            )
        ]
    return []
