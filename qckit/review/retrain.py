"""Train the stages on a site's own corrected photos, check the result on photos held out, keep it only if it is better.

The site's model lies in the site folder's ``models``: the model itself and ``stages.json``, which says who made it,
when, from what, and how it did on photos held out. :func:`site_stage_model` finds it for a count.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from qckit.errors import InputError
from qckit.files import write_whole
from qckit.stages import CLASSES, STAGES

__all__ = ["Retrained", "SiteModel", "drop_site_model", "retrain_stages", "site_stage_model"]

MODELS_FOLDER, CARD = "models", "stages.json"
# limits of this kit: fewer say too little of a camera, or cannot be split into photos learnt from and held out
LEAST_PHOTOS, LEAST_OBJECTS, LEAST_PER_STAGE = 4, 80, 15
_SETTLED = ("stage changed by hand", "added by hand")
_FOLDS = 4
_DEBRIS_REACH_UM = 60.0
_CHANCE = 0.05


@dataclass(frozen=True)
class SiteModel:
    """A site's own stage model: its file, and what is known of it."""

    path: Path
    made_at: str
    made_by: str
    n_photos: int
    n_objects: int
    right_before: int
    right_after: int
    n_held_out: int
    is_older: bool = False  # trained from the model of another version of the kit

    @property
    def sentence(self) -> str:
        """What it is, for a report or a command's output."""
        text = (
            f"Stages by this site's own model of {self.made_at[:10]} ({self.made_by}), trained on {self.n_objects} "
            f"objects of {self.n_photos} photos; on photos held out it called {self.right_after} of "
            f"{self.n_held_out} right, the kit's own {self.right_before}."
        )
        return text + (" The kit's own has changed since: run  qckit camera retrain" if self.is_older else "")


@dataclass(frozen=True)
class Retrained:
    """What came of training: the model in use if it was taken, and sentences that say why or why not."""

    model: SiteModel | None
    right_before: int
    right_after: int
    n_held_out: int
    sentences: tuple[str, ...]


def site_stage_model(folder) -> SiteModel | None:
    """Find a site's own stage model.

    Parameters
    ----------
    folder : path
        Site folder.

    Returns
    -------
    SiteModel or None
        None where the site has none.

    Raises
    ------
    InputError
        It is there and damaged.
    """
    from qckit.counting import model_key
    from qckit.counting.stages import MODEL_FILE

    card = Path(folder) / MODELS_FOLDER / CARD
    if not card.is_file():
        return None
    remedy = "Train it again with  qckit camera retrain  or take it out of use with  qckit camera retrain --drop"
    try:
        data = json.loads(card.read_text(encoding="utf-8"))
        path = card.parent / Path(data.pop("file")).name
        sha256, base = data.pop("sha256"), data.pop("trained_from")
        model = SiteModel(path=path, is_older=base != model_key(str(MODEL_FILE)), **data)
        intact = hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"{card}: the site's stage model cannot be read. {remedy}") from error
    if not intact:
        raise InputError(f"{path}: this is not the stage model that was made (its content has changed). {remedy}")
    return model


def drop_site_model(folder) -> bool:
    """Take a site's own stage model out of use (its file stays); returns whether there was one."""
    card = Path(folder) / MODELS_FOLDER / CARD
    there = card.is_file()
    card.unlink(missing_ok=True)
    return there


def retrain_stages(log, *, by: str, progress: Callable | None = None, keep: bool = True) -> Retrained:
    """Train the stages on the objects that people have settled in this site's photos.

    Parameters
    ----------
    log : SiteLog
        An open log.
    by : str
        Who has it trained.
    progress : callable, optional
        Called as ``progress(done, total, words)``.
    keep : bool
        Put the model into use if it is better on photos held out.

    Returns
    -------
    Retrained

    Raises
    ------
    InputError
        Too few settled objects or photos, or nobody is named.

    Notes
    -----
    Settled is an object whose stage a person set or confirmed, or that a person added. Photos are split into four
    parts; each part is counted as ``qckit count`` would with a model trained on the three others, and the stages are
    compared with what people said. The model put into use is trained on all.
    """
    from qckit.counting import tune_stage_models

    if not str(by).strip():
        raise InputError("Nobody is named as the one who trains. Give a name or initials (--by NAME).")
    settled = _settled(log)
    _need_enough(settled)
    names = list(settled["photo"].unique())
    folds = min(_FOLDS, len(names))
    total, done = 2 * len(names) + 1, 0

    def said(words):
        nonlocal done
        done += 1
        if progress:
            progress(done, total, words)

    photos = {}
    for name in names:
        photos[name] = _LabelledPhoto.read(log, name, settled[settled["photo"] == name])
        said(f"measured {name}")
    right: list[tuple[np.ndarray, np.ndarray]] = []
    for k in range(folds):
        out = names[k::folds]
        models = tune_stage_models([photos[name].examples for name in names if name not in out])
        for name in out:
            right.append(photos[name].called_right(models))
            said(f"checked {name}")
    old, new = (np.concatenate(parts) for parts in zip(*right))
    before, after, n, better = int(old.sum()), int(new.sum()), len(old), _is_better(old, new)
    model = None
    if keep and better:
        final = tune_stage_models([p.examples for p in photos.values()])
        numbers = (len(photos), len(settled), before, after, n)
        model = _write(Path(log.folder), final, log.now(), str(by).strip(), numbers)
    said("done")
    return Retrained(model, before, after, n, tuple(_sentences(settled, old, new, better, keep)))


def _is_better(old, new) -> bool:
    """Whether the objects on which two models differ are right more often by the new one than chance would make them.

    Sign test on paired outcomes (McNemar 1947, Psychometrika 12:153, exact form).
    """
    from scipy.stats import binomtest

    gained, lost = int((new & ~old).sum()), int((old & ~new).sum())
    return gained > lost and binomtest(gained, gained + lost, alternative="greater").pvalue < _CHANCE


def _settled(log):
    """Objects that people have settled, with their photos."""
    objects = log.objects()
    return objects[objects["source"].isin(_SETTLED) & objects["stage"].isin(CLASSES)]


def _need_enough(settled) -> None:
    photos = settled["photo"].nunique()
    counts = settled["stage"].value_counts()
    rich = [s for s in STAGES if counts.get(s, 0) >= LEAST_PER_STAGE]
    if photos < LEAST_PHOTOS or len(settled) < LEAST_OBJECTS or len(rich) < 2:
        have = ", ".join(f"{counts.get(s, 0)} {s}" for s in CLASSES)
        raise InputError(
            f"{len(settled)} objects of {photos} photo{'s' if photos != 1 else ''} are settled by hand ({have}). To "
            f"train on this site's own photos at least {LEAST_OBJECTS} objects of {LEAST_PHOTOS} photos are needed, "
            f"with {LEAST_PER_STAGE} or more of two stages. Look at more photos: set the stage, or press Enter where "
            "it is right."
        )


@dataclass(frozen=True)
class _LabelledPhoto:
    """A photo with what people said of its objects, and the features of those the kit finds."""

    path: Path
    um_per_px: float
    settled: object
    examples: tuple

    @classmethod
    def read(cls, log, name, settled):
        from qckit.counting import WORK_UM_PER_PX, settled_examples
        from qckit.photo import read_photo
        from qckit.review.files import find_photo_file

        info = log.photos(photo=name).iloc[0]
        path, um_per_px = find_photo_file(log.folder, name, sha256=str(info["sha256"])), float(info["um_per_px"])
        photo = read_photo(path, um_per_px=um_per_px, finest_um_per_px=WORK_UM_PER_PX)
        examples = settled_examples(photo, um_per_px, settled["x_px"], settled["y_px"], list(settled["stage"]))
        return cls(path, um_per_px, settled, examples)

    def called_right(self, models) -> tuple[np.ndarray, np.ndarray]:
        """Say which settled objects the kit's own model calls right, and which others do: two (n,) arrays of bool."""
        from qckit.counting import count_photo

        with _as_file(models) as file:
            return tuple(
                _right(
                    self.settled,
                    count_photo(self.path, um_per_px=self.um_per_px, stage_model=m).objects,
                    self.um_per_px,
                )
                for m in (None, file)
            )


def _right(settled, found, um_per_px) -> np.ndarray:
    """Which settled objects a count calls right; debris is right where nothing that counts lies."""
    from scipy.spatial.distance import cdist

    from qckit.agreement import match_objects

    hand = settled.reset_index(drop=True).assign(photo="one")
    pairs = match_objects(hand, found.assign(photo="one"), um_per_px=um_per_px)
    right = np.zeros(len(hand), dtype=bool)
    right[pairs.loc[pairs["hand"] == pairs["photo_stage"], "hand_index"].astype(int)] = True
    marks = np.flatnonzero(hand["stage"] == "debris")
    counted = found.loc[found["stage"].isin(STAGES), ["x_px", "y_px"]].to_numpy(float)
    if len(marks):
        near = cdist(hand.loc[marks, ["x_px", "y_px"]].to_numpy(float), counted).min(axis=1, initial=np.inf)
        right[marks] = near * um_per_px > _DEBRIS_REACH_UM
    return right


@contextmanager
def _as_file(models):
    """Models as a file that a count can be given; of a new name each time, since models are kept in memory by name."""
    from qckit.counting import save_stage_model

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stages.npz"
        save_stage_model(path, models)
        yield str(path)


def _write(folder: Path, models, made_at, by, numbers) -> SiteModel:
    """Write the model, then the card that puts it into use, so that a stop in between changes nothing."""
    from qckit.counting import model_key, save_stage_model
    from qckit.counting.stages import MODEL_FILE

    place = folder / MODELS_FOLDER
    place.mkdir(exist_ok=True)
    part = place / "new.npz"
    save_stage_model(part, models)
    sha256 = hashlib.sha256(part.read_bytes()).hexdigest()
    path = part.replace(place / f"stages-{sha256[:8]}.npz")
    n_photos, n_objects, before, after, n = numbers
    model = SiteModel(path, made_at, by, n_photos, n_objects, before, after, n)
    card = {k: v for k, v in asdict(model).items() if k not in ("path", "is_older")}
    card |= {"file": path.name, "sha256": sha256, "trained_from": model_key(str(MODEL_FILE))}
    write_whole(place / CARD, json.dumps(card, indent=1))
    return model


def _sentences(settled, old, new, better, keep):
    n, before, after = len(old), int(old.sum()), int(new.sum())
    yield (
        f"{len(settled)} settled objects of {settled['photo'].nunique()} photos were learnt from. On photos held "
        f"out the kit's own stages were right for {before} of {n} ({100 * before / n:.1f} %), those trained here "
        f"for {after} ({100 * after / n:.1f} %)."
    )
    if not better:
        yield "They are not better beyond chance, so nothing was changed."
    elif keep:
        yield (
            "They are in use from now on for photos counted in this site; the counter version names them. Check the "
            "camera again with  qckit camera check"
        )
    else:
        yield "They are better, and were not put into use."
