"""What people have settled of a site's photos, and which photos are best settled next."""

from __future__ import annotations

from qckit.agreement.lookup import camera_of
from qckit.errors import InputError
from qckit.object_rows import ADDED, BY_HAND, RESTAGED, is_counted, is_removed
from qckit.review.priorities import doubts, rank_photos
from qckit.stages import CLASSES, STAGES
from qckit.words import joined, plural

__all__ = ["ENOUGH_PHOTOS", "LEAST_PHOTOS", "order_to_review", "photos_to_settle", "settled_objects"]

# limits of this kit: fewer say too little of a camera, or cannot be split into photos learnt from and left out
LEAST_PHOTOS, LEAST_OBJECTS, LEAST_PER_STAGE = 3, 60, 10
ENOUGH_PHOTOS = 8  # settled ones from which the queue no longer begins with those that help to learn the camera
MOST_PHOTOS = 24  # the last by name; more take long and add little


def photos_of_camera(log, camera: str, magnification: str):
    """Photos of a camera, by their scale; all where none is named."""
    photos = log.photos()
    if not camera:
        return photos
    scales = log.scales()
    pairs = {u: camera_of([u], scales) for u in photos["um_per_px"].astype(float).unique()}
    fits = {u: p is not None and p[0] == camera and magnification in ("", p[1]) for u, p in pairs.items()}
    mine = photos["um_per_px"].astype(float).map(fits).to_numpy(bool)
    if not mine.any():
        raise InputError(_no_photo_words(log, scales, camera, magnification))
    return photos[mine]


def _no_photo_words(log, scales, camera, magnification) -> str:
    """Say why no photo is known as this camera's: photos are told by their scale, and by no certificate."""
    name = f"{camera} {magnification}".rstrip()
    kept = scales[(scales["camera"] == camera) & (scales["magnification"].eq(magnification) if magnification else True)]
    if len(kept):
        each = joined(f"{u:g}" for u in kept["um_per_px"].astype(float).unique())
        return f"No photo in the log was counted at the scale of the camera {name} ({each} µm/px)."
    certificates = log.certificates()
    of_name = certificates[certificates["certificate"] == camera]
    if len(of_name):
        return f"{camera} is the name of a certificate. Name its camera: --camera {of_name['camera'].iloc[0]}"
    if (certificates["camera"] == camera).any():
        return (
            f"The camera {name} has a certificate and no scale, and photos are known as a camera's by their scale. "
            "Keep it with  qckit camera scale"
        )
    return f"No photo's scale is that of the camera {name}. Look the names up with  qckit camera list"


def settled_objects(log, camera: str, magnification: str):
    """Objects of the photos that people have worked on, with what each is said to be and whether it is settled."""
    objects = log.objects()
    if objects.empty:
        raise InputError(say_none_counted(log))
    objects = objects[objects["photo"].isin(photos_of_camera(log, camera, magnification)["photo"])]
    removed = is_removed(objects).to_numpy()
    settled = objects["source"].isin((RESTAGED, ADDED)).to_numpy() & objects["stage"].isin(CLASSES).to_numpy()
    objects = objects.assign(is_settled=settled | removed, stage=objects["stage"].mask(removed, "debris"))
    per_photo = objects.groupby("photo")["is_settled"].sum()
    names = per_photo[per_photo > 0].index[-MOST_PHOTOS:]
    objects = objects[objects["photo"].isin(names)].reset_index(drop=True)
    _need_enough(objects[objects["is_settled"]])
    return objects


def say_none_counted(log) -> str:
    """Say that no photo is counted yet, and where some wait for it, how they come to be."""
    n_left = log.awaiting_counts()["photo"].nunique()
    none = "No photo is counted in this site's log yet."
    if not n_left:
        return f"{none} Name photos in the sheet that you import, or let  qckit today --watch FOLDER  take them in."
    wait = plural(n_left, "photo waits", "photos wait")
    return f"{none} {wait}: count with  qckit today --watch  or the notebook count_photos."


def _need_enough(settled) -> None:
    photos = settled["photo"].nunique()
    counts = settled["stage"].value_counts()
    rich = [s for s in STAGES if counts.get(s, 0) >= LEAST_PER_STAGE]
    if photos < LEAST_PHOTOS or len(settled) < LEAST_OBJECTS or len(rich) < 2:
        have = ", ".join(f"{counts.get(s, 0)} {s}" for s in CLASSES)
        raise InputError(
            f"{len(settled)} objects of {plural(photos, 'photo')} are settled by hand ({have}). To "
            f"learn this camera at least {LEAST_OBJECTS} objects of {LEAST_PHOTOS} photos are needed, with "
            f"{LEAST_PER_STAGE} or more of two stages. Look at more photos: set the stage, or press Enter where it is "
            "right.  qckit camera learn --next  names photos that help most."
        )


def photos_to_settle(log, *, camera: str = "", magnification: str = "", n: int = 3) -> list[str]:
    """Pick the photos from which most is to be learnt when they are settled.

    Parameters
    ----------
    log : SiteLog
    camera, magnification : str
        Photos of this camera only.
    n : int
        How many.

    Returns
    -------
    list of str
        Photos without settled objects, those with the most doubtful objects first, each from another sample as long
        as there are others.

    Notes
    -----
    Doubt is the chance, added up over the photo's objects, that the stage is wrong (uncertainty sampling, Lewis and
    Gale 1994, SIGIR; from memory); another sample brings other animals.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     print(review.photos_to_settle(records, n=1))
    ['k-124_a_1.jpg']
    """
    return _most_doubtful(photos_of_camera(log, camera, magnification), log.objects(), n)


def _most_doubtful(photos, objects, n: int = 3) -> list[str]:
    """Photos without settled objects, the most doubtful first, each of another sample as long as there are others."""
    settled = set(objects.loc[objects["source"].isin(BY_HAND), "photo"])
    fresh = objects[objects["photo"].isin(set(photos["photo"]) - settled)]
    fresh = fresh[is_counted(fresh)]
    doubt = fresh.assign(doubt=doubts(fresh)).groupby("photo")["doubt"].sum()
    order = list(doubt.sort_values(ascending=False, kind="stable").index)
    sample = dict(zip(photos["photo"], photos["sample"].fillna("").astype(str)))
    first_of_sample: dict[str, str] = {}
    for name in order:
        first_of_sample.setdefault(sample[name], name)
    picked = list(first_of_sample.values())[:n]
    return picked + [name for name in order if name not in picked][: n - len(picked)]


def order_to_review(photos, objects):
    """Put photos in the order in which to look at them: those from which the camera is learnt best come first.

    Parameters
    ----------
    photos : DataFrame
        Rows of the photos table that are to be looked at.
    objects : DataFrame
        The site's objects.

    Returns
    -------
    DataFrame
        As :func:`rank_photos` gives it, with ``settle`` (yes: settle every object of it). While fewer than
        ``ENOUGH_PHOTOS`` photos have settled objects, those that :func:`photos_to_settle` would pick among them
        lead, as far as they are worth a look.
    """
    ranked = rank_photos(photos, objects)
    by_hand = objects["source"].isin(BY_HAND)
    n_settled = objects.loc[by_hand, "photo"].nunique()
    picks = _most_doubtful(photos, objects) if n_settled < ENOUGH_PHOTOS else []
    leads = ranked["photo"].isin(picks) & (ranked["look"] == "yes")
    ranked = ranked.assign(settle=leads.map({True: "yes", False: "no"}))
    place = ranked["photo"].map({name: i for i, name in enumerate(picks)}).where(leads, len(picks))
    return ranked.loc[place.sort_values(kind="stable").index].reset_index(drop=True)
