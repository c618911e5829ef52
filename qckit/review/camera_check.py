"""A camera's accuracy: counts by eye against counts by the kit, judged and kept as a certificate."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qckit.errors import InputError, unknown_name
from qckit.review.hand_tables import number_column, read_table
from qckit.stages import CLASSES, STAGE_COLUMNS, STAGES

__all__ = ["CameraCheck", "check_camera", "count_pairs", "read_hand_counts", "save_certificate"]

_STAGE_COLUMNS = list(STAGE_COLUMNS.values())


@dataclass(frozen=True)
class CameraCheck:
    """A certificate with the pairs of counts behind it (photo, then each stage by kit and by hand)."""

    certificate: object
    pairs: object
    edges: str = ""  # code "counted": the person counted what touches the left and upper edges too

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the check says, the gravest first."""
        return ((EDGES_COUNTED,) if self.edges else ()) + self.certificate.sentences

    @property
    def may_be_kept(self) -> bool:
        """Whether reports may correct counts by it."""
        return self.certificate.fitness != "spoilt" and not self.edges


EDGE_RULE = (
    "By eye, count what the kit counts: leave out whatever touches the left or the upper edge of the photo, count what "
    "touches the right or the lower edge (the checked pictures mark those left out with a small mark)."
)
EDGES_COUNTED = (
    "By eye more was counted than by the kit, by about as much as touches the left and upper edges. " + EDGE_RULE
)


def read_hand_counts(path):
    """Read counts made by eye.

    Parameters
    ----------
    path : path
        CSV (commas or semicolons) or Excel with photo, nauplii, umbrella, cysts, shells; or one row per object with
        photo, stage, x_px, y_px.

    Returns
    -------
    DataFrame
        As in the file, numbers as numbers.

    Raises
    ------
    InputError
        No such file, columns are missing, or a count is not a whole number of 0 or more.

    Examples
    --------
    >>> counts = pd.DataFrame({"photo": ["a.jpg"], "nauplii": [80], "umbrella": [2], "cysts": [15], "shells": [77]})
    >>> counts.to_csv("by-eye.csv", index=False)
    >>> review.read_hand_counts("by-eye.csv")["nauplii"].tolist()
    [80]
    """
    import pandas as pd

    frame = read_table(path)
    if {"photo", "stage", "x_px", "y_px"} <= set(frame.columns):
        return _marks(frame, path)
    missing = [c for c in ("photo", *_STAGE_COLUMNS) if c not in frame.columns]
    if missing:
        raise InputError(
            f"{path}: the column{'s' if len(missing) > 1 else ''} {', '.join(missing)} must be there. "
            f"Found: {', '.join(frame.columns)}. Correct the heading row."
        )
    for column in _STAGE_COLUMNS:
        numbers = pd.to_numeric(frame[column], errors="coerce")
        bad = frame[column][numbers.isna() | (numbers < 0) | (numbers % 1 != 0)]
        if len(bad):
            raise InputError(
                f"{path}, row {bad.index[0] + 2}: {column} is {bad.iloc[0]!r} and must be a whole number "
                "of 0 or more. Correct the cell."
            )
        frame[column] = numbers.astype(int)
    return frame.reset_index(drop=True)


def _marks(frame, path):
    """Check one row per object: stages known, places numbers."""
    unknown = frame[~frame["stage"].isin(CLASSES)]
    if len(unknown):
        raise unknown_name("stage", unknown["stage"].iloc[0], CLASSES, where=f"{path}, row {unknown.index[0] + 2}")
    for column in ("x_px", "y_px"):
        frame[column] = number_column(frame, column, path)
    return frame.reset_index(drop=True)


def count_pairs(hand, counts):
    """Lay hand counts beside photo counts.

    Parameters
    ----------
    hand : DataFrame
        photo, nauplii, umbrella, cysts, shells.
    counts : DataFrame
        photo and the same (``cyst`` and ``shell`` are taken too, as counts.csv writes them).

    Returns
    -------
    tuple of DataFrame
        (photo counts, hand counts), photos named alike: by file name, without the ending where one side lacks it.

    Examples
    --------
    >>> counts = pd.DataFrame({"photo": ["a.jpg"], "nauplii": [80], "umbrella": [2], "cysts": [15], "shells": [77]})
    >>> by_photo, by_hand = review.count_pairs(counts, counts.assign(nauplii=78))
    >>> by_photo["nauplii"].tolist(), by_hand["nauplii"].tolist()
    ([78], [80])
    """
    counts = counts.rename(columns={"cyst": "cysts", "shell": "shells"})
    counted, true = counts[["photo", *_STAGE_COLUMNS]].copy(), hand[["photo", *_STAGE_COLUMNS]].copy()
    if not set(counted["photo"]) & set(true["photo"]):
        counted["photo"], true["photo"] = ([Path(str(p)).stem for p in f["photo"]] for f in (counted, true))
    return counted, true


def check_camera(hand_path, counted, *, camera, by, made_at, magnification="", kind="", um_per_px=None) -> CameraCheck:
    """Check a camera: counts by eye against counts by the kit of the same photos.

    Parameters
    ----------
    hand_path : path
        CSV, see :func:`read_hand_counts`.
    counted : path
        Folder that ``qckit count --out`` wrote (counts.csv, objects.csv).
    camera, magnification, kind : str
        What is checked.
    by : str
        Initials of who counted by eye.
    made_at : str
        ISO time with offset.
    um_per_px : float, optional
        Scale of the photos; that of counts.csv when left out. Needed to pair single objects. [µm/px]

    Returns
    -------
    CameraCheck

    Raises
    ------
    InputError
        Files missing, or fewer than 3 photos in common.

    Examples
    --------
    >>> folder = Path("counted")
    >>> photos = sorted(picture.parent.glob("k-121_*.jpg"))[:3]
    >>> counted = counting.count_photos(photos, 6.2, out_dir=folder, checked=False)
    >>> counts = counted.counts.rename(columns={"cyst": "cysts", "shell": "shells"})
    >>> counts[["photo", "nauplii", "umbrella", "cysts", "shells"]].to_csv("by-hand.csv", index=False)
    >>> check = review.check_camera("by-hand.csv", folder, camera="M1", by="op1", made_at="2026-11-06T10:00:00+00:00")
    >>> check.certificate.n_photos >= 3
    True
    """
    import pandas as pd

    from qckit.agreement import certify_camera, match_objects

    hand, folder = read_hand_counts(hand_path), Path(counted)
    for name in ("counts.csv", "objects.csv"):
        if not (folder / name).is_file():
            raise InputError(
                f"{folder}: no {name} there. Make it with  qckit count PHOTOS --um-per-px X --out {folder}"
            )
    counts = pd.read_csv(folder / "counts.csv", dtype={"photo": str})
    version = str(counts["counter_version"].iloc[0]) if "counter_version" in counts and len(counts) else ""
    matches = None
    if "stage" in hand.columns:
        found = pd.read_csv(folder / "objects.csv", dtype={"photo": str})
        if not set(found["photo"]) & set(hand["photo"]):
            found["photo"], hand["photo"] = ([Path(str(p)).stem for p in f["photo"]] for f in (found, hand))
        scales = um_per_px or _scales_of(counts, hand)
        both = set(hand["photo"]) & set(found["photo"])
        matches = match_objects(hand[hand["photo"].isin(both)], found[found["photo"].isin(both)], um_per_px=scales)
        matches = _inside_frame(matches, found)
        hand = _totals(matches)
    counts_by_photo, true = count_pairs(hand, counts)
    certificate = certify_camera(
        counts_by_photo,
        true,
        camera=camera,
        magnification=magnification,
        kind=kind,
        made_at=made_at,
        made_by=by,
        counter_version=version,
        matches=matches,
    )
    pairs = counts_by_photo.merge(true, on="photo", suffixes=("_photo", "_hand"))
    return CameraCheck(certificate, pairs, "counted" if matches is None and _counted_edges(pairs, folder) else "")


def _counted_edges(pairs, folder) -> bool:
    """Whether counts by eye go better with all objects found than with those inside the counting frame."""
    import pandas as pd

    found = pd.read_csv(folder / "objects.csv", dtype={"photo": str})
    if "counted" not in found.columns:
        return False
    if not set(found["photo"]) & set(pairs["photo"]):
        found["photo"] = [Path(str(p)).stem for p in found["photo"]]
    outside = found[found["counted"].astype(str).str.casefold().isin(["false", "no", "0"])]
    extra = outside[outside["stage"].isin(STAGES)].groupby("photo").size().reindex(pairs["photo"], fill_value=0)
    by_kit, by_eye = (pairs[[f"{c}_{side}" for c in _STAGE_COLUMNS]].sum(axis=1) for side in ("photo", "hand"))
    more = (by_eye - by_kit).to_numpy(float)
    # the rest of the difference with and without the edges, over all photos: counting errors cancel, edges add up
    return bool(extra.sum() >= 10 and abs((more - extra.to_numpy()).sum()) < 0.5 * abs(more.sum()) and more.sum() > 0)


def _scales_of(counts, hand):
    """µm/px by photo, under both the file name and its stem."""
    if "um_per_px" not in counts:
        raise InputError("counts.csv has no column um_per_px, so single objects cannot be paired. Give --um-per-px.")
    scales = dict(zip(counts["photo"], counts["um_per_px"].astype(float)))
    return {**{Path(str(k)).stem: v for k, v in scales.items()}, **scales}


def _inside_frame(matches, found):
    """Leave out what the two-edge rule does not count, whether or not a person marked it."""
    if "counted" not in found.columns:
        return matches
    outside = found.index[found["counted"].astype(str).str.casefold().isin(["false", "no", "0"])]
    return matches[~matches["photo_index"].isin(outside)]


def _totals(matches):
    """Counts per photo by eye, from the pairs."""
    import pandas as pd

    table = pd.crosstab(matches["photo"], matches["hand"]).reindex(columns=STAGES, fill_value=0)
    return table.rename(columns=STAGE_COLUMNS).reset_index()


def save_certificate(log, check: CameraCheck, *, by: str):
    """Keep a certificate in the log, where reports and the count correction find it.

    Examples
    --------
    >>> from qckit.review.camera_check import CameraCheck
    >>> new = log.new_site("room-13")
    >>> with qckit.open_log(new) as records:
    ...     kept = review.save_certificate(records, CameraCheck(certificate, None), by="op1")
    ...     print(records.certificates()["camera"].tolist())
    ['M1']
    """
    return log.add("certificates", check.certificate.to_frame(), by=by, source=check.certificate.name)
