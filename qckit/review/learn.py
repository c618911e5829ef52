"""Learn a camera from photos that people have settled at the desk; kept only if better on photos left out.

What is learnt: factors on the camera's colours, and a rule of where objects are and what they are
(:mod:`qckit.counting.training.camera`). Each photo is then counted, as ``qckit count`` would, by models learnt from the
others.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from qckit.agreement import match_objects
from qckit.agreement.certificate_words import LEAST_PHOTOS_TO_JUDGE
from qckit.counting import count_photo, model_key
from qckit.counting.camera_rule.learned import save_learned
from qckit.counting.pipeline import finest_scale
from qckit.counting.reader.network import READER_VERSION
from qckit.counting.result import version_with
from qckit.counting.training.camera import Settled, colour_gains, learn_camera, learning_curve, read_settled
from qckit.errors import InputError
from qckit.object_rows import is_counted
from qckit.photo import read_photo
from qckit.review.learnt_certificate import Renewal, certify_kit, renew_certificate
from qckit.review.settled import photos_to_settle, settled_objects
from qckit.review.site_model import LeaveOut, SiteModel, keep_site_model, site_stage_model
from qckit.showing import InWords
from qckit.stages import STAGES
from qckit.words import estimated

__all__ = ["CameraLearning", "learn_camera_of_site"]

_DEBRIS_REACH_UM = 60.0
_LEAST_GAIN = 2  # objects more that come out right; asking for more refuses what helps (tests/photos/CAMERAS.md)
_LOOKED_THROUGH = 10  # settled objects from which those left as found were most likely seen too
_LEAST_GAIN_PCT = 0.5  # points of wrong objects that two more photos should take away to be worth settling


@dataclass(frozen=True, repr=False)
class CameraLearning(InWords):
    """What came of learning.

    Attributes
    ----------
    model : SiteModel or None
        What was put into use.
    trial : LeaveOut
    photos : DataFrame
        photo, n_settled, wrong_before, wrong_after: each left out in turn. Wrong are settled objects missed or called
        another, and, in a photo settled whole, what is counted where nothing was said to be.
    curve : tuple of CurvePoint
        How much settled photos help; empty where it was not asked for.
    certificate : str
        Name of the certificate that was renewed; empty otherwise.
    sentences : tuple of str

    Examples
    --------
    >>> list(review.CameraLearning.__dataclass_fields__)[:2]
    ['model', 'trial']
    """

    model: SiteModel | None
    trial: LeaveOut
    photos: object
    curve: tuple
    certificate: str
    sentences: tuple[str, ...]

    def _in_words(self) -> dict:
        rows = [tuple(map(str, row)) for row in self.photos.itertuples(index=False)]
        heads = ("photo", "settled", "wrong before", "wrong after")
        return {"title": "Learning this camera", "lines": self.sentences, "heads": heads, "rows": rows}


def learn_camera_of_site(
    log,
    *,
    by: str,
    keep: bool = True,
    camera: str = "",
    magnification: str = "",
    curve: bool = True,
    progress: Callable | None = None,
) -> CameraLearning:
    """Learn a site's camera from its settled photos.

    Parameters
    ----------
    log : SiteLog
        An open log.
    by : str
        Who has it learnt.
    keep : bool
        Put the models into use if they are better on photos left out.
    camera, magnification : str
        Only photos whose scale is this camera's; and what the renewed certificate is for. Left out: all settled
        photos, and the camera that their scales tell.
    curve : bool
        Also work out how many settled photos help how much.
    progress : callable, optional
        Called as ``progress(done, total, words)``.

    Returns
    -------
    CameraLearning

    Raises
    ------
    InputError
        Too few settled objects or photos, or nobody is named.

    Notes
    -----
    Settled is an object whose stage a person set or confirmed, that a person added, or removed (it is then debris).

    Examples
    --------
    >>> try:
    ...     with qckit.open_log(room) as records:
    ...         review.learn_camera_of_site(records, by="op1")
    ... except qckit.InputError as error:
    ...     print(str(error)[:29])
    0 objects of 0 photos are set
    """
    if not str(by).strip():
        raise InputError("Nobody is named as the one who learns the camera. Give a name or initials (--by NAME).")
    objects = settled_objects(log, camera, magnification)
    names = list(objects.loc[objects["is_settled"], "photo"].unique())
    tell = _teller(progress, 2 * len(names) + 1 + curve)
    photos, gains = _read_all(log, objects, names, tell)
    tried, by_kit, by_learnt, left_out = {}, {}, {}, []
    for name in names:
        left_out.append(learn_camera([p.read for n, p in photos.items() if n != name], gains))
        tried[name], by_kit[name], by_learnt[name] = photos[name].compare(left_out[-1])
        tell(f"left out {name}")
    points = learning_curve([p.read for p in photos.values()], gains, left_out=left_out) if curve else ()
    if curve:
        tell("drew the learning curve")
    table = _table(tried)
    better = _is_better(tried.values())
    n, *wrong = (int(table[c].sum()) for c in ("n_settled", "wrong_before", "wrong_after"))
    trial = LeaveOut(len(names), n, *(n - w for w in wrong))
    model, renewal, used_before = None, Renewal("", ()), site_stage_model(log.folder)
    who = {"by": str(by).strip(), "named": (camera, magnification)}
    if keep and better:
        final = learn_camera([p.read for p in photos.values()], gains)
        sha256 = log.photos().set_index("photo").loc[names, "sha256"].tolist()
        made = {"made_at": log.now(), "by": who["by"], "trial": trial}
        model = keep_site_model(log.folder, final, **made, learnt_from=sha256)
        version = version_with(model_key(str(model.path)))
        renewal = renew_certificate(log, objects, by_learnt, version, **who)
    elif keep and used_before is None:
        renewal = certify_kit(log, objects, by_kit, version_with(""), **who)
    tell("done")
    sentences = (
        *_trial_words(trial, better, keep, model or used_before),
        *renewal.sentences,
        *_curve_words(points, log, camera, magnification),
    )
    return CameraLearning(
        model=model, trial=trial, photos=table, curve=points, certificate=renewal.name, sentences=sentences
    )


def _teller(progress, total):
    done = 0

    def tell(words):
        nonlocal done
        done += 1
        if progress:
            progress(done, total, words)

    return tell


def _read_all(log, objects, names, tell):
    """Read every settled photo; returns them by name, and the factors on colours that were tried."""
    from qckit.review.files import find_photo_file

    pixels, found = {}, {}
    for name in names:
        info = log.photos(photo=name).iloc[0]
        path, um_per_px = find_photo_file(log.folder, name, sha256=str(info["sha256"])), float(info["um_per_px"])
        found[name] = path, um_per_px
        pixels[name] = read_photo(path, um_per_px=um_per_px, finest_um_per_px=finest_scale())
    gains = colour_gains([p.pixels for p in pixels.values()])
    photos = {}
    for name, (path, um_per_px) in found.items():
        photos[name] = _LabelledPhoto.read(path, um_per_px, pixels.pop(name), objects[objects["photo"] == name], gains)
        tell(f"read {name}")
    return photos, gains


@dataclass(frozen=True)
class _LabelledPhoto:
    """A photo with what people said of its objects."""

    path: Path
    um_per_px: float
    settled: object
    read: object

    @classmethod
    def read(cls, path, um_per_px, photo, objects, gains):
        settled = objects[objects["is_settled"]]
        left = objects[~objects["is_settled"] & is_counted(objects)]
        left = left if len(settled) >= _LOOKED_THROUGH else left.head(0)
        places = (part[c].to_numpy(float) for part in (settled, left) for c in ("x_px", "y_px"))
        x_px, y_px, left_x_px, left_y_px = places
        is_whole = bool(objects.loc[is_counted(objects), "is_settled"].all())
        known = Settled(
            x_px=x_px,
            y_px=y_px,
            stages=tuple(settled["stage"]),
            left_x_px=left_x_px,
            left_y_px=left_y_px,
            is_whole=is_whole,
        )
        return cls(path, um_per_px, settled, read_settled(photo, um_per_px, known, gains))

    def compare(self, learned):
        """How the kit's own models and those learnt do on this photo, and the count by each."""
        with tempfile.TemporaryDirectory() as folder:
            file = str(Path(folder) / "camera.npz")  # of a new name each time: models are kept in memory by name
            save_learned(file, learned, reader_version=READER_VERSION)
            before, after = (count_photo(self.path, um_per_px=self.um_per_px, stage_model=m) for m in (None, file))
        judged = [_right(self.settled, c.objects, self.um_per_px) for c in (before, after)]
        invented = [n if self.read.settled.is_whole else 0 for _, n in judged]
        return _Compared(*(right for right, _ in judged), *invented), before, after


@dataclass(frozen=True)
class _Compared:
    """Which settled objects of a photo come out right before and after, and how many that are none are counted."""

    right_before: np.ndarray
    right_after: np.ndarray
    invented_before: int
    invented_after: int

    @property
    def wrong(self) -> tuple[int, int]:
        """Settled objects that come out wrong, and objects invented, before and after."""
        before, after = (int((~right).sum()) for right in (self.right_before, self.right_after))
        return before + self.invented_before, after + self.invented_after


def _right(settled, found, um_per_px) -> tuple[np.ndarray, int]:
    """Which settled objects a count calls right, and how many others it counts.

    Debris is right where nothing that counts lies.
    """
    from scipy.spatial.distance import cdist

    hand = settled.reset_index(drop=True).assign(photo="one")
    pairs = match_objects(hand, found.assign(photo="one"), um_per_px=um_per_px)
    right = np.zeros(len(hand), dtype=bool)
    right[pairs.loc[pairs["hand"] == pairs["photo_stage"], "hand_index"].astype(int)] = True
    marks = np.flatnonzero(hand["stage"] == "debris")
    counted = found[found["stage"].isin(STAGES)]
    places = counted[["x_px", "y_px"]].to_numpy(float)
    apart = cdist(hand[["x_px", "y_px"]].to_numpy(float), places) * um_per_px
    right[marks] = apart[marks].min(axis=1, initial=np.inf) > _DEBRIS_REACH_UM
    paired = counted.index.isin(pairs.loc[pairs["hand_index"] >= 0, "photo_index"])
    elsewhere = (apart.min(axis=0, initial=np.inf) > _DEBRIS_REACH_UM) & ~paired
    return right, int((elsewhere & counted["counted"].to_numpy(bool)).sum())


def _is_better(tried) -> bool:
    """Whether by the new models, learnt from one photo less than there are, clearly more comes out right."""
    before, after = (sum(w) for w in zip(*(t.wrong for t in tried), strict=True))
    return before - after >= _LEAST_GAIN


def _table(tried):
    import pandas as pd

    rows = [(name, len(t.right_before), *t.wrong) for name, t in tried.items()]
    return pd.DataFrame(rows, columns=["photo", "n_settled", "wrong_before", "wrong_after"])


def _trial_words(trial: LeaveOut, better: bool, keep: bool, model: SiteModel | None):
    """What was compared and what came of it; ``model`` is what counts from now on, None for the kit's own."""
    n = trial.n_objects
    before, after = n - trial.right_before, n - trial.right_after
    yield (
        f"{n} settled objects of {trial.n_photos} photos were learnt from. With each photo left out in turn, the kit's "
        f"own models were wrong for {before} of {n} ({100 * before / n:.1f} %), those learnt here for {after} "
        f"({100 * after / n:.1f} %)."
    )
    if better and keep:
        yield (
            f"They are in use from now on for photos counted in this site (version {model.version}); the counter "
            "version names them. To go back:  qckit camera learn --undo"
        )
    elif better:
        yield "They are better, and were not put into use."
    else:
        stays = f"the site's version {model.version} stays" if model else "the kit's own models stay"
        yield (
            f"That is not clearly better (at least {_LEAST_GAIN} objects fewer must come out wrong), so nothing was "
            f"changed: {stays} in force."
        )
        if not (keep or model):
            yield (
                f"Without --try a certificate of the kit's own models is made from {LEAST_PHOTOS_TO_JUDGE} photos "
                "settled whole, and with fewer it is said how to come by one."
            )


def _curve_words(points, log, camera, magnification):
    if not points:
        return
    measured, (now, more) = points[:-2], points[-2:]
    shown = ", ".join(f"{p.n_photos}: {p.wrong_pct:.1f} %" for p in measured)
    yield f"Wrong on photos left out, by the number of photos learnt from: {shown}."
    gain = now.wrong_pct - more.wrong_pct
    text = (
        f"With all {now.n_photos} photos {estimated(now.wrong_pct, now.low, now.high, '%')} are expected to be wrong, "
        f"with {more.n_photos} photos {estimated(more.wrong_pct, more.low, more.high, '%')}"
    )
    if gain < _LEAST_GAIN_PCT:
        yield f"{text}: settling more would change little."
        return
    some = photos_to_settle(log, camera=camera, magnification=magnification, n=2)
    yield f"{text}: settling more helps" + (f", best {' and '.join(some)}." if some else ".")
