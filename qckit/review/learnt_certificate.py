"""The certificate after a camera was learnt, or was not: made from photos settled whole, or why not and what next."""

from __future__ import annotations

from dataclasses import dataclass

from qckit.agreement import certify_camera, latest_certificate, match_objects
from qckit.agreement.certificate_words import GOOD_PHOTOS, LEAST_PHOTOS_TO_JUDGE, say_too_small
from qckit.agreement.lookup import camera_of
from qckit.object_rows import is_counted
from qckit.review.camera_check import keep_certificate
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.words import plural

__all__ = ["Renewal", "certify_kit", "renew_certificate"]


@dataclass(frozen=True)
class Renewal:
    """Name of the renewed certificate (empty: none), and what became of it in words."""

    name: str
    sentences: tuple[str, ...]


def renew_certificate(log, objects, counted: dict, version: str, *, by: str, named: tuple[str, str]) -> Renewal:
    """Certify a camera from photos settled whole, each as counted by models learnt from the others.

    Parameters
    ----------
    log : SiteLog
    objects : DataFrame
        As ``settled_objects`` gives them.
    counted : dict of str to PhotoCount
        Each photo's count while it was left out.
    version : str
        Counter version by which photos are counted from now on.
    by : str
    named : tuple of str
        Camera and magnification; empty where the photos' scales tell.
    """
    names, pair = _whole(log, objects, counted, named)
    name, why = _keep_if_sound(log, objects, {n: counted[n] for n in names}, pair, counter_version=version, made_by=by)
    if name:
        return Renewal(name, (f"The certificate was renewed from the photos settled whole: {name}.",))
    return Renewal("", (f"The certificate was not renewed: {why}", _say_earlier(_use(log, pair, version), version)))


def certify_kit(log, objects, counted: dict, version: str, *, by: str, named: tuple[str, str]) -> Renewal:
    """Certify the kit's own models from photos settled whole, which they never learnt from; one that holds stays.

    For a camera of which nothing was learnt. Parameters as of :func:`renew_certificate`, with each photo's count by
    the kit's own models.
    """
    names, pair = _whole(log, objects, counted, named)
    use = _use(log, pair, version)
    if use is not None and use.holds:
        return Renewal("", (_say_earlier(use, version),))
    name, why = _keep_if_sound(log, objects, {n: counted[n] for n in names}, pair, counter_version=version, made_by=by)
    if name:
        return Renewal(name, (f"The kit's own models were certified from the photos settled whole: {name}.",))
    return Renewal("", (f"No certificate was made of them: {why}", _say_earlier(use, version)))


def _whole(log, objects, counted: dict, named: tuple[str, str]):
    """Photos settled whole, and the camera and magnification; None where nothing tells these."""
    inside = is_counted(objects)
    whole = objects[inside].groupby("photo")["is_settled"].all()
    names = [n for n in whole.index[whole] if n in counted]
    return names, named if named[0] else camera_of(_scales(log, names or list(counted)), log.scales())


def _scales(log, names):
    return log.photos().set_index("photo")["um_per_px"].astype(float).loc[names]


def _use(log, pair, version: str):
    """What is known of a camera's counts by a version of the counter; None where no camera is told."""
    import pandas as pd

    if not pair:
        return None
    photos = pd.DataFrame({"counter_version": [version]})
    return latest_certificate(log.certificates(), now=log.now(), photos=photos, camera=pair[0], magnification=pair[1])


def _keep_if_sound(log, objects, counts: dict, pair, **about) -> tuple[str, str]:
    """Certify a camera from photos settled whole: the name of the certificate, or why it is none."""
    why = _why_not(len(counts), pair)
    if why:
        return "", why
    who = {"camera": pair[0], "magnification": pair[1], "made_at": log.now()}
    made = _certify(objects, counts, _scales(log, list(counts)), **who, **about)
    if made.may_correct:
        return keep_certificate(log, made, by=about["made_by"]).name, ""
    return "", f"single counts decide it. {made.sentences[0]} Look at them at the desk, and learn again."


def _why_not(n_whole: int, pair) -> str:
    """Why no certificate can be made, and what to do next; empty where one can."""
    if n_whole < LEAST_PHOTOS_TO_JUDGE:
        few = "no photo was settled whole" if not n_whole else say_too_small(n_whole)
        more = plural(LEAST_PHOTOS_TO_JUDGE - n_whole, "more photo")
        return (
            f"{few}. Settle every object of {more} at least and learn again, or count {LEAST_PHOTOS_TO_JUDGE} other "
            f"photos by eye ({GOOD_PHOTOS} are better), let the kit count them anew and run  qckit camera check"
        )
    if pair is None:
        return (
            "nothing tells which camera took the photos. Keep its scale with  qckit camera scale  or name it with "
            "--camera and --magnification, and learn again."
        )
    return ""


def _say_earlier(use, version: str) -> str:
    """What the camera's certificate is worth for photos that are counted from now on."""
    made = None if use is None else use.certificate
    if made is None:
        return "Until then counts of this camera are not corrected."
    if made.counter_version in ("", version):
        return f"The certificate {made.name} stays as it is."
    return (
        f"Until then the certificate {made.name}, made with counter {made.counter_version}, speaks only for photos "
        "counted by that: photos counted from now on are not corrected."
    )


def _certify(objects, counted, scales, **about):
    """Judge the photos as counted while left out against what people settled, object beside object."""
    import pandas as pd

    hand = objects[objects["photo"].isin(list(counted))].reset_index(drop=True)
    inside = hand[is_counted(hand)]
    true = pd.crosstab(inside["photo"], inside["stage"]).reindex(index=list(counted), columns=STAGES, fill_value=0)
    true = true.rename(columns=STAGE_COLUMNS).reset_index()
    counts = [{"photo": n, **{STAGE_COLUMNS[s]: c.counts[s] for s in STAGES}} for n, c in counted.items()]
    return certify_camera(pd.DataFrame(counts), true, matches=_pairs(hand, counted, scales), **about)


def _pairs(hand, counted, scales):
    """Settled objects beside those found, inside the counting frame: by the settled one, where there is one."""
    import pandas as pd

    found = pd.concat([c.objects.assign(photo=n) for n, c in counted.items()], ignore_index=True)
    pairs = match_objects(hand, found, um_per_px=scales.to_dict())
    is_inside = pd.Series(False, index=pairs.index)
    for frame, column in ((found, "photo_index"), (hand, "hand_index")):  # a settled one decides, so it comes last
        there = pairs[column] >= 0
        is_inside[there] = is_counted(frame).loc[pairs.loc[there, column]].to_numpy()
    return pairs[is_inside]
