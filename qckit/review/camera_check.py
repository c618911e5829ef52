"""A camera's accuracy: counts by eye against counts by the kit, judged and kept as a certificate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from qckit.agreement import certify_camera, match_objects
from qckit.agreement.certificate_words import GOOD_PHOTOS, LEAST_PHOTOS_TO_JUDGE, say_too_small
from qckit.errors import InputError, unknown_name
from qckit.review.hand_tables import number_column, read_table
from qckit.stages import CLASSES, STAGE_COLUMNS, STAGES
from qckit.words import joined, noun, plural

__all__ = ["CameraCheck", "check_camera", "count_pairs", "read_hand_counts", "save_certificate"]

_STAGE_COLUMNS = list(STAGE_COLUMNS.values())
_FEWEST_TO_TELL = 6  # photos; fewer do not tell what is missed from what lies at the edges


@dataclass(frozen=True)
class Edges:
    """What is known of the objects at the left and upper edges, which the kit leaves out.

    ``were_counted``: the person seems to have counted them too. ``n_left_out``: so many the kit found and left out;
    ``n_marks``: so many marks by eye lie too near those edges to be compared; both -1 where that is not known.
    """

    were_counted: bool = False
    n_left_out: int = -1
    n_marks: int = -1


@dataclass(frozen=True)
class CameraCheck:
    """A certificate with the pairs of counts behind it (photo, then each stage by kit and by hand)."""

    certificate: object
    pairs: object
    edges: Edges = Edges()
    learnt: tuple[str, ...] = ()  # photos from which the models that counted them were learnt
    other_scale: str = ""  # what is to be said where photos have another scale than the camera's own

    @property
    def sentences(self) -> tuple[str, ...]:
        """What the check says, the gravest first; how objects at the edges are treated, last."""
        grave = (EDGES_COUNTED,) if self.edges.were_counted else ()
        if self.learnt:
            grave = (_learnt_words(self.learnt, self.certificate.n_photos), *grave)
        if self.other_scale:
            grave = (self.other_scale, *grave)
        return grave + self.certificate.sentences + _edge_words(self.edges)

    @property
    def may_be_kept(self) -> bool:
        """Whether reports may correct counts by it."""
        spoilt = self.edges.were_counted or self.learnt or self.other_scale
        return self.certificate.may_correct and not spoilt

    @property
    def why_not_kept(self) -> str:
        """What to say where somebody asks to keep it and it may not be."""
        n = self.certificate.n_photos
        if self.learnt:
            return "Not kept: on photos that were learnt from the kit does better than on any other."
        if self.other_scale:
            return "Not kept: photos are known as a camera's by their scale, and it would correct others than these."
        if not self.certificate.is_too_small or self.certificate.fitness == "spoilt" or self.edges.were_counted:
            return "Not kept: a certificate would correct every later count by this."
        return (
            f"Not kept: {say_too_small(n)}. Count {plural(LEAST_PHOTOS_TO_JUDGE - n, 'more photo')} by eye at least "
            f"({GOOD_PHOTOS} in all are better) and check again."
        )


def _learnt_words(photos, n) -> str:
    """Which photos of a check tell nothing, and what to do."""
    return (
        f"{len(photos)} of the {plural(n, 'photo')} checked {noun(len(photos), 'is one', 'are ones')} from which this "
        f"site's models learnt ({joined(photos)}): take {noun(len(photos), 'it', 'them')} out of the table and count "
        "others by eye instead."
    )


EDGE_RULE = (
    "By eye, count what the kit counts: leave out whatever touches the left or the upper edge of the photo, count what "
    "touches the right or the lower edge (the checked pictures mark those left out with a small mark)."
)
EDGES_COUNTED = "By eye more was counted than by the kit, by about as much as touches the left and upper edges."
EDGE_UM = 250.0  # half a nauplius: a mark in the middle of one that lies nearer may stand for one that touches the edge


def _edge_words(edges: Edges) -> tuple[str, ...]:
    """How objects at the edges are to be treated, and what that concerns here."""
    if edges.n_marks >= 0:
        return (
            f"{plural(edges.n_marks, 'mark')} by eye nearer than {EDGE_UM:g} µm to the left or "
            "the upper edge were left out, since a mark does not tell whether its object touches the edge.",
        )
    if edges.n_left_out < 0:
        return (EDGE_RULE,)
    return (f"{EDGE_RULE} Here the kit left out {edges.n_left_out}.",)


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
            f"{path}: the {noun(len(missing), 'column')} {', '.join(missing)} must be there. "
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
        hand, found = hand[hand["photo"].isin(both)], found[found["photo"].isin(both)]
        matches = match_objects(hand, found, um_per_px=scales)
        matches, n_marks = _inside_frame(matches, hand, found, scales)
        edges = Edges(n_marks=n_marks)
        hand, counts = (_totals(matches, side, sorted(both)) for side in ("hand", "photo_stage"))
    counts_by_photo, true = count_pairs(hand, counts)
    certificate = certify_camera(
        counts_by_photo,
        true,
        camera=camera,
        magnification=magnification,
        made_at=made_at,
        made_by=by,
        counter_version=version,
        matches=matches,
    )
    pairs = counts_by_photo.merge(true, on="photo", suffixes=("_photo", "_hand"))
    if matches is None:
        spoilt = {s.photo for s in certificate.suspects}.union(*certificate.misplaced)
        edges = _edges(pairs, folder, spoilt)
    return CameraCheck(replace(certificate, kind=kind), pairs, edges)


def _edges(pairs, folder, spoilt) -> Edges:
    """Whether counts by eye go better with all objects found than with those inside the counting frame.

    Photos with a count that spoils the check (``spoilt``) tell nothing here.
    """
    import pandas as pd

    found = pd.read_csv(folder / "objects.csv", dtype={"photo": str})
    if "counted" not in found.columns:
        return Edges()
    if not set(found["photo"]) & set(pairs["photo"]):
        found["photo"] = [Path(str(p)).stem for p in found["photo"]]
    outside = found[_left_out(found)]
    extra = outside[outside["stage"].isin(STAGES)].groupby("photo").size().reindex(pairs["photo"], fill_value=0)
    by_kit, by_eye = (pairs[[f"{c}_{side}" for c in _STAGE_COLUMNS]].sum(axis=1) for side in ("photo", "hand"))
    good = ~pairs["photo"].isin(spoilt).to_numpy()
    more, kit, edge = (np.asarray(v, float)[good] for v in (by_eye - by_kit, by_kit, extra))
    # the rest of the difference with and without the edges, over all photos: counting errors cancel, edges add up
    by_as_much = edge.sum() >= 10 and more.sum() > 0 and abs((more - edge).sum()) < 0.5 * more.sum()
    return Edges(bool(by_as_much and not _is_rather_missed(more, kit, edge)), int(extra.sum()))


def _is_rather_missed(more, kit, edge) -> bool:
    """Whether the photos with more at the edges do not differ more: then the kit misses that many everywhere.

    Least squares of the difference on the kit's count and on the objects at the edges, weighted by counting error; what
    the edges explain must lie clearly (two standard errors) below one for one.
    """
    if len(more) < _FEWEST_TO_TELL:
        return False
    weight = 1 / np.sqrt(kit + edge + 1)
    x = np.stack([kit, edge], axis=1) * weight[:, None]
    part, *_ = np.linalg.lstsq(x, more * weight, rcond=None)
    rest = more * weight - x @ part
    u = np.sqrt(rest @ rest / (len(more) - 2) * np.linalg.pinv(x.T @ x)[1, 1])
    return bool(part[1] + 2 * u < 0.5)


def _left_out(found):
    """Which objects found lie outside the counting frame."""
    return found["counted"].astype(str).str.casefold().isin(["false", "no", "0"]).to_numpy()


def _scales_of(counts, hand):
    """µm/px by photo, under both the file name and its stem."""
    if "um_per_px" not in counts:
        raise InputError("counts.csv has no column um_per_px, so single objects cannot be paired. Give --um-per-px.")
    scales = dict(zip(counts["photo"], counts["um_per_px"].astype(float)))
    return {**{Path(str(k)).stem: v for k, v in scales.items()}, **scales}


def _inside_frame(matches, hand, found, scales):
    """Leave out what the two-edge rule does not count, on both sides alike, and what a mark cannot tell of it.

    Returns
    -------
    DataFrame, int
        The pairs that are left, and how many marks by eye were left out as too near the left or upper edge.
    """
    if "counted" not in found.columns:
        return matches, -1
    outside = matches["photo_index"].isin(found.index[_left_out(found)]).to_numpy()
    marked = (matches["hand_index"] >= 0).to_numpy()
    place = np.full((len(matches), 2), np.inf)
    for which, frame, column in ((~marked, found, "photo_index"), (marked, hand, "hand_index")):
        place[which] = frame.loc[matches.loc[which, column], ["x_px", "y_px"]].to_numpy(float)
    um = matches["photo"].map(scales) if hasattr(scales, "get") else float(scales)
    near = place.min(axis=1) * np.asarray(um, float) < EDGE_UM
    return matches[~outside & ~near], int((marked & near).sum())


def _totals(matches, side, photos):
    """Counts per photo by eye (``hand``) or by the kit (``photo_stage``), from the pairs."""
    import pandas as pd

    table = pd.crosstab(matches["photo"], matches[side]).reindex(index=photos, columns=STAGES, fill_value=0)
    return table.rename(columns=STAGE_COLUMNS).rename_axis("photo").reset_index()


def save_certificate(log, check: CameraCheck, *, by: str):
    """Keep a certificate in the log, where reports and the count correction find it.

    Returns
    -------
    Certificate
        As it is kept: one more of the same camera and day is numbered.

    Raises
    ------
    InputError
        It may not be kept: too few photos, single counts that spoil it, or edges that were counted.

    Examples
    --------
    >>> from qckit.review.camera_check import CameraCheck
    >>> with qckit.open_log(site.folder) as records:
    ...     try:
    ...         review.save_certificate(records, CameraCheck(certificate, None), by="op1")
    ...     except qckit.InputError as error:
    ...         print(str(error)[:44])
    Not kept: corrected by a check of 4 photos,
    """
    if not check.may_be_kept:
        raise InputError(check.why_not_kept)
    return keep_certificate(log, check.certificate, by=by)


def _is_same(made, row) -> bool:
    """Whether a kept certificate is this one: made at the same time, from the same counts."""
    anew = made.to_frame().iloc[0]
    return all(str(row[c]) == str(anew[c]) for c in ("made_at", "counter_version", "confusion"))


def keep_certificate(log, made, *, by: str):
    """Keep a certificate; a further one of the same camera and day gets a number after its name."""
    known = {row["certificate"]: row for row in log.certificates().to_dict("records")}
    name, number = made.name, 1
    while known.get(name) and not _is_same(made, known[name]):
        number += 1
        name = f"{made.name} ({number})"
    made = replace(made, name=name)
    log.add("certificates", made.to_frame(), by=by, source=name)
    return made
