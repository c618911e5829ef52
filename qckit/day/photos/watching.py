"""Photos as they arrive: matched, shown, confirmed, counted; the page is worked out anew after each batch."""

from __future__ import annotations

import datetime as dt
import filecmp
import math
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from qckit.columns import listed_in
from qckit.day.entry.bench import Bench
from qckit.day.entry.records import Entry, sample_names
from qckit.day.entry.writing import write_entry
from qckit.day.page.screen import screen_lines
from qckit.day.photos.cards import card_in_file
from qckit.day.photos.matching import Match, PhotoSeen, match_photos
from qckit.errors import InputError, QcError
from qckit.kept import kept_meanwhile, say_fault
from qckit.log.photo_files import content_sum
from qckit.reports.uncounted import count_uncounted
from qckit.words import plural

__all__ = ["arrivals", "count_matched", "look_at", "match_words", "same_photos", "watch_folder"]

_ENDINGS = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".webp", ".bmp"}
_POLL_S = 1.0
_QUIET_S = 4.0  # a batch is whole when nothing new came for so long


def arrivals(folder: Path, *, known: set[Path], poll_s: float = _POLL_S, quiet_s: float = _QUIET_S) -> Iterator[list]:
    """Give the photos that are new in a folder, batch by batch, without end.

    Parameters
    ----------
    folder : path
        Looked through with its subfolders.
    known : set of Path
        Photos that are not new; those given are added to it.
    poll_s, quiet_s : float
        Seconds between two looks, and without news until a batch is whole. [s]

    Yields
    ------
    list of Path
        A file whose size still grows waits for the next batch; an empty list where nothing is new.
    """
    sizes: dict[Path, int] = {}
    changed = time.monotonic()
    while True:
        now = {path: path.stat().st_size for path in _photos_in(folder) if path not in known}
        if now != sizes:
            sizes, changed = now, time.monotonic()
        elif now and time.monotonic() - changed >= quiet_s:
            known |= set(now)
            yield sorted(now)
            sizes, changed = {}, time.monotonic()
            continue
        if not now:
            yield []
        time.sleep(poll_s)


def _photos_in(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.suffix.lower() in _ENDINGS and not p.name.startswith(".") and p.is_file()]


def look_at(paths: list[Path], bench: Bench) -> tuple[list[PhotoSeen], list[str]]:
    """Look for cards in new photos; return what was seen, and a sentence for each that cannot be read."""
    photos, faults = [], []
    zone = bench.moment().tzinfo
    for path in paths:
        try:
            card, taken = card_in_file(path)
        except QcError as error:
            faults.append(str(error))
            continue
        when = dt.datetime.fromisoformat(taken) if taken else dt.datetime.fromtimestamp(path.stat().st_mtime, tz=zone)
        when = when.replace(tzinfo=zone) if when.tzinfo is None else when.astimezone(zone)
        photos.append(PhotoSeen(str(path), when, card))
    return photos, faults


def match_words(matches: list[Match], bench: Bench) -> list[str]:
    """Say what each photo is taken for, a line each."""
    hatches = _hatch_of(bench)
    lines = []
    for i, match in enumerate(matches, 1):
        hatch = hatches.get(match.cone, "")
        where = f"{match.cone} ({hatch}) {match.kind} {match.number}" if hatch else f"{match.cone or '?'}: no hatch"
        scale = f", {match.um_per_px:.2f} µm per pixel by its card" if math.isfinite(match.um_per_px) else ""
        lines.append(f"{i}  {Path(match.name).name} -> {where}, by {match.how}{scale}")
    return lines


def _hatch_of(bench: Bench) -> dict[str, str]:
    """Cone -> the hatch in it that photos are for: the one that waits for its count first."""
    found: dict[str, str] = {}
    for state in bench.countable():
        found.setdefault(state.cone, state.hatch)
    return found


@dataclass(frozen=True)
class Counted:
    """What became of a batch: photos counted, and sentences on what could not be."""

    n_counted: int
    remarks: tuple[str, ...]


def count_matched(bench: Bench, matches: list[Match], *, taken: dict[str, dt.datetime]) -> Counted:
    """Put confirmed photos into the site, enter their samples, and count them.

    Parameters
    ----------
    bench : Bench
    matches : list of Match
        Confirmed; those without a hatch are left out and named.
    taken : dict of str to datetime
        Photo -> when it was taken.

    Returns
    -------
    Counted
    """
    hatches, remarks = _hatch_of(bench), []
    usable = [match for match in matches if match.cone in hatches]
    remarks += [
        f"{Path(m.name).name}: left out, no hatch waits in cone {m.cone or '?'}." for m in matches if m not in usable
    ]
    if not usable:
        return Counted(0, tuple(remarks))
    rows, copies = _sample_rows(bench, usable, hatches, taken)
    sentence = f"{plural(len(rows), 'photo')} entered."
    write_entry(bench.log, Entry("photos", sentence, {"samples": pd.DataFrame(rows)}), by=bench.by)
    for source, target in copies:  # only now: what the log refuses leaves no copies behind
        target.parent.mkdir(exist_ok=True)
        shutil.copy2(source, target)
    result = count_uncounted(bench.site.folder, by=bench.by)
    bench.study()
    return Counted(result.n_counted, (*remarks, *result.failures, *result.notes))


def _sample_rows(bench: Bench, matches: list[Match], hatches: dict[str, str], taken) -> tuple[list[dict], list]:
    """Make a row for each photo, and say which files go where; subsamples have the protocol's volume."""
    protocol = bench.settings.protocol
    names = bench.names_in_use("samples")
    rows, copies = [], []
    for match in matches:
        hatch = hatches[match.cone]
        letter = {"subsample": "", "sieve": "S", "harvest": "V"}[match.kind]
        (sample,) = sample_names(hatch, 1, names, letter=letter)
        names.add(sample)
        photo, target = _in_site(Path(match.name), bench.site.folder, sample)
        copies += [(Path(match.name), target)] if target else []
        row = {
            "sample": sample,
            "hatch": hatch,
            "taken": taken[match.name].isoformat(timespec="seconds"),
            "kind": match.kind,
            "dilution": protocol.dilution,
            "counted_by": "photo",
            "photos": photo,
            "um_per_px": match.um_per_px if math.isfinite(match.um_per_px) else None,
        }
        if protocol.chamber_depth_mm > 0:
            row["chamber_depth_mm"] = protocol.chamber_depth_mm
        elif match.kind != "sieve":
            row["volume_ul"] = protocol.subsample_ul
        rows.append(row)
    return rows, copies


def _in_site(path: Path, folder: Path, sample: str) -> tuple[str, Path | None]:
    """Name a photo as the log will: under its sample's name in ``photos/``, where it is to be copied to.

    One that lies in ``photos/`` already keeps its place and is not copied.
    """
    photos = folder / "photos"
    if photos.resolve() in path.resolve().parents:
        return path.resolve().relative_to(photos.resolve()).as_posix(), None
    name = f"{sample}{path.suffix.lower()}"
    if (photos / name).exists():
        raise InputError(f"{photos / name}: is there already. Move it away, or rename the new photo {path.name}.")
    return name, photos / name


def watch_folder(folder: Path, watched: str | Path, *, by: str, now: str, say: Callable, ask: Callable = input) -> None:
    """Watch a folder: show each batch's match, ask, count, show the page; Ctrl-C ends it.

    Parameters
    ----------
    folder : path
        The site folder.
    watched : path
        The folder where photos arrive, such as a phone's or a camera's.
    by : str
        Initials.
    now : str
        Another moment than now.
    say, ask : callable
        Show a line; ask one.
    """
    place = Path(watched)
    if not place.is_dir():
        raise InputError(f"{place}: is no folder. Name the folder where photos arrive.")
    with Bench(folder, by=by, now=now) as bench:
        people = bench.people()
        bench.by = bench.by or (people[0] if len(people) == 1 else "") or ask("Your initials: ").strip()
        _count_named(bench, say)
        known = set(_photos_in(place)) - _not_in_log(place, bench)
        say(f"Watching {place}; {plural(len(known), 'photo')} known there. Ctrl-C ends it.")
        for batch in arrivals(place, known=known):
            if batch:
                _one_batch(batch, bench, say, ask)
                for line in screen_lines(bench.page):
                    say(line)


def _count_named(bench: Bench, say) -> None:
    """Count the photos that a sheet names and nobody counted yet."""
    try:
        result = count_uncounted(bench.site.folder, by=bench.by)
    except QcError as error:
        say(str(error))
        return
    for line in (*result.failures, *result.notes):
        say(line)
    if result.n_counted:
        bench.study()
        say(f"{plural(result.n_counted, 'photo')} that waited counted. {bench.answer()}")


def _not_in_log(place: Path, bench: Bench) -> set[Path]:
    """Photos of today that no sample names yet: taken while nobody watched."""
    named = _named(bench)
    today = bench.moment().replace(hour=0, minute=0, second=0).timestamp()
    unnamed = [path for path in _photos_in(place) if path.name not in named and path.stat().st_mtime >= today]
    return set(unnamed) - set(same_photos(unnamed, bench.site.folder, named, _counted(bench)))


def _named(bench: Bench) -> set[str]:
    """Names of the files that samples stand for."""
    cells = bench.log.samples(counted=None)["photos"].dropna()
    return {Path(name).name for cell in cells for name in listed_in(cell)}


def _counted(bench: Bench) -> dict[str, str]:
    """SHA-256 of each photo that was counted -> its name."""
    photos = bench.log.photos()
    return dict(zip(photos["sha256"], photos["photo"], strict=True))


def same_photos(paths: list[Path], folder: Path, named: set[str], counted: dict[str, str]) -> dict[Path, str]:
    """Photos whose content another has: one in the site's ``photos/`` that a sample stands for (``named``), one that
    was counted (``counted``, by its SHA-256), wherever it lies now, or an earlier one of these; its name.

    A phone's folder keeps what was copied from it, and may hold a photo twice; a photo may be renamed after it was
    counted: none is a new subsample.
    """
    photos = folder / "photos"
    sizes: dict[int, list[tuple[Path, str]]] = {}
    for path in [p for p in _photos_in(photos) if p.name in named] if photos.is_dir() else ():
        sizes.setdefault(path.stat().st_size, []).append((path, path.relative_to(photos).as_posix()))
    found = {}
    for path in sorted(paths, key=lambda path: (len(path.name), path.name)):  # a copy's name is the longer one
        alike = sizes.setdefault(path.stat().st_size, [])
        others = [(one, name) for one, name in alike if one.resolve() != path.resolve()]
        same = [name for one, name in others if filecmp.cmp(one, path, shallow=False)]
        known = same[0] if same else counted.get(content_sum(path))
        if known:
            found[path] = known
        else:
            alike.append((path, path.name))
    return found


def _one_batch(batch: list[Path], bench: Bench, say, ask) -> None:
    """Match a batch, let a person confirm or change it, count it."""
    bench.study()
    same = same_photos(batch, bench.site.folder, _named(bench), _counted(bench))
    for path, name in same.items():
        say(f"{path.name}: left out, it is the same photo as {name}.")
    photos, faults = look_at([path for path in batch if path not in same], bench)
    for fault in faults:
        say(fault)
    cones = tuple(dict.fromkeys(state.cone for state in bench.countable()))
    matches = match_photos(photos, cones, subsamples=bench.settings.protocol.subsamples)
    if not photos:
        return
    if not matches:
        say(f"{plural(len(photos), 'photo of a card', 'photos of cards')}; now photograph the samples.")
        return
    while True:
        for line in match_words(matches, bench):
            say(line)
        typed = ask("Right? Enter counts them; 0 leaves them; a number and a cone (2 B) changes one: ").strip()
        if typed == "0":
            say("Left as they are; nothing was written.")
            return
        if not typed:
            break
        matches = changed(matches, typed, bench.settings.protocol.cone_names, say)
    with kept_meanwhile() as kept:
        try:
            done = count_matched(bench, matches, taken={photo.name: photo.taken for photo in photos})
        except QcError as error:
            say(say_fault(error, kept))
            return
    for line in done.remarks:
        say(line)
    say(f"{plural(done.n_counted, 'photo')} counted. {bench.answer()}")


def changed(matches: list[Match], typed: str, cones: tuple[str, ...], say: Callable) -> list[Match]:
    """Give one photo of a match another cone, as typed: ``2 B``."""
    number, _, cone = typed.partition(" ")
    known = {name.casefold(): name for name in cones}
    if not number.isdigit() or not 1 <= int(number) <= len(matches) or cone.strip().casefold() not in known:
        say(f"{typed!r}: type the number of a photo and a cone ({', '.join(cones)}).")
        return matches
    place, cone = int(number) - 1, known[cone.strip().casefold()]
    same = sum(1 for one in matches if one.cone == cone and one.kind == matches[place].kind)
    return [
        replace(one, cone=cone, number=same + 1, how="hand") if i == place else one for i, one in enumerate(matches)
    ]
