"""Counts from photos into the log: photos, their objects, the next revision of their sample; and what is held back
because it would replace a person's own counts, or was made at another scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pandas as pd
import sqlalchemy as sa

from qckit.columns import is_missing, listed_in
from qckit.errors import InputError, unknown_name
from qckit.flag_words import say_flags
from qckit.log import schema
from qckit.log.counted import tally
from qckit.log.photo_files import SAME_SCALE, same_letters
from qckit.log.problems import PROBLEMS
from qckit.log.query import WITHDRAWN, among, fetch, known_names
from qckit.object_rows import FOUND
from qckit.stages import STAGE_COLUMNS
from qckit.tables import check_table, empty_table, table_columns
from qckit.words import first_few, noun

__all__ = ["photos_named", "plan", "same_file_twice"]

_NAMED = 10


@dataclass
class CountPlan:
    """What a count will add."""

    photos: pd.DataFrame
    objects: pd.DataFrame
    samples: pd.DataFrame
    unchanged: int = 0
    notes: list[str] = field(default_factory=list)
    problems: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def is_empty(self) -> bool:
        """Tell whether there is nothing to add."""
        return self.photos.empty and self.samples.empty


def _file_name(name: str) -> str:
    return same_letters(str(name)).replace("\\", "/").rsplit("/", 1)[-1]


def plan(connection, photos: pd.DataFrame, objects: pd.DataFrame, *, replace_hand_counts: bool = False) -> CountPlan:
    """Work out what a count adds to the log; writes nothing.

    Parameters
    ----------
    connection : Connection
    photos, objects : DataFrame
        From :func:`qckit.log.counted.as_frames`.
    replace_hand_counts : bool
        Also where a sample's counts are a person's own; otherwise its photos are held back, as a problem.

    Raises
    ------
    InputError
        See :meth:`qckit.log.store.SiteLog.record_counts`.
    """
    counts = tally(objects).reindex(photos["photo"], fill_value=0)
    _agree(photos, objects, counts)
    named = photos_named(connection)
    photos, notes = _name_as_logged(connection, photos, named)
    same_file_twice(connection, photos)
    renamed = dict(zip(counts.index, photos["photo"], strict=True))
    counts.index = photos["photo"]
    objects = objects.assign(photo=objects["photo"].map(renamed))
    fresh = _fresh(connection, photos, counts)
    entering = photos[fresh.to_numpy()]
    withheld, problems = _withheld(connection, entering, replace_hand_counts=replace_hand_counts)
    entering = entering[~entering["sample"].isin(withheld)]
    affected = sorted(set(entering["sample"].dropna()))
    new_samples = _next_samples(connection, affected, photos, counts)
    entering = _with_revisions(connection, entering, new_samples)
    of_photo = dict(zip(entering["photo"], entering["revision"], strict=True))
    new_objects = objects[objects["photo"].isin(set(of_photo))]
    new_objects = new_objects.assign(revision=new_objects["photo"].map(of_photo).astype("Int64"))
    columns = [*table_columns("photos"), "revision", "sample_revision"]
    return CountPlan(
        photos=entering[columns],
        objects=new_objects[[*table_columns("objects"), "revision"]],
        samples=new_samples,
        unchanged=int((~fresh).sum()),
        notes=notes + _flagged_note(entering),
        problems=problems,
    )


def _agree(photos, objects, counts) -> None:
    """The counts that came with the photos are those of the objects."""
    stray = set(objects["photo"].unique()) - set(photos["photo"])
    if stray:
        raise unknown_name("photo", sorted(stray)[0], photos["photo"], where="objects")
    for column in STAGE_COLUMNS.values():
        if column not in photos.columns:
            continue
        stated = pd.to_numeric(photos[column], errors="coerce").astype("float64").to_numpy()
        for photo, value, is_there in zip(photos["photo"], stated, counts[column]):
            if value == value and value != is_there:
                raise InputError(
                    f"photo {photo!r}: {column} is {value:g} and its objects give {is_there}. "
                    "Count the photo again; counts and objects must come from the same run."
                )


def photos_named(connection) -> list[tuple[str, str]]:
    """Return (sample, photos as its newest revision names them) for every sample that names some."""
    t = schema.table("samples")
    fixes = schema.CORRECTIONS
    statement = sa.select(t.c.sample, t.c.photos).where(t.c.photos.is_not(None)).order_by(t.c.sample, t.c.revision)
    named = dict(connection.execute(statement).all())
    corrected = sa.select(fixes.c.key1).where(fixes.c.table == "samples", fixes.c.column.in_(("photos", WITHDRAWN)))
    changed = [key for (key,) in connection.execute(corrected)]
    if changed:  # few: those are read with their corrections
        named = {sample: photos for sample, photos in named.items() if sample not in set(changed)}
        current = fetch(connection, "samples", {"sample": changed})
        named.update({s: p for s, p in zip(current["sample"], current["photos"]) if p == p and p})
    return list(named.items())


def _name_as_logged(connection, photos, named) -> tuple[pd.DataFrame, list[str]]:
    """Find each photo's sample by its file name, and call the photo as the field sheet does."""
    by_full, by_file = {}, {}
    for sample, text in named:
        for name in listed_in(text):
            by_full.setdefault(name, (name, sample))
            by_file.setdefault(_file_name(name), set()).add((name, sample))
    names, owners, unnamed = [], [], []
    for photo, sample in zip(photos["photo"], photos["sample"]):
        matches = by_file.get(_file_name(photo), set())
        if photo in by_full:
            name, owner = by_full[photo]
        elif len(matches) == 1:
            name, owner = next(iter(matches))
        elif len(matches) > 1:
            raise InputError(
                f"photo {photo!r}: samples {', '.join(sorted(s for _, s in matches))} each name a photo of this file "
                "name. Name the photos on the field sheet with their folders."
            )
        else:
            name, owner = photo, None
            unnamed.append(f"{photo!r}")
        if sample == sample and sample is not None:
            if owner is not None and owner != sample:
                raise InputError(
                    f"photo {photo!r}: is given as of sample {sample!r}, and the log has it with {owner!r}. "
                    "Correct photos in the samples table, or the sample here."
                )
            owner = sample
        names.append(name)
        owners.append(owner)
    given = sorted(set(photos["sample"].dropna()) - {sample for sample, _ in named})
    known = set(fetch(connection, "samples", {"sample": given})["sample"]) if given else set()
    for owner in given:
        if owner not in known:
            raise unknown_name("sample", owner, known_names(connection, "samples"), where="photos")
    photos = photos.assign(
        photo=pd.Series(names, index=photos.index, dtype="str"),
        sample=pd.Series(owners, index=photos.index, dtype="str"),
    )
    if photos["photo"].duplicated().any():
        name = photos.loc[photos["photo"].duplicated(), "photo"].iloc[0]
        raise InputError(f"photo {name!r}: was counted twice in this run. Give each photo once.")
    return photos, [_unnamed_note(unnamed)] if unnamed else []


def _unnamed_note(photos: list[str]) -> str:
    if len(photos) == 1:
        return f"photo {photos[0]} is named by no sample; it was entered without one"
    return f"{len(photos)} photos are named by no sample; they were entered without one: {first_few(photos, _NAMED)}"


def same_file_twice(connection, photos: pd.DataFrame) -> None:
    """Refuse the same picture under two names: it would be counted twice. One that is withdrawn is not counted."""
    logged = fetch(connection, "photos", {"sha256": list(set(photos["sha256"]))})
    known: dict[str, set] = {}
    for sha, name in zip(logged["sha256"], logged["photo"]):
        known.setdefault(sha, set()).add(name)
    for sha, name in zip(photos["sha256"], photos["photo"]):
        others = known.setdefault(sha, set()) - {name}
        if others:
            raise InputError(
                f"photo {name!r}: is the same file as {sorted(others)[0]!r}, and would be counted twice. Leave one of "
                "them out and correct photos of the sample that named it by mistake."
            )
        known[sha].add(name)


def _fresh(connection, photos, counts) -> pd.Series:
    """Mark photos whose file, sample, scale, counter or counts are not those of their newest count in the log."""
    logged = fetch(connection, "photos", {"photo": list(photos["photo"])})
    if logged.empty:
        return pd.Series(True, index=photos.index)
    entered = fetch(connection, "objects", {"photo": list(logged["photo"])}, corrected=False)
    before = tally(entered[entered["source"] == FOUND]).to_dict("index")
    now = counts.to_dict("index")
    none = dict.fromkeys(STAGE_COLUMNS.values(), 0)
    columns = ["sha256", "sample", "um_per_px", "counter_version"]
    old = {row[0]: [_known(v) for v in row[1:]] for row in logged[["photo", *columns]].itertuples(index=False)}
    marks = [
        old.get(photo) != [_known(v) for v in values] or before.get(photo, none) != now[photo]
        for photo, *values in photos[["photo", *columns]].itertuples(index=False)
    ]
    return pd.Series(marks, index=photos.index, dtype=bool)


def _known(value):
    return None if is_missing(value) else value


def _next_samples(connection, affected: list[str], photos, counts) -> pd.DataFrame:
    """Build the next revision of samples, each from all of its photos."""
    if not affected:
        return empty_table("samples")
    current = fetch(connection, "samples", {"sample": affected}, internal=True)
    first = fetch(connection, "samples", {"sample": affected, "revision": 0}, revisions="all", internal=True)
    sheet_volume = dict(zip(first["sample"], first["volume_ul"], strict=True))
    parts = photos[["photo", "sample", "frame_mm2", "counter_version"]].join(counts, on="photo")
    here = set(photos["photo"])
    photos_of = {row.sample: listed_in(row.photos) for row in current.itertuples()}
    lacking = sorted({name for names in photos_of.values() for name in names} - here)
    parts = pd.concat([parts, _counted_before(connection, lacking)], ignore_index=True)
    parts = parts[parts["sample"].isin(set(affected))]
    known = set(parts["photo"])
    by_sample: dict[str, list[dict]] = {}
    for part in parts.to_dict("records"):
        by_sample.setdefault(part["sample"], []).append(part)
    rows = []
    for row in current.to_dict("records"):
        still = [name for name in photos_of[row["sample"]] if name not in known]
        if still:
            raise InputError(
                f"sample {row['sample']!r}: names the {noun(len(still), 'photo')} {', '.join(still)}, not "
                "counted yet. Count all photos of a sample together, or correct its photos."
            )
        rows.append(_revised(row, by_sample[row["sample"]], sheet_volume.get(row["sample"])))
    return check_table(pd.DataFrame(rows, columns=table_columns("samples")), "samples", source="counts")


def _counted_before(connection, names: list[str]) -> pd.DataFrame:
    """Return photos counted in an earlier step with their counts as they stand now."""
    logged = fetch(connection, "photos", {"photo": names}) if names else empty_table("photos")
    logged = logged[["photo", "sample", "frame_mm2", "counter_version"]]
    if logged.empty:
        return logged.assign(**{c: pd.Series(dtype="int64") for c in STAGE_COLUMNS.values()})
    counts = tally(fetch(connection, "objects", {"photo": logged["photo"].tolist()}))
    return logged.join(counts.reindex(logged["photo"], fill_value=0), on="photo")


def _revised(row: dict, parts: list[dict], sheet_volume) -> dict:
    """Build one sample's next revision from its photos.

    The volume is frame area times chamber depth (mm3 = µl), unless the sheet gave the volume itself.
    """
    row = {name: row[name] for name in table_columns("samples")}
    row.update({column: int(sum(part[column] for part in parts)) for column in STAGE_COLUMNS.values()})
    depth, frame_mm2 = row["chamber_depth_mm"], sum(part["frame_mm2"] for part in parts)
    if (is_missing(sheet_volume)) and depth == depth and frame_mm2 == frame_mm2:
        row["volume_ul"] = float(frame_mm2 * depth)
    versions = sorted({str(part["counter_version"]) for part in parts if not is_missing(part["counter_version"])})
    row.update(counted_by="photo", counter=", ".join(versions) or None, revision=int(row["revision"]) + 1)
    if not listed_in(row["photos"]):
        row["photos"] = "; ".join(part["photo"] for part in parts)
    return row


def _with_revisions(connection, entering: pd.DataFrame, new_samples: pd.DataFrame) -> pd.DataFrame:
    """Number the photos' revisions and tie them to the sample revision they made."""
    p = schema.table("photos")
    statement = sa.select(p.c.photo, sa.func.max(p.c.revision)).group_by(p.c.photo)
    last = dict(connection.execute(statement.where(among(connection, p.c.photo, list(entering["photo"])))).all())
    made = dict(zip(new_samples["sample"], new_samples["revision"], strict=True))
    return entering.assign(
        revision=pd.Series([last.get(n, -1) + 1 for n in entering["photo"]], index=entering.index, dtype="Int64"),
        sample_revision=pd.Series([made.get(s) for s in entering["sample"]], index=entering.index, dtype="Int64"),
    )


def _withheld(connection, entering: pd.DataFrame, *, replace_hand_counts: bool) -> tuple[set[str], pd.DataFrame]:
    """Find the samples whose counts must not change unasked.

    Parameters
    ----------
    connection : Connection
    entering : DataFrame
        Photos to be entered, with their sample.
    replace_hand_counts : bool
        Somebody wants a person's counts replaced.

    Returns
    -------
    tuple
        The samples' names, and what holds each back (columns of ``problems.PROBLEMS``).
    """
    names = sorted(set(entering["sample"].dropna()))
    rows, withheld = [], set()
    for row in fetch(connection, "samples", {"sample": names}).itertuples() if names else ():
        found = _other_scale(row, entering[entering["sample"] == row.sample])
        if not replace_hand_counts and row.counted_by == "person" and not pd.isna(row.nauplii):
            who = "a person" if pd.isna(row.counter) else row.counter
            found.append(
                (
                    f"was counted by {who}, and the photos' counts would take the place of that",
                    "To replace it, run this again with --replace-hand-counts REASON",
                )
            )
        if found:
            withheld.add(row.sample)
        rows += [("counts", f"sample {row.sample}", "", "", rule, f"{remedy}.") for rule, remedy in found]
    return withheld, pd.DataFrame(rows, columns=list(PROBLEMS))


def _other_scale(sample, photos: pd.DataFrame) -> list[tuple[str, str]]:
    """Say which photos were counted at another scale than the field sheet's, and how to mend it."""
    sheet = sample.um_per_px
    if pd.isna(sheet):
        return []
    other = photos[[not pd.isna(x) and abs(math.log(x / sheet)) > SAME_SCALE for x in photos["um_per_px"]]]
    if other.empty:
        return []
    first = other.iloc[0]
    return [
        (
            f"photo {first.photo!r} was counted at {first.um_per_px:g} µm per pixel, "
            f"and the field sheet says {sheet:g}",
            f"Count it at {sheet:g}; or, if the sheet is wrong, run  "
            f"qckit log correct samples {sample.sample} um_per_px {first.um_per_px:g} "
            "--reason TEXT  and then this again",
        )
    ]


def _flagged_note(photos: pd.DataFrame) -> list[str]:
    """Pass on the flags of photos that are entered, in one line; no line where there are none."""
    flagged = photos[photos["flags"].fillna("") != ""]
    if flagged.empty:
        return []
    named = first_few((f"{row.photo} ({say_flags(row.flags)})" for row in flagged.itertuples()), _NAMED)
    verb = "carry flags: look at them" if len(flagged) > 1 else "carries a flag: look at it"
    return [f"{len(flagged)} of {len(photos)} photos {verb} before the counts are used: {named}"]
