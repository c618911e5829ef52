"""Counts set right by hand: a person's recount, and corrections of single objects in a photo."""

from __future__ import annotations

from collections import Counter

import pandas as pd
import sqlalchemy as sa

from qckit.columns import is_missing
from qckit.errors import InputError, unknown_name
from qckit.log import schema
from qckit.log.counted import tally
from qckit.log.query import fetch, known_names
from qckit.object_rows import ADDED, REMOVED, RESTAGED
from qckit.stages import STAGE_COLUMNS
from qckit.tables import check_table, empty_table, table_columns

__all__ = ["count_change", "frame_changes", "object_changes", "recounted", "sample_after_correction"]


def recounted(connection, sample: str, values: dict[str, int], by: str, rest: str | None = None) -> pd.DataFrame:
    """Build the revision that a person's recount makes of a sample; ``rest`` as for ``Log.recount``."""
    allowed = [*STAGE_COLUMNS.values(), "embryos"]
    for name in values:
        if name not in allowed:
            raise unknown_name("count", name, allowed, where=f"sample {sample!r}")
    if rest not in (None, "keep", "empty"):
        raise unknown_name("rest", rest, ["keep", "empty"], where=f"sample {sample!r}")
    if values.get("nauplii") is None:
        raise InputError(f"sample {sample!r}: the recount has no nauplii. Give at least that count.")
    row = _sample_row(connection, sample)
    left = [name for name in allowed if values.get(name) is None and not pd.isna(row[name])]
    if left and rest is None:
        raise InputError(_left_out(sample, {name: int(row[name]) for name in left}))
    result = {name: row[name] for name in table_columns("samples")}
    result.update({name: values.get(name) for name in allowed if not (rest == "keep" and name in left)})
    if left and rest == "keep":  # a figure stays with the one who counted it
        by = f"{by}; {', '.join(left)} by {row['counted_by'] if pd.isna(row['counter']) else row['counter']}"
    result.update(counted_by="person", counter=by, revision=int(row["revision"]) + 1)
    return check_table(pd.DataFrame([result]), "samples", source=f"recount of {sample!r}")


def _left_out(sample: str, stood: dict[str, int]) -> str:
    """Ask what becomes of the counts that a recount does not give."""
    missing = ", ".join(f"{name} (so far {n})" for name, n in stood.items())
    return (
        f"sample {sample!r}: the recount does not give {missing}. Count them too, or say what becomes of them: "
        "--rest keep takes the earlier figures over, --rest empty leaves them uncounted (without unhatched cysts or "
        "embryos there is no hatching percentage)."
    )


def _sample_row(connection, sample: str) -> pd.Series:
    frame = fetch(connection, "samples", {"sample": sample}, internal=True)
    if frame.empty:
        raise unknown_name("sample", sample, known_names(connection, "samples"))
    return frame.iloc[0]


def object_changes(connection, photo: str, changes: pd.DataFrame):
    """Turn hand corrections of a photo's objects into cells to correct and objects to add.

    Returns
    -------
    tuple
        ``[(key, column, after), …]``, a frame for the objects table, and by how much each count of the sample changes.

    Notes
    -----
    Only the objects named are read, so that an edit costs the same on a crowded photo.
    """
    logged = fetch(connection, "photos", {"photo": photo}, internal=True)
    if logged.empty:
        raise unknown_name("photo", photo, known_names(connection, "photos"))
    revision = int(logged["revision"].iloc[0])
    numbers = [] if changes.empty else changes.get("object_id", pd.Series(dtype="Int64")).dropna().astype(int).tolist()
    objects = _by_number(connection, photo, numbers, corrected=True)
    entered = _by_number(connection, photo, numbers, corrected=False)
    cells, added = [], []
    next_id = _last_number(connection, photo, revision) + 1
    for change in changes.to_dict("records"):
        action = change.get("action")
        if action == "add":
            added.append({**change, "photo": photo, "object_id": next_id, "source": ADDED})
            next_id += 1
            continue
        number = change.get("object_id")
        if number not in objects:
            known = fetch(connection, "objects", {"photo": photo})["object_id"]
            raise unknown_name("object", number, known, where=f"photo {photo!r}")
        cells += _cells(photo, int(number), now=objects[number], entered=entered[number], action=action, change=change)
    new = _new_objects(photo, added, revision)
    # an addition counts by a correction, so that its reviewer and reason stand where those of other changes do
    cells += [((photo, int(i)), "counted", "yes") for i in new.loc[new["counted"].astype(bool), "object_id"]]
    new = new.assign(counted=pd.array([False] * len(new), dtype="boolean"))
    before = objects | {int(row["object_id"]): row for row in new.to_dict("records")}
    return cells, new, count_change(before, cells)


def count_change(before: dict[int, dict], cells: list[tuple]) -> Counter:
    """Tell by how much the counts of a photo change with some corrections of its objects.

    Parameters
    ----------
    before : dict of int to dict
        The objects as they stand, by number; ``stage`` and ``counted`` are read.
    cells : list of ((photo, number), column, after)

    Returns
    -------
    Counter
        Count column -> change.
    """
    change: Counter = Counter()
    after: dict[int, dict] = {}
    for (_, number), column, value in cells:
        after.setdefault(number, dict(before[number]))[column] = value == "yes" if column == "counted" else value
    for number, row in after.items():
        for sign, state in ((-1, before[number]), (1, row)):
            if state["stage"] in STAGE_COLUMNS and not pd.isna(state["counted"]) and state["counted"]:
                change[STAGE_COLUMNS[state["stage"]]] += sign
    return change


def _by_number(connection, photo: str, numbers: list[int], *, corrected: bool) -> dict[int, dict]:
    if not numbers:
        return {}
    equals = {"photo": photo, "object_id": list(dict.fromkeys(numbers))}
    rows = fetch(connection, "objects", equals, corrected=corrected).to_dict("records")
    return {int(row["object_id"]): row for row in rows}


def _last_number(connection, photo: str, revision: int) -> int:
    t = schema.table("objects")
    statement = sa.select(sa.func.max(t.c.object_id)).where(t.c.photo == photo, t.c.revision == revision)
    return connection.execute(statement).scalar() or 0


def frame_changes(connection, photo: str, frame_mm2: float | None) -> list[tuple]:
    """Return the cells a drawn frame changes: the photo's frame, and the volume where it is frame times depth.

    Returns
    -------
    list of (table, key, column, after)
        Empty without a new frame, or where it stands so already.
    """
    row = fetch(connection, "photos", {"photo": photo}).iloc[0]
    if frame_mm2 is None or (not pd.isna(row["frame_mm2"]) and abs(row["frame_mm2"] - frame_mm2) < 1e-6):
        return []
    cells = [("photos", photo, "frame_mm2", round(float(frame_mm2), 6))]
    if pd.isna(row["sample"]) or pd.isna(row["frame_mm2"]):
        return cells
    sample = _sample_row(connection, row["sample"])
    depth, volume = sample["chamber_depth_mm"], sample["volume_ul"]
    if pd.isna(depth) or pd.isna(volume):
        return cells
    after = round(float(volume) + (float(frame_mm2) - float(row["frame_mm2"])) * float(depth), 4)
    return cells if after == volume else [*cells, ("samples", row["sample"], "volume_ul", after)]


def _cells(photo, number, now: dict, entered: dict, action, change) -> list[tuple]:
    """Return the cells that one hand correction changes; those that stand so already are left out."""
    source = change.get("source")  # of an undo: what the object was before
    source = source if isinstance(source, str) and source else None
    by_hand = entered["source"] == ADDED
    if action == "stage":
        changed = ADDED if by_hand else RESTAGED
        cells = {"stage": change.get("stage"), "source": source or changed}
    elif action == "remove":
        cells = {"source": REMOVED, "counted": "no"}
    elif action == "restore":
        was = RESTAGED if now["stage"] != entered["stage"] and not by_hand else entered["source"]
        cells = {"source": source or was, "counted": "yes"}
    elif action == "leave out":  # outside a drawn frame: it does not count, and is still what it is
        cells = {"counted": "no"}
    else:
        known = ["stage", "remove", "restore", "leave out", "add"]
        raise unknown_name("action", action, known, where=f"photo {photo!r}")
    shown = now | {"counted": "yes" if now["counted"] else "no"}
    return [((photo, number), column, after) for column, after in cells.items() if shown[column] != after]


def _new_objects(photo, added: list[dict], revision: int) -> pd.DataFrame:
    if not added:
        return empty_table("objects").assign(revision=pd.Series(dtype="Int64"))
    frame = pd.DataFrame(added).drop(columns="action")
    if "counted" not in frame.columns:
        frame["counted"] = True
    frame["counted"] = frame["counted"].map(lambda v: True if is_missing(v) else v)
    checked = check_table(frame, "objects", source=f"photo {photo!r}")
    for column in ("stage", "x_px", "y_px"):
        if checked[column].isna().any():
            raise InputError(f"photo {photo!r}: an object added by hand has no {column}. Give stage, x_px and y_px.")
    return checked[table_columns("objects")].assign(revision=revision)


def sample_after_correction(connection, photo: str, by: str, change: Counter | None = None) -> pd.DataFrame:
    """Build the sample revision that hand corrections of a photo make; no rows where the photo has no sample.

    Parameters
    ----------
    connection : Connection
    photo, by : str
    change : Counter, optional
        From :func:`count_change`: where the sample's counts are those of its photos, they are brought along by it and
        no object is read. Without it, or where a person has set the counts, all objects of the sample are counted.
    """
    sample = fetch(connection, "photos", {"photo": photo})["sample"].iloc[0]
    if is_missing(sample):
        return empty_table("samples")
    row = _sample_row(connection, sample)
    columns = list(STAGE_COLUMNS.values())
    if change is None or not _follows_photos(connection, row):
        photos = fetch(connection, "photos", {"sample": sample})["photo"].tolist()
        total = tally(fetch(connection, "objects", {"photo": photos})).sum()
    else:
        total = {column: int(row[column]) + change[column] for column in columns}
    result = {name: row[name] for name in table_columns("samples")}
    result.update({column: int(total[column]) for column in STAGE_COLUMNS.values()})
    if all(result[c] == row[c] for c in STAGE_COLUMNS.values()):
        return empty_table("samples")
    versions = fetch(connection, "photos", {"sample": sample})["counter_version"].dropna().unique()
    result.update(
        counted_by="photo",
        counter=f"{', '.join(versions)}, corrected by {by}".lstrip(", "),
        revision=int(row["revision"]) + 1,
    )
    return check_table(pd.DataFrame([result]), "samples", source=f"sample {sample!r}")


def _follows_photos(connection, row: pd.Series) -> bool:
    """Tell whether a sample's counts are the sum over its photos: counted by photo, and no count typed over since."""
    columns = list(STAGE_COLUMNS.values())
    if row["counted_by"] != "photo" or row[columns].isna().any():
        return False
    c = schema.CORRECTIONS.c
    typed = sa.select(c.correction).where(c.table == "samples", c.key1 == row["sample"], c.column.in_(columns)).limit(1)
    return connection.execute(typed).first() is None
