"""Counts from photos into the log: photos, their objects, and the next revision of their sample."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import sqlalchemy as sa

from qckit.errors import InputError, one_line, unknown_name
from qckit.files import restore
from qckit.log import schema
from qckit.log.photo_files import photo_names, same_letters
from qckit.log.query import WITHDRAWN, among, fetch, known_names
from qckit.log.withheld import flagged_note, held_back
from qckit.stages import STAGE_COLUMNS
from qckit.tables import TABLES, check_table, empty_table, table_columns

__all__ = ["as_frames", "plan", "read_counted", "same_file_twice", "tally"]

_PHOTO_ATTRIBUTES = ("photo", "sha256", "um_per_px", "taken", "width_px", "height_px", "counter_version", "frame_mm2")


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


def read_counted(folder: str | Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read the counts.csv and objects.csv that ``qckit count --out`` wrote.

    Parameters
    ----------
    folder : path

    Returns
    -------
    tuple of DataFrame
        As :meth:`qckit.log.store.SiteLog.record_counts` takes them.

    Raises
    ------
    InputError
        One of the files is missing or cannot be read.
    """
    frames = []
    for name, table, needed in (("counts.csv", "photos", ("sha256",)), ("objects.csv", "objects", ("stage",))):
        path = Path(folder) / name
        try:
            if path.exists() and not path.is_file():
                raise OSError("it is no file")
            frame = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8-sig")
            if lacking := [c for c in ("photo", *needed) if c not in frame]:
                raise ValueError(f"it has no column {lacking[0]}")
        except (OSError, ValueError) as error:
            raise InputError(
                f"{path}: cannot be read ({one_line(error)}). Count the photos with  qckit count PHOTOS --out {folder}."
            ) from error
        numbers = {c.name for c in TABLES[table] if c.kind in ("float", "int")}
        frames.append(frame.apply(lambda cells, numbers=numbers: _as_written(cells, cells.name in numbers)))
    return frames[0], frames[1]


def _as_written(cells: pd.Series, are_numbers: bool) -> pd.Series:
    """Undo what made texts safe for spreadsheets; whatever is no number stays as it is, for the check to name."""
    if are_numbers:
        try:
            return pd.to_numeric(cells.mask(cells == "", None)).astype("float64")
        except ValueError:
            pass
    return cells.map({cell: restore(cell) for cell in cells.unique()})


def as_frames(counted, objects: pd.DataFrame | None) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Turn what counting gives into a photos frame and an objects frame, both checked.

    Parameters
    ----------
    counted : DataFrame, list of PhotoCount, or an object with ``.counts`` and ``.objects`` frames
    objects : DataFrame or None

    Returns
    -------
    tuple of DataFrame
        Photos keep count columns (nauplii, …) where they came with some, for comparison with the objects.
    """
    if isinstance(getattr(counted, "counts", None), pd.DataFrame):
        counted, objects = counted.counts, counted.objects
    if not isinstance(counted, pd.DataFrame):
        photos = pd.DataFrame([_photo_row(count) for count in counted])
        found = [count.objects.assign(photo=count.photo) for count in counted if len(count.objects)]
        objects = pd.concat(found, ignore_index=True) if found else empty_table("objects")
        counted = photos
    if counted.empty:
        return empty_table("photos"), empty_table("objects")
    if objects is None:
        raise InputError("The objects found in the photos were not given. Hand over the table of objects as well.")
    photos = counted.rename(columns={"cyst": "cysts", "shell": "shells", "nauplius": "nauplii"})
    photos = check_table(photos.reset_index(drop=True), "photos", source="photos", row_names=list(photos["photo"]))
    objects = check_table(objects.reset_index(drop=True), "objects", source="objects")
    return photos, _numbered(objects)


def _photo_row(count) -> dict:
    row = {name: getattr(count, name, None) for name in _PHOTO_ATTRIBUTES}
    row["flags"] = "; ".join(flag.code for flag in count.flags)
    row.update({STAGE_COLUMNS[stage]: n for stage, n in count.counts.items() if stage in STAGE_COLUMNS})
    return row


def _numbered(objects: pd.DataFrame) -> pd.DataFrame:
    """Give objects their number within the photo where they came without, and a source."""
    if objects["object_id"].isna().any():
        objects["object_id"] = (objects.groupby("photo", sort=False).cumcount() + 1).astype("Int64")
    double = objects.duplicated(["photo", "object_id"])
    if double.any():
        first = objects[double].iloc[0]
        raise InputError(
            f"objects, photo {first['photo']!r}: object {first['object_id']} stands twice. Count the photo again."
        )
    objects["source"] = objects["source"].fillna("found")
    if objects["counted"].isna().any():
        objects["counted"] = objects["counted"].fillna(True)
    return objects


def tally(objects: pd.DataFrame) -> pd.DataFrame:
    """Count objects by photo and stage.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Columns of the objects table; those not ``counted`` and debris are left out.

    Returns
    -------
    DataFrame, shape (photos, 4)
        Columns nauplii, umbrella, cysts, shells; photo as index.
    """
    of_photo, photos = pd.factorize(objects["photo"])
    stages = pd.Index(list(STAGE_COLUMNS)).get_indexer(objects["stage"])  # -1: debris
    inside = objects["counted"].fillna(False).to_numpy(dtype=bool) & (stages >= 0)
    shape = (len(photos), len(STAGE_COLUMNS))
    cells = of_photo[inside] * shape[1] + stages[inside]
    table = np.bincount(cells, minlength=shape[0] * shape[1]).reshape(shape)
    return pd.DataFrame(table, index=pd.Index(photos, dtype="str", name="photo"), columns=list(STAGE_COLUMNS.values()))


def plan(connection, photos: pd.DataFrame, objects: pd.DataFrame, *, replace_hand_counts: bool = False) -> CountPlan:
    """Work out what a count adds to the log; writes nothing.

    Parameters
    ----------
    connection : Connection
    photos, objects : DataFrame
        From :func:`as_frames`.
    replace_hand_counts : bool
        Also where a sample's counts are a person's own; otherwise its photos are held back, as a problem.

    Raises
    ------
    InputError
        See :meth:`qckit.log.store.SiteLog.record_counts`.
    """
    counts = tally(objects).reindex(photos["photo"], fill_value=0)
    _agree(photos, objects, counts)
    named = _photos_named(connection)
    photos, notes = _name_as_logged(connection, photos, named)
    same_file_twice(connection, photos)
    renamed = dict(zip(counts.index, photos["photo"], strict=True))
    counts.index = photos["photo"]
    objects = objects.assign(photo=objects["photo"].map(renamed))
    fresh = _fresh(connection, photos, counts)
    entering = photos[fresh.to_numpy()]
    held, problems = held_back(connection, entering, replace_hand_counts=replace_hand_counts)
    entering = entering[~entering["sample"].isin(held)]
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
        notes=notes + flagged_note(entering),
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
        told = pd.to_numeric(photos[column], errors="coerce").astype("float64").to_numpy()
        for photo, said, is_there in zip(photos["photo"], told, counts[column]):
            if said == said and said != is_there:
                raise InputError(
                    f"photo {photo!r}: {column} is {said:g} and its objects give {is_there}. "
                    "Count the photo again; counts and objects must come from the same run."
                )


def _photos_named(connection) -> list[tuple[str, str]]:
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
        for name in photo_names(text):
            by_full.setdefault(name, (name, sample))
            by_file.setdefault(_file_name(name), set()).add((name, sample))
    names, owners, notes = [], [], []
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
            notes.append(f"photo {photo!r} is named by no sample; it was entered without one")
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
    return photos, notes


def same_file_twice(connection, photos: pd.DataFrame) -> None:
    """Refuse the same picture under two names: it would be counted twice."""
    p = schema.table("photos")
    hashes = list(set(photos["sha256"]))
    known: dict[str, set] = {}
    for sha, name in connection.execute(sa.select(p.c.sha256, p.c.photo).where(among(connection, p.c.sha256, hashes))):
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
    """Mark photos whose file, scale, counter or counts are not those of their newest count in the log."""
    logged = fetch(connection, "photos", {"photo": list(photos["photo"])})
    if logged.empty:
        return pd.Series(True, index=photos.index)
    entered = fetch(connection, "objects", {"photo": list(logged["photo"])}, corrected=False)
    before = tally(entered[entered["source"] == "found"]).to_dict("index")
    now = counts.to_dict("index")
    none = dict.fromkeys(STAGE_COLUMNS.values(), 0)
    columns = ["sha256", "um_per_px", "counter_version"]
    old = {row[0]: [_known(v) for v in row[1:]] for row in logged[["photo", *columns]].itertuples(index=False)}
    marks = [
        old.get(photo) != [_known(v) for v in values] or before.get(photo, none) != now[photo]
        for photo, *values in photos[["photo", *columns]].itertuples(index=False)
    ]
    return pd.Series(marks, index=photos.index, dtype=bool)


def _known(value):
    return None if value is None or value != value else value


def _next_samples(connection, affected: list[str], photos, counts) -> pd.DataFrame:
    """Build the next revision of samples, each from all of its photos."""
    if not affected:
        return empty_table("samples")
    current = fetch(connection, "samples", {"sample": affected}, internal=True)
    first = fetch(connection, "samples", {"sample": affected, "revision": 0}, revisions="all", internal=True)
    sheet_volume = dict(zip(first["sample"], first["volume_ul"], strict=True))
    parts = photos[["photo", "sample", "frame_mm2", "counter_version"]].join(counts, on="photo")
    here = set(photos["photo"])
    wanted = {row.sample: photo_names(row.photos) for row in current.itertuples()}
    lacking = sorted({name for names in wanted.values() for name in names} - here)
    parts = pd.concat([parts, _counted_before(connection, lacking)], ignore_index=True)
    parts = parts[parts["sample"].isin(set(affected))]
    known = set(parts["photo"])
    by_sample: dict[str, list[dict]] = {}
    for part in parts.to_dict("records"):
        by_sample.setdefault(part["sample"], []).append(part)
    rows = []
    for row in current.to_dict("records"):
        still = [name for name in wanted[row["sample"]] if name not in known]
        if still:
            raise InputError(
                f"sample {row['sample']!r}: names the photo{'s' if len(still) > 1 else ''} {', '.join(still)}, not "
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
    if (sheet_volume is None or sheet_volume != sheet_volume) and depth == depth and frame_mm2 == frame_mm2:
        row["volume_ul"] = float(frame_mm2 * depth)
    versions = sorted({str(part["counter_version"]) for part in parts if _known(part["counter_version"])})
    row.update(counted_by="photo", counter=", ".join(versions) or None, revision=int(row["revision"]) + 1)
    if not photo_names(row["photos"]):
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
